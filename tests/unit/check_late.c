/*
 * Spans that came late, against a plain set of days; and that a flood over a hundred
 * years keeps to its bound and loses nothing.
 */
#include "../../daemon/derive/late.h"
#include "unit.h"

#define DAYS 400

static bool holds(const struct late *late, int64_t t_ms)
{
	for (size_t i = 0; i < late->count; i++)
		if (t_ms >= late->spans[i].from_ms && t_ms < late->spans[i].to_ms)
			return true;
	return false;
}

static void expect_order(const struct late *late)
{
	for (size_t i = 0; i < late->count; i++) {
		ck_assert_int_lt(late->spans[i].from_ms, late->spans[i].to_ms);
		if (i)
			ck_assert_int_le(
				late->spans[i - 1].to_ms, late->spans[i].from_ms);
	}
}

TEST(a_span_a_day_holds_just_what_came)
{
	static struct late_span wanted[DAYS];
	uint64_t random = unit_seed();
	struct late late = {0};
	size_t days = 0;
	for (int i = 0; i < 5000; i++) {
		int64_t t = unit_random_between(
			&random, -5 * MS_PER_DAY, (DAYS - 6) * MS_PER_DAY);
		struct late_span *w = &wanted[floor_div(t, MS_PER_DAY) + 5];
		days += w->to_ms == w->from_ms;
		*w = w->to_ms == w->from_ms
			     ? (struct late_span){t, t + 1}
			     : (struct late_span){t < w->from_ms ? t : w->from_ms,
				       t >= w->to_ms ? t + 1 : w->to_ms};
		late_add(&late, t);
	}
	expect_order(&late);
	ck_assert_uint_eq(late.count, days);
	size_t at = 0;
	for (size_t d = 0; d < DAYS; d++) {
		if (wanted[d].from_ms == wanted[d].to_ms)
			continue;
		ck_assert_int_eq(late.spans[at].from_ms, wanted[d].from_ms);
		ck_assert_int_eq(late.spans[at++].to_ms, wanted[d].to_ms);
	}
	late_release(&late);
}
END

TEST(a_flood_over_a_hundred_years_is_bounded_and_lost_nowhere)
{
	static int64_t times[20000];
	uint64_t random = unit_seed();
	struct late late = {0};
	for (size_t i = 0; i < ARRAY_LEN(times); i++) {
		times[i] = unit_random_between(&random, 0, 36525 * MS_PER_DAY);
		late_add(&late, times[i]);
		ck_assert_uint_le(late.count, LATE_SPANS_MOST);
	}
	expect_order(&late);
	for (size_t i = 0; i < ARRAY_LEN(times); i++)
		ck_assert(holds(&late, times[i]));
	ck_assert_uint_le(late.room, 2 * LATE_SPANS_MOST);
	late_release(&late);
}
END

TESTS(a_span_a_day_holds_just_what_came,
	a_flood_over_a_hundred_years_is_bounded_and_lost_nowhere)
