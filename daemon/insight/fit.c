/*
 * Least squares by Householder's reflections (Golub and Van Loan, Matrix Computations,
 * 5.3): X = Q·R, so XᵀX = RᵀR is never formed and nothing of its squared condition is
 * lost. Columns are brought to length 1 before, so that what is small in one is not held
 * against what is large in another, and a column that the others tell shows as a small
 * number on R's diagonal whatever its unit.
 *
 * The covariance is s²·R⁻¹·R⁻ᵀ. Σ of squared residuals comes from Qᵀ·y, residuals
 * themselves from X·b.
 */
#include <heatbook/fit.h>

#include <assert.h>
#include <float.h>
#include <math.h>
#include <string.h>

/* A column of length 1 of which less than this is left beside the others is told by them.
 * Rounding leaves some 1e-13 of it over ten years of days. */
#define LEAST_LEFT 1e-11

/* Rows while they are reflected: p columns of x, then y, each of n numbers. */
struct work {
	size_t n, p;
	double *columns; /* p + 1 of them, one after the other */
	double length[FIT_COLUMNS_MOST];
	double diagonal[FIT_COLUMNS_MOST]; /* of R */
};

static double *column(const struct work *w, size_t i)
{
	return w->columns + i * w->n;
}

static double length_of(const double *v, size_t n)
{
	double most = 0.0, sum = 0.0;
	for (size_t i = 0; i < n; i++)
		most = fmax(most, fabs(v[i]));
	if (most == 0.0)
		return 0.0;
	for (size_t i = 0; i < n; i++)
		sum += (v[i] / most) * (v[i] / most);
	return most * sqrt(sum);
}

/* False: a column is nothing. */
static bool fill(struct work *w, const struct fit_rows *rows)
{
	for (size_t k = 0; k < w->p; k++) {
		double *c = column(w, k);
		for (size_t i = 0; i < w->n; i++)
			c[i] = rows->x[i * w->p + k];
		w->length[k] = length_of(c, w->n);
		if (w->length[k] == 0.0)
			return false;
		for (size_t i = 0; i < w->n; i++)
			c[i] /= w->length[k];
	}
	memcpy(column(w, w->p), rows->y, w->n * sizeof(*rows->y));
	return true;
}

/* Makes column k nothing below its diagonal, and does the same to what is behind it. */
static bool reflect(struct work *w, size_t k)
{
	double *v = column(w, k) + k;
	size_t n = w->n - k;
	double r = length_of(v, n);
	if (r < LEAST_LEFT)
		return false;
	if (v[0] > 0.0)
		r = -r; /* so that nothing cancels */
	v[0] -= r;
	double half = -r * v[0]; /* vᵀv/2 */
	for (size_t j = k + 1; j <= w->p; j++) {
		double *c = column(w, j) + k, sum = 0.0;
		for (size_t i = 0; i < n; i++)
			sum += v[i] * c[i];
		for (size_t i = 0; i < n; i++)
			c[i] -= sum / half * v[i];
	}
	w->diagonal[k] = r;
	return true;
}

/* R's element (i, j) of the scaled columns, i ≤ j. */
static double element(const struct work *w, size_t i, size_t j)
{
	return i == j ? w->diagonal[i] : column(w, j)[i];
}

static void solve(const struct work *w, struct fit *ret)
{
	const double *y = column(w, w->p);
	for (size_t i = w->p; i-- > 0;) {
		double rest = y[i];
		for (size_t j = i + 1; j < w->p; j++)
			rest -= element(w, i, j) * ret->b[j];
		ret->b[i] = rest / w->diagonal[i];
	}
	for (size_t i = 0; i < w->p; i++)
		ret->b[i] /= w->length[i];
}

static void covariance_of(const struct work *w, struct fit *ret)
{
	double inverse[FIT_COLUMNS_MOST][FIT_COLUMNS_MOST] = {0};
	double variance = ret->residual_sd * ret->residual_sd;
	for (size_t j = 0; j < w->p; j++) {
		inverse[j][j] = 1.0 / w->diagonal[j];
		for (size_t i = j; i-- > 0;) {
			double sum = 0.0;
			for (size_t k = i + 1; k <= j; k++)
				sum += element(w, i, k) * inverse[k][j];
			inverse[i][j] = -sum / w->diagonal[i];
		}
	}
	for (size_t i = 0; i < w->p; i++)
		for (size_t j = 0; j < w->p; j++) {
			double sum = 0.0;
			for (size_t k = i > j ? i : j; k < w->p; k++)
				sum += inverse[i][k] * inverse[j][k];
			ret->covariance[i][j] =
				variance * sum / (w->length[i] * w->length[j]);
		}
}

static void goodness(const struct work *w, const double *y, struct fit *ret)
{
	const double *reflected = column(w, w->p);
	double mean = 0.0, total = 0.0;
	for (size_t i = w->p; i < w->n; i++)
		ret->sse += reflected[i] * reflected[i];
	for (size_t i = 0; i < w->n; i++)
		mean += y[i] / (double)w->n;
	for (size_t i = 0; i < w->n; i++)
		total += (y[i] - mean) * (y[i] - mean);
	ret->residual_sd =
		w->n > w->p ? sqrt(ret->sse / (double)(w->n - w->p)) : (double)NAN;
	ret->r_squared = total > 0.0 ? 1.0 - ret->sse / total : (double)NAN;
}

static double product(const double *a, const double *b, size_t n)
{
	double sum = 0.0;
	for (size_t i = 0; i < n; i++)
		sum += a[i] * b[i];
	return sum;
}

int fit_least_squares(const struct fit_rows *rows, struct fit *ret, double *ret_residuals)
{
	struct work w = {.n = rows->n, .p = rows->p};
	assert(rows->p >= 1 && rows->p <= FIT_COLUMNS_MOST);
	if (rows->n < rows->p)
		return FIT_FEW;
	_cleanup_(freep) double *columns =
		xmalloc((rows->p + 1) * rows->n * sizeof(*columns));
	w.columns = columns;
	if (!fill(&w, rows))
		return FIT_DEPENDENT;
	for (size_t k = 0; k < w.p; k++)
		if (!reflect(&w, k))
			return FIT_DEPENDENT;
	*ret = (struct fit){.n = w.n, .p = w.p};
	solve(&w, ret);
	goodness(&w, rows->y, ret);
	covariance_of(&w, ret);
	for (size_t i = 0; ret_residuals && i < w.n; i++)
		ret_residuals[i] = rows->y[i] - product(rows->x + i * w.p, ret->b, w.p);
	return 0;
}

double fit_sd(const struct fit *fit, size_t i)
{
	assert(i < fit->p);
	return sqrt(fit->covariance[i][i]);
}

struct fit_prediction fit_predict_sum(
	const struct fit *fit, const double *column_sums, size_t count)
{
	struct fit_prediction told = {.value = product(column_sums, fit->b, fit->p),
		.of_rows = (double)count * fit->residual_sd * fit->residual_sd};
	for (size_t i = 0; i < fit->p; i++)
		told.of_model +=
			column_sums[i] * product(fit->covariance[i], column_sums, fit->p);
	return told;
}

struct fit_prediction fit_predict(const struct fit *fit, const double *row)
{
	return fit_predict_sum(fit, row, 1);
}

struct fit_prediction fit_predict_mean(
	const struct fit *fit, const double *column_sums, size_t count)
{
	struct fit_prediction sum = fit_predict_sum(fit, column_sums, count);
	double n = (double)count;
	assert(count > 0);
	return (struct fit_prediction){.value = sum.value / n,
		.of_model = sum.of_model / (n * n),
		.of_rows = sum.of_rows / (n * n)};
}

struct fit_agreement fit_agreement_of(
	size_t n, size_t p, const double *measured, const double *predicted)
{
	struct fit_agreement none = {(double)NAN, (double)NAN};
	double mean = 0.0, off = 0.0, squares = 0.0;
	for (size_t i = 0; i < n; i++) {
		double d = measured[i] - predicted[i];
		mean += measured[i] / (double)n;
		off += d;
		squares += d * d;
	}
	if (n <= p || mean == 0.0)
		return none;
	double free_rows = (double)(n - p);
	return (struct fit_agreement){
		.cv_rmse_percent = 100.0 * sqrt(squares / free_rows) / fabs(mean),
		.nmbe_percent = 100.0 * off / (free_rows * mean)};
}

double fit_autocorrelation(const double *residuals, const int64_t *when, size_t n)
{
	double together = 0.0, alone = 0.0;
	for (size_t i = 1; i < n; i++) {
		if (when && when[i] != when[i - 1] + 1)
			continue;
		together += residuals[i] * residuals[i - 1];
		alone += (residuals[i] * residuals[i] +
				 residuals[i - 1] * residuals[i - 1]) /
			 2.0;
	}
	return alone > 0.0 ? together / alone : (double)NAN;
}

double fit_inflation(double rho)
{
	if (isnan(rho) || rho <= 0.0)
		return 1.0;
	return rho < 1.0 ? sqrt((1.0 + rho) / (1.0 - rho)) : (double)INFINITY;
}

double fit_effective_rows(size_t n, double rho)
{
	double inflation = fit_inflation(rho);
	return (double)n / (inflation * inflation);
}
