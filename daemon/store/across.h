/*
 * What spans of registers that lie across the ends of buckets may be mistaken by.
 */
#ifndef STORE_ACROSS_H
#define STORE_ACROSS_H

#include "database.h"

#include <heatbook/query.h>

/* Fills across_j and across_known_j of the buckets and of the total. */
int read_across(struct store *s, const int64_t *edges_ms, size_t count,
	struct energy_answer *answer);

#endif
