/*
 * Inside the store: the connection, its statements, and how errors are named.
 */
#ifndef STORE_DATABASE_H
#define STORE_DATABASE_H

#include <heatbook/evidence.h>
#include <heatbook/query.h>
#include <heatbook/settlement.h>
#include <heatbook/store.h>

#include "chunk.h"
#include "kept.h"
#include "sql_blocks.h"

#include <sqlite3.h>
#include <sys/types.h>

/* Which file a name stood for. */
struct place {
	dev_t device;
	ino_t inode; /* 0: none yet */
};

/* Of a channel's states; empty for numbers. */
struct state_codes {
	int64_t *codes;           /* by the configuration's index */
	struct state_names names; /* by code */
};

struct store {
	const struct config *config;
	enum store_mode mode;
	sqlite3 *db;
	sqlite3_stmt *statements[SQL_COUNT];
	int64_t mapping;             /* row of the current mapping */
	int meter_bit[COUNTED_MOST]; /* of each configured meter in stored `known`; heat's
				      * is 0 */
	struct state_codes *states;  /* by channel */
	int schema;
	int code;                       /* SQLite's, of the last failure */
	int unprepared;                 /* why the last statement could not be prepared */
	bool marked;                    /* the file says that a daemon has it open */
	bool marking;                   /* it will when this transaction is committed */
	struct place places[3];         /* file, -wal, -shm */
	char damage[STORE_DAMAGE_MOST]; /* why the file is not written any more; "" */
	char error[STORE_ERROR_MOST];
	int64_t waiting_since_ms; /* monotonic: for another process's transaction */
	struct kept *kept_minutes, *kept_energies; /* NULL: every row is asked for */
	int64_t pending_rows; /* changes of the pending tables by store_pending_add() */
	int64_t pending_from; /* the least minute of those since they were cleared */
};

/* A mode's row has the key minute * 16 + mode. */
#define SLOTS_A_MINUTE 16

/* A block's text with its {channels|…$…} parts repeated; `name` replaces $ outside of
 * them (NULL: none does). */
void sql_expand(const struct config *config, enum sql_id id, const char *name,
	struct buffer *out);

/* The same with its {asked|…$…} parts repeated for these channels alone. */
void sql_expand_asked(const struct config *config, enum sql_id id, const int *channels,
	size_t count, struct buffer *out);

/* The prepared statement of a block, reset and unbound; NULL after an error (see
 * s->error). */
sqlite3_stmt *store_statement_of(struct store *s, enum sql_id id);
/* Names the failure of the last call and answers the store's code for it. */
int store_failed(struct store *s, int rc, const char *doing);
/* A turn of waiting for another process: 0 when it has been long enough. `tries` counts
 * from 0, *since_ms (int64_t) is its own. */
int store_wait_turn(void *since_ms, int tries);
/* Steps a statement that answers no rows, and resets it. */
int store_run(struct store *s, sqlite3_stmt *statement);
/* Adds to a fact, either way. */
int store_add_fact(struct store *s, enum store_fact fact, int64_t value);
/* Runs a script block with `name` for $. */
int store_script(struct store *s, enum sql_id id, const char *name);
/* Binds one value by its name in the text (":day"). */
void bind_int(sqlite3_stmt *statement, const char *name, int64_t value);
void bind_text(sqlite3_stmt *statement, const char *name, const char *text);
void bind_blob(
	sqlite3_stmt *statement, const char *name, const void *data, size_t length);

/* The connection alone: no schema, no columns, nothing written. */
int store_connect(const struct config *config, enum store_mode mode, struct store **ret,
	char why[static 256]);
/* The schema's number, or STORE_REFUSED for what is no store of ours. */
int store_recognise(struct store *s, int *ret_version, char why[static 256]);

/* Visits a statement's rows of minutes of [from, to), which it names :from_minute and
 * :to_minute, and resets it; its other values are bound before. STORE_BUSY where a
 * query's time is over (read.h). */
typedef void row_visit(sqlite3_stmt *row, void *context);
int store_rows_of(struct store *s, sqlite3_stmt *rows, int64_t from_min, int64_t to_min,
	row_visit *visit, void *context, const char *doing);

/* One row of the table of evidence, which holds facts of cost and of the weather as well;
 * of values NaN is NULL. */
int store_evidence_row(struct store *s, int64_t start_min, int kind, const char *subject,
	int64_t at_min, int64_t minutes, const double values[static EVIDENCE_VALUES]);

/* One integer of a statement that answers at most one row; STORE_NONE without. */
int store_scalar(struct store *s, sqlite3_stmt *statement, int64_t *ret);

/* Steps that bring the file up to date, in order. The first refuses what it may not do.
 */
int store_examine(struct store *s, int *ret_version, char why[static 256]);
int store_migrate(struct store *s, int version);
int store_columns(struct store *s, char why[static 256]);

/* guard.c: what keeps a hurt or absent file from being written. */
/* Checks a file that was left open, if it was. */
int store_check_after_crash(struct store *s, int version);
/* From here on nothing is written. */
void store_give_up(struct store *s, const char *what);
/* 0, STORE_DAMAGED or -ESTALE before a transaction that writes. */
int store_guard(struct store *s);

/* generation.c: a pending minute was added; how many changes there were before. */
void generation_note_pending(struct store *s, int64_t minute, int64_t changes_before);

/* states.c */
int store_states(struct store *s);
void store_states_release(struct store *s);
/* A configured state's code in rows; numbers and STATE_UNKNOWN are themselves. */
double store_state_code(const struct store *s, size_t channel, double state);
/* Names by code of all states that a channel ever had. */
int store_state_names(struct store *s, size_t channel, struct state_names *ret);

#endif
