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
	struct metered meter = {kwh * J_PER_KWH, number(f[8]) / kwh * limit};
	struct uncertainty_sums sums = {
		.heat_j = volume * k * 1e6 * difference,
		.sensitivity_j_per_k = volume * k * 1e6,
		.pair_limit_k = number(f[6]) * sqrt(3.0),
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
	struct metered meter = {1e9, 1};
	struct uncertainty_sums sums = {.heat_j = 3e9,
		.sensitivity_j_per_k = 3e9 / number(f[0]),
		.pair_limit_k = number(f[1]),
		.flow_limit_percent = 2,
		.meters = &meter,
		.meter_count = 1};
	struct uncertainty u = uncertainty_of(&sums);
	ck_assert(fabs(100 * u.terms[TERM_PAIR] - number(f[2])) <= 0.5001e-4);
	ck_assert(fabs(100 * u.ratio - number(f[3])) <= 0.5001e-4);
	ck_assert(
		fabs(100 * u.ratio_expanded / u.ratio_value - number(f[4])) <= 0.5001e-4);
}

TEST(small_differences_cost_what_the_table_says)
{
	ck_assert_uint_eq(data_rows("uncertainty_vs_spread.csv", check_spread, NULL), 60);
}
END

	static const struct metered two[] = {{3e9, 2}, {4e9, 2}};
static const struct uncertainty_sums plain = {.heat_j = 21e9,
	.sensitivity_j_per_k = 4e9,
	.pair_limit_k = 0.1,
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
	struct metered meter = {1e9, 1};
	struct uncertainty_sums sums = {.heat_j = 3e9,
		.sensitivity_j_per_k = 1e9,
		.pair_limit_k = 0.1,
		.flow_limit_percent = 2,
		.fluid_limit_percent = 0.5,
		.meters = &meter,
		.meter_count = 1};
	ck_assert_str_eq(uncertainty_of(&sums).largest, "temperature pair");
	sums.flow_limit_percent = 4;
	ck_assert_str_eq(uncertainty_of(&sums).largest, "flow");
	sums.fluid_limit_percent = 5;
	ck_assert_str_eq(uncertainty_of(&sums).largest, "fluid");
	meter.limit_percent = 6;
	ck_assert_str_eq(uncertainty_of(&sums).largest, "electricity");
	sums.meter_count = 0;
	ck_assert_str_eq(uncertainty_of(&sums).largest, "fluid");
}
END

TEST(negative_heat_is_as_uncertain_as_positive)
{
	struct uncertainty_sums sums = plain;
	struct uncertainty up = uncertainty_of(&sums);
	sums.heat_j = -sums.heat_j;
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
	struct metered meter = {0, 1};
	struct uncertainty_sums sums = plain;
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
	sums.heat_j = 0;
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
	struct uncertainty_sums sums = {.heat_j = 1e9};
	ck_assert_ptr_null(uncertainty_of(&sums).largest);
}
END

TESTS(worked_examples_are_met, small_differences_cost_what_the_table_says,
	meters_are_independent_of_each_other, the_largest_term_is_named,
	negative_heat_is_as_uncertain_as_positive, a_ratio_over_zero_is_unknown,
	no_heat_still_has_an_absolute_uncertainty,
	an_unknown_limit_makes_its_uncertainty_unknown, without_limits_nothing_is_the_largest)
