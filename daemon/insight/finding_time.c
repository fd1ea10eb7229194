/*
 * Minutes that are missing, power cuts, and what the store itself knows of days: made by
 * an earlier mapping, sealed.
 *
 * A power cut is told from an outage of messages by registers: what goes on without
 * messages goes on counting. Where the unit's standby would have shown in the register
 * and did not, it had no power.
 */
#include "finding.h"

#include "evidence.h"

#include <heatbook/calendar.h>

#include <math.h>

enum { OUTAGE_LEAST_MIN = 15, JOINED_MIN = 10 };

struct outage {
	int64_t from_min, to_min;
	int what; /* bits of EVIDENCE_MISSING, of any of its parts */
	double bridged_j;
	double idle_w; /* what the unit draws at least; NaN unknown */
};

struct outages {
	struct outage *items;
	size_t count, room;
};

static void add_part(struct outages *list, const struct outage *part)
{
	struct outage *last = list->count ? &list->items[list->count - 1] : NULL;
	if (last && part->from_min - last->to_min <= JOINED_MIN) {
		last->to_min = part->to_min;
		last->what |= part->what;
		last->bridged_j += part->bridged_j;
		last->idle_w = fmin(last->idle_w, part->idle_w);
		return;
	}
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 32;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = *part;
}

/* A day that nobody looked at and of which nothing is known is one outage. */
static void collect(const struct finding_input *in, struct outages *list)
{
	for (size_t d = 0; d < in->day_count; d++) {
		const struct finding_day *day = &in->days[d];
		if (!day->looked && !day->known) {
			const struct outage whole = {day->start_min, day->end_min,
				MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL, 0.0,
				(double)NAN};
			add_part(list, &whole);
		}
		for (size_t i = 0; i < day->count; i++) {
			const struct evidence *e = &day->items[i];
			if (e->kind != EVIDENCE_MISSING)
				continue;
			const struct outage part = {e->at_min, e->at_min + e->minutes,
				(int)e->values[0], e->values[1], e->values[2]};
			add_part(list, &part);
		}
	}
}

/* What a register shows at least: two of its steps. */
static double least_shown_j(const struct config *config)
{
	double most = 0.0;
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].counted.counts &&
			config->meters[m].feeds & DEVICE_COMPRESSOR)
			most = fmax(most,
				2.0 * (double)config->meters[m].counted.counting.step_j);
	return most;
}

static bool is_cut(const struct finding_input *in, const struct outage *o)
{
	double shown_j = least_shown_j(in->config);
	double minutes = (double)(o->to_min - o->from_min);
	return shown_j > 0.0 && o->what & MISSING_ALL && o->bridged_j < shown_j / 2.0 &&
	       o->idle_w * 60.0 * minutes > shown_j;
}

static const char *what_text(int what)
{
	if (what & MISSING_ALL)
		return "nothing at all";
	return what & MISSING_HEAT ? what & MISSING_ELECTRICITY
					     ? "neither heat nor electricity"
					     : "no heat"
				   : "no electricity";
}

/* Holds last so long at most after the last message, by usual limits. */
#define HOLD_MS (20 * MS_PER_MIN)

/* Why nothing was heard, by the link facts about its begin; NULL where none tells. */
static const char *reason_of(const struct finding_input *in, const struct outage *o)
{
	int64_t from_ms = o->from_min * MS_PER_MIN, to_ms = o->to_min * MS_PER_MIN;
	const char *reason = NULL;
	for (size_t i = 0; i < in->event_count; i++) {
		const struct event *e = &in->events[i];
		bool about =
			e->t_ms >= from_ms - HOLD_MS && e->t_ms <= to_ms + MS_PER_MIN;
		if (!about)
			continue;
		if (e->kind == EVENT_LINK_LOST && e->t_ms <= from_ms + MS_PER_MIN)
			reason = "the connection to the broker was lost";
		else if (e->kind == EVENT_STOPPED && e->t_ms <= from_ms + MS_PER_MIN)
			reason = "heatbook had been stopped";
		else if (e->kind == EVENT_STARTED && !reason)
			reason = "heatbook was not running, nor had it been stopped: "
				 "its machine was off or went down";
		else if (e->kind == EVENT_CLOCK_STEPPED && e->after > 0.0)
			reason = "the clock was set forward";
		else if (e->kind == EVENT_MESSAGES_REFUSED)
			reason = "there was no space left for messages";
	}
	return reason;
}

static void add_outage(
	const struct finding_input *in, const struct outage *o, struct finding_list *list)
{
	char from[32], to[32];
	bool cut = is_cut(in, o);
	struct finding f = {.kind = cut ? FINDING_POWER_CUT : FINDING_MISSING_MINUTES,
		.since_ms = o->from_min * MS_PER_MIN,
		.until_ms = o->to_min * MS_PER_MIN,
		.size = (double)(o->to_min - o->from_min),
		.unit = "min",
		.effect = (double)NAN};
	f.lasts = !in->rows_follow && o->to_min >= in->days[in->day_count - 1].end_min;
	time_text_local(f.since_ms, from);
	time_text_local(f.until_ms, to);
	if (cut) {
		f.evidence =
			xasprintf("From %s to %s nothing was heard, and the register "
				  "did not go on, though the unit draws %.0f W when "
				  "idle.",
				from, to, o->idle_w);
		f.remedy =
			xstrdup("Nothing is to be done about the account: no heat was "
				"made and none is missing. If it comes again without a "
				"reason, have the supply looked at by an electrician.");
	} else {
		const char *reason = reason_of(in, o);
		f.evidence = xasprintf("From %s to %s %s is known%s%s%s.", from, to,
			what_text(o->what),
			o->bridged_j > 0.0 ? "; electricity was bridged by the register"
					   : "",
			reason ? ": " : "", reason ? reason : "");
		f.remedy =
			xstrdup("See broker, network and gateway of that time; an "
				"archive of its messages can still be imported. Totals "
				"say how much of their time is known.");
	}
	finding_add(list, &f);
}

/* Outages of heat say nothing where no heat can be known. */
static int asked_for(const struct finding_input *in)
{
	for (size_t d = 0; d < in->day_count; d++)
		if (in->days[d].heat_ms > 0)
			return MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL;
	return MISSING_ELECTRICITY | MISSING_ALL;
}

void find_missing(const struct finding_input *in, struct finding_list *list)
{
	struct outages outages = {0};
	int asked = asked_for(in);
	collect(in, &outages);
	for (size_t i = 0; i < outages.count; i++) {
		const struct outage *o = &outages.items[i];
		if (o->what & MISSING_ALL && !in->rows_follow &&
			o->to_min >= in->days[in->day_count - 1].end_min)
			continue; /* what is known ends there */
		if (o->to_min - o->from_min >= OUTAGE_LEAST_MIN && o->what & asked)
			add_outage(in, o, list);
	}
	free(outages.items);
}

/* ---- what the store knows ---- */

static void add_days(const struct finding_input *in, enum finding_kind kind, int64_t days,
	int64_t first, int64_t last, struct finding_list *list)
{
	char from[16], to[16];
	struct finding f = {.kind = kind,
		.since_ms = first * MS_PER_DAY,
		.until_ms = (last + 1) * MS_PER_DAY,
		.lasts = true,
		.size = (double)days,
		.unit = "d",
		.effect = (double)NAN};
	(void)in;
	(void)finding_date(first * MIN_PER_DAY, from);
	(void)finding_date(last * MIN_PER_DAY, to);
	if (kind == FINDING_REBUILD_WANTED) {
		f.evidence = xasprintf("%lld days between %s and %s were made before the "
				       "configuration was changed.",
			(long long)days, from, to);
		f.remedy = xasprintf("heatbookd rebuild --what --from %s --to %s shows "
				     "what the present configuration would make of them; "
				     "without --what it makes them anew.",
			from, to);
	} else {
		f.evidence =
			xasprintf("The journal of %lld days between %s and %s is not "
				  "whole any more, for its age or for damage; their "
				  "rows stay as they are.",
				(long long)days, from, to);
		f.remedy =
			xstrdup("Corrections and new channels do not reach these days. "
				"Restore a backup or import an archive that still has "
				"their records; keep (in [journal]) sets how long "
				"records stay.");
	}
	finding_add(list, &f);
}

void find_facts(const struct finding_input *in, struct finding_list *list)
{
	if (in->older_days > 0)
		add_days(in, FINDING_REBUILD_WANTED, in->older_days, in->older_first,
			in->older_last, list);
	if (in->sealed_days > 0)
		add_days(in, FINDING_DAYS_SEALED, in->sealed_days, in->sealed_first,
			in->sealed_last, list);
}
