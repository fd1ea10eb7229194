/*
 * Rows of a table of minutes in memory, in order: on their way into the file, which takes
 * many by one statement (kept_table.c), and as they were just written, so that hours and
 * days are summed without asking the file for them again. For whoever derives day after
 * day.
 *
 * Invariant: of [from, to) these are all rows of the table, once they are written. What
 * changes rows otherwise forgets them (kept_forget()); the file is asked then.
 */
#ifndef STORE_KEPT_H
#define STORE_KEPT_H

#include <heatbook/base.h>

/* A row as its table holds it: its key first; `known` is 0 where a value is NULL. */
struct row_view {
	int64_t *values;
	unsigned char *known;
};

struct kept {
	int64_t from, to; /* minutes; empty where to <= from */
	int64_t slots;    /* keys a minute */
	int64_t *values;
	unsigned char *known;
	size_t width, count, room;
	size_t written; /* so many of the rows are in the file */
};

/* All calls take NULL, which keeps nothing. */
struct kept *kept_new(size_t width, int64_t slots);
void kept_free(struct kept *kept);
/* With rows that were not written: who rolls back. */
void kept_forget(struct kept *kept);

/* No rows are in [from, to) from now on. */
void kept_begin(struct kept *kept, int64_t from_minute, int64_t to_minute);
/* A row with nothing known, to be filled; false where it is not kept. Rows come in order.
 */
bool kept_add(struct kept *kept, int64_t minute, struct row_view *ret);

/* Up to which minute all rows from `minute` on are here; `minute` when they are not. */
int64_t kept_until(const struct kept *kept, int64_t minute);
/* Rows by index, from the first one at or after a minute to `count`. */
size_t kept_find(const struct kept *kept, int64_t minute);
struct row_view kept_row(const struct kept *kept, size_t index);

#endif
