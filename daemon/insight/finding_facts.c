/*
 * What the store itself knows of days: made by an earlier mapping, sealed, and what of a
 * register's count these could not be given.
 */
#include "finding.h"

#include <heatbook/event.h>

#include <math.h>

static struct finding facts_new(
	enum finding_kind kind, int64_t days, int64_t first, int64_t last)
{
	return (struct finding){.kind = kind,
		.since_ms = first * MS_PER_DAY,
		.until_ms = (last + 1) * MS_PER_DAY,
		.lasts = true,
		.size = (double)days,
		.unit = "d",
		.effect = (double)NAN};
}

/* Of days that a rebuild makes anew; the sealed ones that it leaves are named only. */
static void add_older(const struct older_days *older, struct finding_list *list)
{
	char from[16], to[16];
	int64_t days = older->count - older->sealed;
	struct finding f =
		facts_new(FINDING_REBUILD_WANTED, days, older->first, older->last);
	_cleanup_(freep) char *left =
		older->sealed == 0
			? xstrdup("")
			: xasprintf(" %lld more are sealed: a rebuild leaves these as "
				    "they are.",
				  (long long)older->sealed);
	(void)finding_date(older->first * MIN_PER_DAY, from);
	(void)finding_date(older->last * MIN_PER_DAY, to);
	f.evidence = xasprintf("%lld days between %s and %s were made before the "
			       "configuration was changed.%s",
		(long long)days, from, to, left);
	f.remedy = xasprintf("heatbookd rebuild --what --from %s --to %s shows what the "
			     "present configuration would make of them; without --what "
			     "it makes them anew.",
		from, to);
	finding_add(list, &f);
}

static void add_sealed(const struct finding_input *in, struct finding_list *list)
{
	char from[16], to[16];
	struct finding f = facts_new(
		FINDING_DAYS_SEALED, in->sealed_days, in->sealed_first, in->sealed_last);
	_cleanup_(freep) char *older =
		in->older.sealed == 0
			? xstrdup("")
			: xasprintf(" %lld of them were made before the configuration "
				    "was changed, and stay so.",
				  (long long)in->older.sealed);
	(void)finding_date(in->sealed_first * MIN_PER_DAY, from);
	(void)finding_date(in->sealed_last * MIN_PER_DAY, to);
	f.evidence = xasprintf("The journal of %lld days between %s and %s is not whole "
			       "any more, for its age or for damage; their rows stay as "
			       "they are.%s",
		(long long)in->sealed_days, from, to, older);
	f.remedy = xstrdup("Corrections and new channels do not reach these days. "
			   "Restore a backup or import an archive that still has their "
			   "records; keep (in [journal]) sets how long records stay.");
	finding_add(list, &f);
}

static void add_unplaced(const struct finding_input *in, const struct event *last,
	struct finding_list *list)
{
	struct finding f = {.kind = FINDING_REGISTER_UNPLACED,
		.until_ms = last->t_ms + MS_PER_MIN,
		.unit = "kW.h",
		.effect = (double)NAN};
	for (size_t i = 0; i < in->event_count; i++) {
		const struct event *e = &in->events[i];
		if (e->kind != last->kind || e->is_meter != last->is_meter ||
			e->subject != last->subject)
			continue;
		f.since_ms = f.size == 0.0 ? e->t_ms : f.since_ms;
		f.size += e->after;
		if (e == last)
			break;
	}
	(void)snprintf(f.subject, sizeof(f.subject), "%s",
		last->is_meter ? in->config->meters[last->subject].name
			       : in->config->channels[last->subject].name);
	f.evidence = xasprintf(
		f.size > 0.0
			? "Its readings that came late say that it counted %.3f kWh "
			  "more in sealed minutes than these hold. They stay as they "
			  "are, and it is in no figure."
			: "Its readings that came late say that it counted %.3f kWh "
			  "less in sealed minutes than these hold, and nothing near "
			  "them makes up for it: figures hold so much too much.",
		fabs(f.size));
	f.remedy = xstrdup("Restore a backup or import an archive that still has the "
			   "records of these days, then rebuild them with --sealed. "
			   "Without that nothing is to be done.");
	finding_add(list, &f);
}

/* Of each subject all of them together. */
static void find_unplaced(const struct finding_input *in, struct finding_list *list)
{
	for (size_t i = 0; i < in->event_count; i++) {
		const struct event *e = &in->events[i];
		bool is_last = e->kind == EVENT_REGISTER_UNPLACED &&
			       e->subject != EVENT_SUBJECT_GONE;
		for (size_t k = i + 1; is_last && k < in->event_count; k++)
			is_last = in->events[k].kind != e->kind ||
				  in->events[k].is_meter != e->is_meter ||
				  in->events[k].subject != e->subject;
		if (is_last)
			add_unplaced(in, e, list);
	}
}

void find_facts(const struct finding_input *in, struct finding_list *list)
{
	if (in->older.count > in->older.sealed)
		add_older(&in->older, list);
	if (in->sealed_days > 0)
		add_sealed(in, list);
	find_unplaced(in, list);
}
