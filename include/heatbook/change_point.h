/*
 * Least squares of the line that ends: y = base + slope·max(0, at − x), over all three of
 * base, slope and `at` at once (a house's heat on the outdoor temperature: three
 * parameters, heating; ASHRAE RP-1050 and Guideline 14-2014, from memory). Pure.
 *
 * Where the rows do not show that the line ends, it is fitted as a line without an end,
 * y = slope·(at − x): `at` is then where it meets nothing, beyond what was seen.
 */
#ifndef HEATBOOK_CHANGE_POINT_H
#define HEATBOOK_CHANGE_POINT_H

#include <heatbook/fit.h>

struct change_row {
	double x, y;
	int64_t when; /* its place in time, such as a day's number; rising */
};

/* So many rows below the end make a slope, so many beyond it a base. Heatbook's own
 * choice. */
#define CHANGE_BELOW_LEAST  7
#define CHANGE_BEYOND_LEAST 3

struct change_interval {
	double low, high; /* 95 %; NaN: not known, or open on that side */
};

struct change_point {
	bool ends; /* the line does, in the rows; else it has no base */
	double base, slope, at;
	size_t n, below; /* rows, of which so many lie below the end: all without one */
	size_t p;        /* fitted parameters: 3, or 2 without an end */
	double sse, r_squared;
	struct fit_agreement agreement;
	/* Rows beyond the end hardly scatter (nothing is heated): to count them would
	 * make the slope look surer than it is. So the scatter is that of the rows below,
	 * with the divisor below − 2. */
	double scatter_sd;
	double rho;       /* lag-one autocorrelation of the rows below */
	double inflation; /* of standard errors by it */
	double t;         /* Student's, 95 %, of as many rows as they count for, less 2 */
	double slope_sd;  /* inflated */
	double base_sd;   /* likewise, by the scatter of the rows beyond the end */
	struct change_interval slope_in, base_in;
	/* Of `at`: all places at which the best line ends whose squares are no more than
	 * t²·inflation²·scatter² above the least (likelihood ratio; the rows beyond, too,
	 * are taken to scatter like those below, so it is rather wide). Of a line without
	 * an end: where it may meet nothing (Fieller). */
	struct change_interval at_in;
	/* Of the rows below: mean of x, and squares about it. */
	double below_mean, below_squares;
};

/* What there may be instead of a fit. */
enum change_outcome {
	CHANGE_FEW = 1, /* fewer than CHANGE_BELOW_LEAST rows lie below the end */
	CHANGE_NO_SLOPE /* y does not rise as x falls, or might not (95 %) */
};
/* 0, or an enum change_outcome. *ret is written always: what was found as far as it is
 * (`below` with CHANGE_FEW). The order of rows does not matter. */
int change_point_fit(const struct change_row *rows, size_t n, struct change_point *ret);

/* What is fitted at x. */
double change_point_at(const struct change_point *c, double x);
/* slope·(at − x), what is fitted at x beyond the base, and its interval (of the
 * expectation): that of the line at x less the base, each by its own rows, as slope and
 * `at` hang on each other. */
double change_point_load(
	const struct change_point *c, double x, struct change_interval *ret);
/* The same with the base: what is expected at an x below the end. */
double change_point_foretell(
	const struct change_point *c, double x, struct change_interval *ret);
/* The same value, and the interval of one more row there, which scatters as those below
 * do: 95 of a hundred such rows lie in it. */
double change_point_single(
	const struct change_point *c, double x, struct change_interval *ret);

#endif
