/*
 * Least squares and what is said of how sure they are.
 *
 * References: NIST's Norris set with its certified values; Longley's set, whose columns
 * nearly tell each other, by exact fractions; statsmodels and scipy (fit_reference.py);
 * Guideline 14's figures. Each file names its source and status. Laws by drawn rows.
 */
#include "unit.h"

#include <heatbook/fit.h>

#define ROWS_MOST 400

static double number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

static void near(double got, double wanted, double relative, const char *what)
{
	double off = fabs(got - wanted);
	ck_assert_msg(off <= relative * fabs(wanted) + 1e-300, "%s: %.17g, not %.17g",
		what, got, wanted);
}

struct set {
	size_t n, p;
	double x[ROWS_MOST * FIT_COLUMNS_MOST];
	double y[ROWS_MOST];
	int64_t when[ROWS_MOST];
	const char *name;
};

static struct fit fit_of(const struct set *s, double *ret_residuals)
{
	struct fit_rows rows = {s->n, s->p, s->x, s->y};
	struct fit fit = {0};
	ck_assert_int_eq(fit_least_squares(&rows, &fit, ret_residuals), 0);
	ck_assert_uint_eq(fit.n, s->n);
	ck_assert_uint_eq(fit.p, s->p);
	return fit;
}

/* ---- Norris ---- */

static void take_norris(char **f, size_t count, void *context)
{
	struct set *s = context;
	ck_assert_uint_eq(count, 2);
	s->y[s->n] = number(f[0]);
	s->x[2 * s->n] = 1.0;
	s->x[2 * s->n + 1] = number(f[1]);
	s->n++;
}

static void check_norris(char **f, size_t count, void *context)
{
	const struct fit *fit = context;
	const struct {
		const char *name;
		double value;
	} got[] = {{"intercept", fit->b[0]}, {"slope", fit->b[1]},
		{"sd_intercept", fit_sd(fit, 0)}, {"sd_slope", fit_sd(fit, 1)},
		{"residual_sd", fit->residual_sd}, {"r_squared", fit->r_squared}};
	ck_assert_uint_eq(count, 3);
	for (size_t i = 0; i < ARRAY_LEN(got); i++)
		if (strcmp(f[0], got[i].name) == 0) {
			near(got[i].value, number(f[1]), 2e-12, f[0]);
			return;
		}
	ck_abort_msg("nothing is called '%s'", f[0]);
}

TEST(the_certified_line_of_norris_is_found)
{
	static struct set s = {.p = 2};
	ck_assert_uint_eq(data_rows("ols_nist_norris_data.csv", take_norris, &s), 36);
	struct fit fit = fit_of(&s, NULL);
	ck_assert_uint_eq(
		data_rows("ols_nist_norris_certified.csv", check_norris, &fit), 6);
}
END

	/* ---- several columns ---- */

	static void
	take_row(char **f, size_t count, void *context)
{
	struct set *s = context;
	if (strcmp(f[0], s->name) != 0)
		return;
	s->p = count - 3;
	ck_assert_uint_le(s->p, FIT_COLUMNS_MOST);
	s->when[s->n] = strtoll(f[1], NULL, 10);
	s->y[s->n] = number(f[2]);
	for (size_t i = 0; i < s->p; i++)
		s->x[s->n * s->p + i] = number(f[3 + i]);
	s->n++;
}

struct answered {
	struct set *set;
	struct fit fit;
	double residuals[ROWS_MOST];
	double new[FIT_COLUMNS_MOST][FIT_COLUMNS_MOST];
	size_t new_count;
	double relative; /* how exactly fractions are met */
	size_t seen;
};

static double answer(struct answered *a, const char *what, size_t i, size_t j)
{
	struct fit_prediction row = fit_predict(&a->fit, a->new[i]), sum;
	double sums[FIT_COLUMNS_MOST] = {0};
	double t = student_t((double)(a->fit.n - a->fit.p), 0.95);
	double half = t * sqrt(row.of_model + row.of_rows);
	for (size_t k = 0; k < a->new_count; k++)
		for (size_t c = 0; c < a->fit.p; c++)
			sums[c] += a->new[k][c];
	sum = fit_predict_sum(&a->fit, sums, a->new_count);
	const struct {
		const char *name;
		double value;
	} got[] = {{"b", a->fit.b[i]}, {"covariance", a->fit.covariance[i][j]},
		{"residual_sd", a->fit.residual_sd}, {"r_squared", a->fit.r_squared},
		{"autocorrelation",
			fit_autocorrelation(a->residuals, a->set->when, a->set->n)},
		{"value", row.value}, {"se_model", sqrt(row.of_model)},
		{"se_row", sqrt(row.of_model + row.of_rows)}, {"low", row.value - half},
		{"high", row.value + half}, {"sum", sum.value},
		{"sum_se_model", sqrt(sum.of_model)},
		{"sum_se", sqrt(sum.of_model + sum.of_rows)}};
	for (size_t k = 0; k < ARRAY_LEN(got); k++)
		if (strcmp(got[k].name, what) == 0)
			return got[k].value;
	ck_abort_msg("nothing is called '%s'", what);
	return 0;
}

static void check_answer(char **f, size_t count, void *context)
{
	struct answered *a = context;
	ck_assert_uint_eq(count, 5);
	if (strcmp(f[0], a->set->name) != 0)
		return;
	size_t i = strtoull(f[2], NULL, 10), j = strtoull(f[3], NULL, 10);
	if (strcmp(f[1], "new") == 0) { /* a row to foretell: told before its answers */
		a->new[i][j] = number(f[4]);
		a->new_count = i + 1;
		return;
	}
	bool exact = strcmp(f[1], "b") == 0 || strcmp(f[1], "covariance") == 0;
	near(answer(a, f[1], i, j), number(f[4]), exact ? a->relative : 1e-8, f[1]);
	a->seen++;
}

static size_t check_set(const char *name, double relative)
{
	static struct set s;
	static struct answered a;
	s = (struct set){.name = name};
	a = (struct answered){.set = &s, .relative = relative};
	(void)data_rows("fit_ols_data.csv", take_row, &s);
	a.fit = fit_of(&s, a.residuals);
	(void)data_rows("fit_ols_answers.csv", check_answer, &a);
	return a.seen;
}

TEST(five_columns_are_fitted_as_statsmodels_does)
{
	ck_assert_uint_eq(check_set("drawn", 1e-12), 5 + 25 + 3 + 3 * 5 + 3);
}
END

	TEST(columns_that_nearly_tell_each_other_keep_their_digits)
{
	ck_assert_uint_eq(check_set("longley", 1e-10), 7 + 49 + 3 + 5 + 3);
}
END

	/* ---- quantiles ---- */

	static void
	check_quantile(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 5);
	double df2 = number(f[2]), confidence = number(f[3]), wanted = number(f[4]);
	if (f[0][0] == 't') {
		near(student_t(df2, confidence), wanted, 5e-9, "t");
		return;
	}
	double df1 = number(f[1]);
	near(fisher_f(df1, df2, confidence), wanted, 2e-9, "F");
	near(fisher_f_probability(df1, df2, wanted), confidence, 1e-9, "P");
}

TEST(quantiles_are_those_of_scipy)
{
	ck_assert_uint_eq(
		data_rows("fit_quantiles.csv", check_quantile, NULL), 13 * 6 + 5 * 6 * 4);
}
END

/* df = 1: tan(πc/2); df = 2: c·√(2/(1 − c²)). */
TEST(quantiles_are_the_closed_forms_where_there_are_any)
{
	for (double c = 0.001; c < 0.9995; c += 0.001) {
		near(student_t(1, c), tan(M_PI * c / 2), 1e-11, "t of 1");
		near(student_t(2, c), c * sqrt(2 / (1 - c * c)), 1e-11, "t of 2");
		double angle = atan(student_t(3, c) / sqrt(3));
		near(M_2_PI * (angle + sin(angle) * cos(angle)), c, 1e-11, "P of 3");
	}
}
END

	TEST(many_degrees_of_freedom_are_the_normal_distribution)
{
	ck_assert_double_eq_tol(
		student_t((double)INFINITY, 0.95), 1.959963984540054, 5e-6);
}
END

	/* ---- agreement ---- */

	static void
	check_agreement(char **f, size_t count, void *context)
{
	static const double y[] = {10, 12, 9, 11}, told[] = {9.5, 12.5, 9, 10};
	(void)context;
	ck_assert_uint_eq(count, 4);
	struct fit_agreement a =
		fit_agreement_of(ARRAY_LEN(y), strtoull(f[0], NULL, 10), y, told);
	ck_assert_double_eq_tol(a.cv_rmse_percent, number(f[2]), 0.5001e-8);
	ck_assert_double_eq_tol(a.nmbe_percent, number(f[3]), 0.5001e-8);
}

TEST(agreement_has_the_divisor_that_it_states)
{
	ck_assert_uint_eq(data_rows("guideline14_metrics.csv", check_agreement, NULL), 3);
}
END

	TEST(agreement_without_a_row_to_spare_is_unknown)
{
	static const double y[] = {1, 2}, nothing[] = {0, 0};
	ck_assert_double_nan(fit_agreement_of(2, 2, y, y).cv_rmse_percent);
	ck_assert_double_nan(fit_agreement_of(2, 1, nothing, y).nmbe_percent);
}
END

/* ---- what there may be instead ---- */

TEST(rows_that_tell_no_answer_get_none)
{
	static const double x[] = {1, 2, 2, 1, 3, 3, 1, 5, 5}, y[] = {1, 2, 3};
	static const double flat[] = {1, 0, 1, 0, 1, 0};
	struct fit fit;
	ck_assert_int_eq(
		fit_least_squares(&(struct fit_rows){2, 3, x, y}, &fit, NULL), FIT_FEW);
	ck_assert_int_eq(fit_least_squares(&(struct fit_rows){3, 3, x, y}, &fit, NULL),
		FIT_DEPENDENT);
	ck_assert_int_eq(fit_least_squares(&(struct fit_rows){3, 2, flat, y}, &fit, NULL),
		FIT_DEPENDENT);
}
END

	TEST(as_many_rows_as_columns_leave_nothing_to_tell_how_sure)
{
	static const double x[] = {1, 0, 1, 2}, y[] = {3, 7};
	struct fit fit;
	ck_assert_int_eq(
		fit_least_squares(&(struct fit_rows){2, 2, x, y}, &fit, NULL), 0);
	ck_assert_double_eq_tol(fit.b[0], 3, 1e-14);
	ck_assert_double_eq_tol(fit.b[1], 2, 1e-14);
	ck_assert_double_nan(fit.residual_sd);
	ck_assert_double_nan(fit_sd(&fit, 1));
}
END

/* ---- residuals that follow each other ---- */

TEST(only_neighbours_in_time_are_a_pair)
{
	static const double e[] = {1, 2, -1, 3};
	static const int64_t when[] = {5, 6, 8, 9};
	/* (1·2 − 1·3)/((1 + 4)/2 + (1 + 9)/2) */
	ck_assert_double_eq_tol(fit_autocorrelation(e, when, 4), -1 / 7.5, 1e-15);
	/* (2 − 2 − 3)/(2.5 + 2.5 + 5) */
	ck_assert_double_eq_tol(fit_autocorrelation(e, NULL, 4), -0.3, 1e-15);
	ck_assert_double_nan(fit_autocorrelation(e, (const int64_t[]){1, 3, 5, 7}, 4));
	ck_assert_double_eq(fit_autocorrelation((double[]){2, 2, 2}, NULL, 3), 1);
}
END

	TEST(inflation_never_makes_surer)
{
	ck_assert_double_eq_tol(fit_inflation(0.6), 2, 1e-15);
	ck_assert_double_eq(fit_inflation(-0.5), 1);
	ck_assert_double_eq(fit_inflation((double)NAN), 1);
	ck_assert_double_infinite(fit_inflation(1));
	ck_assert_double_eq_tol(fit_effective_rows(100, 0.6), 25, 1e-12);
	ck_assert_double_eq(fit_effective_rows(100, -0.6), 100);
	ck_assert_double_eq(fit_effective_rows(100, 1), 0);
}
END

	/* ---- laws ---- */

	static double
	drawn(uint64_t *seed, double most)
{
	return most * (double)unit_random_between(seed, -1000000, 1000000) / 1e6;
}

static void draw_set(uint64_t *seed, struct set *s)
{
	s->p = (size_t)unit_random_between(seed, 1, 6);
	s->n = s->p + (size_t)unit_random_between(seed, 5, 60);
	for (size_t i = 0; i < s->n; i++) {
		s->y[i] = drawn(seed, 50);
		for (size_t k = 0; k < s->p; k++)
			s->x[i * s->p + k] = k == 0 ? 1 : drawn(seed, pow(10, (double)k));
	}
}

/* Residuals stand upright on every column; their squares are what is told of them. */
static void check_normal(const struct set *s, const struct fit *fit, const double *e)
{
	double squares = 0;
	for (size_t i = 0; i < s->n; i++)
		squares += e[i] * e[i];
	near(fit->sse, squares, 1e-10, "sse");
	for (size_t k = 0; k < s->p; k++) {
		double sum = 0, length = 0;
		for (size_t i = 0; i < s->n; i++) {
			sum += e[i] * s->x[i * s->p + k];
			length += s->x[i * s->p + k] * s->x[i * s->p + k];
		}
		ck_assert_double_le(fabs(sum), 1e-9 * sqrt(squares * length));
	}
}

/* Units of a column or of y, or the order of rows, change nothing but their own unit. */
static void check_units(const struct set *s, const struct fit *fit)
{
	static struct set other;
	other = *s;
	for (size_t i = 0; i < s->n; i++) {
		other.y[i] = -1e-3 * s->y[s->n - 1 - i];
		for (size_t k = 0; k < s->p; k++)
			other.x[i * s->p + k] =
				(k == 1 ? 3.6e6 : 1) * s->x[(s->n - 1 - i) * s->p + k];
	}
	struct fit scaled = fit_of(&other, NULL);
	for (size_t k = 0; k < s->p; k++) {
		double unit = k == 1 ? 3.6e9 : 1e3;
		near(fit_sd(&scaled, k) * unit, fit_sd(fit, k), 1e-8, "sd");
		ck_assert_double_le(
			fabs(-scaled.b[k] * unit - fit->b[k]), 1e-8 * fit_sd(fit, k));
	}
	near(scaled.residual_sd * 1e3, fit->residual_sd, 1e-10, "residual_sd");
}

TEST(laws_of_least_squares_hold_for_drawn_rows)
{
	static struct set s;
	double e[ROWS_MOST];
	uint64_t seed = unit_seed(), rounds = unit_rounds(200);
	for (uint64_t r = 0; r < rounds; r++) {
		draw_set(&seed, &s);
		struct fit fit = fit_of(&s, e);
		check_normal(&s, &fit, e);
		check_units(&s, &fit);
	}
}
END

	TEST(a_mean_is_the_sum_over_its_rows)
{
	static struct set s;
	uint64_t seed = unit_seed();
	draw_set(&seed, &s);
	struct fit fit = fit_of(&s, NULL);
	struct fit_prediction sum = fit_predict_sum(&fit, s.x, 8);
	struct fit_prediction mean = fit_predict_mean(&fit, s.x, 8);
	near(mean.value, sum.value / 8, 1e-14, "value");
	near(mean.of_model, sum.of_model / 64, 1e-14, "of_model");
	near(mean.of_rows, fit.residual_sd * fit.residual_sd / 8, 1e-14, "of_rows");
}
END

TESTS(the_certified_line_of_norris_is_found, five_columns_are_fitted_as_statsmodels_does,
	columns_that_nearly_tell_each_other_keep_their_digits, quantiles_are_those_of_scipy, quantiles_are_the_closed_forms_where_there_are_any,
	many_degrees_of_freedom_are_the_normal_distribution,
	agreement_has_the_divisor_that_it_states,
	agreement_without_a_row_to_spare_is_unknown, rows_that_tell_no_answer_get_none,
	as_many_rows_as_columns_leave_nothing_to_tell_how_sure,
	only_neighbours_in_time_are_a_pair, inflation_never_makes_surer,
	laws_of_least_squares_hold_for_drawn_rows, a_mean_is_the_sum_over_its_rows)
