/*
 * What every query shares: a bounded read, its parts, and the bucket of a row.
 */
#ifndef STORE_READ_H
#define STORE_READ_H

#include "database.h"
#include "parts.h"

/* Begins a read transaction that is given up at *deadline_ms (kept by the caller until
 * end_reading(), which always follows: it makes of a store's code a query's). */
int begin_reading(struct store *s, int64_t *deadline_ms);
int end_reading(struct store *s, int r);
/* The code for a failed step: QUERY_TOO_SLOW when the deadline passed. */
int slow_or_failed(struct store *s, int rc);
/* Which rows answer the span, the data's version, and how many UTC days of the span
 * another mapping made. */
int read_parts(struct store *s, const int64_t *edges_ms, size_t count, struct parts *ret,
	int64_t *ret_version, struct older_days *ret_older);
/* Prepares the rows of one channel out of a source, from the part's beginning to its end:
 * minute, value, known ms, and, where it keeps extremes, least and most, all stored
 * integers. They name one channel's columns: prepared for it, not kept. */
int channel_rows(struct store *s, const struct channel_config *channel,
	const struct part *part, sqlite3_stmt **ret);
/* Index of the bucket that holds a minute, at or after bucket `at`. */
size_t bucket_of(const int64_t *edges_ms, size_t count, size_t at, int64_t minute);

#endif
