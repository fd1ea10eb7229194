/*
 * What settle.c (which spans there are) and lay.c (how they lie over minutes) share. Not
 * for others.
 */
#ifndef STORE_SETTLE_H
#define STORE_SETTLE_H

#include "database.h"

#include <heatbook/event.h>

/* A row of `settlements`; its quantity is -1 when nothing counts it any more. */
void settlement_read(const struct store *s, sqlite3_stmt *row, struct settlement *ret);

/* Books the spans of a quantity (config_counted()) that lie over [from, to) into its rows
 * there, from what power said: whatever was booked before is undone. */
int store_lay(struct store *s, size_t quantity, int64_t from_minute, int64_t to_minute);

/* settle_beside.c: what is left of a span behind one that was made before it and lies
 * over its beginning, or amid it: what the register counted there. Begins where it ends
 * when nothing is. */
int settlement_cut(
	struct store *s, const struct settlement *first, struct settlement *span);
/* A span with what the register counted since the one before it. */
int settlement_join(
	struct store *s, const struct settlement *before, struct settlement *next);
/* The last span made before a time that ends in another one. */
int settlement_earlier(struct store *s, const struct settlement *span, int64_t from_ms,
	struct settlement *ret, bool *found);
/* The first span that readings from `to_ms` on made, of those that end behind `from_ms`;
 * and the last one of any kind that is over when it begins. Both are found or none. */
int settlement_next(struct store *s, size_t quantity, int64_t from_ms, int64_t to_ms,
	struct settlement *before, struct settlement *next, bool *found);

/* lay_sealed.c: what power said in a span of a register that `first`, from its beginning
 * or before it on, leaves of it: as it is to be kept of the rest. */
int store_span_cut(
	struct store *s, const struct settlement *first, struct settlement *span);

/* Widens minutes to all spans that make up for sealed ones near them (lay_balance.c). */
int store_widen_sealed(
	struct store *s, size_t quantity, int64_t *from_minute, int64_t *to_minute);

/* events.c: one event; those of its kind and subject of a time. */
int store_event_add(struct store *s, const struct event *event);
int store_event_drop(
	struct store *s, const struct event *like, int64_t from_ms, int64_t to_ms);

#endif
