/*
 * A meter before another (`less`) where registers count: what its minutes hold by every
 * pairing of power and register on either side.
 *
 * Reference: hand-computed whole joules, written beside each case; energies before and
 * behind add up to those of the whole.
 */
#include "counted.h"

#define MAIN_POWER  "[channel main_power]\ntopic = a/mp\nunit = W\n" HELD
#define MAIN_COUNT  "[channel main_count]\ntopic = a/mc\nunit = kWh\n" HELD
#define SUB_POWER   "[channel sub_power]\ntopic = a/sp\nunit = W\n" HELD
#define SUB_COUNT   "[channel sub_count]\ntopic = a/sc\nunit = kWh\n" HELD
#define PLANT       "[plant]\nzone = UTC\n" HOLDS
#define UNIT        "[meter unit]\nfeeds = compressor, immersion\nless = immersion\n"
#define IMMERSION   "[meter immersion]\nfeeds = immersion\n"
#define BY_MAIN     "power = main_power\n"
#define COUNTS_MAIN "register = main_count\n"
#define BY_SUB      "power = sub_power\n"
#define COUNTS_SUB  "register = sub_count\n"

/* Each minute of [from, to) holds so much of the meter. */
static void expect_each(
	struct filed *f, const char *meter, int64_t from, int64_t to, int64_t joules)
{
	for (int64_t minute = from; minute < to; minute++) {
		_cleanup_(freep) char *sum = xasprintf("sum(e_%s_j)", meter);
		int64_t got = rows(f, sum, minute, minute + 1);
		ck_assert_msg(got == joules, "%s, minute %lld: %lld J, expected %lld",
			meter, (long long)minute, (long long)got, (long long)joules);
	}
}

/* By power 4 and 1 kW, by registers 4.4 and 0.9 kWh in an hour. */
TEST(registers_and_power_on_both_sides)
{
	static const struct said said[] = {{0, "a/mp", 4000}, {0, "a/sp", 1000},
		{0, "a/mc", 100}, {0, "a/sc", 10}, {60, "a/mc", 104.4},
		{60, "a/sc", 10.9}};
	struct filed f = derived(PLANT MAIN_POWER MAIN_COUNT SUB_POWER SUB_COUNT UNIT
					 BY_MAIN COUNTS_MAIN IMMERSION BY_SUB COUNTS_SUB,
		said, ARRAY_LEN(said), 61);
	expect_each(&f, "immersion", 0, 60, 54000);
	expect_each(&f, "unit", 0, 60, 264000 - 54000);
	ck_assert_int_eq(rows(&f, "sum(p_unit_j)", 0, 60), 180000 * 60);
	ck_assert_int_eq(rows(&f, "min(known)", 0, 60), 2 | 4);
	filed_free(&f);
}
END

/* The main register counts 5 kWh in four hours, of which the heater takes 1 kWh in 20
 * minutes: the rest is even, 4 kWh in 240 minutes. */
TEST(a_register_before_power)
{
	static const struct said said[] = {{0, "a/sp", 0}, {0, "a/mc", 100},
		{60, "a/sp", 3000}, {80, "a/sp", 0}, {240, "a/mc", 105}};
	struct filed f =
		derived(PLANT MAIN_COUNT SUB_POWER UNIT COUNTS_MAIN IMMERSION BY_SUB,
			said, ARRAY_LEN(said), 241);
	expect_each(&f, "unit", 0, 240, 60000);
	expect_each(&f, "immersion", 60, 80, 180000);
	filed_free(&f);
}
END

/* The heater's register counts 1 kWh in four hours: 15 kJ a minute. Before it says so
 * nothing is known of the difference. */
TEST(power_before_a_register)
{
	static const struct said said[] = {
		{0, "a/mp", 2000}, {0, "a/sc", 10}, {240, "a/sc", 11}};
	struct filed f =
		derived(PLANT MAIN_POWER SUB_COUNT UNIT BY_MAIN IMMERSION COUNTS_SUB,
			said, ARRAY_LEN(said), 270);
	expect_each(&f, "unit", 0, 240, 120000 - 15000);
	ck_assert_int_eq(rows(&f, "sum(s_unit_j)", 0, 240), -3600000);
	ck_assert_int_eq(rows(&f, "count(e_unit_j)", 240, 270), 0);
	ck_assert_int_eq(rows(&f, "sum(g_unit_j)", 240, 270), 120000 * 30);
	filed_free(&f);
}
END

/* Power says 8 kWh, its register 7.2 kWh: 108 kJ a minute, less 15. */
TEST(both_before_a_register)
{
	static const struct said said[] = {{0, "a/mp", 2000}, {0, "a/mc", 100},
		{0, "a/sc", 10}, {240, "a/sc", 11}, {240, "a/mc", 107.2}};
	struct filed f = derived(PLANT MAIN_POWER MAIN_COUNT SUB_COUNT UNIT BY_MAIN
					 COUNTS_MAIN IMMERSION COUNTS_SUB,
		said, ARRAY_LEN(said), 241);
	expect_each(&f, "unit", 0, 240, 93000);
	filed_free(&f);
}
END

/* A register before a register, neither with power: 9 less 1 kWh. */
TEST(registers_alone)
{
	static const struct said said[] = {
		{0, "a/mc", 100}, {0, "a/sc", 10}, {240, "a/sc", 11}, {240, "a/mc", 109}};
	struct filed f =
		derived(PLANT MAIN_COUNT SUB_COUNT UNIT COUNTS_MAIN IMMERSION COUNTS_SUB,
			said, ARRAY_LEN(said), 241);
	expect_each(&f, "unit", 0, 240, 120000);
	expect_each(&f, "immersion", 0, 240, 15000);
	ck_assert_int_eq(rows(&f, "min(known)", 0, 240), 2 | 4);
	filed_free(&f);
}
END

/* 4 kW before 2 kW before a register that counts 1 kWh in four hours. */
TEST(a_chain_takes_each_off_once)
{
	static const struct said said[] = {{0, "a/mp", 4000}, {0, "a/sp", 2000},
		{0, "a/mc", 100}, {0, "a/sc", 10}, {240, "a/sc", 11}, {240, "a/mc", 116}};
	struct filed f = derived(PLANT MAIN_POWER MAIN_COUNT SUB_POWER SUB_COUNT
		"[meter unit]\nfeeds = compressor, circulation, immersion\nless = "
		"pumps\n" BY_MAIN COUNTS_MAIN
		"[meter pumps]\nfeeds = circulation, immersion\nless = "
		"immersion\n" BY_SUB IMMERSION COUNTS_SUB,
		said, ARRAY_LEN(said), 241);
	expect_each(&f, "immersion", 0, 240, 15000);
	expect_each(&f, "pumps", 0, 240, 105000);
	expect_each(&f, "unit", 0, 240, 120000);
	filed_free(&f);
}
END

/* The heater's power goes stale ten minutes after minute 100: from then on nobody knows
 * the difference. */
TEST(what_is_behind_unknown_leaves_the_difference_unknown)
{
	static const struct said said[] = {{0, "a/mp", 4000}, {0, "a/mc", 100},
		{0, "a/sp", 1000}, {100, "a/sp", 1000}, {240, "a/mc", 115.2}};
	struct filed f = derived(PLANT MAIN_POWER MAIN_COUNT
		"[channel sub_power]\ntopic = a/sp\nunit = W\nstale_after = 100 "
		"min\n" UNIT BY_MAIN COUNTS_MAIN IMMERSION BY_SUB,
		said, ARRAY_LEN(said), 241);
	/* 15.2 of 16 kWh: 228 kJ a minute. */
	expect_each(&f, "unit", 0, 200, 228000 - 60000);
	ck_assert_int_eq(rows(&f, "count(e_unit_j)", 200, 240), 0);
	ck_assert_int_eq(rows(&f, "max(known & 2)", 200, 240), 0);
	filed_free(&f);
}
END

/* What is taken off is hot water's; the rest stays in the mode in force. */
TEST(the_difference_stays_in_its_mode)
{
	static const struct said said[] = {{0, "a/mp", 4000}, {0, "a/sp", 0},
		{0, "a/mode", 2}, {0, "a/mc", 100}, {30, "a/sp", 3000}, {30, "a/mode", 3},
		{60, "a/mc", 104}};
	struct filed f = derived(PLANT MAIN_POWER MAIN_COUNT SUB_POWER
		"[channel operating_mode]\ntopic = a/mode\nmap = 2:heating, "
		"3:hot_water\n" UNIT BY_MAIN COUNTS_MAIN IMMERSION BY_SUB,
		said, ARRAY_LEN(said), 61);
	expect_each(&f, "unit", 0, 30, 240000);
	expect_each(&f, "unit", 30, 60, 60000);
	_cleanup_(freep) char *hot = xasprintf(
		"sum(CASE WHEN slot %% 16 = %d THEN e_unit_j END)", (int)MODE_HOT_WATER);
	ck_assert_int_eq(rows(&f, hot, 0, 60), 60000 * 30);
	filed_free(&f);
}
END

/* The other way round: what the unit's meter leaves of the supply is the immersion
 * heater's, hot water's whatever the plant does. */
TEST(a_difference_that_is_an_immersion_heaters_is_hot_water)
{
	static const struct said said[] = {
		{0, "a/sp", 1000}, {0, "a/mode", 2}, {0, "a/mc", 100}, {60, "a/mc", 104}};
	struct filed f = derived(PLANT MAIN_COUNT SUB_POWER
		"[channel operating_mode]\ntopic = a/mode\nmap = 2:heating, "
		"3:hot_water\n"
		"[meter supply]\nfeeds = compressor, immersion\nless = unit\n" COUNTS_MAIN
		"[meter unit]\nfeeds = compressor\n" BY_SUB,
		said, ARRAY_LEN(said), 61);
	expect_each(&f, "unit", 0, 60, 60000);
	expect_each(&f, "supply", 0, 60, 180000);
	_cleanup_(freep) char *hot =
		xasprintf("sum(CASE WHEN slot %% 16 = %d THEN e_supply_j END)",
			(int)MODE_HOT_WATER);
	ck_assert_int_eq(rows(&f, hot, 0, 60), 180000 * 60);
	filed_free(&f);
}
END

/* Spans that meet amid a minute take off what is behind once: 3 h and 20 s, then the rest
 * of six hours; 2 and 1.5 kWh, of which 0.9 kWh are the heater's. */
TEST(spans_that_meet_within_a_minute_add_up)
{
	static const struct said said[] = {{0, "a/sp", 150}, {0, "a/mc", 100},
		{180 + 1.0 / 3, "a/mc", 102}, {360, "a/mc", 103.5}};
	struct filed f =
		derived(PLANT MAIN_COUNT SUB_POWER UNIT COUNTS_MAIN IMMERSION BY_SUB,
			said, ARRAY_LEN(said), 361);
	ck_assert_int_eq(rows(&f, "sum(e_immersion_j)", 0, 360), 9 * 360000);
	ck_assert_int_eq(rows(&f, "sum(e_unit_j)", 0, 360), 26 * 360000);
	ck_assert_int_eq(rows(&f, "count(e_unit_j)", 0, 360), 360);
	filed_free(&f);
}
END

/* What comes late behind changes what is before. */
TEST(a_late_reading_behind_changes_the_difference)
{
	static const struct said said[] = {
		{0, "a/sp", 0}, {0, "a/mc", 100}, {240, "a/mc", 105}, {300, "a/mc", 105}};
	struct filed f =
		derived(PLANT MAIN_COUNT SUB_POWER UNIT COUNTS_MAIN IMMERSION BY_SUB,
			said, ARRAY_LEN(said), 310);
	expect_each(&f, "unit", 0, 240, 75000);
	file_message(&f, AT(60), "a/sp", "3000");
	file_message(&f, AT(80), "a/sp", "0");
	derive_until(&f, MINUTE(310));
	expect_each(&f, "unit", 0, 240, 60000);
	expect_checks(&f);
	filed_free(&f);
}
END

/* Without any register on either side power tells the difference, as ever. */
TEST(power_on_both_sides_needs_no_register)
{
	static const struct said said[] = {{0, "a/mp", 4000}, {0, "a/sp", 1000}};
	struct filed f = derived(PLANT MAIN_POWER SUB_POWER UNIT BY_MAIN IMMERSION BY_SUB,
		said, ARRAY_LEN(said), 60);
	expect_each(&f, "unit", 0, 60, 180000);
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM pragma_table_info"
					     "('energy_minutes') WHERE name LIKE 'g_%'"),
		0);
	filed_free(&f);
}
END

TESTS(registers_and_power_on_both_sides, a_register_before_power, power_before_a_register,
	a_difference_that_is_an_immersion_heaters_is_hot_water, both_before_a_register, registers_alone, a_chain_takes_each_off_once,
	what_is_behind_unknown_leaves_the_difference_unknown,
	the_difference_stays_in_its_mode, spans_that_meet_within_a_minute_add_up,
	a_late_reading_behind_changes_the_difference,
	power_on_both_sides_needs_no_register)
