/*
 * Texts of times. A first line is a pattern for what follows in the second; every other
 * reader gets the last line. What is read as an instant is written and read again; local
 * times come back from the C library's own localtime_r().
 */
#include "fuzz.h"

#include <heatbook/calendar.h>
#include <heatbook/payload.h>
#include <heatbook/record.h>
#include <heatbook/timepattern.h>
#include <heatbook/wall_clock.h>

#include <time.h>

#define ZONE     "Europe/Berlin"
#define NOW_MS   INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */
#define LEAST_MS INT64_C(1577836800000) /* 2020-01-01T00:00:00Z */
/* Beyond, the C library's tables and four-digit years end. */
#define LOCAL_LEAST_MS (INT64_C(-60000000) * 1000 * 1000)
#define LOCAL_MOST_MS  (INT64_C(250000000) * 1000 * 1000)

static void check_instants(const char *text)
{
	const char *why = NULL;
	char written[32];
	int64_t t_ms = 0, back_ms = 0;
	struct wall_time wall;
	bool absolute = time_parse_rfc3339(text, &t_ms, &why) == 0;
	HOLDS(absolute || why, "no reason is given");
	if (absolute) {
		time_text_utc(t_ms, written);
		HOLDS(time_parse_rfc3339(written, &back_ms, &why) == 0,
			"%s cannot be read", written);
		/* Years 0000 and 9999 with offsets reach beyond what can be written. */
		HOLDS(back_ms == t_ms || t_ms < INT64_C(-62167219200000) ||
				t_ms > INT64_C(253402300799999),
			"%s is not %lld", written, (long long)t_ms);
	}
	if (!wall_time_parse(text, strlen(text), &wall))
		return;
	HOLDS(!wall.has_offset ||
			(wall.offset_ms <= MS_PER_DAY && wall.offset_ms >= -MS_PER_DAY),
		"offset %lld", (long long)wall.offset_ms);
	if (absolute && wall.has_offset)
		HOLDS(wall.local_ms - wall.offset_ms == t_ms, "%s: %lld and %lld", text,
			(long long)(wall.local_ms - wall.offset_ms), (long long)t_ms);
}

static int64_t local_of(int64_t t_ms)
{
	time_t t = (time_t)floor_div(t_ms, 1000);
	struct tm tm;
	HOLDS(localtime_r(&t, &tm), "%lld", (long long)t_ms);
	return (int64_t)timegm(&tm) * 1000 + (t_ms - (int64_t)t * 1000);
}

static void check_local(const char *text, struct wall_clock *clock)
{
	struct wall_time wall;
	char written[32];
	int64_t t_ms, back_ms;
	if (time_parse_local(text, NOW_MS, &t_ms) == 0 && t_ms > LOCAL_LEAST_MS &&
		t_ms < LOCAL_MOST_MS) {
		const char *why;
		time_text_local(t_ms, written);
		HOLDS(time_parse_rfc3339(written, &back_ms, &why) == 0 && back_ms == t_ms,
			"%s is not %lld", written, (long long)t_ms);
	}
	if (!wall_time_parse(text, strlen(text), &wall) ||
		wall.local_ms < STAMP_LEAST_MS || wall.local_ms >= STAMP_END_MS)
		return;
	int r = wall_clock_resolve(clock, wall.local_ms, wall.offset_ms & 1, &t_ms);
	HOLDS(r == 0 || r == WALL_TWICE || r == WALL_SKIPPED, "verdict %d", r);
	if (r != WALL_SKIPPED)
		HOLDS(local_of(t_ms) == wall.local_ms, "%s: %lld", text, (long long)t_ms);
	else
		HOLDS(local_of(t_ms) != wall.local_ms, "%s is not skipped", text);
}

static void check_payload(const char *text)
{
	for (int form = 0; form <= TIME_FORM_ISO; form++) {
		int64_t t_ms = 0, again_ms = 0;
		int r = payload_time_text(
			text, strlen(text), (enum time_form)form, NOW_MS, &t_ms);
		HOLDS(r <= 0, "verdict %d", r);
		if (r == 0) {
			HOLDS(t_ms == NOW_MS || t_ms >= LEAST_MS, "%lld",
				(long long)t_ms);
			(void)payload_time_text(text, strlen(text), (enum time_form)form,
				NOW_MS, &again_ms);
			HOLDS(again_ms == t_ms, "another verdict");
		}
		double number;
		if (number_parse(text, strlen(text), &number) == 0 &&
			payload_time_number(
				number, (enum time_form)form, NOW_MS, &t_ms) == 0)
			HOLDS(t_ms == NOW_MS || t_ms >= LEAST_MS, "%lld",
				(long long)t_ms);
	}
}

/* A decimal number equals strtod(3) of it in the C locale. */
static void check_number(const char *text)
{
	double ours;
	char *end;
	if (number_parse(text, strlen(text), &ours) != 0)
		return;
	double theirs = strtod(text, &end);
	HOLDS(!*end && memcmp(&ours, &theirs, sizeof(ours)) == 0, "%s: %.17g, %.17g",
		text, ours, theirs);
}

static void check_duration(const char *text)
{
	struct duration d;
	if (duration_parse(text, &d) == 0)
		HOLDS(d.years >= 0 && d.months >= 0 && d.days >= 0 && d.exact_ms >= 0 &&
				d.years <= DURATION_MOST && d.months <= DURATION_MOST,
			"%s", text);
	int64_t t_ms;
	(void)time_parse_day(text, 1, &t_ms);
	for (int64_t per = 0; per <= 1000000000; per = per ? per * 1000 : 1)
		if (time_number_read(text, strlen(text), per, &t_ms))
			HOLDS(t_ms >= 0, "%s: %lld", text, (long long)t_ms);
}

static void check_pattern(const char *pattern_text, const char *text)
{
	struct time_pattern pattern;
	struct written_time wall;
	const char *why = NULL;
	int64_t t_ms;
	if (time_pattern_compile(pattern_text, &pattern, &why) != 0) {
		HOLDS(why, "no reason is given");
		return;
	}
	if (!time_pattern_read(&pattern, text, strlen(text), &wall, &why)) {
		HOLDS(why, "no reason is given");
		return;
	}
	HOLDS(wall.month >= 1 && wall.month <= 12 && wall.day >= 1 && wall.day <= 31 &&
			wall.clock_ms >= 0 && wall.clock_ms <= MS_PER_DAY + 1000 &&
			(wall.year == 0 || pattern.year),
		"%s", text);
	if (written_time_ms(&wall, 2024, &t_ms))
		HOLDS(t_ms >= INT64_C(1704067200000) && t_ms <= INT64_C(1735689601000),
			"%lld is not in 2024", (long long)t_ms);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct wall_clock *clock;
	if (!clock) {
		HOLDS(calendar_set_zone(ZONE) == 0, ZONE);
		HOLDS(wall_clock_new(ZONE, &clock) == 0, ZONE);
	}
	wall_clock_reset(clock);
	char *text = text_of(data, size), *last = strchr(text, '\n');
	if (last) {
		*last++ = '\0';
		check_pattern(text, last);
	} else {
		check_pattern(TIME_PATTERN_ISO, text);
		last = text;
	}
	check_instants(last);
	check_local(last, clock);
	check_payload(last);
	check_number(last);
	check_duration(last);
	free(text);
	return 0;
}
