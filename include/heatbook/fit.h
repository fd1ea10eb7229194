/*
 * Ordinary least squares of a response on some columns, with what is needed to say how
 * sure its answers are: covariance, prediction and its variance, quantiles of Student's t
 * and of F, and what residuals that follow each other do to all of these. Pure.
 *
 * Model: y = X·b + e, e independent with one variance. Where days follow each other they
 * are not independent: then every standard error is to be inflated (fit_inflation()).
 *
 * Formulas: the textbook of linear models (e.g. Draper and Smith, Applied Regression
 * Analysis); CV(RMSE) and NMBE after ASHRAE Guideline 14-2014, from memory.
 */
#ifndef HEATBOOK_FIT_H
#define HEATBOOK_FIT_H

#include <heatbook/base.h>

#define FIT_COLUMNS_MOST 12

/* `x` holds n rows of p numbers, one row after the other. A constant is a column of ones:
 * none is added. */
struct fit_rows {
	size_t n, p;
	const double *x;
	const double *y;
};

/* How far predicted values are from measured ones, measured − predicted, of n rows with p
 * fitted parameters. Divisor n − p, stated with every answer:
 * CV(RMSE) = √(Σd²/(n − p))/ȳ, NMBE = Σd/((n − p)·ȳ), both percent; NaN where n ≤ p or
 * the mean is 0. */
struct fit_agreement {
	double cv_rmse_percent;
	double nmbe_percent;
};
struct fit_agreement fit_agreement_of(
	size_t n, size_t p, const double *measured, const double *predicted);

struct fit {
	size_t n, p;
	double b[FIT_COLUMNS_MOST]; /* in the order of the columns */
	/* Of b, s²·(XᵀX)⁻¹; NaN where n = p. */
	double covariance[FIT_COLUMNS_MOST][FIT_COLUMNS_MOST];
	double sse;         /* Σ of squared residuals */
	double residual_sd; /* s = √(sse/(n − p)); NaN where n = p */
	double r_squared; /* 1 − sse/Σ(y − ȳ)²: means something with a constant; NaN where
			     all y are alike */
};

/* What there may be instead of a fit. */
enum fit_outcome {
	FIT_FEW = 1,   /* fewer rows than columns */
	FIT_DEPENDENT, /* a column is nothing, or told by the others: nobody can tell
			  their parts from each other */
};

/* `ret_residuals`, y − X·b, has room for n numbers; may be NULL. All numbers are finite,
 * 1 ≤ p ≤ FIT_COLUMNS_MOST. 0, or an enum fit_outcome. */
int fit_least_squares(
	const struct fit_rows *rows, struct fit *ret, double *ret_residuals);

/* Standard error of b[i], not inflated. */
double fit_sd(const struct fit *fit, size_t i);

/* What is foretold. Both variances are of the model's own assumption, independent rows:
 * `of_model` is what b is unsure of, `of_rows` how rows scatter about it. The standard
 * error of the response is √(of_model + of_rows), of its expectation √of_model. */
struct fit_prediction {
	double value;
	double of_model;
	double of_rows;
};
/* Of a row that was not in the fit. */
struct fit_prediction fit_predict(const struct fit *fit, const double *row);
/* Of the sum over `count` such rows, from the sums of their columns: what b is unsure of
 * is the same in all of them and does not shrink, what they scatter does. */
struct fit_prediction fit_predict_sum(
	const struct fit *fit, const double *column_sums, size_t count);
/* The same for the mean over them. */
struct fit_prediction fit_predict_mean(
	const struct fit *fit, const double *column_sums, size_t count);

/* ρ of residuals with those one step before, over pairs that are there:
 * Σ e_i·e_j / Σ (e_i² + e_j²)/2, within −1…1. `when` is each row's place in time, rising
 * (a day's number): only places that differ by 1 are a pair. NULL: all follow each other.
 * NaN where there is no pair or all residuals are 0. */
double fit_autocorrelation(const double *residuals, const int64_t *when, size_t n);
/* What independent rows' standard errors are multiplied by, √((1 + ρ)/(1 − ρ)), where
 * each residual hangs on the one before (first order): of coefficients, sums and means,
 * not of one row's scatter. 1 where ρ is below 0 or NaN: nothing is told surer than of
 * independent rows. Infinite at ρ = 1. */
double fit_inflation(double rho);
/* As how many independent rows n of such count: n·(1 − ρ)/(1 + ρ), at most n. */
double fit_effective_rows(size_t n, double rho);

/* t such that |T| ≤ t with probability `confidence`, within 0…1 but for its ends: two
 * sides, as an interval ± has. df ≥ 1, need not be whole; infinite: the normal one. */
double student_t(double df, double confidence);
/* f such that F(df1, df2) ≤ f with probability `confidence`; df1 and df2 > 0, both below
 * 10^7. */
double fisher_f(double df1, double df2, double confidence);
/* P(F(df1, df2) ≤ f). */
double fisher_f_probability(double df1, double df2, double f);

#endif
