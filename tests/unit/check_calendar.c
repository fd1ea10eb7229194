/*
 * Local days, months and years against tables computed with Python's zoneinfo (each file
 * of tests/data names its source), and against the law that defines a day's start.
 */
#include "unit.h"

#include <heatbook/calendar.h>

#include <errno.h>

/* Each data row names its zone; setting it anew for every row would only cost time. */
static void use_zone(const char *zone)
{
	static char now[64];
	if (strcmp(zone, now) == 0)
		return;
	ck_assert_msg(calendar_set_zone(zone) == 0, "%s: no such zone", zone);
	(void)snprintf(now, sizeof(now), "%s", zone);
}

static struct date next_day(struct date date)
{
	return calendar_add(date, 0, 0, 1);
}

static int order(struct date a, struct date b)
{
	int ka = (a.year * 12 + a.month) * 31 + a.day,
	    kb = (b.year * 12 + b.month) * 31 + b.day;
	return (ka > kb) - (ka < kb);
}

static void dst_row(char **f, size_t count, void *context)
{
	struct date date;
	(void)context;
	ck_assert_uint_eq(count, 9);
	use_zone(f[0]);
	ck_assert_int_eq(sscanf(f[1], "%d-%d-%d", &date.year, &date.month, &date.day), 3);
	int64_t start_ms = calendar_day_start(date);
	int64_t end_ms = calendar_day_start(next_day(date));
	ck_assert_msg(start_ms == atoll(f[3]) * 1000, "%s %s: start %lld", f[0], f[1],
		(long long)start_ms);
	ck_assert_msg(end_ms == atoll(f[4]) * 1000, "%s %s: end %lld", f[0], f[1],
		(long long)end_ms);
	ck_assert_int_eq((end_ms - start_ms) / 1000, atoll(f[5]));
	ck_assert_int_eq((end_ms - start_ms) / MS_PER_MIN, atoll(f[6]));
	if (end_ms > start_ms)
		ck_assert_int_eq(order(calendar_date(start_ms), date), 0);
}

TEST(odd_days_start_and_end_as_in_the_table)
{
	ck_assert_uint_eq(data_rows("time_dst_days.csv", dst_row, NULL), 39);
}
END

	static void
	total_row(char **f, size_t count, void *context)
{
	struct date from = {.month = 1, .day = 1};
	(void)context;
	ck_assert_uint_eq(count, 6);
	use_zone(f[0]);
	bool month = sscanf(f[1], "%d-%d", &from.year, &from.month) == 2;
	struct date to = calendar_add(from, !month, month, 0);
	int64_t start_ms = calendar_day_start(from), end_ms = calendar_day_start(to);
	ck_assert_msg(start_ms == atoll(f[2]) * 1000, "%s %s: start", f[0], f[1]);
	ck_assert_msg(end_ms == atoll(f[3]) * 1000, "%s %s: end", f[0], f[1]);
	ck_assert_int_eq((end_ms - start_ms) / MS_PER_MIN, atoll(f[4]));
	ck_assert_double_eq(
		(double)(end_ms - start_ms) / (double)MS_PER_HOUR, atof(f[5]));
}

TEST(months_and_years_have_the_minutes_of_the_table)
{
	ck_assert_uint_eq(data_rows("time_month_totals.csv", total_row, NULL), 104);
}
END

	/* Midnights that are skipped or repeated, offsets of half hours, a skipped date,
	 * a change of offset for good, two changes a month apart. */
	static const char *const zones[] = {"UTC", "Europe/Berlin", "Africa/Cairo",
		"America/Havana", "America/Santiago", "America/Sao_Paulo", "Asia/Beirut",
		"Australia/Lord_Howe", "America/St_Johns", "Pacific/Apia",
		"Africa/Casablanca", "Asia/Kathmandu", "Asia/Pyongyang",
		"Atlantic/Azores", "America/Nuuk", "Pacific/Kiritimati", "America/Juneau",
		"Asia/Tehran"};

/* From the definition alone: the local date is not yet `date` just before, and at or past
 * it at the start. Seconds of offset moved starts to the next minute until 1972. */
static void check_start(const char *zone, struct date date)
{
	int64_t start_ms = calendar_day_start(date);
	ck_assert_int_eq(start_ms % MS_PER_MIN, 0);
	ck_assert_msg(order(calendar_date(start_ms), date) >= 0 &&
			      order(calendar_date(start_ms - 1), date) < 0,
		"%s %d-%d-%d: %lld", zone, date.year, date.month, date.day,
		(long long)start_ms);
}

TEST(a_day_starts_at_the_first_instant_of_its_date)
{
	for (size_t i = 0; i < ARRAY_LEN(zones); i++) {
		use_zone(zones[i]);
		for (struct date d = {1973, 1, 1}; d.year < 2045; d = next_day(d))
			check_start(zones[i], d);
	}
}
END

TEST(every_instant_lies_in_the_day_of_its_date)
{
	uint64_t random = unit_seed();
	for (size_t i = 0; i < 20000; i++) {
		/* 2012 to 2060: St John's repeated a date's last hour until 2011. */
		int64_t t_ms = unit_random_between(
			&random, INT64_C(1325376000000), INT64_C(2840140800000));
		use_zone(zones[i * ARRAY_LEN(zones) / 20000]);
		struct date date = calendar_date(t_ms);
		ck_assert_int_le(calendar_day_start(date), t_ms);
		ck_assert_int_gt(calendar_day_start(next_day(date)), t_ms);
	}
}
END

TEST(offsets_with_seconds_start_days_at_whole_minutes)
{
	/* Liberia kept 44 min 30 s behind Greenwich until 1972-01-07 (tz database,
	 * africa). */
	use_zone("Africa/Monrovia");
	int64_t start_ms = calendar_day_start((struct date){1971, 6, 1});
	ck_assert_int_eq(
		start_ms, INT64_C(44585100000)); /* 1971-06-01T00:45Z, 30 s late */
	ck_assert_int_eq(calendar_date(start_ms).day, 1);
	ck_assert_int_eq(calendar_date(start_ms - MS_PER_MIN).day, 31);
}
END

TEST(instants_before_1970_have_dates)
{
	use_zone("UTC");
	struct date date = calendar_date(-1);
	ck_assert_int_eq(date.year, 1969);
	ck_assert_int_eq(date.month, 12);
	ck_assert_int_eq(date.day, 31);
	ck_assert_int_eq(calendar_day_start(date), -MS_PER_DAY);
	/* 0001-01-01 is 719,162 days before 1970 (Rata Die 1; the epoch is 719,163). */
	ck_assert_int_eq(
		calendar_day_start((struct date){1, 1, 1}), -719162 * MS_PER_DAY);
	ck_assert_int_eq(calendar_date(-719162 * MS_PER_DAY - 1).year, 0);
}
END

TEST(fields_outside_their_range_are_carried_over)
{
	static const struct {
		struct date given;
		struct date same;
	} rows[] = {
		{{2026, 13, 1}, {2027, 1, 1}}, {{2026, 0, 15}, {2025, 12, 15}},
		{{2026, -11, 1}, {2025, 1, 1}}, {{2026, 1, 0}, {2025, 12, 31}},
		{{2026, 2, 29}, {2026, 3, 1}}, {{2024, 2, 29}, {2024, 2, 29}},
		{{2026, 1, 366}, {2027, 1, 1}},
		{{2026, 30, -30}, {2028, 5, 1}}, /* 31 days before 2028-06-01 */
	};
	use_zone("Europe/Berlin");
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct date d = calendar_add(rows[i].given, 0, 0, 0);
		ck_assert_int_eq(order(d, rows[i].same), 0);
		ck_assert_int_eq(calendar_day_start(rows[i].given),
			calendar_day_start(rows[i].same));
	}
}
END

TEST(adding_carries_over_like_mktime)
{
	static const struct {
		struct date from;
		int years, months, days;
		struct date to;
	} rows[] = {
		{{2026, 1, 31}, 0, 1, 0, {2026, 3, 3}},
		{{2024, 2, 29}, 1, 0, 0, {2025, 3, 1}},
		{{2025, 12, 28}, 0, 2, 0, {2026, 2, 28}},
		{{2026, 3, 1}, 0, 0, -1, {2026, 2, 28}},
		{{2026, 1, 1}, 0, -1, 0, {2025, 12, 1}},
		{{2026, 1, 1}, -1, 12, 365, {2027, 1, 1}},
		{{1999, 12, 31}, 0, 0, 1, {2000, 1, 1}},
		{{2100, 2, 28}, 0, 0, 1, {2100, 3, 1}},
		{{2000, 2, 28}, 0, 0, 1, {2000, 2, 29}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct date d = calendar_add(
			rows[i].from, rows[i].years, rows[i].months, rows[i].days);
		ck_assert_msg(order(d, rows[i].to) == 0, "row %zu: %d-%d-%d", i, d.year,
			d.month, d.day);
	}
}
END

	static void
	week_row(char **f, size_t count, void *context)
{
	struct date date;
	char text[16];
	(void)context;
	ck_assert_uint_eq(count, 3);
	ck_assert_int_eq(sscanf(f[0], "%d-%d-%d", &date.year, &date.month, &date.day), 3);
	ck_assert_int_eq(calendar_weekday(date), atoi(f[1] + strlen("2020-W53-")));
	struct date year_day = {date.year, 1, atoi(f[2])};
	ck_assert_int_eq(order(calendar_add(year_day, 0, 0, 0), date), 0);
	calendar_date_text(date, text);
	ck_assert_str_eq(text, f[0]);
}

TEST(weekdays_and_ordinal_days_are_those_of_iso_8601)
{
	ck_assert_uint_eq(data_rows("time_iso_week.csv", week_row, NULL), 12);
}
END

	static void
	bin_row(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 4);
	int64_t t_s = atoll(f[0]), kolkata_s = 19800;
	ck_assert_int_eq(floor_div(t_s, 60) * 60, atoll(f[1]));
	ck_assert_int_eq(floor_div(t_s, 3600) * 3600, atoll(f[2]));
	ck_assert_int_eq(
		floor_div(t_s + kolkata_s, 3600) * 3600 - kolkata_s, atoll(f[3]));
}

TEST(bins_are_half_open_below_zero_too)
{
	ck_assert_uint_eq(data_rows("time_minute_alignment.csv", bin_row, NULL), 9);
}
END

/* Also where a season is a calendar year, as south of the equator. */
TEST(a_season_begins_on_its_day_of_each_year)
{
	static const struct {
		struct date date;
		struct month_day start;
		struct date begin;
	} rows[] = {
		{{2026, 6, 30}, {7, 1}, {2025, 7, 1}},
		{{2026, 7, 1}, {7, 1}, {2026, 7, 1}},
		{{2026, 12, 31}, {7, 1}, {2026, 7, 1}},
		{{2027, 1, 1}, {7, 1}, {2026, 7, 1}},
		{{2026, 1, 1}, {1, 1}, {2026, 1, 1}},
		{{2026, 12, 31}, {1, 1}, {2026, 1, 1}},
		{{2028, 2, 29}, {9, 15}, {2027, 9, 15}},
		{{2028, 9, 14}, {9, 15}, {2027, 9, 15}},
		{{2028, 10, 1}, {9, 15}, {2028, 9, 15}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		ck_assert_int_eq(order(calendar_season(rows[i].date, rows[i].start),
					 rows[i].begin),
			0);
}
END

TEST(unknown_zones_are_refused_and_change_nothing)
{
	static const char *const names[] = {"", "Europe/Nowhere", "Europe",
		"/etc/localtime", "../zoneinfo/UTC", "Europe/../UTC", ":UTC", "CET-1CEST",
		"zone.tab", "tzdata.zi", "UTC/x", "Europe/Berlin ",
		"right/Europe/Berlin"};
	use_zone("Asia/Kathmandu");
	uint64_t digest = calendar_zone_digest();
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		ck_assert_msg(calendar_set_zone(names[i]) == -ENOENT, "%s", names[i]);
		ck_assert_uint_eq(calendar_zone_digest(), digest);
		ck_assert_int_eq(
			calendar_day_start((struct date){1990, 1, 2}) % MS_PER_DAY,
			65700000);
	}
}
END

TEST(the_digest_tells_rules_apart)
{
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	uint64_t berlin = calendar_zone_digest();
	ck_assert_int_eq(calendar_set_zone("Europe/London"), 0);
	ck_assert_uint_ne(calendar_zone_digest(), berlin);
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	ck_assert_uint_eq(calendar_zone_digest(), berlin);
}
END

TESTS(odd_days_start_and_end_as_in_the_table, months_and_years_have_the_minutes_of_the_table,
	a_day_starts_at_the_first_instant_of_its_date, every_instant_lies_in_the_day_of_its_date,
	offsets_with_seconds_start_days_at_whole_minutes, instants_before_1970_have_dates,
	fields_outside_their_range_are_carried_over, adding_carries_over_like_mktime,
	weekdays_and_ordinal_days_are_those_of_iso_8601,
	a_season_begins_on_its_day_of_each_year, bins_are_half_open_below_zero_too,
	unknown_zones_are_refused_and_change_nothing, the_digest_tells_rules_apart)
