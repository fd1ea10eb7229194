/*
 * Least squares with terms that are held near 0, of days that hang on each other. Not for
 * other rooms.
 */
#ifndef HEATBOOK_INSIGHT_COMPARISON_MODEL_H
#define HEATBOOK_INSIGHT_COMPARISON_MODEL_H

#include <heatbook/fit.h>

/* `held[i]`: what the coefficient of column i is known to be without the rows, 0 ± so
 * much as a standard deviation; 0: nothing is known of it. */
struct held_rows {
	struct fit_rows rows;
	const int64_t *when; /* each row's day */
	const double *held;
};

/* Neighbouring rows that are left out together, at most; of few rows a quarter. */
#define HELD_PART_ROWS  14
#define HELD_PARTS_MOST 32

struct held_fit {
	struct fit fit; /* its n counts what is known besides as rows */
	size_t days;
	/* The coefficients without one part of the rows each, what is known besides
	 * weighing as in `fit`. */
	size_t parts;
	double without[HELD_PARTS_MOST][FIT_COLUMNS_MOST];
	double rho;       /* of residuals, without its bias; at least 0 */
	double inflation; /* of standard errors */
	double df;
	double r_squared, cv_rmse_percent; /* of the days alone */
};

/* `ret_residuals` has room for as many numbers as there are rows. 0 or an enum
 * fit_outcome. */
int held_fit_make(
	const struct held_rows *rows, struct held_fit *ret, double *ret_residuals);

/* Half of the width of the interval of 95 % of a prediction, from the sums of its
 * columns. */
double held_fit_half(const struct held_fit *fit, const struct fit_prediction *told,
	const double *column_sums);

#endif
