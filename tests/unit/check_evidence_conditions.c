/*
 * What a day made by hand says of the conditions under which its unit worked.
 *
 * Reference: hand-computed; Carnot's quotient by check_cop_curve.
 */
#include "even_day.h"

#include <heatbook/efficiency_map.h>

static size_t rows_of(const struct sample *s, int mode)
{
	size_t count = 0;
	for (size_t i = 0; i < s->list.count; i++)
		count += s->list.items[i].kind == EVIDENCE_CONDITIONS &&
			 s->list.items[i].subject == mode;
	return count;
}

#define HEAT_J (4170.0 * 5.0 * 17.5) /* a minute's */

TEST(a_bin_holds_its_heat_and_electricity)
{
	struct sample *s = even(-3.4, 36.2);
	part(s);
	ck_assert_uint_eq(rows_of(s, MODE_HEATING), 1);
	ck_assert_uint_eq(rows_of(s, MODE_HOT_WATER), 0);
	const struct evidence *e = find(s, EVIDENCE_CONDITIONS, MODE_HEATING);
	ck_assert_int_eq(e->at_min, START);
	ck_assert_int_eq(e->minutes, DAY);
	ck_assert_double_eq(e->values[0], -3.0);
	ck_assert_double_eq(e->values[1], 35.0);
	ck_assert_double_eq_tol(e->values[2], DAY * HEAT_J, 1.0);
	ck_assert_double_eq_tol(e->values[3], DAY * 60.0 * 1500.0, 1.0);
	ck_assert_double_eq_tol(e->values[4], DAY * 4170.0 * 17.5, 1.0);
	ck_assert_double_eq_tol(
		e->values[5], DAY * HEAT_J * (36.2 + 3.4) / (36.2 + 273.15), 1.0);
	sample_free(s);
}
END

/* Bins are about their middles: a half goes away from 0. */
TEST(bins_are_named_by_their_middles)
{
	static const struct {
		double outdoor_c, flow_c, outdoor_bin, flow_bin;
	} cases[] = {{6.5, 32.5, 7, 35}, {6.49, 32.49, 6, 30}, {-0.5, 37.49, -1, 35},
		{-0.49, 37.5, 0, 40}, {7.0, 35.0, 7, 35}};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct sample *s = even(cases[i].outdoor_c, cases[i].flow_c);
		part(s);
		const struct evidence *e = find(s, EVIDENCE_CONDITIONS, MODE_HEATING);
		ck_assert_double_eq(e->values[0], cases[i].outdoor_bin);
		ck_assert_double_eq(e->values[1], cases[i].flow_bin);
		sample_free(s);
	}
}
END

TEST(a_small_lift_is_a_bin_of_its_own_without_an_ideal)
{
	struct sample *s = even(12.0, 27.4);
	set(s, FLOW, 600, 700, 26.9); /* the same bin, less than 15 K above */
	set(s, RETURN, 600, 700, 21.9);
	part(s);
	ck_assert_uint_eq(rows_of(s, MODE_HEATING), 2);
	double ideal_j = 0.0;
	for (size_t i = 0; i < s->list.count; i++) {
		const struct evidence *e = &s->list.items[i];
		if (e->kind != EVIDENCE_CONDITIONS)
			continue;
		ck_assert_double_eq(e->values[1], 25.0);
		ck_assert_int_eq(isnan(e->values[5]), e->minutes == 100);
		ck_assert_int_eq(e->at_min, START + (e->minutes == 100 ? 600 : 0));
		ideal_j += isnan(e->values[5]) ? 0.0 : e->values[5];
	}
	ck_assert_double_eq_tol(
		ideal_j, (DAY - 100) * HEAT_J * 15.4 / (27.4 + 273.15), 1.0);
	sample_free(s);
}
END

/* It is filed under what went on before; of a day that begins with one, after. */
TEST(a_defrost_goes_by_what_it_interrupted)
{
	struct sample *s = even(1.0, 36.0);
	for (int at = 0; at <= 700; at += 700) {
		set(s, DEFROST, at, at + 6, 1.0);
		set(s, FLOW, at, at + 6, 12.0);
		set(s, RETURN, at, at + 6, 17.0);
	}
	set(s, VALVE, 640, 720, 1.0);
	set(s, FLOW, 640, 700, 46.0);
	part(s);
	ck_assert_uint_eq(rows_of(s, MODE_DEFROST), 2);
	struct efficiency_map map = {0};
	for (size_t i = 0; i < s->list.count; i++)
		efficiency_map_take(&map, &s->list.items[i]);
	efficiency_map_sort(&map);
	ck_assert_uint_eq(map.count, 3); /* hot water after its defrost is at 36 °C */
	const struct map_bin *heating = &map.bins[0], *hot = &map.bins[2];
	ck_assert_double_eq(heating->flow_c, 35.0);
	ck_assert_int_eq(heating->mode, MODE_HEATING);
	ck_assert_double_eq(heating->defrost.minutes, 6.0);
	ck_assert_double_eq_tol(heating->defrost.heat_j, -6.0 * HEAT_J, 1.0);
	ck_assert_double_eq(hot->flow_c, 45.0);
	ck_assert_int_eq(hot->mode, MODE_HOT_WATER);
	ck_assert_double_eq(hot->defrost.minutes, 6.0);
	ck_assert_double_eq_tol(hot->defrost.electricity_j, 6.0 * 60.0 * 1500.0, 1.0);
	efficiency_map_release(&map);
	sample_free(s);
}
END

TEST(what_is_not_known_is_in_no_bin)
{
	struct sample *s = even(1.0, 36.0);
	set(s, L1, 100, 150, (double)NAN);
	set(s, RATE, 200, 260, (double)NAN);
	set(s, OUTDOOR, 300, 330, (double)NAN);
	set(s, HEATER, 400, 500, (double)NAN); /* behind no boundary of the unit */
	part(s);
	struct efficiency_map map = {0};
	for (size_t i = 0; i < s->list.count; i++)
		efficiency_map_take(&map, &s->list.items[i]);
	ck_assert_uint_eq(map.count, 1);
	ck_assert_double_eq(map.bins[0].work.minutes, DAY - 140);
	ck_assert_double_eq(map.unplaced.minutes, 30);
	ck_assert_double_eq_tol(map.unplaced.heat_j, 30 * HEAT_J, 1.0);
	efficiency_map_release(&map);
	sample_free(s);
}
END

/* A heater in line warms the same water: its own meter takes it off. */
TEST(a_heater_in_line_is_none_of_the_unit)
{
	char *text = xasprintf("%s[meter boost]\nfeeds = backup_heater\npower = boost\n"
			       "[channel boost]\ntopic = b/4\nunit = W\n",
		house);
	struct sample *s = healthy_of(text);
	set(s, OUTDOOR, 0, DAY, 0.0);
	set(s, FLOW, 0, DAY, 35.0);
	set(s, RETURN, 0, DAY, 30.0);
	set(s, VALVE, 0, DAY, 0.0);
	set(s, HZ, 0, DAY, 45.0);
	book(s);
	for (int i = 0; i < DAY; i++) {
		meter(s, 2, i, 1000.0);
		day_parts(&s->day, DAY_HEATING)[i] = (struct day_part){.heat_j = 360e3,
			.ms = 60000,
			.heat_known = true,
			.meters_known = i < 60 ? 3 : 7};
		day_part_meter_j(&s->day, DAY_HEATING, 0)[i] = 90e3;
		day_part_meter_j(&s->day, DAY_HEATING, 2)[i] = 60e3;
	}
	evidence_of(&s->day, NULL, &s->list);
	const struct evidence *e = find(s, EVIDENCE_CONDITIONS, MODE_HEATING);
	ck_assert_int_eq(e->minutes, DAY - 60); /* the boundary needs it, too */
	ck_assert_double_eq_tol(e->values[2], (DAY - 60) * 300e3, 1e-3);
	ck_assert_double_eq_tol(e->values[3], (DAY - 60) * 90e3, 1e-3);
	sample_free(s);
	free(text);
}
END

TEST(without_both_temperatures_or_power_nothing_is_said)
{
	static const char *const lines[] = {"[channel flow_temperature]\ntopic = a/1\n",
		"[channel outdoor_temperature]\ntopic = a/5\n"};
	for (size_t i = 0; i < ARRAY_LEN(lines); i++) {
		/* The channel keeps its place, and has another name. */
		const char *at = strstr(house, lines[i]);
		char *text = xasprintf("%.*s[channel other]\ntopic = c/1\nunit = °C\n%s",
			(int)(at - house), house, at + strlen(lines[i]));
		struct sample *s = healthy_of(text);
		part(s);
		ck_assert_ptr_null(find(s, EVIDENCE_CONDITIONS, -1));
		sample_free(s);
		free(text);
	}
}
END

TESTS(a_bin_holds_its_heat_and_electricity, bins_are_named_by_their_middles,
	a_small_lift_is_a_bin_of_its_own_without_an_ideal,
	a_defrost_goes_by_what_it_interrupted, what_is_not_known_is_in_no_bin,
	a_heater_in_line_is_none_of_the_unit,
	without_both_temperatures_or_power_nothing_is_said)
