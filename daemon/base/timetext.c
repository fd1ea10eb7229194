/*
 * Text forms of instants and spans: RFC 3339 date-times, local times of the plant's zone,
 * ISO 8601 durations. See calendar.h.
 *
 * Parsing is by bytes, independent of locale, and takes the whole text or nothing. Fields
 * have their exact number of digits; nothing is normalised but second 60. Years are 0000
 * to 9999, so no sum below can overflow.
 */
#include <heatbook/calendar.h>

#include "zone.h"

#include <errno.h>
#include <string.h>

#define MIN_LOCAL_MS (INT64_C(-62167219200) * 1000)       /* 0000-01-01T00:00:00 */
#define MAX_LOCAL_MS (INT64_C(253402300799) * 1000 + 999) /* 9999-12-31T23:59:59.999 */

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* Reads exactly `count` digits. */
static bool digits(const char **p, int count, int *ret)
{
	int n = 0;
	for (int i = 0; i < count; i++, (*p)++) {
		if (!is_digit(**p))
			return false;
		n = n * 10 + (**p - '0');
	}
	*ret = n;
	return true;
}

static bool mark(const char **p, char c)
{
	if (**p != c)
		return false;
	(*p)++;
	return true;
}

static int days_in_month(int year, int month)
{
	return (int)(day_number(year, month + 1, 1) - day_number(year, month, 1));
}

/* All parsers below return NULL, or what is wrong. */

static const char *parse_date(const char **p, int64_t *ret_day)
{
	int year, month, day;
	if (!digits(p, 4, &year) || !mark(p, '-') || !digits(p, 2, &month) ||
		!mark(p, '-') || !digits(p, 2, &day))
		return "the date must be written as YYYY-MM-DD";
	if (month < 1 || month > 12)
		return "the month must be 01 to 12";
	if (day < 1 || day > days_in_month(year, month))
		return "the month has no such day";
	*ret_day = day_number(year, month, day);
	return NULL;
}

/* One digit or more after the point; those past the third are dropped. */
static const char *parse_fraction(const char **p, int *ret_ms)
{
	int ms = 0, unit = 100;
	if (!is_digit(**p))
		return "a decimal point must be followed by digits";
	for (; is_digit(**p); (*p)++, unit /= 10)
		ms += (**p - '0') * unit;
	*ret_ms = ms;
	return NULL;
}

static const char *parse_seconds(const char **p, int *ret_second, int *ret_ms)
{
	if (!digits(p, 2, ret_second))
		return "the time must be written as HH:MM:SS";
	if (*ret_second > 60)
		return "the second must be 00 to 60";
	return mark(p, '.') ? parse_fraction(p, ret_ms) : NULL;
}

/* "HH:MM:SS[.fraction]"; with `short_form`, "HH:MM" is enough. */
static const char *parse_clock(const char **p, bool short_form, int64_t *ret_ms)
{
	int hour, minute, second = 0, ms = 0;
	if (!digits(p, 2, &hour) || !mark(p, ':') || !digits(p, 2, &minute))
		return "the time must be written as HH:MM:SS";
	if (hour > 23)
		return "the hour must be 00 to 23";
	if (minute > 59)
		return "the minute must be 00 to 59";
	if (mark(p, ':')) {
		const char *why = parse_seconds(p, &second, &ms);
		if (why)
			return why;
	} else if (!short_form)
		return "the time must be written as HH:MM:SS";
	*ret_ms = ((hour * 60 + minute) * 60 + second) * INT64_C(1000) + ms;
	return NULL;
}

static const char *parse_date_time(const char **p, bool short_form, int64_t *ret_local_ms)
{
	int64_t day, clock_ms;
	const char *why = parse_date(p, &day);
	if (why)
		return why;
	if (!mark(p, 'T') && !mark(p, 't') && !mark(p, ' '))
		return "the date must be followed by T and a time";
	why = parse_clock(p, short_form, &clock_ms);
	if (why)
		return why;
	*ret_local_ms = day * MS_PER_DAY + clock_ms;
	return NULL;
}

static const char *parse_offset(const char **p, int64_t *ret_ms)
{
	static const char form[] = "the offset must be written as Z, +HH:MM or -HH:MM";
	int hour, minute;
	*ret_ms = 0;
	if (mark(p, 'Z') || mark(p, 'z'))
		return NULL;
	if (**p == '\0')
		return "a local time without offset: add Z or an offset such as +01:00";
	bool west = mark(p, '-');
	if (!west && !mark(p, '+'))
		return form;
	if (!digits(p, 2, &hour) || !mark(p, ':') || !digits(p, 2, &minute))
		return form;
	if (hour > 23 || minute > 59)
		return "the offset must be at most 23:59";
	*ret_ms = (hour * 60 + minute) * MS_PER_MIN * (west ? -1 : 1);
	return NULL;
}

static const char *parse_rfc3339(const char *p, int64_t *ret_ms)
{
	int64_t local_ms, offset_ms;
	const char *why = parse_date_time(&p, false, &local_ms);
	if (!why)
		why = parse_offset(&p, &offset_ms);
	if (why)
		return why;
	if (*p)
		return "nothing may follow the offset";
	*ret_ms = local_ms - offset_ms;
	return NULL;
}

int time_parse_rfc3339(const char *text, int64_t *ret_ms, const char **ret_why)
{
	const char *why = parse_rfc3339(text, ret_ms);
	if (!why)
		return 0;
	*ret_why = why;
	return -EINVAL;
}

static uint64_t distance(int64_t a, int64_t b)
{
	return a > b ? (uint64_t)a - (uint64_t)b : (uint64_t)b - (uint64_t)a;
}

int time_parse_local(const char *text, int64_t near_ms, int64_t *ret_ms)
{
	const char *p = text;
	int64_t local_ms;
	if (parse_date_time(&p, true, &local_ms) || *p)
		return -EINVAL;
	struct zone_change c = zone_change_near(floor_div(local_ms, 1000));
	int64_t at_ms = c.at_s * 1000;
	int64_t before_ms = local_ms - c.before_s * 1000;
	int64_t after_ms = local_ms - c.after_s * 1000;
	bool is_before = !c.any || before_ms < at_ms;
	bool is_after = c.any && after_ms >= at_ms;
	bool take_after =
		is_after && (!is_before || distance(after_ms, near_ms) <
						   distance(before_ms, near_ms));
	*ret_ms = take_after ? after_ms : before_ms;
	return 0;
}

int time_parse_day(const char *text, int days, int64_t *ret_ms)
{
	char instant[32];
	int64_t t_ms;
	if (strlen(text) != 10)
		return -EINVAL;
	/* At noon: a day may begin at 01:00, and no zone skips a noon without its day. */
	(void)snprintf(instant, sizeof(instant), "%sT12:00", text);
	if (time_parse_local(instant, 0, &t_ms) != 0)
		return -EINVAL;
	*ret_ms = calendar_day_start(calendar_add(calendar_date(t_ms), 0, 0, days));
	return 0;
}

/* Writes `value` with `count` digits and returns the place after them. */
static char *put(char *p, int64_t value, int count)
{
	for (int i = count - 1; i >= 0; i--, value /= 10)
		p[i] = (char)('0' + value % 10);
	return p + count;
}

static char *put_mark(char *p, char c)
{
	*p = c;
	return p + 1;
}

/* "2026-01-31T10:00:00[.123]" of a time on the local clock. */
static char *put_date_time(char *p, int64_t local_ms)
{
	int64_t day = floor_div(local_ms, MS_PER_DAY);
	int64_t ms = local_ms - day * MS_PER_DAY;
	/* Day numbers of dates start in 1970; days are few enough for int. */
	struct date date = calendar_add((struct date){1970, 1, 1}, 0, 0, (int)day);
	p = put_mark(put(p, date.year, 4), '-');
	p = put_mark(put(p, date.month, 2), '-');
	p = put_mark(put(p, date.day, 2), 'T');
	p = put_mark(put(p, ms / MS_PER_HOUR, 2), ':');
	p = put_mark(put(p, ms / MS_PER_MIN % 60, 2), ':');
	p = put(p, ms / 1000 % 60, 2);
	return ms % 1000 ? put(put_mark(p, '.'), ms % 1000, 3) : p;
}

static int64_t within_years(int64_t local_ms)
{
	if (local_ms < MIN_LOCAL_MS)
		return MIN_LOCAL_MS;
	return local_ms > MAX_LOCAL_MS ? MAX_LOCAL_MS : local_ms;
}

void time_text_local(int64_t t_ms, char text[static 32])
{
	int64_t in_range_ms = within_years(t_ms);
	/* The form has no seconds of offset: cut them, and the text still is that
	 * instant. */
	int64_t offset_min = floor_div(zone_offset_s(floor_div(in_range_ms, 1000)), 60);
	int64_t ahead_min = offset_min < 0 ? -offset_min : offset_min;
	char *p =
		put_date_time(text, within_years(in_range_ms + offset_min * MS_PER_MIN));
	p = put_mark(p, offset_min < 0 ? '-' : '+');
	p = put_mark(put(p, ahead_min / 60, 2), ':');
	*put(p, ahead_min % 60, 2) = '\0';
}

void time_text_utc(int64_t t_ms, char text[static 32])
{
	char *p = put_date_time(text, within_years(t_ms));
	*put_mark(p, 'Z') = '\0';
}

/* One number of a duration: whole part, and decimals in billionths. */
struct number {
	int64_t whole;
	int64_t billionths;
	bool has_decimals;
};

static bool parse_number(const char **p, int64_t most, struct number *ret)
{
	struct number n = {0};
	if (!is_digit(**p))
		return false;
	for (; is_digit(**p); (*p)++) {
		n.whole = n.whole * 10 + (**p - '0');
		if (n.whole > most)
			return false;
	}
	if (mark(p, '.') || mark(p, ',')) {
		n.has_decimals = true;
		if (!is_digit(**p))
			return false;
		for (int64_t unit = 100000000; is_digit(**p); (*p)++, unit /= 10)
			n.billionths += (**p - '0') * unit;
	}
	*ret = n;
	return true;
}

/* The components of one half in their order, each at most once; stops at '\0' and, in the
 * calendar half, at T. Returns how many were read, or -1. */
static int parse_calendar_half(const char **p, struct duration *d)
{
	static const char units[] = "YMD";
	const char *next = units;
	int count = 0;
	for (; **p && **p != 'T'; count++) {
		struct number n;
		if (!parse_number(p, DURATION_MOST, &n) || n.has_decimals || !**p)
			return -1; /* a part of a day, month or year has no fixed length
				    */
		const char *unit = strchr(next, **p);
		if (!unit)
			return -1;
		*(*unit == 'Y'         ? &d->years
			: *unit == 'M' ? &d->months
				       : &d->days) = (int)n.whole;
		next = unit + 1;
		(*p)++;
	}
	return count;
}

static int parse_exact_half(const char **p, struct duration *d)
{
	static const char units[] = "HMS";
	static const int64_t unit_ms[] = {MS_PER_HOUR, MS_PER_MIN, 1000};
	const char *next = units;
	int count = 0;
	for (; **p; count++) {
		struct number n;
		if (!parse_number(p, DURATION_MOST * 1000, &n) || !**p)
			return -1;
		const char *unit = strchr(next, **p);
		if (!unit || (n.has_decimals && (*p)[1]))
			return -1;
		d->exact_ms += n.whole * unit_ms[unit - units] +
			       n.billionths * unit_ms[unit - units] / 1000000000;
		next = unit + 1;
		(*p)++;
	}
	return count;
}

/* "nW" and nothing else: ISO 8601 has weeks as a form of their own. */
static bool parse_weeks(const char *p, struct duration *d)
{
	struct number n;
	if (!parse_number(&p, DURATION_MOST / 7, &n) || n.has_decimals ||
		strcmp(p, "W") != 0)
		return false;
	d->days = (int)n.whole * 7;
	return true;
}

int duration_parse(const char *text, struct duration *ret)
{
	struct duration d = {0};
	const char *p = text;
	if (!mark(&p, 'P'))
		return -EINVAL;
	if (!parse_weeks(p, &d)) {
		int nominal = parse_calendar_half(&p, &d);
		bool timed = nominal >= 0 && mark(&p, 'T');
		int exact = timed ? parse_exact_half(&p, &d) : 0;
		if (nominal < 0 || exact < 0 || (timed ? exact : nominal) == 0)
			return -EINVAL;
	}
	*ret = d;
	return 0;
}
