/*
 * What a channel said, out of the journal: of a span, in no order. Rows hold what was in
 * force; how it was told stands in the records that they were made of, so that none of it
 * has to be kept twice, and a store of any age can tell. Not for other rooms.
 */
#ifndef INSIGHT_SAID_H
#define INSIGHT_SAID_H

#include <heatbook/decoder.h>
#include <heatbook/store.h>

typedef void said_reading(const struct reading *reading, void *context);

/* Visits the channel's readings of [from, to) and its words that no map names; a visit
 * may be NULL. Some tens of megabytes of records are read at most; what is damaged, or
 * was packed anew meanwhile, tells nothing. 0, or what the store failed with. */
int said_visit(struct store *store, int channel, int64_t from_ms, int64_t to_ms,
	said_reading *reading, unknown_word_visit *word, void *context);

/* Is that a channel of which the values stood still between their changes, though it said
 * them often? Readings come quicker than each `spacing_ms` (those of 30 s count once), or
 * on change: without any beat. False where the journal tells too little. */
int said_often(struct store *store, int channel, int64_t from_ms, int64_t to_ms,
	int64_t spacing_ms, bool *ret);

#endif
