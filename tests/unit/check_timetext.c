/*
 * Text forms of instants and durations. RFC 3339's examples and grammar, ISO 8601
 * durations and ambiguous local times come from tests/data, whose rows name their
 * sources.
 */
#include "unit.h"

#include <heatbook/calendar.h>

#include <errno.h>

#define YEAR_0001_MS INT64_C(-62135596800000) /* 0001-01-01T00:00:00Z */
#define YEAR_9999_MS INT64_C(253370764800000) /* 9999-01-01T00:00:00Z */

static void use_zone(const char *zone)
{
	ck_assert_msg(calendar_set_zone(zone) == 0, "%s: no such zone", zone);
}

/* Decimal seconds of a table to ms, toward minus infinity, without floating point. */
static int64_t table_ms(const char *text)
{
	char digits[4] = "000";
	const char *point = strchr(text, '.');
	bool finer = false;
	if (point)
		for (size_t i = 0; point[1 + i]; i++) {
			if (i < 3)
				digits[i] = point[1 + i];
			else
				finer |= point[1 + i] != '0';
		}
	int64_t ms = atoll(digits), s = atoll(text);
	return text[0] == '-' ? s * 1000 - ms - finer : s * 1000 + ms;
}

static void rfc3339_row(char **f, size_t count, void *context)
{
	int64_t t_ms = 42;
	const char *why = NULL;
	size_t *valid = context;
	ck_assert_uint_ge(count, 4);
	int r = time_parse_rfc3339(f[0], &t_ms, &why);
	if (strcmp(f[1], "valid") == 0) {
		ck_assert_msg(r == 0, "%s: %s", f[0], why);
		ck_assert_msg(t_ms == table_ms(f[2]), "%s: %lld", f[0], (long long)t_ms);
		ck_assert_ptr_null(why);
		(*valid)++;
		return;
	}
	ck_assert_msg(r == -EINVAL, "%s: taken", f[0]);
	ck_assert_int_eq(t_ms, 42);
	ck_assert_uint_gt(strlen(why), 10);
}

TEST(date_times_of_the_table_are_taken_or_refused)
{
	size_t valid = 0;
	ck_assert_uint_eq(data_rows("time_rfc3339.csv", rfc3339_row, &valid), 35);
	ck_assert_uint_eq(valid, 16);
}
END

TEST(faults_in_a_date_time_are_named)
{
	static const struct {
		const char *text;
		const char *word;
	} rows[] = {
		{"2025-01-01T00:00:00", "without offset"},
		{"2025-01-01T00:00:00 01:00", "offset"},
		{"2025-01-01T00:00:00+0100", "offset"},
		{"2025-01-01T00:00:00+24:00", "23:59"},
		{"2025-01-01T00:00:00-01:60", "23:59"},
		{"2025-01-01T00:00Z", "HH:MM:SS"},
		{"2025-01-01T24:00:00Z", "hour"},
		{"2025-01-01T00:60:00Z", "minute"},
		{"2025-01-01T00:00:61Z", "second"},
		{"2025-01-01T00:00:00.Z", "decimal"},
		{"2025-01-01T00:00:00,5Z", "offset"},
		{"2025-01-01", "T"},
		{"2025-01-01_00:00:00Z", "T"},
		{"2025-00-01T00:00:00Z", "month"},
		{"2025-04-31T00:00:00Z", "day"},
		{"1900-02-29T00:00:00Z", "day"},
		{"2025-01-00T00:00:00Z", "day"},
		{"-025-01-01T00:00:00Z", "YYYY-MM-DD"},
		{"2025-01-01T00:00:00Z ", "nothing"},
		{"2025-01-01T00:00:00+01:00Z", "nothing"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		int64_t t_ms;
		const char *why = "";
		ck_assert_int_eq(time_parse_rfc3339(rows[i].text, &t_ms, &why), -EINVAL);
		ck_assert_msg(
			strstr(why, rows[i].word) != NULL, "%s: %s", rows[i].text, why);
	}
}
END

TEST(every_shortened_date_time_is_refused)
{
	static const char whole[] = "2025-01-31T10:20:30.456+01:00";
	int64_t t_ms;
	const char *why;
	ck_assert_int_eq(time_parse_rfc3339(whole, &t_ms, &why), 0);
	for (size_t n = 0; n + 1 < sizeof(whole) - 1; n++) {
		_cleanup_(freep) char *part = xstrndup(whole, n);
		ck_assert_int_eq(time_parse_rfc3339(part, &t_ms, &why), -EINVAL);
	}
}
END

	static void
	check_round_trip(int64_t t_ms)
{
	char text[32];
	int64_t back_ms = 0;
	const char *why = "";
	time_text_utc(t_ms, text);
	int r = time_parse_rfc3339(text, &back_ms, &why);
	ck_assert_msg(
		r == 0 && back_ms == t_ms, "%lld: %s %s", (long long)t_ms, text, why);
	time_text_local(t_ms, text);
	r = time_parse_rfc3339(text, &back_ms, &why);
	ck_assert_msg(
		r == 0 && back_ms == t_ms, "%lld: %s %s", (long long)t_ms, text, why);
	/* The local text's first ten bytes are the local date, unless offsets have
	 * seconds. */
	char date[16];
	calendar_date_text(calendar_date(t_ms), date);
	if (t_ms > 100 * 365 * MS_PER_DAY)
		ck_assert_int_eq(strncmp(text, date, 10), 0);
	/* Without its offset the same text is the same instant, told apart by `near_ms`.
	 */
	text[strlen(text) - strlen("+00:00")] = '\0';
	if (t_ms > 3 * 365 * MS_PER_DAY) {
		ck_assert_int_eq(time_parse_local(text, t_ms, &back_ms), 0);
		ck_assert_msg(back_ms == t_ms, "%lld: %s", (long long)t_ms, text);
	}
}

TEST(written_instants_read_back_the_same)
{
	static const char *const zones[] = {"UTC", "Europe/Berlin", "Africa/Monrovia",
		"America/St_Johns", "Australia/Lord_Howe", "Pacific/Apia",
		"Asia/Kathmandu"};
	uint64_t random = unit_seed();
	for (size_t i = 0; i < ARRAY_LEN(zones); i++) {
		use_zone(zones[i]);
		for (int n = 0; n < 20000; n++) {
			check_round_trip(
				unit_random_between(&random, YEAR_0001_MS, YEAR_9999_MS));
			check_round_trip(unit_random_between(
				&random, INT64_C(1262304000000), INT64_C(2051222400000)));
			check_round_trip(1000 * unit_random_between(
							&random, 1577836800, 1893456000));
		}
	}
}
END

TEST(instants_are_written_in_their_canonical_form)
{
	static const struct {
		const char *zone;
		int64_t t_ms;
		const char *utc;
		const char *local;
	} rows[] = {
		{"Europe/Berlin", INT64_C(1769850000000), "2026-01-31T09:00:00Z",
			"2026-01-31T10:00:00+01:00"},
		{"Europe/Berlin", INT64_C(1769850000123), "2026-01-31T09:00:00.123Z",
			"2026-01-31T10:00:00.123+01:00"},
		{"UTC", -1, "1969-12-31T23:59:59.999Z", "1969-12-31T23:59:59.999+00:00"},
		{"America/St_Johns", INT64_C(1769850000000), "2026-01-31T09:00:00Z",
			"2026-01-31T05:30:00-03:30"},
		{"Europe/Berlin", INT64_C(1761438600000), "2025-10-26T00:30:00Z",
			"2025-10-26T02:30:00+02:00"},
		{"Europe/Berlin", INT64_C(1761442200000), "2025-10-26T01:30:00Z",
			"2025-10-26T02:30:00+01:00"},
		/* Beyond what the form can name: the last instant that it can. */
		{"UTC", INT64_MAX, "9999-12-31T23:59:59.999Z",
			"9999-12-31T23:59:59.999+00:00"},
		{"UTC", INT64_MIN, "0000-01-01T00:00:00Z", "0000-01-01T00:00:00+00:00"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		char text[32];
		use_zone(rows[i].zone);
		time_text_utc(rows[i].t_ms, text);
		ck_assert_str_eq(text, rows[i].utc);
		time_text_local(rows[i].t_ms, text);
		ck_assert_str_eq(text, rows[i].local);
	}
}
END

	static int64_t
	local_near(const char *text, int64_t near_ms)
{
	int64_t t_ms = -1;
	ck_assert_msg(time_parse_local(text, near_ms, &t_ms) == 0, "%s", text);
	return t_ms;
}

static void ambiguous_row(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 7);
	use_zone(f[0]);
	int64_t first_ms = atoll(f[3]) * 1000, second_ms = atoll(f[4]) * 1000;
	ck_assert_int_eq(local_near(f[1], first_ms), first_ms);
	ck_assert_int_eq(local_near(f[1], first_ms - 30 * MS_PER_DAY), first_ms);
	bool skipped = strcmp(f[2], "nonexistent") == 0;
	int64_t later_ms = skipped ? first_ms : second_ms;
	ck_assert_int_eq(local_near(f[1], second_ms), later_ms);
	ck_assert_int_eq(local_near(f[1], second_ms + 30 * MS_PER_DAY), later_ms);
	ck_assert_int_eq(local_near(f[1], INT64_MAX), later_ms);
	ck_assert_int_eq(local_near(f[1], INT64_MIN), first_ms);
}

TEST(ambiguous_and_skipped_local_times_resolve_as_in_the_table)
{
	ck_assert_uint_eq(data_rows("time_ambiguous_local.csv", ambiguous_row, NULL), 9);
}
END

/* Berlin set its clock back at 2025-10-26T01:00Z and forward at 2026-03-29T01:00Z. */
TEST(local_times_next_to_a_change_are_exact)
{
	static const int64_t changes_ms[] = {
		INT64_C(1761440400000), INT64_C(1774746000000)};
	use_zone("Europe/Berlin");
	for (size_t i = 0; i < ARRAY_LEN(changes_ms); i++)
		for (int64_t ms = -2 * MS_PER_HOUR; ms <= 2 * MS_PER_HOUR; ms += 499)
			check_round_trip(changes_ms[i] + ms);
	/* 03:00 came once: an hour after the change, wherever the neighbour is. */
	ck_assert_int_eq(local_near("2025-10-26T03:00:00", INT64_MIN),
		changes_ms[0] + MS_PER_HOUR);
	ck_assert_int_eq(local_near("2025-10-26T02:00:00", INT64_MAX), changes_ms[0]);
	ck_assert_int_eq(local_near("2025-10-26T01:59:59.999", INT64_MAX),
		changes_ms[0] - MS_PER_HOUR - 1);
	ck_assert_int_eq(local_near("2026-03-29T03:00", INT64_MIN), changes_ms[1]);
}
END

TEST(local_times_may_leave_out_seconds)
{
	static const char *const same[] = {"2026-01-31T10:00", "2026-01-31 10:00",
		"2026-01-31T10:00:00", "2026-01-31t10:00:00.0",
		"2026-01-31 09:59:60.0009"};
	static const char *const wrong[] = {"2026-01-31", "2026-01-31T10",
		"2026-01-31T10:0", "2026-01-31T10:00:", "2026-01-31T10:00:00.",
		"2026-01-31T10:00Z", "2026-01-31T10:00+01:00", "2026-01-31T24:00",
		"2026-02-29T10:00", "", " 2026-01-31T10:00", "2026-01-31T10:00 ",
		"31.01.2026 10:00"};
	use_zone("Europe/Berlin");
	for (size_t i = 0; i < ARRAY_LEN(same); i++)
		ck_assert_int_eq(local_near(same[i], 0), INT64_C(1769850000000));
	for (size_t i = 0; i < ARRAY_LEN(wrong); i++) {
		int64_t t_ms = 42;
		ck_assert_int_eq(time_parse_local(wrong[i], 0, &t_ms), -EINVAL);
		ck_assert_int_eq(t_ms, 42);
	}
}
END

	/* Nominal rows of the table have their meaning in words; here it is in numbers.
	 */
	static const struct {
	const char *text;
	struct duration d;
} nominal[] = {
	{"P1D", {0, 0, 1, 0}},
	{"P1W", {0, 0, 7, 0}},
	{"P1M", {0, 1, 0, 0}},
	{"P1Y", {1, 0, 0, 0}},
	{"P1Y2M10DT2H30M", {1, 2, 10, 9000000}},
};

static bool same_duration(const struct duration *a, const struct duration *b)
{
	return a->years == b->years && a->months == b->months && a->days == b->days &&
	       a->exact_ms == b->exact_ms;
}

static void duration_row(char **f, size_t count, void *context)
{
	struct duration d = {-1, -1, -1, -1}, untouched = d, want = {0};
	size_t *found = context;
	ck_assert_uint_ge(count, 3);
	int r = duration_parse(f[0], &d);
	if (strcmp(f[1], "valid") != 0) {
		ck_assert_msg(r == -EINVAL, "%s: taken", f[0]);
		ck_assert(same_duration(&d, &untouched));
		return;
	}
	ck_assert_msg(r == 0, "%s: refused", f[0]);
	want.exact_ms = atoll(f[2]) * 1000;
	for (size_t i = 0; i < ARRAY_LEN(nominal); i++)
		if (strcmp(nominal[i].text, f[0]) == 0) {
			want = nominal[i].d;
			(*found)++;
		}
	ck_assert_msg(same_duration(&d, &want), "%s", f[0]);
}

TEST(durations_of_the_table_are_taken_or_refused)
{
	size_t found = 0;
	ck_assert_uint_eq(
		data_rows("time_iso8601_durations.csv", duration_row, &found), 25);
	ck_assert_uint_eq(found, ARRAY_LEN(nominal));
}
END

TEST(decimals_of_durations_are_exact_to_a_millisecond)
{
	static const struct {
		const char *text;
		int64_t exact_ms;
	} rows[] = {
		{"PT0.001S", 1},
		{"PT0,5S", 500},
		{"PT1.9999S", 1999},
		{"PT1H0.25M", 3615000},
		{"PT0.1H", 360000},
		{"PT0.3333333333333333H", 1199999},
		{"P0DT1M", 60000},
		{"PT007M", 420000},
		{"PT100000000000H", INT64_C(360000000000000000)},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct duration d = {0};
		ck_assert_msg(duration_parse(rows[i].text, &d) == 0, "%s", rows[i].text);
		ck_assert_msg(d.exact_ms == rows[i].exact_ms, "%s: %lld", rows[i].text,
			(long long)d.exact_ms);
	}
}
END

TEST(durations_without_a_meaning_are_refused)
{
	static const char *const texts[] = {"", "1", "P1", "PT1", "P1DT", "P1W2D",
		"P1Y1W", "P0.5D", "P0.5W", "P1.5Y", "PT.5H", "PT1.H", "PT1.5", "+PT1H",
		"-PT1H", "pt1h", "PT1h", "P1D ", " P1D", "PT1H ", "P1DT1HT1M", "PTT1H",
		"PT1D", "P1D1Y", "P100000001D", "P14285715W", "PT100000000001S",
		"P99999999999999999999D", "PT1e3S", "P1M1Y"};
	for (size_t i = 0; i < ARRAY_LEN(texts); i++) {
		struct duration d;
		ck_assert_msg(duration_parse(texts[i], &d) == -EINVAL, "%s", texts[i]);
	}
}
END

TESTS(date_times_of_the_table_are_taken_or_refused, faults_in_a_date_time_are_named,
	every_shortened_date_time_is_refused, written_instants_read_back_the_same,
	instants_are_written_in_their_canonical_form,
	ambiguous_and_skipped_local_times_resolve_as_in_the_table,
	local_times_next_to_a_change_are_exact, local_times_may_leave_out_seconds,
	durations_of_the_table_are_taken_or_refused,
	decimals_of_durations_are_exact_to_a_millisecond,
	durations_without_a_meaning_are_refused)
