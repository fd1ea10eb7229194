/*
 * Whether a store holds what it should: the file, the journal's chunks, the sums (law 3),
 * and rows that are what the journal makes of them (law 2).
 *
 * Rows are made again in a copy of the store, by the very code that made them, and
 * compared with those that stood there, column by column. So the store itself is only
 * read, and a daemon may go on with it.
 */
#ifndef HEATBOOK_VERIFY_H
#define HEATBOOK_VERIFY_H

#include <heatbook/progress.h>
#include <heatbook/store.h>

/* A row, or one value of it, that is stored otherwise than it is made. */
struct difference {
	const char *table;
	char row[80];              /* its time, and what else names it */
	const char *column;        /* NULL: the row is there or is not */
	char stored[48], made[48]; /* "" where there is none */
};
typedef void difference_found(const struct difference *difference, void *context);

/* Keeps the rows of [from, to) (minutes) aside as they stand: with `minutes` those too,
 * else hours and days alone. What was kept before goes. */
int store_keep_rows(
	struct store *store, int64_t from_minute, int64_t to_minute, bool minutes);
/* Compares what was kept with what stands there now. */
int store_compare_rows(struct store *store, int64_t from_minute, int64_t to_minute,
	bool minutes, difference_found *found, void *context);
/* Runs of days that begin in [from, to), beside what store_keep_rows() kept. */
int store_keep_runs(struct store *store, int64_t from_minute, int64_t to_minute);
int store_compare_runs(struct store *store, int64_t from_minute, int64_t to_minute,
	difference_found *found, void *context);
/* Likewise the evidence of days that begin in [from, to), of those kept with minutes. */
int store_compare_evidence(struct store *store, int64_t from_minute, int64_t to_minute,
	difference_found *found, void *context);

/* UTC days that the mapping in force made, ascending; the array is the caller's. */
int store_days_made(struct store *store, int64_t **ret_days, size_t *ret_count);
/* When the mapping in force took over from another; STORE_NONE where it is the first. */
int store_mapping_since(struct store *store, int64_t *ret_ms);
/* Is anything of [from, to) still to be derived? */
int store_dirty_about(struct store *store, int64_t from_ms, int64_t to_ms, bool *ret);
/* Does a span of a register lie over [from, to) that began in minutes which are gone?
 * What power said there is not known any more, so its shares may be rounded otherwise. */
int store_reaches_gone(struct store *store, int64_t from_ms, int64_t to_ms, bool *ret);
/* What is noted of a chunk beside its records; false in `spanned` where its span is of
 * another mapping, or where it has none (then both ends are 0). */
struct chunk_facts {
	int64_t records, bytes;
	int64_t first_ms, last_ms;
	bool spanned, lacks_span;
};
/* STORE_NONE: it is not there. */
int store_chunk_facts(struct store *store, int64_t id, struct chunk_facts *ret);
/* Of all chunks, also of damaged ones. */
int store_chunk_list(struct store *store, int64_t **ret_ids, size_t *ret_count);

struct verify_options {
	bool all;            /* every day, */
	int64_t days;        /* or so many, */
	uint64_t seed;       /* chosen by this */
	const char *scratch; /* directory for the copy */
	difference_found *found;
	void (*line)(const char *line, void *context); /* another finding, in words */
	/* Looks at a local day once more and keeps what its minutes say: evidence_make(),
	 * of a room behind this one. */
	int (*look)(struct store *store, int64_t start_min, int64_t end_min);
	/* Works out a local day's runs once more and keeps them: runs_make(); which ones
	 * to compare, by runs_form(). */
	int (*run)(struct store *store, int64_t start_min, int64_t end_min);
	uint64_t runs_form;
	struct progress_to progress;
	bool (*stop)(void *context); /* asked for between turns; may be NULL */
	void *context;
};

struct verify_report {
	uint64_t findings;    /* lines and differences */
	uint64_t differences; /* of these */
	uint64_t chunks, records;
	uint64_t looked;         /* local days whose evidence was made again, */
	uint64_t run;            /* or whose runs */
	uint64_t days, readings; /* made again, */
	uint64_t sealed, older,
		waiting; /* left out: see deriver.h, and not derived yet */
	uint64_t spans;  /* weeks whose sums were made again */
	bool copied;     /* rows were made again at all */
};

/* 0, or what kept it from looking, in `why`: -errno or a store's code. */
int verify_store(const struct config *config, const struct verify_options *options,
	struct verify_report *ret, char why[static 320]);

#endif
