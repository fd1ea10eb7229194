/*
 * What calendar.c and timetext.c share about the plant's zone: the offset at an instant,
 * the offsets around a local time, and day numbers. Not for other rooms: they use
 * calendar.h.
 *
 * A local time is written as seconds since 1970-01-01T00:00:00 on the local clock, as if
 * that clock were UTC (`local_s`). An instant is `local_s` minus the offset in force at
 * it.
 */
#ifndef HEATBOOK_BASE_ZONE_H
#define HEATBOOK_BASE_ZONE_H

#include <heatbook/base.h>

#define S_PER_DAY INT64_C(86400)

/* Local time minus UTC at an instant, seconds, positive east. */
int64_t zone_offset_s(int64_t t_s);

/* The change of offset that a local time lies next to, if any. */
struct zone_change {
	bool any;
	int64_t before_s; /* offset before `at_s`, or throughout when there is no change
			   */
	int64_t after_s;  /* offset from `at_s` on */
	int64_t at_s;     /* first instant with the new offset */
};

/* Looks at all instants that any zone could give the local time `local_s`. */
struct zone_change zone_change_near(int64_t local_s);

/* Days from 1970-01-01 to a date of the proleptic Gregorian calendar; a month or a day
 * outside its range is carried over. */
int64_t day_number(int64_t year, int64_t month, int64_t day);

#endif
