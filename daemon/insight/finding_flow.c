/*
 * Flow that has become less: what the middle of a week's flow is short of the greatest in
 * the four months before.
 *
 * A pump may follow the load, and the weather with it: a spring is no clogged strainer.
 * So flow is set against the weather, day by day: outdoor temperature where there is one,
 * else the day's heat. What it changes by a kelvin (or by a kilowatt-hour) is the middle
 * of what neighbouring days tell, since what clogs moves few of them much. Where that
 * explains a fall over the weather of the span, a day is compared with days of like
 * weather alone, and what little differs is never taken for a fall: pumps stop following
 * at their least and at their most. Thresholds are own judgement.
 */
#include "finding.h"

#include "evidence.h"
#include "evidence_days.h"

#include <math.h>

enum { AROUND_DAYS = 3, WEEK_DAYS = 2 * AROUND_DAYS + 1, BACK_DAYS = 120 };
enum { FLOW_GAP_DAYS = 30, SLOPES_LEAST = 8 };
#define FLOW_FALL 0.08
#define CHANGE_SHARE                                                                     \
	0.04            /* of the span's weather, between neighbours that tell a slope */
#define LIKE_SHARE 0.15 /* of it: like weather */

/* A day's figure in some quantity; NaN: none. */
typedef double day_figure(const struct finding_day *day, const void *context);

/* A value that covers so many minutes, min, is of standing water in part. */
#define FLOW_SELDOM_MIN 10.0

static const struct evidence *flow_of(const struct finding_day *day, const void *context)
{
	const struct finding_input *in = context;
	size_t at = (size_t)(day - in->days);
	const struct evidence *e = finding_item(day, EVIDENCE_FLOW, -1);
	return e && finding_spacing(in, at, -1) < FLOW_SELDOM_MIN ? e : NULL;
}

static double heating_flow(const struct finding_day *day, const void *context)
{
	const struct evidence *e = flow_of(day, context);
	return e ? evidence_heating_flow(e) : (double)NAN;
}

static double tap_flow(const struct finding_day *day, const void *context)
{
	const struct evidence *e = flow_of(day, context);
	return e ? evidence_tap_flow(e) : (double)NAN;
}

struct falls {
	const struct finding_input *in;
	const double *heating, *tap; /* by how much less than before, NaN = not known */
};

/* A pump that follows the load is not a clogged strainer: where hot water has a flow of
 * its own, that must have fallen, too. */
static int flow_fell(const struct finding_day *day, const void *context)
{
	const struct falls *f = context;
	size_t at = (size_t)(day - f->in->days);
	double heating = f->heating[at], tap = f->tap[at];
	if (isnan(heating) && isnan(tap))
		return -1;
	if (isnan(heating) || isnan(tap))
		return fmax(heating, tap) >= FLOW_FALL;
	return heating >= FLOW_FALL && tap >= FLOW_FALL / 2.0;
}

/* ---- against the weather ---- */

/* By day: flow, and weather in its own unit; NaN unknown. */
struct course {
	size_t count;
	double *flow, *weather;
	double span;  /* of the weather */
	double slope; /* of flow by weather; 0 where it does not follow */
};

static double outdoor_of(const struct finding_day *day)
{
	const struct evidence *e = finding_item(day, EVIDENCE_OUTDOOR, -1);
	return e ? e->values[1] : (double)NAN;
}

static double heat_of(const struct finding_day *day)
{
	return day->paired_ms > 0 ? (double)day->paired_heat_j / J_PER_KWH : (double)NAN;
}

static bool has_outdoor(const struct finding_input *in)
{
	for (size_t i = 0; i < in->day_count; i++)
		if (!isnan(outdoor_of(&in->days[i])))
			return true;
	return false;
}

/* The middle of a copy, of what is known. */
static double middle_of(const double *values, size_t count)
{
	double *known = xcalloc(count + 1, sizeof(*known));
	size_t n = 0;
	for (size_t i = 0; i < count; i++)
		if (!isnan(values[i]))
			known[n++] = values[i];
	double middle = evidence_median(known, n);
	free(known);
	return middle;
}

static double slope_of(const struct course *c)
{
	double *slopes = xcalloc(c->count + 1, sizeof(*slopes));
	size_t n = 0;
	for (size_t i = 1; i < c->count; i++) {
		double more = c->weather[i] - c->weather[i - 1];
		double flow = c->flow[i] - c->flow[i - 1];
		if (fabs(more) > CHANGE_SHARE * c->span && !isnan(flow))
			slopes[n++] = flow / more;
	}
	double slope = n >= SLOPES_LEAST ? evidence_median(slopes, n) : 0.0;
	free(slopes);
	return slope;
}

static struct course course_of(const struct finding_input *in, day_figure *figure)
{
	struct course c = {.count = in->day_count};
	double least = INFINITY, most = -INFINITY;
	bool outdoor = has_outdoor(in);
	c.flow = xcalloc(2 * in->day_count + 1, sizeof(*c.flow));
	c.weather = c.flow + in->day_count;
	for (size_t i = 0; i < c.count; i++) {
		const struct finding_day *day = &in->days[i];
		c.flow[i] = figure(day, in);
		c.weather[i] = outdoor ? outdoor_of(day) : heat_of(day);
		if (isnan(c.flow[i]) || isnan(c.weather[i]))
			continue;
		least = fmin(least, c.weather[i]);
		most = fmax(most, c.weather[i]);
	}
	c.span = most > least ? most - least : 0.0;
	c.slope = slope_of(&c);
	if (!(fabs(c.slope) * c.span > FLOW_FALL * middle_of(c.flow, c.count)))
		c.slope = 0.0;
	return c;
}

/* By how much flow is expected to be more in the weather of day `to` than of day `at`. */
static double expected(const struct course *c, size_t at, size_t to)
{
	return c->slope == 0.0 ? 0.0 : c->slope * (c->weather[to] - c->weather[at]);
}

static bool is_like(const struct course *c, size_t a, size_t b)
{
	return c->slope == 0.0 ||
	       fabs(c->weather[a] - c->weather[b]) <= LIKE_SHARE * c->span;
}

/* The middle of a day and those before it that tell, a week in all, in its weather;
 * `sign`: what the weather makes more (1) or less (-1) alone. NaN: too few. */
static double level(const struct course *c, size_t at, int sign)
{
	double values[WEEK_DAYS];
	size_t count = 0;
	if (isnan(c->flow[at]))
		return (double)NAN;
	for (size_t k = at + 1; k-- > 0 && count < ARRAY_LEN(values);) {
		double more = expected(c, k, at);
		double v = c->flow[k] + (more * sign > 0.0 ? more : 0.0);
		if (!isnan(v + more))
			values[count++] = v;
	}
	return count >= AROUND_DAYS ? evidence_median(values, count) : (double)NAN;
}

/* By how much less than before, as a share; NaN not known. */
static double *fall_of(const struct finding_input *in, day_figure *figure)
{
	struct course c = course_of(in, figure);
	double *fall = xcalloc(2 * in->day_count + 1, sizeof(*fall));
	double *low = fall + in->day_count;
	for (size_t i = 0; i < c.count; i++) {
		double most = (double)NAN;
		low[i] = level(&c, i, -1);
		for (size_t k = i; k-- > 0 && i - k <= BACK_DAYS;)
			if (is_like(&c, k, i)) /* of NaN and a number the number */
				most = fmax(most, low[k] + fmin(0.0, expected(&c, k, i)));
		fall[i] = 1.0 - level(&c, i, 1) / most;
	}
	free(c.flow);
	return fall;
}

/* ---- the finding ---- */

/* Water would thin a mixture: it freezes sooner and protects less against rust. */
const char *finding_top_up(enum fluid fluid)
{
	if (fluid == FLUID_WATER)
		return "Top up with water as the unit's papers say.";
	return "The circuit holds a mixture: top up with the same mixture, never with "
	       "water alone, as the unit's papers say. Have its concentration measured, "
	       "then put fluid_percent right.";
}

void find_flow_falling(const struct finding_input *in, struct finding_list *list)
{
	double *heating = fall_of(in, heating_flow), *tap = fall_of(in, tap_flow);
	struct falls falls = {in, heating, tap};
	struct run run;
	size_t at = 0;
	while (finding_run(in, flow_fell, &falls, FLOW_GAP_DAYS, &at, &run)) {
		double most = 0.0;
		for (size_t i = run.first; i <= run.last; i++)
			most = fmax(most, fmax(heating[i], tap[i]));
		if (run.hits < 2)
			continue;
		struct finding f = finding_new(
			in, FINDING_FLOW_FALLING, role_name(ROLE_FLOW_RATE), run);
		f.size = 100.0 * most;
		f.unit = "%";
		f.evidence =
			xasprintf("With the compressor running, the middle flow of a "
				  "week is up to %.0f %% less than in the four months "
				  "before.",
				f.size);
		f.remedy = xasprintf(
			"First see whether valves of rooms were closed or the pump's "
			"step "
			"was changed; if the flow was lowered on purpose, nothing is to "
			"be "
			"done. Else the strainer may be clogged or air be in the "
			"circuit. "
			"A strainer outside the unit: switch the unit off, let the water "
			"cool, close the taps on both sides and relieve the pressure "
			"before it is opened, since hot water under pressure scalds. "
			"What "
			"is inside the unit is for a qualified person. %s",
			finding_top_up(in->config->plant.fluid));
		finding_add(list, &f);
	}
	free(heating);
	free(tap);
}
