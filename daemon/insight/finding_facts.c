/*
 * What the store itself knows of days: made by an earlier mapping, sealed.
 */
#include "finding.h"

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

void find_facts(const struct finding_input *in, struct finding_list *list)
{
	if (in->older.count > in->older.sealed)
		add_older(&in->older, list);
	if (in->sealed_days > 0)
		add_sealed(in, list);
}
