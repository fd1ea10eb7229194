/*
 * Uncertainty budget of heat, electricity and their ratio over any span, from sums (law
 * of propagation, JCGM 100:2008 5.1.2 and, for the ratio, whose numerator and denominator
 * share meters, 5.2.2).
 *
 * Limits ±a are rectangular and enter as a/√3 (4.3.7); they are systematic, so summing
 * over time does not shrink them. Expanded means coverage factor 2 (6.2).
 *
 * Assumed: instruments are off independently of each other, also two of one class, since
 * a class limits what each of them may be off and says nothing of what they share
 * (F.1.2.1). Where they do share something (one manufacturer's batch, one voltage input),
 * sums of them are less certain than told.
 */
#ifndef HEATBOOK_UNCERTAINTY_H
#define HEATBOOK_UNCERTAINTY_H

#include <heatbook/base.h>
#include <heatbook/instrument.h>

#define COVERAGE_FACTOR 2.0

/* Of a register: what two readings of a counter with steps may be off, and what lies
 * somewhere across the span's ends: ±, J. All 0 of power. */
struct counter_limit {
	double step_j;
	double across_j;
};

/* One meter, as an instrument: what it read, and how a joule of it counts. A meter whose
 * electricity is taken off another's (`less`), off the heat, or added to it, counts in
 * all of these at once. */
struct metered {
	double electricity_j;  /* its own reading */
	double limit_percent;  /* ±, of reading; >= 0 */
	double in_electricity; /* 1 in the denominator, −1 taken off it, 0 neither */
	double in_heat;        /* 1 added to the heat, −1 taken off it, 0 neither */
	struct counter_limit counter;
};

struct uncertainty_sums {
	double heat_j;                /* the numerator, signed */
	double measured_j;            /* of it what the heat source measured, signed */
	double sensitivity_j_per_k;   /* S = ∫ k dV of that */
	struct difference_limit pair; /* ±, of the temperature difference */
	struct difference_limit calculator;
	double flow_limit_percent;    /* ±, of volume */
	double fluid_limit_percent;   /* ±, of the fluid's heat coefficient */
	double source_limit_percent;  /* ±, of a heat source that is believed as a whole
				       */
	struct counter_limit counter; /* of a heat register */
	/* ±, J: what a register's even spreading may have mistaken between these sums and
	 * what is beside them (modes). */
	double evenly_heat_j, evenly_electricity_j;
	double electricity_j;         /* the denominator */
	const struct metered *meters; /* NULL when meter_count is 0 */
	size_t meter_count;
};

/* The terms of the budget. */
enum uncertainty_term {
	TERM_PAIR,
	TERM_FLOW,
	TERM_FLUID,
	TERM_CALCULATOR,
	TERM_SOURCE,
	TERM_ELECTRICITY,
	TERM_STEP,
	TERM_ACROSS,
	TERM_EVENLY,
	TERM_COUNT
};
/* "temperature pair", "flow", "fluid", "calculator", "heat source", "electricity",
 * "register step", "timing of registers", "even spreading". */
const char *uncertainty_term_name(enum uncertainty_term term);

/* What a term makes of each, standard uncertainties (k = 1); the meters' terms hold all
 * meters together. `ratio` in the ratio's own unit, NaN where there is none. */
struct term {
	double heat_j;
	double electricity_j;
	double ratio;
};

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
	double ratio_expanded; /* half-width in the ratio's own unit */
	struct term terms[TERM_COUNT];
	/* The largest of the ratio's terms; of heat's where there is no electricity, of
	 * electricity's where there is no heat; TERM_COUNT when none is known or all are
	 * 0. */
	enum uncertainty_term largest;
};

struct uncertainty uncertainty_of(const struct uncertainty_sums *sums);

/* √(cᵀ U c): of a quantity with the sensitivity c_i to input i, whose covariances are U,
 * n rows of n (JCGM 100:2008, 5.2.2, equation 13). */
double uncertainty_propagated(
	size_t n, const double *sensitivity, const double *covariance);

#endif
