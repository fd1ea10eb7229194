/*
 * Channels that go along straight lines between their readings: minutes by hand, heat
 * along lines, and what becomes of lines at gaps, ends of holds, corrections, midnights
 * and in a flood.
 *
 * Reference: elementary geometry (a line's mean is that of its ends); heat by many short
 * steps of heat_flow(), which has outside checks of its own. The rules of what a line is
 * drawn between are heatbook's own (daemon/account/between.h).
 */
#include "engine_run.h"

#include <heatbook/heat.h>

#define SAYINGS 9
#define GONE    1e99 /* the source's Will */
#define NOTHING 2e99
#define BAD     3e99
#define STEP    4e99 /* the clock steps forward */

#define CHANNEL                                                                          \
	"[plant]\nzone = UTC\n[channel x]\ntopic = h/x\nunit = °C\nextremes = yes\n"
#define LINE CHANNEL "between = line\nperiod = 20 s\n"

struct saying {
	double at_s, value;
};

/* Minutes `n` of `x`: how long it is known, its mean and its extremes. */
static const struct {
	const char *name, *conf;
	struct saying sayings[SAYINGS];
	int64_t n, known_ms;
	double mean, least, most;
} cases[] = {
	{"up and down", LINE, {{0, 20}, {20, 26}, {40, 20}, {60, 20}}, 0, 60000,
		(23 * 20 + 23 * 20 + 20 * 20) / 60.0, 20, 26},
	{"what is said at one instant: the last counts", LINE,
		{{0, 10}, {20, 99}, {20, 30}, {60, 30}}, 0, 60000,
		(20 * 20 + 30 * 40) / 60.0, 10, 30},
	{"before a minute's edge", LINE, {{50, 10}, {70, 30}, {90, 30}}, 0, 10000, 15, 10,
		20},
	{"behind it", LINE, {{50, 10}, {70, 30}, {90, 30}, {120, 30}}, 1, 60000,
		(25 * 10 + 30 * 50) / 60.0, 20, 30},
	{"through a whole minute", CHANNEL "between = line\nperiod = 1 min\n",
		{{30, 0}, {180, 150}}, 1, 60000, 60, 30, 90},
	{"two readings missing", LINE, {{0, 20}, {60, 80}}, 0, 60000, 50, 20, 80},
	{"three missing: it holds", LINE, {{0, 20}, {60.001, 80}}, 0, 60000, 20, 20, 20},
	{"no successor: it holds", LINE, {{0, 20}, {20, 30}}, 1, 60000, 30, 30, 30},
	{"up to its limit", LINE "stale_after = 90 s\n", {{0, 20}, {20, 30}}, 1, 50000,
		30, 30, 30},
	{"a limit below three periods", LINE "stale_after = 30 s\n", {{0, 20}, {40, 80}},
		0, 50000, (20 * 30 + 80 * 20) / 50.0, 20, 80},
	{"the limit to the millisecond", LINE "stale_after = 30 s\n",
		{{0, 20}, {30, 80}, {60, 80}}, 0, 60000, (50 * 30 + 80 * 30) / 60.0, 20,
		80},
	{"a message that was not understood", LINE,
		{{0, 20}, {20, BAD}, {40, 60}, {60, 60}}, 0, 60000,
		(40 * 40 + 60 * 20) / 60.0, 20, 60},
	{"who says that he does not know ends no line", LINE,
		{{0, 20}, {20, NOTHING}, {40, 60}, {60, 60}}, 0, 40000, 40, 20, 60},
	{"a source that is gone", LINE, {{0, 20}, {10, GONE}, {20, 60}, {60, 60}}, 0,
		50000, (20 * 10 + 60 * 40) / 50.0, 20, 60},
	{"gone at the second reading's instant", LINE,
		{{0, 20}, {20, GONE}, {20, 60}, {60, 60}}, 0, 60000,
		(40 * 20 + 60 * 40) / 60.0, 20, 60},
	{"a clock that steps", LINE, {{0, 20}, {10, STEP}, {20, 60}, {60, 60}}, 0, 50000,
		(20 * 10 + 60 * 40) / 50.0, 20, 60},
	{"a word of a failing thermometer", LINE, {{0, 20}, {20, 85}, {40, 22}, {60, 22}},
		0, 40000, (20 + 22) / 2.0, 20, 22},
	{"which comes true", LINE, {{0, 20}, {20, 85}, {40, 85}, {60, 85}}, 0, 40000,
		(20 + 85) / 2.0, 20, 85},
	{"beginning and end of a correction",
		LINE "[correction a]\nchannel = x\nfactor = 2\noffset = 5\n"
		     "from = 2026-01-01T00:00:10Z\nto = 2026-01-01T00:00:20Z\n",
		{{0, 20}, {40, 60}, {60, 60}}, 0, 60000,
		(25 * 10 + (35 * 2 + 5) * 10 + 50 * 20 + 60 * 20) / 60.0, 20, 85},
	{"one that leaves the first reading as it is",
		LINE "[correction a]\nchannel = x\nfactor = 2\noffset = -20\n"
		     "from = 2026-01-01T00:00:20Z\n",
		{{0, 20}, {40, 60}}, 0, 60000, (30 * 20 + 80 * 20 + 100 * 20) / 60.0, 20,
		100},
	{"without lines", CHANNEL, {{0, 20}, {20, 26}, {40, 20}, {60, 20}}, 0, 60000, 22,
		20, 26},
};

/* How long a line may be, and that rows are of another mapping for it. */
TEST(a_line_takes_three_periods_or_the_limit)
{
	static const struct {
		const char *lines;
		int64_t line_ms, lag_min;
	} wanted[] = {
		{"", 0, 0},
		{"stale_after = 50 s\n", 0, 0},
		{"between = line\nperiod = 20 s\n", 60000, 1},
		{"between = line\nperiod = 21 s\n", 63000, 2},
		{"between = line\nperiod = 20 s\nstale_after = 50 s\n", 50000, 1},
		{"between = line\nperiod = 5 min\nstale_after = none\n", 900000, 15},
	};
	uint64_t digests[ARRAY_LEN(wanted)];
	for (size_t i = 0; i < ARRAY_LEN(wanted); i++) {
		_cleanup_(freep) char *text = xasprintf("%s%s", CHANNEL, wanted[i].lines);
		struct config *config = configured(text);
		ck_assert_int_eq(config->channels[0].line_ms, wanted[i].line_ms);
		ck_assert_int_eq(engine_lag_min(config), wanted[i].lag_min);
		digests[i] = config->mapping_digest;
		for (size_t k = 0; k < i; k++)
			ck_assert_uint_ne(digests[i], digests[k]);
		config_free(config);
	}
}
END

	static void
	say(struct run *run, const struct saying *s)
{
	if (s->value == GONE)
		goes(run, s->at_s, "h");
	else if (s->value == NOTHING)
		says_nothing(run, s->at_s, "x");
	else if (s->value == BAD)
		says_badly(run, s->at_s, "x");
	else if (s->value == STEP)
		steps(run, s->at_s, 1);
	else
		says(run, s->at_s, "x", s->value);
}

TEST(minutes_along_lines_are_as_by_hand)
{
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct run *run = run_new(cases[i].conf);
		for (size_t k = 0;
			k == 0 || (k < SAYINGS && cases[i].sayings[k].at_s > 0); k++)
			say(run, &cases[i].sayings[k]);
		passes(run, 3600);
		struct minute_channel x = channel_of(run, cases[i].n, "x");
		ck_assert_msg(x.known_ms == cases[i].known_ms, "%s: %lld ms",
			cases[i].name, (long long)x.known_ms);
		ck_assert_msg(fabs(x.mean - cases[i].mean) < 1e-9, "%s: %f, not %f",
			cases[i].name, x.mean, cases[i].mean);
		ck_assert_msg(fabs(x.least - cases[i].least) < 1e-9, "%s: least %f",
			cases[i].name, x.least);
		ck_assert_msg(fabs(x.most - cases[i].most) < 1e-9, "%s: most %f",
			cases[i].name, x.most);
		run_free(run);
	}
}
END

/* What a row covers has the value all of that time. */
TEST(rows_that_cover_an_interval_are_no_points_of_a_line)
{
	struct run *run = run_new(LINE "[table t]\ninterval = 20 s\ncolumn.x = a\n"
				       "[table log]\ncolumn.x = a\n");
	static const struct {
		double at_s, value, covers_s;
		const char *table;
	} rows[] = {{0, 10, 20, "t"}, {20, 20, 20, "t"}, {40, 30, 20, "t"},
		{60, 40, 0, "log"}, {80, 60, 0, "log"}, {100, 60, 20, "t"}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct reading r = {.t_ms = at_ms(rows[i].at_s),
			.value = rows[i].value,
			.kind = READING_VALUE,
			.exact_ms = (uint32_t)(rows[i].covers_s * 1000),
			.table = (uint8_t)(1 + source_named(run->config, rows[i].table))};
		engine_feed(run->engine, &r);
	}
	passes(run, 3600);
	ck_assert_double_eq_tol(channel_of(run, 0, "x").mean, 20, 1e-9);
	/* A line between the log's two; the second holds up to the table's. */
	ck_assert_double_eq_tol(
		channel_of(run, 1, "x").mean, (50 * 20 + 60 * 20 + 60 * 20) / 60.0, 1e-9);
	run_free(run);
}
END

	/* ---- heat ---- */

	static const char house[] =
		"[plant]\nzone = UTC\npressure = 2 bar\n"
		"[channel flow_temperature]\ntopic = h/f\nbetween = line\nperiod = 20 s\n"
		"[channel return_temperature]\ntopic = h/r\nbetween = line\nperiod = 1 "
		"min\n"
		"[channel flow_rate]\ntopic = h/l\n"
		"[channel compressor_frequency]\ntopic = h/c\n"
		"[channel valve]\ntopic = h/v\n"
		"[channel defrost]\ntopic = h/d\n";

/* Two instants of a piece tell its heat; what enthalpy bends more is lost, here over 18
 * K. */
#define HEAT_WITHIN 1e-5

static double between(double from_s, double from, double to_s, double to, double at_s)
{
	return from + (to - from) * (at_s - from_s) / (to_s - from_s);
}

/* The flow from 45 °C at 0 s to 5 °C at 20 s, the return from 30 °C at 0 s to 24 °C at 60
 * s. */
static double heat_j(double from_s, double to_s, double lpm, double *ret_j_per_k)
{
	const struct heat_setting setting = {
		.mixture = mixture_of(FLUID_WATER, 0), .flow_sensor_pipe = PIPE_RETURN};
	const int steps = 20000;
	double j = 0, sensitivity = 0, w, w_per_k, step_s = (to_s - from_s) / steps;
	for (int i = 0; i < steps; i++) {
		double at_s = from_s + (i + 0.5) * step_s;
		heat_flow(&setting, lpm, between(0, 45, 20, 5, at_s),
			between(0, 30, 60, 24, at_s), 2.0, &w, &w_per_k);
		j += w * step_s;
		sensitivity += w_per_k * step_s;
	}
	*ret_j_per_k = sensitivity;
	return j;
}

/* A defrost that begins in the midst of a line, and a flow that changes there: each has
 * its own part of it. */
TEST(heat_is_that_of_the_line_at_every_instant)
{
	struct run *run = run_new(house);
	double j_per_k, more_j_per_k;
	says(run, 0, "valve", 0);
	says(run, 0, "compressor_frequency", 50);
	says(run, 0, "defrost", 0);
	says(run, 0, "flow_rate", 15);
	says(run, 0, "flow_temperature", 45);
	says(run, 0, "return_temperature", 30);
	says(run, 6, "defrost", 1);
	says(run, 11, "flow_rate", 8);
	says(run, 20, "flow_temperature", 5);
	says(run, 20, "flow_rate", 0);
	says(run, 40, "flow_temperature", 5);
	says(run, 60, "return_temperature", 24);
	passes(run, 600);
	struct minute_mode heating = mode_of(run, 0, MODE_HEATING);
	struct minute_mode defrost = mode_of(run, 0, MODE_DEFROST);
	expect_near(heating.heat_j, heat_j(0, 6, 15, &j_per_k), HEAT_WITHIN);
	expect_near(heating.sensitivity_j_per_k, j_per_k, HEAT_WITHIN);
	double j = heat_j(6, 11, 15, &j_per_k) + heat_j(11, 20, 8, &more_j_per_k);
	expect_near(defrost.heat_j, j, HEAT_WITHIN);
	expect_near(defrost.sensitivity_j_per_k, j_per_k + more_j_per_k, HEAT_WITHIN);
	ck_assert_int_eq(heating.heat_ms, 6000);
	ck_assert_int_eq(defrost.heat_ms, 54000);
	run_free(run);
}
END

/* ---- random ---- */

#define READINGS 400

	/* Readings of three days, close together about each midnight and now and then
	 * elsewhere: of the house's channels, with words that tell nothing and a source
	 * that goes. */
	static void
	random_readings(uint64_t *seed, const struct config *config,
		struct reading readings[static READINGS])
{
	int64_t t_ms = ZERO_MS + 23 * MS_PER_HOUR + 50 * MS_PER_MIN;
	for (size_t i = 0; i < READINGS; i++) {
		struct reading *r = &readings[i];
		int64_t day_ms = t_ms - floor_div(t_ms, MS_PER_DAY) * MS_PER_DAY;
		if (day_ms > 10 * MS_PER_MIN && day_ms < 20 * MS_PER_MIN)
			t_ms += 23 * MS_PER_HOUR + 40 * MS_PER_MIN;
		int64_t most_ms = unit_random(seed) % 20 == 0 ? 200000 : 16000;
		t_ms += unit_random(seed) % 10 == 0
				? 0
				: unit_random_between(seed, 1, most_ms);
		*r = (struct reading){.t_ms = t_ms,
			.channel = (uint16_t)(unit_random(seed) % 3),
			.value = (double)unit_random_between(seed, 200, 500) / 10,
			.kind = READING_VALUE};
		switch (unit_random(seed) % 20) {
		case 0:
			r->kind = READING_NOVALUE;
			break;
		case 1:
			r->kind = READING_BAD;
			break;
		case 2:
			r->kind = READING_GONE;
			r->channel = 0;
			break;
		case 3:
			r->channel =
				(uint16_t)(unit_random(seed) % config->channel_count);
			r->value = (double)(unit_random(seed) % 2);
			break;
		default:
			break;
		}
	}
}

TEST(whoever_looks_changes_no_bit)
{
	static struct reading readings[READINGS];
	uint64_t seed = unit_seed();
	for (int round = 0; round < 20; round++) {
		struct run *plain = run_new(house), *looked = run_new(house);
		random_readings(&seed, plain->config, readings);
		for (size_t i = 0; i < READINGS; i++) {
			engine_feed(plain->engine, &readings[i]);
			for (int64_t n = unit_random_between(&seed, 0, 3); n > 0; n--) {
				int64_t now_ms = engine_now_ms(looked->engine);
				engine_advance(
					looked->engine, unit_random_between(&seed, now_ms,
								readings[i].t_ms));
			}
			for (int64_t n = unit_random_between(&seed, 1, 2); n > 0; n--)
				engine_feed(looked->engine, &readings[i]);
		}
		int64_t end_ms = readings[READINGS - 1].t_ms + MS_PER_DAY;
		engine_advance(plain->engine, end_ms);
		engine_advance(looked->engine, end_ms);
		ck_assert_uint_gt(plain->count, 50);
		expect_same_minutes(plain, looked);
		run_free(plain);
		run_free(looked);
	}
}
END

	/* Feeds a day by the state that it begins with, and what is needed of the next;
	 * answers the state that it ends with. Of both days' minutes only the day's are
	 * kept. */
	static void
	make_day(struct run *run, const struct reading readings[static READINGS],
		int64_t day, struct buffer *state)
{
	int64_t end_ms = (day + 1) * MS_PER_DAY, lag_min = engine_lag_min(run->config);
	size_t kept = run->count;
	bool quiet, ended = false;
	ck_assert_int_eq(engine_restore(run->engine, day * MIN_PER_DAY, state->data,
				 state->length),
		0);
	for (size_t i = 0; i < READINGS; i++) {
		const struct reading *r = &readings[i];
		if (r->t_ms < day * MS_PER_DAY ||
			r->t_ms >= end_ms + lag_min * MS_PER_MIN)
			continue;
		if (r->t_ms >= end_ms && !ended)
			engine_advance(run->engine, end_ms);
		ended |= r->t_ms >= end_ms;
		engine_feed(run->engine, r);
	}
	if (!ended)
		engine_advance(run->engine, end_ms);
	engine_advance(run->engine, end_ms + lag_min * MS_PER_MIN);
	while (kept < run->count && run->minutes[kept].minute < (day + 1) * MIN_PER_DAY)
		kept++;
	for (size_t i = kept; i < run->count; i++)
		free(run->minutes[i].channels);
	run->count = kept;
	buffer_reset(state);
	ck_assert(engine_midnight(run->engine, day + 1, state, &quiet));
}

TEST(a_day_follows_from_the_state_at_its_midnight_and_what_is_near_the_next)
{
	static struct reading readings[READINGS];
	uint64_t seed = unit_seed();
	for (int round = 0; round < 20; round++) {
		struct run *plain = run_new(house), *days = run_new(house);
		struct buffer state = {0}, other = {0};
		bool quiet;
		random_readings(&seed, plain->config, readings);
		int64_t first = ZERO_MS / MS_PER_DAY;
		int64_t last = readings[READINGS - 1].t_ms / MS_PER_DAY + 1;
		size_t at = 0;
		engine_save(days->engine, &state);
		for (int64_t day = first; day <= last; day++) {
			int64_t end_ms = (day + 1) * MS_PER_DAY;
			make_day(days, readings, day, &state);
			while (at < READINGS && readings[at].t_ms < end_ms)
				engine_feed(plain->engine, &readings[at++]);
			engine_advance(plain->engine, end_ms);
		}
		engine_advance(plain->engine, (last + 2) * MS_PER_DAY);
		ck_assert(engine_midnight(plain->engine, last + 1, &other, &quiet));
		ck_assert(buffer_equal(&state, &other));
		expect_same_minutes(plain, days);
		buffer_release(&state);
		buffer_release(&other);
		run_free(plain);
		run_free(days);
	}
}
END

/* ---- how much waits ---- */

/* In a minute with too many readings values hold from then on, whoever asks meanwhile;
 * rows come as late as ever. */
TEST(in_a_flood_values_hold)
{
	struct run *plain = run_new(LINE "[channel y]\ntopic = h/y\n");
	struct run *looked = run_new(LINE "[channel y]\ntopic = h/y\n");
	for (int k = 0; k < 2; k++) {
		struct run *run = k ? looked : plain;
		says(run, 0, "x", 0);
		says(run, 20, "x", 20);
		for (int i = 0; i < 20000; i++) {
			if (k && i % 7 == 0)
				passes(run, 20.001 + i * 0.001);
			says(run, 20.001 + i * 0.001, "y", i);
		}
		ck_assert_int_eq(engine_rows_end(run->engine), ZERO_MIN);
		says(run, 60, "x", 60);
		says(run, 80, "x", 80);
		passes(run, 600);
	}
	/* Up to 20 s a line, then 20 °C: the line to 60 s would have begun before. */
	ck_assert_double_eq_tol(
		channel_of(plain, 0, "x").mean, (10 * 20 + 20 * 40) / 60.0, 1e-9);
	ck_assert_double_eq_tol(
		channel_of(plain, 1, "x").mean, (70 * 20 + 80 * 40) / 60.0, 1e-9);
	expect_same_minutes(plain, looked);
	run_free(plain);
	run_free(looked);
}
END

TEST(the_present_is_what_was_said_last)
{
	struct run *run = run_new(LINE);
	struct buffer state = {0};
	double value;
	int64_t t_ms;
	says(run, 0, "x", 20);
	says(run, 50, "x", 30);
	passes(run, 60);
	ck_assert(engine_channel(run->engine, 0, &value, &t_ms));
	ck_assert_double_eq(value, 30);
	ck_assert_int_eq(t_ms, at_ms(50));
	struct engine *present = engine_new_holding(run->config, NULL, NULL);
	engine_save_present(run->engine, &state);
	ck_assert_int_eq(
		engine_restore(present, ZERO_MIN + 1, state.data, state.length), 0);
	ck_assert(engine_channel(present, 0, &value, &t_ms));
	ck_assert_double_eq(value, 30);
	ck_assert_int_eq(engine_lag_min(run->config), 1);
	ck_assert_int_eq(engine_rows_end(run->engine), ZERO_MIN);
	engine_free(present);
	buffer_release(&state);
	run_free(run);
}
END

/* Who goes behind counts once, and later; who goes ahead counts nothing. */
#define COUNTED                                                                          \
	"[channel i]\ntopic = h/i\nunit = kWh\n[channel r]\ntopic = h/r\nunit = kWh\n"   \
	"[meter a]\nfeeds = compressor\nregister = i\nkind = increment\n"                \
	"[meter b]\nfeeds = circulation\nregister = r\n"                                 \
	"[table t]\ninterval = 15 min\ncolumn.i = a\n"

	static void
	add_joules(const struct settlement *settlement, void *context)
{
	double *sum = context;
	*sum += (double)settlement->j * (double)(settlement->made_ms - ZERO_MS);
}

static double counted(const char *conf)
{
	struct run *run = run_new(conf);
	double sum = 0;
	engine_on_settlement(run->engine, add_joules, &sum);
	for (int quarter = 0; quarter < 12; quarter++) {
		double at_s = quarter * 900.0;
		struct reading row = {.t_ms = at_ms(at_s),
			.value = 0.25,
			.channel = (uint16_t)channel_named(run->config, "i"),
			.kind = READING_VALUE,
			.exact_ms = 900000,
			.table = (uint8_t)(1 + source_named(run->config, "t"))};
		engine_feed(run->engine, &row);
		for (int k = 0; k < 45; k++) {
			says(run, at_s + 1 + k * 20, "x", 20 + k % 7);
			says(run, at_s + 2 + k * 20, "r", quarter + k * 0.02);
		}
	}
	passes(run, 86400);
	run_free(run);
	return sum;
}

TEST(what_registers_count_is_the_same_beside_lines)
{
	double held = counted(CHANNEL COUNTED);
	ck_assert_double_gt(held, 0);
	ck_assert_double_eq(counted(LINE COUNTED), held);
}
END

/* Where nothing holds and nothing waits, the state at a midnight is known at once. */
TEST(after_a_silence_nothing_waits)
{
	struct run *run = run_new(LINE);
	struct buffer state = {0};
	bool quiet = false;
	says(run, 0, "x", 20);
	passes(run, 86400);
	ck_assert(engine_quiet(run->engine));
	ck_assert(engine_midnight(run->engine, ZERO_MS / MS_PER_DAY + 1, &state, &quiet));
	ck_assert(quiet);
	says(run, 86410, "x", 20);
	ck_assert(!engine_quiet(run->engine));
	passes(run, 2 * 86400); /* its source counts as silent after ten minutes */
	ck_assert_uint_eq(run->count, 10 + 11);
	buffer_release(&state);
	run_free(run);
}
END

TESTS(a_line_takes_three_periods_or_the_limit, minutes_along_lines_are_as_by_hand,
	rows_that_cover_an_interval_are_no_points_of_a_line,
	heat_is_that_of_the_line_at_every_instant, whoever_looks_changes_no_bit,
	a_day_follows_from_the_state_at_its_midnight_and_what_is_near_the_next,
	what_registers_count_is_the_same_beside_lines, in_a_flood_values_hold,
	the_present_is_what_was_said_last,
	after_a_silence_nothing_waits)
