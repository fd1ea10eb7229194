/*
 * Date-times by patterns and numeric times. Instants are worked out from the calendar:
 * day numbers by Python's datetime (computed), the rest by hand. Forms: ISO 8601, and
 * those that spreadsheets and loggers write (common practice of the trade).
 */
#include <heatbook/timepattern.h>

#include "unit.h"

/* 2026-01-31T14:05:00 on its own clock. */
#define BASE INT64_C(1769868300000)

TEST(times_are_read_by_their_pattern)
{
	static const struct {
		const char *pattern, *text;
		int64_t ms; /* on the clock that it was read from, the zone not applied */
	} cases[] = {
		{TIME_PATTERN_ISO, "2026-01-31 14:05:00", BASE},
		{TIME_PATTERN_ISO, "2026-01-31T14:05:00", BASE},
		{TIME_PATTERN_ISO, "2026-01-31t14:05", BASE},
		{TIME_PATTERN_ISO, "2026-01-31  14:05:00", BASE},
		{TIME_PATTERN_ISO, " 2026-01-31 14:05:00 ", BASE},
		{TIME_PATTERN_ISO, "2026-1-31 14:05:0", BASE},
		{TIME_PATTERN_ISO, "2026-01-31 14:05:00.25", BASE + 250},
		{TIME_PATTERN_ISO, "2026-01-31 14:05:00,123999", BASE + 123},
		{TIME_PATTERN_ISO, "2026-01-31T14:05:00Z", BASE},
		{TIME_PATTERN_ISO, "2026-01-31T14:05:00+01:00", BASE},
		{TIME_PATTERN_ISO, "2026-01-31 02:05:00 PM", BASE},
		{TIME_PATTERN_ISO, "2026-01-31 12:05 am", BASE - 14 * MS_PER_HOUR},
		{TIME_PATTERN_ISO, "2026-01-31 12:05pm", BASE - 2 * MS_PER_HOUR},
		{TIME_PATTERN_ISO, "2026-01-31 24:00:00", BASE + 595 * MS_PER_MIN},
		{TIME_PATTERN_ISO, "2026-01-31 14:04:60", BASE},
		{"DD.MM.YYYY hh:mm:ss", "31.01.2026 14:05:00", BASE},
		{"DD.MM.YYYY hh:mm:ss", "31.1.2026 14:05", BASE},
		{"DD.MM.YYYY hh:mm:ss", "31.01.2026, 14:05", BASE},
		{"DD.MM.YYYY hh:mm", "31.01.2026 14:05:30", BASE + 30000},
		{"DD.MM.YY hh:mm:ss", "31.01.26 14:05:00", BASE},
		{"MM/DD/YYYY hh:mm:ss", "1/31/2026 2:05:00 PM", BASE},
		{"DD/MM/YYYY hh:mm", "31/01/2026 14:05", BASE},
		{"YYYYMMDDhhmmss", "20260131140500", BASE},
		{"YYYYMMDD hhmm", "20260131T1405", BASE},
		{"hh:mm:ss DD.MM.YYYY", "14:05:00 31.01.2026", BASE},
		{"DD.MM.YYYY", "31.01.2026", BASE - 845 * MS_PER_MIN},
		{"YYYY-MM-DD_hh-mm-ss", "2026-01-31_14-05-00", BASE},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct time_pattern p;
		struct written_time w;
		const char *why = "", *text = cases[i].text;
		int64_t ms = 0;
		ck_assert_msg(time_pattern_compile(cases[i].pattern, &p, &why) == 0,
			"%s: %s", cases[i].pattern, why);
		ck_assert_msg(time_pattern_read(&p, text, strlen(text), &w, &why),
			"%s: %s", text, why);
		ck_assert(written_time_ms(&w, w.year, &ms));
		ck_assert_msg(ms == cases[i].ms, "%s by %s: %lld, not %lld", text,
			cases[i].pattern, (long long)ms, (long long)cases[i].ms);
	}
}
END

TEST(a_zone_after_the_clock_is_told)
{
	static const struct {
		const char *text;
		bool zoned, utc;
		int64_t offset_ms;
	} cases[] = {
		{"2026-01-31 14:05:00", false, false, 0},
		{"2026-01-31 14:05:00Z", true, true, 0},
		{"2026-01-31 14:05:00 UTC", true, true, 0},
		{"2026-01-31 14:05:00 gmt", true, true, 0},
		{"2026-01-31 14:05:00+00:00", true, false, 0},
		{"2026-01-31 14:05:00+01:00", true, false, MS_PER_HOUR},
		{"2026-01-31 14:05:00-0930", true, false, -570 * MS_PER_MIN},
		{"2026-01-31 14:05 +05:45", true, false, 345 * MS_PER_MIN},
		{"2026-01-31 02:05 PM -05", true, false, -5 * MS_PER_HOUR},
	};
	struct time_pattern p;
	const char *why;
	ck_assert_int_eq(time_pattern_compile(TIME_PATTERN_ISO, &p, &why), 0);
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct written_time w;
		ck_assert_msg(time_pattern_read(
				      &p, cases[i].text, strlen(cases[i].text), &w, &why),
			"%s: %s", cases[i].text, why);
		ck_assert_int_eq(w.zoned, cases[i].zoned);
		ck_assert_int_eq(w.utc, cases[i].utc);
		ck_assert_int_eq(w.offset_ms, cases[i].offset_ms);
	}
}
END

TEST(what_is_no_time_of_the_form_is_refused_with_a_reason)
{
	static const struct {
		const char *pattern, *text, *why;
	} cases[] = {
		{TIME_PATTERN_ISO, "", "not of the table's form"},
		{TIME_PATTERN_ISO, "2026-01-31", "not of the table's form"},
		{TIME_PATTERN_ISO, "2026-01-31 ", "not of the table's form"},
		{TIME_PATTERN_ISO, "31.01.2026 14:05", "not of the table's form"},
		{TIME_PATTERN_ISO, "0000-01-31 14:05", "not of the table's form"},
		{TIME_PATTERN_ISO, "2026-01-31 14:5", "not of the table's form"},
		{TIME_PATTERN_ISO, "2026-01-31 14:05:", "not of the table's form"},
		{TIME_PATTERN_ISO, "2026-01-31 14:05:00.", "not of the table's form"},
		{TIME_PATTERN_ISO, "2026-01-31 14:05:00x", "something follows"},
		{TIME_PATTERN_ISO, "2026-01-31 14:05:00 CET", "something follows"},
		{TIME_PATTERN_ISO, "2026-13-31 14:05", "the month must be 01 to 12"},
		{TIME_PATTERN_ISO, "2026-00-31 14:05", "the month must be 01 to 12"},
		{TIME_PATTERN_ISO, "2026-02-29 14:05", "the month has no such day"},
		{TIME_PATTERN_ISO, "2026-04-31 14:05", "the month has no such day"},
		{TIME_PATTERN_ISO, "2026-01-00 14:05", "the month has no such day"},
		{TIME_PATTERN_ISO, "2026-01-31 25:05", "the hour must be 00 to 23"},
		{TIME_PATTERN_ISO, "2026-01-31 24:00:01", "the hour must be 00 to 23"},
		{TIME_PATTERN_ISO, "2026-01-31 14:60", "the minute must be 00 to 59"},
		{TIME_PATTERN_ISO, "2026-01-31 14:05:61", "the second must be 00 to 60"},
		{TIME_PATTERN_ISO, "2026-01-31 14:05 PM", "the hour must be 1 to 12"},
		{TIME_PATTERN_ISO, "2026-01-31 0:05 AM", "the hour must be 1 to 12"},
		{TIME_PATTERN_ISO, "2026-01-31 14:05+1", "the offset must be written"},
		{TIME_PATTERN_ISO, "2026-01-31 14:05+24:00", "at most 23:59"},
		{"DD.MM.YYYY", "31.01.2026 14:05", "something follows the time"},
		{"YYYYMMDD", "202601", "not of the table's form"},
		{"MM/DD hh:mm", "02/30", "not of the table's form"},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct time_pattern p;
		struct written_time w;
		const char *why = "", *text = cases[i].text;
		ck_assert_int_eq(time_pattern_compile(cases[i].pattern, &p, &why), 0);
		ck_assert_msg(!time_pattern_read(&p, text, strlen(text), &w, &why),
			"%s was taken", text);
		ck_assert_msg(strstr(why, cases[i].why), "%s: %s", text, why);
	}
}
END

TEST(a_leap_day_without_year_waits_for_the_year)
{
	struct time_pattern p;
	struct written_time w;
	const char *why, *text = "02/29  24:00:00";
	int64_t ms = 0;
	ck_assert_int_eq(time_pattern_compile("MM/DD hh:mm:ss", &p, &why), 0);
	ck_assert(!p.year && p.clock);
	ck_assert(time_pattern_read(&p, text, strlen(text), &w, &why));
	ck_assert_int_eq(w.year, 0);
	ck_assert(!written_time_ms(&w, 2026, &ms));
	ck_assert(!written_time_ms(&w, 2100, &ms));
	ck_assert(written_time_ms(&w, 2024, &ms));
	ck_assert_int_eq(ms, INT64_C(1709251200000)); /* 2024-03-01 */
}
END

TEST(numbers_count_in_their_unit_or_by_size)
{
	static const struct {
		const char *text;
		int64_t per_second, ms;
	} cases[] = {
		{"1769868300", 0, BASE},
		{"1769868300.5", 0, BASE + 500},
		{"1769868300,25", 0, BASE + 250},
		{" 1769868300 ", 0, BASE},
		{"1769868300000", 0, BASE},
		{"1769868300123.9", 0, BASE + 123},
		{"1769868300123456", 0, BASE + 123},
		{"1769868300123456789", 0, BASE + 123},
		{"0", 1, 0},
		{"43373.14629", 1, 43373146},
		{"43373", 1000, 43373},
		{"43373999", 1000000, 43373},
		{"9223372036854775807", 1000000000, INT64_C(9223372036854)},
	};
	static const char *const bad[] = {"", " ", "x", "-5", "+5", "1.", ".5", "1.5.5",
		"1e9", "0x10", "1 2", "9223372036854775808", "1:30"};
	int64_t ms = 0;
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		const char *text = cases[i].text;
		ck_assert_msg(
			time_number_read(text, strlen(text), cases[i].per_second, &ms),
			"%s", text);
		ck_assert_msg(ms == cases[i].ms, "%s: %lld", text, (long long)ms);
	}
	for (size_t i = 0; i < ARRAY_LEN(bad); i++)
		ck_assert_msg(
			!time_number_read(bad[i], strlen(bad[i]), 0, &ms), "%s", bad[i]);
	/* Seconds that do not fit once they are milliseconds. */
	ck_assert(!time_number_read("9223372036854776", 16, 1, &ms));
}
END

TESTS(times_are_read_by_their_pattern, a_zone_after_the_clock_is_told,
	what_is_no_time_of_the_form_is_refused_with_a_reason,
	a_leap_day_without_year_waits_for_the_year,
	numbers_count_in_their_unit_or_by_size)
