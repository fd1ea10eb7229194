/*
 * Which local days a report is of: by dates, by so far back, by the name of a day, week,
 * month, year or season.
 *
 * References: tests/data/time_iso_week.csv (weeks of ISO 8601 by Python's datetime); the
 * days of Berlin's two changes of its clocks, 23 and 25 hours long.
 */
#include "report_span.h"

#include "fake_store.h"
#include "unit.h"

#define NOW_S INT64_C(1768392030) /* Wednesday, 2026-01-14T13:00:30+01:00 */

static const struct config plant = {.plant = {.season_start = {7, 1}}};

static void expect(struct verb_call call, const char *from, const char *to)
{
	char why[256] = "", got_from[32], got_to[32];
	int64_t from_ms, to_ms;
	call.config = &plant;
	ck_assert_msg(report_span(&call, NOW_S * 1000, &from_ms, &to_ms, why), "%s", why);
	time_text_local(from_ms, got_from);
	time_text_local(to_ms, got_to);
	ck_assert_str_eq(got_from, from);
	ck_assert_str_eq(got_to, to);
}

static void refuse(struct verb_call call, const char *part)
{
	char why[256] = "";
	int64_t from_ms, to_ms;
	call.config = &plant;
	ck_assert_msg(!report_span(&call, NOW_S * 1000, &from_ms, &to_ms, why),
		"%s is taken", part);
	ck_assert_msg(strstr(why, part), "'%s' is not in '%s'", part, why);
}

#define SPAN(...) ((struct verb_call){__VA_ARGS__})

TEST(dates_are_whole_days)
{
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	expect(SPAN(0), "2026-01-13T00:00:00+01:00", "2026-01-14T00:00:00+01:00");
	expect(SPAN(.from = "2026-01-10"), "2026-01-10T00:00:00+01:00",
		"2026-01-15T00:00:00+01:00");
	expect(SPAN(.to = "2026-01-10"), "2026-01-10T00:00:00+01:00",
		"2026-01-11T00:00:00+01:00");
	refuse(SPAN(.from = "2026-02-30"), "local dates like 2026-01-31");
	refuse(SPAN(.from = "2026-01-10", .to = "2026-01-09"), "must not lie after");
	refuse(SPAN(.from = "2026-01-15"), "must not lie after");
}
END

/* By the plant's calendar: a day of March has 23 hours, one of October 25. */
TEST(so_far_back_ends_with_yesterday_or_a_named_day)
{
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	expect(SPAN(.last = "P1D"), "2026-01-13T00:00:00+01:00",
		"2026-01-14T00:00:00+01:00");
	expect(SPAN(.last = "P1W"), "2026-01-07T00:00:00+01:00",
		"2026-01-14T00:00:00+01:00");
	expect(SPAN(.last = "P1M"), "2025-12-14T00:00:00+01:00",
		"2026-01-14T00:00:00+01:00");
	expect(SPAN(.last = "P1Y"), "2025-01-14T00:00:00+01:00",
		"2026-01-14T00:00:00+01:00");
	expect(SPAN(.last = "P7D", .to = "2025-03-30"), "2025-03-24T00:00:00+01:00",
		"2025-03-31T00:00:00+02:00");
	expect(SPAN(.last = "P1D", .to = "2025-10-26"), "2025-10-26T00:00:00+02:00",
		"2025-10-27T00:00:00+01:00");
	refuse(SPAN(.last = "PT5H"), "--last PT5H: must be whole days");
	refuse(SPAN(.last = "week"), "--last week: must be whole days");
	refuse(SPAN(.last = "P0D"), "--last P0D");
	refuse(SPAN(.last = "P200Y"), "--last P200Y");
	refuse(SPAN(.last = "P7D", .from = "2026-01-01"), "two beginnings");
}
END

TEST(spans_of_the_calendar_have_names)
{
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	expect(SPAN(.of = "day"), "2026-01-14T00:00:00+01:00",
		"2026-01-15T00:00:00+01:00");
	expect(SPAN(.of = "week"), "2026-01-12T00:00:00+01:00",
		"2026-01-19T00:00:00+01:00");
	expect(SPAN(.of = "month"), "2026-01-01T00:00:00+01:00",
		"2026-02-01T00:00:00+01:00");
	expect(SPAN(.of = "season"), "2025-07-01T00:00:00+02:00",
		"2026-07-01T00:00:00+02:00");
	expect(SPAN(.of = "year"), "2026-01-01T00:00:00+01:00",
		"2027-01-01T00:00:00+01:00");
	expect(SPAN(.of = "2024-02-29"), "2024-02-29T00:00:00+01:00",
		"2024-03-01T00:00:00+01:00");
	expect(SPAN(.of = "2025-10"), "2025-10-01T00:00:00+02:00",
		"2025-11-01T00:00:00+01:00");
	expect(SPAN(.of = "2025-12"), "2025-12-01T00:00:00+01:00",
		"2026-01-01T00:00:00+01:00");
	expect(SPAN(.of = "2025"), "2025-01-01T00:00:00+01:00",
		"2026-01-01T00:00:00+01:00");
	expect(SPAN(.of = "season-2024"), "2024-07-01T00:00:00+02:00",
		"2025-07-01T00:00:00+02:00");
	expect(SPAN(.of = "2025-W13"), "2025-03-24T00:00:00+01:00",
		"2025-03-31T00:00:00+02:00");
}
END

TEST(what_names_no_span_is_refused)
{
	static const char *const names[] = {"", "2026-13", "2026-00", "2025-02-29",
		"2025-W53", "2026-W00", "2026-W54", "26", "20260131", "2026-1",
		"season-26", "1969", "2100", "yesterday", "2026-01-31T10:00", "Week"};
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	for (size_t i = 0; i < ARRAY_LEN(names); i++)
		refuse(SPAN(.of = names[i]), "or one of these by its name");
	refuse(SPAN(.of = "week", .from = "2026-01-01"), "leave out --from");
	refuse(SPAN(.of = "week", .to = "2026-01-01"), "leave out --from");
	refuse(SPAN(.of = "week", .last = "P7D"), "leave out --from");
}
END

	/* A date lies in the week of that name. */
	static void
	check_week(char **f, size_t count, void *context)
{
	char why[256], name[16];
	int64_t from_ms, to_ms, day_ms;
	struct verb_call call = {.config = &plant, .of = name};
	(void)context;
	ck_assert_uint_eq(count, 3);
	(void)snprintf(name, sizeof(name), "%.8s", f[1]);
	ck_assert(report_span(&call, NOW_S * 1000, &from_ms, &to_ms, why));
	ck_assert_int_eq(time_parse_day(f[0], 0, &day_ms), 0);
	ck_assert_int_le(from_ms, day_ms);
	ck_assert_int_gt(to_ms, day_ms);
	ck_assert_int_eq(calendar_weekday(calendar_date(from_ms)), 1);
	ck_assert_int_eq(to_ms - from_ms, 7 * MS_PER_DAY);
}

TEST(weeks_are_those_of_iso_8601)
{
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	data_rows("time_iso_week.csv", check_week, NULL);
}
END

TESTS(dates_are_whole_days, so_far_back_ends_with_yesterday_or_a_named_day,
	spans_of_the_calendar_have_names, what_names_no_span_is_refused,
	weeks_are_those_of_iso_8601)
