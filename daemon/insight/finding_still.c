/*
 * Registers that stood still while energy flowed (evidence_still.c): what is missing of
 * the account by it, and that the meter's reader is to be seen to.
 *
 * What a register missed and then caught up is counted, and where power gave it its shape
 * nothing is wrong: no finding. A register alone leaves days without electricity even
 * then. How much one missed that has no power beside it follows from the season's factor
 * without these days.
 */
#include "finding.h"

#include <heatbook/calendar.h>

#include <math.h>

enum { STILL_GAP_DAYS = 0, CATCHES_UP_DAYS = 2 };
#define MOST_OF_DAY   0.5 /* of what flowed on the day */
#define MISSING_SHARE 0.5 /* below, the register caught up */
#define SAME_KWH      1e-6
#define CAUGHT_UP     0.75 /* of what the factor lets expect */

struct standing {
	const struct finding_input *in;
	size_t quantity;
	int channel;
};

static const struct evidence *item_of(const struct standing *s, size_t day)
{
	return finding_item(&s->in->days[day], EVIDENCE_STILL, s->channel);
}

static int stands(const struct finding_day *day, const void *context)
{
	const struct standing *s = context;
	const struct evidence *e = finding_item(day, EVIDENCE_STILL, s->channel);
	if (!e)
		return day->looked ? 0 : -1;
	return e->values[4] >= MOST_OF_DAY;
}

bool finding_any_stands(const struct finding_input *in, const struct finding_day *day)
{
	bool any = false;
	for (size_t q = 0; q < COUNTED_MOST; q++)
		any = any || finding_stands(in, day, q);
	return any;
}

bool finding_stands(
	const struct finding_input *in, const struct finding_day *day, size_t quantity)
{
	const struct counted *c = config_counted(in->config, quantity);
	const struct standing s = {in, quantity, c ? c->registers[0] : -1};
	return c && stands(day, &s) == 1;
}

static bool same_reading(const struct evidence *a, const struct evidence *b)
{
	return a && b && fabs(a->values[0] - b->values[0]) < SAME_KWH;
}

/* It began on the evening before and ended on the morning after, perhaps. */
static void widen(const struct standing *s, struct run *run)
{
	const struct finding_day *days = s->in->days;
	if (run->first > 0) {
		const struct evidence *e = item_of(s, run->first - 1);
		if (same_reading(e, item_of(s, run->first)) &&
			e->at_min + e->minutes == days[run->first - 1].end_min)
			run->first--;
	}
	if (run->last + 1 < s->in->day_count) {
		const struct evidence *e = item_of(s, run->last + 1);
		if (same_reading(e, item_of(s, run->last)) &&
			e->at_min == days[run->last + 1].start_min)
			run->last++;
	}
}

struct standing_sum {
	double said_j, other_j,
		booked_j; /* `said_j` NaN where nothing stands beside it */
	double minutes;
};

static struct standing_sum sum_of(const struct standing *s, struct run run)
{
	struct standing_sum sum = {0};
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e = item_of(s, d);
		if (!e)
			continue;
		sum.said_j += e->values[1];
		sum.other_j += isnan(e->values[2]) ? 0.0 : e->values[2];
		sum.booked_j += e->values[3];
		sum.minutes += (double)e->minutes;
	}
	return sum;
}

/* What flowed, J: as what stands beside it says, else by the factor. */
static double flowed_j(
	const struct standing *s, const struct standing_sum *sum, double factor)
{
	if (!isnan(sum->said_j))
		return sum->said_j;
	return s->quantity == COUNTED_HEAT ? sum->other_j * factor
					   : sum->other_j / factor;
}

/* Whether heat and electricity of the run and the days after it are as ever. */
static bool caught_up(const struct finding_input *in, struct run run, double factor)
{
	double heat = 0.0, electricity = 0.0;
	for (size_t d = run.first; d <= run.last + CATCHES_UP_DAYS && d < in->day_count;
		d++) {
		heat += (double)in->days[d].paired_heat_j;
		electricity += (double)in->days[d].paired_electricity_j;
	}
	return heat > 0.0 && electricity * factor >= CAUGHT_UP * heat &&
	       heat >= CAUGHT_UP * electricity * factor;
}

/* It stands at the end of what is known: what it says next decides. */
static bool is_open(const struct standing *s, struct run run)
{
	const struct evidence *e = item_of(s, run.last);
	const struct finding_day *day = &s->in->days[run.last];
	return e && e->at_min + e->minutes == day->end_min &&
	       (run.last + 1 == s->in->day_count || !day[1].looked);
}

static double effect_of(const struct standing *s, struct run run, double factor)
{
	struct run now = finding_in_season(s->in, run);
	const struct standing_sum sum = sum_of(s, now);
	double lost_j = flowed_j(s, &sum, factor) - sum.booked_j;
	if (s->quantity == COUNTED_HEAT)
		return finding_effect(s->in, now, -lost_j, 0.0);
	if (!(s->in->boundary.meters & 1u << s->quantity))
		return (double)NAN;
	return finding_effect(s->in, now, 0.0, -lost_j);
}

static const char *beside(const struct standing *s, const struct standing_sum *sum)
{
	if (isnan(sum->said_j))
		return "by the season's factor";
	if (s->quantity != COUNTED_HEAT)
		return "by power";
	return config_role(s->in->config, ROLE_HEAT_POWER) >= 0 ? "by heat_power"
								: "by flow and pipes";
}

/* What became of it. */
enum outcome { LOST, PENDING, LATE };

static char *outcome_text(enum outcome outcome, double lost_kwh, const char *what)
{
	if (outcome == PENDING)
		return xstrdup(
			"So far these minutes hold what stands beside it, where "
			"anything does; if the register goes on from that reading, "
			"what it missed will be missing in the account, and if it "
			"catches up it will be counted.");
	if (outcome == LATE)
		return xstrdup("It then caught up: the sum is right, the days are not, "
			       "nor is any figure of theirs.");
	return xasprintf("What it missed was not counted: some %.2f kWh of %s are "
			 "missing in the account.",
		lost_kwh, what);
}

static void add_still(const struct standing *s, struct run run, enum outcome outcome,
	double factor, struct finding_list *list)
{
	bool is_heat = s->quantity == COUNTED_HEAT;
	const struct standing_sum sum = sum_of(s, run);
	const struct evidence *first = item_of(s, run.first);
	const struct evidence *last = item_of(s, run.last);
	double flowed = flowed_j(s, &sum, factor) / J_PER_KWH;
	double lost = flowed - sum.booked_j / J_PER_KWH;
	struct finding f = finding_new(s->in, FINDING_REGISTER_STILL,
		is_heat ? s->in->config->channels[s->channel].name
			: s->in->config->meters[s->quantity].name,
		run);
	char at[32];
	f.since_ms = first->at_min * MS_PER_MIN;
	f.until_ms = (last->at_min + last->minutes) * MS_PER_MIN;
	f.size = outcome == LOST ? lost : flowed;
	f.unit = "kW.h";
	if (outcome == LOST)
		f.effect = effect_of(s, run, factor);
	time_text_local(f.since_ms, at);
	_cleanup_(freep) char *became =
		outcome_text(outcome, lost, is_heat ? "heat" : "electricity");
	_cleanup_(freep) char *amount =
		isnan(flowed)
			? xasprintf(
				  "%s stood against it", is_heat ? "electricity" : "heat")
			: xasprintf("some %.2f kWh flowed %s", flowed, beside(s, &sum));
	f.evidence = xasprintf("From %s on it said %.2f kWh for %.0f minutes, while %s. "
			       "%s",
		at, first->values[0], sum.minutes, amount, became);
	f.remedy = xstrdup(
		"What reads the meter repeats an old reading: see its log of that time, "
		"start it anew, and hold what it says against the meter's own display. "
		"If the meter itself counts in steps as large as that, set step in the "
		"meter's section.");
	finding_add(list, &f);
}

static void judge(const struct standing *s, struct run run, struct finding_list *list)
{
	widen(s, &run);
	const struct standing_sum sum = sum_of(s, run);
	double factor = finding_factor_without(s->in, run, CATCHES_UP_DAYS);
	double flowed = flowed_j(s, &sum, factor);
	bool open = is_open(s, run), alone = isnan(sum.said_j);
	if (!alone && sum.booked_j > (1.0 - MISSING_SHARE) * flowed && !open)
		return;
	add_still(s, run,
		open                                     ? PENDING
		: alone && caught_up(s->in, run, factor) ? LATE
							 : LOST,
		factor, list);
}

void find_standing(const struct finding_input *in, struct finding_list *list)
{
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		const struct counted *c = config_counted(in->config, q);
		const struct standing s = {in, q, c ? c->registers[0] : -1};
		struct run run;
		size_t at = 0;
		while (c && finding_run(in, stands, &s, STILL_GAP_DAYS, &at, &run))
			judge(&s, run, list);
	}
}
