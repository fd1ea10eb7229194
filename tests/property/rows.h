/*
 * Energy rows of minutes as they are stored, and sums of them made here, row by row: what
 * hours, days and every query are held to.
 */
#ifndef ROWS_H
#define ROWS_H

#include "doors.h"

#include <heatbook/query.h>

#include <time.h>

struct energy_minute {
	int64_t minute;
	enum mode mode;
	struct energy_sum sum; /* nothing paired */
};

struct energy_minutes {
	struct energy_minute *rows; /* by minute, then mode */
	size_t count;
};

void rows_load(struct store *store, struct energy_minutes *ret);
void rows_release(struct energy_minutes *rows);

/* Fills the paired sums of every row: those of minutes in which heat and every meter that
 * the boundary needs are known for 60 s in all modes together, but for cooling. Returns
 * the number of such minutes. */
size_t rows_pair(struct energy_minutes *rows, const struct config *config,
	const struct boundary *boundary);

void sum_add(struct energy_sum *to, const struct energy_sum *from);
/* NULL, or the name of the first field that differs. */
const char *sum_differs(const struct energy_sum *a, const struct energy_sum *b);

/* The local date and time of a minute by localtime_r(3). */
struct tm local_time(int64_t minute);
/* Days since 1970 of the local date. */
int64_t local_day(int64_t minute);

#endif
