/*
 * From sums to the budget. See budget.h, and uncertainty.c for the law.
 *
 * A meter behind which another one lies (`less`) read both: its electricity is the
 * difference of two instruments. So each instrument is taken with its own reading, and
 * counts once for itself and once, the other way, for every meter that it is taken off.
 *
 * Heat that comes without a temperature pair of ours (power, register) has limits that
 * belong to a difference taken at a usual one.
 */
#include <heatbook/budget.h>

#include <heatbook/mixture.h>

#include <math.h>

/* What a meter read, with all that is taken off it; `joules` are by meter, net. */
static double reading_j(const struct config *config, const int64_t *joules, size_t m)
{
	double sum = 0.0;
	/* The configuration refuses circles. */
	for (int at = (int)m; at >= 0; at = config->meters[at].less)
		sum += (double)joules[at];
	return sum;
}

/* How often a meter's reading counts in a sum over a set of meters. */
static double counts_in(const struct config *config, unsigned set, size_t m)
{
	double count = set & 1u << m ? 1.0 : 0.0;
	for (size_t i = 0; i < config->meter_count; i++)
		if (set & 1u << i && config->meters[i].less == (int)m)
			count -= 1.0;
	return count;
}

static struct counter_limit counter_of(
	const struct config *config, size_t quantity, const double *across_j)
{
	const struct counted *c = config_counted(config, quantity);
	struct counter_limit limit = {0};
	if (!c)
		return limit;
	limit.step_j = (double)c->counting.step_j * sqrt((double)c->register_count);
	limit.across_j = across_j ? across_j[quantity] : 0.0;
	return limit;
}

static size_t lay_meters(const struct question *q, const int64_t *joules,
	const double *across_j, struct metered meters[static METERS_MOST])
{
	const struct config *config = q->config;
	size_t count = 0;
	for (size_t m = 0; m < config->meter_count; m++) {
		double electricity = counts_in(config, q->boundary.meters, m);
		double heat = counts_in(config, q->boundary.heat_plus, m) -
			      counts_in(config, q->boundary.heat_less, m);
		if (electricity == 0.0 && heat == 0.0)
			continue;
		meters[count++] = (struct metered){
			.electricity_j = reading_j(config, joules, m),
			.limit_percent = config->meters[m].limit_percent,
			.in_electricity = electricity,
			.in_heat = heat,
			.counter = counter_of(config, m, across_j),
		};
	}
	return count;
}

static int64_t sum_of(const int64_t *joules, unsigned set)
{
	int64_t sum = 0;
	for (size_t m = 0; m < METERS_MOST; m++)
		if (set & 1u << m)
			sum += joules[m];
	return sum;
}

static struct uncertainty budget(const struct question *q, const int64_t *joules,
	int64_t measured_j, double sensitivity_j_per_k, const double *across_j,
	const struct evenly *evenly)
{
	const struct plant_config *plant = &q->config->plant;
	const struct boundary *b = &q->boundary;
	struct metered meters[METERS_MOST];
	bool computed = plant->heat_source == HEAT_COMPUTED;
	const struct uncertainty_sums sums = {
		.heat_j = (double)(measured_j + sum_of(joules, b->heat_plus) -
				   sum_of(joules, b->heat_less)),
		.measured_j = (double)measured_j,
		.sensitivity_j_per_k =
			computed ? sensitivity_j_per_k
				 : fabs((double)measured_j) / INSTRUMENT_DIFFERENCE_K,
		.pair = plant->pair_limit,
		.calculator = plant->calculator_limit,
		.flow_limit_percent = plant->flow_limit_percent,
		.fluid_limit_percent =
			computed ? mixture_spread_percent(plant->fluid) : 0.0,
		.source_limit_percent = plant->source_limit_percent,
		.counter = counter_of(q->config, COUNTED_HEAT, across_j),
		.evenly_heat_j = evenly ? evenly->heat_j : 0.0,
		.evenly_electricity_j = evenly ? evenly->electricity_j : 0.0,
		.electricity_j = (double)sum_of(joules, b->meters),
		.meters = meters,
		.meter_count = lay_meters(q, joules, across_j, meters),
	};
	return uncertainty_of(&sums);
}

bool budget_paired(const struct energy_sum *sum, const double *across_j,
	const struct evenly *evenly, const struct question *q, struct uncertainty *ret)
{
	if (sum->paired_electricity_j < LEAST_DENOMINATOR_J)
		return false;
	int64_t measured_j = sum->paired_heat_j -
			     sum_of(sum->paired_meter_j, q->boundary.heat_plus) +
			     sum_of(sum->paired_meter_j, q->boundary.heat_less);
	*ret = budget(q, sum->paired_meter_j, measured_j, sum->paired_sensitivity_j_per_k,
		across_j, evenly);
	return true;
}

struct uncertainty budget_whole(const struct energy_sum *sum, const double *across_j,
	const struct evenly *evenly, const struct question *q)
{
	return budget(
		q, sum->meter_j, sum->heat_j, sum->sensitivity_j_per_k, across_j, evenly);
}
