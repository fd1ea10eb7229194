/*
 * Least squares with terms that are held near 0. See comparison_model.h.
 *
 * What is known of a coefficient besides the days, 0 ± sd, is one more row: the column at
 * s·f/sd and a response of 0, where s is what days scatter and f what their sums scatter
 * more than those of independent ones. Dividing by sd and multiplying by s makes the row
 * weigh what a day does; f, since all standard errors are multiplied by it afterwards and
 * this row's must come out as sd. s and f are those of a fit, which leans on them: three
 * rounds settle it to a part in a thousand.
 */
#include "comparison_model.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#define ROUNDS   3
#define MOST_RHO 0.95

/* Without the bias that residuals of few days have: their ρ is too small by about
 * (1 + 4ρ)/n. */
static double rho_of(const struct held_rows *rows, const double *residuals)
{
	double n = (double)rows->rows.n;
	double rho = fit_autocorrelation(residuals, rows->when, rows->rows.n);
	if (isnan(rho))
		rho = 0.0;
	rho += (1.0 + 4.0 * fmax(0.0, rho)) / n;
	return fmin(MOST_RHO, fmax(0.0, rho));
}

struct work {
	double *x, *y, *residuals;
	struct fit_rows rows;
};

/* The days' rows, without the columns that are held: where s and f begin. */
static void only_free(const struct held_rows *rows, struct work *w)
{
	size_t p = rows->rows.p, free_columns = 0;
	for (size_t c = 0; c < p; c++) {
		if (rows->held[c] > 0.0)
			continue;
		free_columns++;
	}
	w->rows = (struct fit_rows){rows->rows.n, free_columns, w->x, w->y};
	for (size_t i = 0; i < rows->rows.n; i++) {
		size_t at = 0;
		for (size_t c = 0; c < p; c++)
			if (rows->held[c] <= 0.0)
				w->x[i * free_columns + at++] = rows->rows.x[i * p + c];
		w->y[i] = rows->rows.y[i];
	}
}

/* All rows, and one for each column that is held, weighing by `sd`. */
static void with_held(const struct held_rows *rows, double sd, struct work *w)
{
	size_t p = rows->rows.p, n = rows->rows.n;
	memcpy(w->x, rows->rows.x, n * p * sizeof(*w->x));
	memcpy(w->y, rows->rows.y, n * sizeof(*w->y));
	for (size_t c = 0; c < p; c++) {
		if (rows->held[c] <= 0.0)
			continue;
		double *row = w->x + n * p;
		memset(row, 0, p * sizeof(*row));
		row[c] = sd / rows->held[c];
		w->y[n++] = 0.0;
	}
	w->rows = (struct fit_rows){n, p, w->x, w->y};
}

static void goodness(
	const struct held_rows *rows, const double *residuals, struct held_fit *ret)
{
	size_t n = rows->rows.n;
	double mean = 0.0, total = 0.0, squares = 0.0;
	for (size_t i = 0; i < n; i++)
		mean += rows->rows.y[i] / (double)n;
	for (size_t i = 0; i < n; i++) {
		double off = rows->rows.y[i] - mean;
		total += off * off;
		squares += residuals[i] * residuals[i];
	}
	ret->r_squared = total > 0.0 ? 1.0 - squares / total : (double)NAN;
	ret->cv_rmse_percent =
		mean != 0.0 ? 100.0 * sqrt(squares / ret->df) / fabs(mean) : (double)NAN;
}

static int rounds(const struct held_rows *rows, struct work *w, struct held_fit *ret)
{
	only_free(rows, w);
	if (w->rows.n <= w->rows.p)
		return FIT_FEW;
	int r = fit_least_squares(&w->rows, &ret->fit, w->residuals);
	for (int i = 0; r == 0; i++) {
		ret->rho = rho_of(rows, w->residuals);
		ret->inflation = fit_inflation(ret->rho);
		if (i == ROUNDS)
			break;
		/* Days that leave nothing over need some weight, too. */
		double sd = fmax(ret->fit.residual_sd, 1e-9);
		with_held(rows, sd * ret->inflation, w);
		r = fit_least_squares(&w->rows, &ret->fit, w->residuals);
	}
	return r;
}

int held_fit_make(
	const struct held_rows *rows, struct held_fit *ret, double *ret_residuals)
{
	size_t p = rows->rows.p, n = rows->rows.n;
	_cleanup_(freep) double *x = xcalloc((n + p) * p, sizeof(*x));
	_cleanup_(freep) double *y = xcalloc(n + p, sizeof(*y));
	_cleanup_(freep) double *residuals = xcalloc(n + p, sizeof(*residuals));
	struct work w = {.x = x, .y = y, .residuals = residuals};
	*ret = (struct held_fit){.days = n};
	int r = rounds(rows, &w, ret);
	if (r != 0)
		return r;
	ret->df = (double)(ret->fit.n - ret->fit.p);
	goodness(rows, residuals, ret);
	memcpy(ret_residuals, residuals, n * sizeof(*residuals));
	return 0;
}

double held_fit_half(const struct held_fit *fit, const struct fit_prediction *told)
{
	assert(fit->df >= 1.0);
	return student_t(fit->df, 0.95) * fit->inflation *
	       sqrt(told->of_model + told->of_rows);
}
