/*
 * The uncertainty budget: see uncertainty.h.
 *
 * Every independent quantity i that may be off (the pair, the flow, each meter) adds a
 * known amount to heat Q and to electricity E at once, dQ_i and dE_i, a standard
 * uncertainty each:
 *
 *     u(Q)² = Σ dQ_i²     u(E)² = Σ dE_i²     u(Q, E) = Σ dQ_i·dE_i
 *     u(Q/E)² = (1/E)²·u(Q)² + (Q/E²)²·u(E)² − 2·(1/E)·(Q/E²)·u(Q, E)
 *
 * Without shared meters the last term is 0 and relative parts add in squares. A heater
 * that counts as heat and as electricity pulls the ratio toward 1 with either: its error
 * moves the ratio by less than the sum of both would. What is taken off the heat and is
 * in no denominator only makes the heat less certain.
 *
 * The sensitivity S makes the pair's term hold for any mixture of temperature
 * differences, negative ones included: an offset of the pair adds S·offset to Q whatever
 * Q's sign. Limits that are percent of the difference or of the volume are percent of Q,
 * a little less than of its parts where some are negative (defrosts).
 *
 * Two readings of a counter are each up to a step late, so their difference is off by
 * less than a step either way, more likely little than much (triangular: a/√6, 4.3.9),
 * however long the span.
 *
 * What a register's energy was spread evenly over may hold time of several modes; within
 * one of them it is taken for a limit like any other, which is only fair while it is
 * small (figures.c).
 *
 * Not in it: anything that is no limit of an instrument, such as a sensor at the wrong
 * place.
 */
#include <heatbook/uncertainty.h>

#include <assert.h>
#include <math.h>

const char *uncertainty_term_name(enum uncertainty_term term)
{
	static const char *const names[TERM_COUNT] = {
		[TERM_PAIR] = "temperature pair",
		[TERM_FLOW] = "flow",
		[TERM_FLUID] = "fluid",
		[TERM_CALCULATOR] = "calculator",
		[TERM_SOURCE] = "heat source",
		[TERM_ELECTRICITY] = "electricity",
		[TERM_STEP] = "register step",
		[TERM_ACROSS] = "timing of registers",
		[TERM_EVENLY] = "even spreading",
	};
	assert((unsigned)term < TERM_COUNT);
	return names[term];
}

/* Standard uncertainty of a rectangular distribution of half-width `limit`. */
static double rectangular(double limit)
{
	return limit / sqrt(3.0);
}

static double triangular(double limit)
{
	return limit / sqrt(6.0);
}

static double percent(double limit)
{
	return rectangular(limit / 100.0);
}

static double relative(double u, double value)
{
	return value != 0.0 ? u / fabs(value) : (double)NAN;
}

double uncertainty_propagated(
	size_t n, const double *sensitivity, const double *covariance)
{
	double sum = 0.0;
	for (size_t i = 0; i < n; i++)
		for (size_t k = 0; k < n; k++)
			sum += sensitivity[i] * sensitivity[k] * covariance[i * n + k];
	return sqrt(fmax(sum, 0.0)); /* what cancels out may leave less than nothing */
}

/* Variances of heat and electricity and their covariance, of one term or of all. */
struct spread {
	double heat, electricity, both;
};

static void spread_add(struct spread *s, double heat_j, double electricity_j)
{
	s->heat += heat_j * heat_j;
	s->electricity += electricity_j * electricity_j;
	s->both += heat_j * electricity_j;
}

static double ratio_u(const struct spread *s, double heat_j, double electricity_j)
{
	if (electricity_j == 0.0)
		return (double)NAN;
	const double sensitivity[] = {
		1.0 / electricity_j, -heat_j / (electricity_j * electricity_j)};
	const double covariance[] = {s->heat, s->both, s->both, s->electricity};
	/* fmax() above would make 0 of what is not known. */
	if (isnan(s->heat) || isnan(s->electricity) || isnan(s->both))
		return (double)NAN;
	return uncertainty_propagated(2, sensitivity, covariance);
}

static double difference_u(
	const struct difference_limit *limit, const struct uncertainty_sums *sums)
{
	return rectangular(fabs(sums->measured_j) * limit->percent / 100.0 +
			   sums->sensitivity_j_per_k * limit->k);
}

static void spread_meter(
	struct spread spreads[static TERM_COUNT], const struct metered *m)
{
	const struct {
		enum uncertainty_term term;
		double u_j;
	} parts[] = {
		{TERM_ELECTRICITY, m->electricity_j * percent(m->limit_percent)},
		{TERM_STEP, triangular(m->counter.step_j)},
		{TERM_ACROSS, rectangular(m->counter.across_j)},
	};
	for (size_t i = 0; i < ARRAY_LEN(parts); i++)
		spread_add(&spreads[parts[i].term], m->in_heat * parts[i].u_j,
			m->in_electricity * parts[i].u_j);
}

static void spread_all(
	const struct uncertainty_sums *sums, struct spread spreads[static TERM_COUNT])
{
	double q = sums->measured_j;
	spread_add(&spreads[TERM_PAIR], difference_u(&sums->pair, sums), 0.0);
	spread_add(&spreads[TERM_FLOW], q * percent(sums->flow_limit_percent), 0.0);
	spread_add(&spreads[TERM_FLUID], q * percent(sums->fluid_limit_percent), 0.0);
	spread_add(&spreads[TERM_CALCULATOR], difference_u(&sums->calculator, sums), 0.0);
	spread_add(&spreads[TERM_SOURCE], q * percent(sums->source_limit_percent), 0.0);
	spread_add(&spreads[TERM_STEP], triangular(sums->counter.step_j), 0.0);
	spread_add(&spreads[TERM_ACROSS], rectangular(sums->counter.across_j), 0.0);
	spread_add(&spreads[TERM_EVENLY], rectangular(sums->evenly_heat_j), 0.0);
	spread_add(&spreads[TERM_EVENLY], 0.0, rectangular(sums->evenly_electricity_j));
	for (size_t i = 0; i < sums->meter_count; i++)
		spread_meter(spreads, &sums->meters[i]);
}

/* Where nothing makes the first figure uncertain, of the next. */
static enum uncertainty_term largest_term(const struct term terms[static TERM_COUNT])
{
	enum uncertainty_term largest[3] = {TERM_COUNT, TERM_COUNT, TERM_COUNT};
	double most[ARRAY_LEN(largest)] = {0.0, 0.0, 0.0};
	for (int i = 0; i < TERM_COUNT; i++) {
		const double u[] = {
			terms[i].ratio, terms[i].heat_j, terms[i].electricity_j};
		for (size_t k = 0; k < ARRAY_LEN(u); k++) {
			if (!(u[k] > most[k]))
				continue;
			most[k] = u[k];
			largest[k] = (enum uncertainty_term)i;
		}
	}
	for (size_t k = 0; k + 1 < ARRAY_LEN(largest); k++)
		if (largest[k] != TERM_COUNT)
			return largest[k];
	return largest[ARRAY_LEN(largest) - 1];
}

struct uncertainty uncertainty_of(const struct uncertainty_sums *sums)
{
	struct uncertainty u = {0};
	struct spread spreads[TERM_COUNT] = {0}, all = {0};
	double q = sums->heat_j, e = sums->electricity_j;
	spread_all(sums, spreads);
	for (int i = 0; i < TERM_COUNT; i++) {
		const struct spread *s = &spreads[i];
		all.heat += s->heat;
		all.electricity += s->electricity;
		all.both += s->both;
		u.terms[i] = (struct term){
			sqrt(s->heat), sqrt(s->electricity), ratio_u(s, q, e)};
	}
	u.heat_j = sqrt(all.heat);
	u.heat = relative(u.heat_j, q);
	u.electricity_j = sqrt(all.electricity);
	u.electricity = relative(u.electricity_j, e);
	u.ratio_value = e != 0.0 ? q / e : (double)NAN;
	/* Also where heat is 0, the ratio 0 and no relative uncertainty exists. */
	u.ratio_expanded = COVERAGE_FACTOR * ratio_u(&all, q, e);
	u.ratio = relative(u.ratio_expanded / COVERAGE_FACTOR, u.ratio_value);
	u.heat_expanded_j = COVERAGE_FACTOR * u.heat_j;
	u.electricity_expanded_j = COVERAGE_FACTOR * u.electricity_j;
	u.largest = largest_term(u.terms);
	return u;
}
