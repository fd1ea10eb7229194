/*
 * How a span went: heat, electricity, efficiency and the temperature outdoors, a column a
 * step, in as many columns as a line has.
 */
#ifndef REPORT_COURSE_H
#define REPORT_COURSE_H

#include "report_paper.h"

#include <heatbook/figures.h>

/* What a column says of its time; NaN where that is not known of half of it. */
struct course_column {
	double heat_kw, electricity_kw; /* means over the known time */
	double efficiency;
	double outdoor_c;
};

struct course {
	const char *step; /* "hour", "day" …; NULL: the span is too short for any */
	struct course_column *columns;
	size_t count;
};

/* Asks for the finest steps of which the paper's lines hold those of the span. What takes
 * too long is left out. 0 or what the queries answer. */
struct store;
int course_ask(struct store *store, const struct question *question, int64_t from_ms,
	int64_t to_ms, const struct paper *paper, struct course *ret);
void course_release(struct course *course);
void course_write(
	struct buffer *out, const struct course *course, const struct paper *paper);

#endif
