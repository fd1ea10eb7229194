/*
 * The efficiency of a day made by hand, beside a published fit and an ideal machine.
 *
 * Outside: the fit of COP for air, by cop_fit_coefficients.csv (Scientific Data 6 (2019)
 * 189, read in the authors' repository) and cop_fit_checkvalues.csv (computed); Carnot's
 * quotient by carnot_cop.csv (an encyclopaedia's table, read, and computed); both by
 * cop_plausibility_grid.csv (computed).
 */
#include "healthy_day.h"

/* A day of one flow and one outdoor temperature: what the fit and Carnot make of
   it. */
static void expect_quotients(double flow_c, double outdoor_c, double fit, double fit_tol,
	double carnot, double carnot_tol)
{
	struct sample *s = healthy();
	set(s, OUTDOOR, 0, DAY, outdoor_c);
	set(s, FLOW, 0, DAY, flow_c);
	set(s, RETURN, 0, DAY, flow_c - 5.0);
	look(s);
	const struct evidence *e = find(s, EVIDENCE_EFFICIENCY, MODE_HEATING);
	ck_assert_ptr_nonnull(e);
	if (!isnan(fit))
		ck_assert_double_eq_tol(e->values[0] / e->values[2], fit, fit_tol);
	if (!isnan(carnot))
		ck_assert_double_eq_tol(e->values[0] / e->values[4], carnot, carnot_tol);
	ck_assert_double_eq_tol(e->values[3], flow_c - outdoor_c, 1e-9);
	ck_assert_double_eq_tol(e->values[5], outdoor_c, 1e-9);
	ck_assert_double_eq_tol(
		e->values[0], (double)e->minutes * 4170.0 * 5.0 * 17.5, 1.0);
	sample_free(s);
}

/* Clipped below the first K of its range, as the authors do. */
static void check_coefficients(char **f, size_t count, void *context)
{
	static const double lifts[] = {8.0, 15.0, 17.0, 28.5, 41.25, 63.0};
	ck_assert_uint_ge(count, 6);
	if (strcmp(f[0], "scidata2019") != 0 || strcmp(f[1], "air") != 0)
		return;
	(*(int *)context)++;
	double c0 = strtod(f[2], NULL), c1 = strtod(f[3], NULL), c2 = strtod(f[4], NULL);
	for (size_t i = 0; i < ARRAY_LEN(lifts); i++) {
		double d = fmax(lifts[i], strtod(f[5], NULL));
		expect_quotients(40.0, 40.0 - lifts[i], c0 + c1 * d + c2 * d * d, 1e-9,
			(double)NAN, 0.0);
	}
}

static void check_fit(char **f, size_t count, void *context)
{
	double d = strtod(f[0], NULL);
	(void)context;
	ck_assert_uint_eq(count, 9);
	expect_quotients(
		35.0, 35.0 - d, strtod(f[3], NULL), 1e-6, strtod(f[7], NULL), 1e-6);
}

static void check_carnot(char **f, size_t count, void *context)
{
	double source = strtod(f[0], NULL), sink = strtod(f[1], NULL);
	(void)context;
	ck_assert_uint_eq(count, 5);
	expect_quotients(sink, source, (double)NAN, 0.0, strtod(f[2], NULL), 0.05 + 1e-9);
	expect_quotients(sink, source, (double)NAN, 0.0, strtod(f[3], NULL), 1e-8);
}

static void check_grid(char **f, size_t count, void *context)
{
	double outdoor = strtod(f[0], NULL), flow = strtod(f[1], NULL);
	(void)context;
	ck_assert_uint_eq(count, 7);
	expect_quotients(
		flow, outdoor, strtod(f[3], NULL), 5.1e-5, strtod(f[5], NULL), 5.1e-5);
}

TEST(efficiency_is_measured_by_the_published_fit_and_by_carnot)
{
	int fits = 0;
	ck_assert_uint_eq(
		data_rows("cop_fit_coefficients.csv", check_coefficients, &fits), 5);
	ck_assert_int_eq(fits, 1);
	ck_assert_uint_eq(data_rows("cop_fit_checkvalues.csv", check_fit, NULL), 10);
	ck_assert_uint_eq(data_rows("carnot_cop.csv", check_carnot, NULL), 18);
	ck_assert_uint_eq(data_rows("cop_plausibility_grid.csv", check_grid, NULL), 56);
}
END

TESTS(efficiency_is_measured_by_the_published_fit_and_by_carnot)
