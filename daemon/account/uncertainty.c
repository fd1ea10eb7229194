/*
 * The uncertainty budget: see uncertainty.h.
 *
 *     u(Q)² = (S·u_pair)² + (Q·u_flow)² + (Q·u_fluid)²
 *     u(E)² = Σ (E_i·u_i)²            meters are independent of each other
 *     (u(Q/E)/(Q/E))² = (u(Q)/Q)² + (u(E)/E)²
 *
 * The sensitivity S makes the pair's term hold for any mixture of temperature
 * differences, negative ones included: an offset of the pair adds S·offset to Q whatever
 * Q's sign.
 *
 * Not in it: correlation between the numerator and a meter that also corrects it (back-up
 * heater taken off, immersion added), and anything that is not a limit of an instrument.
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
		[TERM_ELECTRICITY] = "electricity",
	};
	assert((unsigned)term < TERM_COUNT);
	return names[term];
}

/* Standard uncertainty of a rectangular distribution of half-width `limit`. */
static double rectangular(double limit)
{
	return limit / sqrt(3.0);
}

static double percent(double limit)
{
	return rectangular(limit / 100.0);
}

static double relative(double u, double value)
{
	return value != 0.0 ? u / fabs(value) : (double)NAN;
}

static double sum_of_squares_root(const double *parts, size_t count)
{
	double sum = 0.0;
	for (size_t i = 0; i < count; i++)
		sum += parts[i] * parts[i];
	return sqrt(sum);
}

static double electricity_u(const struct uncertainty_sums *sums, double *ret_total_j)
{
	double total = 0.0, squares = 0.0;
	for (size_t i = 0; i < sums->meter_count; i++) {
		const struct metered *m = &sums->meters[i];
		double u = m->electricity_j * percent(m->limit_percent);
		total += m->electricity_j;
		squares += u * u;
	}
	*ret_total_j = total;
	return sqrt(squares);
}

static const char *largest_term(const double terms[static TERM_COUNT])
{
	const char *name = NULL;
	double most = 0.0;
	for (int i = 0; i < TERM_COUNT; i++) {
		if (!(terms[i] > most))
			continue;
		most = terms[i];
		name = uncertainty_term_name((enum uncertainty_term)i);
	}
	return name;
}

struct uncertainty uncertainty_of(const struct uncertainty_sums *sums)
{
	struct uncertainty u = {0};
	double q = sums->heat_j, e;
	const double heat_parts[] = {
		[TERM_PAIR] = sums->sensitivity_j_per_k * rectangular(sums->pair_limit_k),
		[TERM_FLOW] = q * percent(sums->flow_limit_percent),
		[TERM_FLUID] = q * percent(sums->fluid_limit_percent),
	};
	u.heat_j = sum_of_squares_root(heat_parts, ARRAY_LEN(heat_parts));
	u.heat = relative(u.heat_j, q);
	u.electricity_j = electricity_u(sums, &e);
	u.electricity = relative(u.electricity_j, e);
	u.ratio_value = e != 0.0 ? q / e : (double)NAN;
	u.ratio = hypot(u.heat, u.electricity);
	u.heat_expanded_j = COVERAGE_FACTOR * u.heat_j;
	u.electricity_expanded_j = COVERAGE_FACTOR * u.electricity_j;
	/* Also where heat is 0, the ratio 0 and no relative uncertainty exists. */
	u.ratio_expanded =
		e != 0.0 ? COVERAGE_FACTOR * hypot(u.heat_j / e, q / e * u.electricity)
			 : (double)NAN;
	for (size_t i = 0; i < ARRAY_LEN(heat_parts); i++)
		u.terms[i] = relative(fabs(heat_parts[i]), q);
	u.terms[TERM_ELECTRICITY] = u.electricity;
	u.largest = largest_term(u.terms);
	return u;
}
