/*
 * The engine where rules tell modes: rows come RULES_LAG_MIN later; who begins with a
 * state that was carried over any minute makes the same rows from there on; energies and
 * times of modes add up to the same whatever the rules say; silence ends
 * in one state however it was passed.
 *
 * Reference: engine.h's contract and the rules at the top of daemon/account/rules.c.
 * Random readings by SEED of the environment.
 */
#include "engine_run.h"

#include <heatbook/rules.h>

/* clang-format off */
#define PLANT \
	"[plant]\nzone = UTC\nnominal_flow = 14 L/min\n" \
	"[source plant]\ntopics = plant/#\nwill_topic = plant/will\n" \
	"[channel flow_temperature]\ntopic = plant/flow\n" \
	"[channel return_temperature]\ntopic = plant/return\n" \
	"[channel flow_rate]\ntopic = plant/rate\n" \
	"[channel outdoor_temperature]\ntopic = plant/outdoor\n" \
	"[channel cylinder_temperature]\ntopic = plant/cylinder\n" \
	"[channel unit_power]\ntopic = meter/unit\nunit = W\n" \
	"[channel heater_power]\ntopic = meter/heater\nunit = W\n" \
	"[meter unit]\nfeeds = compressor\npower = unit_power\n" \
	"[meter heater]\nfeeds = immersion\npower = heater_power\n"
#define LEVELS "[modes]\nhot_water_flow = 20 L/min\n"
/* clang-format on */

/* What each lacks is left to rules. */
static const char *const plants[] = {
	PLANT LEVELS,
	PLANT,
	PLANT LEVELS "[channel compressor_frequency]\ntopic = plant/speed\n",
	PLANT "[channel valve]\ntopic = plant/valve\n",
	PLANT LEVELS "[channel defrost]\ntopic = plant/defrost\n",
	PLANT "[channel operating_mode]\ntopic = plant/mode\n"
	      "map = 1:heating, 2:hot_water, 3:cooling\n",
};

#define READINGS 4000

static double random_value(uint64_t *seed, const struct channel_config *channel)
{
	if (channel->map_count)
		return (double)unit_random_between(
			seed, -1, (int64_t)channel->state_count - 1);
	if (channel->role == ROLE_FLOW_RATE)
		return (double)unit_random_between(seed, 0, 24);
	if (channel->role == ROLE_OUTDOOR_TEMPERATURE)
		return (double)unit_random_between(seed, -20, 12);
	if (channel->dimension == DIMENSION_TEMPERATURE)
		return (double)unit_random_between(seed, 300, 340) / 10;
	return unit_random(seed) % 3 ? (double)unit_random_between(seed, 0, 400) : 0.0;
}

static void random_readings(
	uint64_t *seed, const struct config *config, struct reading out[static READINGS])
{
	static const int64_t most_ms[] = {0, 5000, 20000, 90000, 1200000};
	int64_t t_ms = ZERO_MS;
	for (size_t i = 0; i < READINGS; i++) {
		size_t c = unit_random(seed) % config->channel_count;
		uint64_t pick = unit_random(seed) % 100;
		t_ms += unit_random_between(seed, 0,
			most_ms[pick < 10   ? 0
				: pick < 60 ? 1
				: pick < 90 ? 2
				: pick < 99 ? 3
					    : 4]);
		out[i] = (struct reading){.t_ms = t_ms,
			.kind = unit_random(seed) % 40 ? READING_VALUE : READING_NOVALUE,
			.channel = (uint16_t)c,
			.value = random_value(seed, &config->channels[c])};
	}
}

static struct reading readings[READINGS];

static void feed_from(struct run *run, size_t from)
{
	for (size_t i = from; i < READINGS; i++)
		engine_feed(run->engine, &readings[i]);
	engine_advance(run->engine, readings[READINGS - 1].t_ms + MS_PER_DAY);
}

/* Rows of `tail` are those of `plain` from a minute on. */
static void expect_tail(const struct run *plain, const struct run *tail, int64_t minute)
{
	size_t skipped = 0;
	while (skipped < plain->count && plain->minutes[skipped].minute < minute)
		skipped++;
	struct run rest = *plain;
	rest.minutes += skipped;
	rest.count -= skipped;
	expect_same_minutes(&rest, tail);
}

TEST(a_state_carried_over_any_minute_gives_the_same_rows_from_there_on)
{
	uint64_t seed = unit_seed();
	for (size_t p = 0; p < ARRAY_LEN(plants); p++) {
		struct run *plain = run_new(plants[p]), *saved = run_new(plants[p]);
		struct buffer state = {0};
		random_readings(&seed, plain->config, readings);
		feed_from(plain, 0);
		ck_assert_uint_gt(plain->count, 200);
		for (size_t i = 0; i < READINGS; i++) {
			int64_t minute = floor_div(readings[i].t_ms, MS_PER_MIN);
			bool can = minute * MS_PER_MIN >= engine_now_ms(saved->engine);
			if (can && unit_random(&seed) % 150 == 0) {
				struct run *tail = run_new(plants[p]);
				engine_advance(saved->engine, minute * MS_PER_MIN);
				buffer_reset(&state);
				engine_save(saved->engine, &state);
				ck_assert_int_eq(engine_restore(tail->engine, minute,
							 state.data, state.length),
					0);
				feed_from(tail, i);
				expect_tail(plain, tail, minute);
				run_free(tail);
			}
			engine_feed(saved->engine, &readings[i]);
		}
		buffer_release(&state);
		run_free(plain);
		run_free(saved);
	}
}
END

	static void
	expect_sums(const struct kept_minute *a, const struct kept_minute *b)
{
	double heat_j[2] = {0}, sensitivity[2] = {0}, unit_j[2] = {0};
	int64_t heat_ms[2] = {0}, unit_ms[2] = {0}, ms = 0;
	for (size_t i = 0; i < MODE_COUNT; i++) {
		const struct minute_mode *modes[] = {&a->modes[i], &b->modes[i]};
		ms += a->modes[i].ms;
		for (int k = 0; k < 2; k++) {
			heat_j[k] += modes[k]->heat_j;
			sensitivity[k] += modes[k]->sensitivity_j_per_k;
			unit_j[k] += modes[k]->meter_j[0];
			heat_ms[k] += modes[k]->heat_ms;
			unit_ms[k] += modes[k]->meter_ms[0];
		}
	}
	ck_assert_int_eq(heat_ms[0], heat_ms[1]);
	ck_assert_int_eq(unit_ms[0], unit_ms[1]);
	ck_assert_int_le(ms, MS_PER_MIN);
	ck_assert_double_le(fabs(heat_j[0] - heat_j[1]), 1e-6);
	ck_assert_double_le(fabs(sensitivity[0] - sensitivity[1]), 1e-6);
	/* Joules of meters are whole by slot. */
	ck_assert_double_le(fabs(unit_j[0] - unit_j[1]), 3.0);
	ck_assert_uint_eq(a->known, b->known);
}

TEST(modes_by_rule_add_up_whatever_rules_say)
{
	uint64_t seed = unit_seed();
	for (size_t p = 0; p < ARRAY_LEN(plants); p++) {
		struct run *told = run_new(plants[p]);
		struct run *plain = run_new(plants[p]);
		bool seen[MODE_COUNT] = {false};
		/* The same channels, by rules that find other modes. */
		plain->config->modes.compressor_on_w = 1e9;
		plain->config->modes.defrost_difference_k = 1e9;
		random_readings(&seed, told->config, readings);
		feed_from(told, 0);
		feed_from(plain, 0);
		ck_assert_uint_eq(told->count, plain->count);
		for (size_t i = 0; i < told->count; i++) {
			expect_sums(&told->minutes[i], &plain->minutes[i]);
			for (size_t m = 0; m < MODE_COUNT; m++)
				seen[m] |= told->minutes[i].modes[m].ms > 0;
		}
		ck_assert(seen[MODE_HEATING]);
		ck_assert(seen[MODE_DEFROST]);
		ck_assert(seen[MODE_STANDBY]);
		run_free(told);
		run_free(plain);
	}
}
END

TEST(rows_come_as_late_as_their_judgement_and_no_later)
{
	struct run *run = run_new(plants[0]);
	ck_assert_int_eq(engine_lag_min(run->config), RULES_LAG_MIN);
	for (int s = 0; s < 600; s += 20) {
		says(run, s, "unit_power", s < 300 ? 1000 : 10);
		says(run, s, "flow_temperature", 35);
		says(run, s, "return_temperature", 30);
		says(run, s, "flow_rate", 14);
		says(run, s, "outdoor_temperature", 0);
		int64_t end = s / 60 - RULES_LAG_MIN;
		ck_assert_uint_eq(run->count, end > 0 ? (size_t)end : 0);
		ck_assert_int_eq(
			engine_rows_end(run->engine), ZERO_MIN + (end > 0 ? end : 0));
		ck_assert(!engine_quiet(run->engine));
	}
	passes(run, 780);
	ck_assert_int_eq(mode_of(run, 4, MODE_HEATING).ms, MS_PER_MIN);
	/* The compressor stood from minute 5 on, and water moved on. */
	ck_assert_int_eq(mode_of(run, 5, MODE_OVERRUN).ms, MS_PER_MIN);
	ck_assert_int_eq(mode_of(run, 9, MODE_OVERRUN).ms, MS_PER_MIN);
	run_free(run);
}
END

/* 120 W is neither more than compressor_on nor less than 60 % of it. */
TEST(power_between_both_thresholds_is_unassigned_until_run_or_rest_was_seen)
{
	struct run *run = run_new(plants[0]);
	for (int s = 0; s < 1200; s += 20) {
		int minute = s / 60;
		says(run, s, "unit_power",
			minute < 5    ? 120
			: minute < 8  ? 10
			: minute < 11 ? 120
			: minute < 14 ? 1000
				      : 120);
		says(run, s, "flow_temperature", 35);
		says(run, s, "return_temperature", 30);
		says(run, s, "flow_rate", 14);
		says(run, s, "outdoor_temperature", 8);
	}
	passes(run, 1200);
	for (int minute = 0; minute < 17; minute++) {
		enum mode mode = minute < 5    ? MODE_UNASSIGNED
				 : minute < 11 ? MODE_STANDBY
					       : MODE_HEATING;
		ck_assert_int_eq(mode_of(run, minute, mode).ms, MS_PER_MIN);
	}
	/* What was used and delivered meanwhile is known all the same. */
	ck_assert_double_eq(mode_of(run, 4, MODE_UNASSIGNED).meter_j[0], 120.0 * 60.0);
	ck_assert_double_gt(mode_of(run, 4, MODE_UNASSIGNED).heat_j, 0.0);
	run_free(run);
}
END

/* 60 W at rest and 140 VA of the same unit are not 200 W. */
TEST(an_apparent_meter_tells_nothing_beside_a_true_one)
{
	static const char va[] = "[channel unit_va]\ntopic = meter/va\nunit = W\n"
				 "[meter va]\nfeeds = compressor\npower = unit_va\n"
				 "apparent = yes\n";
	_cleanup_(freep) char *both = xasprintf("%s%s", plants[0], va);
	struct run *run = run_new(both);
	for (int s = 0; s < 1200; s += 20) {
		bool on = s / 60 >= 5 && s / 60 < 12;
		says(run, s, "unit_power", on ? 900 : 60);
		says(run, s, "unit_va", on ? 1000 : 140);
		says(run, s, "flow_temperature", 35);
		says(run, s, "return_temperature", 30);
		says(run, s, "flow_rate", on ? 14 : 0);
		says(run, s, "outdoor_temperature", 8);
	}
	passes(run, 1200);
	for (int minute = 0; minute < 17; minute++) {
		bool on = minute >= 5 && minute < 12;
		ck_assert_int_eq(
			mode_of(run, minute, on ? MODE_HEATING : MODE_STANDBY).ms,
			MS_PER_MIN);
	}
	run_free(run);
}
END

/* Rows of a table that cover their minutes: every hold ends where the next one begins. */
TEST(a_stop_is_remembered_where_holds_end_on_the_minutes_edge)
{
	static const char *const names[] = {"unit_power", "flow_temperature",
		"return_temperature", "flow_rate", "outdoor_temperature"};
	struct run *run = run_new(plants[0]);
	for (int minute = 0; minute < 16; minute++) {
		const double values[] = {minute < 5 ? 1000 : 10, 35, 30, 14, 0};
		for (size_t i = 0; i < ARRAY_LEN(names); i++) {
			const struct reading r = {
				.t_ms = (ZERO_MIN + minute) * MS_PER_MIN,
				.channel = (uint16_t)channel_named(run->config, names[i]),
				.kind = READING_VALUE,
				.exact_ms = (uint32_t)MS_PER_MIN,
				.value = values[i]};
			engine_feed(run->engine, &r);
		}
	}
	passes(run, 1200);
	ck_assert_int_eq(mode_of(run, 4, MODE_HEATING).ms, MS_PER_MIN);
	for (int minute = 5; minute < 15; minute++)
		ck_assert_int_eq(mode_of(run, minute, MODE_OVERRUN).ms, MS_PER_MIN);
	ck_assert_int_eq(mode_of(run, 15, MODE_OVERRUN).ms, 0);
	run_free(run);
}
END

TEST(silence_ends_in_one_state_however_it_is_passed)
{
	uint64_t seed = unit_seed();
	struct run *once = run_new(plants[0]), *steps = run_new(plants[0]);
	struct buffer a = {0}, b = {0};
	random_readings(&seed, once->config, readings);
	feed_from(once, 0);
	feed_from(steps, 0);
	int64_t end = floor_div(readings[READINGS - 1].t_ms, MS_PER_DAY) + 9;
	engine_advance(once->engine, end * MS_PER_DAY);
	for (int64_t t = engine_now_ms(steps->engine); t < end * MS_PER_DAY;
		t += unit_random_between(&seed, 1, MS_PER_HOUR))
		engine_advance(steps->engine, t);
	engine_advance(steps->engine, end * MS_PER_DAY);
	ck_assert(engine_quiet(once->engine));
	engine_save(once->engine, &a);
	engine_save(steps->engine, &b);
	ck_assert_uint_eq(a.length, b.length);
	ck_assert_int_eq(memcmp(a.data, b.data, a.length), 0);
	buffer_release(&a);
	buffer_release(&b);
	run_free(once);
	run_free(steps);
}
END

TESTS(a_state_carried_over_any_minute_gives_the_same_rows_from_there_on,
	modes_by_rule_add_up_whatever_rules_say,
	rows_come_as_late_as_their_judgement_and_no_later,
	power_between_both_thresholds_is_unassigned_until_run_or_rest_was_seen,
	an_apparent_meter_tells_nothing_beside_a_true_one,
	a_stop_is_remembered_where_holds_end_on_the_minutes_edge,
	silence_ends_in_one_state_however_it_is_passed)
