/*
 * The models of a comparison: their terms, and what they make of the days after. Not for
 * other rooms.
 */
#ifndef HEATBOOK_INSIGHT_COMPARISON_TERMS_H
#define HEATBOOK_INSIGHT_COMPARISON_TERMS_H

#include <heatbook/comparison.h>

#include "comparison_model.h"

/* The days that are used, of both sides one after the other. */
struct compared {
	struct comparison_day *days;
	size_t before, after;
	/* Of those before. */
	double mean_c, heat_mean;
	double per_heat;                /* electricity, kWh/kWh */
	double heat_slope, whole_slope; /* size of it, kWh/K */
};
/* Once days are there, all but them. */
void compared_scale(struct compared *compared);

/* A row of a model, and how its terms are held (0: free). */
struct terms {
	size_t count;
	double x[FIT_COLUMNS_MOST], held[FIT_COLUMNS_MOST];
};
struct terms heat_terms(
	const struct compared *compared, const struct comparison_day *day);
/* Of electricity in all. */
struct terms whole_terms(
	const struct compared *compared, const struct comparison_day *day);
/* For so much heat. */
struct terms electricity_terms(const struct compared *compared,
	const struct comparison_day *day, double heat_kwh);
double terms_told(const struct fit *fit, const struct terms *terms);

struct made {
	bool known;
	struct held_fit held;
	/* Over the days after whose quantity is known. */
	size_t after;
	double sums[FIT_COLUMNS_MOST];
	double measured;
	double scatter; /* of a day, the larger of both sides */
	double off;     /* predicted − measured; */
	double half;    /* half of its interval */
};
/* `known` where both sides have days enough. */
void made_of(
	const struct compared *compared, enum comparison_model model, struct made *ret);
/* The model in words, for evidence. */
struct comparison_fit made_fit(const struct made *made, enum comparison_model model);

/* Heat that was delivered less, as electricity at the efficiency of before. */
void made_by_heat(const struct compared *compared, const struct made *heat,
	const struct made *electricity, double *ret_kwh, double *ret_half);

#endif
