/*
 * Runs are asked for: out of the store where days' pieces are kept, out of minutes where
 * they are not yet or the day goes on. The answer is the same.
 */
#ifndef HEATBOOK_RUN_ASK_H
#define HEATBOOK_RUN_ASK_H

#include <heatbook/runs.h>

struct store;

/* How far back the compressor's time since a defrost is looked for. */
#define RUN_INTERVAL_DAYS 31

struct runs_asked {
	enum run_kind kind;
	int64_t from_ms, to_ms; /* runs that begin in it, followed to their ends */
	/* By local days, in these by meters and begins. `interval` is RUN_SINCE_DEFROST
	 * where it is known. The run stays the asker's. */
	void (*visit)(const struct plant_run *run, void *context);
	void *context;
};
/* The codes of query_energy(): QUERY_TOO_SLOW, too, where many days are still to be
 * worked out that are not kept yet. */
int runs_ask(struct store *store, const struct runs_asked *asked, int64_t *ret_version,
	struct older_days *ret_older);

/* Works out the pieces of days that are not kept yet, and keeps them; the last days
 * first, at most `most` of them, in one transaction. Codes are those of the store. */
int runs_catch_up(struct store *store, size_t most, size_t *ret_done);
/* Keeps those of a day, in a transaction of its own. */
int runs_make(struct store *store, int64_t start_min, int64_t end_min);

/* A day's pieces, out of its minutes; within a snapshot or a transaction. */
int run_day_of(
	struct store *store, int64_t start_min, int64_t end_min, struct run_day *ret);

#endif
