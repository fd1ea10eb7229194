/*
 * Imports: chunks that came by archives, under the archive's name and the digest of its
 * content. Each name is given once, so that one can be taken back by it.
 */
#include "database.h"

#include <heatbook/clock.h>

/* Its chunks go, and what they touched is dirty. */
static int clear_import(struct store *s, int64_t id, struct import_span *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_IMPORT_EXTENT);
	bind_int(get, ":import", id);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "import");
	bool any = sqlite3_column_type(get, 0) != SQLITE_NULL;
	int64_t bytes = sqlite3_column_int64(get, 0);
	*ret = (struct import_span){
		any, sqlite3_column_int64(get, 1), sqlite3_column_int64(get, 2) - 1};
	(void)sqlite3_reset(get);
	if (!any)
		return 0;
	sqlite3_stmt *dirty = store_statement_of(s, SQL_IMPORT_DIRTY);
	bind_int(dirty, ":import", id);
	bind_int(dirty, ":lag_ms", engine_lag_min(s->config) * MS_PER_MIN);
	int r = store_run(s, dirty);
	sqlite3_stmt *clear = store_statement_of(s, SQL_IMPORT_CLEAR);
	bind_int(clear, ":import", id);
	if (r == 0)
		r = store_run(s, clear);
	return r == 0 ? store_add_fact(s, FACT_JOURNAL_BYTES, -bytes) : r;
}

/* The first of that name; STORE_NONE. */
static int find_named(struct store *s, const char *name, int64_t *ret_id)
{
	sqlite3_stmt *find = store_statement_of(s, SQL_IMPORT_NAMED);
	bind_text(find, ":name", name);
	int rc = find ? sqlite3_step(find) : SQLITE_ERROR;
	int r = STORE_NONE;
	if (rc == SQLITE_ROW) {
		*ret_id = sqlite3_column_int64(find, 0);
		r = 0;
	} else if (rc != SQLITE_DONE) {
		r = store_failed(s, rc, "import");
	}
	if (find)
		(void)sqlite3_reset(find); /* it answered */
	return r;
}

/* "log.txt", or "log.txt (2)" where that name is taken. */
static int free_name(struct store *s, const char *name, char **ret)
{
	char *own = xstrdup(name);
	int64_t id;
	int r;
	for (int n = 2; (r = find_named(s, own, &id)) == 0; n++) {
		free(own);
		own = xasprintf("%s (%d)", name, n);
	}
	if (r != STORE_NONE) {
		free(own);
		return r;
	}
	*ret = own;
	return 0;
}

static int add_import(struct store *s, const char *name, uint64_t digest, int64_t *ret_id)
{
	_cleanup_(freep) char *own = NULL;
	int r = free_name(s, name, &own);
	if (r != 0)
		return r;
	sqlite3_stmt *add = store_statement_of(s, SQL_IMPORT_ADD);
	bind_text(add, ":name", own);
	bind_int(add, ":digest", (int64_t)digest);
	bind_int(add, ":added_ms", clock_now_ms());
	int rc = add ? sqlite3_step(add) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "import");
	*ret_id = sqlite3_column_int64(add, 0);
	(void)sqlite3_reset(add);
	return 0;
}

int store_import_begin(
	struct store *s, const char *name, uint64_t digest, int64_t *ret_id)
{
	struct import_span span;
	sqlite3_stmt *find = store_statement_of(s, SQL_IMPORT_FIND);
	bind_int(find, ":digest", (int64_t)digest);
	int rc = find ? sqlite3_step(find) : SQLITE_ERROR;
	if (rc != SQLITE_ROW && rc != SQLITE_DONE)
		return store_failed(s, rc, "import");
	bool found = rc == SQLITE_ROW;
	int64_t id = found ? sqlite3_column_int64(find, 0) : 0;
	bool complete = found && sqlite3_column_int(find, 1) != 0;
	(void)sqlite3_reset(find);
	if (!found)
		return add_import(s, name, digest, ret_id);
	*ret_id = id;
	/* One that was broken off begins anew: nothing counts twice. */
	return complete ? STORE_KNOWN : clear_import(s, id, &span);
}

int store_import_done(struct store *s, int64_t id, int64_t records, int64_t rejected)
{
	sqlite3_stmt *done = store_statement_of(s, SQL_IMPORT_DONE);
	bind_int(done, ":id", id);
	bind_int(done, ":records", records);
	bind_int(done, ":rejected", rejected);
	return store_run(s, done);
}

int store_import_drop(struct store *s, const char *name, struct import_span *ret)
{
	int64_t id = 0;
	int r = find_named(s, name, &id);
	if (r == 0)
		r = clear_import(s, id, ret);
	if (r != 0)
		return r;
	sqlite3_stmt *remove = store_statement_of(s, SQL_IMPORT_REMOVE);
	bind_int(remove, ":id", id);
	return store_run(s, remove);
}

int store_imports(struct store *s, import_visit *visit, void *context)
{
	sqlite3_stmt *list = store_statement_of(s, SQL_IMPORT_LIST);
	int rc;
	if (!list)
		return s->unprepared;
	while ((rc = sqlite3_step(list)) == SQLITE_ROW) {
		const struct import_row row = {
			.name = (const char *)sqlite3_column_text(list, 0),
			.added_ms = sqlite3_column_int64(list, 1),
			.complete = sqlite3_column_int(list, 2) != 0,
			.rejected = sqlite3_column_int64(list, 3),
			.damaged = sqlite3_column_int(list, 4) != 0,
			.records = sqlite3_column_int64(list, 5),
			.bytes = sqlite3_column_int64(list, 6),
			.span = {sqlite3_column_type(list, 7) != SQLITE_NULL,
				sqlite3_column_int64(list, 7),
				sqlite3_column_int64(list, 8)},
		};
		visit(&row, context);
	}
	if (rc != SQLITE_DONE)
		return store_failed(s, rc, "import");
	(void)sqlite3_reset(list);
	return 0;
}
