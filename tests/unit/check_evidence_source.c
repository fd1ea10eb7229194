/*
 * What days made by hand say of how sources report: coarse steps, seldom, late, and what
 * the sun does to an outdoor sensor.
 *
 * Outside: the shift of two signals by cross-correlation is common practice.
 */
#include "healthy_day.h"

TEST(grids_are_told_by_levels_that_held)
{
	static const double grids[] = {1.0, 0.5, 0.25};
	for (size_t g = 0; g < ARRAY_LEN(grids); g++) {
		struct sample *s = healthy();
		for (int i = 0; i < DAY; i++)
			of(s, FLOW)[i] = round(of(s, FLOW)[i] / grids[g]) * grids[g];
		look(s);
		const struct evidence *e = find(s, EVIDENCE_COARSE, FLOW);
		ck_assert_msg(e != NULL, "%g", grids[g]);
		ck_assert_double_eq(e->values[0], grids[g]);
		ck_assert_ptr_null(find(s, EVIDENCE_COARSE, RETURN));
		sample_free(s);
	}
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++)
		of(s, FLOW)[i] = round(of(s, FLOW)[i] * 10.0) / 10.0;
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_COARSE, -1));
	sample_free(s);
}
END

/* As a source of five minutes comes in, somewhere within a minute. */
TEST(a_source_of_five_minutes_is_slow)
{
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++)
		if (i % 5)
			of(s, FLOW)[i] = of(s, FLOW)[i - 1];
	for (int i = 5; i < DAY; i += 5)
		of(s, FLOW)[i] = (of(s, FLOW)[i] + of(s, FLOW)[i - 1]) / 2.0;
	look(s);
	const struct evidence *e = find(s, EVIDENCE_SLOW, FLOW);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq_tol(e->values[0], 5.0, 0.5);
	ck_assert_ptr_null(find(s, EVIDENCE_SLOW, RETURN));
	sample_free(s);
}
END

/* Of hours that changed seven times, and of a quick source that did so seldom. */
TEST(hours_are_slow_though_few_of_them_change)
{
	for (int quick = 0; quick < 2; quick++) {
		struct sample *s = healthy();
		set(s, FLOW, 0, DAY, 20.5);
		for (int k = 1; k < 8; k++)
			set(s, FLOW, 60 * k + (quick && k == 4), DAY, 20.5 + 0.1 * k);
		look(s);
		const struct evidence *e = find(s, EVIDENCE_SLOW, FLOW);
		ck_assert_int_eq(e != NULL, !quick);
		if (e)
			ck_assert_double_eq(e->values[0], 60.0);
		sample_free(s);
	}
}
END

TEST(a_meter_that_is_late_is_so_by_its_minutes)
{
	static const int shifts[] = {12, 60, -7, 3};
	for (size_t k = 0; k < ARRAY_LEN(shifts); k++) {
		struct sample *s = healthy();
		struct sample *plain = healthy();
		/* Runs of different lengths: a plain rhythm fits itself at each turn. */
		for (int i = 0; i < DAY; i++)
			if (i / 80 % 3 == 0 && i % 80 >= 25 + i / 80 && i % 80 < 60)
				for (int c = 0; c < 3; c++)
					of(c ? plain : s, c == 2 ? L2
							  : c    ? L1
								 : HZ)[i] = c ? 6.0 : 0.0;
		for (int i = 0; i < DAY; i++) {
			int from = i - shifts[k];
			bool in = from >= 0 && from < DAY;
			of(s, L1)[i] = in ? of(plain, L1)[from] : (double)NAN;
			of(s, L2)[i] = in ? of(plain, L2)[from] : (double)NAN;
		}
		look(s);
		const struct evidence *e = find(s, EVIDENCE_SKEW, 0);
		ck_assert_ptr_nonnull(e);
		ck_assert_msg(e->minutes == shifts[k], "%d: %lld", shifts[k],
			(long long)e->minutes);
		ck_assert_double_gt(e->values[0], 0.8);
		ck_assert_double_lt(e->values[1], 0.4);
		sample_free(s);
		sample_free(plain);
	}
}
END

TEST(a_hump_of_the_outdoor_temperature_is_measured_at_its_top)
{
	struct sample *s = healthy();
	for (int i = 480; i < 780; i++) {
		double facing = sin(M_PI * (i - 480) / 300.0);
		of(s, OUTDOOR)[i] += 7.0 * facing * facing;
	}
	look(s);
	const struct evidence *e = find(s, EVIDENCE_OUTDOOR, -1);
	ck_assert_double_gt(e->values[0], 3.0);
	ck_assert_int_ge(e->at_min, START + 600);
	ck_assert_int_le(e->at_min, START + 720);
	sample_free(s);
	s = healthy();
	look(s);
	ck_assert_double_lt(find(s, EVIDENCE_OUTDOOR, -1)->values[0], 1.0);
	sample_free(s);
}
END

TEST(a_valve_that_is_told_late_is_late_against_the_flow)
{
	struct sample *s = healthy();
	/* Three hot-water runs, each within a run of the compressor. */
	set(s, VALVE, 0, DAY, 0.0);
	for (int run = 0; run < 3; run++) {
		int from = 165 + run * 160;
		set(s, RATE, from, from + 30, 19.5);
		set(s, VALVE, from + 6, from + 36, 1.0);
	}
	set(s, RATE, 780, 820, 17.5);
	look(s);
	const struct evidence *e = find(s, EVIDENCE_FLAG, MODE_HOT_WATER);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START + 165);
	ck_assert_int_eq(e->minutes, 6);
	ck_assert_double_eq(e->values[0], 3.0);
	ck_assert_double_eq(e->values[1], 3.0);
	ck_assert_double_eq(e->values[2], 6.0);
	ck_assert_ptr_null(find(s, EVIDENCE_FLAG, MODE_DEFROST));
	sample_free(s);
}
END

/* The flow turns colder than the return at once, the flag is read four minutes later. */
TEST(a_defrost_that_is_told_late_is_late_against_the_water)
{
	struct sample *s = healthy();
	for (int run = 0; run < 3; run++) {
		int from = 165 + run * 160;
		for (int i = from; i < from + 8; i++)
			of(s, FLOW)[i] = of(s, RETURN)[i] - 3.0;
		set(s, DEFROST, from + 4, from + 10, 1.0);
	}
	look(s);
	const struct evidence *e = find(s, EVIDENCE_FLAG, MODE_DEFROST);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, 4);
	ck_assert_double_eq(e->values[0], 3.0);
	ck_assert_int_eq(find(s, EVIDENCE_FLAG, MODE_HOT_WATER)->minutes, 0);
	sample_free(s);
}
END

TESTS(grids_are_told_by_levels_that_held, a_source_of_five_minutes_is_slow,
	hours_are_slow_though_few_of_them_change,
	a_meter_that_is_late_is_so_by_its_minutes,
	a_hump_of_the_outdoor_temperature_is_measured_at_its_top,
	a_valve_that_is_told_late_is_late_against_the_flow,
	a_defrost_that_is_told_late_is_late_against_the_water)
