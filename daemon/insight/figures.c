/*
 * The arithmetic of /v1/energy: which sums make which figure at a boundary.
 *
 * A sum of parts is the sum of the parts that are known; its observed time is the least
 * over its parts, so a part that is missing shows there. Heat at the boundary is what the
 * heat source measured, less the electricity of meters that the boundary takes off, plus
 * that of meters that count as heat; it is null when the heat source knew nothing (its
 * additions alone are no heat of the plant), electricity when no meter of the boundary
 * knew anything. What a register bridged is in the sum, though its time is not observed.
 * Within a mode a sum is also answered when it holds joules that were booked to the mode
 * from another's time (an immersion heater's always belong to hot water), so that the
 * modes add up to the columns to the joule.
 *
 * A register without power says when a span began and ended, and not what mode took its
 * energy: that is laid evenly over the span's time, so a mode's part of it is no
 * measurement. Where it is more than a little, the mode has its joules, marked, and no
 * quotient: an interval could not help, as a compressor that runs half of the time and
 * takes nearly all of the electricity would always be told to be twice as good as it is.
 * Where it is little, it is a term of the uncertainty. The whole is none the worse for
 * it.
 *
 * Modes that make no heat have none either: one place decides, for each answer.
 *
 * Cooling is apart: in no column but its own two, positive when heat was drawn from the
 * house. As a mode it is answered as booked (heat negative, no quotient).
 *
 * 1 J = 2.7…e-7 kWh: seven decimals show each joule, and give it back when rounded.
 */
#include <heatbook/figures.h>

#include <heatbook/budget.h>

#include <math.h>

int64_t kwh_of(int64_t j)
{
	/* j * 25/9 has no halves. */
	return (j * 50 + (j < 0 ? -9 : 9)) / 18;
}

static struct cell energy(bool known, int64_t j)
{
	return (struct cell){known, known ? kwh_of(j) : 0};
}

static struct cell time_of(int64_t ms)
{
	return (struct cell){true, ms};
}

static struct cell ratio(double value)
{
	bool known = isfinite(value) && fabs(value) < 1e9;
	return (struct cell){known, known ? llround(value * 1e6) : 0};
}

struct energy_sum figures_sum(const struct energy_bucket *bucket)
{
	struct energy_sum sum = {0};
	for (int m = 0; m < MODE_COUNT; m++)
		if (m != MODE_COOLING)
			energy_sum_add(&sum, &bucket->modes[m]);
	return sum;
}

/* Over the meters of a set: joules, the least known time, and the greatest; whether some
 * joules are known, be it that a register bridged them. */
struct metering {
	int64_t j;
	int64_t least_ms;
	int64_t most_ms;
	bool known;
};

static struct metering meters_of(
	const struct energy_sum *sum, unsigned set, const struct config *config)
{
	struct metering m = {0, INT64_MAX, 0, false};
	for (size_t i = 0; i < config->meter_count; i++) {
		if (!(set & 1u << i))
			continue;
		m.j += sum->meter_j[i];
		if (sum->meter_ms[i] < m.least_ms)
			m.least_ms = sum->meter_ms[i];
		if (sum->meter_ms[i] > m.most_ms)
			m.most_ms = sum->meter_ms[i];
		m.known = m.known || sum->meter_ms[i] > 0 || sum->meter_bridged_ms[i] > 0;
	}
	return m;
}

/* Over the meters of a set. */
static int64_t sum_of(const int64_t joules[static METERS_MOST], unsigned meters)
{
	int64_t j = 0;
	for (size_t i = 0; i < METERS_MOST; i++)
		j += meters & 1u << i ? joules[i] : 0;
	return j;
}

/* A part of heat by the boundary: some meters come off it, some are added. */
static int64_t heat_part(int64_t heat_j, const int64_t meters_j[static METERS_MOST],
	const struct boundary *b)
{
	return heat_j - sum_of(meters_j, b->heat_less) + sum_of(meters_j, b->heat_plus);
}

static int64_t least(int64_t a, int64_t b)
{
	return a < b ? a : b;
}

double figures_watts(int64_t j, int64_t ms)
{
	return ms > 0 ? (double)j * 1000.0 / (double)ms : (double)NAN;
}

/* What was bridged is energy of no known time. */
double figures_meter_w(const struct energy_bucket *bucket, size_t meter)
{
	int64_t j = 0, ms = 0;
	for (size_t m = 0; m < MODE_COUNT; m++) {
		const struct energy_sum *sum = &bucket->modes[m];
		j += sum->meter_j[meter] - sum->meter_bridged_j[meter];
		ms += sum->meter_ms[meter];
	}
	return figures_watts(j, ms);
}

const char *const no_cop_words[NO_COP_COUNT] = {
	[NO_COP_UNPAIRED] = "never known together",
	[NO_COP_LITTLE] = "too little electricity",
	[NO_COP_COOLING] = "cooling",
	[NO_COP_SPREAD] = "electricity is spread evenly over the steps of a register",
	[NO_COP_HEAT_SPREAD] = "heat is spread evenly over the steps of a register",
	[NO_COP_BOUNDARY] = "no boundary is offered",
	[NO_COP_WITHIN] = "immersion electricity is within other modes",
	[NO_COP_REST] = "the mode makes no heat",
};

/* Joules that a register spread over the modes; of electricity the boundary's, without an
 * immersion heater's, which is hot water's whenever it flowed. */
static struct evenly spread_in(
	const struct energy_bucket *bucket, unsigned modes, const struct question *q)
{
	struct evenly spread = {0.0, 0.0};
	for (int m = 0; m < MODE_COUNT; m++) {
		const struct energy_sum *sum = &bucket->modes[m];
		if (!(modes & 1u << m))
			continue;
		spread.heat_j += (double)sum->heat_spread_j;
		for (size_t i = 0; i < q->config->meter_count; i++) {
			double j = (double)sum->meter_spread_j[i];
			if (q->boundary.heat_less & 1u << i)
				spread.heat_j -= j;
			if (q->boundary.meters & 1u << i &&
				q->config->meters[i].serves != DEVICE_IMMERSION)
				spread.electricity_j += j;
		}
	}
	return spread;
}

/* The plant as a whole is mistaken with cooling alone, and that lies in few of its spans:
 * of them what cooling took tells the size, not all that was ever spread. */
static double mistaken(double own_j, double others_j, bool whole)
{
	if (own_j == 0.0 || others_j == 0.0)
		return 0.0;
	return whole ? fabs(others_j) : fmax(fabs(own_j), fabs(others_j));
}

struct evenly figures_evenly(
	const struct energy_bucket *bucket, unsigned modes, const struct question *q)
{
	bool whole = modes == MODES_OF_WHOLE;
	struct evenly own = spread_in(bucket, modes, q);
	struct evenly others = spread_in(bucket, ~modes, q);
	return (struct evenly){mistaken(own.heat_j, others.heat_j, whole),
		mistaken(own.electricity_j, others.electricity_j, whole)};
}

static bool is_much(int64_t spread_j, int64_t of_j, double mistaken_j)
{
	return mistaken_j > 0.0 &&
	       llabs(spread_j) * 100 > llabs(of_j) * SPREAD_MOST_PERCENT;
}

/* Why a mode has no quotient though its sums have one; NO_COP_COUNT: it has. */
static enum no_cop silence(const struct energy_sum *sum, const struct evenly *evenly,
	const struct boundary *b)
{
	if (is_much(sum->paired_electricity_spread_j, sum->paired_electricity_j,
		    evenly->electricity_j))
		return NO_COP_SPREAD;
	if (is_much(sum->paired_heat_spread_j, sum->paired_heat_j, evenly->heat_j))
		return NO_COP_HEAT_SPREAD;
	return b->heat_plus & ~b->meters ? NO_COP_WITHIN : NO_COP_COUNT;
}

/* A defrost takes heat, overrun and freeze protection carry off what is there, standby
 * does nothing: their electricity belongs to the whole, and a quotient of theirs would
 * say nothing of the plant. */
static bool makes_heat(int mode)
{
	return mode != MODE_DEFROST && mode != MODE_OVERRUN && mode != MODE_STANDBY &&
	       mode != MODE_FREEZE_PROTECTION;
}

/* What stands beside a sum when its quotient is formed. */
struct beside {
	int mode; /* -1: the whole; MODE_COUNT: a part of it that is no mode */
	const double *across_j;
	struct evenly evenly;
};

static enum no_cop why_none(const struct energy_sum *sum, const struct beside *beside,
	const struct question *q)
{
	if (beside->mode == MODE_COOLING)
		return NO_COP_COOLING;
	if (!q->boundary.meters)
		return NO_COP_BOUNDARY;
	if (sum->paired_ms == 0)
		return NO_COP_UNPAIRED;
	if (sum->paired_electricity_j < LEAST_DENOMINATOR_J)
		return NO_COP_LITTLE;
	if (!makes_heat(beside->mode))
		return NO_COP_REST;
	return beside->mode < 0 ? NO_COP_COUNT
				: silence(sum, &beside->evenly, &q->boundary);
}

static void fill_ratio(struct cell *cells, const struct energy_sum *sum,
	const struct beside *beside, const struct question *q)
{
	struct uncertainty budget;
	enum no_cop why = why_none(sum, beside, q);
	cells[NO_COP] = (struct cell){why != NO_COP_COUNT, why};
	if (why != NO_COP_COUNT)
		return;
	cells[COP] =
		ratio((double)sum->paired_heat_j / (double)sum->paired_electricity_j);
	if (budget_paired(sum, beside->across_j, &beside->evenly, q, &budget))
		cells[COP_UNCERTAINTY] = ratio(budget.ratio_expanded);
}

/* Some of it is known, be it that a register bridged it. */
static bool heat_has_value(const struct energy_sum *sum)
{
	return sum->heat_ms > 0 || sum->heat_bridged_ms > 0;
}

/* `heat_known` and `electricity_known` say that the whole has the value, so that joules
 * in a part without time of its own are answered too. */
static struct figures figures_of(const struct energy_sum *sum,
	const struct beside *beside, const struct question *q, bool heat_known,
	bool electricity_known)
{
	struct figures f = {0};
	struct cell *c = f.cells;
	const struct boundary *b = &q->boundary;
	struct metering drawn = meters_of(sum, b->meters, q->config);
	struct metering less = meters_of(sum, b->heat_less, q->config);
	struct metering plus = meters_of(sum, b->heat_plus, q->config);
	int64_t heat_j = sum->heat_j - less.j + plus.j;
	c[HEAT] = energy(heat_has_value(sum) || (heat_known && heat_j), heat_j);
	c[ELECTRICITY] = energy(drawn.known || (electricity_known && drawn.j), drawn.j);
	c[PAIRED_HEAT] = energy(sum->paired_ms > 0, sum->paired_heat_j);
	c[PAIRED_ELECTRICITY] = energy(sum->paired_ms > 0, sum->paired_electricity_j);
	c[BRIDGED_HEAT] = energy(true, sum->bridged_heat_j);
	c[BRIDGED_ELECTRICITY] = energy(true, sum->bridged_electricity_j);
	c[SPREAD_HEAT] = energy(true, sum->heat_spread_j);
	c[SPREAD_ELECTRICITY] = energy(true, sum_of(sum->meter_spread_j, b->meters));
	c[PROVISIONAL_HEAT] = energy(
		true, heat_part(sum->heat_provisional_j, sum->meter_provisional_j, b));
	c[PROVISIONAL_ELECTRICITY] =
		energy(true, sum_of(sum->meter_provisional_j, b->meters));
	c[OBSERVED_S] = time_of(sum->observed_ms);
	c[HEAT_OBSERVED_S] =
		time_of(least(sum->heat_ms, least(less.least_ms, plus.least_ms)));
	c[ELECTRICITY_OBSERVED_S] = time_of(b->meters ? drawn.least_ms : 0);
	c[PAIRED_S] = time_of(sum->paired_ms);
	c[BRIDGED_S] = time_of(sum->bridged_ms);
	fill_ratio(c, sum, beside, q);
	return f;
}

/* Of all that is provisional in a bucket, the part of a mode. */
static double provisional_share(const struct energy_bucket *bucket, int mode, size_t q)
{
	double own_j = 0.0, all_j = 0.0;
	for (int m = 0; m < MODE_COUNT; m++) {
		const struct energy_sum *sum = &bucket->modes[m];
		double j =
			fabs((double)(q == COUNTED_HEAT ? sum->heat_provisional_j
							: sum->meter_provisional_j[q]));
		all_j += j;
		own_j += m == mode ? j : 0.0;
	}
	return all_j > 0.0 ? own_j / all_j : 0.0;
}

/* What lies across the ends may be of any mode that has some of it. */
void figures_timing(const struct energy_bucket *bucket, int mode, bool paired,
	double ret_j[static COUNTED_MOST])
{
	const double *across_j = paired ? bucket->across_known_j : bucket->across_j;
	bool whole = mode < 0;
	bool across = whole || bucket->modes[mode].paired_electricity_spread_j ||
		      bucket->modes[mode].paired_heat_spread_j;
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		double open_j = bucket->open_j[q];
		if (open_j != 0.0 && !whole)
			open_j *= provisional_share(bucket, mode, q);
		ret_j[q] = hypot(across ? across_j[q] : 0.0, open_j);
	}
}

static void fill_unplaced(const struct energy_bucket *bucket, const struct boundary *b,
	struct cell cells[static COLUMN_COUNT])
{
	const int64_t *j = bucket->unplaced_j; /* the meters' first */
	cells[UNPLACED_HEAT] = energy(true, heat_part(j[COUNTED_HEAT], j, b));
	cells[UNPLACED_ELECTRICITY] = energy(true, sum_of(j, b->meters));
}

static struct figures figures_beside(const struct energy_bucket *bucket,
	const struct beside *beside, const struct question *q)
{
	struct energy_sum sum = figures_sum(bucket);
	const struct energy_sum *cooling = &bucket->modes[MODE_COOLING];
	struct figures f = figures_of(&sum, beside, q, false, false);
	struct metering drawn = meters_of(cooling, q->boundary.meters, q->config);
	/* Where heat was known and nothing cooled, cooling is a known 0. */
	bool cooled = cooling->observed_ms > 0 || cooling->heat_j || drawn.j;
	f.cells[COOLING] =
		energy(cooling->heat_ms > 0 || (!cooled && f.cells[HEAT].known),
			-cooling->heat_j);
	f.cells[COOLING_ELECTRICITY] =
		energy(drawn.known || (!cooled && f.cells[ELECTRICITY].known), drawn.j);
	fill_unplaced(bucket, &q->boundary, f.cells);
	f.cells[T] = time_of(bucket->t_ms);
	f.cells[T_END] = time_of(bucket->t_end_ms);
	return f;
}

struct figures figures_whole(const struct energy_bucket *bucket, const struct question *q)
{
	double timing_j[COUNTED_MOST];
	figures_timing(bucket, -1, true, timing_j);
	const struct beside beside = {
		-1, timing_j, figures_evenly(bucket, MODES_OF_WHOLE, q)};
	return figures_beside(bucket, &beside, q);
}

/* All that was spread in it may belong to the time before and after it. */
struct figures figures_chosen(
	const struct energy_bucket *bucket, const struct question *q)
{
	struct evenly spread = spread_in(bucket, MODES_OF_WHOLE, q);
	bool cooling = bucket->modes_seen == 1u << MODE_COOLING;
	const struct beside beside = {cooling ? MODE_COOLING : MODE_COUNT, NULL,
		{fabs(spread.heat_j), fabs(spread.electricity_j)}};
	return figures_beside(bucket, &beside, q);
}

struct figures figures_mode(
	const struct energy_bucket *bucket, int mode, const struct question *q)
{
	struct energy_sum whole = figures_sum(bucket);
	struct metering drawn = meters_of(&whole, q->boundary.meters, q->config);
	struct question own = *q;
	if (mode == MODE_COOLING) /* the boundary's additions are to heating */
		own.boundary.heat_less = own.boundary.heat_plus = 0;
	const struct energy_sum *sum = &bucket->modes[mode];
	double timing_j[COUNTED_MOST];
	figures_timing(bucket, mode, true, timing_j);
	const struct beside beside = {
		mode, timing_j, figures_evenly(bucket, 1u << mode, q)};
	struct figures f =
		figures_of(sum, &beside, &own, heat_has_value(&whole), drawn.known);
	f.cells[T] = time_of(bucket->t_ms);
	f.cells[T_END] = time_of(bucket->t_end_ms);
	return f;
}

const char *figures_largest_term(
	const struct energy_bucket *bucket, const struct question *q)
{
	struct energy_sum sum = figures_sum(bucket);
	struct evenly evenly = figures_evenly(bucket, MODES_OF_WHOLE, q);
	struct uncertainty u;
	double known_j[COUNTED_MOST], all_j[COUNTED_MOST];
	figures_timing(bucket, -1, true, known_j);
	figures_timing(bucket, -1, false, all_j);
	if (!budget_paired(&sum, known_j, &evenly, q, &u))
		u = budget_whole(&sum, all_j, &evenly, q);
	return u.largest < TERM_COUNT ? uncertainty_term_name(u.largest) : NULL;
}
