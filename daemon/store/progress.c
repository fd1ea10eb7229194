/*
 * How far the deriver came: dirty spans, checkpoints, and which mapping made which day.
 */
#include "database.h"

#include <heatbook/clock.h>
#include <heatbook/verify.h>

#include <errno.h>

int store_dirty_add(struct store *s, int64_t from_ms, int64_t to_ms)
{
	sqlite3_stmt *add = store_statement_of(s, SQL_DIRTY_ADD);
	bind_int(add, ":from_ms", from_ms);
	bind_int(add, ":to_ms", to_ms);
	return store_run(s, add);
}

int store_dirty_readings(struct store *s, int64_t from_ms, int64_t to_ms)
{
	sqlite3_stmt *add = store_statement_of(s, SQL_DIRTY_READINGS);
	bind_int(add, ":from_ms", from_ms);
	bind_int(add, ":to_ms", to_ms);
	bind_int(add, ":lag_ms", engine_lag_min(s->config) * MS_PER_MIN);
	return store_run(s, add);
}
int store_dirty_next(struct store *s, int64_t *ret_from_ms, int64_t *ret_to_ms)
{
	sqlite3_stmt *next = store_statement_of(s, SQL_DIRTY_NEXT);
	int rc = next ? sqlite3_step(next) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "dirty spans");
	int r = STORE_CLEAN;
	if (sqlite3_column_type(next, 0) != SQLITE_NULL) {
		*ret_from_ms = sqlite3_column_int64(next, 0);
		*ret_to_ms = sqlite3_column_int64(next, 1);
		r = 0;
	}
	(void)sqlite3_reset(next);
	return r;
}

int store_dirty_done(struct store *s, int64_t until_ms)
{
	sqlite3_stmt *drop = store_statement_of(s, SQL_DIRTY_DROP);
	bind_int(drop, ":until_ms", until_ms);
	int r = store_run(s, drop);
	if (r != 0)
		return r;
	sqlite3_stmt *trim = store_statement_of(s, SQL_DIRTY_TRIM);
	bind_int(trim, ":until_ms", until_ms);
	return store_run(s, trim);
}

int store_mapping_since(struct store *s, int64_t *ret_ms)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_MAPPING_TOOK_OVER);
	bind_int(get, ":mapping", s->mapping);
	return store_scalar(s, get, ret_ms);
}

int store_dirty_about(struct store *s, int64_t from_ms, int64_t to_ms, bool *ret)
{
	int64_t count = 0;
	sqlite3_stmt *get = store_statement_of(s, SQL_DIRTY_ABOUT);
	bind_int(get, ":from_ms", from_ms);
	bind_int(get, ":to_ms", to_ms);
	int r = store_scalar(s, get, &count);
	*ret = count > 0;
	return r;
}

int store_reaches_gone(struct store *s, int64_t from_ms, int64_t to_ms, bool *ret)
{
	int64_t gone = 0, any = 0;
	int r = store_scalar(s, store_statement_of(s, SQL_GONE_UNTIL), &gone);
	*ret = false;
	if (r != 0 || gone == 0)
		return r;
	sqlite3_stmt *get = store_statement_of(s, SQL_SPAN_FROM_GONE);
	bind_int(get, ":gone_ms", gone * MS_PER_MIN);
	bind_int(get, ":from_ms", from_ms);
	bind_int(get, ":to_ms", to_ms);
	r = store_scalar(s, get, &any);
	*ret = any > 0;
	return r;
}

/* One integer of a statement that always answers a row. */
static int one(struct store *s, sqlite3_stmt *get, int64_t *ret)
{
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "progress");
	*ret = sqlite3_column_int64(get, 0);
	(void)sqlite3_reset(get);
	return 0;
}

int store_dirty_days(struct store *s, int64_t *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_DIRTY_COUNT);
	bind_int(get, ":now_ms", clock_now_ms()); /* the future is nobody's work yet */
	return one(s, get, ret);
}

int store_older_days(
	struct store *s, int64_t from_ms, int64_t to_ms, struct older_days *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_DAYS_OF_OTHER_MAPPINGS);
	bind_int(get, ":mapping", s->mapping);
	bind_int(get, ":from_day", floor_div(from_ms, MS_PER_DAY));
	bind_int(get, ":to_day", floor_div(to_ms - 1, MS_PER_DAY) + 1);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "days of an earlier mapping");
	*ret = (struct older_days){.count = sqlite3_column_int64(get, 0),
		.sealed = sqlite3_column_int64(get, 1),
		.first = sqlite3_column_int64(get, 2),
		.last = sqlite3_column_int64(get, 3)};
	(void)sqlite3_reset(get);
	return 0;
}

int store_checkpoint_put(struct store *s, int64_t day, const struct buffer *state)
{
	sqlite3_stmt *put = store_statement_of(s, SQL_CHECKPOINT_PUT);
	bind_int(put, ":day", day);
	/* Nothing is ever open beyond a minute in this version: registers and lines
	 * between readings, which are, come with their own rules. */
	bind_int(put, ":open_ms", day * MS_PER_DAY);
	bind_blob(put, ":state", state->data, state->length);
	return store_run(s, put);
}

int store_checkpoint_drop(struct store *s, int64_t day)
{
	sqlite3_stmt *drop = store_statement_of(s, SQL_CHECKPOINT_DROP);
	bind_int(drop, ":day", day);
	return store_run(s, drop);
}

static int checkpoint(struct store *s, enum sql_id id, int64_t day, int64_t *ret_day,
	struct buffer *ret_state)
{
	sqlite3_stmt *get = store_statement_of(s, id);
	bind_int(get, ":day", day);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	int r = STORE_NONE;
	if (rc == SQLITE_ROW) {
		*ret_day = sqlite3_column_int64(get, 0);
		buffer_reset(ret_state);
		buffer_add(ret_state, sqlite3_column_blob(get, 1),
			(size_t)sqlite3_column_bytes(get, 1));
		r = 0;
	} else if (rc != SQLITE_DONE) {
		r = store_failed(s, rc, "checkpoint");
	}
	if (get)
		(void)sqlite3_reset(get);
	return r;
}

int store_checkpoint_before(
	struct store *s, int64_t day, int64_t *ret_day, struct buffer *ret_state)
{
	return checkpoint(s, SQL_CHECKPOINT_BEFORE, day, ret_day, ret_state);
}

int store_checkpoint_after(
	struct store *s, int64_t day, int64_t *ret_day, struct buffer *ret_state)
{
	return checkpoint(s, SQL_CHECKPOINT_AFTER, day, ret_day, ret_state);
}

int store_day_made(struct store *s, int64_t day, int64_t from_minute)
{
	sqlite3_stmt *put = store_statement_of(s, SQL_DAY_MADE_PUT);
	bind_int(put, ":day", day);
	bind_int(put, ":mapping", s->mapping);
	bind_int(put, ":from_minute", from_minute);
	return store_run(s, put);
}

int store_day_is_older(struct store *s, int64_t day, bool *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_DAY_MADE_GET);
	bind_int(get, ":day", day);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW && rc != SQLITE_DONE)
		return store_failed(s, rc, "progress");
	*ret = rc == SQLITE_ROW && sqlite3_column_int64(get, 0) != s->mapping;
	(void)sqlite3_reset(get);
	return 0;
}
