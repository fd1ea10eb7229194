/*
 * Reading ahead: while one day is derived, a thread unpacks and decodes what the journal
 * holds of the next. For an import or a rebuild, which have nothing else to do; the
 * daemon derives without.
 *
 * The thread has a decoder of its own and touches no store: the caller copies the packed
 * bytes. What was read ahead is the same that would be read in time.
 */
#ifndef DERIVE_AHEAD_H
#define DERIVE_AHEAD_H

#include "loaded.h"

#include <heatbook/store.h>

struct ahead;

/* NULL when there can be no thread: everything is read in time then. */
struct ahead *ahead_new(const struct config *config);
void ahead_free(struct ahead *ahead);

/* Begins with the first chunks of a span; what was read before and not taken is dropped.
 * What cannot be read is left to whoever needs it. `ahead` may be NULL in both. */
void ahead_begin(
	struct ahead *ahead, struct store *store, int64_t from_ms, int64_t to_ms);
/* The chunk's readings of that span if they were read ahead, waited for; else NULL. The
 * caller's to free. */
struct loaded *ahead_take(
	struct ahead *ahead, int64_t chunk, int64_t from_ms, int64_t to_ms);

#endif
