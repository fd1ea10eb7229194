/*
 * Spans of registers that are not over where an engine stands.
 */
#ifndef DERIVE_OPEN_SPANS_H
#define DERIVE_OPEN_SPANS_H

#include <heatbook/engine.h>
#include <heatbook/store.h>

/* Notes them, within a transaction; 0 or a store's code. */
int open_spans_put(struct store *store, const struct engine *engine);

#endif
