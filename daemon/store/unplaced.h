/*
 * What no row holds of what registers counted, of an answer.
 */
#ifndef STORE_UNPLACED_H
#define STORE_UNPLACED_H

#include "database.h"

#include <heatbook/query.h>

/* Fills unplaced_j of the buckets and of the total. */
int read_unplaced(struct store *s, const int64_t *edges_ms, struct energy_answer *answer);

#endif
