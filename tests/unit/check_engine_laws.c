/*
 * Laws of the engine over random readings (SEED of the environment): where somebody
 * looked, saved or restored changes no bit of a minute; times add up; time without
 * readings costs nothing; a state that is not one is refused.
 *
 * Reference: engine.h's contract.
 */
#include "engine_run.h"

#include <errno.h>

/* clang-format off */
#define SMALL_PLANT \
	"[plant]\nzone = UTC\n" \
	"[source plant]\ntopics = plant/#\nwill_topic = plant/will\n" \
	"[source meters]\ntopics = meter/#\nsilent_after = 3 min\n" \
	"[channel flow_temperature]\ntopic = plant/flow\nstale_after = 4 min\n" \
	"[channel return_temperature]\ntopic = plant/return\nextremes = yes\n" \
	"[channel flow_rate]\ntopic = plant/rate\n" \
	"[channel outdoor_temperature]\ntopic = plant/outdoor\nretained = state\n" \
	"[channel compressor_frequency]\ntopic = plant/speed\n" \
	"[channel valve]\ntopic = plant/valve\n" \
	"[channel defrost]\ntopic = plant/defrost\n" \
	"[channel circulation_pump]\ntopic = plant/pump\n" \
	"[channel unit_power]\ntopic = meter/unit\nunit = W\n" \
	"[channel heater_power]\ntopic = meter/heater\nunit = W\n" \
	"[meter unit]\nfeeds = compressor\npower = unit_power\n" \
	"[meter heater]\nfeeds = immersion\npower = heater_power\n" \
	"[correction strap]\nchannel = flow_temperature\noffset = -0.4 K\n" \
	"from = 2026-01-01T02:17:31.437Z\nto = 2026-01-01T21:40:00Z\n" \
	"[correction clamp]\nchannel = unit_power\nfactor = -1.1\nfrom = 2026-01-01\n" \
	"to = 2026-01-01T12:00:00.001Z\n"
/* clang-format on */

static const char plant[] = SMALL_PLANT;
/* It may cool. */
static const char *const plants[] = {
	SMALL_PLANT, SMALL_PLANT "[channel operating_mode]\ntopic = plant/word\n"};

/* Plausible values and some that are not, so that every flag and rule gets its turn. */
static double random_value(uint64_t *seed, const struct channel_config *channel)
{
	if (channel->map_count)
		return (double)unit_random_between(
			seed, -1, (int64_t)channel->state_count - 1);
	if (channel->role == ROLE_FLOW_RATE || channel->role == ROLE_COMPRESSOR_FREQUENCY)
		return unit_random(seed) % 2
			       ? (double)unit_random_between(seed, 1, 90) / 3
			       : 0.0;
	if (channel->role == ROLE_OUTDOOR_TEMPERATURE)
		return (double)unit_random_between(seed, -20, 12);
	if (channel->dimension == DIMENSION_TEMPERATURE)
		return (double)unit_random_between(seed, 50, 450) / 10;
	return (double)unit_random_between(seed, 0, 3000);
}

static struct reading random_reading(uint64_t *seed, const struct config *config)
{
	uint64_t pick = unit_random(seed) % 100;
	size_t c = unit_random(seed) % config->channel_count;
	struct reading r = {.kind = READING_VALUE,
		.channel = (uint16_t)c,
		.value = random_value(seed, &config->channels[c])};
	if (pick < 5)
		r.kind = READING_NOVALUE;
	else if (pick < 9)
		r.kind = READING_BAD;
	else if (pick < 15)
		r.retained = true;
	else if (pick < 17)
		r.kind = READING_GONE;
	else if (pick < 22)
		r.kind = READING_ALIVE;
	if (r.kind == READING_GONE || r.kind == READING_ALIVE)
		r.channel = (uint16_t)(unit_random(seed) % config->source_count);
	return r;
}

/* Gaps of nothing, seconds, minutes and, seldom, most of an hour. */
static int64_t random_gap_ms(uint64_t *seed)
{
	static const int64_t most[] = {0, 5000, 40000, 200000, 3000000};
	uint64_t pick = unit_random(seed) % 100;
	size_t i = pick < 10 ? 0 : pick < 50 ? 1 : pick < 90 ? 2 : pick < 98 ? 3 : 4;
	return unit_random_between(seed, 0, most[i]);
}

#define READINGS 3000

static void random_readings(
	uint64_t *seed, const struct config *config, struct reading out[static READINGS])
{
	int64_t t_ms = ZERO_MS;
	for (size_t i = 0; i < READINGS; i++) {
		t_ms += random_gap_ms(seed);
		out[i] = random_reading(seed, config);
		out[i].t_ms = t_ms;
	}
}

static void feed_all(struct run *run, const struct reading *readings)
{
	for (size_t i = 0; i < READINGS; i++)
		engine_feed(run->engine, &readings[i]);
	engine_advance(run->engine, readings[READINGS - 1].t_ms + MS_PER_DAY);
}

static struct reading readings[READINGS];

TEST(looking_in_between_changes_no_bit)
{
	uint64_t seed = unit_seed();
	for (int round = 0; round < 20; round++) {
		struct run *plain = run_new(plant), *looked = run_new(plant);
		double heat_w, electricity_w;
		random_readings(&seed, plain->config, readings);
		feed_all(plain, readings);
		for (size_t i = 0; i < READINGS; i++) {
			int64_t t_ms = engine_now_ms(looked->engine);
			while (unit_random(&seed) % 3) {
				t_ms += unit_random_between(&seed, 0, 30000);
				if (t_ms > readings[i].t_ms)
					break;
				engine_advance(looked->engine, t_ms);
				(void)engine_instant(
					looked->engine, &heat_w, &electricity_w);
			}
			engine_feed(looked->engine, &readings[i]);
		}
		for (int64_t t = readings[READINGS - 1].t_ms, end = t + MS_PER_DAY;
			t < end; t += unit_random_between(&seed, 1, 400000))
			engine_advance(looked->engine, t);
		engine_advance(looked->engine, readings[READINGS - 1].t_ms + MS_PER_DAY);
		ck_assert_uint_gt(plain->count, 100);
		expect_same_minutes(plain, looked);
		run_free(plain);
		run_free(looked);
	}
}
END

	/* Saves at the minute before the reading, restores into an engine that was used
	 * for something else. */
	static void
	carry(struct run *run, int64_t minute)
{
	struct buffer state = {0}, again = {0};

	engine_advance(run->engine, minute * MS_PER_MIN);
	engine_save(run->engine, &state);
	struct engine *fresh = engine_new(run->config, run_keep, run);
	engine_start(fresh, 77);
	struct reading other = {
		.t_ms = 77 * MS_PER_MIN, .kind = READING_VALUE, .value = 1};
	engine_feed(fresh, &other);
	ck_assert_int_eq(engine_restore(fresh, minute, state.data, state.length), 0);
	engine_save(fresh, &again);
	ck_assert_uint_eq(again.length, state.length);
	ck_assert_int_eq(memcmp(again.data, state.data, state.length), 0);
	engine_free(run->engine);
	run->engine = fresh;
	buffer_release(&state);
	buffer_release(&again);
}

TEST(a_state_carried_over_any_minute_changes_no_bit)
{
	uint64_t seed = unit_seed();
	for (int round = 0; round < 20; round++) {
		const char *text = plants[round % 2];
		struct run *plain = run_new(text), *carried = run_new(text);
		random_readings(&seed, plain->config, readings);
		feed_all(plain, readings);
		for (size_t i = 0; i < READINGS; i++) {
			int64_t minute = floor_div(readings[i].t_ms, MS_PER_MIN);
			bool can = minute * MS_PER_MIN >= engine_now_ms(carried->engine);
			if (can && unit_random(&seed) % 4 == 0)
				carry(carried, minute);
			engine_feed(carried->engine, &readings[i]);
		}
		for (int64_t n = 1; n < 40; n++)
			carry(carried,
				floor_div(readings[READINGS - 1].t_ms, MS_PER_MIN) + n);
		engine_advance(carried->engine, readings[READINGS - 1].t_ms + MS_PER_DAY);
		expect_same_minutes(plain, carried);
		run_free(plain);
		run_free(carried);
	}
}
END

	static void
	expect_times_within(const struct kept_minute *m, bool seen[static MODE_COUNT])
{
	int64_t ms = 0, heat_ms = 0, meter_ms[2] = {0, 0};
	for (size_t k = 0; k < MODE_COUNT; k++) {
		const struct minute_mode *mode = &m->modes[k];
		seen[k] |= mode->ms > 0;
		ms += mode->ms;
		heat_ms += mode->heat_ms;
		meter_ms[0] += mode->meter_ms[0];
		meter_ms[1] += mode->meter_ms[1];
		ck_assert_int_le(mode->heat_ms, mode->ms);
	}
	ck_assert(ms <= MS_PER_MIN && meter_ms[0] <= ms && meter_ms[1] <= ms);
	ck_assert_uint_eq((m->known & KNOWN_HEAT) != 0, heat_ms == MS_PER_MIN);
	for (unsigned k = 0; k < 2; k++)
		ck_assert_uint_eq(
			(m->known & KNOWN_METER(k)) != 0, meter_ms[k] == MS_PER_MIN);
}

TEST(times_of_modes_and_quantities_stay_within_the_minute)
{
	uint64_t seed = unit_seed();
	bool seen[MODE_COUNT] = {false};

	for (int round = 0; round < 6; round++) {
		struct run *run = run_new(plants[round % 2]);
		random_readings(&seed, run->config, readings);
		feed_all(run, readings);
		for (size_t i = 0; i < run->count; i++) {
			const struct kept_minute *m = &run->minutes[i];
			expect_times_within(m, seen);
			for (size_t c = 0; c < run->config->channel_count; c++)
				ck_assert_int_le(m->channels[c].known_ms, MS_PER_MIN);
			ck_assert(i == 0 || m->minute > m[-1].minute);
		}
		run_free(run);
	}
	for (size_t k = 0; k < MODE_COUNT; k++)
		ck_assert_msg(seen[k], "%s was never reached", mode_name((enum mode)k));
}
END

/* A walk by minutes would take hours, and no reading is needed to see that it did not. */
TEST(quiet_time_costs_nothing_however_long)
{
	struct run *run = run_new(plant);
	says(run, 0, "flow_temperature", 35);
	says(run, 366.0 * 86400, "flow_temperature", 36); /* a year on */
	passes(run, 1e12);                                /* 31,700 years on */
	says(run, 1e12 + 0.5, "flow_temperature", 37);
	passes(run, 1e12 + 3600);
	ck_assert_uint_eq(run->count, 3 * 4 + 1); /* holds end after 4 min */
	ck_assert_int_eq(known_ms(run, 366 * 1440, "flow_temperature"), 60000);
	/* 1e12 s are 40 s past a whole minute. */
	ck_assert_int_eq(known_ms(run, (int64_t)1e12 / 60, "flow_temperature"), 19500);
	ck_assert_int_eq(engine_now_ms(run->engine), at_ms(1e12 + 3600));
	run_free(run);
}
END

TEST(what_is_no_state_is_refused_and_leaves_an_empty_engine)
{
	struct run *run = run_new(plant);
	struct buffer state = {0};

	says(run, 0, "flow_temperature", 35);
	says(run, 0, "compressor_frequency", 50);
	passes(run, 60);
	engine_save(run->engine, &state);
	for (size_t length = 0; length < state.length; length++) {
		/* Its own memory, so that a read past the end is seen. */
		char *cut = xmalloc(length);
		memcpy(cut, state.data, length);
		ck_assert_int_eq(engine_restore(run->engine, 5, cut, length), -EBADMSG);
		ck_assert(engine_quiet(run->engine));
		ck_assert_int_eq(engine_now_ms(run->engine), 5 * MS_PER_MIN);
		free(cut);
	}
	buffer_add(&state, "x", 1);
	ck_assert_int_eq(
		engine_restore(run->engine, 5, state.data, state.length), -EBADMSG);
	state.data[0] = 99; /* another format */
	ck_assert_int_eq(
		engine_restore(run->engine, 5, state.data, state.length - 1), -EBADMSG);
	buffer_release(&state);
	run_free(run);
}
END

	/* Restores the state of one configuration under another. */
	static struct run *
	restored_under(struct run *before, const char *text)
{
	struct buffer state = {0};
	struct run *after = run_new(text);
	engine_save(before->engine, &state);
	ck_assert_int_eq(
		engine_restore(after->engine, engine_now_ms(before->engine) / MS_PER_MIN,
			state.data, state.length),
		0);
	buffer_release(&state);
	return after;
}

TEST(a_state_survives_a_changed_configuration)
{
	struct run *before = run_new(plant);
	says(before, 0, "flow_temperature", 35);
	says(before, 0, "outdoor_temperature", 2);
	says(before, 50, "unit_power", 800);
	passes(before, 60);
	struct run *after = restored_under(before,
		"[plant]\nzone = UTC\n"
		"[source plant]\ntopics = plant/#\n"
		"[channel room_temperature]\ntopic = plant/room\n"
		"[channel outdoor_temperature]\ntopic = plant/outdoor\n"
		"[channel flow_temperature]\ntopic = plant/flow\nstale_after = 2 min\n"
		"[channel unit_power]\ntopic = elsewhere/unit\nunit = W\n");
	passes(after, 3600);
	ck_assert_int_eq(known_ms(after, 1, "room_temperature"), 0);
	ck_assert_int_eq(known_ms(after, 9, "outdoor_temperature"), 60000);
	ck_assert_int_eq(known_ms(after, 10, "outdoor_temperature"), 0);
	ck_assert_int_eq(known_ms(after, 1, "flow_temperature"), 60000);
	ck_assert_int_eq(known_ms(after, 2, "flow_temperature"), 0);
	/* Its source has another name now, of which nothing was heard. */
	ck_assert_int_eq(known_ms(after, 1, "unit_power"), 0);
	run_free(before);
	run_free(after);
}
END

#define ZONES_OF_HEATING(map)                                                            \
	"[plant]\nzone = UTC\n[channel circuit]\ntopic = plant/circuit\nmap = " map "\n"

TEST(a_state_that_the_map_lost_is_not_held_on)
{
	struct run *before =
		run_new(ZONES_OF_HEATING("0:none, 1:floor, 2:attic, 3:both"));
	says(before, 0, "circuit", 3);
	passes(before, 60);
	struct run *after = restored_under(before, ZONES_OF_HEATING("0:none, 1:floor"));
	passes(after, 120);
	ck_assert_uint_eq(after->count, 0);
	run_free(after);
	after = restored_under(
		before, ZONES_OF_HEATING("0:none, 1:floor, 2:attic, 3:both"));
	passes(after, 120);
	ck_assert_double_eq(channel_of(after, 1, "circuit").mean, 3);
	run_free(before);
	run_free(after);
}
END

TEST(a_waiting_state_that_the_map_lost_is_dropped)
{
	struct run *before = run_new(ZONES_OF_HEATING("0:none, 1:floor, 2:attic"));
	retains(before, 0, "circuit", 2);
	passes(before, 60);
	struct run *after = restored_under(before, ZONES_OF_HEATING("0:none, 1:floor"));
	lives(after, 60, "plant");
	passes(after, 120);
	ck_assert_uint_eq(after->count, 0);
	run_free(before);
	run_free(after);
}
END

TESTS(looking_in_between_changes_no_bit, a_state_carried_over_any_minute_changes_no_bit,
	times_of_modes_and_quantities_stay_within_the_minute,
	quiet_time_costs_nothing_however_long,
	what_is_no_state_is_refused_and_leaves_an_empty_engine,
	a_state_survives_a_changed_configuration,
	a_state_that_the_map_lost_is_not_held_on,
	a_waiting_state_that_the_map_lost_is_dropped)
