/*
 * Local times of any zone: the table of ambiguous and skipped ones (computed with
 * Python's zoneinfo), orders of lines worked out by hand, and shapes of ISO 8601 times
 * (ISO 8601-1:2019, from memory).
 */
#include "unit.h"

#include <heatbook/calendar.h>
#include <heatbook/wall_clock.h>

#include <errno.h>
#include <time.h>

static struct wall_clock *clock_of(const char *zone)
{
	struct wall_clock *clock = NULL;
	ck_assert_msg(wall_clock_new(zone, &clock) == 0, "%s", zone);
	return clock;
}

static int64_t local_of(const char *text)
{
	struct wall_time time;
	ck_assert_msg(wall_time_parse(text, strlen(text), &time), "%s", text);
	ck_assert(!time.has_offset);
	return time.local_ms;
}

/* The line before lies a minute before the wanted instant, which decides. */
static void ambiguous_row(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 7);
	struct wall_clock *clock = clock_of(f[0]);
	int64_t local_ms = local_of(f[1]), t_ms;
	bool twice = strcmp(f[2], "ambiguous") == 0;
	int wanted = twice                              ? WALL_TWICE
		     : strcmp(f[2], "nonexistent") == 0 ? WALL_SKIPPED
							: 0;
	ck_assert_int_eq(wall_clock_resolve(clock, local_ms, false, &t_ms), wanted);
	ck_assert_msg(
		t_ms == atoll(f[3]) * 1000, "%s %s: %lld", f[0], f[1], (long long)t_ms);
	if (twice) { /* the same name again, in a table: the other one */
		ck_assert_int_eq(
			wall_clock_resolve(clock, local_ms, true, &t_ms), WALL_TWICE);
		ck_assert_int_eq(t_ms, atoll(f[4]) * 1000);
	}
	wall_clock_free(clock);
}

TEST(odd_local_times_are_as_in_the_table)
{
	ck_assert_uint_ge(data_rows("time_ambiguous_local.csv", ambiguous_row, NULL), 8);
}
END

/* Berlin, 2025-10-26: 03:00 summer time became 02:00. Minutes since 2025-10-26T00:00Z. */
TEST(the_order_of_lines_tells_which_hour_it_is)
{
	static const struct {
		const char *what;
		bool unique;
		struct {
			const char *clock;
			int minute;
		} lines[8];
	} runs[] = {
		{"forward by 15 minutes", true,
			{{"01:45", -15}, {"02:00", 0}, {"02:30", 30}, {"02:45", 45},
				{"02:00", 60}, {"02:15", 75}, {"03:00", 120}}},
		{"back by 15 minutes", true,
			{{"03:00", 120}, {"02:45", 105}, {"02:30", 90}, {"02:00", 60},
				{"02:45", 45}, {"02:15", 15}, {"01:59", -1}}},
		{"forward by half an hour", true,
			{{"02:00", 0}, {"02:30", 30}, {"02:00", 60}, {"02:30", 90},
				{"03:00", 120}}},
		{"back by half an hour", true,
			{{"03:00", 120}, {"02:30", 90}, {"02:00", 60}, {"02:30", 30},
				{"02:00", 0}}},
		{"forward by an hour", true,
			{{"01:00", -60}, {"02:00", 0}, {"02:00", 60}, {"03:00", 120}}},
		{"back by an hour", true,
			{{"03:00", 120}, {"02:00", 60}, {"02:00", 0}, {"01:00", -60}}},
		{"a log with a step back in between", false,
			{{"02:29", 29}, {"02:29", 29}, {"02:28", 28}, {"02:50", 50},
				{"02:05", 65}, {"02:05", 65}, {"02:04", 64},
				{"02:30", 90}}},
	};
	const int64_t begin_ms = INT64_C(1761436800000);
	struct wall_clock *clock = clock_of("Europe/Berlin");
	for (size_t i = 0; i < ARRAY_LEN(runs); i++) {
		wall_clock_reset(clock);
		for (size_t k = 0; k < 8 && runs[i].lines[k].clock; k++) {
			char text[32];
			int64_t t_ms;
			(void)snprintf(text, sizeof(text), "2025-10-26T%s",
				runs[i].lines[k].clock);
			(void)wall_clock_resolve(
				clock, local_of(text), runs[i].unique, &t_ms);
			ck_assert_msg(
				t_ms == begin_ms + runs[i].lines[k].minute * MS_PER_MIN,
				"%s, line %zu: minute %lld", runs[i].what, k + 1,
				(long long)((t_ms - begin_ms) / MS_PER_MIN));
		}
	}
	wall_clock_free(clock);
}
END

TEST(the_plants_zone_stays_in_force)
{
	ck_assert_int_eq(calendar_set_zone("Asia/Kolkata"), 0);
	struct wall_clock *clock = clock_of("America/New_York"), *none = NULL;
	int64_t t_ms;
	ck_assert_int_eq(
		wall_clock_resolve(clock, local_of("2025-06-01T00:00"), false, &t_ms), 0);
	ck_assert_int_eq(t_ms, INT64_C(1748750400000));
	ck_assert_int_eq(wall_clock_new("Nowhere/Land", &none), -ENOENT);
	wall_clock_free(clock);
	char text[32];
	time_text_local(t_ms, text);
	ck_assert_str_eq(text, "2025-06-01T09:30:00+05:30");
}
END

	/* In force, so that the C library alone says where its changes are. */
	static long
	offset_s(int64_t t_ms)
{
	time_t t_s = (time_t)floor_div(t_ms, 1000);
	struct tm tm;
	ck_assert_ptr_nonnull(localtime_r(&t_s, &tm));
	return tm.tm_gmtoff;
}

enum { ABOUT_H = 26, LEAP_MOST_S = 12 * 3600 };

/* Ten minutes on about the changes of a zone and, with EVERY=1 of the environment, all
 * of the time; else by a leap that ends before a change is near. */
static int64_t next_ms(int64_t t_ms, bool every, uint64_t *random)
{
	const int64_t about_ms = ABOUT_H * MS_PER_HOUR;
	if (every || offset_s(t_ms - about_ms) != offset_s(t_ms + about_ms))
		return (floor_div(t_ms, 10 * MS_PER_MIN) + 1) * 10 * MS_PER_MIN;
	return t_ms + 1000 * unit_random_between(random, 1, LEAP_MOST_S);
}

/* Ten years, both ways between local time and instant; returns how many instants. */
static size_t lead_back(const char *zone, bool every, uint64_t *random)
{
	struct wall_clock *clock = clock_of(zone);
	size_t count = 0;
	ck_assert_int_eq(calendar_set_zone(zone), 0);
	for (int64_t t_ms = INT64_C(1293840000000); t_ms < INT64_C(1609459200000);
		t_ms = next_ms(t_ms, every, random), count++) {
		char text[32];
		int64_t back_ms;
		time_text_local(t_ms, text);
		text[19] = '\0'; /* without the offset */
		int r = wall_clock_resolve(clock, local_of(text), false, &back_ms);
		ck_assert_msg(r != WALL_SKIPPED && back_ms == t_ms, "%s %s", zone, text);
	}
	wall_clock_free(clock);
	return count;
}

TEST(local_times_of_instants_lead_back_to_them)
{
	static const struct {
		const char *zone;
		size_t changes; /* of its offset, 2011 to 2020: tz database 2025b */
	} zones[] = {{"Europe/Berlin", 20}, {"Australia/Lord_Howe", 20},
		{"America/Sao_Paulo", 17}, {"Pacific/Apia", 21}, {"UTC", 0},
		{"Asia/Kathmandu", 0}};
	const bool every = getenv("EVERY") != NULL;
	uint64_t random = unit_seed();
	for (size_t i = 0; i < ARRAY_LEN(zones); i++) {
		size_t about = zones[i].changes * (2 * ABOUT_H - LEAP_MOST_S / 3600) * 6;
		size_t count = lead_back(zones[i].zone, every, &random);
		ck_assert_msg(
			count > about + 5000, "%s: %zu instants", zones[i].zone, count);
	}
}
END

TEST(shapes_of_times_have_their_verdict)
{
	static const struct {
		const char *text;
		int64_t t_ms; /* -1: refused */
		bool local;
	} rows[] = {
		{"2026-01-31T10:00:00Z", 0, false},
		{"2026-01-31T11:00:00+01:00", 0, false},
		{"2026-01-31T11:00:00+0100", 0, false},
		{"2026-01-31T11:00:00+01", 0, false},
		{"2026-01-31 05:30:00-0430", 0, false},
		{"2026-01-31t10:00:00.0z", 0, false},
		{"2026-01-31T10:00:00.123456789Z", 123, false},
		{"2026-01-31T10:00:00,5+00:00", 500, false},
		{"2026-01-31T10:00Z", 0, false},
		{"2026-01-31T10:00", 0, true},
		{"2026-01-31 10:00:00", 0, true},
		{"2026-01-31T10:00:00.25", 250, true},
		{"2026-01-31T09:59:60Z", 0, false},
		{"2026-01-31", -1, false},
		{"2026-01-31T", -1, false},
		{"2026-01-31T10", -1, false},
		{"2026-01-31T10:0", -1, false},
		{"2026-01-31T10:00:", -1, false},
		{"2026-01-31T10:00:00.", -1, false},
		{"2026-01-31T10:00:00.Z", -1, false},
		{"2026-01-31T10:00:61Z", -1, false},
		{"2026-01-31T24:00:00Z", -1, false},
		{"2026-01-31T10:60:00Z", -1, false},
		{"2026-02-29T10:00:00Z", -1, false},
		{"2026-00-31T10:00:00Z", -1, false},
		{"2026-13-31T10:00:00Z", -1, false},
		{"2026-01-00T10:00:00Z", -1, false},
		{"26-01-31T10:00:00Z", -1, false},
		{"2026-1-31T10:00:00Z", -1, false},
		{"20260131T100000Z", -1, false},
		{"2026-01-31T10:00:00+1", -1, false},
		{"2026-01-31T10:00:00+01:", -1, false},
		{"2026-01-31T10:00:00+01:0", -1, false},
		{"2026-01-31T10:00:00+24:00", -1, false},
		{"2026-01-31T10:00:00+01:60", -1, false},
		{"2026-01-31T10:00:00 +01:00", -1, false},
		{"2026-01-31T10:00:00Z ", -1, false},
		{" 2026-01-31T10:00:00Z", -1, false},
		{"", -1, false},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		size_t length = strlen(rows[i].text);
		char *text = xmalloc(length + (length == 0)); /* a read past it is seen */
		struct wall_time time = {0};
		memcpy(text, rows[i].text, length);
		bool good = wall_time_parse(text, length, &time);
		ck_assert_msg(good == (rows[i].t_ms >= 0), "'%s'", rows[i].text);
		if (good) {
			ck_assert_msg(
				time.has_offset != rows[i].local, "'%s'", rows[i].text);
			ck_assert_msg(time.local_ms - time.offset_ms ==
					      INT64_C(1769853600000) + rows[i].t_ms,
				"'%s'", rows[i].text);
		}
		free(text);
	}
}
END

TESTS(odd_local_times_are_as_in_the_table, the_order_of_lines_tells_which_hour_it_is,
	the_plants_zone_stays_in_force, local_times_of_instants_lead_back_to_them,
	shapes_of_times_have_their_verdict)
