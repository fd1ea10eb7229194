/*
 * Notices of what is found: told of whole days, six hours after their end, whoever walks
 * from wherever; what is unknown, revised or was not looked at yet.
 *
 * Reference: found_days.h; days and minutes by hand.
 */
#include "stored.h"

#include <heatbook/finding.h>
#include <heatbook/notices.h>
#include <heatbook/query.h>

#include <math.h>

#define HOUSE                                                                            \
	"[plant]\nzone = Europe/Berlin\ndevices = compressor\n"                          \
	"[channel unit_power]\ntopic = a/p\nunit = W\n"                                  \
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"                         \
	"[notice reversed]\nwatch = finding power_reversed\n"                            \
	"[notice words]\nwatch = finding payload_bad\n"                                  \
	"[notice some]\nwatch = finding any\n"
enum { POWER = 0, DAYS = 12, REVERSED = 0, WORDS = 1, SOME = 2, NOTICES = 3 };
#define LENGTH (DAYS * MIN_PER_DAY)

/* Minutes on from START at which a day's findings are told. */
static int64_t told(int day)
{
	return (day + 1) * MIN_PER_DAY + 360;
}

static void put_day(struct store *store, int day, bool known)
{
	int64_t from = START + day * MIN_PER_DAY, to = from + MIN_PER_DAY;
	ck_assert_int_eq(store_begin(store), 0);
	ck_assert_int_eq(store_minutes_drop(store, from, to), 0);
	for (int64_t m = from; known && m < to; m += 30) {
		struct made made;
		made_at(&made, m);
		made_channel(&made, POWER, 500.0, MS_PER_MIN);
		made_heat(&made, MODE_HEATING, 90000);
		made_meter(&made, MODE_HEATING, 0, 30000);
		ck_assert_int_eq(store_minute_add(store, &made.minute), 0);
	}
	ck_assert_int_eq(store_rollup(store, from, to, START + LENGTH), 0);
	ck_assert_int_eq(store_set_fact(store, FACT_DERIVED_UNTIL_MS,
				 (START + LENGTH) * MS_PER_MIN),
		0);
	ck_assert_int_eq(store_commit(store), 0);
}

/* It was looked at: the clamp was reversed, or not. */
static void put_evidence(struct store *store, int day, bool reversed)
{
	struct evidence_list list = {0};
	struct evidence e = {.kind = EVIDENCE_LOOKED,
		.subject = -1,
		.at_min = START + day * MIN_PER_DAY,
		.minutes = EVIDENCE_FORM};
	evidence_add(&list, &e);
	e = (struct evidence){.kind = EVIDENCE_POWER_NEGATIVE,
		.subject = POWER,
		.at_min = e.at_min,
		.minutes = 100,
		.values = {-500.0, -500.0 * 6000}};
	if (reversed)
		evidence_add(&list, &e);
	ck_assert_int_eq(store_begin(store), 0);
	ck_assert_int_eq(store_evidence_put(store, e.at_min, &list), 0);
	ck_assert_int_eq(store_commit(store), 0);
	evidence_release(&list);
}

/* Words that are no value, in two hours of a day; nobody knew of the second for `late`
 * minutes. */
static void put_words(struct store *store, int day, int64_t late)
{
	struct event events[2];
	int64_t at_ms = (START + day * MIN_PER_DAY + 600) * MS_PER_MIN;
	for (size_t i = 0; i < 2; i++)
		events[i] = (struct event){.kind = EVENT_PAYLOAD_BAD,
			.t_ms = at_ms + (int64_t)i * MS_PER_HOUR,
			.made_ms = at_ms + (int64_t)i * (MS_PER_HOUR + late * MS_PER_MIN),
			.subject = POWER,
			.after = 1.0,
			.before = (double)NAN};
	ck_assert_int_eq(store_begin(store), 0);
	ck_assert_int_eq(
		store_events_put(store, events, 2, at_ms, events[1].made_ms + 1), 0);
	ck_assert_int_eq(store_commit(store), 0);
}

static struct stored *stored_days(const bool reversed[static DAYS])
{
	struct stored *s = stored_new(HOUSE);
	for (int d = 0; d < DAYS; d++) {
		put_day(s->store, d, true);
		put_evidence(s->store, d, reversed[d]);
	}
	return s;
}

/* Changes as "reversed+3": raised, since the minute at which day 3 was told. */
struct heard {
	struct buffer text;
};

static void hear(size_t notice, enum notice_change change,
	const struct notice_state *state, void *context)
{
	static const char *const names[NOTICES] = {"reversed", "words", "some"};
	struct heard *heard = context;
	int64_t at = state->since - START;
	ck_assert_int_eq(at % MIN_PER_DAY, 360);
	buffer_addf(&heard->text, "%s%c%lld ", names[notice],
		change == NOTICE_RAISED ? '+' : '-', (long long)(at / MIN_PER_DAY - 1));
}

static int turn(struct notices *n, struct store *store, int64_t minute, size_t days)
{
	int r;
	while ((r = notices_turn(n, store, minute, days)) == NOTICES_MORE)
		;
	return r;
}

static struct notices *walk(
	struct stored *s, int64_t begin, int64_t end, struct heard *heard)
{
	struct notices *n =
		notices_new(s->config, START + begin, heard ? hear : NULL, heard);
	ck_assert_int_eq(turn(n, s->store, START + end, 1), 0);
	return n;
}

static void expect_heard(struct stored *s, const char *expected)
{
	struct heard heard = {{0}};
	notices_free(walk(s, 0, LENGTH, &heard));
	ck_assert_str_eq(buffer_text(&heard.text), expected);
	buffer_release(&heard.text);
}

TEST(what_is_found_is_told_of_whole_days)
{
	static const bool reversed[DAYS] = {[2] = true, [3] = true};
	struct stored *s = stored_days(reversed);
	put_words(s->store, 7, 0);
	/* One day without it ends nothing yet; what has no length is told for a day. */
	expect_heard(
		s, "reversed+2 some+2 reversed-5 some-5 words+7 some+7 words-8 some-8 ");
	stored_free(s);
}
END

TEST(none_knew_of_it_before_it_was_certain)
{
	static const bool reversed[DAYS] = {false};
	struct stored *s = stored_days(reversed);
	put_words(s->store, 7, MIN_PER_DAY);
	expect_heard(s, ""); /* the next day shows that it is over */
	stored_free(s);
}
END

TEST(a_day_of_which_nothing_is_known_ends_nothing)
{
	static const bool reversed[DAYS] = {[2] = true};
	struct stored *s = stored_days(reversed);
	for (int d = 3; d < 7; d++)
		put_day(s->store, d, false);
	struct notices *n = walk(s, 0, told(5) + 1, NULL);
	const struct notice_state *state = notices_state(n, REVERSED);
	ck_assert(state->raised);
	ck_assert_int_eq(state->unknown_since, START + told(4));
	ck_assert_int_eq(state->since, START + told(2));
	notices_free(n);
	expect_heard(s, "reversed+2 some+2 reversed-7 some-7 ");
	stored_free(s);
}
END

	static void
	draw_days(struct stored *s, uint64_t *random)
{
	for (int d = 0; d < DAYS; d++) {
		put_day(s->store, d, d == 0 || unit_random(random) % 5 > 0);
		put_evidence(s->store, d, unit_random(random) % 3 == 0);
	}
	put_words(s->store, (int)unit_random_between(random, 1, DAYS - 1), 0);
}

static void expect_same(const struct notices *a, const struct notices *b, int64_t minute)
{
	for (size_t i = 0; i < NOTICES; i++) {
		const struct notice_state *x = notices_state(a, i),
					  *y = notices_state(b, i);
		ck_assert_msg(x->raised == y->raised &&
				      x->unknown_since == y->unknown_since &&
				      (!x->raised || x->since == y->since),
			"%zu at %lld: %d %d since %lld %lld unknown %lld %lld", i,
			(long long)minute, x->raised, y->raised, (long long)x->since,
			(long long)y->since, (long long)x->unknown_since,
			(long long)y->unknown_since);
	}
}

TEST(a_walk_that_begins_anywhere_comes_to_the_same)
{
	static const bool none[DAYS] = {false};
	uint64_t random = unit_seed();
	struct stored *s = stored_days(none);
	draw_days(s, &random);
	struct notices *whole = notices_new(s->config, START, NULL, NULL);
	for (int64_t m = 1; m <= LENGTH; m += unit_random_between(&random, 1, 500)) {
		struct notices *begun = walk(s, m, m, NULL);
		ck_assert_int_eq(turn(whole, s->store, START + m, 1), 0);
		expect_same(whole, begun, m);
		notices_free(begun);
	}
	notices_free(whole);
	stored_free(s);
}
END

/* A correction and a rebuild, a late message: what was found goes or comes with rows. */
TEST(days_that_are_made_anew_are_found_anew)
{
	static const bool reversed[DAYS] = {[8] = true, [9] = true};
	struct stored *s = stored_days(reversed);
	uint64_t random = unit_seed();
	struct notices *n = walk(s, LENGTH - 10, LENGTH, NULL);
	ck_assert(notices_state(n, REVERSED)->raised);
	put_day(s->store, 8, true);
	put_day(s->store, 9, true);
	put_evidence(s->store, 8, false);
	put_evidence(s->store, 9, false);
	notices_revised(n, START + 8 * MIN_PER_DAY + 77);
	ck_assert_int_eq(turn(n, s->store, START + LENGTH, 1), 0);
	ck_assert(!notices_state(n, REVERSED)->raised);
	for (int i = 0; i < 20; i++) {
		int day = (int)unit_random_between(&random, 1, DAYS - 2);
		put_day(s->store, day, unit_random(&random) % 4 > 0);
		put_evidence(s->store, day, unit_random(&random) % 2);
		notices_revised(n, START + day * MIN_PER_DAY);
		ck_assert_int_eq(turn(n, s->store, START + LENGTH, 1), 0);
		struct notices *anew = walk(s, LENGTH, LENGTH, NULL);
		expect_same(n, anew, LENGTH);
		notices_free(anew);
	}
	notices_free(n);
	stored_free(s);
}
END

TEST(what_was_not_looked_at_is_no_state_to_tell)
{
	static const bool reversed[DAYS] = {[9] = true, [10] = true};
	struct stored *s = stored_days(reversed);
	for (int d = 3; d < 8; d++)
		put_day(s->store, d, true); /* which drops their evidence */
	struct notices *n = notices_new(s->config, START + LENGTH, NULL, NULL);
	ck_assert_int_eq(turn(n, s->store, START + LENGTH, 4), FOUND_DAYS_WAIT);
	ck_assert_int_eq(turn(n, s->store, START + LENGTH, 5), 0);
	ck_assert(notices_state(n, REVERSED)->raised);
	notices_free(n);
	n = notices_new(s->config, START + LENGTH, NULL, NULL);
	ck_assert_int_eq(turn(n, s->store, START + LENGTH, 4), FOUND_DAYS_WAIT);
	size_t done;
	ck_assert_int_eq(evidence_catch_up(s->store, 10, &done), 0);
	ck_assert_uint_eq(done, 5);
	ck_assert_int_eq(turn(n, s->store, START + LENGTH, 1), 0);
	ck_assert(notices_state(n, REVERSED)->raised);
	notices_free(n);
	stored_free(s);
}
END

/* 23 and 25 hours: Berlin's 2026-03-29 and 2026-10-25. */
TEST(a_day_is_told_six_hours_after_its_end_however_long_the_next_is)
{
	static const struct {
		int64_t minute_s;
		int64_t end_s, until_s; /* of the day told, and the next one's minute */
	} cases[] = {
		{1774735200, 1774652400, 1774760400}, /* 03-28T23:00: that began 03-28 */
		{1774760340, 1774652400, 1774760400}, /* 03-29T06:59+02 */
		{1774760400, 1774738800, 1774843200}, /* 03-29T07:00+02 */
		{1792900740, 1792792800, 1792900800}, /* 10-25T04:59+01 */
		{1792900800, 1792879200, 1792990800}, /* 10-25T05:00+01 */
	};
	struct stored *s = stored_new(HOUSE); /* its zone */
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		int64_t until = 0, end = found_day_told(cases[i].minute_s / 60, &until);
		ck_assert_int_eq(end * 60, cases[i].end_s);
		ck_assert_int_eq(until * 60, cases[i].until_s);
	}
	stored_free(s);
}
END

TESTS(what_is_found_is_told_of_whole_days, none_knew_of_it_before_it_was_certain,
	a_day_of_which_nothing_is_known_ends_nothing,
	a_walk_that_begins_anywhere_comes_to_the_same,
	days_that_are_made_anew_are_found_anew, what_was_not_looked_at_is_no_state_to_tell,
	a_day_is_told_six_hours_after_its_end_however_long_the_next_is)
