/*
 * A straight line between two readings of a channel, corrected as these are. Used by the
 * engine and its accountant; which readings it lies between is decided by between.c.
 */
#ifndef ACCOUNT_LINE_H
#define ACCOUNT_LINE_H

#include <stdbool.h>
#include <stdint.h>

struct line {
	bool on; /* else what was said holds */
	int64_t from_ms, to_ms;
	double from, to;
};

/* `at_ms` may lie between two milliseconds. */
static inline double line_value(const struct line *line, double at_ms)
{
	double part =
		(at_ms - (double)line->from_ms) / (double)(line->to_ms - line->from_ms);
	return line->from + (line->to - line->from) * part;
}

#endif
