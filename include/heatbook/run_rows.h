/*
 * Runs in the store: minutes that they are worked out of, and days' pieces as rows
 * (daemon/store/run_rows.c). Of each day that is kept there is a mark; changing a minute
 * drops, in the same transaction, the marks of all days whose pieces lean on it, so what
 * is marked always belongs to the rows beside it. What is missing is made by whoever has
 * time (run_ask.h).
 *
 * Codes are those of the store (store.h); within store_snapshot() QUERY_TOO_SLOW, too.
 */
#ifndef HEATBOOK_RUN_ROWS_H
#define HEATBOOK_RUN_ROWS_H

#include <heatbook/day.h>
#include <heatbook/runs.h>

struct store;

/* Asks several things of one state of the store, within the time and with the codes of
 * query_energy(). */
typedef int snapshot_ask(struct store *store, void *context);
int store_snapshot(struct store *store, snapshot_ask *ask, void *context);

/* From the first day or minute to the end of the last, pending ones included;
 * STORE_NONE: there is none. */
int store_run_span(struct store *store, int64_t *ret_from, int64_t *ret_to);
/* Minutes of [from, to) that have rows of energy, in order, each with its rows and what
 * channels of the configuration were (-1: none). The visitor must ask the store nothing.
 */
typedef void run_minute_visit(const struct run_minute *minute, void *context);
int store_run_minutes(struct store *store, int64_t from_min, int64_t to_min,
	const int channels[static RUN_CHANNELS], run_minute_visit *visit, void *context);

/* Puts a day's pieces in place of what there was, and marks it; within the caller's
 * transaction. */
int store_runs_put(struct store *store, const struct run_day *day, uint64_t form);
/* Stored days that begin in [from, to), in order. One without any row is not stored. */
struct run_mark {
	int64_t start_min;
	bool marked; /* by this form, or by any if its minutes went for their age */
	struct run_interval tail;
};
typedef void run_mark_visit(const struct run_mark *mark, void *context);
int store_run_marks(struct store *store, int64_t from_min, int64_t to_min, uint64_t form,
	run_mark_visit *visit, void *context);
/* The pieces of one kind of days that begin in [from, to), whether their days are marked
 * or not, day by day in the order of meters and begins. Those of meters that are not
 * configured any more are left out. The piece is the visitor's to release. */
typedef void run_piece_visit(int64_t start_min, struct plant_run *piece, void *context);
int store_run_pieces(struct store *store, enum run_kind kind, int64_t from_min,
	int64_t to_min, run_piece_visit *visit, void *context);
/* Closed days of [from, to) whose minutes are there, with all that their pieces lean on,
 * and that have no mark of this form, the last ones first, at most `most`. */
int store_runs_missing(struct store *store, int64_t from_min, int64_t to_min,
	uint64_t form, struct day_span *ret, size_t most, size_t *ret_count);
/* Those that have one, the first ones first. */
int store_runs_marked(struct store *store, int64_t from_min, int64_t to_min,
	uint64_t form, struct day_span *ret, size_t most, size_t *ret_count);

#endif
