/*
 * Spans of registers that are not over, of an answer.
 */
#ifndef STORE_OPEN_H
#define STORE_OPEN_H

#include "database.h"
#include "parts.h"

#include <heatbook/energy_row.h>

/* A row, the taker's to change; false: it has enough. */
typedef bool energy_take(struct energy_row *row, void *context);
/* energy.c: the rows of a part, in order; 0 or a query's code. */
int read_energy_rows(
	struct store *s, const struct part *part, energy_take *take, void *context);
/* What such a row holds, whose first column is the minute. */
void read_energy_row(const struct store *s, sqlite3_stmt *row, struct energy_row *ret);

/* Fills what is provisional, and how far power and register are apart, of the buckets and
 * of the total. `until_minute` is the end of the last derived minute. */
int read_open(struct store *s, const int64_t *edges_ms, int64_t until_minute,
	struct energy_answer *answer);

#endif
