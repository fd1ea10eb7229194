/*
 * Readings into minutes, by hand-made cases: what holds until when, what waits, what is
 * known of a channel's minute. What is made of it is in check_accountant.c, laws over
 * random readings are in check_engine_laws.c.
 *
 * Reference: the rules of holds are heatbook's own (engine.h).
 */
#include "engine_run.h"

/* A plain gauge beside a state, both of the source "plant" that is silent after 10 min.
 */
static const char gauges[] = "[plant]\nzone = UTC\n"
			     "[source plant]\ntopics = plant/#\nwill_topic = plant/will\n"
			     "[channel room]\ntopic = plant/room\nunit = °C\n"
			     "stale_after = 5 min\nextremes = yes\n"
			     "[channel outside]\ntopic = plant/outside\nunit = °C\n"
			     "stale_after = none\n"
			     "[channel valve]\ntopic = plant/valve\n"
			     "[channel meter]\ntopic = other/meter\nunit = W\n"
			     "[channel stamped]\ntopic = plant/stamped\nunit = °C\n"
			     "time = payload\ntime_pointer = /t\npointer = /v\n";

TEST(a_value_holds_until_the_next_one)
{
	struct run *run = run_new(gauges);
	says(run, 0, "room", 40);
	says(run, 45, "room", 50);
	passes(run, 120);
	struct minute_channel first = channel_of(run, 0, "room");
	ck_assert_int_eq(first.known_ms, 60000);
	ck_assert_double_eq(first.mean, (40 * 45 + 50 * 15) / 60.0);
	ck_assert_double_eq(channel_of(run, 1, "room").mean, 50);
	run_free(run);
}
END

TEST(of_equal_times_the_last_word_counts)
{
	struct run *run = run_new(gauges);
	says(run, 0, "room", 40);
	says(run, 30, "room", 70);
	says(run, 30, "room", 20);
	passes(run, 60);
	ck_assert_double_eq(channel_of(run, 0, "room").mean, 30);
	ck_assert_double_eq(channel_of(run, 0, "room").most, 40);
	run_free(run);
}
END

TEST(a_hold_ends_at_its_limit_to_the_millisecond)
{
	static const struct {
		double at_s;
		int64_t known_ms[8]; /* of minutes 0 … 7 */
	} rows[] = {
		{0, {60000, 60000, 60000, 60000, 60000}},
		{0.001, {59999, 60000, 60000, 60000, 60000, 1}},
		{30, {30000, 60000, 60000, 60000, 60000, 30000}},
		{59.999, {1, 60000, 60000, 60000, 60000, 59999}},
		{60, {0, 60000, 60000, 60000, 60000, 60000}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct run *run = run_new(gauges);
		says(run, rows[i].at_s, "room", 21);
		passes(run, 600);
		for (int64_t n = 0; n < 8; n++)
			ck_assert_msg(known_ms(run, n, "room") == rows[i].known_ms[n],
				"at %g s: minute %lld knows %lld ms", rows[i].at_s,
				(long long)n, (long long)known_ms(run, n, "room"));
		run_free(run);
	}
}
END

TEST(a_reading_at_the_very_limit_leaves_no_gap)
{
	struct run *run = run_new(gauges);
	says(run, 0, "room", 20);
	says(run, 300, "room", 30);
	passes(run, 360);
	ck_assert_int_eq(known_ms(run, 4, "room"), 60000);
	ck_assert_double_eq(channel_of(run, 5, "room").mean, 30);
	run_free(run);
}
END

TEST(a_silent_source_ends_its_holds)
{
	struct run *run = run_new(gauges);
	says(run, 1, "outside", 5);
	passes(run, 3600);
	ck_assert_int_eq(known_ms(run, 9, "outside"), 60000);
	ck_assert_int_eq(known_ms(run, 10, "outside"), 1000);
	ck_assert_ptr_null(minute_of(run, 11));
	ck_assert(engine_quiet(run->engine));
	run_free(run);
}
END

TEST(every_sign_of_life_pushes_the_silence_back)
{
	struct run *run = run_new(gauges);
	says(run, 0, "outside", 5);
	lives(run, 300, "plant");
	says_badly(run, 800, "room"); /* not understood, but it lives */
	says(run, 1300, "room", 21);
	says_nothing(run, 1800, "room");
	lives(run, 1800, "other"); /* another source's life is nothing to it */
	passes(run, 7200);
	ck_assert_int_eq(known_ms(run, 39, "outside"), 60000);
	ck_assert_ptr_null(minute_of(run, 40));
	run_free(run);
}
END

TEST(a_retained_message_is_no_sign_of_life)
{
	struct run *run = run_new(gauges);
	says(run, 0, "outside", 5);
	retains(run, 599, "valve", VALVE_HEATING);
	passes(run, 7200);
	ck_assert_int_eq(known_ms(run, 9, "valve"), 1000);
	ck_assert_ptr_null(minute_of(run, 10));
	run_free(run);
}
END

TEST(a_source_that_is_gone_ends_its_holds_at_once)
{
	struct run *run = run_new(gauges);
	says(run, 0, "outside", 5);
	says(run, 0, "meter", 100);
	goes(run, 90, "plant");
	lives(run, 100, "plant"); /* what held before does not come back */
	says(run, 130, "outside", 6);
	passes(run, 240);
	ck_assert_int_eq(known_ms(run, 1, "outside"), 30000);
	ck_assert_int_eq(known_ms(run, 2, "outside"), 50000);
	ck_assert_double_eq(channel_of(run, 2, "outside").mean, 6);
	ck_assert_int_eq(known_ms(run, 1, "meter"), 60000);
	run_free(run);
}
END

TEST(no_value_ends_a_hold_and_a_bad_one_does_not)
{
	struct run *run = run_new(gauges);
	says(run, 0, "room", 20);
	says(run, 0, "outside", 5);
	says_nothing(run, 20, "room");
	says_badly(run, 20, "outside");
	passes(run, 120);
	ck_assert_int_eq(known_ms(run, 0, "room"), 20000);
	ck_assert_int_eq(known_ms(run, 1, "room"), 0);
	ck_assert_int_eq(known_ms(run, 1, "outside"), 60000);
	run_free(run);
}
END

TEST(a_retained_state_counts_from_its_moment_while_the_source_lives)
{
	struct run *run = run_new(gauges);
	says(run, 0, "outside", 5);
	retains(run, 15, "valve", VALVE_HOT_WATER);
	passes(run, 60);
	ck_assert_int_eq(known_ms(run, 0, "valve"), 45000);
	ck_assert_double_eq(channel_of(run, 0, "valve").mean, VALVE_HOT_WATER);
	run_free(run);
}
END

TEST(a_retained_state_waits_for_its_source)
{
	struct run *run = run_new(gauges);
	retains(run, 0, "valve", VALVE_HOT_WATER); /* nothing heard yet */
	passes(run, 60);
	ck_assert_uint_eq(run->count, 0);
	lives(run, 80, "plant");
	passes(run, 120);
	ck_assert_int_eq(known_ms(run, 1, "valve"), 40000);
	passes(run, 3600); /* silent */
	retains(run, 3600, "valve", VALVE_HEATING);
	says(run, 3630, "outside", 5);
	passes(run, 3660);
	ck_assert_int_eq(known_ms(run, 60, "valve"), 30000);
	ck_assert_double_eq(channel_of(run, 60, "valve").mean, VALVE_HEATING);
	run_free(run);
}
END

TEST(a_waiting_state_is_forgotten_for_better_or_no_knowledge)
{
	struct run *run = run_new(gauges);
	retains(run, 0, "valve", VALVE_HOT_WATER);
	goes(run, 10, "plant");
	lives(run, 20, "plant");
	ck_assert(engine_quiet(run->engine));
	goes(run, 30, "plant");
	retains(run, 40, "valve", VALVE_HOT_WATER);
	says(run, 50, "valve", VALVE_HEATING);
	goes(run, 60, "plant");
	retains(run, 70, "valve", VALVE_HOT_WATER);
	feed(run, READING_NOVALUE, channel_named(run->config, "valve"), true, 80, 0);
	lives(run, 90, "plant");
	ck_assert(engine_quiet(run->engine));
	passes(run, 120);
	ck_assert_double_eq(channel_of(run, 0, "valve").mean, VALVE_HEATING);
	ck_assert_int_eq(known_ms(run, 0, "valve"), 10000);
	ck_assert_int_eq(known_ms(run, 1, "valve"), 0);
	run_free(run);
}
END

TEST(a_retained_gauge_counts_only_with_a_time_of_its_own)
{
	struct run *run = run_new(gauges);
	says(run, 0, "outside", 5);
	retains(run, 0, "room", 21);
	retains(run, 0, "stamped", 21);
	passes(run, 60);
	ck_assert_int_eq(known_ms(run, 0, "room"), 0);
	ck_assert_int_eq(known_ms(run, 0, "stamped"), 60000);
	run_free(run);
}
END

TEST(a_minute_exists_where_something_in_it_is_known)
{
	struct run *run = run_new(gauges);
	lives(run, 0, "plant");
	says_badly(run, 10, "room");
	says(run, 119.999, "room", 21);
	says_nothing(run, 120, "room");
	passes(run, 86400);
	ck_assert_uint_eq(run->count, 1);
	ck_assert_int_eq(known_ms(run, 1, "room"), 1);
	ck_assert_double_eq(channel_of(run, 1, "room").mean, 21);
	run_free(run);
}
END

TEST(a_state_channel_answers_the_state_held_longest)
{
	static const struct {
		double value[3]; /* at 0, 20 and 40 s */
		double longest;
	} rows[] = {
		{{0, 1, 1}, 1},
		{{1, 0, 1}, 1},
		{{0, 0, 1}, 0},
		{{STATE_UNKNOWN, STATE_UNKNOWN, 1}, STATE_UNKNOWN},
		{{0, STATE_UNKNOWN, 1}, 1}, /* of equals the later code */
		{{STATE_UNKNOWN, STATE_UNKNOWN, STATE_UNKNOWN}, STATE_UNKNOWN},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct run *run = run_new(gauges);
		for (size_t k = 0; k < 3; k++)
			says(run, 20.0 * (double)k, "valve", rows[i].value[k]);
		passes(run, 60);
		ck_assert_msg(channel_of(run, 0, "valve").mean == rows[i].longest,
			"row %zu: %g", i, channel_of(run, 0, "valve").mean);
		run_free(run);
	}
}
END

TEST(extremes_are_those_of_the_minute)
{
	struct run *run = run_new(gauges);
	says(run, 0, "room", -7);
	says(run, 10, "room", 30);
	says(run, 11, "room", 20);
	passes(run, 120);
	ck_assert_double_eq(channel_of(run, 0, "room").least, -7);
	ck_assert_double_eq(channel_of(run, 0, "room").most, 30);
	ck_assert_double_eq(channel_of(run, 1, "room").least, 20);
	ck_assert_double_eq(channel_of(run, 1, "room").most, 20);
	run_free(run);
}
END

TEST(a_clock_set_forward_ends_all_holds_and_lives)
{
	struct run *run = run_new(gauges);
	says(run, 0, "room", 40);
	says(run, 0, "outside", 3);
	retains(run, 10, "meter", 5); /* waits for its source */
	steps(run, 30, 90);
	retains(run, 31, "valve", 1); /* so does this: nobody is known to live */
	passes(run, 120);
	ck_assert_int_eq(channel_of(run, 0, "room").known_ms, 30000);
	ck_assert_int_eq(channel_of(run, 0, "outside").known_ms, 30000);
	ck_assert(engine_quiet(run->engine));
	says(run, 150, "room", 20);
	passes(run, 240);
	ck_assert_int_eq(channel_of(run, 2, "room").known_ms, 30000);
	ck_assert_int_eq(channel_of(run, 2, "valve").known_ms, 30000);
	ck_assert_int_eq(channel_of(run, 2, "outside").known_ms, 0);
	ck_assert_int_eq(channel_of(run, 3, "meter").known_ms, 0);
	run_free(run);
}
END

TEST(a_step_of_the_clock_counts_once_however_often_it_is_told)
{
	struct run *once = run_new(gauges), *twice = run_new(gauges);
	struct buffer one = {0}, two = {0};
	says(once, 0, "outside", 3);
	steps(once, 30, 90);
	says(twice, 0, "outside", 3);
	steps(twice, 30, 90);
	steps(twice, 30, 90);
	passes(once, 60);
	passes(twice, 60);
	engine_save(once->engine, &one);
	engine_save(twice->engine, &two);
	ck_assert_uint_eq(one.length, two.length);
	ck_assert_mem_eq(one.data, two.data, one.length);
	buffer_release(&one);
	buffer_release(&two);
	run_free(once);
	run_free(twice);
}
END

TEST(a_clock_set_back_and_other_facts_end_nothing)
{
	struct run *run = run_new(gauges);
	says(run, 0, "room", 40);
	steps(run, 10, -90);
	steps(run, 11, -9000);
	for (size_t kind = 0; kind < RECORD_MESSAGE; kind++)
		if (kind != RECORD_CLOCK_STEP)
			feed(run, READING_FACT, kind, false, 12, 5);
	passes(run, 60);
	ck_assert_int_eq(channel_of(run, 0, "room").known_ms, 60000);
	run_free(run);
}
END

	TESTS(a_clock_set_forward_ends_all_holds_and_lives, a_step_of_the_clock_counts_once_however_often_it_is_told, a_clock_set_back_and_other_facts_end_nothing, a_value_holds_until_the_next_one, of_equal_times_the_last_word_counts, a_hold_ends_at_its_limit_to_the_millisecond, a_reading_at_the_very_limit_leaves_no_gap, a_silent_source_ends_its_holds, every_sign_of_life_pushes_the_silence_back, a_retained_message_is_no_sign_of_life, a_source_that_is_gone_ends_its_holds_at_once, no_value_ends_a_hold_and_a_bad_one_does_not, a_retained_state_counts_from_its_moment_while_the_source_lives, a_retained_state_waits_for_its_source, a_waiting_state_is_forgotten_for_better_or_no_knowledge, a_retained_gauge_counts_only_with_a_time_of_its_own, a_minute_exists_where_something_in_it_is_known, a_state_channel_answers_the_state_held_longest, extremes_are_those_of_the_minute)
