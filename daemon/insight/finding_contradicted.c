/*
 * States that say what the plant does not do (evidence_said.c), on two days or more; and
 * flags that said nothing of hot water or of defrosts while flow and temperatures went on
 * to show them, where they used to tell: a mode may stand in heating for days by itself,
 * so that it is held against what it said before.
 */
#include "finding.h"

#include <math.h>

enum { GAP_DAYS = 3, DAYS_LEAST = 2 };

/* ---- words that are held against something ---- */

struct held {
	int channel;
	enum contradicted_by by;
};

static const struct evidence *item_of(const struct finding_day *day, const struct held *h)
{
	for (size_t i = 0; i < day->count; i++) {
		const struct evidence *e = &day->items[i];
		if (e->kind == EVIDENCE_CONTRADICTED && e->subject == h->channel &&
			(enum contradicted_by)lround(e->values[1]) == h->by)
			return e;
	}
	return NULL;
}

static int is_contradicted(const struct finding_day *day, const void *context)
{
	if (item_of(day, context))
		return 1;
	return day->looked ? 0 : -1;
}

static const char *const against[] = {
	[CONTRADICTED_BY_RUNNING] = "while the compressor ran",
	[CONTRADICTED_BY_VALVE] = "while the compressor ran and the valve said the other "
				  "service",
	[CONTRADICTED_BY_FLOW] = "while the water that left the unit was colder than the "
				 "cylinder",
	[CONTRADICTED_BY_HEAT] = "while the unit warmed the water",
	[CONTRADICTED_BY_LENGTH] = "for an hour and longer, as no defrost lasts",
};

static const char *remedy_of(enum contradicted_by by)
{
	switch (by) {
	case CONTRADICTED_BY_VALVE:
		return "One of both stands still, or the mode names what is asked for "
		       "and not what is done: if it never says hot water, give it role "
		       "= plain, so that the valve tells, and rebuild.";
	case CONTRADICTED_BY_HEAT:
		return "Either it names the season that is set and not what is done, or "
		       "it stands still: see its topic and map. What was booked to "
		       "cooling is in no heat of the season; with the map put right, or "
		       "role = plain, rebuild these days.";
	case CONTRADICTED_BY_RUNNING:
	case CONTRADICTED_BY_FLOW:
	case CONTRADICTED_BY_LENGTH:
		break;
	}
	return "The channel stands still, or its map names another state: see its topic "
	       "and the gateway's log of that time, and start the gateway anew. With the "
	       "map put right, or with role = plain, by which rules tell modes if check "
	       "says that they can, rebuild these days.";
}

struct contradicted_sum {
	double minutes, heat_j, unit_j;
	long state; /* that it said last */
};

static struct contradicted_sum sum_of(
	const struct finding_input *in, struct run run, const struct held *h)
{
	struct contradicted_sum sum = {.state = -1};
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e = item_of(&in->days[d], h);
		if (!e)
			continue;
		sum.minutes += (double)e->minutes;
		sum.heat_j += e->values[2];
		sum.unit_j += e->values[3];
		sum.state = lround(e->values[0]);
	}
	return sum;
}

static const char *state_name(const struct channel_config *channel, long state)
{
	return state >= 0 && (size_t)state < channel->state_count ? channel->states[state]
								  : "something else";
}

static void add_contradicted(const struct finding_input *in, struct run run,
	const struct held *h, struct finding_list *list)
{
	const struct contradicted_sum sum = sum_of(in, run, h);
	const struct contradicted_sum now = sum_of(in, finding_in_season(in, run), h);
	bool cools = h->by == CONTRADICTED_BY_HEAT;
	struct finding f = finding_new(in, FINDING_STATE_CONTRADICTED,
		in->config->channels[h->channel].name, run);
	f.size = sum.minutes;
	f.unit = "min";
	if (cools)
		f.effect = finding_effect(in, run, -now.heat_j, -now.unit_j);
	f.evidence = xasprintf(
		"For %.0f minutes of %zu days it said %s %s. %.1f kWh of heat were "
		"booked in them%s.",
		sum.minutes, run.hits,
		state_name(&in->config->channels[h->channel], sum.state), against[h->by],
		sum.heat_j / J_PER_KWH,
		cools ? " to cooling, and are in no heat of the season"
		      : ": what each mode has goes by it; totals and the season's factor "
			"do not");
	f.remedy = xstrdup(remedy_of(h->by));
	finding_add(list, &f);
}

/* ---- flags that fell silent ---- */

enum { SILENT_DAYS = 3, BEGUN_LEAST = 4, USED_DAYS = 5, USED_BACK_DAYS = 60 };

static int fell_silent(const struct finding_day *day, const void *context)
{
	const struct evidence *e =
		finding_item(day, EVIDENCE_FLAG, *(const int *)context);
	if (!e)
		return -1;
	return e->values[0] == 0.0 && e->values[1] >= 1.0 && e->values[3] == 0.0;
}

/* Did it tell of what rules saw, on days before? */
static bool used_to_tell(const struct finding_input *in, size_t first, int mode)
{
	size_t told = 0, days = 0;
	for (size_t d = first; d-- > 0 && first - d <= USED_BACK_DAYS;) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_FLAG, mode);
		days += e != NULL;
		told += e && e->values[0] >= 1.0 && 2.0 * e->values[0] >= e->values[1];
	}
	return told >= USED_DAYS && 5 * told >= 4 * days;
}

static void add_silent(const struct finding_input *in, struct run run, int mode,
	struct finding_list *list)
{
	bool thaws = mode == MODE_DEFROST;
	int channel = finding_flag_of(in, mode);
	double begun = 0.0;
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_FLAG, mode);
		begun += e ? e->values[1] : 0.0;
	}
	if (channel < 0 || run.hits < SILENT_DAYS || begun < BEGUN_LEAST ||
		!used_to_tell(in, run.first, mode))
		return;
	struct finding f = finding_new(
		in, FINDING_STATE_CONTRADICTED, in->config->channels[channel].name, run);
	f.size = begun;
	f.evidence =
		xasprintf("On %zu days it told of no beginning of %s, while flow and "
			  "temperatures showed %.0f; before, it had told of them. "
			  "What each mode has goes by it; totals and the season's "
			  "factor do not.",
			run.hits, thaws ? "a defrost" : "hot water", begun);
	f.remedy = xstrdup(remedy_of(CONTRADICTED_BY_RUNNING));
	finding_add(list, &f);
}

void find_contradicted(const struct finding_input *in, struct finding_list *list)
{
	static const int modes[] = {MODE_HOT_WATER, MODE_DEFROST};
	struct run run;
	size_t at = 0;
	for (size_t c = 0; c < in->config->channel_count; c++)
		for (int by = 0;
			in->config->channels[c].map_count && by <= CONTRADICTED_BY_LENGTH;
			by++) {
			const struct held h = {(int)c, (enum contradicted_by)by};
			at = 0;
			while (finding_run(in, is_contradicted, &h, GAP_DAYS, &at, &run))
				if (run.hits >= DAYS_LEAST)
					add_contradicted(in, run, &h, list);
		}
	for (size_t m = 0; m < ARRAY_LEN(modes); m++) {
		at = 0;
		while (finding_run(in, fell_silent, &modes[m], GAP_DAYS, &at, &run))
			add_silent(in, run, modes[m], list);
	}
}
