/*
 * Water with antifreeze against the published tables that it was fitted to, a second
 * published source, and worked heat coefficients.
 *
 * References: glycol_ashrae_table.csv, glycol_freeze_points.csv (ASHRAE Handbook -
 * Fundamentals 2001, second-hand); glycol_compact_fit.csv (own least squares, computed);
 * glycol_iir2010_coefficients.csv (IIF-IIR, Properties of Secondary Working Fluids, 2010,
 * second-hand); glycol_source_comparison.csv and glycol_heat_examples.csv (computed from
 * these and python3-iapws).
 */
#include "unit.h"

#include <heatbook/heat.h>
#include <heatbook/mixture.h>

#define FIT_PERCENT 0.03 /* what the fit is off by at most, as its file says */

static double number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

static enum fluid fluid_of(const char *text)
{
	ck_assert(strcmp(text, "EG") == 0 || strcmp(text, "PG") == 0);
	return text[0] == 'E' ? FLUID_ETHYLENE_GLYCOL : FLUID_PROPYLENE_GLYCOL;
}

static struct water at(enum fluid fluid, double percent, double t_c)
{
	struct mixture m = mixture_of(fluid, percent);
	return mixture_at(&m, t_c, 2);
}

static double percent_off(double value, double wanted)
{
	return (value / wanted - 1) * 100;
}

/* ---- the fit ---- */

struct polynomials {
	double density[3][4][3], capacity[3][4][3]; /* by fluid, x, t */
};

static void take_coefficient(char **f, size_t count, void *context)
{
	struct polynomials *p = context;
	ck_assert_uint_eq(count, 5);
	bool density = strcmp(f[1], "rho") == 0;
	double(*of)[4][3] = density ? p->density : p->capacity;
	of[fluid_of(f[0])][atoi(f[2])][atoi(f[3])] = number(f[4]);
}

static double value_of(double c[4][3], double x, double t)
{
	double sum = 0;
	for (int i = 0; i < 4; i++)
		for (int j = 0; j < 3; j++)
			sum += c[i][j] * pow(x, i) * pow(t, j);
	return sum;
}

TEST(constants_are_those_of_the_fit)
{
	static struct polynomials p;
	ck_assert_uint_eq(data_rows("glycol_compact_fit.csv", take_coefficient, &p), 40);
	for (int fluid = FLUID_PROPYLENE_GLYCOL; fluid <= FLUID_ETHYLENE_GLYCOL; fluid++)
		for (double percent = 10; percent <= 60; percent += 2.5)
			for (double t_c = 0; t_c <= 100; t_c += 10) {
				struct water w = at((enum fluid)fluid, percent, t_c);
				double x = percent / 100, t = t_c / 100;
				double rho = value_of(p.density[fluid], x, t);
				double cp = value_of(p.capacity[fluid], x, t);
				ck_assert(fabs(1 / w.volume_m3_kg / rho - 1) < 1e-12);
				ck_assert(fabs(w.capacity_j_kg_k / cp - 1) < 1e-12);
			}
}
END

	static void
	check_cell(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 5);
	struct water w = at(fluid_of(f[0]), number(f[1]), number(f[2]));
	double density = percent_off(1 / w.volume_m3_kg, number(f[3]));
	double capacity = percent_off(w.capacity_j_kg_k, number(f[4]));
	ck_assert_msg(fabs(density) <= FIT_PERCENT && fabs(capacity) <= FIT_PERCENT,
		"%s %s %% %s °C: density %+.4f %%, capacity %+.4f %%", f[0], f[1], f[2],
		density, capacity);
}

TEST(every_cell_of_the_tables_is_met)
{
	ck_assert_uint_eq(data_rows("glycol_ashrae_table.csv", check_cell, NULL), 291);
}
END

TEST(capacity_is_the_slope_of_enthalpy)
{
	static const double percents[] = {4, 10, 25, 60};
	for (int fluid = FLUID_PROPYLENE_GLYCOL; fluid <= FLUID_ETHYLENE_GLYCOL; fluid++)
		for (size_t i = 0; i < ARRAY_LEN(percents); i++)
			for (double t_c = 5; t_c < 100; t_c += 15) {
				enum fluid f = (enum fluid)fluid;
				double slope =
					(at(f, percents[i], t_c + 0.5).enthalpy_j_kg -
						at(f, percents[i], t_c - 0.5)
							.enthalpy_j_kg);
				double cp = at(f, percents[i], t_c).capacity_j_kg_k;
				ck_assert(fabs(slope / cp - 1) < 1e-5);
			}
}
END

	/* ---- a second source ---- */

	struct second {
	double middle_x, middle_t;
	double density[6][4], capacity[6][4];
};

static struct second seconds[3] = {
	[FLUID_ETHYLENE_GLYCOL] = {.middle_x = 30.8462, .middle_t = 31.728},
	[FLUID_PROPYLENE_GLYCOL] = {.middle_x = 30.7031, .middle_t = 32.7083},
};

static void take_second(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 6);
	struct second *s = &seconds[fluid_of(f[0])];
	s->density[atoi(f[2])][atoi(f[3])] = number(f[4]);
	s->capacity[atoi(f[2])][atoi(f[3])] = number(f[5]);
}

static double second_of(
	double c[6][4], const struct second *s, double mass_percent, double t_c)
{
	double sum = 0;
	for (int i = 0; i < 6; i++)
		for (int j = 0; j < 4; j++)
			sum += c[i][j] * pow(mass_percent - s->middle_x, i) *
			       pow(t_c - s->middle_t, j);
	return sum;
}

static void check_comparison(char **f, size_t count, void *context)
{
	double *widest = context;
	ck_assert_uint_eq(count, 11);
	enum fluid fluid = fluid_of(f[0]);
	struct second *s = &seconds[fluid];
	double mass = number(f[2]), t_c = number(f[3]), spread = number(f[10]);
	double density = second_of(s->density, s, mass, t_c);
	double capacity = second_of(s->capacity, s, mass, t_c);
	/* Its mass percent is rounded to 0.01. */
	ck_assert_msg(fabs(density - number(f[5])) < 0.02 &&
			      fabs(capacity - number(f[7])) < 0.15,
		"the second source itself: %f %f", density, capacity);
	struct water w = at(fluid, number(f[1]), t_c);
	double off = percent_off(density * capacity, w.capacity_j_kg_k / w.volume_m3_kg);
	ck_assert_msg(fabs(off - spread) <= 2 * FIT_PERCENT,
		"%s %s %% %s °C: %+.3f %%, table %s", f[0], f[1], f[3], off, f[10]);
	widest[fluid] = fmax(widest[fluid], fabs(spread));
}

TEST(the_spread_is_what_two_sources_differ_by)
{
	double widest[3] = {0};
	ck_assert_uint_eq(
		data_rows("glycol_iir2010_coefficients.csv", take_second, NULL), 36);
	ck_assert_uint_eq(
		data_rows("glycol_source_comparison.csv", check_comparison, widest), 40);
	/* As the comparison's head rounds them: 2.04 and 0.64 %. */
	ck_assert_double_eq_tol(
		mixture_spread_percent(FLUID_ETHYLENE_GLYCOL), widest[2], 0.05);
	ck_assert_double_eq_tol(
		mixture_spread_percent(FLUID_PROPYLENE_GLYCOL), widest[1], 0.005);
	ck_assert_double_eq(mixture_spread_percent(FLUID_WATER), 0);
}
END

	/* ---- limits ---- */

	static void
	check_freezing(char **f, size_t count, void *context)
{
	double *last = context;
	ck_assert_uint_eq(count, 4);
	enum fluid fluid = fluid_of(f[0]);
	double t_c = mixture_freezes_c(fluid, number(f[1]));
	ck_assert_msg(fabs(t_c - number(f[3])) <= 0.3, "%s %s %%: %.2f, table %s", f[0],
		f[1], t_c, f[3]);
	ck_assert(t_c <= last[fluid]);
	last[fluid] = t_c;
}

TEST(it_freezes_where_the_tables_say)
{
	double last[3] = {0};
	ck_assert_uint_eq(
		data_rows("glycol_freeze_points.csv", check_freezing, last), 90);
	ck_assert_double_eq(mixture_freezes_c(FLUID_WATER, 0), 0);
	/* The table of ethylene glycol ends at 57.8 %. */
	ck_assert_double_eq(mixture_freezes_c(FLUID_ETHYLENE_GLYCOL, 60), -48.3);
}
END

TEST(beyond_ice_and_tables_nothing_is_known)
{
	static const struct {
		enum fluid fluid;
		double percent, t_c;
		bool known;
	} rows[] = {
		{FLUID_PROPYLENE_GLYCOL, 30, -13.0, true},
		{FLUID_PROPYLENE_GLYCOL, 30, -13.3, false},
		{FLUID_PROPYLENE_GLYCOL, 60, -35.0, true},
		{FLUID_PROPYLENE_GLYCOL, 60, -35.1, false},
		{FLUID_ETHYLENE_GLYCOL, 20, -8.7, true},
		{FLUID_ETHYLENE_GLYCOL, 20, -9.0, false},
		{FLUID_ETHYLENE_GLYCOL, 20, 100.0, true},
		{FLUID_ETHYLENE_GLYCOL, 20, 100.1, false},
		{FLUID_ETHYLENE_GLYCOL, 20, NAN, false},
		{FLUID_PROPYLENE_GLYCOL, 5, 0.0, true},
		{FLUID_PROPYLENE_GLYCOL, 5, -0.1, false},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct water w = at(rows[i].fluid, rows[i].percent, rows[i].t_c);
		ck_assert_msg(isnan(w.volume_m3_kg) == !rows[i].known &&
				      isnan(w.enthalpy_j_kg) == !rows[i].known &&
				      isnan(w.capacity_j_kg_k) == !rows[i].known,
			"row %zu", i);
	}
}
END

TEST(under_ten_percent_it_is_between_water_and_the_ten_percent_line)
{
	for (int f = FLUID_PROPYLENE_GLYCOL; f <= FLUID_ETHYLENE_GLYCOL; f++)
		for (double t_c = 0; t_c <= 100; t_c += 20) {
			enum fluid fluid = (enum fluid)f;
			struct water none = water_at(t_c, 2);
			struct water line = at(fluid, 10, t_c);
			struct water half = at(fluid, 5, t_c);
			struct water nearly = at(fluid, 10 - 1e-9, t_c);
			struct water hardly = at(fluid, 1e-9, t_c);
			ck_assert_double_eq_tol(2 / half.volume_m3_kg,
				1 / none.volume_m3_kg + 1 / line.volume_m3_kg, 1e-9);
			ck_assert_double_eq_tol(2 * half.capacity_j_kg_k,
				none.capacity_j_kg_k + line.capacity_j_kg_k, 1e-9);
			ck_assert_double_eq_tol(2 * half.enthalpy_j_kg,
				none.enthalpy_j_kg + line.enthalpy_j_kg, 1e-6);
			ck_assert(
				fabs(nearly.volume_m3_kg / line.volume_m3_kg - 1) < 1e-9);
			ck_assert(
				fabs(hardly.volume_m3_kg / none.volume_m3_kg - 1) < 1e-9);
		}
	struct water nothing = at(FLUID_ETHYLENE_GLYCOL, 0, 20);
	ck_assert(nothing.volume_m3_kg == water_at(20, 2).volume_m3_kg);
}
END

	/* ---- heat ---- */

	static void
	check_heat(char **f, size_t count, void *context)
{
	double *extremes = context;
	ck_assert_uint_eq(count, 9);
	double flow_c = number(f[2]), return_c = number(f[3]), as_water_w, w, w_per_k;
	struct heat_setting setting = {.flow_sensor_pipe = PIPE_RETURN};
	heat_flow(&setting, 60, flow_c, return_c, 2, &as_water_w, &w_per_k);
	setting.mixture = mixture_of(fluid_of(f[0]), number(f[1]));
	heat_flow(&setting, 60, flow_c, return_c, 2, &w, &w_per_k);
	/* 60 L/min are 1 m³ in 1000 s: W/K are kJ/(m³ K). The examples at 25 % are on a
	 * straight line between 20 and 30 %, where the fit is curved. */
	double most = strcmp(f[1], "25") == 0 ? 0.12 : 2 * FIT_PERCENT;
	double k = w_per_k / 1000, by_heat = w / (flow_c - return_c) / 1000;
	ck_assert_msg(fabs(percent_off(k, number(f[6]))) <= most &&
			      fabs(by_heat / k - 1) < 1e-9,
		"%s %s %% %s/%s °C: %.5f MJ/(m³ K), table %s", f[0], f[1], f[2], f[3], k,
		f[6]);
	double over = percent_off(as_water_w, w);
	ck_assert_msg(fabs(over - number(f[8])) <= most,
		"%s %s %% %s/%s °C booked as water: %+.3f %%, table %s", f[0], f[1], f[2],
		f[3], over, f[8]);
	extremes[0] = fmin(extremes[0], over);
	extremes[1] = fmax(extremes[1], over);
}

TEST(booked_as_water_it_over_reads_as_the_worked_examples_say)
{
	double extremes[2] = {100, 0};
	ck_assert_uint_eq(
		data_rows("glycol_heat_examples.csv", check_heat, extremes), 36);
	/* What the owner is told: 0.5 to 17 %, by propylene glycol of 10 % at 55/47 °C
	 * and ethylene glycol of 50 % at 35/30 °C. */
	ck_assert_double_eq_tol(extremes[0], 0.53, 0.05);
	ck_assert_double_eq_tol(extremes[1], 16.96, 0.05);
}
END

TEST(the_density_is_that_of_the_pipe_with_the_flow_sensor)
{
	struct heat_setting setting = {.flow_sensor_pipe = PIPE_FLOW,
		.mixture = mixture_of(FLUID_PROPYLENE_GLYCOL, 30)};
	double by_flow_w, by_return_w, by_mass_w, w_per_k;
	heat_flow(&setting, 20, 50, 40, NAN, &by_flow_w, &w_per_k);
	setting.flow_sensor_pipe = PIPE_RETURN;
	heat_flow(&setting, 20, 50, 40, NAN, &by_return_w, &w_per_k);
	double density_at_50 = 1 / at(FLUID_PROPYLENE_GLYCOL, 30, 50).volume_m3_kg;
	double density_at_40 = 1 / at(FLUID_PROPYLENE_GLYCOL, 30, 40).volume_m3_kg;
	ck_assert_double_eq_tol(
		by_flow_w / by_return_w, density_at_50 / density_at_40, 1e-12);
	/* What is metered as mass needs none. */
	setting.mass_flow = true;
	heat_flow(&setting, 20 * density_at_40 / 1000, 50, 40, NAN, &by_mass_w, &w_per_k);
	ck_assert(fabs(by_mass_w / by_return_w - 1) < 1e-12);
	/* A defrost: the other sign, to the bit. */
	setting = (struct heat_setting){
		.flow_sensor_pipe = PIPE_FLOW, .mixture = setting.mixture};
	double drawn_w;
	heat_flow(&setting, 20, 40, 50, NAN, &drawn_w, &w_per_k);
	ck_assert(drawn_w == -by_return_w);
}
END

TESTS(constants_are_those_of_the_fit, every_cell_of_the_tables_is_met,
	capacity_is_the_slope_of_enthalpy, the_spread_is_what_two_sources_differ_by,
	it_freezes_where_the_tables_say, beyond_ice_and_tables_nothing_is_known,
	under_ten_percent_it_is_between_water_and_the_ten_percent_line,
	booked_as_water_it_over_reads_as_the_worked_examples_say,
	the_density_is_that_of_the_pipe_with_the_flow_sensor)
