/*
 * Rows that are kept and not yet written, as tables that SQL reads: one statement then
 * takes a day of them, where a statement a row would be begun, bound and ended each time.
 *
 * By SQLite's interface for virtual tables: such a table stands in no schema, is read
 * from its first row to its last, and is empty where nothing is kept.
 */
#include "kept_table.h"

struct table {
	sqlite3_vtab base;
	struct kept *const *kept; /* the store's, which comes and goes */
};

struct cursor {
	sqlite3_vtab_cursor base;
	size_t at; /* row */
};

static const struct kept *kept_of(const sqlite3_vtab *table)
{
	return *((const struct table *)table)->kept;
}

/* Where a table's columns and rows are. */
struct kind {
	const char *name;
	enum sql_id columns;
	size_t kept_at; /* in struct store */
};

static const struct kind minutes = {
	"kept_minutes_made", SQL_KEPT_MINUTES_MADE, offsetof(struct store, kept_minutes)};
static const struct kind energies = {"kept_energies_made", SQL_KEPT_ENERGIES_MADE,
	offsetof(struct store, kept_energies)};

static int connect(
	sqlite3 *db, struct store *s, const struct kind *kind, sqlite3_vtab **ret)
{
	struct buffer columns = {0};
	sql_expand(s->config, kind->columns, NULL, &columns);
	int rc = sqlite3_declare_vtab(db, buffer_text(&columns));
	buffer_release(&columns);
	if (rc != SQLITE_OK)
		return rc;
	struct table *table = xcalloc(1, sizeof(*table));
	table->kept =
		(struct kept *const *)(const void *)((const char *)s + kind->kept_at);
	*ret = &table->base;
	return SQLITE_OK;
}

static int connect_minutes(sqlite3 *db, void *store, int count, const char *const *words,
	sqlite3_vtab **ret, char **ret_error)
{
	(void)count, (void)words, (void)ret_error;
	return connect(db, store, &minutes, ret);
}

static int connect_energies(sqlite3 *db, void *store, int count, const char *const *words,
	sqlite3_vtab **ret, char **ret_error)
{
	(void)count, (void)words, (void)ret_error;
	return connect(db, store, &energies, ret);
}

static int disconnect(sqlite3_vtab *table)
{
	free(table);
	return SQLITE_OK;
}

static int plan(sqlite3_vtab *table, sqlite3_index_info *ret)
{
	(void)table;
	ret->estimatedRows = MIN_PER_DAY;
	return SQLITE_OK;
}

static int open_cursor(sqlite3_vtab *table, sqlite3_vtab_cursor **ret)
{
	(void)table;
	struct cursor *cursor = xcalloc(1, sizeof(*cursor));
	*ret = &cursor->base;
	return SQLITE_OK;
}

static int close_cursor(sqlite3_vtab_cursor *cursor)
{
	free(cursor);
	return SQLITE_OK;
}

static int rewind_cursor(sqlite3_vtab_cursor *cursor, int plan_number,
	const char *plan_text, int count, sqlite3_value **values)
{
	(void)plan_number, (void)plan_text, (void)count, (void)values;
	const struct kept *k = kept_of(cursor->pVtab);
	((struct cursor *)cursor)->at = k ? k->written : 0;
	return SQLITE_OK;
}

static int next_row(sqlite3_vtab_cursor *cursor)
{
	((struct cursor *)cursor)->at++;
	return SQLITE_OK;
}

static int is_beyond(sqlite3_vtab_cursor *cursor)
{
	const struct kept *k = kept_of(cursor->pVtab);
	return !k || ((struct cursor *)cursor)->at >= k->count;
}

static int give_column(sqlite3_vtab_cursor *cursor, sqlite3_context *out, int column)
{
	struct row_view row =
		kept_row(kept_of(cursor->pVtab), ((struct cursor *)cursor)->at);
	if (row.known[column])
		sqlite3_result_int64(out, row.values[column]);
	return SQLITE_OK;
}

static int give_row_number(sqlite3_vtab_cursor *cursor, sqlite3_int64 *ret)
{
	*ret = (sqlite3_int64)((struct cursor *)cursor)->at;
	return SQLITE_OK;
}

#define MODULE(how)                                                                      \
	{                                                                                \
		.xConnect = (how), .xBestIndex = plan, .xDisconnect = disconnect,        \
		.xOpen = open_cursor, .xClose = close_cursor, .xFilter = rewind_cursor,  \
		.xNext = next_row, .xEof = is_beyond, .xColumn = give_column,            \
		.xRowid = give_row_number                                                \
	}

static const sqlite3_module minutes_module = MODULE(connect_minutes);
static const sqlite3_module energies_module = MODULE(connect_energies);

int kept_tables(struct store *s)
{
	int rc = sqlite3_create_module(s->db, minutes.name, &minutes_module, s);
	return rc != SQLITE_OK
		       ? rc
		       : sqlite3_create_module(s->db, energies.name, &energies_module, s);
}
