/*
 * What registers count, down to the rows: heat by a heat meter's register with and
 * without power beside it, and how near the minutes come to the truth.
 *
 * Reference: hand-computed whole joules. That all doors give the same rows is a property
 * of its own (tests/property).
 */
#include "counted.h"

#include <heatbook/evidence.h>
#include <heatbook/query.h>

#define REGISTER    "[channel heat_register]\ntopic = a/heat\nunit = kWh\n" HELD
#define BY_REGISTER "[plant]\nzone = UTC\nheat_source = register\n" HOLDS
#define HEAT_POWER  "[channel heat_power]\ntopic = a/power\nunit = W\n" HELD

static struct energy_sum asked(struct filed *f, int64_t from, int64_t to)
{
	const int64_t edges[] = {AT(from), AT(to)};
	const struct boundary none = {.name = "none"};
	struct energy_sum sum = {0};
	struct energy_answer answer;
	ck_assert_int_eq(query_energy(f->store, edges, 1, &none, &answer), 0);
	for (int m = 0; m < MODE_COUNT; m++) {
		sum.heat_j += answer.total.modes[m].heat_j;
		sum.heat_ms += answer.total.modes[m].heat_ms;
		sum.heat_spread_j += answer.total.modes[m].heat_spread_j;
		sum.heat_bridged_j += answer.total.modes[m].heat_bridged_j;
		sum.bridged_heat_j += answer.total.modes[m].bridged_heat_j;
		sum.bridged_ms += answer.total.modes[m].bridged_ms;
		sum.paired_ms += answer.total.modes[m].paired_ms;
	}
	energy_answer_release(&answer);
	return sum;
}

/* 1 kWh in three hours, nothing else known: 20,000 J a minute. */
TEST(a_heat_register_alone_is_spread_over_its_steps)
{
	static const struct said said[] = {
		{60, "a/heat", 700}, {240, "a/heat", 701}, {241, "a/heat", 701}};
	struct filed f = derived(BY_REGISTER REGISTER, said, ARRAY_LEN(said), 300);
	ck_assert_int_eq(rows(&f, "sum(heat_j)", 0, 300), 3600000);
	ck_assert_int_eq(rows(&f, "min(heat_j)", 60, 240), 20000);
	ck_assert_int_eq(rows(&f, "max(heat_j)", 60, 240), 20000);
	ck_assert_int_eq(rows(&f, "min(known & 1)", 60, 240), 1);
	ck_assert_int_eq(rows(&f, "count(heat_j)", 0, 300), 180);
	struct energy_sum sum = asked(&f, 0, 300);
	ck_assert_int_eq(sum.heat_j, 3600000);
	ck_assert_int_eq(sum.heat_spread_j, 3600000);
	ck_assert_int_eq(sum.heat_ms, 180 * MS_PER_MIN);
	ck_assert_int_eq(sum.bridged_heat_j, 0);
	ck_assert_int_eq(sum.paired_ms, 180 * MS_PER_MIN);
	filed_free(&f);
}
END

/* Power says 6 kW for 60 min and 3 kW for 30 (7.5 kWh); the register 6 kWh: every minute
 * is 0.8 of what power said. */
TEST(the_register_rules_and_power_gives_the_shape)
{
	static const struct said said[] = {{0, "a/heat", 50}, {0, "a/power", 6000},
		{60, "a/power", 3000}, {90, "a/heat", 56}, {90, "a/power", 0}};
	struct filed f =
		derived(BY_REGISTER REGISTER HEAT_POWER, said, ARRAY_LEN(said), 120);
	ck_assert_int_eq(rows(&f, "sum(heat_j)", 0, 90), 6 * 3600000);
	ck_assert_int_eq(rows(&f, "min(heat_j)", 0, 60), 288000);
	ck_assert_int_eq(rows(&f, "max(heat_j)", 0, 60), 288000);
	ck_assert_int_eq(rows(&f, "min(heat_j)", 60, 90), 144000);
	ck_assert_int_eq(rows(&f, "sum(p_0_j)", 0, 90), 7 * 3600000 + 1800000);
	ck_assert_int_eq(rows(&f, "sum(sensitivity)", 0, 120), 0);
	ck_assert_int_eq(asked(&f, 0, 90).heat_spread_j, 0);
	filed_free(&f);
}
END

/* Until a span closes its minutes are what power says; then they are what the register
 * says, and nothing is added to it. */
TEST(an_open_span_is_provisional_and_is_replaced)
{
	static const struct said said[] = {{0, "a/heat", 50}, {0, "a/power", 6000}};
	struct filed f =
		derived(BY_REGISTER REGISTER HEAT_POWER, said, ARRAY_LEN(said), 60);
	ck_assert_int_eq(rows(&f, "sum(heat_j)", 0, 60), 6 * 3600000);
	for (int times = 0; times < 2; times++) {
		struct sending s = begin_sending(&f);
		send_at(&s, AT(60), "a/heat", 54.5);
		send_at(&s, AT(60), "a/power", 0);
		end_sending(&s);
		derive_until(&f, MINUTE(90));
		expect_checks(&f);
		ck_assert_int_eq(rows(&f, "sum(heat_j)", 0, 90), 4 * 3600000 + 1800000);
		ck_assert_int_eq(rows(&f, "sum(p_0_j)", 0, 90), 6 * 3600000);
	}
	filed_free(&f);
}
END

/* What findings ask: the register counts in another unit than it says. Power says 6 kW,
 * the register a thousandth of it. */
TEST(a_wrong_unit_shows_beside_power)
{
	static const struct said said[] = {{0, "a/heat", 50}, {0, "a/power", 6000},
		{240, "a/heat", 50.024}, {240, "a/power", 0}};
	struct filed f = derived(BY_REGISTER REGISTER "step = 1 Wh\n" HEAT_POWER, said,
		ARRAY_LEN(said), 300);
	struct counted_beside beside[COUNTED_MOST];
	size_t count = 0;
	ck_assert_int_eq(
		store_counted_beside(f.store, AT(0), AT(300), beside, &count), 0);
	ck_assert_uint_eq(count, 1);
	ck_assert_uint_eq(beside[0].quantity, COUNTED_HEAT);
	ck_assert_int_eq(beside[0].spans, 1);
	ck_assert_int_eq(beside[0].register_j, 86400);
	ck_assert_int_eq(beside[0].power_j, 86400000);
	ck_assert_int_eq(beside[0].begin_ms, AT(0));
	ck_assert_int_eq(beside[0].end_ms, AT(240));
	ck_assert_int_eq(
		store_counted_beside(f.store, AT(241), AT(300), beside, &count), 0);
	ck_assert_uint_eq(count, 0);
	filed_free(&f);
}
END

/* A register that counts a thousandth of what power says: its span closes after three
 * hours, the next is open. What power alone says of the open one is no agreement. */
TEST(an_open_span_is_set_against_nothing)
{
	static const struct said said[] = {{0, "a/count", 50}, {0, "a/power", 6000},
		{180, "a/count", 50.018}, {185, "a/count", 50.0185}};
	struct filed f = derived(
		"[plant]\nzone = UTC\n" HOLDS
		"[channel power]\ntopic = a/power\nunit = W\n" HELD
		"[channel count]\ntopic = a/count\nunit = kWh\n" HELD
		"[meter unit]\nfeeds = compressor\npower = power\nregister = count\n",
		said, ARRAY_LEN(said), 360);
	struct register_day days[COUNTED_MOST];
	ck_assert_int_eq(store_register_day(f.store, MINUTE(0), MINUTE(1440), days), 0);
	ck_assert_int_eq(days[0].minutes, 180);
	ck_assert_double_eq(days[0].register_j, 64800.0);
	ck_assert_double_eq(days[0].power_j, 18 * 3600000.0);
	filed_free(&f);
}
END

/* What flow and temperatures say beside a heat meter's register is evidence of both; what
 * a defrost draws is left out, since this register knows none: 6 kW for 60 min. */
TEST(heat_of_a_register_is_set_against_what_else_tells_it)
{
	static const struct said said[] = {{0, "a/heat", 50}, {0, "a/power", 6000},
		{60, "a/power", -3000}, {70, "a/power", 0}, {90, "a/heat", 54.2},
		{90, "a/power", 0}};
	struct filed f =
		derived(BY_REGISTER REGISTER HEAT_POWER, said, ARRAY_LEN(said), 120);
	struct register_day days[COUNTED_MOST];
	ck_assert_int_eq(store_register_day(f.store, MINUTE(0), MINUTE(1440), days), 0);
	ck_assert_double_eq(days[COUNTED_HEAT].register_j, 4.2 * 3600000.0);
	ck_assert_double_eq(days[COUNTED_HEAT].power_j, 6 * 3600000.0);
	ck_assert_int_eq(days[COUNTED_HEAT].minutes, 60);
	filed_free(&f);
}
END

/* Heat worked out from thermometers gives the shape as well: two flows, 2 to 1. */
TEST(thermometers_may_give_the_shape)
{
	static const struct said said[] = {{0, "a/heat", 50}, {0, "a/flow", 35},
		{0, "a/return", 30}, {0, "a/rate", 20}, {30, "a/rate", 10},
		{60, "a/heat", 53}, {60, "a/rate", 0}};
	struct filed f = derived(BY_REGISTER REGISTER
		"[channel flow_temperature]\ntopic = a/flow\n" HELD
		"[channel return_temperature]\ntopic = a/return\n" HELD
		"[channel flow_rate]\ntopic = a/rate\nunit = L/min\n" HELD,
		said, ARRAY_LEN(said), 90);
	ck_assert_int_eq(rows(&f, "sum(heat_j)", 0, 60), 3 * 3600000);
	/* Minutes of power are whole joules: half a joule each. */
	int64_t first = rows(&f, "sum(heat_j)", 0, 30);
	ck_assert_int_le(llabs(first - 2 * 3600000), 15);
	ck_assert_int_eq(rows(&f, "sum(heat_j)", 60, 90), 0);
	filed_free(&f);
}
END

/* A minute of power: 30 min of 4 kW, a defrost of 6 min at -4 kW, 24 min of 4 kW: 3.6 kWh
 * up and 0.4 kWh down. A meter that falls says 3.0 net, one that does not 3.4. */
TEST(heat_is_drawn_back_only_by_a_register_that_falls)
{
	static const struct {
		const char *falls;
		double end_kwh;
		int64_t heating_j, defrost_j; /* of a minute */
	} cases[] = {
		/* What differs (0.2 kWh of 4.0 that moved) goes by amounts: 5 %. */
		{"falls = yes\n", 103.0, 228000, -252000},
		/* 3.4 kWh over 54 min, rounded down. */
		{"", 103.4, 226666, 0},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		const struct said said[] = {{0, "a/heat", 100}, {0, "a/power", 4000},
			{0, "a/mode", 2}, {30, "a/power", -4000}, {30, "a/mode", 5},
			{36, "a/power", 4000}, {36, "a/mode", 2},
			{60, "a/heat", cases[i].end_kwh}};
		_cleanup_(freep) char *plant = xasprintf("%s%s%s%s", BY_REGISTER REGISTER,
			cases[i].falls, HEAT_POWER,
			"[channel operating_mode]\ntopic = a/mode\n"
			"map = 2:heating, 5:defrost\n");
		struct filed f = derived(plant, said, ARRAY_LEN(said), 61);
		int64_t j = llround((cases[i].end_kwh - 100) * 3.6e6);
		ck_assert_int_eq(rows(&f, "sum(heat_j)", 0, 60), j);
		ck_assert_int_eq(rows(&f, "min(heat_j)", 0, 30), cases[i].heating_j);
		ck_assert_int_eq(rows(&f, "min(heat_j)", 30, 36), cases[i].defrost_j);
		ck_assert_int_eq(rows(&f, "max(slot % 16)", 30, 36), MODE_DEFROST);
		filed_free(&f);
	}
}
END

/* A register that falls by more than a heat meter can is none that fell. */
TEST(a_fall_beyond_the_greatest_power_waits)
{
	static const struct said said[] = {{0, "a/heat", 100}, {60, "a/heat", 97},
		{61, "a/heat", 60}, {62, "a/heat", 97.2}};
	struct filed f =
		derived(BY_REGISTER REGISTER "falls = yes\n", said, ARRAY_LEN(said), 90);
	ck_assert_int_eq(rows(&f, "sum(heat_j)", 0, 60), -3 * 3600000);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT kind FROM events WHERE is_meter = 0 AND "
				    "subject = 'heat_register'"),
		EVENT_REGISTER_REFUSED);
	filed_free(&f);
}
END

/* Nothing for five hours, then the register has gone on by 5 kWh: bridged, known to
 * nobody, in no pair. */
TEST(a_gap_of_heat_is_bridged_and_told_apart)
{
	static const struct said said[] = {{0, "a/heat", 100}, {0, "a/power", 3600},
		{5, "a/heat", 100.3}, {5, "a/power", 3600}, {310, "a/heat", 105.3},
		{310, "a/power", 0}};
	struct filed f = derived(
		"[plant]\nzone = UTC\nheat_source = register\n"
		"[source a]\ntopics = a/#\nsilent_after = 5 min\n" REGISTER HEAT_POWER,
		said, ARRAY_LEN(said), 320);
	struct energy_sum sum = asked(&f, 0, 310);
	ck_assert_int_eq(sum.heat_j, 5 * 3600000 + 3 * 360000);
	/* Power went on for 5 min more, 60 J a second: that part was seen. */
	ck_assert_int_eq(sum.bridged_heat_j, 5 * 3600000 - 300 * 3600);
	ck_assert_int_eq(sum.bridged_heat_j, sum.heat_bridged_j);
	ck_assert_int_eq(sum.bridged_ms, 300 * MS_PER_MIN);
	ck_assert_int_eq(sum.heat_ms, 10 * MS_PER_MIN);
	ck_assert_int_eq(sum.paired_ms, 10 * MS_PER_MIN);
	filed_free(&f);
}
END

	/* A unit that cycles, one value a minute: 12 W at rest, a ramp, 0.6 to 2.4 kW. */
	static double
	truth_w(int64_t minute)
{
	int64_t of = minute % 37;
	if (of < 11)
		return 12.0;
	double level = 600.0 + 1800.0 * (0.5 + 0.5 * sin((double)minute / 200.0));
	return of < 14 ? level * (double)(of - 10) / 4.0 : level;
}

/* Root of the mean square of what a day's minutes miss the truth by, W. */
static double rms_w(struct filed *f)
{
	double sum = 0.0;
	int64_t count = 0;
	for (int64_t minute = 60; minute < 1140; minute++, count++) {
		int64_t j = rows(f, "sum(e_unit_j)", minute, minute + 1);
		double missed = (double)j / 60.0 - truth_w(minute);
		sum += missed * missed;
	}
	return sqrt(sum / (double)count);
}

static double rms_with(bool power, double gain, double step_kwh)
{
	struct filed f = filed_new(
		power ? "[plant]\nzone = UTC\n" HOLDS
			"[channel count]\ntopic = a/count\nunit = kWh\n" HELD
			"[channel watts]\ntopic = a/watts\nunit = W\n" HELD
			"[meter unit]\nfeeds = compressor\nregister = count\n"
			"power = watts\nstep = 1 kWh\n"
		      : "[plant]\nzone = UTC\n" HOLDS
			"[channel count]\ntopic = a/count\nunit = kWh\n" HELD
			"[meter unit]\nfeeds = compressor\nregister = count\nstep = 1 "
			"kWh\n");
	struct sending s = begin_sending(&f);
	double kwh = 4711.3;
	for (int64_t minute = 0; minute < 1440; minute++) {
		if (power)
			send_at(&s, AT(minute), "a/watts", gain * truth_w(minute));
		send_at(&s, AT(minute), "a/count", floor(kwh / step_kwh) * step_kwh);
		kwh += truth_w(minute) / 60e3;
	}
	end_sending(&s);
	derive_until(&f, MINUTE(1440));
	double rms = rms_w(&f);
	filed_free(&f);
	return rms;
}

/* A register of 1 kWh steps and power that says 8 % too much: the gain cancels, what is
 * left is the uncertainty of the steps at the ends of spans. Power alone misses by 8 % of
 * its rms; evenly spread minutes know nothing of the cycles. */
TEST(power_makes_coarse_steps_fine)
{
	double shaped = rms_with(true, 1.08, 1.0), even = rms_with(false, 1.0, 1.0);
	double square = 0.0;
	for (int64_t minute = 60; minute < 1140; minute++)
		square += truth_w(minute) * truth_w(minute) / 1080.0;
	double alone = 0.08 * sqrt(square);
	printf("# minutes miss the truth by %.0f W (shaped), %.0f W (even), %.0f W "
	       "(power alone)\n",
		shaped, even, alone);
	ck_assert_double_lt(shaped, even / 10.0);
	ck_assert_double_lt(shaped, alone);
}
END

TESTS(a_heat_register_alone_is_spread_over_its_steps,
	the_register_rules_and_power_gives_the_shape,
	an_open_span_is_provisional_and_is_replaced, a_wrong_unit_shows_beside_power,
	an_open_span_is_set_against_nothing,
	heat_of_a_register_is_set_against_what_else_tells_it, thermometers_may_give_the_shape,
	heat_is_drawn_back_only_by_a_register_that_falls,
	a_fall_beyond_the_greatest_power_waits, a_gap_of_heat_is_bridged_and_told_apart,
	power_makes_coarse_steps_fine)
