/*
 * A span's local days reduced for insight, out of the store; values with intervals.
 *
 * Reference: hand-computed; 2026-03-29 has 23 hours in Berlin (tzdata).
 */
#include "stored.h"

#include <heatbook/finding.h>
#include <heatbook/insight.h>
#include <heatbook/insight_days.h>

#include <math.h>

#define HOUSE                                                                            \
	"[plant]\nzone = Europe/Berlin\ndevices = compressor\n"                          \
	"[channel flow_temperature]\ntopic = a/f\n"                                      \
	"[channel return_temperature]\ntopic = a/r\n"                                    \
	"[channel flow_rate]\ntopic = a/q\n"                                             \
	"[channel outdoor_temperature]\ntopic = a/o\n"                                   \
	"[channel hall]\nrole = room_temperature\ntopic = a/h\n"                         \
	"[channel unit_power]\ntopic = a/p\nunit = W\n"                                  \
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
enum { OUTDOOR = 3, HALL = 4 };

static int64_t day_ms(int day)
{
	return calendar_day_start(calendar_add((struct date){2026, 3, 28}, 0, 0, day));
}

/* Heating in the first half of each hour, hot water in the second; the outdoor
 * temperature known in the former, at 5 °C plus a kelvin a day; the last day ends after
 * nine hours. */
static void put_days(struct store *store)
{
	int64_t from = day_ms(0) / MS_PER_MIN, to = day_ms(2) / MS_PER_MIN + 9 * 60;
	ck_assert_int_eq(store_begin(store), 0);
	for (int64_t m = from; m < to; m++) {
		int day = m < day_ms(1) / MS_PER_MIN   ? 0
			  : m < day_ms(2) / MS_PER_MIN ? 1
						       : 2;
		enum mode mode = m % 60 < 30 ? MODE_HEATING : MODE_HOT_WATER;
		struct made made;
		made_at(&made, m);
		if (mode == MODE_HEATING)
			made_channel(&made, OUTDOOR, 5.0 + day, MS_PER_MIN);
		made_channel(&made, HALL, 21.0, MS_PER_MIN);
		made_heat(&made, mode, mode == MODE_HEATING ? 300000 : 240000);
		made_meter(&made, mode, 0, 100000);
		ck_assert_int_eq(store_minute_add(store, &made.minute), 0);
	}
	ck_assert_int_eq(store_rollup(store, from, to, to), 0);
	ck_assert_int_eq(
		store_set_fact(store, FACT_DERIVED_UNTIL_MS, to * MS_PER_MIN), 0);
	ck_assert_int_eq(store_commit(store), 0);
}

static struct insight_days asked(struct stored *s, int64_t from_ms, int64_t to_ms)
{
	struct insight_days days;
	struct boundary boundary;
	char why[256];
	ck_assert_int_eq(boundary_find(s->config, NULL, &boundary, why), 0);
	ck_assert_int_eq(insight_days_ask(s->store, from_ms, to_ms, &boundary, &days), 0);
	return days;
}

TEST(days_are_as_long_as_they_are_and_end_with_the_rows)
{
	static const int64_t minutes[] = {24 * 60, 23 * 60, 9 * 60};
	struct stored *s = stored_new(HOUSE);
	put_days(s->store);
	struct insight_days days = asked(s, day_ms(-9), day_ms(9));
	ck_assert_uint_eq(days.count, ARRAY_LEN(minutes));
	for (size_t i = 0; i < days.count; i++) {
		const struct insight_day *day = &days.days[i];
		int64_t half = minutes[i] / 2;
		ck_assert_int_eq(day->start_ms, day_ms((int)i));
		ck_assert_int_eq(day->end_ms - day->start_ms, minutes[i] * MS_PER_MIN);
		ck_assert_int_eq(insight_space_heat_j(day), half * 300000);
		ck_assert_int_eq(day->modes[MODE_HOT_WATER].paired_heat_j, half * 240000);
		ck_assert_int_eq(day->whole.paired_electricity_j, minutes[i] * 100000);
		ck_assert_int_eq(day->meter_j[0], minutes[i] * 100000);
		ck_assert_int_eq(day->whole.paired_ms, minutes[i] * MS_PER_MIN);
		ck_assert_double_eq_tol(day->outdoor_c, 5.0 + (double)i, 1e-9);
		ck_assert_double_eq_tol(insight_share(day, day->outdoor_ms), 0.5, 1e-9);
		ck_assert_double_eq_tol(insight_share(day, day->room_ms), 1.0, 1e-9);
		ck_assert_double_eq_tol(day->room_c, 21.0, 1e-9);
		ck_assert(!day->looked);
	}
	insight_days_release(&days);
	stored_free(s);
}
END

TEST(a_span_is_widened_to_whole_days)
{
	struct stored *s = stored_new(HOUSE);
	put_days(s->store);
	struct insight_days days =
		asked(s, day_ms(1) + MS_PER_HOUR, day_ms(1) + 2 * MS_PER_HOUR);
	ck_assert_uint_eq(days.count, 1);
	ck_assert_int_eq(days.from_ms, day_ms(1));
	ck_assert_int_eq(days.to_ms, day_ms(2));
	insight_days_release(&days);
	stored_free(s);
}
END

TEST(without_rows_there_are_no_days)
{
	struct stored *s = stored_new(HOUSE);
	struct insight_days days = asked(s, day_ms(0), day_ms(2));
	ck_assert_uint_eq(days.count, 0);
	insight_days_release(&days);
	put_days(s->store);
	static const int before_and_after[] = {-40, 30};
	for (size_t i = 0; i < ARRAY_LEN(before_and_after); i++) {
		int64_t from_ms = day_ms(before_and_after[i]);
		days = asked(s, from_ms, day_ms(before_and_after[i] + 10));
		ck_assert_uint_eq(days.count, 0);
		ck_assert_int_eq(days.from_ms, from_ms);
		ck_assert_int_eq(days.to_ms, from_ms);
		insight_days_release(&days);
	}
	stored_free(s);
}
END

/* What is kept and what is looked at on the spot is the same. */
TEST(evidence_comes_with_days_where_it_is_asked_for)
{
	struct stored *s = stored_new(HOUSE);
	size_t done;
	put_days(s->store);
	for (int kept = 0; kept < 2; kept++) {
		struct insight_days days = asked(s, day_ms(0), day_ms(2));
		ck_assert_int_eq(insight_days_look(s->store, &days, kept ? 0 : 1), 0);
		ck_assert(days.days[1].looked);
		ck_assert_int_eq(days.days[0].looked, kept);
		ck_assert_uint_gt(days.days[1].evidence.count, 0);
		ck_assert_int_eq(days.days[1].evidence.items[0].kind, EVIDENCE_LOOKED);
		insight_days_release(&days);
		ck_assert_int_eq(evidence_catch_up(s->store, 10, &done), 0);
	}
	stored_free(s);
}
END

TEST(values_are_found_by_name_and_what_is_none_is_left_out)
{
	struct insight_answer answer = {0};
	insight_put(&answer, "slope", "W/K", 1, 200.0, 190.0, 210.0);
	insight_put(&answer, "none", "W/K", 1, (double)NAN, 1.0, 2.0);
	insight_put_seen(&answer, "days", "1", 0, 20.0);
	insight_lacks(&answer, "%d more days", 3);
	ck_assert_uint_eq(answer.count, 2);
	ck_assert_ptr_null(insight_find(&answer, "none"));
	ck_assert_double_eq_tol(insight_find(&answer, "slope")->high, 210.0, 1e-9);
	ck_assert(isnan(insight_find(&answer, "days")->low));
	ck_assert_uint_eq(answer.missing_count, 1);
	ck_assert_str_eq(answer.missing[0], "3 more days");
	insight_release(&answer);
}
END

TESTS(days_are_as_long_as_they_are_and_end_with_the_rows,
	a_span_is_widened_to_whole_days, without_rows_there_are_no_days,
	evidence_comes_with_days_where_it_is_asked_for,
	values_are_found_by_name_and_what_is_none_is_left_out)
