/*
 * Readings that are judged by the ones before them: thermometers' words that may be true,
 * and ten out of range in a row; live, told twice, and across a carried state.
 *
 * Reference: heatbook's own rules as written at the top of daemon/account/doubt.c.
 */
#include "engine_run.h"

static const char plant[] = "[plant]\nzone = UTC\n"
			    "[source plant]\ntopics = plant/#\nsilent_after = none\n"
			    "[channel room]\ntopic = plant/room\nunit = °C\n"
			    "stale_after = none\n"
			    "[channel power]\ntopic = plant/power\nunit = W\n"
			    "stale_after = none\n";

static void beyond(struct run *run, double at_s, const char *channel)
{
	struct reading reading = {.t_ms = at_ms(at_s),
		.value = (double)NAN,
		.channel = (uint16_t)channel_named(run->config, channel),
		.kind = READING_BAD,
		.reason = BAD_RANGE};
	engine_feed(run->engine, &reading);
}

/* A word a minute on `channel`; what each minute holds, NAN for nothing. */
TEST(a_word_that_may_be_a_fault_waits_for_its_successor)
{
	static const struct {
		const char *what, *channel;
		double said[5], held[5];
	} rows[] = {
		{"85 °C amid room temperatures", "room", {21, 85, 21, 21, 21},
			{21, NAN, 21, 21, 21}},
		{"85 °C at the start", "room", {85, 21, 21, 21, 21},
			{NAN, 21, 21, 21, 21}},
		{"85 °C on the way up", "room", {70, 78, 85, 86, 85},
			{70, 78, 85, 86, 85}},
		{"85 °C that stays", "room", {21, 85, 85, 85, 21}, {21, NAN, 85, 85, 21}},
		{"85 °C that its successor bears out", "room", {21, 85, 84.5, 85, 84},
			{21, NAN, 84.5, 85, 84}},
		{"nearly 85 °C", "room", {21, 85.0625, 21, 84.9375, 21},
			{21, 85.0625, 21, 84.9375, 21}},
		{"all bits amid room temperatures", "room", {21, -0.0625, 21, 21, 21},
			{21, NAN, 21, 21, 21}},
		{"frost", "room", {0.5, -0.0625, -0.0625, -0.5, -0.0625},
			{0.5, -0.0625, -0.0625, -0.5, -0.0625}},
		{"85 W", "power", {21, 85, 21, 85, 85}, {21, 85, 21, 85, 85}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		for (int twice = 0; twice < 2; twice++) {
			struct run *run = run_new(plant);
			for (int k = 0; k < 5; k++)
				for (int n = 0; n <= twice; n++)
					says(run, 60.0 * k, rows[i].channel,
						rows[i].said[k]);
			passes(run, 300);
			for (int k = 0; k < 5; k++) {
				double want = rows[i].held[k];
				int64_t ms = known_ms(run, k, rows[i].channel);
				ck_assert_msg(ms == (isnan(want) ? 0 : 60000),
					"%s, minute %d: %lld ms", rows[i].what, k,
					(long long)ms);
				if (ms)
					ck_assert_double_eq(
						channel_of(run, k, rows[i].channel).mean,
						want);
			}
			run_free(run);
		}
}
END

TEST(ten_out_of_range_in_a_row_end_the_hold)
{
	for (int twice = 0; twice < 2; twice++) {
		struct run *run = run_new(plant);
		says(run, 0, "room", 21);
		for (int k = 1; k <= 9; k++)
			for (int n = 0; n <= twice; n++)
				beyond(run, 60.0 * k, "room");
		says(run, 600, "room", 22); /* the row is broken */
		for (int k = 11; k <= 20; k++)
			for (int n = 0; n <= twice; n++)
				beyond(run, 60.0 * k, "room");
		beyond(run, 1260, "room");
		says(run, 1320, "room", 23);
		passes(run, 1380);
		ck_assert_int_eq(known_ms(run, 9, "room"), 60000);
		ck_assert_int_eq(known_ms(run, 19, "room"), 60000);
		ck_assert_int_eq(known_ms(run, 20, "room"), 0);
		ck_assert_int_eq(known_ms(run, 21, "room"), 0);
		ck_assert_int_eq(known_ms(run, 22, "room"), 60000);
		run_free(run);
	}
}
END

/* Other words that are not understood say nothing of the range. */
TEST(other_bad_words_neither_count_nor_break_the_row)
{
	struct run *run = run_new(plant);
	says(run, 0, "room", 21);
	for (int k = 1; k <= 9; k++) {
		beyond(run, 60.0 * k, "room");
		says_badly(run, 60.0 * k + 30, "room");
	}
	passes(run, 600);
	ck_assert_int_eq(known_ms(run, 9, "room"), 60000);
	beyond(run, 600, "room");
	passes(run, 660);
	ck_assert_int_eq(known_ms(run, 10, "room"), 0);
	run_free(run);
}
END

TEST(doubts_are_carried_on)
{
	struct run *run = run_new(plant), *on = run_new(plant);
	struct buffer state = {0};
	says(run, 0, "room", 21);
	says(run, 10, "room", 85);
	says(run, 0 + 10, "power", 100);
	for (int k = 1; k <= 9; k++)
		beyond(run, 10.0 + k, "power");
	passes(run, 60);
	engine_save(run->engine, &state);
	ck_assert_int_eq(
		engine_restore(on->engine, ZERO_MIN + 1, state.data, state.length), 0);
	says(on, 70, "room", 85); /* a successor that says the same */
	beyond(on, 90, "power");  /* the tenth */
	passes(on, 120);
	ck_assert_int_eq(known_ms(on, 1, "room"), 50000);
	ck_assert_int_eq(known_ms(on, 1, "power"), 30000);
	buffer_release(&state);
	run_free(run);
	run_free(on);
}
END

TESTS(a_word_that_may_be_a_fault_waits_for_its_successor,
	ten_out_of_range_in_a_row_end_the_hold,
	other_bad_words_neither_count_nor_break_the_row, doubts_are_carried_on)
