/*
 * The arithmetic of /v1/cost. See cost_figures.h.
 *
 * What heat costs is a ratio of sums over the same minutes, those of /v1/energy's
 * quotient whose price is known, and there is one where there is that quotient. Its
 * relative uncertainty is the quotient's, since prices are exact. What a bucket costs is
 * as sure as its electricity; what a register bridged was drawn at no known time, and
 * widens that to the cheapest and the dearest price of its span.
 */
#include <heatbook/cost_figures.h>

#include <heatbook/budget.h>

#include <math.h>

#define LEAST_HEAT_J 36000.0 /* 0.01 kWh, as of the denominator of a quotient */

static double kwh(double j)
{
	return j / J_PER_KWH;
}

/* Of seven decimals, NaN where it is unknown. */
static double cell_value(const struct figures *f, enum column c, double scale)
{
	return f->cells[c].known ? (double)f->cells[c].value / scale : (double)NAN;
}

/* Expanded, of one. */
static double quotient_uncertainty(const struct figures *f)
{
	if (!f->cells[COP].known || !f->cells[COP_UNCERTAINTY].known ||
		f->cells[COP].value == 0)
		return (double)NAN;
	return fabs(
		(double)f->cells[COP_UNCERTAINTY].value / (double)f->cells[COP].value);
}

/* What is known of `known_j` out of the electricity; 0 where there is none to be known.
 */
static double or_none(double value, double known_j, double electricity_kwh)
{
	return known_j != 0.0 || electricity_kwh == 0.0 ? value : (double)NAN;
}

static void fill(const struct figures *f, bool split, const struct cost_sum *sum,
	const struct cost_sum *paired, double heat_j, double carbon_heat_j,
	double electricity_uncertainty, double *v)
{
	double electricity = cell_value(f, ELECTRICITY, 1e7);
	double cost = or_none(sum->cost, sum->priced_j, electricity);
	double carbon = or_none(sum->carbon_g / 1e3, sum->carbon_j, electricity);
	double relative = electricity == 0.0 ? 0.0 : electricity_uncertainty;
	bool ratio = f->cells[COP].known && heat_j >= LEAST_HEAT_J;
	v[COST_ELECTRICITY] = electricity;
	v[COST_OBSERVED] = cell_value(f, ELECTRICITY_OBSERVED_S, 1e3);
	v[COST_PRICED] = isnan(electricity) ? (double)NAN : kwh(sum->priced_j);
	v[COST_UNPRICED] = electricity - kwh(sum->priced_j);
	v[COST_COST] = cost;
	v[COST_LOW] = cost - fabs(cost) * relative;
	v[COST_HIGH] = cost + fabs(cost) * relative;
	v[COST_PRICE_PAID] = sum->priced_j >= LEAST_DENOMINATOR_J
				     ? cost / kwh(sum->priced_j)
				     : (double)NAN;
	v[COST_OWN] = split && !isnan(cost) ? kwh(sum->own_j) : (double)NAN;
	v[COST_OWN_COST] = split && !isnan(cost) ? sum->own_cost : (double)NAN;
	v[COST_PAIRED_HEAT] = paired->priced_j != 0.0 ? kwh(heat_j) : (double)NAN;
	v[COST_PAIRED_COST] = paired->priced_j != 0.0 ? paired->cost : (double)NAN;
	v[COST_A_HEAT] = ratio ? paired->cost / kwh(heat_j) : (double)NAN;
	double half = fabs(v[COST_A_HEAT]) * quotient_uncertainty(f);
	v[COST_A_HEAT_LOW] = v[COST_A_HEAT] - half;
	v[COST_A_HEAT_HIGH] = v[COST_A_HEAT] + half;
	v[COST_CARBON_KNOWN] = isnan(electricity) ? (double)NAN : kwh(sum->carbon_j);
	v[COST_CARBON] = carbon;
	v[COST_CARBON_LOW] = carbon - fabs(carbon) * relative;
	v[COST_CARBON_HIGH] = carbon + fabs(carbon) * relative;
	v[COST_CARBON_A_HEAT] = f->cells[COP].known && carbon_heat_j >= LEAST_HEAT_J
					? paired->carbon_g / 1e3 / kwh(carbon_heat_j)
					: (double)NAN;
}

static double whole_heat(const double modes[static MODE_COUNT])
{
	double sum = 0.0;
	for (int m = 0; m < MODE_COUNT; m++)
		sum += m == MODE_COOLING ? 0.0 : modes[m];
	return sum;
}

void cost_figures_whole(const struct energy_bucket *energy,
	const struct cost_bucket *cost, const struct question *q,
	struct cost_figures *ret)
{
	const struct figures f = figures_whole(energy, q);
	const struct energy_sum sum = figures_sum(energy);
	const struct evenly evenly = figures_evenly(energy, MODES_OF_WHOLE, q);
	double all_j[COUNTED_MOST], *v = ret->values;
	figures_timing(energy, -1, false, all_j);
	const struct uncertainty u = budget_whole(&sum, all_j, &evenly, q);
	const struct cost_sum whole = cost_whole(cost->modes);
	const struct cost_sum paired = cost_whole(cost->paired);
	const struct cost_sum *cooling = &cost->modes[MODE_COOLING];
	fill(&f, site_splits(&q->config->cost->site), &whole, &paired,
		whole_heat(cost->paired_heat_j), whole_heat(cost->carbon_heat_j),
		COVERAGE_FACTOR * u.electricity, v);
	v[COST_LOW] -= cost->bridged.cost - cost->bridged_low;
	v[COST_HIGH] += cost->bridged_high - cost->bridged.cost;
	v[COST_BRIDGED] = isnan(v[COST_COST]) ? (double)NAN : kwh(cost->bridged.j);
	v[COST_STANDING] = cost->standing;
	v[COST_COOLING_ELECTRICITY] = cell_value(&f, COOLING_ELECTRICITY, 1e7);
	v[COST_COOLING] =
		or_none(cooling->cost, cooling->priced_j, v[COST_COOLING_ELECTRICITY]);
}

void cost_figures_mode(const struct energy_bucket *energy, const struct cost_bucket *cost,
	int mode, const struct question *q, struct cost_figures *ret)
{
	const struct figures f = figures_mode(energy, mode, q);
	const struct evenly evenly = figures_evenly(energy, 1u << mode, q);
	double all_j[COUNTED_MOST];
	figures_timing(energy, mode, false, all_j);
	const struct uncertainty u =
		budget_whole(&energy->modes[mode], all_j, &evenly, q);
	for (int c = 0; c < COST_COLUMNS; c++)
		ret->values[c] = (double)NAN;
	fill(&f, site_splits(&q->config->cost->site), &cost->modes[mode],
		&cost->paired[mode], cost->paired_heat_j[mode], cost->carbon_heat_j[mode],
		COVERAGE_FACTOR * u.electricity, ret->values);
}

void cost_figures_other(const struct energy_bucket *energy,
	const struct cost_other *other, const struct question *q,
	double ret[static OTHER_COLUMNS])
{
	const struct energy_sum sum = figures_sum(energy);
	const struct evenly evenly = figures_evenly(energy, MODES_OF_WHOLE, q);
	double known_j[COUNTED_MOST], heat = (double)NAN, electricity = (double)NAN;
	struct uncertainty u;
	bool any = other->heat_j >= LEAST_HEAT_J;
	figures_timing(energy, -1, true, known_j);
	if (budget_paired(&sum, known_j, &evenly, q, &u)) {
		heat = COVERAGE_FACTOR * u.heat;
		electricity = COVERAGE_FACTOR * u.electricity;
	}
	for (int c = 0; c < OTHER_COLUMNS; c++)
		ret[c] = (double)NAN;
	if (!any)
		return;
	double half = fabs(other->cost) * heat;
	/* Both are of one heat, but the plant's cost does not hang on it. */
	double saved_half = hypot(half, fabs(other->own_cost) * electricity);
	ret[OTHER_HEAT] = kwh(other->heat_j);
	ret[OTHER_COST] = other->cost;
	ret[OTHER_COST_LOW] = other->cost - half;
	ret[OTHER_COST_HIGH] = other->cost + half;
	ret[OTHER_SAVED] = other->cost - other->own_cost;
	ret[OTHER_SAVED_LOW] = ret[OTHER_SAVED] - saved_half;
	ret[OTHER_SAVED_HIGH] = ret[OTHER_SAVED] + saved_half;
	if (other->carbon_heat_j < LEAST_HEAT_J)
		return;
	ret[OTHER_CARBON] = other->carbon_g / 1e3;
	ret[OTHER_SAVED_CARBON] = (other->carbon_g - other->own_carbon_g) / 1e3;
}
