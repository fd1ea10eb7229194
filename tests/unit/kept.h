/*
 * Stores of earlier schemas, from their dumps, and what is to be kept of them.
 */
#ifndef KEPT_H
#define KEPT_H

#include "stored.h"

#define DERIVED_MS INT64_C(1795830960000) /* when the dumps were made, about */

static const char *const kept_dumps[] = {"schema/001.sql", "schema/002.sql",
	"schema/003.sql", "schema/004.sql", "schema/005.sql", "schema/006.sql",
	"schema/007.sql", "schema/008.sql", "schema/009.sql"};

/* A file of tests/data. */
static inline char *text_of(const char *name)
{
	const char *data = getenv("TEST_DATA");
	_cleanup_(freep) char *path =
		xasprintf("%s/%s", data ? data : "tests/data", name);
	struct buffer text = {0};
	char block[4096];
	size_t n;
	FILE *f = fopen(path, "re");
	ck_assert_msg(f != NULL, "%s: %s", path, strerror(errno));
	while ((n = fread(block, 1, sizeof(block), f)) > 0)
		buffer_add(&text, block, n);
	ck_assert_int_eq(fclose(f), 0);
	char *copy = xstrdup(buffer_text(&text));
	buffer_release(&text);
	return copy;
}

/* A configuration for a directory; its store is not there yet. */
static inline struct stored *kept_house(void)
{
	_cleanup_(freep) char *text = text_of("schema/store.conf");
	struct stored *s = xcalloc(1, sizeof(*s));
	s->directory = new_directory();
	_cleanup_(freep) char *whole =
		xasprintf("%s[journal]\ntail = %s\n", text, s->directory);
	s->config = configured_in(s->directory, whole);
	return s;
}

static inline void load_dump(const struct stored *s, const char *name)
{
	_cleanup_(freep) char *sql = text_of(name);
	sqlite3 *db = NULL;
	char *fault = NULL;
	ck_assert_int_eq(sqlite3_open(s->config->store.file, &db), SQLITE_OK);
	int rc = sqlite3_exec(db, sql, NULL, NULL, &fault);
	ck_assert_msg(rc == SQLITE_OK, "%s: %s", name, fault);
	ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
}

static inline void open_kept(struct stored *s)
{
	char why[256] = "";
	int r = store_open(s->config, STORE_WRITE, &s->store, why);
	ck_assert_msg(r == 0, "%s", why);
}

static inline int add_row(void *out, int columns, char **values, char **names)
{
	for (int i = 0; i < columns; i++)
		buffer_addf(out, "%s=%s ", names[i], values[i] ? values[i] : "-");
	buffer_add_text(out, "\n");
	return 0;
}

/* What a query answers, as text, of a file that nobody has open. */
static inline char *answer(const struct stored *s, const char *sql)
{
	struct buffer out = {0};
	sqlite3 *db = NULL;
	char *fault = NULL;
	ck_assert_int_eq(sqlite3_open(s->config->store.file, &db), SQLITE_OK);
	int rc = sqlite3_exec(db, sql, add_row, &out, &fault);
	ck_assert_msg(rc == SQLITE_OK, "%s: %s", sql, fault);
	ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
	ck_assert_uint_gt(out.length, 0);
	char *copy = xstrdup(buffer_text(&out));
	buffer_release(&out);
	return copy;
}

static const char kept_rows[] = "SELECT * FROM minutes; SELECT * FROM energy_minutes;"
				"SELECT * FROM hours; SELECT * FROM energy_hours;"
				"SELECT * FROM days; SELECT * FROM energy_days;";
static const char kept_journal[] =
	"SELECT id, import, records, bytes, hex(data) FROM chunks;"
	"SELECT * FROM imports; SELECT from_ms, to_ms FROM dirty;"
	"SELECT day, hex(state) FROM checkpoints; SELECT day FROM days_made;"
	"SELECT * FROM meters; SELECT * FROM columns;"
	"SELECT * FROM facts WHERE name IN ('committed_sequence', 'derived_until_ms', "
	"'journal_bytes')";
static const char kept_schema[] =
	"SELECT type, name, tbl_name, sql FROM sqlite_schema ORDER BY type, name;"
	"PRAGMA user_version";

static inline void end_kept(struct stored *s)
{
	config_free(s->config);
	remove_directory(s->directory);
	free(s);
}

#endif
