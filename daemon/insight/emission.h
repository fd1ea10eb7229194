/*
 * What the files about the flow temperature share. Not for other rooms.
 */
#ifndef INSIGHT_EMISSION_H
#define INSIGHT_EMISSION_H

#include <heatbook/insight_days.h>

/* A row of a day's EVIDENCE_EMISSION, or NULL. */
const struct evidence *emission_row(const struct insight_day *day, int row);

/* How the logarithm of the unit's share of Carnot's quotient goes: by K of flow, by K of
 * source, by the logarithm p of the output in kW, and by p². */
enum share_term { SHARE_FLOW, SHARE_SOURCE, SHARE_OUTPUT, SHARE_OUTPUT_2, SHARE_TERMS };
struct share_law {
	double b[SHARE_TERMS];
	double covariance[SHARE_TERMS][SHARE_TERMS]; /* by leaving out weeks in turn */
	size_t days, weeks;
};
enum share_outcome {
	SHARE_FEW = 1,  /* weeks */
	SHARE_DEPENDENT /* what varied did not vary by itself */
};
enum { SHARE_WEEKS_LEAST = 3 };
/* 0, or an enum share_outcome; `ret` then tells days and weeks. */
int share_law_of(const struct insight_days *days, struct share_law *ret);
/* Variance of the sum of g[i]·b[i]. */
double share_variance(const struct share_law *law, const double g[static SHARE_TERMS]);

/* The emitters: output = k_w · excess^exponent. */
struct emitters {
	double exponent;
	double k_w, sd_w;
	double storage_j_per_k; /* what water and metal take up */
	size_t days;
};
enum { EMITTER_DAYS_LEAST = 10, SETTLED_LEAST_MIN = 60 };
/* False: too few days, or water that never changed; `ret` then tells days. */
bool emitters_of(const struct insight_days *days, double room_c, double exponent,
	struct emitters *ret);

/* With flow, spread and room of one output, the share of it that emitters let pass when
 * the flow is cooler by `by_k`; the spread shrinks with it. */
double emitters_output(
	double exponent, double flow_c, double spread_k, double room_c, double by_k);
/* The flow temperature at which they give off so many W all along, with a spread of
 * `spread_k_per_w`. */
double emitters_flow_c(const struct emitters *emitters, double watts, double room_c,
	double spread_k_per_w);

#endif
