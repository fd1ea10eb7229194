/*
 * A notice over minutes, by what notice.h says: minutes are drawn, expected changes
 * worked out by hand.
 */
#include "unit.h"

#include <heatbook/notice.h>

#include <math.h>

static struct notice_config rule(
	bool above, double raises, double clears, int for_min, int clears_min)
{
	return (struct notice_config){.compares = true,
		.above = above,
		.raises = raises,
		.clears = clears,
		.for_ms = for_min * MS_PER_MIN,
		.clears_for_ms = clears_min * MS_PER_MIN};
}

/* A digit is a value, ' ' an unknown one. Changes as "+3" (raised, since the minute) and
 * "-7". */
static void expect_changes(
	const struct notice_config *n, const char *values, const char *expected)
{
	struct notice_state s;
	struct buffer out = {0};
	notice_begin(&s);
	for (int64_t i = 0; values[i]; i++) {
		double v = values[i] == ' ' ? (double)NAN : values[i] - '0';
		enum notice_change change = notice_take(n, &s, i, v);
		if (change != NOTICE_STAYS)
			buffer_addf(&out, "%c%lld ", change == NOTICE_RAISED ? '+' : '-',
				(long long)s.since);
		ck_assert_int_eq(s.unknown_since >= 0, values[i] == ' ');
	}
	ck_assert_msg(strcmp(buffer_text(&out), expected) == 0, "'%s': %s, not %s",
		values, buffer_text(&out), expected);
	buffer_release(&out);
}

TEST(it_is_raised_beyond_a_level_and_cleared_at_another)
{
	struct notice_config n = rule(true, 5, 3, 1, 1);
	expect_changes(&n, "0123454321", ""); /* the threshold itself is not above */
	expect_changes(&n, "0169876543", "+2 -9 ");
	expect_changes(&n, "6464646464", "+0 ");
	expect_changes(&n, "6363", "+0 -1 +2 -3 ");
	n = rule(false, 3, 5, 1, 1);
	expect_changes(&n, "9876543", "");
	expect_changes(&n, "93243444456", "+2 -9 ");
}
END

TEST(levels_that_are_the_same_part_all_values)
{
	struct notice_config n = rule(true, 5, 5, 1, 1);
	expect_changes(&n, "565656", "+1 -2 +3 -4 +5 ");
	n = rule(true, 5, 5, 2, 3);
	expect_changes(&n, "5656566555666", "+5 -7 +10 ");
}
END

TEST(it_must_have_been_so_for_a_while_both_ways)
{
	struct notice_config n = rule(true, 5, 3, 3, 2);
	expect_changes(&n, "66066066", "");
	expect_changes(&n, "0666", "+1 ");
	expect_changes(&n, "66606060660033", "+0 -10 ");
	expect_changes(&n, "6646646", ""); /* what is in between ends a row, too */
}
END

TEST(what_is_unknown_speaks_for_nothing)
{
	struct notice_config n = rule(true, 5, 3, 3, 2);
	expect_changes(&n, "6 6 6", "+0 ");
	expect_changes(&n, "666          ", "+0 ");
	expect_changes(&n, "666 0  0", "+0 -4 ");
	expect_changes(&n, "      ", "");
}
END

TEST(it_says_since_when_nothing_is_known)
{
	struct notice_config n = rule(true, 5, 3, 1, 1);
	struct notice_state s;
	notice_begin(&s);
	ck_assert_int_eq(s.unknown_since, -1);
	ck_assert(isnan(s.value) && !s.raised && s.since == -1);
	(void)notice_take(&n, &s, 100, 7.0);
	(void)notice_take(&n, &s, 101, (double)NAN);
	(void)notice_take(&n, &s, 102, (double)NAN);
	ck_assert_int_eq(s.unknown_since, 101);
	ck_assert(isnan(s.value) && s.raised);
	(void)notice_take(&n, &s, 103, 6.0);
	ck_assert_int_eq(s.unknown_since, -1);
	ck_assert_double_eq(s.value, 6.0);
}
END

	/* Read backward: "n" minutes from the end settle it, or none do. */
	static int64_t
	settled_by(const struct notice_config *n, const char *values)
{
	int64_t run = 0, length = (int64_t)strlen(values);
	for (int64_t i = length; i-- > 0;)
		if (notice_settles(
			    n, &run, values[i] == ' ' ? (double)NAN : values[i] - '0'))
			return length - i;
	return -1;
}

TEST(looking_back_it_is_settled_by_what_clears_it)
{
	struct notice_config n = rule(true, 5, 3, 1, 3);
	ck_assert_int_eq(settled_by(&n, "000"), 3);
	ck_assert_int_eq(settled_by(&n, "0 0 0 4"), 7);
	ck_assert_int_eq(settled_by(&n, "0004004"), 7);
	ck_assert_int_eq(settled_by(&n, "0040044004"), -1);
	ck_assert_int_eq(settled_by(&n, "   "), -1);
}
END

TESTS(it_is_raised_beyond_a_level_and_cleared_at_another,
	levels_that_are_the_same_part_all_values,
	it_must_have_been_so_for_a_while_both_ways, what_is_unknown_speaks_for_nothing,
	it_says_since_when_nothing_is_known,
	looking_back_it_is_settled_by_what_clears_it)
