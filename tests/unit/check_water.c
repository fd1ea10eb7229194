/*
 * Water against IAPWS-IF97.
 *
 * References: R7-97(2012) Table 5 (second-hand: quoted alike by three public test suites)
 * and Table 35 of region 4 (from memory, agreeing with what python3-iapws computes); a
 * grid of 605 states computed with python3-iapws 1.5.2.
 */
#include "unit.h"

#include <heatbook/water.h>

#define KELVIN_AT_0_C 273.15

static double number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

struct table_5 {
	int v, h, cp;
};

static void check_table_5(char **f, size_t count, void *context)
{
	struct table_5 *seen = context;
	ck_assert_uint_eq(count, 7);
	struct water water = water_at(number(f[0]) - KELVIN_AT_0_C, number(f[1]) * 10);
	double published = number(f[4]), ours;
	if (strcmp(f[2], "v") == 0) {
		ours = water.volume_m3_kg;
		seen->v++;
	} else if (strcmp(f[2], "h") == 0) {
		ours = water.enthalpy_j_kg / 1000;
		seen->h++;
	} else if (strcmp(f[2], "cp") == 0) {
		ours = water.capacity_j_kg_k / 1000;
		seen->cp++;
	} else {
		return; /* u, s and w are not computed here */
	}
	ck_assert_msg(fabs(ours / published - 1) < 1e-8,
		"%s K %s MPa %s: %.12g, table %s", f[0], f[1], f[2], ours, f[4]);
}

TEST(table_5_of_the_standard_is_met_to_nine_digits)
{
	struct table_5 seen = {0};
	data_rows("water_if97_region1_verification.csv", check_table_5, &seen);
	ck_assert_int_eq(seen.v, 3);
	ck_assert_int_eq(seen.h, 3);
	ck_assert_int_eq(seen.cp, 3);
}
END

	/* Half a unit of the last printed digit, and the rounding of both sides'
	   arithmetic. */
	static void
	same_digits(char **f, const char *what, double ours, int field, double half_step)
{
	ck_assert_msg(fabs(ours - number(f[field])) <= half_step * 1.001,
		"%s bar %s °C %s: %.10g, grid %s", f[0], f[1], what, ours, f[field]);
}

static void check_grid(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 6);
	struct water water = water_at(number(f[1]), number(f[0]));
	double rho = 1 / water.volume_m3_kg;
	same_digits(f, "rho", rho, 2, 0.5e-6);
	same_digits(f, "cp", water.capacity_j_kg_k / 1000, 3, 0.5e-7);
	same_digits(f, "h", water.enthalpy_j_kg / 1000, 4, 0.5e-6);
	same_digits(f, "rho cp", rho * water.capacity_j_kg_k / 1e6, 5, 0.5e-7);
}

TEST(the_grid_is_met_to_its_printed_digits)
{
	ck_assert_uint_eq(data_rows("water_grid_if97.csv", check_grid, NULL), 605);
}
END

TEST(saturation_meets_table_35_of_the_standard)
{
	static const struct {
		double t_k, bar;
	} rows[] = {{300, 0.0353658941}, {500, 26.3889776}, {600, 123.443146}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		double ours = water_saturation_bar(rows[i].t_k - KELVIN_AT_0_C);
		ck_assert_msg(fabs(ours / rows[i].bar - 1) < 1e-8, "%g K: %.12g",
			rows[i].t_k, ours);
	}
	ck_assert(isnan(water_saturation_bar(-0.01)));
	ck_assert(isnan(water_saturation_bar(350.01)));
	ck_assert(isnan(water_saturation_bar((double)NAN)));
}
END

	static bool
	known(double t_c, double bar)
{
	struct water w = water_at(t_c, bar);
	bool v = !isnan(w.volume_m3_kg), h = !isnan(w.enthalpy_j_kg);
	bool cp = !isnan(w.capacity_j_kg_k);
	ck_assert(v == h && h == cp);
	return v;
}

TEST(outside_the_domain_everything_is_unknown)
{
	ck_assert(known(0, 1));
	ck_assert(known(0, 0.5));
	ck_assert(!known(-0.001, 2));
	ck_assert(known(350, 1000));
	ck_assert(!known(350.001, 1000));
	ck_assert(!known(40, 1000.001));
	ck_assert(!known(40, 0));
	ck_assert(!known(40, -1));
	ck_assert(!known((double)NAN, 2));
	ck_assert(!known(40, (double)NAN));
	ck_assert(!known((double)INFINITY, 2));
	ck_assert(!known(40, (double)INFINITY));
}
END

/* Boiling point at 1 bar: 99.61 °C, the reason why the grid has no row there. */
TEST(steam_is_unknown)
{
	ck_assert(known(99.60, 1));
	ck_assert(!known(99.62, 1));
	ck_assert(!known(100, 1));
	ck_assert(known(100, 1.02));
	ck_assert(!known(98.9, 0.95)); /* boils at 0.97 bar */
	for (double t_c = 1; t_c < 350; t_c += 7.3) {
		double bar = water_saturation_bar(t_c);
		ck_assert(known(t_c, bar * 1.0001));
		ck_assert(!known(t_c, bar * 0.9999));
	}
}
END

/* Thermodynamics itself: cp is the slope of h. */
TEST(capacity_is_the_slope_of_enthalpy)
{
	for (double t_c = 1; t_c < 99; t_c += 0.7) {
		const double step = 0.01;
		double slope = (water_at(t_c + step, 2).enthalpy_j_kg -
				       water_at(t_c - step, 2).enthalpy_j_kg) /
			       (2 * step);
		ck_assert_double_eq_tol(slope, water_at(t_c, 2).capacity_j_kg_k, 1e-4);
	}
}
END

TESTS(table_5_of_the_standard_is_met_to_nine_digits, the_grid_is_met_to_its_printed_digits,
	saturation_meets_table_35_of_the_standard, outside_the_domain_everything_is_unknown,
	steam_is_unknown, capacity_is_the_slope_of_enthalpy)
