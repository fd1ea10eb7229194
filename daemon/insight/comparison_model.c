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

/* A part is left out by rows of nothing in its place, which tell nothing. One whose rows
 * alone tell a column is not. */
static void make_without(
	const struct held_rows *rows, const struct fit_rows *all, struct held_fit *ret)
{
	size_t p = all->p, n = rows->rows.n;
	size_t each = n / HELD_PART_ROWS < 4 ? (n + 3) / 4 : HELD_PART_ROWS;
	_cleanup_(freep) double *x = xcalloc(all->n * p, sizeof(*x));
	_cleanup_(freep) double *y = xcalloc(all->n, sizeof(*y));
	const struct fit_rows rest = {all->n, p, x, y};
	struct fit fit;
	/* From the last row on, so that the newest part is whole. */
	for (size_t to = n; to > 0 && ret->parts < HELD_PARTS_MOST;) {
		size_t from = to > each ? to - each : 0;
		memcpy(x, all->x, all->n * p * sizeof(*x));
		memcpy(y, all->y, all->n * sizeof(*y));
		memset(x + from * p, 0, (to - from) * p * sizeof(*x));
		memset(y + from, 0, (to - from) * sizeof(*y));
		if (fit_least_squares(&rest, &fit, NULL) == 0)
			memcpy(ret->without[ret->parts++], fit.b, sizeof(fit.b));
		to = from;
	}
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
	make_without(rows, &w.rows, ret);
	memcpy(ret_residuals, residuals, n * sizeof(*residuals));
	return 0;
}

/* What the prediction's scatter over the parts that are left out makes of its variance:
 * the jackknife by blocks. */
static double variance_by_parts(const struct held_fit *fit, const double *column_sums)
{
	double told[HELD_PARTS_MOST] = {0}, mean = 0.0, squares = 0.0;
	double parts = (double)fit->parts;
	for (size_t i = 0; i < fit->parts; i++) {
		for (size_t c = 0; c < fit->fit.p; c++)
			told[i] += fit->without[i][c] * column_sums[c];
		mean += told[i] / parts;
	}
	for (size_t i = 0; i < fit->parts; i++)
		squares += (told[i] - mean) * (told[i] - mean);
	return fit->parts ? squares * (parts - 1.0) / parts : 0.0;
}

double held_fit_half(const struct held_fit *fit, const struct fit_prediction *told,
	const double *column_sums)
{
	assert(fit->df >= 1.0);
	double t = student_t(fit->df, 0.95), dependent = t * fit->inflation;
	double of_model = fmax(dependent * sqrt(told->of_model),
		t * sqrt(variance_by_parts(fit, column_sums)));
	return hypot(of_model, dependent * sqrt(told->of_rows));
}
