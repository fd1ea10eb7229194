/*
 * Joining the journal's small chunks. A commit files what came in five minutes; alone, it
 * packs badly and wastes the rest of its page. Once a day is over its live chunks are
 * packed anew, in groups of a quarter of a mebibyte: a third of the bytes, written once
 * more.
 *
 * Records stay in their order of time; the group takes the place of its first chunk.
 * Imports are joined never: they are filed large, and go by name.
 */
#include "database.h"

#include <assert.h>
#include <errno.h>

/* Chunks below half of it are small: a group that is full is not. */
#define JOINED_MOST (INT64_C(1) << 18)

struct group {
	int64_t *ids;
	size_t count;
	int64_t first_ms, last_ms, records, packed;
	int64_t damaged; /* a member that cannot be read */
	struct buffer bytes;
};

static void note_member(struct group *g, sqlite3_stmt *list)
{
	int64_t first_ms = sqlite3_column_int64(list, 1);
	int64_t last_ms = sqlite3_column_int64(list, 2);
	g->ids = xrealloc(g->ids, g->count + 1, sizeof(*g->ids));
	g->ids[g->count++] = sqlite3_column_int64(list, 0);
	if (g->count == 1 || first_ms < g->first_ms)
		g->first_ms = first_ms;
	if (g->count == 1 || last_ms > g->last_ms)
		g->last_ms = last_ms;
	g->records += sqlite3_column_int64(list, 3);
	g->packed += sqlite3_column_int64(list, 5);
}

/* The first group of the first day that has several small chunks. */
static int find_group(struct store *s, int64_t from_ms, int64_t before_ms,
	struct group *g, int64_t *ret_day_ms)
{
	sqlite3_stmt *list = store_statement_of(s, SQL_CHUNKS_TO_JOIN);
	int64_t length = 0;
	int rc = SQLITE_DONE;

	bind_int(list, ":mapping", s->mapping);
	bind_int(list, ":small", JOINED_MOST / 2);
	bind_int(list, ":from_ms", from_ms);
	bind_int(list, ":before_ms", before_ms);
	while (list && (rc = sqlite3_step(list)) == SQLITE_ROW) {
		length += sqlite3_column_int64(list, 4);
		if (length > JOINED_MOST)
			break;
		note_member(g, list);
	}
	if (!list || (rc != SQLITE_ROW && rc != SQLITE_DONE))
		return store_failed(s, rc, "joining");
	(void)sqlite3_reset(list);
	if (g->count == 0)
		return STORE_CLEAN;
	*ret_day_ms = floor_div(g->first_ms, MS_PER_DAY) * MS_PER_DAY;
	return 0;
}

static int load_group(struct store *s, struct group *g)
{
	struct buffer one = {0};
	int r = 0;
	for (size_t i = 0; r == 0 && i < g->count; i++) {
		r = store_chunk_load(s, g->ids[i], &one);
		if (r == 0)
			buffer_add(&g->bytes, one.data, one.length);
		else if (r == -EBADMSG)
			g->damaged = g->ids[i];
	}
	buffer_release(&one);
	return r;
}

static int put_group(struct store *s, const struct group *g)
{
	struct buffer packed = {0};
	int r = chunk_pack(g->bytes.data, g->bytes.length, true, &packed);
	sqlite3_stmt *put = store_statement_of(s, SQL_CHUNK_JOIN);
	assert(g->ids); /* a group has members */
	bind_int(put, ":id", g->ids[0]);
	bind_int(put, ":records", g->records);
	bind_int(put, ":bytes", (int64_t)g->bytes.length);
	bind_blob(put, ":data", packed.data, packed.length);
	if (r == 0)
		r = store_run(s, put);
	if (r == 0)
		r = store_add_fact(
			s, FACT_JOURNAL_BYTES, (int64_t)packed.length - g->packed);
	buffer_release(&packed);
	if (r == 0)
		r = store_chunk_respan(s, g->ids[0], g->first_ms, g->last_ms);
	for (size_t i = 1; r == 0 && i < g->count; i++) {
		sqlite3_stmt *drop = store_statement_of(s, SQL_CHUNK_DROP);
		bind_int(drop, ":id", g->ids[i]);
		r = store_run(s, drop);
	}
	return r;
}

int store_join(struct store *s, int64_t from_ms, int64_t before_ms, int64_t *ret_day_ms)
{
	struct group group = {0};
	int r = store_begin(s);
	if (r == 0)
		r = find_group(s, from_ms, before_ms, &group, ret_day_ms);
	if (r == 0)
		r = load_group(s, &group);
	if (r == 0)
		r = put_group(s, &group);
	if (r == 0)
		r = store_commit(s);
	if (r != 0)
		store_rollback(s);
	if (group.damaged) /* what fails here is met again */
		(void)store_chunk_set_aside(s, group.damaged);
	buffer_release(&group.bytes);
	free(group.ids);
	return r;
}
