/*
 * The reference season and the bin method, against the standard's example and certified
 * units.
 *
 * Outside: en14825_bins.csv, en14825_mode_hours.csv, the example of EN 14825:2018 Annex H
 * (en14825_scop_example_*.csv; published 3.61, second-hand; recomputed), open data of
 * certified units and what plain Python makes of them (data/certified_units),
 * scop_simple_example.csv (computed).
 */
#include <heatbook/en14825.h>

#include "unit.h"

#include <math.h>

#define UNITS_MOST 500

static double of(const char *text)
{
	return *text ? strtod(text, NULL) : (double)NAN;
}

/* ---- the season ---- */

static void check_bin(char **f, size_t count, void *context)
{
	size_t *seen = context;
	ck_assert_uint_eq(count, 6);
	for (int c = 0; c < EN14825_CLIMATES; c++) {
		const struct en14825_season *s = en14825_season((enum en14825_climate)c);
		if (strcmp(f[0], en14825_climate_name((enum en14825_climate)c)) != 0)
			continue;
		ck_assert_uint_lt(seen[c], s->count);
		const struct en14825_bin *bin = &s->bins[seen[c]++];
		ck_assert_int_eq(bin->outdoor_c, atoi(f[2]));
		ck_assert_int_eq(bin->hours, atoi(f[3]));
		ck_assert_int_eq(s->design_c, atoi(f[4]));
		ck_assert_double_eq_tol(
			en14825_load(s, bin->outdoor_c), of(f[5]), 5.1e-7);
	}
}

TEST(seasons_are_those_of_the_standard)
{
	size_t seen[EN14825_CLIMATES] = {0};
	ck_assert_uint_eq(data_rows("en14825_bins.csv", check_bin, seen), 78);
	for (int c = 0; c < EN14825_CLIMATES; c++)
		ck_assert_uint_eq(
			seen[c], en14825_season((enum en14825_climate)c)->count);
	ck_assert_double_eq(en14825_load(en14825_season(EN14825_COLDER), -22.0), 1.0);
	ck_assert_double_eq(en14825_load(en14825_season(EN14825_WARMER), 16.0), 0.0);
}
END

	/* ---- certified units, and the example ---- */

	struct unit_row {
	char name[16];
	struct en14825_point points[8];
	struct en14825_unit unit;
	double certified, recomputed;
	double heat, supplementary, electricity, scop_on, scop; /* by plain Python */
};
static struct unit_row units[UNITS_MOST];
static size_t unit_count;

static struct unit_row *named(const char *name)
{
	for (size_t i = 0; i < unit_count; i++)
		if (strcmp(units[i].name, name) == 0)
			return &units[i];
	ck_abort_msg("no unit %s", name);
	return NULL;
}

/* Where it belongs by temperature; a point that is there already stays. */
static void put(struct unit_row *u, double outdoor_c, double kw, double cop)
{
	size_t at = 0;
	while (at < u->unit.count && u->points[at].outdoor_c < outdoor_c)
		at++;
	if (at < u->unit.count && u->points[at].outdoor_c == outdoor_c)
		return;
	memmove(u->points + at + 1, u->points + at,
		(u->unit.count - at) * sizeof(*u->points));
	u->points[at] = (struct en14825_point){outdoor_c, kw, cop};
	u->unit.count++;
}

static struct unit_row *new_unit(const char *name)
{
	struct unit_row *u = &units[unit_count++];
	ck_assert_uint_le(unit_count, UNITS_MOST);
	*u = (struct unit_row){.certified = (double)NAN};
	(void)snprintf(u->name, sizeof(u->name), "%s", name);
	u->unit.points = u->points;
	return u;
}

static void take_unit(char **f, size_t count, void *context)
{
	static const double at_c[] = {-7.0, 2.0, 7.0, 12.0};
	ck_assert_uint_eq(count, 31);
	(void)context;
	struct unit_row *u = new_unit(f[0]);
	for (int i = 0; i < 4; i++)
		put(u, at_c[i], of(f[6 + 2 * i]), of(f[7 + 2 * i]));
	put(u, of(f[4]), of(f[14]), of(f[15]));
	put(u, of(f[5]), of(f[16]), of(f[17]));
	u->unit.design_kw = of(f[2]);
	u->unit.bivalent_c = of(f[4]);
	u->unit.limit_c = of(f[5]);
	u->unit.cycling = 1.0;
	u->certified = of(f[3]);
	u->recomputed = of(f[30]);
	double *const idle[] = {&u->unit.off_w, &u->unit.thermostat_off_w,
		&u->unit.standby_w, &u->unit.crankcase_w};
	for (int i = 0; i < 4; i++)
		*idle[i] = *f[26 + i] ? of(f[26 + i]) : 0.0;
}

static void take_anchor(char **f, size_t count, void *context)
{
	struct unit_row *u = context;
	ck_assert_uint_eq(count, 8);
	put(u, of(f[1]), of(f[4]), of(f[5]));
	double load_kw = 11.46 * en14825_load(en14825_season(EN14825_AVERAGE), of(f[1]));
	ck_assert_double_eq_tol(load_kw, of(f[3]), 5.1e-5);
	ck_assert_double_eq_tol(en14825_part_load_cop(of(f[5]), load_kw, of(f[4]), 0.9),
		of(f[7]), 5.1e-6);
}

static void take_result(char **f, size_t count, void *context)
{
	struct unit_row *u = named(f[0]);
	(void)context;
	ck_assert_uint_eq(count, 6);
	u->heat = of(f[1]);
	u->supplementary = of(f[2]);
	u->electricity = of(f[3]);
	u->scop_on = of(f[4]);
	u->scop = of(f[5]);
}

static void read_units(void)
{
	unit_count = 0;
	struct unit_row *example = new_unit("example");
	example->unit.design_kw = 11.46;
	example->unit.limit_c = -10.0;
	example->unit.bivalent_c = -6.0;
	example->unit.cycling = 0.9;
	ck_assert_uint_eq(
		data_rows("en14825_scop_example_anchor_points.csv", take_anchor, example),
		6);
	ck_assert_uint_eq(
		data_rows("certified_units/part_load_points.csv", take_unit, NULL), 480);
	ck_assert_uint_eq(data_rows("certified_units/scop.csv", take_result, NULL), 481);
}

TEST(the_bin_method_is_that_of_plain_python_for_480_units)
{
	read_units();
	for (size_t i = 0; i < unit_count; i++) {
		const struct unit_row *u = &units[i];
		struct en14825_result r = en14825_scop(&u->unit, EN14825_AVERAGE);
		ck_assert_msg(
			fabs(r.sums.heat_kwh / u->heat - 1.0) < 1e-9 &&
				fabs(r.sums.electricity_kwh / u->electricity - 1.0) <
					1e-9 &&
				fabs(r.sums.supplementary_kwh - u->supplementary) < 1e-7,
			"%s: %.9f %.9f", u->name, r.sums.electricity_kwh, u->electricity);
		ck_assert_double_eq_tol(r.scop_on, u->scop_on, 1e-9);
		ck_assert_double_eq_tol(r.scop, u->scop, 1e-9);
		if (!isnan(u->recomputed) && u->recomputed > 0.0) /* to three decimals */
			ck_assert_double_eq_tol(r.scop, u->recomputed, 0.0006);
	}
}
END

/* What a certificate says is worked out by its maker from more than is declared. */
TEST(certified_units_come_out_near_what_is_certified)
{
	size_t near = 0;
	double sum = 0.0, squares = 0.0;
	read_units();
	for (size_t i = 1; i < unit_count; i++) {
		double off = en14825_scop(&units[i].unit, EN14825_AVERAGE).scop /
				     units[i].certified -
			     1.0;
		near += fabs(off) < 0.03;
		sum += off;
		squares += off * off;
	}
	double n = (double)(unit_count - 1), mean = sum / n;
	ck_assert_uint_ge(near, 400);
	ck_assert_double_eq_tol(mean, 0.0, 0.01);
	ck_assert_double_lt(sqrt(squares / n - mean * mean), 0.034);
}
END

TEST(the_example_of_the_standard_comes_out)
{
	read_units();
	struct en14825_result r = en14825_scop(&named("example")->unit, EN14825_AVERAGE);
	ck_assert_double_eq_tol(r.sums.heat_kwh, 23671.952, 5.1e-4);
	ck_assert_double_eq_tol(r.sums.supplementary_kwh, 120.733, 5.1e-4);
	ck_assert_double_eq_tol(r.sums.electricity_kwh, 6579.979, 5.1e-4);
	ck_assert_double_eq_tol(r.scop_net, 3.6461, 5.1e-5);
	ck_assert_double_eq_tol(r.scop_on, 3.61, 0.02);
	ck_assert_double_eq(r.scop, 11.46 * 2066.0 / (11.46 * 2066.0 / r.scop_on));
}
END

	/* bin, Tj, hours, Ph, Pd, elbu, COPbin a, b, Q, supplementary, E a, E b */
	static void
	check_example_bin(char **f, size_t count, void *context)
{
	struct en14825_sums *all = context, bin = {0};
	ck_assert_uint_eq(count, 12);
	en14825_add(&bin, of(f[2]), of(f[3]), of(f[4]), of(f[6]));
	ck_assert_double_eq_tol(bin.heat_kwh, of(f[8]), 0.003);
	ck_assert_double_eq_tol(bin.supplementary_kwh, of(f[9]), 0.003);
	ck_assert_double_eq_tol(bin.electricity_kwh, of(f[10]), 0.005);
	all->heat_kwh += bin.heat_kwh;
	all->electricity_kwh += bin.electricity_kwh;
}

TEST(bins_of_the_example_are_added_one_by_one)
{
	struct en14825_sums all = {0};
	ck_assert_uint_eq(
		data_rows("en14825_scop_example_bins.csv", check_example_bin, &all), 26);
	ck_assert_double_eq_tol(all.heat_kwh / all.electricity_kwh, 3.5976, 1e-4);
}
END

	static void
	check_hours(char **f, size_t count, void *context)
{
	struct en14825_point points[] = {{-30.0, 1e3, 2.0}, {20.0, 1e3, 5.0}};
	(void)context;
	ck_assert_uint_eq(count, 7);
	for (int c = 0; c < EN14825_CLIMATES; c++) {
		if (strcmp(f[0], en14825_climate_name((enum en14825_climate)c)) != 0)
			continue;
		for (int state = 0; state < 4; state++) {
			double watts[4] = {0};
			watts[state] = 1000.0;
			const struct en14825_unit unit = {.design_kw = 10.0,
				.points = points,
				.count = 2,
				.limit_c = -30.0,
				.bivalent_c = -30.0,
				.cycling = 1.0,
				.off_w = watts[0],
				.thermostat_off_w = watts[1],
				.standby_w = watts[2],
				.crankcase_w = watts[3]};
			struct en14825_result r =
				en14825_scop(&unit, (enum en14825_climate)c);
			double demand = 10.0 * of(f[1]);
			ck_assert_double_eq_tol(demand / r.scop - demand / r.scop_on,
				of(f[2 + state]), 1e-6);
		}
	}
}

TEST(hours_of_the_other_states_are_those_of_the_standard)
{
	ck_assert_uint_eq(data_rows("en14825_mode_hours.csv", check_hours, NULL), 3);
}
END

	/* Pdesignh, COP_law, Q, E, ratio of sums, mean of quotients */
	static void
	check_simple(char **f, size_t count, void *context)
{
	struct en14825_point points[] = {{-10.0, 1e3, 2.0}, {15.0, 1e3, 4.5}};
	const struct en14825_unit unit = {.design_kw = of(f[0]),
		.points = points,
		.count = 2,
		.limit_c = -10.0,
		.bivalent_c = -10.0,
		.cycling = 1.0};
	struct en14825_result r = en14825_scop(&unit, EN14825_AVERAGE);
	(void)context;
	ck_assert_uint_eq(count, 6);
	ck_assert_double_eq_tol(r.sums.heat_kwh, of(f[2]), 5.1e-7);
	ck_assert_double_eq_tol(r.sums.electricity_kwh, of(f[3]), 5.1e-7);
	ck_assert_double_eq_tol(r.scop_on, of(f[4]), 5.1e-7);
}

TEST(a_season_is_a_ratio_of_sums)
{
	ck_assert_uint_eq(data_rows("scop_simple_example.csv", check_simple, NULL), 1);
}
END

TEST(below_its_limit_the_heater_does_it_all)
{
	struct en14825_point points[] = {{-7.0, 8.0, 3.0}, {12.0, 8.0, 3.0}};
	struct en14825_unit unit = {.design_kw = 8.0,
		.points = points,
		.count = 2,
		.limit_c = -7.0,
		.bivalent_c = -7.0,
		.cycling = 1.0};
	double below = 0.0, whole = 0.0;
	const struct en14825_season *s = en14825_season(EN14825_AVERAGE);
	for (size_t i = 0; i < s->count; i++) {
		double kwh =
			8.0 * s->bins[i].hours * en14825_load(s, s->bins[i].outdoor_c);
		whole += kwh;
		below += s->bins[i].outdoor_c < -7 ? kwh : 0.0;
	}
	struct en14825_result r = en14825_scop(&unit, EN14825_AVERAGE);
	ck_assert_double_eq_tol(r.sums.supplementary_kwh, below, 1e-9);
	ck_assert_double_eq_tol(
		r.sums.electricity_kwh, below + (whole - below) / 3.0, 1e-6);
	ck_assert_double_eq_tol(r.scop_net, 3.0, 1e-9);
}
END

TESTS(seasons_are_those_of_the_standard,
	the_bin_method_is_that_of_plain_python_for_480_units,
	certified_units_come_out_near_what_is_certified,
	the_example_of_the_standard_comes_out, bins_of_the_example_are_added_one_by_one,
	hours_of_the_other_states_are_those_of_the_standard, a_season_is_a_ratio_of_sums,
	below_its_limit_the_heater_does_it_all)
