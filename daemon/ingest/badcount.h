/*
 * Counts of what was not understood, by topic and reason, each with a sample for the
 * owner.
 */
#ifndef INGEST_BADCOUNT_H
#define INGEST_BADCOUNT_H

#include <heatbook/decoder.h>

#define BAD_COUNTS_MOST 200
#define BAD_TOPIC_MOST  200 /* bytes; longer topics are told apart by their beginning */

/* `{0}` is empty. When all but one place are taken, the last one counts the rest of them.
 */
struct bad_counts {
	struct bad_count items[BAD_COUNTS_MOST];
	size_t count;
};

void bad_counts_add(struct bad_counts *counts, const struct record *record,
	enum bad_reason reason, const void *sample, size_t sample_length);
void bad_counts_release(struct bad_counts *counts);

#endif
