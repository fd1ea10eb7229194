/*
 * What settle.c (which spans there are) and lay.c (how they lie over minutes) share. Not
 * for others.
 */
#ifndef STORE_SETTLE_H
#define STORE_SETTLE_H

#include "database.h"

/* A row of `settlements`; its quantity is -1 when nothing counts it any more. */
void settlement_read(const struct store *s, sqlite3_stmt *row, struct settlement *ret);

/* Books the spans of a quantity (config_counted()) that lie over [from, to) into its rows
 * there, from what power said: whatever was booked before is undone. */
int store_lay(struct store *s, size_t quantity, int64_t from_minute, int64_t to_minute);

/* What power said in a span of a register that `first`, from its beginning or before it
 * on, leaves of it: as it is to be kept of the rest. */
int store_span_cut(
	struct store *s, const struct settlement *first, struct settlement *span);

/* Whether minutes that stay as they are (lay_sealed.c) may be near [from, to): a day that
 * has some lies in it, or in the reach of a span of the quantity that lies over it. */
int store_sealed_near(struct store *s, size_t quantity, int64_t from_minute,
	int64_t to_minute, bool *ret);

#endif
