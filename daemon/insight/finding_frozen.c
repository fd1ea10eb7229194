/*
 * Channels that stood still (evidence_stuck.c and others): one finding for all that is of
 * one spell, with what it does to the season as far as the season's own factor tells.
 *
 * A flow may well stand by itself: a pump at one speed that never stops says one number
 * for months. It stood still where it used to change from minute to minute, or where
 * water lay in the pipes, warm in one and cold in the other, while it said that it moved.
 * So may a pressure, of which a gauge tells tenths: it stood still where it used to move
 * with the water's temperature day by day, and that still does. Own judgement.
 */
#include "finding.h"

#include "evidence.h"

#include <heatbook/calendar.h>

#include <math.h>

enum { SPELL_GAP_DAYS = 7 };
enum { BACK_DAYS = 30, LIVELY_DAYS = 1, APART_LEAST_MIN = 30 };
#define LIVELY_SHARE 0.5 /* of minutes in which a flow changed */

/* Items of one channel by one proof, on days that follow each other, or of one value. */
struct spell {
	int channel;
	enum frozen_by by;
	struct run run;
	const struct evidence *first, *last;
	double minutes, how_much, heat_j, unit_j;
	double now_heat_j, now_unit_j; /* of these, in the season in which it ends */
	bool same;                     /* one value all along */
};

static enum frozen_by by_of(const struct evidence *e)
{
	return (enum frozen_by)lround(e->values[4]);
}

/* ---- what counts ---- */

static const struct evidence *flow_stood(const struct finding_day *day)
{
	for (size_t i = 0; i < day->count; i++)
		if (day->items[i].kind == EVIDENCE_FROZEN &&
			by_of(&day->items[i]) == FROZEN_BY_PUMP)
			return &day->items[i];
	return NULL;
}

/* In what share of minutes the flow changed on days before that it did not stand on. */
static double liveliness(const struct finding_input *in, size_t day)
{
	double shares[BACK_DAYS];
	size_t count = 0;
	for (size_t d = day; d-- > 0 && day - d <= BACK_DAYS;) {
		const struct evidence *e = finding_item(&in->days[d], EVIDENCE_FLOW, -1);
		if (e && !isnan(e->values[3]) && !flow_stood(&in->days[d]))
			shares[count++] = e->values[3];
	}
	return count >= LIVELY_DAYS ? evidence_median(shares, count) : 0.0;
}

/* What is of the spell's channel and proof. What reports seldom stands still in between,
 * and what repeats all it said is a finding of its own. */
static bool counts(const struct finding_input *in, const struct spell *s, size_t day,
	const struct evidence *e)
{
	if (e->kind != EVIDENCE_FROZEN || e->subject != s->channel || by_of(e) != s->by ||
		finding_spacing(in, day, s->channel) > 0.0 ||
		finding_repeats(
			in, &in->days[day], in->config->channels[s->channel].source))
		return false;
	return s->by != FROZEN_BY_PUMP || e->values[5] >= APART_LEAST_MIN ||
	       liveliness(in, day) >= LIVELY_SHARE;
}

/* ---- what it does ---- */

/* What of heat, or of electricity, was booked too much by the season's factor; NaN where
 * it does not rest on the channel, or nothing tells. */
static double effect_of(const struct finding_input *in, const struct spell *s)
{
	double factor = finding_factor_without(in, s->run, 0);
	int meter = finding_meter_of(in, s->channel);
	bool heat = s->by == FROZEN_BY_PIPE || s->by == FROZEN_BY_PUMP;
	if (heat && finding_heat_is_computed(in) && in->boundary.meters)
		return finding_effect(
			in, s->run, s->now_heat_j - s->now_unit_j * factor, 0.0);
	if (meter >= 0 && s->by == FROZEN_BY_STARTS &&
		in->boundary.meters & 1u << meter &&
		!in->config->meters[meter].counted.counts)
		return finding_effect(
			in, s->run, 0.0, s->now_unit_j - s->now_heat_j / factor);
	return (double)NAN;
}

/* ---- in words ---- */

static char *power_cost(const struct finding_input *in, const struct spell *s, int meter)
{
	const double said_kwh = s->first->values[0] * s->minutes / 60e3;
	return in->config->meters[meter].counted.counts
		       ? xstrdup("The register keeps the sum of electricity right; when "
				 "it was taken is not known.")
		       : xasprintf("Electricity of these minutes, %.1f kWh, is not to be "
				   "trusted.",
				 s->same ? said_kwh : s->unit_j / J_PER_KWH);
}

/* What a frozen sensor does to the account. */
static char *cost_of(const struct finding_input *in, const struct spell *s)
{
	int meter = finding_meter_of(in, s->channel);
	if (s->by == FROZEN_BY_TAP)
		return xstrdup("Hot-water runs by rule go by it; no heat rests on it.");
	if (meter >= 0)
		return power_cost(in, s, meter);
	if (s->by == FROZEN_BY_STARTS)
		return xstrdup("Modes and runs go by it; sums of heat and electricity do "
			       "not.");
	if (s->by == FROZEN_BY_AIR)
		return xstrdup(FINDING_OF_THE_AIR);
	if (!finding_heat_is_computed(in))
		return xstrdup("A heat meter says the heat: heat does not rest on it.");
	return xasprintf("Heat of these minutes, %.1f kWh, is not to be trusted.",
		s->heat_j / J_PER_KWH);
}

/* While what it stood still. */
static char *proof_of(const struct spell *s)
{
	switch (s->by) {
	case FROZEN_BY_PIPE:
		return xasprintf(
			", while the other pipe moved by %.1f K", s->first->values[1]);
	case FROZEN_BY_STARTS:
		return xasprintf(", while the compressor started or stopped %.0f times",
			s->how_much);
	case FROZEN_BY_TAP:
		return xasprintf(
			", while for %.0f minutes hot water was made", s->how_much);
	case FROZEN_BY_PUMP:
		return s->last->values[5] >= APART_LEAST_MIN
			       ? xasprintf(", while the compressor started or stopped "
					   "%.0f times and water lay in the pipes, warm "
					   "in one and cold in the other, for %.0f "
					   "minutes of a day",
					 s->how_much, s->last->values[5])
			       : xasprintf(", while the compressor started or stopped "
					   "%.0f times; before, it changed in most "
					   "minutes",
					 s->how_much);
	case FROZEN_BY_AIR:
	case FROZEN_BY_STANDING:
		break;
	}
	return xstrdup("; out of doors no air is that still");
}

static char *text_of(const struct finding_input *in, const struct spell *s)
{
	_cleanup_(freep) char *cost = cost_of(in, s), *proof = proof_of(s);
	const char *alike = s->same ? "" : " at last";
	size_t days = s->run.hits;
	char at[32], on[32] = "";
	time_text_local(s->first->at_min * MS_PER_MIN, at);
	if (days > 1)
		(void)snprintf(on, sizeof(on), " of %zu days", days);
	if (s->by == FROZEN_BY_STANDING)
		return xasprintf("From %s on it said %.2f%s, and the return %.2f, for "
				 "%.0f minutes%s without flow or a change in the last "
				 "digit: pipes that stand apart cool toward the room.",
			at, s->last->values[0], alike, s->last->values[1], s->minutes,
			on);
	return xasprintf("From %s on it said %.2f%s for %.0f minutes%s without a change "
			 "in the last digit%s. %s",
		at, s->last->values[0], alike, s->minutes, on, proof, cost);
}

static char *remedy_of(const struct finding_input *in, const struct spell *s)
{
	if (finding_meter_of(in, s->channel) >= 0)
		return xstrdup("The meter's reader or the gateway repeated an old value. "
			       "Look at its log of that time, start it anew, and hold "
			       "what it says against the meter's own display.");
	return xasprintf("The sensor or its bus hung, or the gateway repeated an old "
			 "value. Look at the gateway's log of that time and, if the "
			 "sensor is your own, outside the unit, at its wiring; what is "
			 "inside is for a qualified person.%s",
		s->by == FROZEN_BY_PUMP
			? " If since then the pump keeps one speed without a stop, and "
			  "the unit works its flow out of that, nothing is to be done."
			: "");
}

static void add_spell(
	const struct finding_input *in, const struct spell *s, struct finding_list *list)
{
	struct finding f = finding_new(in, FINDING_CHANNEL_FROZEN,
		in->config->channels[s->channel].name, s->run);
	f.since_ms = s->first->at_min * MS_PER_MIN;
	f.until_ms = (s->last->at_min + s->last->minutes) * MS_PER_MIN;
	f.size = s->minutes;
	f.unit = "min";
	f.effect = effect_of(in, s);
	f.evidence = text_of(in, s);
	f.remedy = remedy_of(in, s);
	finding_add(list, &f);
}

/* ---- spells ---- */

static bool goes_on(const struct spell *s, const struct evidence *e, size_t day)
{
	size_t days = day - s->run.last;
	return days <= 1 ||
	       (days <= SPELL_GAP_DAYS && s->last->values[0] == e->values[0]);
}

static void take(struct spell *s, size_t day, const struct evidence *e)
{
	if (!s->first)
		*s = (struct spell){.channel = s->channel,
			.by = s->by,
			.run = {.first = day, .open = day == 0},
			.first = e,
			.same = true};
	s->run.hits += !s->last || s->run.last != day;
	s->run.last = day;
	s->same = s->same && e->values[0] == s->first->values[0];
	s->last = e;
	s->minutes += (double)e->minutes;
	s->how_much += e->values[1];
	s->heat_j += e->values[2];
	s->unit_j += e->values[3];
}

/* Of the season in which it ends, which is known at its end. */
static void end_spell(
	const struct finding_input *in, struct spell *s, struct finding_list *list)
{
	struct run now = finding_in_season(in, s->run);
	for (size_t d = now.first; d <= now.last; d++)
		for (size_t i = 0; i < in->days[d].count; i++) {
			const struct evidence *e = &in->days[d].items[i];
			if (!counts(in, s, d, e))
				continue;
			s->now_heat_j += e->values[2];
			s->now_unit_j += e->values[3];
		}
	add_spell(in, s, list);
	*s = (struct spell){.channel = s->channel, .by = s->by};
}

static void find_spells(const struct finding_input *in, int channel, enum frozen_by by,
	struct finding_list *list)
{
	struct spell s = {.channel = channel, .by = by};
	for (size_t d = 0; d < in->day_count; d++)
		for (size_t i = 0; i < in->days[d].count; i++) {
			const struct evidence *e = &in->days[d].items[i];
			if (!counts(in, &s, d, e))
				continue;
			if (s.first && !goes_on(&s, e, d))
				end_spell(in, &s, list);
			take(&s, d, e);
		}
	if (s.first)
		end_spell(in, &s, list);
}

static bool any_stood(const struct finding_input *in, int channel)
{
	for (size_t d = 0; d < in->day_count; d++)
		if (finding_item(&in->days[d], EVIDENCE_FROZEN, channel))
			return true;
	return false;
}

/* ---- the pressure ---- */

enum { BAR_DAYS = 7, BAR_BACK_DAYS = 60, BAR_MOVED_DAYS = 10 };
#define MOVED_SHARE   0.8
#define SWING_SHARE   0.5
#define SWING_LEAST_K 5.0

static const struct evidence *bar_of(const struct finding_input *in, size_t day)
{
	return finding_item(&in->days[day], EVIDENCE_PRESSURE, -1);
}

static bool bar_stood(const struct evidence *e)
{
	return e->values[2] == e->values[3];
}

/* The middle of the water's swings on days [first, last] on which the pressure moved, or
 * stood; and how many there were. */
static double swing_of(const struct finding_input *in, size_t first, size_t last,
	bool stood, size_t *ret_days)
{
	double *swings = xmalloc((last - first + 1) * sizeof(*swings));
	size_t count = 0;
	for (size_t d = first; d <= last; d++) {
		const struct evidence *e = bar_of(in, d);
		if (e && bar_stood(e) == stood && !isnan(e->values[4]))
			swings[count++] = e->values[4];
	}
	double middle = evidence_median(swings, count);
	*ret_days = count;
	free(swings);
	return middle;
}

static void judge_bar(
	const struct finding_input *in, struct run run, struct finding_list *list)
{
	size_t back = run.first > BAR_BACK_DAYS ? run.first - BAR_BACK_DAYS : 0;
	size_t moved = 0, stood = 0, days;
	if (run.hits < BAR_DAYS || run.first == 0)
		return;
	double usual_k = swing_of(in, back, run.first - 1, false, &moved);
	(void)swing_of(in, back, run.first - 1, true, &stood);
	double now_k = swing_of(in, run.first, run.last, true, &days);
	if (moved < BAR_MOVED_DAYS ||
		(double)moved < MOVED_SHARE * (double)(moved + stood) ||
		!(now_k >= SWING_LEAST_K && now_k >= SWING_SHARE * usual_k))
		return;
	struct finding f = finding_new(
		in, FINDING_CHANNEL_FROZEN, role_name(ROLE_WATER_PRESSURE), run);
	f.size = (double)run.hits * (double)MIN_PER_DAY;
	f.unit = "min";
	f.evidence = xasprintf(
		"For %zu days it said %.2f bar without a change in the last digit, while "
		"the water's temperature moved by %.0f K a day; on %zu of %zu days "
		"before it moved with that. A leak would not be seen. Heat and "
		"electricity do not rest on it.",
		run.hits, bar_of(in, run.last)->values[2], now_k, moved, moved + stood);
	f.remedy = xstrdup(
		"Hold it against the circuit's own gauge. The sensor or its bus hung, or "
		"the gateway repeats an old value: see its log of that time and start "
		"it anew.");
	finding_add(list, &f);
}

static void find_bar(const struct finding_input *in, struct finding_list *list)
{
	struct run run = {0};
	const struct evidence *last = NULL; /* of a spell */
	for (size_t d = 0; d < in->day_count; d++) {
		const struct evidence *e = bar_of(in, d);
		if (!e)
			continue;
		bool same = last && bar_stood(e) && e->values[2] == last->values[2];
		if (last && !same) {
			judge_bar(in, run, list);
			last = NULL;
		}
		if (!bar_stood(e))
			continue;
		if (!last)
			run = (struct run){.first = d};
		run.last = d;
		run.hits++;
		last = e;
	}
	if (last)
		judge_bar(in, run, list);
}

void find_frozen(const struct finding_input *in, struct finding_list *list)
{
	for (size_t c = 0; c < in->config->channel_count; c++)
		if (any_stood(in, (int)c))
			for (int by = 0; by <= FROZEN_BY_PUMP; by++)
				find_spells(in, (int)c, (enum frozen_by)by, list);
	find_bar(in, list);
}
