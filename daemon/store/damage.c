/*
 * Chunks that cannot be read, and the days that are sealed for their sake.
 *
 * A damaged chunk stays where it is: a later program, or a restored page, may read it. It
 * is named to nobody who derives or exports. A day that was derived while the chunk could
 * be read keeps its rows: they hold what the journal no longer does.
 */
#include "database.h"

#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/log.h>
#include <heatbook/query.h>

#include <errno.h>
#include <string.h>

static int mark_and_seal(struct store *s, int64_t id)
{
	int64_t until_ms = 0;
	sqlite3_stmt *mark = store_statement_of(s, SQL_CHUNK_DAMAGED);
	bind_int(mark, ":id", id);
	bind_int(mark, ":now_ms", clock_now_ms());
	int r = store_run(s, mark);
	if (r == 0)
		r = store_fact(s, FACT_DERIVED_UNTIL_MS, &until_ms);
	if (r != 0)
		return r;
	sqlite3_stmt *seal = store_statement_of(s, SQL_SEAL_DAYS);
	bind_int(seal, ":id", id);
	bind_int(seal, ":until_minute", until_ms / MS_PER_MIN);
	return store_run(s, seal);
}

int store_chunk_set_aside(struct store *s, int64_t id)
{
	int r = store_begin(s);
	if (r == 0)
		r = mark_and_seal(s, id);
	if (r == 0)
		r = store_bump_version(s);
	if (r == 0)
		r = store_commit(s);
	if (r != 0)
		store_rollback(s);
	else
		log_error(
			"journal chunk %lld is damaged and was set aside; derivation "
			"goes on without it; `heatbookd verify` says what is to be done",
			(long long)id);
	return r;
}

static void read_damaged(sqlite3_stmt *row, struct damaged_chunk *ret)
{
	const unsigned char *import = sqlite3_column_text(row, 5);
	*ret = (struct damaged_chunk){
		.id = sqlite3_column_int64(row, 0),
		.first_ms = sqlite3_column_int64(row, 1),
		.last_ms = sqlite3_column_int64(row, 2),
		.found_ms = sqlite3_column_int64(row, 3),
		.records = sqlite3_column_int64(row, 4),
		.sealed_days = sqlite3_column_int64(row, 6),
	};
	(void)snprintf(ret->import, sizeof(ret->import), "%s",
		import ? (const char *)import : "");
}

int store_damaged(struct store *s, struct damaged_chunk *ret, size_t most,
	size_t *ret_written, size_t *ret_count)
{
	int64_t count = 0;
	size_t n = 0;
	int rc = SQLITE_DONE;
	int r = store_scalar(s, store_statement_of(s, SQL_DAMAGED_COUNT), &count);
	if (r != 0)
		return r;
	if (count > 0) {
		sqlite3_stmt *list = store_statement_of(s, SQL_DAMAGED_CHUNKS);
		if (!list)
			return s->unprepared;
		bind_int(list, ":most", (int64_t)most);
		while (n < most && (rc = sqlite3_step(list)) == SQLITE_ROW)
			read_damaged(list, &ret[n++]);
		(void)sqlite3_reset(list);
	}
	if (rc != SQLITE_DONE && rc != SQLITE_ROW)
		return store_failed(s, rc, "damaged chunks");
	*ret_written = n;
	*ret_count = (size_t)count;
	return 0;
}

static void add_line(struct buffer *out, const struct damaged_chunk *c)
{
	char first[32], last[32];
	time_text_utc(c->first_ms, first);
	time_text_utc(c->last_ms, last);
	buffer_addf(out,
		"journal chunk %lld is damaged: %lld records from %s to %s cannot be "
		"derived, %lld days are sealed; ",
		(long long)c->id, (long long)c->records, first, last,
		(long long)c->sealed_days);
	if (c->import[0])
		buffer_addf(out, "import %s again\n", c->import);
	else
		buffer_add_text(out,
			"export the journal of a backup that has it, import that, then "
			"rebuild these days with --sealed\n");
}

static int add_lines(struct store *s, struct buffer *lines, size_t *count)
{
	struct damaged_chunk chunks[DAMAGED_SHOWN];
	size_t written = 0, all = 0;
	int r = store_damaged(s, chunks, DAMAGED_SHOWN, &written, &all);
	if (r != 0)
		return r;
	for (size_t i = 0; i < written; i++)
		add_line(lines, &chunks[i]);
	*count += all;
	return 0;
}

/* Chunks that nobody has met yet. */
int store_check_journal(struct store *s, struct buffer *lines, size_t *count)
{
	struct buffer bytes = {0};
	int64_t *ids = NULL;
	size_t n = 0, found = 0;
	int r = add_lines(s, lines, count);
	if (r == 0)
		r = store_chunks_all(s, &ids, &n);
	for (size_t i = 0; r == 0 && i < n; i++) {
		r = store_chunk_load(s, ids[i], &bytes);
		if (r == -EBADMSG && found++ < DAMAGED_SHOWN)
			buffer_addf(lines,
				"journal chunk %lld is damaged; it is set aside when it "
				"is next read, verify then tells its span\n",
				(long long)ids[i]);
		/* Joined to another meanwhile; else the foreign key was told of. */
		r = r == -EBADMSG || r == STORE_NONE ? 0 : r;
	}
	*count += found;
	buffer_release(&bytes);
	free(ids);
	return r;
}

int store_sealed_until(struct store *s, int64_t day, int64_t *ret_minute)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_SEALED_UNTIL);
	bind_int(get, ":day", day);
	return store_scalar(s, get, ret_minute); /* NULL reads as 0 */
}

int store_sealed_days(struct store *s, int64_t from_day, int64_t to_day,
	int64_t *ret_count, int64_t *ret_first, int64_t *ret_last)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_SEALED_DAYS);
	bind_int(get, ":from_day", from_day);
	bind_int(get, ":to_day", to_day);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "sealed days");
	*ret_count = sqlite3_column_int64(get, 0);
	*ret_first = sqlite3_column_int64(get, 1);
	*ret_last = sqlite3_column_int64(get, 2);
	(void)sqlite3_reset(get);
	return 0;
}

int store_unseal(struct store *s, int64_t from_day, int64_t to_day)
{
	sqlite3_stmt *drop = store_statement_of(s, SQL_UNSEAL);
	bind_int(drop, ":from_day", from_day);
	bind_int(drop, ":to_day", to_day);
	return store_run(s, drop);
}
