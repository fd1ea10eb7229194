/*
 * The store: one SQLite file holding the raw journal, minute rows, closed hours and days,
 * and what the deriver carries from day to day. All SQL is in sql/, embedded by name.
 *
 * One connection a process, used by one thread. Writers take short transactions; nothing
 * stays open between turns. Rows that are not committed yet wait in temporary tables
 * behind the same views that every query reads.
 */
#ifndef HEATBOOK_STORE_H
#define HEATBOOK_STORE_H

#include <heatbook/config.h>
#include <heatbook/engine.h>
#include <heatbook/record.h>

struct store;

/* STORE_SERVE is STORE_WRITE for the daemon: its first write marks the file as open,
 * store_left() takes the mark off, and a file that was left with it is checked before
 * anything is written. STORE_SERVE_ON is the same for a daemon that has it open already.
 */
enum store_mode { STORE_WRITE, STORE_READ, STORE_SERVE, STORE_SERVE_ON };

/* STORE_REFUSED: the file is of a newer version, is no store, or its columns hold
 * something else than the configuration says; `why` names it and the remedy, the file is
 * untouched. STORE_DAMAGED: its pages contradict each other; nothing is written any more.
 */
enum {
	STORE_REFUSED = 1,
	STORE_BUSY = 2,
	STORE_FULL = 3,
	STORE_NONE = 6,
	STORE_DAMAGED = 8
};

#define STORE_ERROR_MOST  320
#define STORE_DAMAGE_MOST 160

/* Creates the file and its columns as needed (unless STORE_READ), applies migrations. The
 * zone must have been set (calendar_set_zone). 0, -errno or STORE_REFUSED; with 0 the
 * daemon's store may be damaged, see store_damage(). */
int store_open(const struct config *config, enum store_mode mode, struct store **ret,
	char why[static 256]);
/* The daemon ends in good order: the next one need not check the file. */
int store_left(struct store *store);
void store_close(struct store *store);
const struct config *store_config(const struct store *store);
/* The highest schema this program knows, and text of the last database error. */
int store_schema(const struct store *store);
const char *store_error(const struct store *store);
/* Why the file is not written any more since it is damaged; NULL while it is sound. */
const char *store_damage(const struct store *store);
/* Size of the database file in use, bytes. */
int64_t store_bytes(struct store *store);

/* Every call below answers 0, -errno (-EIO: the database failed, see store_error()), or
 * STORE_BUSY / STORE_FULL: roll back and try again later; or STORE_DAMAGED. -ESTALE: the
 * file was moved, removed or replaced meanwhile; it is not written. */
int store_begin(struct store *store);
/* One snapshot for several reads; store_rollback() ends it. */
int store_begin_read(struct store *store);
int store_commit(struct store *store);
void store_rollback(struct store *store); /* also when no transaction is open */

/* Between transactions that follow each other at once: another process that waits for its
 * turn gets it. */
void store_give_way(void);

enum store_fact {
	FACT_VERSION,            /* grows by one with every change of rows */
	FACT_COMMITTED_SEQUENCE, /* last tail sequence number in the journal */
	FACT_DERIVED_UNTIL_MS,   /* end of the last derived minute */
	FACT_ZONE_DIGEST,
	FACT_JOURNAL_BYTES, /* of all chunks, compressed */
	FACT_OPEN,          /* 1: by a daemon, or it did not end in good order */
	FACT_REBUILD, /* which rebuild was begun and has not ended, or 0 (rebuild.c) */
	FACT_COUNT
};
int store_fact(struct store *store, enum store_fact fact, int64_t *ret);
int store_set_fact(struct store *store, enum store_fact fact, int64_t value);
int store_bump_version(struct store *store);
/* A number that changes when another process wrote to the file. */
int store_outside_version(struct store *store, int64_t *ret);

/* Journal. `import` 0 = live. The span is of reading times under the current mapping. */
int store_chunk_add(struct store *store, int64_t import, int64_t first_ms,
	int64_t last_ms, int64_t records, const void *bytes, size_t length);
/* The same in two steps: packing, which touches no store and may be another thread's, and
 * putting. 0 or -ENOMEM of the first. */
struct chunk_head {
	int64_t import;
	int64_t first_ms, last_ms;
	int64_t records, bytes;
};
int store_chunk_pack(const void *bytes, size_t length, struct buffer *ret);
int store_chunk_put(
	struct store *store, const struct chunk_head *head, const struct buffer *packed);
struct chunk_ref {
	int64_t id;
	int64_t first_ms, last_ms;
};
/* Chunks that may hold readings in [from, to), by first_ms; the array is the caller's. */
int store_chunks(struct store *store, int64_t from_ms, int64_t to_ms,
	struct chunk_ref **ret, size_t *ret_count);
/* Every sound chunk in the order of filing. */
int store_chunks_all(struct store *store, int64_t **ret_ids, size_t *ret_count);
/* Of these, those that may hold readings of [from, to): by their spans, and all whose
 * spans another mapping worked out. */
int store_chunks_about(struct store *store, int64_t from_ms, int64_t to_ms,
	int64_t **ret_ids, size_t *ret_count);
/* Chunks whose span was worked out under another mapping, at most some hundred. */
int store_chunks_unspanned(struct store *store, int64_t **ret_ids, size_t *ret_count);
int store_chunk_respan(
	struct store *store, int64_t id, int64_t first_ms, int64_t last_ms);
/* The chunk's records in binary form, replacing the buffer's content. -EBADMSG: damaged;
 * STORE_NONE: it is not there (a daemon beside may have joined it to another). */
int store_chunk_load(struct store *store, int64_t id, struct buffer *ret);
/* Joins small live chunks of the first day in [from, before) that has several, one group
 * in one transaction; *ret_day_ms is that day, also when joining it failed. STORE_CLEAN:
 * nothing to join there; -EBADMSG: a
 * chunk could not be read and was set aside. */
int store_join(
	struct store *store, int64_t from_ms, int64_t before_ms, int64_t *ret_day_ms);

/* A chunk whose content cannot be read is set aside: it is kept, but no call above names
 * it any more. Days of which it was a part and that hold rows are sealed up to the last
 * derived minute: what was made of it while it could be read is the truth. A transaction
 * of its own, and a line in the log. */
int store_chunk_set_aside(struct store *store, int64_t id);
struct damaged_chunk; /* query.h */
/* At most `most`, by id; *ret_count of all there are. */
int store_damaged(struct store *store, struct damaged_chunk *ret, size_t most,
	size_t *ret_written, size_t *ret_count);
/* The minute before which the rows of a UTC day are not derived again; 0: not sealed. */
int store_sealed_until(struct store *store, int64_t day, int64_t *ret_minute);
/* How many UTC days of [from, to) are sealed, the first and the last of them. */
int store_sealed_days(struct store *store, int64_t from_day, int64_t to_day,
	int64_t *ret_count, int64_t *ret_first, int64_t *ret_last);
int store_unseal(struct store *store, int64_t from_day, int64_t to_day);
/* A chunk as it is stored, replacing the buffer's content, and its records: for whoever
 * wants them after the read has ended. -EBADMSG: damaged. */
int store_chunk_copy(struct store *store, int64_t id, struct buffer *ret);
int store_chunk_open(const struct buffer *copy, struct buffer *ret);
/* Is there any record at all? */
int store_journal_empty(struct store *store, bool *ret);
/* First and last reading time of the whole journal; STORE_NONE when it is empty. */
int store_journal_span(struct store *store, int64_t *ret_first_ms, int64_t *ret_last_ms);

/* Imports. *ret_id of the archive with that digest; STORE_KNOWN when it is filed whole.
 * Its name is the archive's, with a number behind it where that is taken. */
enum { STORE_KNOWN = 4 };
int store_import_begin(
	struct store *store, const char *name, uint64_t digest, int64_t *ret_id);
int store_import_done(struct store *store, int64_t id, int64_t records, int64_t rejected);
/* Takes the import of that name out of the journal and marks what it touched dirty, in
 * the caller's transaction. STORE_NONE: there is none. */
struct import_span {
	bool any; /* records; then their first and last reading time */
	int64_t first_ms, last_ms;
};
int store_import_drop(struct store *store, const char *name, struct import_span *ret);
/* Every import in the order of filing. */
struct import_row {
	const char *name;
	int64_t added_ms;
	bool complete; /* false: it was broken off */
	bool damaged;  /* it lost records since */
	int64_t records, rejected;
	int64_t bytes; /* as stored */
	struct import_span span;
};
typedef void import_visit(const struct import_row *row, void *context);
int store_imports(struct store *store, import_visit *visit, void *context);

/* Spans to be derived. store_dirty_next(): the earliest one, with all that begin on its
 * first UTC day; STORE_CLEAN when there is none. */
enum { STORE_CLEAN = 5 };
int store_dirty_add(struct store *store, int64_t from_ms, int64_t to_ms);
/* The same by readings that came: with the rows before that lean on them
 * (engine_lag_min()). */
int store_dirty_readings(struct store *store, int64_t from_ms, int64_t to_ms);
int store_dirty_next(struct store *store, int64_t *ret_from_ms, int64_t *ret_to_ms);
/* Everything dirty before `until_ms` is done. */
int store_dirty_done(struct store *store, int64_t until_ms);
/* How many UTC days before now are dirty, each once. */
int store_dirty_days(struct store *store, int64_t *ret);

/* Checkpoints by UTC day; STORE_NONE when there is none. */
int store_checkpoint_put(struct store *store, int64_t day, const struct buffer *state);
int store_checkpoint_drop(struct store *store, int64_t day);
int store_checkpoint_before(
	struct store *store, int64_t day, int64_t *ret_day, struct buffer *ret_state);
int store_checkpoint_after(
	struct store *store, int64_t day, int64_t *ret_day, struct buffer *ret_state);
/* Notes that the current mapping made a day's minutes from one on: a day with rows before
 * that another mapping made stays that one's. Asks whether another one did. */
int store_day_made(struct store *store, int64_t day, int64_t from_minute);
int store_day_is_older(struct store *store, int64_t day, bool *ret);
/* UTC days that were made by another one. */
struct older_days {
	int64_t count;
	int64_t sealed;      /* of these, which a rebuild leaves as they are */
	int64_t first, last; /* of the others; of none they say nothing */
};
/* Those that overlap [from, to). */
int store_older_days(
	struct store *store, int64_t from_ms, int64_t to_ms, struct older_days *ret);

/* Minute rows: into the pending tables (live) or straight into the store (a derived
 * span). */
int store_pending_add(struct store *store, const struct minute *minute);
int store_pending_move(struct store *store);
int store_pending_clear(struct store *store);
int store_minute_add(struct store *store, const struct minute *minute);
/* After the last minute of a derived span, before anything else is asked of its rows: in
 * bulk they were only held until now. */
int store_minutes_write(struct store *store);
int store_minutes_drop(struct store *store, int64_t from_minute, int64_t to_minute);
/* For an import or a rebuild, which derives day after day: rows are kept in memory for
 * two days, so that sums need not ask for them again. Others may write, but no rows.
 * Commits no longer wait for the disk: a power cut loses the last of them, whole and in
 * order, so what was being imported or rebuilt is not done and is done again. Only once
 * store_bulk_end() was content may the work be called done. */
int store_in_bulk(struct store *store);
int store_bulk_end(struct store *store);
/* First and last stored minute; STORE_NONE when there is none. */
int store_minute_span(struct store *store, int64_t *ret_first, int64_t *ret_last);

/* From the first to the end of the last of readings and minute rows, ms: an older mapping
 * may have held values where this one does not. STORE_NONE when there is neither. */
int store_span(struct store *store, int64_t *ret_first_ms, int64_t *ret_end_ms);

/* The first minute that has a row of any kind; STORE_NONE when there is none. */
int store_first_row(struct store *store, int64_t *ret);
/* From the first to the end of the last row of minutes, hours and days (minutes);
 * STORE_NONE when there is none. */
int store_row_span(struct store *store, int64_t *ret_from, int64_t *ret_to);
/* When the first and the last event of a channel or meter happened; STORE_NONE when
 * there is none. */
int store_event_span(struct store *store, int64_t *ret_first_ms, int64_t *ret_last_ms);

/* Events that readings of [from_ms, to_ms) made: these and no others. */
int store_events_put(struct store *store, const struct event *made, size_t count,
	int64_t from_ms, int64_t to_ms);
/* Those that happened in [from_ms, to_ms), in order of time. Texts last as long as the
 * call. */
int store_events(struct store *store, int64_t from_ms, int64_t to_ms, event_visit *visit,
	void *context);

/* What a register counted and what power made of the same time, of spans that power
 * shaped; power is that of whole minutes, so that of short spans it may lack some. Their
 * ratio is 1, but for both meters' errors, unless a unit is wrong: 1000, 0.001, 3.6, … */
struct counted_beside {
	size_t quantity; /* config_counted() */
	int64_t spans;
	int64_t register_j, power_j;
	int64_t begin_ms, end_ms; /* from the first to the last */
};
/* Of all quantities, of spans that readings of [from_ms, to_ms) closed. */
int store_counted_beside(struct store *store, int64_t from_ms, int64_t to_ms,
	struct counted_beside ret[static COUNTED_MOST], size_t *ret_count);

struct settlement; /* settlement.h */
struct open_span;  /* likewise */
/* After rows of [*from_minute, *to_minute) were written as power says: readings of
 * [from_ms, to_ms) closed these spans of registers and no others (they are sorted). Books
 * them, and what spans closed by other readings lie over those rows; the range is widened
 * to all minutes that changed, which hours and days are to be summed of. */
int store_settle(struct store *store, struct settlement *made, size_t count,
	int64_t from_ms, int64_t to_ms, int64_t *from_minute, int64_t *to_minute);

/* What is known of the spans that are not over when the last minute was derived: in the
 * transaction that moves FACT_DERIVED_UNTIL_MS there. */
int store_open_put(struct store *store, const struct open_span *spans, size_t count);

/* Sums anew every hour and local day that overlaps [from, to) and ends by `until`
 * (minutes). */
int store_rollup(struct store *store, int64_t from_minute, int64_t to_minute,
	int64_t until_minute);

/* Copies the store of the configuration, whatever its schema and channels, to a file that
 * must not exist yet, while others may write to it: one moment's state, up to the last
 * commit. The copy is checked (quick_check) and on the device before 0 is returned; on
 * any failure it is removed and `why` says what it was (STORE_FULL: no room for it;
 * -EBADMSG: the store itself is damaged). */
int store_copy(const struct config *config, const char *path, int64_t *ret_bytes,
	char why[static 256]);

/* Laws as SQL: every row of checks.sql's answers, one line each, at most 20; 0 lines =
 * good. */
int store_checks(struct store *store, struct buffer *ret_lines, size_t *ret_count);
/* Reads every chunk of the journal; adds a line for each that is damaged, at most 20,
 * with its span and the remedy, and counts them. */
int store_check_journal(struct store *store, struct buffer *lines, size_t *count);

/* For tests: a statement's expanded text, the caller's to free, and why a scan is
 * accepted (NULL: it is not). */
size_t store_statement_count(void);
char *store_statement(struct store *store, size_t index, const char **ret_name,
	const char **ret_slow, bool *ret_script);
void *store_handle(struct store *store);

#endif
