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

	/* A supply before the unit's own meter: what is left of it is the immersion
	   heater. */
	/* clang-format off */
static const char split_supply[] =
	"[plant]\nzone = UTC\n"
	"[source plant]\ntopics = plant/#\nsilent_after = none\n"
	CHANNEL("compressor_frequency")
	CHANNEL("valve")
	CHANNEL("unit_power") "unit = W\n"
	CHANNEL("supply_power") "unit = W\n"
	"[meter supply]\nfeeds = compressor, immersion\npower = supply_power\n"
	"less = unit\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\n";
/* clang-format on */

TEST(an_immersion_heater_that_is_a_difference_is_booked_to_hot_water)
{
	struct run *run = run_new(split_supply);
	size_t unit = meter_named(run->config, "unit");
	size_t rod = meter_named(run->config, "supply");
	says(run, 0, "compressor_frequency", 50);
	says(run, 0, "valve", VALVE_HEATING);
	says(run, 0, "unit_power", 1500);
	says(run, 0, "supply_power", 4500);
	passes(run, 60);
	ck_assert_double_eq(mode_of(run, 0, MODE_HEATING).meter_j[unit], 1500 * 60);
	ck_assert_double_eq(mode_of(run, 0, MODE_HEATING).meter_j[rod], 0);
	ck_assert_double_eq(mode_of(run, 0, MODE_HOT_WATER).meter_j[rod], 3000 * 60);
	ck_assert_int_eq(mode_of(run, 0, MODE_HEATING).meter_ms[rod], 60000);
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

/* Nothing meters the flow. */
#define NO_METER(condition)                                                              \
	"[plant]\nzone = UTC\nassumed_flow = 12 L/min\n" condition                       \
	"[source plant]\ntopics = plant/#\nsilent_after = none\n" TEMPERATURES CHANNEL(  \
		"compressor_frequency") CHANNEL("valve") CHANNEL("circulation_pump")

TEST(an_assumed_flow_flows_while_its_state_holds)
{
	struct run *run = run_new(NO_METER(""));
	says(run, 0, "flow_temperature", 35);
	says(run, 0, "return_temperature", 30);
	says(run, 0, "compressor_frequency", 50);
	says(run, 0, "valve", VALVE_HEATING);
	says(run, 15, "circulation_pump", STATE_ON);
	says(run, 60, "circulation_pump", STATE_OFF);
	passes(run, 120);
	struct minute_mode on = mode_of(run, 0, MODE_HEATING);
	struct minute_mode off = mode_of(run, 1, MODE_HEATING);
	/* Before the pump's first word nothing is known; while it stands heat is 0. */
	ck_assert_int_eq(on.heat_ms, 45000);
	expect_near(on.heat_j, HEATING_W * 45, K_DIGITS);
	expect_near(on.sensitivity_j_per_k, HEATING_W / 5 * 45, K_DIGITS);
	ck_assert_int_eq(off.heat_ms, 60000);
	ck_assert_double_eq(off.heat_j, 0);
	run_free(run);
}
END

TEST(an_assumed_flow_goes_by_the_state_that_is_named)
{
	struct run *run = run_new(NO_METER("assumed_while = valve:heating\n"));
	says(run, 0, "flow_temperature", 35);
	says(run, 0, "return_temperature", 30);
	says(run, 0, "compressor_frequency", 50);
	says(run, 0, "valve", VALVE_HOT_WATER);
	says(run, 60, "valve", VALVE_HEATING);
	/* The pump's own word off is no flow whatever else is said. */
	says(run, 150, "circulation_pump", STATE_OFF);
	passes(run, 180);
	ck_assert_double_eq(mode_of(run, 0, MODE_HOT_WATER).heat_j, 0);
	ck_assert_int_eq(mode_of(run, 0, MODE_HOT_WATER).heat_ms, 60000);
	expect_near(mode_of(run, 1, MODE_HEATING).heat_j, HEATING_W * 60, K_DIGITS);
	expect_near(mode_of(run, 2, MODE_HEATING).heat_j, HEATING_W * 30, K_DIGITS);
	ck_assert_int_eq(mode_of(run, 2, MODE_HEATING).heat_ms, 60000);
	run_free(run);
}
END

TEST(an_assumed_flow_may_go_by_a_number_and_be_one_of_mass)
{
	struct run *run = run_new(
		"[plant]\nassumed_flow = 0.2 kg/s\nassumed_while = compressor_frequency\n"
		"[source plant]\ntopics = plant/#\nsilent_after = none\n" TEMPERATURES
			CHANNEL("compressor_frequency") CHANNEL("valve"));
	says(run, 0, "flow_temperature", 45);
	says(run, 0, "return_temperature", 35);
	says(run, 0, "compressor_frequency", 0);
	says(run, 60, "compressor_frequency", 30);
	says(run, 60, "valve", VALVE_HEATING);
	says(run, 120, "compressor_frequency", 0);
	passes(run, 180);
	ck_assert_double_eq(mode_of(run, 0, MODE_STANDBY).heat_j, 0);
	/* kJ/kg from water_grid_if97.csv, rows 2.0,45.0 and 2.0,35.0 */
	expect_near(mode_of(run, 1, MODE_HEATING).heat_j,
		0.2 * (188.603633 - 146.819530) * 1000 * 60, K_DIGITS);
	/* No flow after the stop: standby, and no heat of standing water. */
	ck_assert_int_eq(mode_of(run, 2, MODE_STANDBY).heat_ms, 60000);
	ck_assert_double_eq(mode_of(run, 2, MODE_STANDBY).heat_j, 0);
	run_free(run);
}
END

TEST(a_defrost_is_told_by_rule_where_the_flow_is_assumed)
{
	struct run *run = run_new(NO_METER("") CHANNEL("outdoor_temperature"));
	for (int minute = 0; minute < 12; minute++) {
		bool thaws = minute >= 4 && minute < 8;
		says(run, minute * 60, "flow_temperature", thaws ? 30 : 35);
		says(run, minute * 60, "return_temperature", thaws ? 34 : 30);
		says(run, minute * 60, "outdoor_temperature", 1);
		says(run, minute * 60, "compressor_frequency", 50);
		says(run, minute * 60, "valve", VALVE_HEATING);
		says(run, minute * 60, "circulation_pump", STATE_ON);
	}
	passes(run, 1800);
	for (int64_t minute = 1; minute < 11; minute++) {
		bool thaws = minute >= 4 && minute < 8;
		struct minute_mode m =
			mode_of(run, minute, thaws ? MODE_DEFROST : MODE_HEATING);
		ck_assert_msg(m.ms == 60000, "minute %lld", (long long)minute);
		ck_assert(thaws ? m.heat_j < 0 : m.heat_j > 0);
	}
	run_free(run);
}
END

TEST(water_that_stands_carries_no_heat_however_warm_it_is)
{
	/* A flow meter that creeps below the least flow, a pump that is off while the
	 * meter hangs: the pipes cool at different paces, and nothing of it is heat. */
	struct run *run = run_new(house);
	heats(run, 0);
	says(run, 0, "compressor_frequency", 0);
	says(run, 0, "flow_rate", 0.9);
	says(run, 60, "flow_rate", 12);
	says(run, 60, "circulation_pump", STATE_OFF);
	passes(run, 120);
	for (int64_t minute = 0; minute < 2; minute++) {
		struct minute_mode m = mode_of(run, minute, MODE_STANDBY);
		ck_assert_int_eq(m.ms, 60000);
		ck_assert_int_eq(m.heat_ms, 60000);
		ck_assert_double_eq(m.heat_j, 0);
		ck_assert_uint_eq(row_of(run, minute)->known, KNOWN_HEAT);
	}
	run_free(run);
}
END

TEST(every_unit_of_flow_and_pressure_comes_to_the_same_heat)
{
	/* 0.6 m³ at 38.2 over 33.1 °C and 2 bar: rows of heat_meter_examples.csv
	 * (computed, python3-iapws), by the pipe of the flow sensor. */
	static const struct {
		const char *pipe, *unit;
		double flow_an_hour;
		const char *gauge;
		double gauge_value, mj;
	} rows[] = {
		{"return", "L/min", 10, "bar", 1, 12.71911},
		{"return", "m³/h", 0.6, "kPa", 100, 12.71911},
		{"flow", "L/h", 600, "psi", 14.503774, 12.69639},
		{"flow", "gpm", 2.6417205, "bar", 1, 12.69639},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf(
			"[plant]\nflow_sensor_pipe = %s\npressure = water_pressure\n"
			"[source plant]\ntopics = plant/#\nsilent_after = none\n"
			"%s[channel flow_rate]\ntopic = plant/f\nunit = %s\n"
			"[channel water_pressure]\ntopic = plant/p\nunit = %s\n",
			rows[i].pipe, TEMPERATURES, rows[i].unit, rows[i].gauge);
		struct run *run = run_new(text);
		const struct config *c = run->config;
		const struct unit *flow = c->channels[channel_named(c, "flow_rate")].unit;
		const struct unit *gauge =
			c->channels[channel_named(c, "water_pressure")].unit;
		says(run, 0, "flow_temperature", 38.2);
		says(run, 0, "return_temperature", 33.1);
		says(run, 0, "flow_rate", unit_to_own(flow, rows[i].flow_an_hour));
		says(run, 0, "water_pressure", unit_to_own(gauge, rows[i].gauge_value));
		passes(run, 60);
		expect_near(mode_of(run, 0, MODE_UNASSIGNED).heat_j,
			rows[i].mj * 1e6 / 60, 5e-7);
		run_free(run);
	}
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

TESTS(heat_is_the_integral_of_the_tables_coefficient, products_are_formed_before_averaging, heat_is_known_only_while_all_its_inputs_are, no_flow_is_no_heat_whatever_the_thermometers_say, a_defrost_draws_its_heat_in_its_own_mode, immersion_is_booked_to_hot_water_and_its_time_to_the_mode, a_sum_of_phases_is_known_while_all_are, a_meter_behind_another_is_taken_off, an_immersion_heater_that_is_a_difference_is_booked_to_hot_water, what_no_flag_tells_is_booked_unassigned, overrun_ends_within_a_minute_by_time_alone, what_is_held_can_be_looked_at, a_heat_meter_that_sends_power_is_the_heat_source, a_gauge_channel_gives_the_pressure, an_assumed_flow_flows_while_its_state_holds, an_assumed_flow_goes_by_the_state_that_is_named, an_assumed_flow_may_go_by_a_number_and_be_one_of_mass, a_defrost_is_told_by_rule_where_the_flow_is_assumed,
	water_that_stands_carries_no_heat_however_warm_it_is, every_unit_of_flow_and_pressure_comes_to_the_same_heat)
