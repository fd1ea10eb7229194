/*
 * Numbers that stand still where they cannot: power and frequency of the compressor, each
 * while the other says that it started and stopped; a flow that stood across these; a
 * cylinder while hot water is made; all that a source says together (what else must have
 * stood is the finding's to ask).
 *
 * A run of one speed has one value, and so has rest; across starts and stops none has.
 * One of each is what a meter that is late shows in an evening of rest: two are asked
 * for. Own judgement, by a year of an invented plant.
 */
#include "evidence.h"

#include <heatbook/boundary.h>
#include <heatbook/rules.h>

#include <math.h>

/* Frequency and cylinder may be asked for seldom. */
enum { POWER_STUCK_MIN = 25, HZ_STUCK_MIN = 90, TANK_STUCK_MIN = 150, TAP_MIN = 45 };
enum { RATE_STUCK_MIN = 150, REST_MIN = 10 };
#define APART_K 1.5 /* of a pair that is off by no more than it may */
enum { CROSSED_LEAST = 4, SIDE_MIN = 10, REPEATED_LEAST = 3 };
enum { REPEATED_MIN = 90 };

/* ---- across starts and stops ---- */

/* A stretch of one value, and what was seen within. */
struct stuck {
	size_t from, to, crossed, tapped;
	size_t side[2]; /* minutes beside which the other stood, and ran */
};

/* Of each minute 1, 0, or -1 where nothing tells; what the values are held against. By
 * frequency, without one by modes that flags told. */
static void by_unit(const struct day_view *view, signed char *ret)
{
	bool by_flag = !view->frequency_hz && !rules_needed(view->day->config).compressor;
	for (size_t i = 0; i < view->count; i++) {
		double hz = view->frequency_hz ? view->frequency_hz[i] : (double)NAN;
		ret[i] = by_flag     ? running_by_mode(view->day->booked[i].mode)
			 : isnan(hz) ? -1
				     : hz > 0.0;
	}
}

/* Neither a pump nor a crankcase heater counts. */
static void by_power(const struct day_view *view, signed char *ret)
{
	double on_w = SURELY_ON * view->day->config->modes.compressor_on_w;
	for (size_t i = 0; i < view->count; i++) {
		double w = fabs(view->compressor_w[i]);
		ret[i] = isnan(w) ? -1 : w > on_w;
	}
}

/* The longest stretch of one value that what is beside it crosses often enough. */
static struct stuck longest_stuck(
	const double *values, const signed char *beside, size_t count)
{
	struct stuck best = {0}, now = {0};
	signed char last = -1;
	for (size_t i = 0; i <= count; i++) {
		if (i == count || values[i] != values[now.from]) { /* NaN, too */
			now.to = i;
			if (now.crossed >= CROSSED_LEAST && now.side[0] >= SIDE_MIN &&
				now.side[1] >= SIDE_MIN &&
				now.to - now.from > best.to - best.from)
				best = now;
			now = (struct stuck){.from = i};
			last = -1;
		}
		if (i == count || beside[i] < 0)
			continue;
		now.crossed += last >= 0 && beside[i] != last;
		last = beside[i];
		now.side[last]++;
	}
	return best;
}

static struct stuck stuck_of(
	const struct day_view *view, int channel, const signed char *beside)
{
	const double *values = day_values(view->day, channel);
	return values ? longest_stuck(values, beside, view->count) : (struct stuck){0};
}

static void look_stuck(const struct day_view *view, int channel,
	const signed char *beside, size_t least_min)
{
	struct stuck s = stuck_of(view, channel, beside);
	if (s.to - s.from >= least_min)
		evidence_add_frozen(view, channel, s.from, s.to, FROZEN_BY_STARTS,
			(double)s.crossed, (double)NAN);
}

/* A phase may be idle while the others run: meters of one channel alone. */
static void look_at_power(const struct day_view *view, const signed char *beside)
{
	const struct config *config = view->day->config;
	for (size_t m = 0; m < config->meter_count; m++) {
		const struct meter_config *meter = &config->meters[m];
		if (meter->serves & DEVICE_COMPRESSOR && meter->power_count == 1)
			look_stuck(view, meter->power[0], beside, POWER_STUCK_MIN);
	}
}

/* ---- the flow ---- */

/* Water that goes round holds one temperature while nothing warms it: minutes of rest in
 * which the pipes lay apart, and so it did not. Nothing else may warm or cool it. */
static double rested_apart(const struct day_view *view, const struct stuck *s)
{
	int off = 0, minutes = 0;
	if (!view->flow_c || !view->return_c ||
		!plant_lacks(view->day->config, DEVICE_BACKUP_HEATER))
		return 0.0;
	for (size_t i = s->from; i < s->to; i++) {
		bool rests = view->running[i] == 0 && !view->frosty[i] &&
			     !view_may_cool(view, i);
		off = rests ? off + 1 : 0;
		minutes += off > REST_MIN &&
			   fabs(view->flow_c[i] - view->return_c[i]) > APART_K;
	}
	return minutes;
}

/* A pump that goes on at one speed may well say one flow: what shows that it stood is for
 * the finding to ask. */
static void look_at_rate(const struct day_view *view, const signed char *beside)
{
	int channel = config_role(view->day->config, ROLE_FLOW_RATE);
	struct stuck s = stuck_of(view, channel, beside);
	if (s.to - s.from < RATE_STUCK_MIN || view->flowing[s.from] != 1)
		return;
	evidence_add_frozen(view, channel, s.from, s.to, FROZEN_BY_PUMP,
		(double)s.crossed, rested_apart(view, &s));
}

/* ---- the cylinder ---- */

static void look_at_cylinder(const struct day_view *view)
{
	int channel = config_role(view->day->config, ROLE_CYLINDER_TEMPERATURE);
	const double *values = day_values(view->day, channel);
	struct stuck best = {0}, now = {0};
	for (size_t i = 0; values && i <= view->count; i++) {
		if (i == view->count || values[i] != values[now.from]) {
			now.to = i;
			if (now.tapped > best.tapped &&
				now.to - now.from >= TANK_STUCK_MIN)
				best = now;
			now = (struct stuck){.from = i};
		}
		if (i < view->count && view->running[i] == 1 && view->tap[i] == 1)
			now.tapped++;
	}
	if (best.tapped < TAP_MIN)
		return;
	evidence_add_frozen(view, channel, best.from, best.to, FROZEN_BY_TAP,
		(double)best.tapped, (double)NAN);
}

/* ---- all of a source ---- */

static bool is_number_of(const struct day_view *view, size_t c, int source)
{
	const struct channel_config *channel = &view->day->config->channels[c];
	return channel->source == source && channel->map_count == 0 &&
	       !config_is_register(view->day->config, c);
}

/* What moves whenever the unit runs; a set point never does, pressure and air need not.
 */
static bool is_lively(const struct day_view *view, int channel)
{
	static const enum role roles[] = {ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE,
		ROLE_FLOW_RATE, ROLE_COMPRESSOR_FREQUENCY, ROLE_HEAT_POWER};
	const struct config *config = view->day->config;
	bool found = false;
	for (size_t r = 0; r < ARRAY_LEN(roles); r++)
		found = found || config_role(config, roles[r]) == channel;
	for (size_t m = 0; m < config->meter_count; m++)
		for (size_t p = 0; p < config->meters[m].power_count; p++)
			found = found || (config->meters[m].serves & DEVICE_COMPRESSOR &&
						 config->meters[m].power[p] == channel);
	return found;
}

/* Whether none of a source's numbers changed since the minute before, came or went, and
 * enough of those that would are known; and how many are known in all. */
static bool repeated_at(
	const struct day_view *view, int source, size_t i, size_t *ret_known)
{
	int lively = 0;
	*ret_known = 0;
	for (size_t c = 0; c < view->day->config->channel_count; c++) {
		const double *values = day_values(view->day, (int)c);
		if (!is_number_of(view, c, source))
			continue;
		if (isnan(values[i]) && isnan(values[i - 1]))
			continue;
		if (values[i] != values[i - 1])
			return false;
		++*ret_known;
		lively += is_lively(view, (int)c);
	}
	return lively >= REPEATED_LEAST;
}

static int first_number(const struct day_view *view, int source)
{
	size_t c = 0;
	while (!is_number_of(view, c, source))
		c++;
	return (int)c;
}

static void add_repeated(const struct day_view *view, int source, size_t from, size_t to)
{
	struct evidence item =
		evidence_new(view, EVIDENCE_REPEATED, first_number(view, source));
	item.at_min += (int64_t)from;
	item.minutes = (int64_t)(to - from);
	size_t known;
	(void)repeated_at(view, source, to - 1, &known);
	item.values[0] = (double)known;
	item.values[1] = item.values[2] = item.values[3] = 0.0;
	evidence_add_booked(view, from, to, &item.values[1]);
	for (size_t i = from; i < to; i++)
		item.values[3] += view->running[i] == 1;
	evidence_add(view->list, &item);
}

static void look_repeated(const struct day_view *view, int source)
{
	size_t from = 0, known;
	for (size_t i = 1; i <= view->count; i++) {
		bool same = i < view->count && repeated_at(view, source, i, &known);
		if (same)
			continue;
		if (i - from >= REPEATED_MIN)
			add_repeated(view, source, from, i);
		from = i;
	}
}

void look_at_stuck(const struct day_view *view)
{
	signed char *beside = xcalloc(view->count + 1, 1);
	by_unit(view, beside);
	look_at_power(view, beside);
	look_at_rate(view, beside);
	by_power(view, beside);
	look_stuck(view, config_role(view->day->config, ROLE_COMPRESSOR_FREQUENCY),
		beside, HZ_STUCK_MIN);
	free(beside);
	look_at_cylinder(view);
	for (size_t s = 0; s < view->day->config->source_count; s++)
		look_repeated(view, (int)s);
}
