/*
 * Rows on one stamp that share its interval: the first of n gets the first n-th of it.
 * They wait for the next stamp, since only then is their number known.
 */
#ifndef HEATBOOK_INGEST_TABLE_SHARE_H
#define HEATBOOK_INGEST_TABLE_SHARE_H

#include <heatbook/table.h>

struct row_share;

struct row_share *row_share_new(int64_t interval_ms, bool covers_before);
void row_share_free(struct row_share *share);
/* A row of the record's stamp and span; what waited of another stamp is handed over.
 * False when too many wait on this stamp; *ret_failed is what the sink returned. */
bool row_share_add(struct row_share *share, const struct record *record,
	const struct table_sink *sink, int *ret_failed);
int row_share_flush(struct row_share *share, const struct table_sink *sink);

#endif
