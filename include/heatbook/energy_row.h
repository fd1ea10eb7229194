/*
 * Energy of one mode, told apart by what was known: a stored row, or a sum of such rows.
 * What is kept so can be paired at any boundary later (law 5).
 */
#ifndef HEATBOOK_ENERGY_ROW_H
#define HEATBOOK_ENERGY_ROW_H

#include <heatbook/query.h>

struct energy_row {
	int64_t minute;        /* of a stored row */
	int mode;              /* enum mode */
	int64_t known;         /* KNOWN_HEAT and the store's bits of meters */
	struct energy_sum sum; /* observed, heat, sensitivity, meters; the rest is 0 until
				* energy_row_pair() */
};

/* Some of them, of each mode and `known` one. */
struct energy_rows {
	struct energy_row *items;
	size_t count, room;
};
/* Adds a row to the one of its mode and `known`. */
void energy_rows_add(struct energy_rows *rows, const struct energy_row *row);
void energy_rows_release(struct energy_rows *rows);

struct store;
/* Fills what is paired and bridged at a boundary, from what the row holds. */
void energy_row_pair(const struct store *store, const struct boundary *boundary,
	struct energy_row *row);
/* The rows paired at a boundary, by mode. */
void energy_rows_sum(const struct store *store, const struct boundary *boundary,
	const struct energy_rows *rows, struct energy_bucket *ret);

#endif
