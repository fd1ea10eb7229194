/*
 * The uncertainty budget in answers: expanded half-widths with their coverage factor, the
 * largest term by name, each term's part of heat, electricity and their ratio, and what
 * was taken for the instruments' limits.
 *
 * Heat and electricity are the totals; the ratio is that of the paired sums. A term that
 * plays no part is left out.
 */
#include "face.h"

#include <heatbook/budget.h>

#include <math.h>

#define LIMIT_DECIMALS 4

static double kwh(double joules)
{
	return joules / J_PER_KWH;
}

static double expanded(double u)
{
	return COVERAGE_FACTOR * u;
}

static void write_term(struct json *json, enum uncertainty_term term,
	const struct term *whole, const struct term *paired)
{
	if (!(whole->heat_j > 0.0 || whole->electricity_j > 0.0 ||
		    (paired && paired->ratio > 0.0)))
		return;
	json_object(json, NULL);
	json_text(json, "term", uncertainty_term_name(term));
	json_number(json, "heat_kwh", expanded(kwh(whole->heat_j)), KWH_DECIMALS);
	json_number(json, "electricity_kwh", expanded(kwh(whole->electricity_j)),
		KWH_DECIMALS);
	if (paired)
		json_number(json, "cop", expanded(paired->ratio), RATIO_DECIMALS);
	else
		json_null(json, "cop");
	json_object_end(json);
}

static void write_limits(struct json *json, const struct config *config)
{
	const struct plant_config *p = &config->plant;
	json_object(json, "limits");
	json_number(json, "pair_k", p->pair_limit.k, LIMIT_DECIMALS);
	json_number(json, "pair_percent", p->pair_limit.percent, LIMIT_DECIMALS);
	json_number(json, "flow_percent", p->flow_limit_percent, LIMIT_DECIMALS);
	if (p->heat_source != HEAT_COMPUTED)
		json_number(json, "heat_source_percent", p->source_limit_percent,
			LIMIT_DECIMALS);
	json_object(json, "meters_percent");
	for (size_t m = 0; m < config->meter_count; m++)
		json_number(json, config->meters[m].name, config->meters[m].limit_percent,
			LIMIT_DECIMALS);
	json_object_end(json);
	json_object_end(json);
}

void json_budget(struct json *json, const char *key, const struct energy_bucket *bucket,
	const struct question *q)
{
	const struct energy_sum sum = figures_sum(bucket);
	struct evenly evenly = figures_evenly(bucket, MODES_OF_WHOLE, q);
	double known_j[COUNTED_MOST], all_j[COUNTED_MOST];
	figures_timing(bucket, -1, true, known_j);
	figures_timing(bucket, -1, false, all_j);
	struct uncertainty whole = budget_whole(&sum, all_j, &evenly, q);
	struct uncertainty paired;
	bool ratio = budget_paired(&sum, known_j, &evenly, q, &paired);
	json_object(json, key);
	json_number(json, "coverage_factor", COVERAGE_FACTOR, 0);
	json_number(json, "heat_kwh",
		sum.heat_ms > 0 || sum.heat_bridged_ms > 0 ? kwh(whole.heat_expanded_j)
							   : (double)NAN,
		KWH_DECIMALS);
	json_number(json, "electricity_kwh",
		q->boundary.meters ? kwh(whole.electricity_expanded_j) : (double)NAN,
		KWH_DECIMALS);
	json_number(
		json, "cop", ratio ? paired.ratio_expanded : (double)NAN, RATIO_DECIMALS);
	json_text(json, "largest_term", figures_largest_term(bucket, q));
	json_array(json, "terms");
	for (int i = 0; i < TERM_COUNT; i++)
		write_term(json, (enum uncertainty_term)i, &whole.terms[i],
			ratio ? &paired.terms[i] : NULL);
	json_array_end(json);
	write_limits(json, q->config);
	json_object_end(json);
}
