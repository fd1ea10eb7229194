/*
 * Local days, months and years of the plant's IANA zone, and the text forms of instants
 * and spans: RFC 3339 date-times and ISO 8601 durations.
 *
 * One zone a process: calendar_set_zone() sets TZ for the C library. A local day is the
 * instants whose local date is that date: 23, 23.5, 24, 24.5 or 25 h long, it may begin
 * at 01:00, and a date that the zone skipped has length 0.
 */
#ifndef HEATBOOK_CALENDAR_H
#define HEATBOOK_CALENDAR_H

#include <heatbook/base.h>

struct date {
	int year;
	int month; /* 1..12 */
	int day;   /* 1..31 */
};

/* A day that every year has. */
struct month_day {
	int month, day;
};

/* 0, or -ENOENT when the system's zone database has no such zone ("Europe/Berlin",
 * "UTC"); then the zone before stays in force. Once, before there are threads. */
int calendar_set_zone(const char *zone);
/* Has the system's zone database such a zone? */
bool calendar_zone_known(const char *zone);
/* Digest of the zone's rules as installed, so that a store can tell that they changed; 0
 * before a zone was set. */
uint64_t calendar_zone_digest(void);

/* The local date at an instant. */
struct date calendar_date(int64_t t_ms);
/* First instant of the local date, ms UTC, a whole minute. Days, months and years outside
 * their ranges are carried over (month 13 is January), so that callers can add to a
 * field. */
int64_t calendar_day_start(struct date date);
/* Local date so many days, months or years on; the day is kept at 1..28 by callers that
 * add months, else it carries over as in mktime(3). */
struct date calendar_add(struct date date, int years, int months, int days);
/* The first day of the season that a date is of; each year one begins on `start`. */
struct date calendar_season(struct date date, struct month_day start);
/* ISO 8601 weekday, Monday 1 .. Sunday 7. */
int calendar_weekday(struct date date);
/* "2026-01-31". */
void calendar_date_text(struct date date, char text[static 16]);

/* RFC 3339 date-time, whole text. `T`, `t` or one space between date and time; second 60
 * is the next second (POSIX has no leap seconds); finer than a millisecond is cut toward
 * minus infinity. 0, or -EINVAL, with *ret_why pointing to a static sentence that names
 * the fault. */
int time_parse_rfc3339(const char *text, int64_t *ret_ms, const char **ret_why);
/* Local time without zone, "2026-01-31T10:00[:00[.0]]" (or a blank for T), in the plant's
 * zone: an ambiguous hour resolves to the instant nearest to `near_ms`, a skipped one to
 * the instant that the offset before the gap gives. 0 or -EINVAL. */
int time_parse_local(const char *text, int64_t near_ms, int64_t *ret_ms);
/* First instant of a local date, "2026-01-31", so many days on. 0 or -EINVAL. */
int time_parse_day(const char *text, int days, int64_t *ret_ms);
/* "2026-01-31T10:00:00+01:00" in the plant's zone, "10:00:00.123" when not a whole
 * second. Both writers name the nearest instant that the form has when the year is not
 * 0..9999. */
void time_text_local(int64_t t_ms, char text[static 32]);
/* "2026-01-31T09:00:00Z", with ".123" when not a whole second. */
void time_text_utc(int64_t t_ms, char text[static 32]);

/* ISO 8601 duration: calendar parts and an exact part, both >= 0. */
struct duration {
	int years;
	int months;
	int days; /* weeks count 7 */
	int64_t exact_ms;
};

/* Largest number of years, months or days; of hours, minutes or seconds a thousand times
 * that. */
#define DURATION_MOST INT64_C(100000000)

/* Whole text, "P1Y2M10DT2H30M" or "P2W". 0 or -EINVAL. Decimals (point or comma) only in
 * the smallest component and only of hours, minutes and seconds, cut to a millisecond. */
int duration_parse(const char *text, struct duration *ret);

#endif
