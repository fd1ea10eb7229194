/*
 * Stamps: waiting for a clock, steps either way, and several threads that ask for them.
 *
 * Reference: the rules are heatbook's own (stamper.h). The test clock stands wherever a
 * case puts it.
 */
#include "stamp_bench.h"

static void expect_numbers_of(struct bench *b, int64_t first, int64_t second)
{
	ck_assert_int_eq(b->record.number[0], first);
	ck_assert_int_eq(b->record.number[1], second);
}

static void expect_state(struct bench *b, enum clock_state state)
{
	ck_assert_str_eq(clock_state_name(state_of(b).state), clock_state_name(state));
}

TEST(a_kept_clock_stamps_as_it_is)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, NOON - MS_PER_MIN);
	hears(&b, "1");
	clock_test_advance(5);
	appends(&b, RECORD_START, "v");
	expect(&b, RECORD_MESSAGE, NOON, false);
	ck_assert_int_eq(b.record.boot_ms, BOOT);
	expect(&b, RECORD_START, NOON + 5, false);
	ck_assert_int_eq(b.record.number[0], clock_boot_number());
	ck_assert_int_eq(stamper_now_ms(b.stamper), NOON + 5);
	expect_state(&b, CLOCK_STATE_GOOD);
	bench_free(&b);
}
END

TEST(nobody_waits_who_need_not)
{
	static const struct {
		enum clock_kept kept;
		int64_t boot_ms, wait_ms;
		enum clock_state state;
	} rows[] = {
		{CLOCK_NOT_KEPT, BOOT, 0, CLOCK_STATE_UNKEPT},
		{CLOCK_NOT_KEPT, WAIT, WAIT, CLOCK_STATE_UNKEPT}, /* up for too long */
		{CLOCK_UNTOLD, BOOT, WAIT, CLOCK_STATE_GOOD},
		{CLOCK_NOT_KEPT, WAIT - 1, WAIT, CLOCK_STATE_WAITING},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct bench b = bench_new(rows[i].kept);
		clock_test_advance(rows[i].boot_ms - BOOT);
		born(&b, rows[i].wait_ms, 0);
		expect_state(&b, rows[i].state);
		hears(&b, "1");
		ck_assert_uint_eq(
			state_of(&b).held, rows[i].state == CLOCK_STATE_WAITING);
		bench_free(&b);
	}
}
END

TEST(what_waited_gets_the_stamps_of_the_clock_that_was_set)
{
	struct bench b = bench_new(CLOCK_NOT_KEPT);
	born(&b, WAIT, 0);
	appends(&b, RECORD_START, "v");
	clock_test_advance(10 * SECONDS);
	hears(&b, "1");
	clock_test_step(MS_PER_HOUR); /* the time service found its way */
	clock_test_advance(10 * SECONDS);
	hears(&b, "2");
	stamper_look(b.stamper, 0);
	b.sequence = 77;
	expect_none(&b); /* the kernel does not say so yet */
	ck_assert_uint_eq(b.sequence, 77);
	ck_assert_uint_eq(state_of(&b).held, 3);
	clock_test_keep(CLOCK_KEPT);
	clock_test_advance(10 * SECONDS);
	stamper_look(b.stamper, 0);
	hears(&b, "3");
	int64_t set = NOON + MS_PER_HOUR;
	expect(&b, RECORD_START, set, false);
	expect(&b, RECORD_MESSAGE, set + 10 * SECONDS, false);
	expect(&b, RECORD_MESSAGE, set + 20 * SECONDS, false);
	expect(&b, RECORD_RESTAMP, set + 30 * SECONDS, false);
	expect_numbers_of(&b, set - BOOT, 0);
	ck_assert_mem_eq(b.record.payload, "synchronised", 12);
	expect(&b, RECORD_MESSAGE, set + 30 * SECONDS, false);
	expect_none(&b); /* no step: the restamp covers it */
	expect_state(&b, CLOCK_STATE_GOOD);
	ck_assert_uint_eq(state_of(&b).held, 0);
	bench_free(&b);
}
END

TEST(the_wait_ends_for_a_clock_that_nobody_sets)
{
	struct bench b = bench_new(CLOCK_NOT_KEPT);
	born(&b, WAIT, 0);
	hears(&b, "1");
	clock_test_advance(WAIT - BOOT - 1);
	stamper_look(b.stamper, 0);
	expect_none(&b);
	clock_test_advance(1);
	stamper_look(b.stamper, 0);
	expect(&b, RECORD_MESSAGE, NOON, false);
	expect(&b, RECORD_RESTAMP, NOON + WAIT - BOOT, false);
	ck_assert_mem_eq(b.record.payload, "not synchronised", 16);
	expect_state(&b, CLOCK_STATE_UNKEPT);
	bench_free(&b);
}
END

TEST(a_clock_before_the_last_minute_is_waited_for)
{
	struct bench b = bench_new(CLOCK_KEPT);
	int64_t until = NOON + 2 * MS_PER_HOUR;
	born(&b, WAIT, until);
	hears(&b, "1");
	expect_none(&b);
	expect_state(&b, CLOCK_STATE_WAITING);
	clock_test_step(3 * MS_PER_HOUR);
	stamper_look(b.stamper, until);
	expect(&b, RECORD_MESSAGE, NOON + 3 * MS_PER_HOUR, false);
	expect(&b, RECORD_RESTAMP, NOON + 3 * MS_PER_HOUR, false);
	expect_numbers_of(&b, NOON + 3 * MS_PER_HOUR - BOOT, until);
	expect_state(&b, CLOCK_STATE_GOOD);
	bench_free(&b);
}
END

TEST(a_clock_that_stays_before_the_last_minute_feeds_nothing)
{
	struct bench b = bench_new(CLOCK_KEPT);
	int64_t until = NOON + 2 * MS_PER_HOUR;
	born(&b, WAIT, until);
	hears(&b, "1");
	clock_test_advance(WAIT);
	stamper_look(b.stamper, until);
	expect(&b, RECORD_MESSAGE, NOON, true);
	expect(&b, RECORD_RESTAMP, NOON + WAIT, true);
	hears(&b, "2");
	expect(&b, RECORD_MESSAGE, NOON + WAIT, true);
	expect_state(&b, CLOCK_STATE_BEHIND);
	ck_assert_int_eq(state_of(&b).unsure_until_ms, until);
	clock_test_advance(until - NOON - WAIT);
	hears(&b, "3");
	expect(&b, RECORD_MESSAGE, until, false);
	stamper_look(b.stamper, until);
	expect_state(&b, CLOCK_STATE_GOOD);
	bench_free(&b);
}
END

TEST(without_a_wait_it_feeds_nothing_at_once)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, 0, NOON + MS_PER_HOUR);
	hears(&b, "1");
	expect(&b, RECORD_MESSAGE, NOON, true);
	expect_state(&b, CLOCK_STATE_BEHIND);
	bench_free(&b);
}
END

TEST(a_clock_shortly_before_the_last_minute_is_led_over_it)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, NOON + 100 * SECONDS);
	expect(&b, RECORD_CLOCK_STEP, NOON + 100 * SECONDS, false);
	expect_numbers_of(&b, -100 * SECONDS, 0);
	hears(&b, "1");
	expect(&b, RECORD_MESSAGE, NOON + 100 * SECONDS, false);
	clock_test_advance(100 * SECONDS);
	hears(&b, "2");
	expect(&b, RECORD_MESSAGE, NOON + 150 * SECONDS, false);
	expect_state(&b, CLOCK_STATE_SLEWING);
	bench_free(&b);
}
END

TEST(a_step_forward_is_a_record_behind_all_that_was_stamped_before)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, 0);
	hears(&b, "1"); /* and the clock is read in this very millisecond */
	clock_test_step(MS_PER_HOUR);
	hears(&b, "2");
	expect(&b, RECORD_MESSAGE, NOON, false);
	expect(&b, RECORD_CLOCK_STEP, NOON + 1, false);
	expect_numbers_of(&b, MS_PER_HOUR, 0);
	expect(&b, RECORD_MESSAGE, NOON + MS_PER_HOUR, false);
	ck_assert_int_eq(state_of(&b).step_ms, MS_PER_HOUR);
	ck_assert_int_eq(state_of(&b).stepped_ms, NOON + MS_PER_HOUR);
	bench_free(&b);
}
END

TEST(steps_are_seen_by_whoever_looks_first)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, 0);
	clock_test_advance(SECONDS);
	clock_test_step(MS_PER_HOUR);
	stamper_look(b.stamper, 0);
	expect(&b, RECORD_CLOCK_STEP, NOON + SECONDS, false);
	clock_test_advance(SECONDS);
	clock_test_step(MS_PER_HOUR);
	ck_assert_int_eq(stamper_now_ms(b.stamper), NOON + 2 * MS_PER_HOUR + 2 * SECONDS);
	expect(&b, RECORD_CLOCK_STEP, NOON + MS_PER_HOUR + 2 * SECONDS, false);
	expect_none(&b);
	bench_free(&b);
}
END

TEST(two_seconds_are_no_step_and_drifts_are_followed)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, 0);
	for (int i = 0; i < 100; i++) {
		clock_test_step(i % 3 ? 2000 : -2000);
		stamper_look(b.stamper, 0);
	}
	expect_none(&b);
	clock_test_step(1500);
	hears(&b, "1");
	expect(&b, RECORD_MESSAGE, clock_now_ms(), false);
	clock_test_step(501); /* nobody looked in between: 2001 in one */
	hears(&b, "2");
	expect(&b, RECORD_CLOCK_STEP, clock_now_ms() - 500, false);
	bench_free(&b);
}
END

TEST(a_small_step_back_is_smoothed_at_half_the_pace)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, 0);
	clock_test_step(-120 * SECONDS);
	hears(&b, "1");
	expect(&b, RECORD_CLOCK_STEP, NOON, false);
	expect_numbers_of(&b, -120 * SECONDS, 0);
	expect(&b, RECORD_MESSAGE, NOON, false);
	int64_t before = NOON;
	for (int i = 1; i <= 300; i++) {
		clock_test_advance(SECONDS);
		stamper_look(b.stamper, NOON);
		int64_t now = stamper_now_ms(b.stamper);
		ck_assert_int_eq(now - before, i <= 240 ? 500 : 1000);
		before = now;
	}
	ck_assert_int_eq(before, clock_now_ms());
	expect_none(&b);
	expect_state(&b, CLOCK_STATE_GOOD);
	bench_free(&b);
}
END

TEST(a_step_forward_that_ends_a_smoothing_is_none)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, 0);
	clock_test_step(-60 * SECONDS);
	stamper_look(b.stamper, 0);
	clock_test_advance(20 * SECONDS); /* 50 s are left */
	clock_test_step(30 * SECONDS);
	hears(&b, "1");
	clock_test_step(120 * SECONDS); /* 20 s are taken up, 100 s are a step */
	hears(&b, "2");
	expect(&b, RECORD_CLOCK_STEP, NOON, false);
	expect(&b, RECORD_MESSAGE, NOON + 10 * SECONDS, false);
	expect(&b, RECORD_CLOCK_STEP, NOON + 10 * SECONDS + 1, false);
	expect_numbers_of(&b, 100 * SECONDS, 0);
	expect(&b, RECORD_MESSAGE, NOON + 110 * SECONDS, false);
	bench_free(&b);
}
END

TEST(a_large_step_back_feeds_nothing_until_the_closed_minute)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, 0);
	stamper_look(b.stamper, NOON - MS_PER_MIN);
	stamper_look(b.stamper, NOON - 2 * MS_PER_MIN); /* it does not go back */
	clock_test_step(-120 * SECONDS - 1);
	hears(&b, "1");
	expect(&b, RECORD_CLOCK_STEP, NOON, false);
	expect_numbers_of(&b, -120 * SECONDS - 1, NOON - MS_PER_MIN);
	expect(&b, RECORD_MESSAGE, NOON - 120 * SECONDS - 1, true);
	stamper_look(b.stamper, NOON - MS_PER_MIN);
	expect_state(&b, CLOCK_STATE_BEHIND);
	clock_test_advance(60 * SECONDS);
	hears(&b, "2");
	expect(&b, RECORD_MESSAGE, NOON - 60 * SECONDS - 1, true);
	clock_test_advance(1);
	hears(&b, "3");
	expect(&b, RECORD_MESSAGE, NOON - MS_PER_MIN, false);
	expect_none(&b);
	bench_free(&b);
}
END

TEST(a_clock_of_no_year_feeds_nothing)
{
	static const int64_t nows[] = {0, STAMP_LEAST_MS - 1, STAMP_END_MS};
	for (size_t i = 0; i < ARRAY_LEN(nows); i++) {
		struct bench b = bench_new(CLOCK_NOT_KEPT);
		clock_test_start(nows[i], BOOT);
		born(&b, 0, 0);
		hears(&b, "1");
		expect(&b, RECORD_MESSAGE, nows[i], true);
		expect_state(&b, CLOCK_STATE_UNSET);
		clock_test_step(NOON - nows[i]);
		hears(&b, "2");
		ck_assert_int_eq(tail_read(b.tail, &b.record, &b.sequence), 0);
		ck_assert_int_eq(b.record.kind, RECORD_CLOCK_STEP);
		expect(&b, RECORD_MESSAGE, NOON, false);
		bench_free(&b);
	}
}
END

TEST(sleep_is_no_step)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, 0);
	clock_test_advance(9 * MS_PER_HOUR); /* boot time runs on */
	hears(&b, "1");
	expect(&b, RECORD_MESSAGE, NOON + 9 * MS_PER_HOUR, false);
	expect_none(&b);
	bench_free(&b);
}
END

/* ---- threads ---- */

#define WRITERS       3
#define WRITES_OF_ONE 2000

	static void *
	write_many(void *context)
{
	for (int i = 0; i < WRITES_OF_ONE; i++) {
		struct record record = {.kind = RECORD_MESSAGE, .topic = "t"};
		if (stamper_append(context, &record) != 0)
			abort();
	}
	return NULL;
}

/* The machine's own clocks: the test clock is for one thread. */
TEST(threads_stamp_while_the_loop_looks_and_reads)
{
	struct bench b = {.dir = scratch_new()};
	pthread_t threads[WRITERS];
	int64_t before_ms = 0;
	log_set_handler(drop_line, NULL);
	b.tail = tail_opened(b.dir, 0, ROOMY);
	born(&b, 0, 0);
	for (int i = 0; i < WRITERS; i++)
		ck_assert_int_eq(
			pthread_create(&threads[i], NULL, write_many, b.stamper), 0);
	for (uint64_t last = 0; last < WRITERS * WRITES_OF_ONE;) {
		stamper_look(b.stamper, 0);
		(void)state_of(&b);
		if (tail_read(b.tail, &b.record, &b.sequence) != 0)
			continue;
		bool good = b.sequence == last + 1 && !b.record.unsure &&
			    b.record.kind == RECORD_MESSAGE &&
			    b.record.t_ms >= before_ms - 2000;
		if (!good)
			ck_abort_msg("record %llu", (unsigned long long)b.sequence);
		before_ms = b.record.t_ms;
		last = b.sequence;
	}
	for (int i = 0; i < WRITERS; i++)
		ck_assert_int_eq(pthread_join(threads[i], NULL), 0);
	expect_none(&b);
	bench_free(&b);
}
END

TESTS(a_kept_clock_stamps_as_it_is, nobody_waits_who_need_not,
	what_waited_gets_the_stamps_of_the_clock_that_was_set,
	the_wait_ends_for_a_clock_that_nobody_sets,
	a_clock_before_the_last_minute_is_waited_for,
	a_clock_that_stays_before_the_last_minute_feeds_nothing,
	without_a_wait_it_feeds_nothing_at_once,
	a_clock_shortly_before_the_last_minute_is_led_over_it,
	a_step_forward_is_a_record_behind_all_that_was_stamped_before,
	steps_are_seen_by_whoever_looks_first,
	two_seconds_are_no_step_and_drifts_are_followed,
	a_small_step_back_is_smoothed_at_half_the_pace,
	a_step_forward_that_ends_a_smoothing_is_none,
	a_large_step_back_feeds_nothing_until_the_closed_minute,
	a_clock_of_no_year_feeds_nothing, sleep_is_no_step,
	threads_stamp_while_the_loop_looks_and_reads)
