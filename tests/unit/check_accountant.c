/*
 * Signals into heat, electricity and modes, by hand-made cases: which mode gets which
 * joules, and for how long each quantity is known.
 *
 * References: the rules of modes are heatbook's own (modes.c). The heat coefficient of
 * water at 2 bar, 35 °C over 30 °C, is a row of tests/data/heat_coefficient_2bar.csv
 * (computed with python3-iapws, IF97 region 1).
 */
#include "engine_run.h"

/* MJ/(m³ K): 35 °C flow, 30 °C return, volume measured in the return. */
#define K_35_30_MJ 4.161175
#define K_DIGITS   2e-7 /* the table's last digit */

#define CHANNEL(name) "[channel " name "]\ntopic = plant/" name "\n"
#define TEMPERATURES  CHANNEL("flow_temperature") CHANNEL("return_temperature")
#define HYDRAULICS    TEMPERATURES CHANNEL("flow_rate")

/* A plant whose source never falls silent: heat from flow and temperatures, modes
 * from flags, a unit, an immersion of three phases behind a house supply. */
/* clang-format off */
static const char house[] =
	"[plant]\nzone = UTC\nleast_flow = 1 L/min\n"
	"[source plant]\ntopics = plant/#\nsilent_after = none\n"
	HYDRAULICS
	CHANNEL("outdoor_temperature")
	CHANNEL("compressor_frequency")
	CHANNEL("valve")
	CHANNEL("defrost")
	CHANNEL("circulation_pump")
	CHANNEL("unit_power") "unit = W\n"
	CHANNEL("supply_power") "unit = W\n"
	CHANNEL("phase_1") "unit = W\n"
	CHANNEL("phase_2") "unit = W\n"
	CHANNEL("phase_3") "unit = W\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
	"[meter immersion]\nfeeds = immersion\npower = phase_1 + phase_2 + phase_3\n"
	"[meter rest]\nfeeds = circulation\npower = supply_power\nless = immersion\n";
/* clang-format on */

/* Heating with 12 L/min at 35/30 °C. */
static void heats(struct run *run, double at_s)
{
	says(run, at_s, "flow_temperature", 35);
	says(run, at_s, "return_temperature", 30);
	says(run, at_s, "flow_rate", 12);
	says(run, at_s, "outdoor_temperature", 2);
	says(run, at_s, "compressor_frequency", 50);
	says(run, at_s, "valve", VALVE_HEATING);
	says(run, at_s, "defrost", STATE_OFF);
	says(run, at_s, "circulation_pump", STATE_ON);
}

/* 12 L/min for a second, 5 K. */
#define HEATING_W (K_35_30_MJ * 1e6 * 5 * 12 / 60000)

TEST(heat_is_the_integral_of_the_tables_coefficient)
{
	struct run *run = run_new(house);
	heats(run, 0);
	passes(run, 60);
	struct minute_mode mode = mode_of(run, 0, MODE_HEATING);
	ck_assert_int_eq(mode.ms, 60000);
	ck_assert_int_eq(mode.heat_ms, 60000);
	expect_near(mode.heat_j, HEATING_W * 60, K_DIGITS);
	expect_near(mode.sensitivity_j_per_k, HEATING_W / 5 * 60, K_DIGITS);
	ck_assert_uint_eq(row_of(run, 0)->known, KNOWN_HEAT);
	run_free(run);
}
END

TEST(products_are_formed_before_averaging)
{
	struct run *run = run_new(house);
	heats(run, 0);
	says(run, 30, "flow_rate", 0);
	says(run, 30, "flow_temperature", 30);
	passes(run, 60);
	/* Mean flow times mean difference would be half of it. */
	expect_near(mode_of(run, 0, MODE_HEATING).heat_j, HEATING_W * 30, K_DIGITS);
	ck_assert_int_eq(mode_of(run, 0, MODE_HEATING).heat_ms, 60000);
	run_free(run);
}
END

TEST(heat_is_known_only_while_all_its_inputs_are)
{
	struct run *run = run_new(house);
	heats(run, 0);
	says_nothing(run, 20, "return_temperature");
	says(run, 50, "return_temperature", 30);
	passes(run, 60);
	struct minute_mode mode = mode_of(run, 0, MODE_HEATING);
	ck_assert_int_eq(mode.ms, 60000);
	ck_assert_int_eq(mode.heat_ms, 30000);
	expect_near(mode.heat_j, HEATING_W * 30, K_DIGITS);
	ck_assert_uint_eq(row_of(run, 0)->known, 0);
	run_free(run);
}
END

TEST(no_flow_is_no_heat_whatever_the_thermometers_say)
{
	static const struct {
		const char *channel;
		double value;
	} rows[] = {{"flow_rate", 0}, {"flow_rate", 1}, {"circulation_pump", STATE_OFF}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct run *run = run_new(house);
		heats(run, 0);
		says(run, 0, rows[i].channel, rows[i].value);
		says_nothing(run, 0, "flow_temperature");
		passes(run, 60);
		struct minute_mode mode = mode_of(run, 0, MODE_HEATING);
		ck_assert_double_eq(mode.heat_j, 0);
		ck_assert_double_eq(mode.sensitivity_j_per_k, 0);
		ck_assert_int_eq(mode.heat_ms, 60000);
		ck_assert_uint_eq(row_of(run, 0)->known, KNOWN_HEAT);
		run_free(run);
	}
}
END

TEST(a_defrost_draws_its_heat_in_its_own_mode)
{
	struct run *run = run_new(house);
	heats(run, 0);
	says(run, 30, "flow_temperature", 30);
	says(run, 30, "return_temperature", 35);
	says(run, 30, "defrost", STATE_ON);
	passes(run, 60);
	struct minute_mode heating = mode_of(run, 0, MODE_HEATING);
	struct minute_mode defrost = mode_of(run, 0, MODE_DEFROST);
	ck_assert_int_eq(heating.ms, 30000);
	ck_assert_int_eq(defrost.ms, 30000);
	expect_near(heating.heat_j, HEATING_W * 30, K_DIGITS);
	/* The return is the warmer pipe now: less water a litre. */
	ck_assert_double_lt(defrost.heat_j, -HEATING_W * 29.9);
	ck_assert_double_gt(defrost.heat_j, -HEATING_W * 30);
	run_free(run);
}
END

TEST(immersion_is_booked_to_hot_water_and_its_time_to_the_mode)
{
	struct run *run = run_new(house);
	size_t m = meter_named(run->config, "immersion");
	heats(run, 0);
	says(run, 0, "phase_1", 1000);
	says(run, 0, "phase_2", 500);
	says(run, 0, "phase_3", 250);
	passes(run, 60);
	struct minute_mode heating = mode_of(run, 0, MODE_HEATING);
	struct minute_mode water = mode_of(run, 0, MODE_HOT_WATER);
	ck_assert_double_eq(water.meter_j[m], 1750 * 60);
	ck_assert_int_eq(water.meter_ms[m], 0);
	ck_assert_int_eq(water.ms, 0);
	ck_assert(water.seen);
	ck_assert_double_eq(heating.meter_j[m], 0);
	ck_assert_int_eq(heating.meter_ms[m], 60000);
	ck_assert_int_eq(heating.ms, 60000);
	ck_assert_uint_eq(row_of(run, 0)->known, KNOWN_HEAT | KNOWN_METER(m));
	/* Off, it leaves no row of hot water behind. */
	says(run, 60, "phase_1", 0);
	says(run, 60, "phase_2", 0);
	says(run, 60, "phase_3", 0);
	passes(run, 120);
	ck_assert(!mode_of(run, 1, MODE_HOT_WATER).seen);
	ck_assert_int_eq(mode_of(run, 1, MODE_HEATING).meter_ms[m], 60000);
	run_free(run);
}
END

TEST(a_sum_of_phases_is_known_while_all_are)
{
	struct run *run = run_new(house);
	size_t m = meter_named(run->config, "immersion");
	heats(run, 0);
	says(run, 0, "phase_1", 1000);
	says(run, 10, "phase_2", 500);
	says(run, 20, "phase_3", 250);
	says_nothing(run, 50, "phase_1");
	passes(run, 60);
	ck_assert_double_eq(mode_of(run, 0, MODE_HOT_WATER).meter_j[m], 1750 * 30);
	ck_assert_int_eq(mode_of(run, 0, MODE_HEATING).meter_ms[m], 30000);
	ck_assert_uint_eq(row_of(run, 0)->known, KNOWN_HEAT);
	run_free(run);
}
END

TEST(a_meter_behind_another_is_taken_off)
{
	struct run *run = run_new(house);
	size_t rest = meter_named(run->config, "rest");
	heats(run, 0);
	says(run, 0, "supply_power", 2000);
	passes(run, 60);
	ck_assert_int_eq(mode_of(run, 0, MODE_HEATING).meter_ms[rest], 0);
	says(run, 60, "phase_1", 1000);
	says(run, 60, "phase_2", 500);
	says(run, 60, "phase_3", 250);
	says(run, 90, "supply_power", 1700); /* clocks differ: a moment below zero */
	passes(run, 120);
	ck_assert_double_eq(
		mode_of(run, 1, MODE_HEATING).meter_j[rest], 250 * 30 - 50 * 30);
	ck_assert_int_eq(mode_of(run, 1, MODE_HEATING).meter_ms[rest], 60000);
	run_free(run);
}
END

TEST(what_no_flag_tells_is_booked_unassigned)
{
	struct run *run = run_new(house);
	size_t m = meter_named(run->config, "unit");
	says(run, 15, "unit_power", 900);
	passes(run, 60);
	struct minute_mode mode = mode_of(run, 0, MODE_UNASSIGNED);
	ck_assert_int_eq(mode.ms, 45000);
	ck_assert_double_eq(mode.meter_j[m], 900 * 45);
	ck_assert_int_eq(mode.heat_ms, 0);
	run_free(run);
}
END

TEST(overrun_ends_within_a_minute_by_time_alone)
{
	struct run *run = run_new(house);
	for (double at_s = 0; at_s <= 1200; at_s += 300)
		heats(run, at_s);
	says(run, 1230, "compressor_frequency", 0);
	passes(run, 2000);
	ck_assert_int_eq(mode_of(run, 20, MODE_HEATING).ms, 30000);
	ck_assert_int_eq(mode_of(run, 20, MODE_OVERRUN).ms, 30000);
	ck_assert_int_eq(mode_of(run, 29, MODE_OVERRUN).ms, 60000);
	ck_assert_int_eq(mode_of(run, 30, MODE_OVERRUN).ms, 30000);
	ck_assert_int_eq(mode_of(run, 30, MODE_STANDBY).ms, 30000);
	expect_near(mode_of(run, 30, MODE_STANDBY).heat_j, HEATING_W * 30, K_DIGITS);
	run_free(run);
}
END

TEST(what_is_held_can_be_looked_at)
{
	struct run *run = run_new(house);
	double value, heat_w, electricity_w;
	int64_t t_ms;
	ck_assert_int_eq(
		engine_instant(run->engine, &heat_w, &electricity_w), MODE_UNASSIGNED);
	ck_assert(isnan(heat_w) && isnan(electricity_w));
	heats(run, 5);
	says(run, 6, "unit_power", 900);
	ck_assert_int_eq(
		engine_instant(run->engine, &heat_w, &electricity_w), MODE_HEATING);
	expect_near(heat_w, HEATING_W, K_DIGITS);
	ck_assert_double_eq(electricity_w, 900);
	size_t c = channel_named(run->config, "unit_power");
	ck_assert(engine_channel(run->engine, c, &value, &t_ms));
	ck_assert_double_eq(value, 900);
	ck_assert_int_eq(t_ms, at_ms(6));
	says_nothing(run, 7, "unit_power");
	ck_assert(!engine_channel(run->engine, c, &value, &t_ms));
	run_free(run);
}
END

TEST(a_heat_meter_that_sends_power_is_the_heat_source)
{
	struct run *run = run_new("[plant]\nzone = UTC\nheat_source = power\n" CHANNEL(
		"heat_power") "unit = kW\n" CHANNEL("flow_rate")
			CHANNEL("circulation_pump"));
	/* Readings are in the own unit, W; flow and pump have no say. */
	says(run, 0, "heat_power", 4200);
	says(run, 0, "flow_rate", 0);
	says(run, 0, "circulation_pump", STATE_OFF);
	says(run, 30, "heat_power", -300);
	says_nothing(run, 40, "heat_power");
	passes(run, 60);
	struct minute_mode mode = mode_of(run, 0, MODE_UNASSIGNED);
	ck_assert_double_eq(mode.heat_j, 4200 * 30 - 300 * 10);
	ck_assert_int_eq(mode.heat_ms, 40000);
	run_free(run);
}
END

TEST(a_gauge_channel_gives_the_pressure)
{
	struct run *run = run_new(
		"[plant]\nzone = UTC\npressure = water_pressure\n" HYDRAULICS CHANNEL(
			"water_pressure"));
	struct run *fixed = run_new("[plant]\nzone = UTC\npressure = 2 bar\n" HYDRAULICS);
	struct run *both[] = {run, fixed};
	for (size_t i = 0; i < 2; i++) {
		says(both[i], 0, "flow_temperature", 35);
		says(both[i], 0, "return_temperature", 30);
		says(both[i], 0, "flow_rate", 12);
	}
	says(run, 30, "water_pressure", 1); /* 1 bar over the air's: 2 bar */
	says(run, 60, "water_pressure", 9);
	passes(run, 120);
	passes(fixed, 120);
	struct minute_mode mode = mode_of(run, 0, MODE_UNASSIGNED);
	struct minute_mode at_2 = mode_of(fixed, 0, MODE_UNASSIGNED);
	ck_assert_int_eq(mode.heat_ms, 30000);
	expect_near(mode.heat_j, HEATING_W * 30, K_DIGITS);
	expect_near(mode.heat_j, at_2.heat_j / 2, 1e-14);
	/* 10 bar differ by some hundredths of a percent only, but they differ. */
	double at_10 = mode_of(run, 1, MODE_UNASSIGNED).heat_j;
	expect_near(at_10, at_2.heat_j, 1e-3);
	ck_assert_double_gt(fabs(at_10 - at_2.heat_j), 1.0);
	run_free(run);
	run_free(fixed);
}
END

TESTS(heat_is_the_integral_of_the_tables_coefficient, products_are_formed_before_averaging, heat_is_known_only_while_all_its_inputs_are, no_flow_is_no_heat_whatever_the_thermometers_say, a_defrost_draws_its_heat_in_its_own_mode, immersion_is_booked_to_hot_water_and_its_time_to_the_mode, a_sum_of_phases_is_known_while_all_are, a_meter_behind_another_is_taken_off, what_no_flag_tells_is_booked_unassigned, overrun_ends_within_a_minute_by_time_alone, what_is_held_can_be_looked_at, a_heat_meter_that_sends_power_is_the_heat_source, a_gauge_channel_gives_the_pressure)
