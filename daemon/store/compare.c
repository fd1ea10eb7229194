/*
 * Rows as they stood beside rows as they were made again: see verify.h. Whatever columns
 * a table has take part, also those of channels that are no longer configured.
 */
#include "database.h"

#include <heatbook/calendar.h>
#include <heatbook/evidence.h>
#include <heatbook/runs.h>
#include <heatbook/verify.h>

#include <errno.h>
#include <string.h>

/* What a row is named by. */
enum row_kind { OF_MINUTE, OF_SLOT, OF_HOUR, OF_DAY, OF_EVIDENCE, OF_RUN };
enum { KEYS_MOST = 6 };

static const struct compared {
	const char *table;
	enum sql_id keep, compare;
	enum row_kind kind;
	int keys;
	bool minutes;
} compared[] = {
	{"minutes", SQL_KEEP_MINUTES, SQL_COMPARE_MINUTES, OF_MINUTE, 1, true},
	{"energy_minutes", SQL_KEEP_ENERGY_MINUTES, SQL_COMPARE_ENERGY_MINUTES, OF_SLOT,
		1, true},
	{"hours", SQL_KEEP_HOURS, SQL_COMPARE_HOURS, OF_HOUR, 1, false},
	{"energy_hours", SQL_KEEP_ENERGY_HOURS, SQL_COMPARE_ENERGY_HOURS, OF_HOUR, 3,
		false},
	{"days", SQL_KEEP_DAYS, SQL_COMPARE_DAYS, OF_DAY, 1, false},
	{"energy_days", SQL_KEEP_ENERGY_DAYS, SQL_COMPARE_ENERGY_DAYS, OF_DAY, 3, false},
};

/* Made by who looks at days, when they are there. */
static const struct compared evidence = {
	"evidence", SQL_KEEP_EVIDENCE, SQL_COMPARE_EVIDENCE, OF_EVIDENCE, 4, true};

/* Likewise, by who has time. */
static const struct compared runs[] = {
	{"run_days", SQL_KEEP_RUN_DAYS, SQL_COMPARE_RUN_DAYS, OF_DAY, 1, true},
	{"runs", SQL_KEEP_RUNS, SQL_COMPARE_RUNS, OF_RUN, 4, true},
	{"energy_runs", SQL_KEEP_ENERGY_RUNS, SQL_COMPARE_ENERGY_RUNS, OF_RUN, 6, true},
};

struct value {
	int type; /* SQLite's */
	int64_t number;
	char text[56]; /* also the name of a channel */
};

struct comparison {
	const struct compared *table;
	sqlite3_stmt *rows;
	struct value *kept; /* the row that waits for its like */
	bool waits;
	difference_found *found;
	void *context;
};

/* These are prepared for one use: their tables come and go. */
static int prepare(struct store *s, enum sql_id id, int64_t from_minute,
	int64_t to_minute, sqlite3_stmt **ret)
{
	int rc = sqlite3_prepare_v2(s->db, sql_blocks[id].text, -1, ret, NULL);
	if (rc != SQLITE_OK)
		return store_failed(s, rc, sql_blocks[id].name);
	bind_int(*ret, ":from_minute", from_minute);
	bind_int(*ret, ":to_minute", to_minute);
	return 0;
}

static int keep(struct store *s, enum sql_id id, int64_t from, int64_t to)
{
	sqlite3_stmt *statement = NULL;
	int r = prepare(s, id, from, to, &statement);
	if (r == 0)
		r = store_run(s, statement);
	(void)sqlite3_finalize(statement); /* its failure was answered */
	return r;
}

static bool has_tables(struct store *s)
{
	return sqlite3_table_column_metadata(s->db, "temp", "kept_minutes", NULL, NULL,
		       NULL, NULL, NULL, NULL) == SQLITE_OK;
}

int store_keep_rows(struct store *s, int64_t from, int64_t to, bool minutes)
{
	int r = store_script(s, has_tables(s) ? SQL_KEPT_CLEAR : SQL_KEPT_TABLES, NULL);
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(compared); i++)
		if (minutes || !compared[i].minutes)
			r = keep(s, compared[i].keep, from, to);
	if (r == 0 && minutes)
		r = keep(s, evidence.keep, from, to);
	return r;
}

int store_keep_runs(struct store *s, int64_t from, int64_t to)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(runs); i++)
		r = keep(s, runs[i].keep, from, to);
	return r;
}

static struct value value_at(sqlite3_stmt *row, int column)
{
	struct value v = {.type = sqlite3_column_type(row, column)};
	if (v.type == SQLITE_INTEGER)
		v.number = sqlite3_column_int64(row, column);
	else if (v.type != SQLITE_NULL)
		(void)snprintf(v.text, sizeof(v.text), "%s",
			(const char *)sqlite3_column_text(row, column));
	return v;
}

static bool same(const struct value *a, const struct value *b)
{
	return a->type == b->type && a->number == b->number &&
	       strcmp(a->text, b->text) == 0;
}

static void value_text(const struct value *v, char text[static 48])
{
	if (v->type == SQLITE_NULL)
		(void)snprintf(text, 48, "unknown");
	else if (v->type == SQLITE_INTEGER)
		(void)snprintf(text, 48, "%lld", (long long)v->number);
	else
		(void)snprintf(text, 48, "%.47s", v->text);
}

/* "2026-01-31T10:00:00+01:00 frozen flow_temperature" */
static void name_evidence(const struct value *keys, char row[80])
{
	int64_t kind = keys[1].number;
	char time[32];
	time_text_local(keys[3].number * MS_PER_MIN, time);
	(void)snprintf(row, 80, "%.25s %.16s%s%.36s", time,
		kind >= 0 && kind < EVIDENCE_KINDS
			? evidence_name((enum evidence_kind)kind)
			: "?",
		keys[2].text[0] ? " " : "", keys[2].text);
}

/* "2026-01-31T10:00:03+01:00 defrost" */
static void name_run(const struct value *keys, char row[80])
{
	int64_t kind = keys[0].number;
	char time[32];
	time_text_local(keys[3].number, time);
	(void)snprintf(row, 80, "%.25s %s", time,
		kind >= 0 && kind < RUN_KINDS ? run_kind_name((enum run_kind)kind) : "?");
}

/* "2026-01-31T10:00:00Z heating, known 3" */
static void name_row(const struct compared *table, const struct value *keys, char row[80])
{
	int64_t key = keys[0].number, mode = -1;
	char time[32];

	switch (table->kind) {
	case OF_MINUTE:
		time_text_utc(key * MS_PER_MIN, time);
		break;
	case OF_SLOT:
		time_text_utc(floor_div(key, 16) * MS_PER_MIN, time);
		mode = key & 15;
		break;
	case OF_HOUR:
		time_text_utc(key * MS_PER_HOUR, time);
		break;
	case OF_DAY:
		time_text_local(key * MS_PER_MIN, time);
		break;
	case OF_EVIDENCE:
		name_evidence(keys, row);
		return;
	case OF_RUN:
		name_run(keys, row);
		return;
	}
	if (table->keys == 3)
		mode = keys[1].number;
	const char *name =
		mode >= 0 && mode < MODE_COUNT ? mode_name((enum mode)mode) : "";
	if (table->keys == 3)
		(void)snprintf(row, 80, "%s %s known %lld", time, name,
			(long long)keys[2].number);
	else
		(void)snprintf(row, 80, "%s%s%s", time, *name ? " " : "", name);
}

static void tell(const struct comparison *c, const struct value *keys, const char *column,
	const struct value *kept, const struct value *made)
{
	struct difference d = {.table = c->table->table, .column = column};
	name_row(c->table, keys, d.row);
	if (kept)
		value_text(kept, d.stored);
	if (made)
		value_text(made, d.made);
	c->found(&d, c->context);
}

/* Of a row of which there is no other. */
static void tell_row(const struct comparison *c, const struct value *keys, bool is_kept)
{
	static const struct value there = {.type = SQLITE_TEXT, .text = "a row"};
	tell(c, keys, NULL, is_kept ? &there : NULL, is_kept ? NULL : &there);
}

static void take_row(struct comparison *c)
{
	int count = sqlite3_column_count(c->rows);
	bool is_kept = sqlite3_column_int(c->rows, 0) == 0, match = c->waits && !is_kept;
	struct value keys[KEYS_MOST] = {0};

	for (int k = 0; k < c->table->keys; k++) {
		keys[k] = value_at(c->rows, k + 1);
		match = match && same(&keys[k], &c->kept[k + 1]);
	}
	if (c->waits && !match)
		tell_row(c, c->kept + 1, true);
	if (!is_kept && !match)
		tell_row(c, keys, false);
	c->waits = is_kept;
	for (int i = 1; i < count; i++) {
		struct value v = value_at(c->rows, i);
		if (is_kept)
			c->kept[i] = v;
		else if (match && !same(&v, &c->kept[i]))
			tell(c, keys, sqlite3_column_name(c->rows, i), &c->kept[i], &v);
	}
}

static int compare(struct store *s, struct comparison *c, int64_t from, int64_t to)
{
	int r = prepare(s, c->table->compare, from, to, &c->rows);
	int rc = SQLITE_DONE;

	if (r != 0)
		return r;
	c->kept = xcalloc((size_t)sqlite3_column_count(c->rows), sizeof(*c->kept));
	while ((rc = sqlite3_step(c->rows)) == SQLITE_ROW)
		take_row(c);
	if (rc == SQLITE_DONE && c->waits)
		tell_row(c, c->kept + 1, true);
	if (rc != SQLITE_DONE)
		r = store_failed(s, rc, "comparing rows");
	(void)sqlite3_finalize(c->rows); /* as above */
	free(c->kept);
	return r;
}

static int compare_table(struct store *s, const struct compared *table, int64_t from,
	int64_t to, difference_found *found, void *context)
{
	struct comparison c = {.table = table, .found = found, .context = context};
	return compare(s, &c, from, to);
}

int store_compare_rows(struct store *s, int64_t from, int64_t to, bool minutes,
	difference_found *found, void *context)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(compared); i++)
		if (minutes || !compared[i].minutes)
			r = compare_table(s, &compared[i], from, to, found, context);
	return r;
}

int store_compare_evidence(
	struct store *s, int64_t from, int64_t to, difference_found *found, void *context)
{
	return compare_table(s, &evidence, from, to, found, context);
}

int store_compare_runs(
	struct store *s, int64_t from, int64_t to, difference_found *found, void *context)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(runs); i++)
		r = compare_table(s, &runs[i], from, to, found, context);
	return r;
}
