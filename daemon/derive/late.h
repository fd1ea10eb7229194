/*
 * What came after its minutes were closed: a span a UTC day, since two readings that are
 * years apart leave the days between as they are.
 */
#ifndef DERIVE_LATE_H
#define DERIVE_LATE_H

#include <heatbook/base.h>

struct late_span {
	int64_t from_ms, to_ms; /* within a day, but where there were too many */
};

struct late {
	struct late_span *spans; /* in order, apart */
	size_t count, room;
};

/* Beyond so many, neighbours become one. */
#define LATE_SPANS_MOST 1024

void late_add(struct late *late, int64_t t_ms);
/* A span behind all others, whatever its length and their number. */
void late_append(struct late *late, int64_t from_ms, int64_t to_ms);
void late_clear(struct late *late);
void late_release(struct late *late);

#endif
