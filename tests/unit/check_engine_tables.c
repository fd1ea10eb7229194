/*
 * How long the rows of a table hold: just what they cover, or as messages do while their
 * table goes on; whatever the life of the channel's own source. And that a carried state
 * knows it.
 *
 * Reference: the rules of holds are heatbook's own (engine.h, semantics of [table]).
 */
#include "engine_run.h"

static const char conf[] = "[plant]\nzone = UTC\n"
			   "[source plant]\ntopics = plant/#\n"
			   "[channel room]\ntopic = plant/room\nunit = °C\n"
			   "stale_after = 5 min\n"
			   "[channel valve]\ntopic = plant/valve\n"
			   "[table hour]\ninterval = 1 h\ncolumn.room = a\n"
			   "[table log]\ncolumn.room = a\ncolumn.valve = b\n";

/* A row of that table; `covers_s` 0: it holds as a message does. */
static void tells(struct run *run, double at_s, const char *table, const char *channel,
	double value, double covers_s)
{
	struct reading reading = {.t_ms = at_ms(at_s),
		.value = value,
		.channel = (uint16_t)channel_named(run->config, channel),
		.kind = READING_VALUE,
		.exact_ms = (uint32_t)(covers_s * 1000),
		.table = (uint8_t)(1 + source_named(run->config, table))};
	engine_feed(run->engine, &reading);
}

TEST(what_a_row_covers_bounds_it_and_nothing_else)
{
	struct run *run = run_new(conf);
	tells(run, 0, "hour", "room", 20, 3600);
	goes(run, 1800, "plant"); /* is no business of the table's */
	passes(run, 7200);
	ck_assert_int_eq(known_ms(run, 0, "room"), 60000);
	ck_assert_int_eq(known_ms(run, 59, "room"), 60000);
	ck_assert_int_eq(known_ms(run, 60, "room"), 0);
	ck_assert_uint_eq(run->count, 60);
	run_free(run);
}
END

TEST(rows_that_follow_each_other_leave_no_gap)
{
	struct run *run = run_new(conf);
	tells(run, 0, "hour", "room", 20, 90);
	tells(run, 90, "hour", "room", 22, 90);
	tells(run, 180, "hour", "room", 24, 30);
	passes(run, 600);
	ck_assert_double_eq(channel_of(run, 1, "room").mean, 21);
	ck_assert_int_eq(known_ms(run, 2, "room"), 60000);
	ck_assert_double_eq(channel_of(run, 3, "room").mean, 24);
	ck_assert_int_eq(known_ms(run, 3, "room"), 30000);
	ck_assert_uint_eq(run->count, 4);
	run_free(run);
}
END

TEST(a_table_lives_by_its_rows)
{
	struct run *run = run_new(conf);
	tells(run, 0, "log", "valve", 1, 0);
	tells(run, 300, "log", "room", 20, 0); /* so the valve holds on */
	passes(run, 3600);
	ck_assert_int_eq(known_ms(run, 14, "valve"), 60000);
	ck_assert_int_eq(known_ms(run, 15, "valve"), 0); /* silent for 10 min */
	ck_assert_int_eq(known_ms(run, 9, "room"), 60000);
	ck_assert_int_eq(known_ms(run, 10, "room"), 0); /* its own limit, 5 min */
	run_free(run);
}
END

/* A message of the channel's own topic takes over, and the other way round. */
TEST(the_last_word_bounds_the_hold)
{
	struct run *run = run_new(conf);
	tells(run, 0, "log", "valve", 1, 0);
	says(run, 60, "valve", 0);
	lives(run, 600, "plant");
	passes(run, 3600);
	ck_assert_int_eq(known_ms(run, 19, "valve"), 60000);
	ck_assert_int_eq(known_ms(run, 20, "valve"), 0);
	says(run, 3600, "valve", 0);
	tells(run, 3660, "log", "valve", 1, 0);
	goes(run, 3720, "plant");
	passes(run, 7200);
	ck_assert_int_eq(known_ms(run, 70, "valve"), 60000);
	ck_assert_int_eq(known_ms(run, 71, "valve"), 0);
	run_free(run);
}
END

	/* The same minutes, whether the state was carried over at `at_min` or not. */
	static void
	carry_over(int64_t at_min)
{
	struct run *whole = run_new(conf), *cut = run_new(conf);
	struct buffer state = {0};
	for (int pass = 0; pass < 2; pass++) {
		struct run *run = pass ? cut : whole;
		tells(run, 0, "hour", "room", 20, 3600);
		tells(run, 30, "log", "valve", 1, 0);
		says(run, 60, "valve", 0);
		tells(run, 90, "log", "valve", 1, 0);
	}
	passes(cut, (double)at_min * 60);
	engine_save(cut->engine, &state);
	ck_assert_int_eq(
		engine_restore(cut->engine, ZERO_MIN + at_min, state.data, state.length),
		0);
	passes(whole, 7200);
	passes(cut, 7200);
	expect_same_minutes(whole, cut);
	buffer_release(&state);
	run_free(whole);
	run_free(cut);
}

TEST(a_carried_state_knows_what_bounds_its_holds)
{
	for (int64_t at_min = 2; at_min < 70; at_min++)
		carry_over(at_min);
}
END

TEST(a_hold_ends_with_the_section_of_its_table)
{
	static const char without[] = "[plant]\nzone = UTC\n"
				      "[source plant]\ntopics = plant/#\n"
				      "[channel room]\ntopic = plant/room\nunit = °C\n"
				      "[channel valve]\ntopic = plant/valve\n";
	struct run *run = run_new(conf), *later = run_new(without);
	struct buffer state = {0};
	tells(run, 0, "log", "valve", 1, 0);
	tells(run, 0, "hour", "room", 20, 3600);
	passes(run, 120);
	engine_save(run->engine, &state);
	ck_assert_int_eq(
		engine_restore(later->engine, ZERO_MIN + 2, state.data, state.length), 0);
	passes(later, 7200);
	ck_assert_int_eq(known_ms(later, 2, "valve"), 0);
	ck_assert_int_eq(known_ms(later, 59, "room"), 60000); /* it said how long */
	ck_assert_int_eq(known_ms(later, 60, "room"), 0);
	buffer_release(&state);
	run_free(run);
	run_free(later);
}
END

TESTS(what_a_row_covers_bounds_it_and_nothing_else,
	rows_that_follow_each_other_leave_no_gap, a_table_lives_by_its_rows,
	the_last_word_bounds_the_hold, a_carried_state_knows_what_bounds_its_holds,
	a_hold_ends_with_the_section_of_its_table)
