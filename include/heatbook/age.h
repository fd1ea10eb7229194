/*
 * What is taken off for its age (the option keep of [journal], keep_minutes of [store]):
 * one bounded turn a call, by the daemon.
 */
#ifndef HEATBOOK_AGE_H
#define HEATBOOK_AGE_H

#include <heatbook/store.h>

#define AGE_CHUNKS_A_TURN 32

struct aged {
	int64_t chunks, bytes; /* of the journal */
	int64_t days;          /* whose minutes went */
	int64_t until_ms;      /* end of what went */
};

/* Live chunks all of whose readings are older than `before_ms`, some of them; the UTC
 * days that they were a part of are sealed, see store_sealed_until(). STORE_CLEAN: there
 * is none. */
int store_age_journal(struct store *store, int64_t before_ms, struct aged *ret);
/* The minutes of the first local day, if it ends by `before_ms` and its sums and runs are
 * stored, and the next day's runs; these stay, and the day is sealed. STORE_CLEAN: there
 * is none. */
int store_age_minutes(struct store *store, int64_t before_ms, struct aged *ret);

/* Are minutes gone from any UTC day that [from, to] touches? And up to which minute from
 * the day that holds `minute`; 0: none. */
int store_minutes_gone(
	struct store *store, int64_t from_minute, int64_t to_minute, bool *ret);
int store_minutes_gone_until(struct store *store, int64_t minute, int64_t *ret);

#endif
