/*
 * Quantiles of F and of Student's t, by the regularised incomplete beta function
 * I_x(a, b), which is their distribution (NIST Handbook of Mathematical Functions, DLMF
 * 8.17): P(F ≤ f) = I_x(df1/2, df2/2) with x = df1·f/(df1·f + df2), and t² of df is F of
 * 1 and df.
 *
 * I_x is its continued fraction (DLMF 8.17.22), evaluated from the front (Lentz's way)
 * and on the side where it converges soon; the quantile is found by halving, which takes
 * some 80 steps to the last bit and cannot fail. All of it is done a few times an answer.
 */
#include <heatbook/fit.h>

#include <assert.h>
#include <float.h>
#include <math.h>

#define STEPS_MOST 100000 /* the square root of the larger parameter, some times */

/* In place of a 0 that would be divided by. */
static double away_from_0(double v)
{
	return fabs(v) < DBL_MIN / DBL_EPSILON ? DBL_MIN / DBL_EPSILON : v;
}

/* Coefficient d_m of the fraction, m ≥ 1. */
static double coefficient(unsigned m, double a, double b, double x)
{
	unsigned half = m / 2;
	double k = (double)half;
	if (m % 2 == 0)
		return k * (b - k) * x / ((a + 2.0 * k - 1.0) * (a + 2.0 * k));
	return -(a + k) * (a + b + k) * x / ((a + 2.0 * k) * (a + 2.0 * k + 1.0));
}

/* 1/(1 + d_1/(1 + d_2/(1 + …))) */
static double fraction(double a, double b, double x)
{
	double f = 1.0, c = 1.0, d = 0.0;
	for (unsigned m = 1; m < STEPS_MOST; m++) {
		double of_m = coefficient(m, a, b, x);
		d = 1.0 / away_from_0(1.0 + of_m * d);
		c = away_from_0(1.0 + of_m / c);
		f *= c * d;
		if (fabs(c * d - 1.0) < 2.0 * DBL_EPSILON)
			break;
	}
	return 1.0 / f;
}

static double log_gamma(double v)
{
	int sign;
	return lgamma_r(v, &sign);
}

/* I_x(a, b); `rest` is 1 − x, which x near 1 does not hold. */
static double incomplete_beta(double a, double b, double x, double rest)
{
	if (x <= 0.0)
		return 0.0;
	if (rest <= 0.0)
		return 1.0;
	double front = exp(log_gamma(a + b) - log_gamma(a) - log_gamma(b) + a * log(x) +
			   b * log(rest));
	if (x < (a + 1.0) / (a + b + 2.0))
		return front * fraction(a, b, x) / a;
	return 1.0 - front * fraction(b, a, rest) / b;
}

double fisher_f_probability(double df1, double df2, double f)
{
	double whole = df1 * f + df2;
	return incomplete_beta(df1 / 2.0, df2 / 2.0, df1 * f / whole, df2 / whole);
}

/* f by its logarithm, so that what is tiny or huge is found as exactly. */
double fisher_f(double df1, double df2, double confidence)
{
	double low = -600.0, high = 600.0;
	assert(df1 > 0.0 && df2 > 0.0 && df1 < 1e7 && df2 < 1e7);
	assert(confidence > 0.0 && confidence < 1.0);
	for (;;) {
		double middle = low + (high - low) / 2.0;
		if (middle <= low || middle >= high)
			return exp(middle);
		if (fisher_f_probability(df1, df2, exp(middle)) < confidence)
			low = middle;
		else
			high = middle;
	}
}

/* From here on t is the normal one to some millionths. */
#define AS_NORMAL 1e6

double student_t(double df, double confidence)
{
	assert(df >= 1.0);
	return sqrt(fisher_f(1.0, fmin(df, AS_NORMAL), confidence));
}
