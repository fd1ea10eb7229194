/*
 * Windows of steady heating in days made by hand.
 *
 * Reference: hand-computed. Whole cycles of defrosting, and ten minutes after one: EN
 * 14511-3, from memory.
 */
#include "even_day.h"

#define HEAT_J (4170.0 * 5.0 * 17.5) /* a minute's */

static size_t windows_of(const struct sample *s, const struct evidence *ret[static 100])
{
	size_t count = 0;
	for (size_t i = 0; i < s->list.count; i++)
		if (s->list.items[i].kind == EVIDENCE_STEADY && count < 100)
			ret[count++] = &s->list.items[i];
	return count;
}

/* The compressor rests, but for these minutes. */
static void run_only(struct sample *s, int from, int to)
{
	set(s, HZ, 0, from, 0.0);
	set(s, HZ, to, DAY, 0.0);
}

TEST(a_window_begins_ten_minutes_after_the_start)
{
	const struct evidence *w[100];
	struct sample *s = even(7.2, 35.4);
	run_only(s, 600, 660);
	set(s, HZ, 600, 660, 50.0);
	part(s);
	ck_assert_uint_eq(windows_of(s, w), 1);
	ck_assert_int_eq(w[0]->at_min, START + 610);
	ck_assert_int_eq(w[0]->minutes, 50);
	ck_assert_int_eq(w[0]->subject, MODE_HEATING);
	ck_assert_double_eq_tol(w[0]->values[0], 7.2, 1e-9);
	ck_assert_double_eq_tol(w[0]->values[1], 35.4, 1e-9);
	ck_assert_double_eq_tol(w[0]->values[2], 5.0, 1e-9);
	ck_assert_double_eq_tol(w[0]->values[3], 50 * HEAT_J, 1.0);
	ck_assert_double_eq_tol(w[0]->values[4], 50 * 60.0 * 1500.0, 1.0);
	ck_assert_double_eq_tol(w[0]->values[5], 50.0, 1e-9);
	sample_free(s);
}
END

TEST(what_is_too_short_is_no_window)
{
	const struct evidence *w[100];
	for (int length = 29; length <= 30; length++) {
		struct sample *s = even(7.0, 35.0);
		run_only(s, 600, 600 + length);
		part(s);
		ck_assert_uint_eq(windows_of(s, w), length == 30);
		sample_free(s);
	}
}
END

/* What goes further from the mean so far than a kelvin, or one and a half, is another. */
TEST(a_step_parts_windows)
{
	static const struct {
		int channel;
		double by_k;
		size_t windows;
	} cases[] = {
		{OUTDOOR, 0.95, 1}, {OUTDOOR, 1.1, 2}, {FLOW, 1.45, 1}, {FLOW, 1.6, 2}};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		const struct evidence *w[100];
		struct sample *s = even(8.0, 35.0);
		run_only(s, 600, 670);
		for (int k = 640; k < 670; k++)
			of(s, cases[i].channel)[k] += cases[i].by_k;
		part(s);
		ck_assert_uint_eq(windows_of(s, w), cases[i].windows);
		for (size_t k = 0; k < cases[i].windows; k++)
			ck_assert_int_ge(w[k]->minutes, 20);
		sample_free(s);
	}
}
END

TEST(hot_water_and_what_is_unknown_are_in_none)
{
	const struct evidence *w[100];
	struct sample *s = even(7.0, 35.0);
	run_only(s, 600, 800);
	set(s, VALVE, 650, 690, 1.0);
	set(s, L1, 720, 721, (double)NAN);
	set(s, OUTDOOR, 760, 761, (double)NAN);
	part(s);
	/* 610 to 650, 700 to 720, 731 to 760, 771 to 800 */
	static const int wanted[][2] = {{610, 40}, {700, 20}, {731, 29}, {771, 29}};
	ck_assert_uint_eq(windows_of(s, w), ARRAY_LEN(wanted));
	for (size_t i = 0; i < ARRAY_LEN(wanted); i++) {
		ck_assert_int_eq(w[i]->at_min, START + wanted[i][0]);
		ck_assert_int_eq(w[i]->minutes, wanted[i][1]);
	}
	sample_free(s);
}
END

	static void
	defrost(struct sample *s, int at)
{
	set(s, DEFROST, at, at + 6, 1.0);
	set(s, FLOW, at, at + 6, 12.0);
	set(s, RETURN, at, at + 6, 17.0);
	set(s, FLOW, at + 6, at + 14, 28.0); /* the water comes back slowly */
	set(s, RETURN, at + 6, at + 14, 23.0);
}

/* In the cold from the end of one to the end of the next; it costs what it costs. */
TEST(where_it_frosts_a_window_is_a_whole_cycle)
{
	const struct evidence *w[100];
	struct sample *s = even(1.0, 35.0);
	run_only(s, 500, 760);
	for (int at = 560; at < 760; at += 60)
		defrost(s, at);
	part(s);
	ck_assert_uint_eq(windows_of(s, w), 3);
	for (size_t i = 0; i < 3; i++) {
		/* five minutes behind its end are still of a defrost */
		ck_assert_int_eq(w[i]->at_min, START + 571 + 60 * (int)i);
		ck_assert_int_eq(w[i]->minutes, 60);
		ck_assert_double_eq_tol(w[i]->values[1], 35.0, 0.8);
		ck_assert_double_eq_tol(w[i]->values[3], (54 - 6) * HEAT_J, 1.0);
		ck_assert_double_eq_tol(w[i]->values[4], 60 * 60.0 * 1500.0, 1.0);
		ck_assert_double_eq_tol(
			w[i]->values[3] / w[i]->values[2], 60 * 4170.0 * 17.5, 1.0);
	}
	sample_free(s);
	/* Above it, windows lie between them. */
	s = even(5.0, 35.0);
	run_only(s, 500, 760);
	for (int at = 560; at < 760; at += 60)
		defrost(s, at);
	part(s);
	size_t count = windows_of(s, w);
	ck_assert_uint_gt(count, 2);
	for (size_t i = 0; i < count; i++)
		ck_assert_double_eq_tol(
			w[i]->values[3], (double)w[i]->minutes * HEAT_J, 1.0);
	sample_free(s);
}
END

TEST(in_dry_cold_three_hours_without_a_defrost_count)
{
	const struct evidence *w[100];
	struct sample *s = even(-8.0, 40.0);
	run_only(s, 600, 789);
	part(s);
	ck_assert_uint_eq(windows_of(s, w), 0);
	sample_free(s);
	s = even(-8.0, 40.0);
	run_only(s, 600, 790);
	part(s);
	ck_assert_uint_eq(windows_of(s, w), 1);
	ck_assert_int_eq(w[0]->minutes, 180);
	sample_free(s);
}
END

TESTS(a_window_begins_ten_minutes_after_the_start, what_is_too_short_is_no_window,
	a_step_parts_windows, hot_water_and_what_is_unknown_are_in_none,
	where_it_frosts_a_window_is_a_whole_cycle,
	in_dry_cold_three_hours_without_a_defrost_count)
