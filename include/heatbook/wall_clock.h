/*
 * Local times that were written down without an offset, of any zone, made absolute in the
 * order in which they stand in their file; and the text form of such times.
 *
 * A local time is `local_ms`: milliseconds since 1970-01-01T00:00 on the local clock, as
 * if that clock were UTC. Where a clock was set back an hour exists twice: then that
 * instant counts which is nearer to the line before, whichever way the lines run; of two
 * that are equally near, the one in the direction of the lines.
 */
#ifndef HEATBOOK_WALL_CLOCK_H
#define HEATBOOK_WALL_CLOCK_H

#include <heatbook/base.h>

struct wall_clock;

/* 0, or -ENOENT when the system's zone database has no such zone. Reads the zone's rules
 * by the C library, for which TZ is changed and put back: not while another thread may
 * ask for times or the environment. */
int wall_clock_new(const char *zone, struct wall_clock **ret);
void wall_clock_free(struct wall_clock *clock);
/* Another file begins: no line precedes. */
void wall_clock_reset(struct wall_clock *clock);

/* The instant of the next line's local time, which is exact between 2000 and 2199: before
 * and after, the offset at that end of them counts (stamps there are refused, record.h).
 * `unique`: no two lines in a row are of the
 * same instant, so that a time which is repeated is the second one of its name. 0;
 * WALL_TWICE: it exists twice and was resolved by the line before (or is the earlier one
 * where none precedes); WALL_SKIPPED: the clock was set forward over it: *ret_ms by the
 * offset before. */
enum { WALL_TWICE = 1, WALL_SKIPPED = 2 };
int wall_clock_resolve(
	struct wall_clock *clock, int64_t local_ms, bool unique, int64_t *ret_ms);

/* A time that has an offset, ISO 8601 in its usual shapes: "2026-01-31T10:00:00+01:00";
 * seconds may be missing, T may be t or one blank, a fraction may follow a point or a
 * comma, the offset may be Z, ±hh, ±hhmm or ±hh:mm, or missing. Finer than a millisecond
 * is cut; second 60 is the next second. The whole text. */
struct wall_time {
	int64_t local_ms;
	bool has_offset;
	int64_t offset_ms; /* positive east; the instant is local_ms - offset_ms */
};
bool wall_time_parse(const char *text, size_t length, struct wall_time *ret);

#endif
