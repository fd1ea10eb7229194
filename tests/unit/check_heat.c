/*
 * Heat flow against tables of the heat coefficient and worked quantities.
 *
 * References, all computed with python3-iapws 1.5.2 (IAPWS-IF97 region 1): heat
 * coefficients at 2 and 16 bar (their formula EN 1434-1 / OIML R 75: from memory, it
 * follows from the energy balance), worked heat quantities, 500 random cases, the grid's
 * ρ·cp.
 */
#include "unit.h"

#include <heatbook/heat.h>

static const struct heat_setting by_return = {.flow_sensor_pipe = PIPE_RETURN};
static const struct heat_setting by_flow = {.flow_sensor_pipe = PIPE_FLOW};

static double number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

struct heat {
	double w, w_per_k;
};

static struct heat heat(const struct heat_setting *setting, double flow_lpm,
	double flow_c, double return_c, double bar)
{
	struct heat h = {-1, -1};
	heat_flow(setting, flow_lpm, flow_c, return_c, bar, &h.w, &h.w_per_k);
	return h;
}

/* 60 L/min for 1000 s are 1 m³, so W/K are kJ/(m³ K). */
static void check_coefficient(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 7);
	double bar = number(f[0]), flow_c = number(f[1]), return_c = number(f[2]);
	const struct heat_setting *settings[] = {&by_return, &by_flow};
	for (size_t i = 0; i < 2; i++) {
		struct heat h = heat(settings[i], 60, flow_c, return_c, bar);
		double k = h.w_per_k / 1000, by_heat = h.w / (flow_c - return_c) / 1000;
		double table = number(f[3 + i]);
		ck_assert_msg(fabs(k - table) <= 0.5001e-6 &&
				      fabs(by_heat - table) <= 0.5001e-6,
			"%s bar %s/%s °C pipe %zu: %.8f, %.8f, table %s", f[0], f[1],
			f[2], i, k, by_heat, f[3 + i]);
		ck_assert(fabs(k / 3.6 - number(f[5 + i])) <= 0.5001e-6);
	}
}

TEST(heat_coefficients_at_2_bar_meet_the_table)
{
	ck_assert_uint_eq(
		data_rows("heat_coefficient_2bar.csv", check_coefficient, NULL), 242);
}
END

TEST(heat_coefficients_at_16_bar_meet_the_table)
{
	ck_assert_uint_eq(
		data_rows("heat_coefficient_16bar.csv", check_coefficient, NULL), 242);
}
END

	static void
	check_example(char **f, size_t count, void *context)
{
	int *negative = context;
	ck_assert_uint_eq(count, 11);
	double lpm = number(f[0]) * 1000; /* the whole volume within a minute */
	double flow_c = number(f[1]), return_c = number(f[2]), bar = number(f[3]);
	double return_mj = heat(&by_return, lpm, flow_c, return_c, bar).w * 60 / 1e6;
	double flow_mj = heat(&by_flow, lpm, flow_c, return_c, bar).w * 60 / 1e6;
	ck_assert_msg(
		fabs(return_mj - number(f[4])) <= 0.5001e-5, "%.7f, %s", return_mj, f[4]);
	ck_assert(fabs(return_mj / 3.6 - number(f[5])) <= 0.5001e-6);
	ck_assert_msg(
		fabs(flow_mj - number(f[6])) <= 0.5001e-5, "%.7f, %s", flow_mj, f[6]);
	ck_assert(fabs(flow_mj / 3.6 - number(f[7])) <= 0.5001e-6);
	*negative += return_mj < 0;
}

TEST(worked_quantities_are_met_and_the_negative_sign_survives)
{
	int negative = 0;
	ck_assert_uint_eq(
		data_rows("heat_meter_examples.csv", check_example, &negative), 8);
	ck_assert_int_eq(negative, 1);
}
END

	static void
	check_random(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 7);
	bool flow_pipe = strcmp(f[3], "flow") == 0;
	struct heat h = heat(flow_pipe ? &by_flow : &by_return, number(f[4]),
		number(f[0]), number(f[1]), number(f[2]));
	ck_assert_msg(fabs(h.w / number(f[5]) - 1) < 1e-7, "%s/%s °C %s bar: %.12g, %s",
		f[0], f[1], f[2], h.w, f[5]);
	ck_assert_msg(fabs(h.w_per_k / number(f[6]) - 1) < 1e-7,
		"%s/%s °C %s bar: %.12g, %s", f[0], f[1], f[2], h.w_per_k, f[6]);
}

TEST(random_cases_agree_with_the_reference_library)
{
	ck_assert_uint_eq(
		data_rows("heat_flow_if97_random.csv", check_random, NULL), 500);
}
END

	static void
	check_limit(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 6);
	double bar = number(f[0]), t_c = number(f[1]);
	const struct heat_setting *settings[] = {&by_return, &by_flow};
	for (size_t i = 0; i < 2; i++) {
		struct heat h = heat(settings[i], 60, t_c, t_c, bar);
		ck_assert(h.w == 0);
		ck_assert_msg(fabs(h.w_per_k / 1000 - number(f[5])) <= 0.5001e-7,
			"%s bar %s °C: %.9f, %s", f[0], f[1], h.w_per_k / 1000, f[5]);
	}
}

TEST(equal_temperatures_carry_no_heat_and_are_sensitive_by_rho_cp)
{
	ck_assert_uint_eq(data_rows("water_grid_if97.csv", check_limit, NULL), 605);
}
END

/* From a difference of 1e-7 K to 0.1 K the sensitivity moves by less than the physics
   does. */
TEST(sensitivity_has_no_step_near_equal_temperatures)
{
	for (double return_c = 5; return_c < 80; return_c += 2.5) {
		double at_equal = heat(&by_return, 20, return_c, return_c, 2).w_per_k;
		for (double d = 1e-7; d < 0.2; d *= 1.7) {
			struct heat h = heat(&by_return, 20, return_c + d, return_c, 2);
			ck_assert(fabs(h.w_per_k / at_equal - 1) < 1e-9 + d * 1e-3);
			ck_assert(fabs(h.w / (h.w_per_k * d) - 1) < 1e-9 + 1e-9 / d);
			ck_assert(h.w > 0);
		}
	}
}
END

TEST(swapped_pipes_give_the_same_heat_of_the_other_sign)
{
	uint64_t random = unit_seed();
	for (int i = 0; i < 1000; i++) {
		double a = (double)unit_random_between(&random, 0, 9000) / 100;
		double b = (double)unit_random_between(&random, 0, 9000) / 100;
		struct heat there = heat(&by_return, 15, a, b, 2);
		struct heat back = heat(&by_flow, 15, b, a, 2);
		ck_assert(there.w == -back.w);
		ck_assert(there.w_per_k == back.w_per_k);
	}
}
END

TEST(no_flow_is_no_heat_and_known_whatever_the_temperatures)
{
	struct heat_setting setting = {.least_flow_lpm = 2.5};
	const double unknown = (double)NAN;
	struct heat cases[] = {
		heat(&setting, 2.5, 45, 20, 2),
		heat(&setting, 0, 45, 20, 2),
		heat(&setting, -1, 45, 20, 2),
		heat(&setting, 1, unknown, 20, 2),
		heat(&setting, 1, 45, unknown, 2),
		heat(&setting, 1, 45, 20, unknown),
		heat(&by_return, 0, unknown, unknown, unknown),
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++)
		ck_assert_msg(cases[i].w == 0 && cases[i].w_per_k == 0, "case %zu", i);
	ck_assert(heat(&setting, 2.51, 45, 20, 2).w > 0);
}
END

TEST(anything_unknown_makes_heat_unknown)
{
	const double unknown = (double)NAN, endless = (double)INFINITY;
	struct heat_setting glycol = {.mixture = mixture_of(FLUID_PROPYLENE_GLYCOL, 20)};
	struct heat_setting mass = {.mass_flow = true};
	struct heat cases[] = {
		heat(&by_return, unknown, 45, 40, 2),
		heat(&by_return, endless, 45, 40, 2),
		heat(&by_return, 15, unknown, 40, 2),
		heat(&by_return, 15, 45, unknown, 2),
		heat(&by_return, 15, 45, 40, unknown),
		heat(&by_return, 15, 45, -0.5, 2),
		heat(&by_flow, 15, 130, 40, 2), /* steam at 2 bar */
		heat(&by_return, 15, 130, 40, 2),
		heat(&mass, 15, 45, 40, unknown),
		heat(&mass, 15, unknown, 40, 2),
		heat(&glycol, 15, 45, -9, 2), /* ice */
		heat(&glycol, 15, 101, 40, 2),
		heat(&glycol, 15, unknown, 40, 2),
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++)
		ck_assert_msg(
			isnan(cases[i].w) && isnan(cases[i].w_per_k), "case %zu", i);
}
END

/* The grid at 2 bar: h(45 °C) and h(35 °C) differ by the enthalpy that each kilogram
 * carries; a mass flow needs no density and no pipe. */
TEST(mass_flow_needs_no_density)
{
	struct heat_setting mass = {.mass_flow = true, .flow_sensor_pipe = PIPE_FLOW};
	struct heat by_mass = heat(&mass, 18, 45, 35, 2);
	/* kJ/kg from water_grid_if97.csv, rows 2.0,45.0 and 2.0,35.0 */
	ck_assert_double_eq_tol(by_mass.w, 0.3 * (188.603633 - 146.819530) * 1000, 0.001);
	mass.flow_sensor_pipe = PIPE_RETURN;
	ck_assert(heat(&mass, 18, 45, 35, 2).w == by_mass.w);
	ck_assert_double_eq_tol(by_mass.w_per_k, by_mass.w / 10, 1e-9);
}
END

TESTS(heat_coefficients_at_2_bar_meet_the_table, heat_coefficients_at_16_bar_meet_the_table,
	worked_quantities_are_met_and_the_negative_sign_survives,
	random_cases_agree_with_the_reference_library,
	equal_temperatures_carry_no_heat_and_are_sensitive_by_rho_cp,
	sensitivity_has_no_step_near_equal_temperatures,
	swapped_pipes_give_the_same_heat_of_the_other_sign,
	no_flow_is_no_heat_and_known_whatever_the_temperatures,
	anything_unknown_makes_heat_unknown, mass_flow_needs_no_density)
