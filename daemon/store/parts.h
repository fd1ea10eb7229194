/*
 * Which stored rows answer a span: parts of minutes, closed hours and closed days, in
 * order.
 */
#ifndef STORE_PARTS_H
#define STORE_PARTS_H

#include <heatbook/base.h>

enum part_source { PART_MINUTES, PART_HOURS, PART_DAYS };

struct part {
	enum part_source source;
	int64_t from_minute, to_minute;
};

struct parts {
	struct part items[7]; /* at most: three, days, three */
	size_t count;
	int64_t until_minute; /* by which hours and days end */
};

/* Splits [edges[0], edges[count]) so that every part lies within whole rows of its source
 * and no row crosses an inner edge; hours and days end by `until_minute`. */
void parts_split(
	const int64_t *edges_ms, size_t count, int64_t until_minute, struct parts *ret);

#endif
