/*
 * The journal in the store: compressed chunks, their spans, imports. Records are never
 * changed once filed; spans, which follow the mapping, have a table of their own, and
 * small chunks are joined (join.c).
 */
#include "database.h"

#include <heatbook/clock.h>
#include <heatbook/verify.h>

#include <assert.h>
#include <errno.h>
#include <string.h>

static int add_span(struct store *s, int64_t id, int64_t first_ms, int64_t last_ms)
{
	sqlite3_stmt *add = store_statement_of(s, SQL_SPAN_ADD);
	bind_int(add, ":chunk", id);
	bind_int(add, ":first_ms", first_ms);
	bind_int(add, ":last_ms", last_ms);
	bind_int(add, ":mapping", s->mapping);
	return store_run(s, add);
}

int store_chunk_pack(const void *bytes, size_t length, struct buffer *ret)
{
	return chunk_pack(bytes, length, false, ret);
}

int store_chunk_put(
	struct store *s, const struct chunk_head *head, const struct buffer *packed)
{
	sqlite3_stmt *add = store_statement_of(s, SQL_CHUNK_ADD);
	if (head->import)
		bind_int(add, ":import", head->import);
	bind_int(add, ":first_ms", head->first_ms);
	bind_int(add, ":last_ms", head->last_ms);
	bind_int(add, ":mapping", s->mapping);
	bind_int(add, ":records", head->records);
	bind_int(add, ":bytes", head->bytes);
	bind_blob(add, ":data", packed->data, packed->length);
	int64_t id = 0;
	int r = store_scalar(s, add, &id);
	if (r == 0)
		r = add_span(s, id, head->first_ms, head->last_ms);
	if (r == 0)
		r = store_add_fact(s, FACT_JOURNAL_BYTES, (int64_t)packed->length);
	return r;
}

int store_chunk_add(struct store *s, int64_t import, int64_t first_ms, int64_t last_ms,
	int64_t records, const void *bytes, size_t length)
{
	const struct chunk_head head = {
		import, first_ms, last_ms, records, (int64_t)length};
	struct buffer packed = {0};
	int r = store_chunk_pack(bytes, length, &packed);
	if (r == 0)
		r = store_chunk_put(s, &head, &packed);
	buffer_release(&packed);
	return r;
}

int store_chunks(struct store *s, int64_t from_ms, int64_t to_ms, struct chunk_ref **ret,
	size_t *ret_count)
{
	sqlite3_stmt *list = store_statement_of(s, SQL_CHUNKS_OF_SPAN);
	struct chunk_ref *refs = NULL;
	size_t count = 0;
	int rc;

	if (!list)
		return s->unprepared;
	bind_int(list, ":from_ms", from_ms);
	bind_int(list, ":to_ms", to_ms);
	while ((rc = sqlite3_step(list)) == SQLITE_ROW) {
		if ((count & (count - 1)) == 0)
			refs = xrealloc(refs, count ? 2 * count : 1, sizeof(*refs));
		refs[count++] = (struct chunk_ref){sqlite3_column_int64(list, 0),
			sqlite3_column_int64(list, 1), sqlite3_column_int64(list, 2)};
	}
	if (rc != SQLITE_DONE) {
		free(refs);
		return store_failed(s, rc, "journal");
	}
	(void)sqlite3_reset(list);
	*ret = refs;
	*ret_count = count;
	return 0;
}

/* Every integer of a statement's first column. */
static int integers(struct store *s, sqlite3_stmt *list, int64_t **ret, size_t *ret_count)
{
	int64_t *items = NULL;
	size_t count = 0;
	int rc;

	if (!list)
		return s->unprepared;
	while ((rc = sqlite3_step(list)) == SQLITE_ROW) {
		if ((count & (count - 1)) == 0)
			items = xrealloc(items, count ? 2 * count : 1, sizeof(*items));
		items[count++] = sqlite3_column_int64(list, 0);
	}
	if (rc != SQLITE_DONE) {
		free(items);
		return store_failed(s, rc, "journal");
	}
	(void)sqlite3_reset(list);
	*ret = items;
	*ret_count = count;
	return 0;
}

int store_chunks_all(struct store *s, int64_t **ret_ids, size_t *ret_count)
{
	return integers(s, store_statement_of(s, SQL_CHUNK_IDS), ret_ids, ret_count);
}

int store_chunks_about(struct store *s, int64_t from_ms, int64_t to_ms, int64_t **ret_ids,
	size_t *ret_count)
{
	sqlite3_stmt *list = store_statement_of(s, SQL_CHUNKS_ABOUT);
	bind_int(list, ":from_ms", from_ms);
	bind_int(list, ":to_ms", to_ms);
	bind_int(list, ":mapping", s->mapping);
	return integers(s, list, ret_ids, ret_count);
}

int store_chunks_unspanned(struct store *s, int64_t **ret_ids, size_t *ret_count)
{
	sqlite3_stmt *list = store_statement_of(s, SQL_CHUNKS_OTHER_MAPPING);
	bind_int(list, ":mapping", s->mapping);
	return integers(s, list, ret_ids, ret_count);
}

int store_chunk_list(struct store *s, int64_t **ret_ids, size_t *ret_count)
{
	return integers(s, store_statement_of(s, SQL_CHUNK_LIST), ret_ids, ret_count);
}

int store_days_made(struct store *s, int64_t **ret_days, size_t *ret_count)
{
	sqlite3_stmt *list = store_statement_of(s, SQL_DAYS_OF_MAPPING);
	bind_int(list, ":mapping", s->mapping);
	return integers(s, list, ret_days, ret_count);
}

int store_chunk_facts(struct store *s, int64_t id, struct chunk_facts *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_CHUNK_FACTS);
	bind_int(get, ":id", id);
	bind_int(get, ":mapping", s->mapping);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc == SQLITE_DONE)
		return STORE_NONE;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "journal");
	*ret = (struct chunk_facts){.records = sqlite3_column_int64(get, 0),
		.bytes = sqlite3_column_int64(get, 1),
		.first_ms = sqlite3_column_int64(get, 2),
		.last_ms = sqlite3_column_int64(get, 3),
		.spanned = sqlite3_column_int(get, 4) == 1,
		.lacks_span = sqlite3_column_type(get, 2) == SQLITE_NULL};
	(void)sqlite3_reset(get); /* it answered */
	return 0;
}

int store_chunk_respan(struct store *s, int64_t id, int64_t first_ms, int64_t last_ms)
{
	sqlite3_stmt *set = store_statement_of(s, SQL_CHUNK_RESPAN);
	bind_int(set, ":id", id);
	bind_int(set, ":first_ms", first_ms);
	bind_int(set, ":last_ms", last_ms);
	bind_int(set, ":mapping", s->mapping);
	return store_run(s, set);
}

int store_chunk_copy(struct store *s, int64_t id, struct buffer *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_CHUNK_GET);
	bind_int(get, ":id", id);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc == SQLITE_DONE) {
		(void)snprintf(s->error, sizeof(s->error),
			"journal chunk %lld is not there", (long long)id);
		return STORE_NONE;
	}
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "journal");
	int64_t size = sqlite3_column_int64(get, 0);
	buffer_reset(ret);
	buffer_add(ret, &size, sizeof(size));
	buffer_add(
		ret, sqlite3_column_blob(get, 1), (size_t)sqlite3_column_bytes(get, 1));
	(void)sqlite3_reset(get); /* it answered */
	return 0;
}

int store_chunk_open(const struct buffer *copy, struct buffer *ret)
{
	int64_t size;
	assert(copy->length >= sizeof(size));
	memcpy(&size, copy->data, sizeof(size));
	return chunk_unpack(copy->data + sizeof(size), copy->length - sizeof(size),
		(size_t)size, ret);
}

int store_chunk_load(struct store *s, int64_t id, struct buffer *ret)
{
	struct buffer copy = {0};
	int r = store_chunk_copy(s, id, &copy);
	if (r == 0)
		r = store_chunk_open(&copy, ret);
	if (r == -EBADMSG)
		(void)snprintf(s->error, sizeof(s->error),
			"journal chunk %lld is damaged", (long long)id);
	buffer_release(&copy);
	return r;
}

int store_journal_empty(struct store *s, bool *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_CHUNK_FIRST);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "journal");
	*ret = sqlite3_column_type(get, 0) == SQLITE_NULL;
	(void)sqlite3_reset(get);
	return 0;
}

int store_journal_span(struct store *s, int64_t *ret_first_ms, int64_t *ret_last_ms)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_CHUNK_SPAN);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "journal");
	int r = sqlite3_column_type(get, 0) == SQLITE_NULL ? STORE_NONE : 0;
	if (r == 0) {
		*ret_first_ms = sqlite3_column_int64(get, 0);
		*ret_last_ms = sqlite3_column_int64(get, 1);
	}
	(void)sqlite3_reset(get);
	return r;
}
