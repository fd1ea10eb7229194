/*
 * The connection: opening, statements, facts. Statements are prepared when first used and
 * kept for the connection's life; each is reset before it is handed out, so that none
 * holds a read transaction open between turns.
 */
#include "database.h"

#include "kept_table.h"

#include <heatbook/calendar.h>
#include <heatbook/clock.h>

#include <errno.h>
#include <string.h>
#include <time.h>

/* SQLite's own wait tries each 100 ms in the end and may miss every gap between another
 * process's transactions: this one tries each ms, and store_give_way() makes gaps that
 * are wider. */
#define BUSY_TIMEOUT_MS 10000
#define GIVE_WAY_MS     5

static void sleep_ms(int64_t span_ms)
{
	const struct timespec pause = {.tv_nsec = span_ms * 1000000};
	(void)nanosleep(&pause, NULL); /* a signal only shortens the wait */
}

int store_wait_turn(void *since_ms, int tries)
{
	int64_t *since = since_ms, now_ms = clock_mono_ms();
	if (tries == 0)
		*since = now_ms;
	if (now_ms - *since >= BUSY_TIMEOUT_MS || tries >= BUSY_TIMEOUT_MS)
		return 0;
	sleep_ms(1);
	return 1;
}

void store_give_way(void)
{
	sleep_ms(GIVE_WAY_MS);
}

/* What helps against a failure of the world; it is tried again in any case. */
static const char *remedy(int rc)
{
	switch (rc) {
	case SQLITE_FULL:
		return "; free space on its file system";
	case SQLITE_READONLY:
	case SQLITE_PERM:
	case SQLITE_CANTOPEN:
		return "; make the file and its directory writable for this user";
	case SQLITE_IOERR:
		return "; the system's log names the device's trouble";
	default:
		return "";
	}
}

int store_failed(struct store *s, int rc, const char *doing)
{
	int code = s->db ? sqlite3_errcode(s->db) : rc;
	const char *what = s->db ? sqlite3_errmsg(s->db) : sqlite3_errstr(rc);

	/* A statement that could not be prepared is known by the connection's code. */
	rc = rc == SQLITE_ERROR && code != SQLITE_OK ? code & 0xff : rc & 0xff;
	s->code = rc;
	if (rc == SQLITE_CORRUPT || rc == SQLITE_NOTADB) {
		store_give_up(s, what);
		return STORE_DAMAGED;
	}
	(void)snprintf(s->error, sizeof(s->error), "%s: %s%s", doing, what, remedy(rc));
	if (rc == SQLITE_BUSY || rc == SQLITE_LOCKED)
		return STORE_BUSY;
	if (rc == SQLITE_FULL)
		return STORE_FULL;
	return -EIO;
}

sqlite3_stmt *store_statement_of(struct store *s, enum sql_id id)
{
	if (!s->statements[id]) {
		struct buffer text = {0};
		sql_expand(s->config, id, NULL, &text);
		int rc = sqlite3_prepare_v3(s->db, buffer_text(&text), -1,
			SQLITE_PREPARE_PERSISTENT, &s->statements[id], NULL);
		buffer_release(&text);
		if (rc != SQLITE_OK) {
			s->unprepared = store_failed(s, rc, sql_blocks[id].name);
			return NULL;
		}
	}
	(void)sqlite3_reset(s->statements[id]); /* its last error was answered then */
	(void)sqlite3_clear_bindings(s->statements[id]);
	return s->statements[id];
}

int store_run(struct store *s, sqlite3_stmt *statement)
{
	if (!statement)
		return s->unprepared;
	int rc = sqlite3_step(statement);
	int r = 0;
	if (rc != SQLITE_DONE && rc != SQLITE_ROW)
		r = store_failed(s, rc, "store");
	(void)sqlite3_reset(statement);
	return r;
}

int store_script(struct store *s, enum sql_id id, const char *name)
{
	struct buffer text = {0};
	sql_expand(s->config, id, name, &text);
	int rc = sqlite3_exec(s->db, buffer_text(&text), NULL, NULL, NULL);
	buffer_release(&text);
	return rc == SQLITE_OK ? 0 : store_failed(s, rc, sql_blocks[id].name);
}

static int parameter(sqlite3_stmt *statement, const char *name)
{
	return statement ? sqlite3_bind_parameter_index(statement, name) : 0;
}

void bind_int(sqlite3_stmt *statement, const char *name, int64_t value)
{
	if (statement)
		(void)sqlite3_bind_int64(statement, parameter(statement, name), value);
}

void bind_text(sqlite3_stmt *statement, const char *name, const char *text)
{
	if (statement)
		(void)sqlite3_bind_text(statement, parameter(statement, name), text, -1,
			SQLITE_TRANSIENT);
}

void bind_blob(sqlite3_stmt *statement, const char *name, const void *data, size_t length)
{
	if (statement)
		(void)sqlite3_bind_blob64(statement, parameter(statement, name), data,
			length, SQLITE_STATIC);
}

static int open_file(struct store *s, char why[static 256])
{
	int flags = SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE;
	if (s->mode != STORE_READ)
		flags |= SQLITE_OPEN_CREATE;
	int rc = sqlite3_open_v2(s->config->store.file, &s->db, flags, NULL);
	if (rc == SQLITE_OK)
		rc = sqlite3_extended_result_codes(s->db, 0);
	if (rc == SQLITE_OK)
		rc = sqlite3_busy_handler(s->db, store_wait_turn, &s->waiting_since_ms);
	if (rc == SQLITE_OK)
		rc = kept_tables(s);
	if (rc == SQLITE_OK)
		return 0;
	(void)snprintf(why, 256, "%s: cannot be opened: %s%s", s->config->store.file,
		s->db ? sqlite3_errmsg(s->db) : "out of memory", remedy(rc & 0xff));
	return STORE_REFUSED;
}

/* The daemon collects what comes beside a damaged file, and answers what can be read. */
static int open_damaged(struct store *s)
{
	enum store_mode mode = s->mode;
	char why[256];

	s->mode = STORE_READ;
	/* What fails here fails again, with its reason, for whoever asks. */
	(void)sqlite3_exec(s->db, sql_blocks[SQL_READ_ON].text, NULL, NULL, NULL);
	(void)store_columns(s, why);
	s->mode = mode;
	store_give_up(s, s->damage);
	return 0;
}

static int bring_up(struct store *s, char why[static 256])
{
	int version = 0;
	int r = store_examine(s, &version, why);
	if (r != 0)
		return r;
	r = store_check_after_crash(s, version);
	if (r == 0)
		r = store_migrate(s, version);
	if (r == 0)
		r = store_columns(s, why);
	if (s->damage[0] && s->mode >= STORE_SERVE)
		return open_damaged(s);
	if (r != 0 && r != STORE_REFUSED)
		(void)snprintf(why, 256, "%s: %.200s", s->config->store.file, s->error);
	return r;
}

int store_connect(const struct config *config, enum store_mode mode, struct store **ret,
	char why[static 256])
{
	struct store *s = xcalloc(1, sizeof(*s));

	s->config = config;
	s->mode = mode;
	s->pending_from = INT64_MAX;
	int r = open_file(s, why);
	if (r != 0) {
		store_close(s);
		return r;
	}
	*ret = s;
	return 0;
}

int store_open(const struct config *config, enum store_mode mode, struct store **ret,
	char why[static 256])
{
	struct store *s;
	int r = store_connect(config, mode, &s, why);
	if (r != 0)
		return r;
	r = bring_up(s, why);
	if (r != 0) {
		store_close(s);
		return r;
	}
	*ret = s;
	return 0;
}

void store_close(struct store *s)
{
	if (!s)
		return;
	for (size_t i = 0; i < SQL_COUNT; i++)
		(void)sqlite3_finalize(s->statements[i]);
	(void)sqlite3_close(s->db);
	store_states_release(s);
	kept_free(s->kept_minutes);
	kept_free(s->kept_energies);
	free(s);
}

const struct config *store_config(const struct store *s)
{
	return s->config;
}

int store_schema(const struct store *s)
{
	return s->schema;
}

const char *store_error(const struct store *s)
{
	return s->error;
}

const char *store_damage(const struct store *s)
{
	return s->damage[0] ? s->damage : NULL;
}

void *store_handle(struct store *s)
{
	return s->db;
}

int store_rows_of(struct store *s, sqlite3_stmt *rows, int64_t from_min, int64_t to_min,
	row_visit *visit, void *context, const char *doing)
{
	int rc;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":from_minute", from_min);
	bind_int(rows, ":to_minute", to_min);
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW)
		visit(rows, context);
	int r = rc == SQLITE_DONE        ? 0
		: rc == SQLITE_INTERRUPT ? STORE_BUSY
					 : store_failed(s, rc, doing);
	(void)sqlite3_reset(rows);
	return r;
}

/* One integer of a statement that answers at most one row. */
int store_scalar(struct store *s, sqlite3_stmt *statement, int64_t *ret)
{
	if (!statement)
		return s->unprepared;
	int rc = sqlite3_step(statement);
	int r = STORE_NONE;
	if (rc == SQLITE_ROW) {
		*ret = sqlite3_column_int64(statement, 0);
		r = 0;
	} else if (rc != SQLITE_DONE) {
		r = store_failed(s, rc, "store");
	}
	(void)sqlite3_reset(statement);
	return r;
}

int64_t store_bytes(struct store *s)
{
	int64_t bytes = 0;
	(void)store_scalar(
		s, store_statement_of(s, SQL_PAGE_BYTES), &bytes); /* 0: not known */
	return bytes;
}

/* The daemon's first write marks the file, in the same transaction. */
int store_begin(struct store *s)
{
	int r = store_guard(s);
	if (r == 0)
		r = store_run(s, store_statement_of(s, SQL_BEGIN));
	if (r != 0 || s->mode < STORE_SERVE || s->marked || !s->states)
		return r;
	s->marking = true;
	return store_set_fact(s, FACT_OPEN, 1);
}

int store_begin_read(struct store *s)
{
	return store_run(s, store_statement_of(s, SQL_BEGIN_READ));
}

int store_commit(struct store *s)
{
	int r = store_run(s, store_statement_of(s, SQL_COMMIT));
	s->marked |= r == 0 && s->marking;
	s->marking = false;
	return r;
}

void store_rollback(struct store *s)
{
	s->marking = false;
	kept_forget(s->kept_minutes);
	kept_forget(s->kept_energies);
	if (!sqlite3_get_autocommit(s->db))
		(void)store_run(
			s, store_statement_of(s, SQL_ROLLBACK)); /* on a way out */
}

int store_left(struct store *s)
{
	int64_t open = 0;
	int r = s->damage[0] ? STORE_DAMAGED : store_fact(s, FACT_OPEN, &open);
	if (r != 0 || !open)
		return r;
	s->marked = true;
	r = store_begin(s);
	if (r == 0)
		r = store_set_fact(s, FACT_OPEN, 0);
	if (r == 0)
		r = store_commit(s);
	if (r != 0)
		store_rollback(s);
	return r;
}

static const char *const fact_names[FACT_COUNT] = {
	[FACT_VERSION] = "version",
	[FACT_COMMITTED_SEQUENCE] = "committed_sequence",
	[FACT_DERIVED_UNTIL_MS] = "derived_until_ms",
	[FACT_ZONE_DIGEST] = "zone_digest",
	[FACT_JOURNAL_BYTES] = "journal_bytes",
	[FACT_OPEN] = "open",
	[FACT_REBUILD] = "rebuild",
};

int store_fact(struct store *s, enum store_fact fact, int64_t *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_FACT_GET);
	bind_text(get, ":name", fact_names[fact]);
	return store_scalar(s, get, ret);
}

static int change_fact(
	struct store *s, enum sql_id id, enum store_fact fact, int64_t value)
{
	sqlite3_stmt *change = store_statement_of(s, id);
	bind_text(change, ":name", fact_names[fact]);
	bind_int(change, ":value", value);
	return store_run(s, change);
}

int store_set_fact(struct store *s, enum store_fact fact, int64_t value)
{
	return change_fact(s, SQL_FACT_SET, fact, value);
}

int store_add_fact(struct store *s, enum store_fact fact, int64_t value)
{
	return change_fact(s, SQL_FACT_ADD, fact, value);
}

int store_bump_version(struct store *s)
{
	return store_add_fact(s, FACT_VERSION, 1);
}

int store_outside_version(struct store *s, int64_t *ret)
{
	return store_scalar(s, store_statement_of(s, SQL_DATA_VERSION), ret);
}

size_t store_statement_count(void)
{
	return SQL_COUNT;
}

/* What has columns that statements of registers can name. */
static const char *counted_name(const struct config *config)
{
	for (size_t q = 0; q < COUNTED_MOST; q++)
		if (config_is_laid(config, q))
			return config_counted_name(config, q);
	return "x";
}

static const char *difference_name(const struct config *config)
{
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].difference)
			return config->meters[m].name;
	return "x";
}

char *store_statement(struct store *s, size_t index, const char **ret_name,
	const char **ret_slow, bool *ret_script)
{
	struct buffer text = {0};
	const char *name = s->config->channel_count ? s->config->channels[0].name : "x";
	if (strncmp(sql_blocks[index].name, "settle_", 7) == 0)
		name = counted_name(s->config);
	if (strncmp(sql_blocks[index].name, "difference_", 11) == 0)
		name = difference_name(s->config);
	sql_expand(s->config, (enum sql_id)index, name, &text);
	*ret_name = sql_blocks[index].name;
	*ret_slow = sql_blocks[index].slow;
	*ret_script = sql_blocks[index].script;
	char *copy = xstrdup(buffer_text(&text));
	buffer_release(&text);
	return copy;
}
