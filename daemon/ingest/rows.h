/*
 * Rows of tables into readings.
 *
 * Which cell feeds which channel follows from the table's section and the header that
 * came with the row; it is worked out once for each header and kept. A block of rows is
 * decoded in one go.
 */
#ifndef INGEST_ROWS_H
#define INGEST_ROWS_H

#include "badcount.h"

struct rows;

struct rows *rows_new(const struct config *config);
void rows_free(struct rows *rows);

void rows_on_unknown_word(struct rows *rows, unknown_word_visit *visit, void *context);

/* Appends the readings of a block of rows, whose view is `block`, but of those rows that
 * certainly make none in [from, to); what is BAD is counted by the table. Rows of a table
 * that has no section make none. False when the block's rows are damaged. */
bool rows_decode(struct rows *rows, const unsigned char *frame,
	const struct record *block, int64_t from_ms, int64_t to_ms, struct readings *out,
	struct bad_counts *bad);

/* When the first and the last of a row's readings begin to hold. False: its table has no
 * section; both are its stamp then. */
bool rows_span(struct rows *rows, const struct record *row, int64_t *ret_first_ms,
	int64_t *ret_last_ms);

#endif
