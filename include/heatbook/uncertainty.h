/*
 * Uncertainty budget of heat, electricity and their ratio over any span, from sums (law
 * of propagation, JCGM 100:2008 5.1.2, uncorrelated inputs).
 *
 * Limits ±a are rectangular and enter as a/√3 (4.3.7); they are systematic, so summing
 * over time does not shrink them. Expanded means coverage factor 2 (6.2).
 */
#ifndef HEATBOOK_UNCERTAINTY_H
#define HEATBOOK_UNCERTAINTY_H

#include <heatbook/base.h>

#define COVERAGE_FACTOR 2.0

/* One meter's part of the denominator. */
struct metered {
	double electricity_j;
	double limit_percent; /* ±, of reading; >= 0 */
};

struct uncertainty_sums {
	double heat_j;              /* Q, signed */
	double sensitivity_j_per_k; /* S = ∫ k dV; 0 where heat is not from a temperature
				       pair */
	double pair_limit_k;        /* ±, of the temperature difference */
	double flow_limit_percent;  /* ±, of volume (or of a heat meter's own reading) */
	double fluid_limit_percent;   /* ±, of the fluid's heat coefficient */
	const struct metered *meters; /* of the denominator; NULL when meter_count is 0 */
	size_t meter_count;
};

/* The terms of the budget. */
enum uncertainty_term { TERM_PAIR, TERM_FLOW, TERM_FLUID, TERM_ELECTRICITY, TERM_COUNT };
/* "temperature pair", "flow", "fluid", "electricity". */
const char *uncertainty_term_name(enum uncertainty_term term);

/* All standard uncertainties (k = 1) unless named expanded; relative ones are fractions
 * of the absolute value of what they belong to. NaN where an input is NaN or the value is
 * 0. */
struct uncertainty {
	double heat_j; /* absolute; known also when heat is 0 */
	double heat;   /* relative */
	double electricity_j;
	double electricity;
	double ratio_value; /* heat over electricity */
	double ratio;       /* relative */
	double heat_expanded_j;
	double electricity_expanded_j;
	double ratio_expanded;    /* half-width in the ratio's own unit */
	double terms[TERM_COUNT]; /* relative, of heat; the last of electricity */
	/* The largest of the ratio's terms, of heat's where there is no electricity; NULL
	 * when none is known or all are 0. */
	const char *largest;
};

struct uncertainty uncertainty_of(const struct uncertainty_sums *sums);

#endif
