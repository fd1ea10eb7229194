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
/* Prepares the rows of channels out of a source, from the part's beginning to its end:
 * minute; value and known ms of each channel; least and most of those that keep extremes;
 * all stored integers. They name these channels' columns: prepared for them, not kept. */
int channel_rows(struct store *s, const int *channels, size_t count,
	const struct part *part, sqlite3_stmt **ret);
/* The known ms in such a row, of a value that is there. */
int64_t known_ms_of(sqlite3_stmt *row, int column, enum part_source source);
/* Index of the bucket that holds a minute, at or after bucket `at`. */
size_t bucket_of(const int64_t *edges_ms, size_t count, size_t at, int64_t minute);

#endif
