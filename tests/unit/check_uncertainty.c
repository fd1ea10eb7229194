/*
 * The uncertainty budget against worked examples.
 *
 * References: JCGM 100:2008 5.1.2 and 4.3.7; the examples and the table of limits against
 * the temperature difference were computed from them, apart from this code.
 */
#include "unit.h"

#include <heatbook/uncertainty.h>

#define J_PER_KWH 3.6e6

static double number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

/* The examples print their inputs with seven digits or more. */
static void same(const char *name, const char *what, double ours, const char *text)
{
	double theirs = number(text);
	ck_assert_msg(fabs(ours - theirs) <= 1e-6 * fabs(theirs),
		"%s: %s %.9g, example %s", name, what, ours, text);
}

static void check_example(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 16);
	double volume = number(f[1]), k = number(f[3]), difference = number(f[5]);
	double kwh = number(f[7]), limit = 100 * sqrt(3.0);
	struct metered meter = {
		kwh * J_PER_KWH, number(f[8]) / kwh * limit, 1, 0, {0, 0}};
	struct uncertainty_sums sums = {
		.heat_j = volume * k * 1e6 * difference,
		.measured_j = volume * k * 1e6 * difference,
		.electricity_j = meter.electricity_j,
		.sensitivity_j_per_k = volume * k * 1e6,
		.pair.k = number(f[6]) * sqrt(3.0),
		.flow_limit_percent = number(f[2]) / volume * limit,
		.fluid_limit_percent = number(f[4]) / k * limit,
		.meters = &meter,
		.meter_count = 1,
	};
	struct uncertainty u = uncertainty_of(&sums);
	same(f[0], "u(Q)/Q", 100 * u.heat, f[10]);
	same(f[0], "u(Q)", u.heat_j / J_PER_KWH, f[11]);
	same(f[0], "Q/E", u.ratio_value, f[12]);
	same(f[0], "u(Q/E) relative", 100 * u.ratio, f[13]);
	same(f[0], "u(Q/E)", u.ratio * u.ratio_value, f[14]);
	same(f[0], "U(Q/E)", u.ratio_expanded, f[15]);
}

TEST(worked_examples_are_met)
{
	ck_assert_uint_eq(data_rows("uncertainty_examples.csv", check_example, NULL), 5);
}
END

	/* Flow ±2 %, electricity ±1 %, rectangular, as the table says of itself. */
	static void
	check_spread(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 5);
	struct metered meter = {1e9, 1, 1, 0, {0, 0}};
	struct uncertainty_sums sums = {.heat_j = 3e9,
		.measured_j = 3e9,
		.electricity_j = 1e9,
		.sensitivity_j_per_k = 3e9 / number(f[0]),
		.pair.k = number(f[1]),
		.flow_limit_percent = 2,
		.meters = &meter,
		.meter_count = 1};
	struct uncertainty u = uncertainty_of(&sums);
	ck_assert(
		fabs(100 * u.terms[TERM_PAIR].heat_j / 3e9 - number(f[2])) <= 0.5001e-4);
	ck_assert(fabs(100 * u.ratio - number(f[3])) <= 0.5001e-4);
	ck_assert(
		fabs(100 * u.ratio_expanded / u.ratio_value - number(f[4])) <= 0.5001e-4);
}

TEST(small_differences_cost_what_the_table_says)
{
	ck_assert_uint_eq(data_rows("uncertainty_vs_spread.csv", check_spread, NULL), 60);
}
END

	static const struct metered two[] = {
		{3e9, 2, 1, 0, {0, 0}}, {4e9, 2, 1, 0, {0, 0}}};
static const struct uncertainty_sums plain = {.heat_j = 21e9,
	.measured_j = 21e9,
	.electricity_j = 7e9,
	.sensitivity_j_per_k = 4e9,
	.pair.k = 0.1,
	.flow_limit_percent = 2,
	.fluid_limit_percent = 0.5,
	.meters = two,
	.meter_count = 2};

TEST(meters_are_independent_of_each_other)
{
	struct uncertainty u = uncertainty_of(&plain);
	/* √(3² + 4²) = 5 */
	ck_assert_double_eq_tol(u.electricity_j, 5e9 * 0.02 / sqrt(3.0), 1);
	ck_assert_double_eq_tol(u.electricity, 5.0 / 7 * 0.02 / sqrt(3.0), 1e-12);
	ck_assert_double_eq_tol(u.electricity_expanded_j, 2 * u.electricity_j, 1e-3);
	ck_assert_double_eq_tol(u.ratio_value, 3, 1e-12);
}
END

TEST(the_largest_term_is_named)
{
	struct metered meter = {1e9, 1, 1, 0, {0, 0}};
	struct uncertainty_sums sums = {.heat_j = 3e9,
		.measured_j = 3e9,
		.electricity_j = 1e9,
		.sensitivity_j_per_k = 1e9,
		.pair.k = 0.1,
		.flow_limit_percent = 2,
		.fluid_limit_percent = 0.5,
		.meters = &meter,
		.meter_count = 1};
	ck_assert_int_eq(uncertainty_of(&sums).largest, TERM_PAIR);
	sums.flow_limit_percent = 4;
	ck_assert_int_eq(uncertainty_of(&sums).largest, TERM_FLOW);
	sums.fluid_limit_percent = 5;
	ck_assert_int_eq(uncertainty_of(&sums).largest, TERM_FLUID);
	meter.limit_percent = 6;
	ck_assert_int_eq(uncertainty_of(&sums).largest, TERM_ELECTRICITY);
	sums.meter_count = 0;
	sums.electricity_j = 0;
	ck_assert_int_eq(uncertainty_of(&sums).largest, TERM_FLUID);
	/* Of heat nothing is known: what the electricity is uncertain by. */
	const struct uncertainty_sums cold = {
		.electricity_j = 1e9, .meters = &meter, .meter_count = 1};
	ck_assert_int_eq(uncertainty_of(&cold).largest, TERM_ELECTRICITY);
}
END

TEST(negative_heat_is_as_uncertain_as_positive)
{
	struct uncertainty_sums sums = plain;
	struct uncertainty up = uncertainty_of(&sums);
	sums.heat_j = sums.measured_j = -sums.heat_j;
	struct uncertainty down = uncertainty_of(&sums);
	ck_assert(down.heat_j == up.heat_j);
	ck_assert(down.heat == up.heat);
	ck_assert(down.ratio_value == -up.ratio_value);
	ck_assert(down.ratio_expanded == up.ratio_expanded);
	ck_assert(down.ratio_expanded > 0);
}
END

TEST(a_ratio_over_zero_is_unknown)
{
	struct metered meter = {0, 1, 1, 0, {0, 0}};
	struct uncertainty_sums sums = plain;
	sums.electricity_j = 0;
	sums.meters = &meter;
	sums.meter_count = 1;
	for (int i = 0; i < 2; i++, sums.meter_count = 0) {
		struct uncertainty u = uncertainty_of(&sums);
		ck_assert(isnan(u.ratio_value));
		ck_assert(isnan(u.ratio));
		ck_assert(isnan(u.ratio_expanded));
		ck_assert(isnan(u.electricity));
		ck_assert(u.electricity_j == 0);
		ck_assert(u.heat > 0);
	}
}
END

TEST(no_heat_still_has_an_absolute_uncertainty)
{
	struct uncertainty_sums sums = plain;
	sums.heat_j = sums.measured_j = 0;
	struct uncertainty u = uncertainty_of(&sums);
	ck_assert(isnan(u.heat));
	ck_assert_double_eq_tol(u.heat_j, 4e9 * 0.1 / sqrt(3.0), 1);
	ck_assert(u.ratio_value == 0);
	ck_assert_double_eq_tol(u.ratio_expanded, 2 * u.heat_j / 7e9, 1e-12);
}
END

TEST(an_unknown_limit_makes_its_uncertainty_unknown)
{
	struct uncertainty_sums sums = plain;
	sums.flow_limit_percent = (double)NAN;
	struct uncertainty u = uncertainty_of(&sums);
	ck_assert(isnan(u.heat) && isnan(u.heat_j));
	ck_assert(isnan(u.ratio) && isnan(u.ratio_expanded));
	ck_assert(!isnan(u.electricity));
	ck_assert(u.ratio_value == 3);
}
END

TEST(without_limits_nothing_is_the_largest)
{
	struct uncertainty_sums sums = {.heat_j = 1e9, .measured_j = 1e9};
	ck_assert_int_eq(uncertainty_of(&sums).largest, TERM_COUNT);
}
END

	/* ---- what numerator and denominator share ---- */

	/* Means of five simultaneous readings and their covariances; the sensitivities of
	 * R = V/I·cos φ, X = V/I·sin φ, Z = V/I by differentiation (JCGM 100:2008, H.2).
	 */
	struct impedance {
	double covariance[9];
	double sensitivity[3][3];
	double value[3];
};

static struct impedance impedance(void)
{
	static const double readings[3][5] = {{5.007, 4.994, 5.005, 4.990, 4.999},
		{19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3},
		{1.0456, 1.0438, 1.0468, 1.0428, 1.0433}};
	struct impedance z = {0};
	double mean[3] = {0};
	for (int i = 0; i < 3; i++)
		for (int n = 0; n < 5; n++)
			mean[i] += readings[i][n] / 5;
	for (int i = 0; i < 3; i++)
		for (int k = 0; k < 3; k++)
			for (int n = 0; n < 5; n++)
				z.covariance[3 * i + k] += (readings[i][n] - mean[i]) *
							   (readings[k][n] - mean[k]) /
							   20;
	double v = mean[0], i = mean[1], c = cos(mean[2]), s = sin(mean[2]);
	const double sensitivity[3][3] = {{c / i, -v * c / (i * i), -v * s / i},
		{s / i, -v * s / (i * i), v * c / i}, {1 / i, -v / (i * i), 0}};
	memcpy(z.sensitivity, sensitivity, sizeof(sensitivity));
	z.value[0] = v / i * c;
	z.value[1] = v / i * s;
	z.value[2] = v / i;
	return z;
}

static void check_impedance(char **f, size_t count, void *context)
{
	size_t *row = context;
	const struct impedance z = impedance();
	ck_assert_uint_eq(count, 5);
	double u = uncertainty_propagated(3, z.sensitivity[*row], z.covariance);
	ck_assert_double_eq_tol(z.value[*row], number(f[3]), 0.5001e-6);
	ck_assert_double_eq_tol(u, number(f[4]), 0.5001e-6);
	/* As it was published: three decimals, the last of u(X) from rounded parts. */
	ck_assert_double_eq_tol(z.value[*row], number(f[1]), 1.001e-3);
	ck_assert_double_eq_tol(u, number(f[2]), 0.6e-3);
	++*row;
}

TEST(correlated_inputs_give_what_the_guide_found)
{
	size_t row = 0;
	ck_assert_uint_eq(data_rows("uncertainty_gum_h2.csv", check_impedance, &row), 3);
}
END

/* An immersion heater counts on both sides: d(Q/E)/dE_i = (1 − Q/E)/E. */
TEST(a_heater_on_both_sides_moves_the_ratio_by_less)
{
	static const struct metered meters[] = {
		{4e9, 0, 1, 0, {0, 0}}, {2e9, 10, 1, 1, {0, 0}}};
	struct uncertainty_sums sums = {.heat_j = 14e9,
		.measured_j = 12e9,
		.electricity_j = 6e9,
		.meters = meters,
		.meter_count = 2};
	struct uncertainty u = uncertainty_of(&sums);
	double own = 2e9 * 0.1 / sqrt(3.0), ratio = 14.0 / 6.0;
	ck_assert_double_eq_tol(u.heat_j, own, 1e-3);
	ck_assert_double_eq_tol(u.electricity_j, own, 1e-3);
	ck_assert_double_eq_tol(u.ratio_expanded, 2 * (ratio - 1) / 6e9 * own, 1e-12);
	/* As if they were independent it would be nearly twice as much here. */
	ck_assert_double_gt(hypot(u.heat, u.electricity), 1.7 * u.ratio);
}
END

TEST(heat_that_is_all_the_heaters_own_has_a_ratio_without_doubt)
{
	static const struct metered heater = {2e9, 10, 1, 1, {0, 0}};
	struct uncertainty_sums sums = {
		.heat_j = 2e9, .electricity_j = 2e9, .meters = &heater, .meter_count = 1};
	struct uncertainty u = uncertainty_of(&sums);
	ck_assert_double_gt(u.heat_j, 1e8);
	ck_assert_double_eq(u.ratio_value, 1);
	ck_assert_double_eq_tol(u.ratio_expanded, 0, 1e-9);
}
END

/* A back-up heater outside of the boundary is in the heat only. */
TEST(what_is_taken_off_the_heat_makes_it_less_certain)
{
	static const struct metered meters[] = {
		{4e9, 2, 1, 0, {0, 0}}, {3e9, 5, 0, -1, {0, 0}}};
	struct uncertainty_sums sums = {.heat_j = 9e9,
		.measured_j = 12e9,
		.electricity_j = 4e9,
		.flow_limit_percent = 3,
		.meters = meters,
		.meter_count = 2};
	struct uncertainty u = uncertainty_of(&sums);
	/* Flow counts of what was measured, not of what is left. */
	ck_assert_double_eq_tol(
		u.heat_j, hypot(12e9 * 0.03, 3e9 * 0.05) / sqrt(3.0), 1e-3);
	ck_assert_double_eq_tol(u.electricity_j, 4e9 * 0.02 / sqrt(3.0), 1e-3);
	ck_assert_double_eq_tol(u.ratio, hypot(u.heat, u.electricity), 1e-12);
}
END

	/* ---- what time does to it ---- */

	static struct uncertainty
	days(int n, double step_j)
{
	struct metered meters[] = {
		{n * 2e7, 2, 1, 0, {step_j, 0}}, {n * 1e7, 1, 1, 1, {0, 0}}};
	struct uncertainty_sums sums = {.heat_j = n * 9e7,
		.measured_j = n * 8e7,
		.sensitivity_j_per_k = n * 1.7e7,
		.pair = {.percent = 0.5, .k = 0.09},
		.flow_limit_percent = 3,
		.fluid_limit_percent = 0.64,
		.electricity_j = n * 3e7,
		.meters = meters,
		.meter_count = 2};
	return uncertainty_of(&sums);
}

TEST(a_season_is_no_surer_than_a_day)
{
	struct uncertainty day = days(1, 0);
	for (int n = 2; n <= 400; n++) {
		struct uncertainty season = days(n, 0);
		ck_assert_double_eq_tol(season.heat, day.heat, 1e-12);
		ck_assert_double_eq_tol(season.electricity, day.electricity, 1e-12);
		ck_assert_double_eq_tol(season.ratio, day.ratio, 1e-12);
		ck_assert_int_eq(season.largest, day.largest);
	}
	ck_assert_double_gt(day.ratio, 0.02);
}
END

TEST(a_registers_step_counts_once_however_long_the_span)
{
	const double step_j = 3.6e6;
	struct uncertainty day = days(1, step_j), season = days(200, step_j);
	ck_assert_double_eq_tol(
		day.terms[TERM_STEP].electricity_j, step_j / sqrt(6.0), 1e-6);
	ck_assert_double_eq(day.terms[TERM_STEP].electricity_j,
		season.terms[TERM_STEP].electricity_j);
	ck_assert_int_eq(day.largest, TERM_STEP);
	ck_assert_double_lt(season.ratio, day.ratio);
	ck_assert_double_ge(season.ratio, days(200, 0).ratio);
}
END

TESTS(worked_examples_are_met, small_differences_cost_what_the_table_says,
	meters_are_independent_of_each_other, the_largest_term_is_named,
	negative_heat_is_as_uncertain_as_positive, a_ratio_over_zero_is_unknown,
	no_heat_still_has_an_absolute_uncertainty,
	an_unknown_limit_makes_its_uncertainty_unknown, without_limits_nothing_is_the_largest,
	correlated_inputs_give_what_the_guide_found,
	a_heater_on_both_sides_moves_the_ratio_by_less,
	heat_that_is_all_the_heaters_own_has_a_ratio_without_doubt,
	what_is_taken_off_the_heat_makes_it_less_certain, a_season_is_no_surer_than_a_day,
	a_registers_step_counts_once_however_long_the_span)
