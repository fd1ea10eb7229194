/*
 * Integrity, and the laws as SQL (sql/queries/checks.sql): a statement answers rows only
 * where one is broken.
 */
#include "database.h"

#include <errno.h>
#include <string.h>

#define LINES_MOST 20

/* A row that names another which is not there. */
static void add_orphan(sqlite3_stmt *check, struct buffer *lines)
{
	buffer_addf(lines, "row %lld of %s belongs to no row of %s\n",
		(long long)sqlite3_column_int64(check, 1),
		(const char *)sqlite3_column_text(check, 0),
		(const char *)sqlite3_column_text(check, 2));
}

static int run_check(struct store *s, enum sql_id id, struct buffer *lines, size_t *count)
{
	sqlite3_stmt *check = store_statement_of(s, id);
	int rc;

	if (!check)
		return s->unprepared;
	while ((rc = sqlite3_step(check)) == SQLITE_ROW) {
		const char *line = (const char *)sqlite3_column_text(check, 0);
		if (id == SQL_INTEGRITY_CHECK && strcmp(line, "ok") == 0)
			continue;
		if ((*count)++ >= LINES_MOST)
			continue;
		if (id == SQL_FOREIGN_KEY_CHECK)
			add_orphan(check, lines);
		else
			buffer_addf(lines, "%s\n", line);
	}
	(void)sqlite3_reset(check);
	return rc == SQLITE_DONE ? 0 : store_failed(s, rc, sql_blocks[id].name);
}

int store_checks(struct store *s, struct buffer *ret_lines, size_t *ret_count)
{
	size_t count = 0;
	int r = run_check(s, SQL_INTEGRITY_CHECK, ret_lines, &count);

	if (r == 0)
		r = run_check(s, SQL_FOREIGN_KEY_CHECK, ret_lines, &count);
	for (size_t id = 0; r == 0 && id < SQL_COUNT; id++)
		if (strncmp(sql_blocks[id].name, "check_", 6) == 0)
			r = run_check(s, (enum sql_id)id, ret_lines, &count);
	*ret_count = count;
	return r;
}
