/*
 * Carnot's quotient and published fits, by temperatures.
 *
 * Outside: carnot_cop.csv (an encyclopaedia's table, read, and computed),
 * cop_fit_coefficients.csv (Scientific Data 6 (2019) 189, read in the authors'
 * repository; Energy Environ. Sci. 5 (2012) 9291, second-hand), cop_fit_checkvalues.csv
 * and cop_plausibility_grid.csv (computed).
 */
#include <heatbook/cop_curve.h>

#include "unit.h"

#include <math.h>

static void check_carnot(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 5);
	double source = strtod(f[0], NULL), sink = strtod(f[1], NULL);
	ck_assert_double_eq_tol(
		cop_carnot(sink, source), strtod(f[2], NULL), 0.05 + 1e-9);
	ck_assert_double_eq_tol(cop_carnot(sink, source), strtod(f[3], NULL), 5.1e-9);
}

static void check_coefficients(char **f, size_t count, void *context)
{
	ck_assert_uint_ge(count, 6);
	if (strcmp(f[1], "air") != 0)
		return;
	(*(int *)context)++;
	double c0 = strtod(f[2], NULL), c1 = strtod(f[3], NULL), c2 = strtod(f[4], NULL);
	bool of_2019 = strcmp(f[0], "scidata2019") == 0;
	for (double lift = 2.0; lift < 70.0; lift += 0.5) {
		double d = fmax(lift, strtod(f[5], NULL));
		ck_assert_double_eq_tol(of_2019 ? cop_of_2019(lift) : cop_of_2012(lift),
			c0 + c1 * d + c2 * d * d, 1e-12);
	}
}

/* d_K, 2012 air, its ground, 2019 air, ground, water, 2019 air in the field, … */
static void check_values(char **f, size_t count, void *context)
{
	double lift = strtod(f[0], NULL);
	double of_2012 = strtod(f[1], NULL), of_2019 = strtod(f[3], NULL);
	double field = strtod(f[6], NULL);
	struct cop_band band = cop_band(lift);
	(void)context;
	ck_assert_uint_eq(count, 9);
	ck_assert_double_eq_tol(cop_of_2012(lift), of_2012, 1e-9);
	ck_assert_double_eq_tol(cop_of_2019(lift), of_2019, 1e-9);
	ck_assert_double_eq_tol(band.least, fmin(fmin(of_2012, of_2019), field), 5.1e-7);
	ck_assert_double_eq_tol(band.most, fmax(of_2012, of_2019), 1e-9);
}

static void check_grid(char **f, size_t count, void *context)
{
	double outdoor = strtod(f[0], NULL), flow = strtod(f[1], NULL);
	struct cop_band band = cop_band(flow - outdoor);
	(void)context;
	ck_assert_uint_eq(count, 7);
	for (int i = 2; i < 5; i++) {
		ck_assert_double_ge(strtod(f[i], NULL), band.least - 5.1e-5);
		ck_assert_double_le(strtod(f[i], NULL), band.most + 5.1e-5);
	}
	ck_assert_double_eq_tol(cop_carnot(flow, outdoor), strtod(f[5], NULL), 5.1e-5);
	ck_assert_double_eq_tol(cop_of_2012(flow - outdoor) / cop_carnot(flow, outdoor),
		strtod(f[6], NULL), 5.1e-5);
}

TEST(carnot_and_the_fits_are_those_that_were_published)
{
	int fits = 0;
	ck_assert_uint_eq(data_rows("carnot_cop.csv", check_carnot, NULL), 18);
	ck_assert_uint_eq(
		data_rows("cop_fit_coefficients.csv", check_coefficients, &fits), 5);
	ck_assert_int_eq(fits, 2);
	ck_assert_uint_eq(data_rows("cop_fit_checkvalues.csv", check_values, NULL), 10);
	ck_assert_uint_eq(data_rows("cop_plausibility_grid.csv", check_grid, NULL), 56);
}
END

TEST(without_a_lift_there_is_no_ideal)
{
	ck_assert(isnan(cop_carnot(20.0, 20.0)));
	ck_assert(isnan(cop_carnot(20.0, 25.0)));
	ck_assert(isnan(cop_carnot((double)NAN, 5.0)));
	ck_assert_double_eq(cop_of_2019(3.0), cop_of_2019(COP_LEAST_LIFT_K));
	ck_assert_double_eq(cop_of_2012(-3.0), cop_of_2012(COP_LEAST_LIFT_K));
}
END

TESTS(carnot_and_the_fits_are_those_that_were_published,
	without_a_lift_there_is_no_ideal)
