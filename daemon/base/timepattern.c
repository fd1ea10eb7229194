/*
 * Date-times by patterns, and numeric times. See timepattern.h.
 *
 * A table may have millions of rows, so a text is read in one pass, by bytes, without
 * locale and without a copy.
 */
#include <heatbook/timepattern.h>

#include "zone.h"

#include <errno.h>
#include <string.h>

#define SURE_DIGITS 18 /* of a number, that do not overflow */

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* ---- patterns ---- */

/* The words of a pattern, longest first, and the step that each is. */
static const struct word {
	const char *text;
	char step;
} words[] = {{"YYYY", 'Y'}, {"YY", 'y'}, {"MM", 'M'}, {"DD", 'D'}, {"hh", 'h'},
	{"mm", 'm'}, {"ss", 's'}};

static const char *add_step(struct time_pattern *p, size_t *count, char step)
{
	if (*count + 1 == TIME_PATTERN_MOST)
		return "is too long for a pattern of times";
	if (strchr("YyMDhms", step) && strchr(p->steps, step))
		return "names a part of the time twice";
	p->steps[(*count)++] = step;
	return NULL;
}

static const char *compile(const char *text, struct time_pattern *p)
{
	size_t count = 0;
	for (const char *at = text; *at;) {
		const struct word *w = words, *end = words + ARRAY_LEN(words);
		while (w < end && strncmp(at, w->text, strlen(w->text)) != 0)
			w++;
		bool blank = *at == ' ' || *at == 'T';
		char small = (char)(*at | 0x20);
		if (w == end && !blank && small >= 'a' && small <= 'z')
			return "must be made of YYYY, YY, MM, DD, hh, mm, ss and marks";
		if (w == end && is_digit(*at))
			return "must hold no digits: a pattern is DD.MM.YYYY, not a date";
		char step = w < end ? w->step : blank ? ' ' : *at;
		if (step != ' ' || count == 0 || p->steps[count - 1] != ' ') {
			const char *why = add_step(p, &count, step);
			if (why)
				return why;
		}
		at += w < end ? strlen(w->text) : 1;
	}
	return NULL;
}

int time_pattern_compile(const char *text, struct time_pattern *ret, const char **ret_why)
{
	struct time_pattern p = {.steps = ""};
	const char *why = compile(text, &p);
	p.year = strchr(p.steps, 'Y') || strchr(p.steps, 'y');
	p.clock = strchr(p.steps, 'h') != NULL;
	if (!why && (!strchr(p.steps, 'M') || !strchr(p.steps, 'D')))
		why = "must tell month (MM) and day (DD)";
	if (!why && strchr(p.steps, 'Y') && strchr(p.steps, 'y'))
		why = "names a part of the time twice";
	if (!why && ((strchr(p.steps, 's') && !strchr(p.steps, 'm')) ||
			    (strchr(p.steps, 'm') && !p.clock)))
		why = "must tell what it tells of the clock from the hour (hh) on";
	if (why) {
		*ret_why = why;
		return -EINVAL;
	}
	*ret = p;
	return 0;
}

/* ---- reading ---- */

struct clock {
	int hour, minute, second;
	int64_t fraction_ms;
};

/* Least to most digits. */
static bool number(const char **at, const char *end, int least, int most, int *ret)
{
	int n = 0, digits = 0;
	for (; digits < most && *at < end && is_digit(**at); digits++, (*at)++)
		n = n * 10 + (**at - '0');
	*ret = n;
	return digits >= least;
}

static bool fraction(const char **at, const char *end, int64_t *ret_ms)
{
	int64_t unit = 100, ms = 0;
	if (++*at == end || !is_digit(**at))
		return false;
	for (; *at < end && is_digit(**at); (*at)++, unit /= 10)
		ms += (**at - '0') * unit;
	*ret_ms = ms;
	return true;
}

static bool seconds(const char **at, const char *end, struct clock *c)
{
	if (!number(at, end, 1, 2, &c->second))
		return false;
	return *at == end || (**at != '.' && **at != ',') ||
	       fraction(at, end, &c->fraction_ms);
}

static bool take_word(const char **at, const char *end, const char *word)
{
	size_t length = strlen(word);
	if ((size_t)(end - *at) < length || strncasecmp(*at, word, length) != 0)
		return false;
	*at += length;
	return true;
}

/* AM or PM after the clock. */
static const char *half_of_day(const char **at, const char *end, struct clock *c)
{
	bool am = take_word(at, end, "am");
	if (!am && !take_word(at, end, "pm"))
		return NULL;
	if (c->hour < 1 || c->hour > 12)
		return "the hour must be 1 to 12 with AM or PM";
	c->hour = c->hour % 12 + (am ? 0 : 12);
	return NULL;
}

static const char *zone(const char **at, const char *end, struct written_time *w)
{
	int hour, minute = 0;
	w->utc = take_word(at, end, "UTC") || take_word(at, end, "GMT") ||
		 take_word(at, end, "Z");
	w->zoned = w->utc;
	if (w->utc || *at == end || (**at != '+' && **at != '-'))
		return NULL;
	bool west = *(*at)++ == '-';
	if (!number(at, end, 2, 2, &hour))
		return "the offset must be written as Z, +HH:MM or -HH:MM";
	if (*at < end && **at == ':')
		(*at)++;
	if (*at < end && !number(at, end, 2, 2, &minute))
		return "the offset must be written as Z, +HH:MM or -HH:MM";
	if (hour > 23 || minute > 59)
		return "the offset must be at most 23:59";
	w->zoned = true;
	w->offset_ms = (hour * 60 + minute) * MS_PER_MIN * (west ? -1 : 1);
	return NULL;
}

static void blanks(const char **at, const char *end)
{
	while (*at < end && (**at == ' ' || **at == '\t'))
		(*at)++;
}

/* What may follow a clock. */
static const char *after_clock(
	const char **at, const char *end, struct clock *c, struct written_time *w)
{
	const char *why;
	blanks(at, end);
	why = half_of_day(at, end, c);
	blanks(at, end);
	return why ? why : zone(at, end, w);
}

static const char *close_clock(const struct clock *c, struct written_time *w)
{
	if (c->minute > 59)
		return "the minute must be 00 to 59";
	if (c->second > 60)
		return "the second must be 00 to 60";
	w->clock_ms = ((c->hour * 60 + c->minute) * 60 + c->second) * INT64_C(1000) +
		      c->fraction_ms;
	if (c->hour > 24 || (c->hour == 24 && w->clock_ms > MS_PER_DAY))
		return "the hour must be 00 to 23, or the time 24:00:00";
	return NULL;
}

static bool blank_step(const char **at, const char *end)
{
	const char *before = *at;
	if (*at < end && (**at == 'T' || **at == 't')) {
		(*at)++;
		return true;
	}
	if (*at < end && **at == ',')
		(*at)++; /* "31.01.2026, 14:05" */
	blanks(at, end);
	return *at > before;
}

/* One step; `next` is the one that follows. */
static bool take_step(char step, char next, const char **at, const char *end,
	struct written_time *w, struct clock *c)
{
	int least = strchr("MDhms", next) && next ? 2 : 1;
	switch (step) {
	case 'Y':
		return number(at, end, 4, 4, &w->year) && w->year > 0;
	case 'y':
		if (!number(at, end, 2, 2, &w->year))
			return false;
		w->year += 2000;
		return true;
	case 'M':
		return number(at, end, least, 2, &w->month);
	case 'D':
		return number(at, end, least, 2, &w->day);
	case 'h':
		return number(at, end, least, 2, &c->hour);
	case 'm':
		return number(at, end, 2, 2, &c->minute);
	case 's':
		return seconds(at, end, c);
	case ' ':
		return blank_step(at, end);
	default:
		if (*at == end || **at != step)
			return false;
		(*at)++;
		return true;
	}
}

/* The seconds of ":ss" may be left out, and may be there where the pattern has none. */
static bool steps(const struct time_pattern *p, const char **at, const char *end,
	struct written_time *w, struct clock *c)
{
	for (const char *s = p->steps; *s; s++) {
		bool clocks = s > p->steps && s[-1] == 'm';
		if (clocks && s[1] == 's' && (*at == end || **at != *s) &&
			(*at == end || !is_digit(**at))) {
			s++;
			continue;
		}
		if (!take_step(*s, s[1], at, end, w, c))
			return false;
	}
	if (p->clock && !strchr(p->steps, 's') && *at < end && **at == ':') {
		(*at)++;
		return seconds(at, end, c);
	}
	return true;
}

static const char *check_date(const struct written_time *w)
{
	int64_t ms;
	if (w->month < 1 || w->month > 12)
		return "the month must be 01 to 12";
	if (w->day < 1 || w->day > 31 || (w->year && !written_time_ms(w, w->year, &ms)))
		return "the month has no such day";
	return NULL;
}

bool time_pattern_read(const struct time_pattern *pattern, const char *text,
	size_t length, struct written_time *ret, const char **ret_why)
{
	const char *at = text, *end = text + length, *why = NULL;
	struct written_time w = {.year = 0};
	struct clock c = {.hour = 0};

	blanks(&at, end);
	if (!steps(pattern, &at, end, &w, &c))
		why = "the time is not of the table's form";
	if (!why && pattern->clock)
		why = after_clock(&at, end, &c, &w);
	blanks(&at, end);
	if (!why && at < end)
		why = "something follows the time";
	if (!why)
		why = close_clock(&c, &w);
	if (!why)
		why = check_date(&w);
	*ret_why = why;
	if (!why)
		*ret = w;
	return !why;
}

bool written_time_ms(const struct written_time *w, int year, int64_t *ret_ms)
{
	static const signed char days[] = {
		31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
	bool leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
	if (w->day > days[w->month - 1] + (w->month == 2 && leap))
		return false;
	*ret_ms = day_number(year, w->month, w->day) * MS_PER_DAY + w->clock_ms;
	return true;
}

/* ---- numbers ---- */

/* Which unit the present is written in, by size: seconds reach 100 billion in the year
 * 5138, milliseconds passed it in 1973. */
static int64_t by_size(int64_t whole)
{
	static const int64_t limits[] = {
		100000000000, 100000000000000, 100000000000000000};
	static const int64_t per_second[] = {1, 1000, 1000000};
	for (size_t i = 0; i < ARRAY_LEN(limits); i++)
		if (whole < limits[i])
			return per_second[i];
	return 1000000000;
}

bool time_number_read(
	const char *text, size_t length, int64_t per_second, int64_t *ret_ms)
{
	const char *at = text, *end = text + length;
	int64_t whole = 0, thousandths = 0, unit = 100;

	blanks(&at, end);
	const char *begin = at;
	const char *sure = end - at > SURE_DIGITS ? at + SURE_DIGITS : end;
	for (; at < sure && is_digit(*at); at++)
		whole = whole * 10 + (*at - '0');
	for (; at < end && is_digit(*at); at++)
		if (__builtin_mul_overflow(whole, 10, &whole) ||
			__builtin_add_overflow(whole, *at - '0', &whole))
			return false;
	if (at == begin)
		return false;
	if (at < end && (*at == '.' || *at == ',')) {
		if (++at == end || !is_digit(*at))
			return false;
		for (; at < end && is_digit(*at); at++, unit /= 10)
			thousandths += (*at - '0') * unit;
	}
	blanks(&at, end);
	if (at < end)
		return false;
	if (per_second == 0)
		per_second = by_size(whole);
	if (per_second > 1) {
		*ret_ms = whole / (per_second / 1000); /* a fraction is below a ms */
		return true;
	}
	return !__builtin_mul_overflow(whole, 1000, &whole) &&
	       !__builtin_add_overflow(whole, thousandths, ret_ms);
}
