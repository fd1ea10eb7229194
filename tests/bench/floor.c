/*
 * The least that an import can cost with the libraries that heatbook stands on: reads the
 * same lines, parses each payload with cJSON, inserts one wide row a minute into SQLite
 * with heatbook's pragmas. It keeps no journal, knows no units, integrates nothing and
 * books no energy; a rate is told as a ratio to this one, measured in the same run.
 *
 * Usage: bench_floor ARCHIVE DATABASE. Prints "LINES ROWS".
 */
#include <cjson/cJSON.h>
#include <sqlite3.h>

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define COLUMNS        32
#define LINES_A_COMMIT 50000

struct floor {
	sqlite3 *db;
	sqlite3_stmt *insert;
	double values[COLUMNS];
	long long minute, lines, rows;
};

static int failed(struct floor *f, const char *what)
{
	(void)fprintf(stderr, "bench_floor: %s: %s\n", what, sqlite3_errmsg(f->db));
	return -1;
}

static int run(struct floor *f, const char *sql)
{
	return sqlite3_exec(f->db, sql, NULL, NULL, NULL) == SQLITE_OK ? 0
								       : failed(f, sql);
}

static int open_database(struct floor *f, const char *path)
{
	char create[1024] = "CREATE TABLE minutes (minute INTEGER PRIMARY KEY";
	char insert[256] = "INSERT OR REPLACE INTO minutes VALUES (?";
	size_t at = strlen(create), to = strlen(insert);

	for (int c = 0; c < COLUMNS; c++) {
		at += (size_t)snprintf(
			create + at, sizeof(create) - at, ", c%d INTEGER", c);
		to += (size_t)snprintf(insert + to, sizeof(insert) - to, ", ?");
	}
	/* Both fit: 50 + 32 * 13 and 45 + 32 * 3 bytes. */
	(void)snprintf(create + at, sizeof(create) - at, ") STRICT");
	(void)snprintf(insert + to, sizeof(insert) - to, ")");
	if (sqlite3_open(path, &f->db) != SQLITE_OK)
		return failed(f, path);
	if (run(f, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL") != 0 ||
		run(f, create) != 0 || run(f, "BEGIN") != 0)
		return -1;
	return sqlite3_prepare_v2(f->db, insert, -1, &f->insert, NULL) == SQLITE_OK
		       ? 0
		       : failed(f, insert);
}

static int put_minute(struct floor *f)
{
	(void)sqlite3_bind_int64(f->insert, 1, f->minute); /* indices are right */
	for (int c = 0; c < COLUMNS; c++)
		(void)sqlite3_bind_int64(
			f->insert, c + 2, (sqlite3_int64)(f->values[c] * 100));
	f->rows++;
	bool done = sqlite3_step(f->insert) == SQLITE_DONE;
	return done && sqlite3_reset(f->insert) == SQLITE_OK ? 0 : failed(f, "insert");
}

/* Every number of a payload goes to a column that the topic chooses. */
static void take(struct floor *f, const cJSON *item, unsigned *column)
{
	if (cJSON_IsNumber(item))
		f->values[(*column)++ % COLUMNS] = item->valuedouble;
	for (const cJSON *inner = item->child; inner; inner = inner->next)
		take(f, inner, column);
}

static int take_line(struct floor *f, const char *line, size_t length)
{
	char *topic;
	double stamp = strtod(line, &topic);
	const char *payload = *topic == ' ' ? strchr(topic + 1, ' ') : NULL;
	unsigned column = 0;

	f->lines++;
	if (!payload)
		return 0;
	long long minute = (long long)stamp / 60;
	if (f->minute && minute != f->minute && put_minute(f) != 0)
		return -1;
	f->minute = minute;
	for (const char *c = topic + 1; c < payload; c++)
		column = column * 31 + (unsigned char)*c;
	payload++;
	cJSON *root = cJSON_ParseWithLength(payload, length - (size_t)(payload - line));
	if (root)
		take(f, root, &column);
	cJSON_Delete(root);
	return f->lines % LINES_A_COMMIT ? 0 : run(f, "COMMIT; BEGIN");
}

static int take_file(struct floor *f, const char *path)
{
	FILE *in = fopen(path, "re");
	char *line = NULL;
	size_t size = 0;
	ssize_t length;
	int r = 0;

	if (!in) {
		perror(path);
		return -1;
	}
	while (r == 0 && (length = getline(&line, &size, in)) > 0)
		r = take_line(f, line, (size_t)length);
	if (ferror(in))
		r = -1;
	free(line);
	(void)fclose(in); /* only read */
	return r;
}

int main(int argc, char **argv)
{
	struct floor f = {0};

	if (argc != 3) {
		(void)fputs("usage: bench_floor ARCHIVE DATABASE\n", stderr);
		return 2;
	}
	int r = open_database(&f, argv[2]);
	if (r == 0)
		r = take_file(&f, argv[1]);
	if (r == 0 && f.minute)
		r = put_minute(&f);
	if (r == 0)
		r = run(&f, "COMMIT");
	(void)sqlite3_finalize(f.insert);
	(void)sqlite3_close(f.db); /* all is committed, or nothing is worth it */
	if (r == 0)
		(void)printf("%lld %lld\n", f.lines, f.rows);
	return r == 0 ? 0 : 1;
}
