/*
 * Stamps across crashes: a wait goes on, restamps and steps are known again, and nothing
 * of another boot is reached.
 */
#include "stamp_bench.h"

static void opens(struct bench *b, uint64_t committed)
{
	b->tail = tail_opened(b->dir, committed, ROOMY);
}

/* ---- crashes ---- */

static int count_unsure(const struct record *record, uint64_t sequence, void *context)
{
	(void)sequence;
	*(int *)context += record->unsure;
	return 0;
}

static int peek_unsure(const struct bench *b)
{
	int unsure = 0;
	ck_assert_int_eq(tail_peek(b->dir, 0, count_unsure, &unsure), 0);
	return unsure;
}

/* Two records held, then a crash. */
static struct bench crashed_while_waiting(void)
{
	struct bench b = bench_new(CLOCK_NOT_KEPT);
	born(&b, WAIT, 0);
	appends(&b, RECORD_START, "v");
	hears(&b, "1");
	ck_assert_int_eq(peek_unsure(&b), 2);
	dies(&b);
	clock_test_advance(10 * SECONDS);
	return b;
}

TEST(a_wait_goes_on_after_a_crash)
{
	struct bench b = crashed_while_waiting();
	opens(&b, 0);
	born(&b, WAIT, 0);
	expect_none(&b);
	appends(&b, RECORD_START, "v");
	ck_assert_uint_eq(state_of(&b).held, 3);
	clock_test_keep(CLOCK_KEPT);
	clock_test_step(MS_PER_HOUR);
	stamper_look(b.stamper, 0);
	ck_assert_int_eq(peek_unsure(&b), 0);
	expect(&b, RECORD_START, NOON + MS_PER_HOUR, false);
	expect(&b, RECORD_MESSAGE, NOON + MS_PER_HOUR, false);
	expect(&b, RECORD_START, NOON + MS_PER_HOUR + 10 * SECONDS, false);
	expect(&b, RECORD_RESTAMP, NOON + MS_PER_HOUR + 10 * SECONDS, false);
	bench_free(&b);
}
END

TEST(a_clock_that_was_set_meanwhile_restamps_at_once)
{
	struct bench b = crashed_while_waiting();
	clock_test_keep(CLOCK_KEPT);
	clock_test_step(MS_PER_HOUR);
	opens(&b, 0);
	born(&b, WAIT, 0);
	expect(&b, RECORD_START, NOON + MS_PER_HOUR, false);
	expect(&b, RECORD_MESSAGE, NOON + MS_PER_HOUR, false);
	expect(&b, RECORD_RESTAMP, NOON + MS_PER_HOUR + 10 * SECONDS, false);
	expect_none(&b);
	bench_free(&b);
}
END

TEST(a_restamp_is_known_after_a_crash)
{
	struct bench b = bench_new(CLOCK_NOT_KEPT);
	born(&b, WAIT, 0);
	appends(&b, RECORD_START, "v");
	hears(&b, "1");
	clock_test_step(MS_PER_HOUR);
	clock_test_keep(CLOCK_KEPT);
	stamper_look(b.stamper, 0);
	for (uint64_t committed = 0; committed < 3; committed++) {
		dies(&b);
		clock_test_step(MS_PER_HOUR); /* nothing to the records */
		opens(&b, committed);
		ck_assert_uint_eq(tail_loose(b.tail), 0);
		born(&b, WAIT, 0);
		if (committed < 1)
			expect(&b, RECORD_START, NOON + MS_PER_HOUR, false);
		if (committed < 2)
			expect(&b, RECORD_MESSAGE, NOON + MS_PER_HOUR, false);
		expect(&b, RECORD_RESTAMP, NOON + MS_PER_HOUR, false);
		ck_assert_int_eq(peek_unsure(&b), 0);
	}
	bench_free(&b);
}
END

TEST(another_boot_reaches_nothing_of_the_one_before)
{
	struct bench b = crashed_while_waiting();
	clock_test_reboot(2 * BOOT); /* a later boot time tells nothing */
	opens(&b, 0);
	ck_assert_uint_eq(tail_loose(b.tail), 0);
	born(&b, WAIT, 0);
	expect(&b, RECORD_START, NOON, true);
	expect(&b, RECORD_MESSAGE, NOON, true);
	expect_none(&b);
	appends(&b, RECORD_START, "v");
	clock_test_keep(CLOCK_KEPT);
	clock_test_step(MS_PER_HOUR);
	stamper_look(b.stamper, 0);
	expect(&b, RECORD_START, NOON + MS_PER_HOUR + 10 * SECONDS, false);
	ck_assert_int_eq(peek_unsure(&b), 2);
	dies(&b);
	opens(&b, 0);
	born(&b, WAIT, 0);
	expect(&b, RECORD_START, NOON, true);
	expect(&b, RECORD_MESSAGE, NOON, true);
	expect(&b, RECORD_START, NOON + MS_PER_HOUR + 10 * SECONDS, false);
	bench_free(&b);
}
END

TEST(a_step_back_is_known_after_a_crash)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, 0);
	stamper_look(b.stamper, NOON);
	clock_test_step(-MS_PER_HOUR);
	hears(&b, "1");
	dies(&b);
	opens(&b, 0);
	born(&b, 0, NOON - MS_PER_HOUR - MS_PER_MIN); /* the store knows less */
	hears(&b, "2");
	expect(&b, RECORD_CLOCK_STEP, NOON, false);
	expect(&b, RECORD_MESSAGE, NOON - MS_PER_HOUR, true);
	expect(&b, RECORD_MESSAGE, NOON - MS_PER_HOUR, true);
	bench_free(&b);
}
END

TEST(a_restamp_without_room_holds_for_this_process)
{
	struct bench b = bench_new(CLOCK_NOT_KEPT);
	tail_close(b.tail);
	b.tail = tail_opened(b.dir, 0, 200);
	born(&b, WAIT, 0);
	hears(&b, "1");
	struct record more = {.kind = RECORD_MESSAGE, .topic = "t"};
	while (stamper_append(b.stamper, &more) == 0)
		;
	clock_test_keep(CLOCK_KEPT);
	clock_test_step(MS_PER_HOUR);
	stamper_look(b.stamper, 0);
	expect(&b, RECORD_MESSAGE, NOON + MS_PER_HOUR, false);
	bench_free(&b);
}
END

TEST(held_records_are_sealed_and_released_in_their_turn)
{
	struct bench b = bench_new(CLOCK_KEPT);
	born(&b, WAIT, 0);
	hears(&b, "1"); /* of an earlier process */
	dies(&b);
	clock_test_keep(CLOCK_NOT_KEPT);
	opens(&b, 0);
	born(&b, WAIT, 0);
	hears(&b, "2");
	expect(&b, RECORD_MESSAGE, NOON, false);
	expect_none(&b);
	struct tail_state state;
	tail_state(b.tail, &state);
	ck_assert_uint_eq(state.free_sequence, 1);
	int unsure = 0;
	ck_assert_int_eq(tail_seal(b.tail), 0);
	hears(&b, "3");
	ck_assert_int_eq(tail_sealed(b.tail, count_unsure, &unsure), 0);
	ck_assert_int_eq(unsure, 0); /* it goes as far as the first that is held */
	ck_assert_int_eq(tail_release(b.tail), TAIL_UNREAD);
	clock_test_keep(CLOCK_KEPT);
	stamper_look(b.stamper, 0);
	expect(&b, RECORD_MESSAGE, NOON, false);
	expect(&b, RECORD_MESSAGE, NOON, false);
	expect(&b, RECORD_RESTAMP, NOON, false);
	ck_assert_int_eq(tail_sealed(b.tail, count_unsure, &unsure), 0);
	ck_assert_int_eq(unsure, 0);
	ck_assert_int_eq(tail_release(b.tail), 0);
	bench_free(&b);
}
END

TESTS(a_wait_goes_on_after_a_crash, a_clock_that_was_set_meanwhile_restamps_at_once,
	a_restamp_is_known_after_a_crash, another_boot_reaches_nothing_of_the_one_before,
	a_step_back_is_known_after_a_crash, a_restamp_without_room_holds_for_this_process,
	held_records_are_sealed_and_released_in_their_turn)
