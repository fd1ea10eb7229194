/*
 * Date-times of tables by a pattern, such as "DD.MM.YYYY hh:mm:ss" or "MM/DD hh:mm:ss".
 *
 *     YYYY, YY   year (YY: 2000 to 2099)     hh  hour, 0 to 24
 *     MM, DD     month, day                  mm  minute
 *     T          a T, or blanks              ss  second
 *
 * Month, day and clock may lack their leading zero where no other number follows at once.
 * A blank stands for one or several, or for a T; any other mark for itself. What may
 * follow a clock without standing in the pattern: seconds, a fraction after point or
 * comma, AM or PM, and a zone (Z, UTC, GMT, +01:00, +0100, +01). 24:00:00 is the next
 * day's 00:00, second 60 the next second. ISO 8601's local and zoned forms are the
 * pattern TIME_PATTERN_ISO.
 */
#ifndef HEATBOOK_TIMEPATTERN_H
#define HEATBOOK_TIMEPATTERN_H

#include <heatbook/base.h>

#define TIME_PATTERN_ISO  "YYYY-MM-DD hh:mm:ss"
#define TIME_PATTERN_MOST 32

struct time_pattern {
	char steps[TIME_PATTERN_MOST]; /* a letter a number, Y y M D h m s; else a mark */
	bool year, clock;              /* does it tell them? */
};

/* 0, or -EINVAL with a static sentence. A pattern tells month and day, and what it tells
 * of the clock from the hour on. */
int time_pattern_compile(
	const char *text, struct time_pattern *ret, const char **ret_why);

/* A date-time as it was written. */
struct written_time {
	int year; /* 0 where the pattern tells none */
	int month, day;
	int64_t clock_ms; /* since the day's midnight, 0 to 24 h and a second */
	bool zoned;
	int64_t offset_ms; /* of its zone, positive east */
	bool utc;          /* the zone was a letter or name of UTC */
};

/* The whole text, blanks around it aside. False with a static sentence. The day is
 * checked against the month where the year is told. */
bool time_pattern_read(const struct time_pattern *pattern, const char *text,
	size_t length, struct written_time *ret, const char **ret_why);
/* Milliseconds since 1970-01-01T00:00 on the clock that it was read from, in that year.
 * False when the month has no such day. */
bool written_time_ms(const struct written_time *wall, int year, int64_t *ret_ms);

/* A number as milliseconds, cut: of seconds (per_second 1), ms (1000), µs (1000000) or ns
 * (1000000000), or of that of these in which the present is written with so many digits
 * (0). It may have a fraction after a point or comma, and no sign. False when it is no
 * such number. */
bool time_number_read(
	const char *text, size_t length, int64_t per_second, int64_t *ret_ms);

#endif
