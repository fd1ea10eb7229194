/*
 * How late flags come against the rules: flags in time, late and early ones, missing
 * ones, gaps.
 *
 * Reference: flag_lag.h; expected differences are those with which the minutes are made.
 */
#include "configured.h"

#include <heatbook/flag_lag.h>

static const char plant[] =
	"[plant]\nnominal_flow = 17 L/min\n[modes]\nhot_water_flow = 20 L/min\n"
	"[channel flow_temperature]\ntopic = a/f\n[channel return_temperature]\ntopic = "
	"a/r\n"
	"[channel flow_rate]\ntopic = a/q\n[channel outdoor_temperature]\ntopic = a/o\n"
	"[channel compressor_frequency]\ntopic = a/hz\n[channel valve]\ntopic = a/v\n"
	"[channel defrost]\ntopic = a/d\n";

#define PERIOD 60 /* minutes: one defrost of seven and hot water of fifteen in each */

static bool within(int64_t minute, int64_t from, int64_t length)
{
	int64_t at = ((minute - from) % PERIOD + PERIOD) % PERIOD;
	return at < length;
}

/* Flags that come so many minutes after what happens; every `lost`-th hour without. */
static void take(struct flag_lags *lags, int64_t hours, int64_t defrost_late,
	int64_t water_late, int64_t lost, int64_t gap_from, int64_t gap_to)
{
	for (int64_t minute = 5; minute < hours * PERIOD; minute++) {
		bool defrost = within(minute, 10, 7), water = within(minute, 30, 15);
		struct rules_row row = {.minute = minute,
			.running = 1,
			.power_w = 1000,
			.immersion_w = 0,
			.flow_c = defrost ? 25 : 35,
			.return_c = 30,
			.flow_lpm = water ? 20 : 17,
			.outdoor_c = 0,
			.target_c = (double)NAN,
			.cylinder_c = (double)NAN,
			.moved = 1};
		bool flag = within(minute, 10 + defrost_late, 7);
		if (lost && minute / PERIOD % lost == 0)
			flag = false;
		if (minute >= gap_from && minute < gap_to)
			continue;
		flag_lags_take(lags, &row, flag ? FLAG_ON : FLAG_OFF,
			within(minute, 30 + water_late, 15) ? FLAG_ON : FLAG_OFF);
	}
}

static struct flag_lag lag_of(int64_t defrost_late, int64_t water_late, int64_t lost,
	int64_t gap_from, int64_t gap_to, enum lag_kind kind)
{
	_cleanup_(config_freep) struct config *config = configured(plant);
	struct flag_lags *lags = flag_lags_new(config);
	take(lags, 50, defrost_late, water_late, lost, gap_from, gap_to);
	struct flag_lag answer = flag_lags_answer(lags, kind);
	flag_lags_free(lags);
	return answer;
}

TEST(the_difference_is_that_of_flag_and_physics)
{
	for (int64_t late = -6; late <= 12; late++) {
		struct flag_lag d = lag_of(late, 3, 0, 0, 0, LAG_DEFROST);
		struct flag_lag w = lag_of(3, late, 0, 0, 0, LAG_HOT_WATER);
		ck_assert_double_eq(d.median_min, (double)late);
		ck_assert_double_eq(d.most_min, (double)late);
		ck_assert_double_eq(w.median_min, (double)late);
		ck_assert_int_ge(d.pairs, 49);
		ck_assert_int_ge(w.pairs, 49);
		ck_assert_int_eq(d.by_rule, 50);
		ck_assert_int_eq(w.by_rule, 50);
	}
}
END

TEST(what_only_one_saw_is_counted_and_not_paired)
{
	struct flag_lag d = lag_of(2, 0, 5, 0, 0, LAG_DEFROST);
	ck_assert_int_eq(d.by_rule, 50);
	ck_assert_int_eq(d.by_flag, 40);
	ck_assert_int_eq(d.pairs, 40);
	ck_assert_double_eq(d.median_min, 2.0);
	struct flag_lag far = lag_of(LAG_SOUGHT_MIN + 5, 0, 0, 0, 0, LAG_DEFROST);
	ck_assert_int_eq(far.pairs, 0);
	ck_assert(isnan(far.median_min));
}
END

TEST(a_gap_hides_beginnings_and_makes_none)
{
	struct flag_lag d = lag_of(1, 1, 0, 600, 1237, LAG_DEFROST);
	ck_assert_int_ge(d.pairs, 38);
	ck_assert_int_le(d.by_rule, 40);
	ck_assert_double_eq(d.median_min, 1.0);
	ck_assert_double_eq(d.most_min, 1.0);
}
END

TESTS(the_difference_is_that_of_flag_and_physics,
	what_only_one_saw_is_counted_and_not_paired, a_gap_hides_beginnings_and_makes_none)
