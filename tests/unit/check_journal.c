/*
 * What the store keeps beside rows: chunks of the journal, imports, dirty spans,
 * checkpoints, and which mapping made which day.
 *
 * Reference: store.h's contract.
 */
#include "stored.h"

#include <heatbook/clock.h>

#define PLANT "[plant]\nzone = UTC\n"
#define ROOM  "[channel room_temperature]\ntopic = a/room\n"

#define DAY_MS(day) ((day)*MS_PER_DAY)
#define DAY         INT64_C(20454) /* 2026-01-01 */

static int64_t chunk_of(struct stored *s, int64_t import, int64_t first_ms,
	int64_t last_ms, const void *bytes, size_t length)
{
	ck_assert_int_eq(
		store_chunk_add(s->store, import, first_ms, last_ms, 1, bytes, length),
		0);
	return sql_number(s->store, "SELECT max(id) FROM chunks");
}

TEST(chunks_come_back_byte_for_byte)
{
	static const size_t lengths[] = {1, 2, 100, 4096, 65537, 1 << 20};
	uint64_t seed = unit_seed();
	struct stored *s = stored_new(PLANT ROOM);
	struct buffer back = {0};
	int64_t stored_bytes = 0, fact;

	for (size_t i = 0; i < 2 * ARRAY_LEN(lengths); i++) {
		size_t length = lengths[i / 2];
		unsigned char *bytes = xmalloc(length);
		for (size_t k = 0; k < length; k++) /* noise, and text that packs well */
			bytes[k] = (unsigned char)(i % 2 ? unit_random(&seed) : k / 50);
		int64_t id = chunk_of(s, 0, DAY_MS(DAY), DAY_MS(DAY), bytes, length);
		ck_assert_int_eq(store_chunk_load(s->store, id, &back), 0);
		ck_assert_uint_eq(back.length, length);
		ck_assert_int_eq(memcmp(back.data, bytes, length), 0);
		free(bytes);
	}
	stored_bytes = sql_number(s->store, "SELECT sum(length(data)) FROM chunks");
	ck_assert_int_eq(store_fact(s->store, FACT_JOURNAL_BYTES, &fact), 0);
	ck_assert_int_eq(fact, stored_bytes);
	buffer_release(&back);
	stored_free(s);
}
END

/* Each bit of a small chunk is turned once, and each shorter piece of it tried. */
TEST(a_damaged_chunk_is_never_taken_for_records)
{
	struct stored *s = stored_new(PLANT ROOM);
	struct buffer back = {0};
	char bytes[300];
	sqlite3_stmt *set = NULL;

	for (size_t i = 0; i < sizeof(bytes); i++)
		bytes[i] = (char)(i * i % 251);
	int64_t id = chunk_of(s, 0, 0, 0, bytes, sizeof(bytes));
	int64_t length = sql_number(s->store, "SELECT length(data) FROM chunks");
	ck_assert_int_eq(sqlite3_prepare_v2(store_handle(s->store),
				 "UPDATE chunks SET data = ?", -1, &set, NULL),
		SQLITE_OK);
	sqlite3_stmt *get = NULL;
	ck_assert_int_eq(sqlite3_prepare_v2(store_handle(s->store),
				 "SELECT data FROM chunks", -1, &get, NULL),
		SQLITE_OK);
	ck_assert_int_eq(sqlite3_step(get), SQLITE_ROW);
	unsigned char *packed = xmalloc((size_t)length);
	memcpy(packed, sqlite3_column_blob(get, 0), (size_t)length);
	(void)sqlite3_finalize(get);
	ck_assert_int_eq(store_begin(s->store), 0);
	for (int64_t i = 0; i < length * 8 + length; i++) {
		bool turn = i < length * 8;
		int size = (int)(turn ? length : i - length * 8);
		if (turn)
			packed[i / 8] ^= (unsigned char)(1u << i % 8);
		(void)sqlite3_reset(set);
		ck_assert_int_eq(
			sqlite3_bind_blob(set, 1, packed, size, SQLITE_TRANSIENT),
			SQLITE_OK);
		ck_assert_int_eq(sqlite3_step(set), SQLITE_DONE);
		int r = store_chunk_load(s->store, id, &back);
		/* A bit that means nothing may be turned: what comes back is right then.
		 */
		bool right = r == 0 && back.length == sizeof(bytes) &&
			     memcmp(back.data, bytes, sizeof(bytes)) == 0;
		ck_assert_msg(r == -EBADMSG || (turn && right), "step %lld: %d",
			(long long)i, r);
		if (turn)
			packed[i / 8] ^= (unsigned char)(1u << i % 8);
	}
	ck_assert_msg(
		strstr(store_error(s->store), "damaged"), "%s", store_error(s->store));
	(void)sqlite3_finalize(set);
	store_rollback(s->store);
	free(packed);
	buffer_release(&back);
	stored_free(s);
}
END

TEST(a_chunk_that_is_not_there_is_told_apart)
{
	struct stored *s = stored_new(PLANT ROOM);
	struct buffer back = {0};
	ck_assert_int_eq(store_chunk_load(s->store, 1, &back), STORE_NONE);
	stored_free(s);
}
END

#define T(ms) (STAMP_LEAST_MS + (ms))

TEST(chunks_of_a_span_are_those_that_touch_it)
{
	static const struct {
		int64_t from_ms, to_ms;
		const char *ids;
	} rows[] = {
		{T(0), T(1000), ""},
		{T(0), T(1001), "1"},
		{T(1000), T(1001), "1"},
		{T(2000), T(2001), "1 4"},
		{T(2001), T(3000), "4"},
		{T(2001), T(3001), "4 3"},
		{INT64_MIN, INT64_MAX, "5 1 4 3 2"},
		{T(9000), T(9001), "2"},
		{T(9001), T(10000), ""},
	};
	struct stored *s = stored_new(PLANT ROOM);
	(void)chunk_of(s, 0, T(1000), T(2000), "a", 1);
	(void)chunk_of(s, 0, T(9000), T(9000), "b", 1);
	(void)chunk_of(s, 0, T(3000), T(4000), "c", 1);
	(void)chunk_of(s, 0, T(1500), T(8999), "d", 1);
	(void)chunk_of(s, 0, 5000, 6000, "e", 1);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct chunk_ref *refs;
		struct buffer ids = {0};
		size_t count;
		ck_assert_int_eq(store_chunks(s->store, rows[i].from_ms, rows[i].to_ms,
					 &refs, &count),
			0);
		for (size_t k = 0; k < count; k++)
			buffer_addf(&ids, k ? " %lld" : "%lld", (long long)refs[k].id);
		ck_assert_str_eq(buffer_text(&ids), rows[i].ids);
		free(refs);
		buffer_release(&ids);
	}
	int64_t first = 0, last = 0;
	ck_assert_int_eq(store_journal_span(s->store, &first, &last), 0);
	ck_assert_int_eq(first, T(1000));
	ck_assert_int_eq(last, T(9000)); /* of clocks that were set */
	stored_free(s);
}
END

TEST(chunks_of_another_mapping_wait_for_their_spans)
{
	struct stored *s = stored_new(PLANT ROOM);
	int64_t *ids = NULL;
	size_t count = 9;

	(void)chunk_of(s, 0, 1000, 2000, "a", 1);
	(void)chunk_of(s, 0, 3000, 4000, "b", 1);
	ck_assert_int_eq(store_chunks_unspanned(s->store, &ids, &count), 0);
	ck_assert_uint_eq(count, 0);
	free(ids);
	stored_reopen(s, PLANT "[channel room_temperature]\ntopic = a/other\n");
	(void)chunk_of(s, 0, 5000, 6000, "c", 1);
	ck_assert_int_eq(store_chunks_unspanned(s->store, &ids, &count), 0);
	ck_assert_uint_eq(count, 2);
	ck_assert_int_eq(ids[1], 2);
	free(ids);
	ck_assert_int_eq(store_chunk_respan(s->store, 2, 10, 20), 0);
	ck_assert_int_eq(store_chunks_unspanned(s->store, &ids, &count), 0);
	ck_assert_uint_eq(count, 1);
	free(ids);
	ck_assert_int_eq(store_chunks_all(s->store, &ids, &count), 0);
	ck_assert_uint_eq(count, 3);
	free(ids);
	struct chunk_ref *refs;
	ck_assert_int_eq(store_chunks(s->store, 0, 30, &refs, &count), 0);
	ck_assert_uint_eq(count, 1);
	ck_assert_int_eq(refs[0].id, 2);
	free(refs);
	stored_free(s);
}
END

TEST(an_import_counts_once_and_begins_anew_when_it_was_broken_off)
{
	struct stored *s = stored_new(PLANT ROOM);
	int64_t id = 0, again = 0, other = 0, from = 0, to = 0, bytes;

	ck_assert_int_eq(store_import_begin(s->store, "a.log", 7, &id), 0);
	(void)chunk_of(s, id, DAY_MS(DAY), DAY_MS(DAY) + 5, "abc", 3);
	(void)chunk_of(s, 0, DAY_MS(DAY + 1), DAY_MS(DAY + 1), "live", 4);
	int64_t live_bytes = sql_number(
		s->store, "SELECT length(data) FROM chunks WHERE import IS NULL");
	/* Broken off here. What may have been derived of it is derived again. */
	ck_assert_int_eq(store_import_begin(s->store, "renamed.log", 7, &again), 0);
	ck_assert_int_eq(again, id);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM chunks"), 1);
	ck_assert_int_eq(store_fact(s->store, FACT_JOURNAL_BYTES, &bytes), 0);
	ck_assert_int_eq(bytes, live_bytes);
	ck_assert_int_eq(store_dirty_next(s->store, &from, &to), 0);
	ck_assert_int_eq(from, DAY_MS(DAY));
	ck_assert_int_eq(to, DAY_MS(DAY) + 6);
	(void)chunk_of(s, id, DAY_MS(DAY), DAY_MS(DAY) + 5, "abc", 3);
	ck_assert_int_eq(store_import_done(s->store, id, 12, 3), 0);
	ck_assert_int_eq(store_import_begin(s->store, "a.log", 7, &again), STORE_KNOWN);
	ck_assert_int_eq(again, id);
	ck_assert_int_eq(store_import_begin(s->store, "a.log", 8, &other), 0);
	ck_assert_int_ne(other, id);
	ck_assert_int_eq(
		sql_number(s->store, "SELECT records FROM imports WHERE digest = 7"), 12);
	ck_assert_int_eq(
		sql_number(s->store, "SELECT rejected FROM imports WHERE digest = 7"), 3);
	stored_free(s);
}
END

/* What an import lost is filed again with its archive; nothing counts twice. */
TEST(an_import_that_lost_a_chunk_may_be_filed_again)
{
	struct stored *s = stored_new(PLANT ROOM);
	int64_t id = 0, again = 0, from = 0, to = 0, sealed, first, last;

	ck_assert_int_eq(store_import_begin(s->store, "a.log", 7, &id), 0);
	int64_t lost = chunk_of(s, id, DAY_MS(DAY), DAY_MS(DAY) + 5, "abc", 3);
	(void)chunk_of(s, id, DAY_MS(DAY + 1), DAY_MS(DAY + 1), "def", 3);
	ck_assert_int_eq(store_import_done(s->store, id, 2, 0), 0);
	ck_assert_int_eq(
		store_set_fact(s->store, FACT_DERIVED_UNTIL_MS, DAY_MS(DAY + 2)), 0);
	sql_run(s->store, "INSERT INTO minutes (minute) VALUES (20454 * 1440 + 1)");
	ck_assert_int_eq(store_chunk_set_aside(s->store, lost), 0);
	ck_assert_int_eq(
		store_sealed_days(s->store, 0, INT64_MAX, &sealed, &first, &last), 0);
	ck_assert_int_eq(sealed, 1);
	ck_assert_int_eq(store_import_begin(s->store, "a.log", 7, &again), 0);
	ck_assert_int_eq(again, id);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM chunks"), 0);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM spans"), 0);
	ck_assert_int_eq(
		store_sealed_days(s->store, 0, INT64_MAX, &sealed, &first, &last), 0);
	ck_assert_int_eq(sealed, 0);
	ck_assert_int_eq(store_dirty_next(s->store, &from, &to), 0);
	ck_assert_int_eq(from, DAY_MS(DAY));
	stored_free(s);
}
END

TEST(dirty_spans_come_by_their_first_day)
{
	struct stored *s = stored_new(PLANT ROOM);
	int64_t from = 0, to = 0, days = -1;

	clock_test_start(DAY_MS(DAY + 30), 0);
	ck_assert_int_eq(
		store_dirty_add(s->store, DAY_MS(DAY + 3), DAY_MS(DAY + 3) + 1), 0);
	ck_assert_int_eq(
		store_dirty_add(s->store, DAY_MS(DAY) + 50, DAY_MS(DAY) + 60), 0);
	ck_assert_int_eq(
		store_dirty_add(s->store, DAY_MS(DAY) + 40, DAY_MS(DAY + 2) + 1), 0);
	ck_assert_int_eq(store_dirty_days(s->store, &days), 0);
	ck_assert_int_eq(days, 3 + 1); /* two spans share a day */
	ck_assert_int_eq(store_dirty_next(s->store, &from, &to), 0);
	ck_assert_int_eq(from, DAY_MS(DAY) + 40);
	ck_assert_int_eq(to, DAY_MS(DAY + 2) + 1);
	/* The first day is done: what reaches beyond it stays. */
	ck_assert_int_eq(store_dirty_done(s->store, DAY_MS(DAY + 1)), 0);
	ck_assert_int_eq(store_dirty_next(s->store, &from, &to), 0);
	ck_assert_int_eq(from, DAY_MS(DAY + 1));
	ck_assert_int_eq(to, DAY_MS(DAY + 2) + 1);
	ck_assert_int_eq(store_dirty_done(s->store, DAY_MS(DAY + 2) + 1), 0);
	ck_assert_int_eq(store_dirty_next(s->store, &from, &to), 0);
	ck_assert_int_eq(from, DAY_MS(DAY + 3));
	ck_assert_int_eq(store_dirty_done(s->store, INT64_MAX), 0);
	ck_assert_int_eq(store_dirty_next(s->store, &from, &to), STORE_CLEAN);
	ck_assert_int_eq(store_dirty_days(s->store, &days), 0);
	ck_assert_int_eq(days, 0);
	stored_free(s);
}
END

	static void
	expect_checkpoint(int r, int64_t day, int64_t expected_day, struct buffer *state,
		const char *expected)
{
	ck_assert_int_eq(r, expected ? 0 : STORE_NONE);
	if (!expected)
		return;
	ck_assert_int_eq(day, expected_day);
	ck_assert_uint_eq(state->length, strlen(expected));
	ck_assert_int_eq(memcmp(state->data, expected, state->length), 0);
}

TEST(checkpoints_are_found_before_and_after_a_day)
{
	static const struct {
		int64_t day, before, after;
		const char *before_state, *after_state;
	} rows[] = {
		{DAY - 1, 0, DAY, NULL, "first"},
		{DAY, DAY, DAY + 4, "first", "new fifth"},
		{DAY + 1, DAY, DAY + 4, "first", "new fifth"},
		{DAY + 4, DAY + 4, 0, "new fifth", NULL},
		{DAY + 9, DAY + 4, 0, "new fifth", NULL},
	};
	static const struct {
		int64_t day;
		const char *state;
	} puts[] = {{DAY + 4, "fifth"}, {DAY, "first"}, {DAY + 4, "new fifth"}};
	struct stored *s = stored_new(PLANT ROOM);
	struct buffer state = {0};
	int64_t day = 0;

	for (size_t i = 0; i < ARRAY_LEN(puts); i++) {
		buffer_reset(&state);
		buffer_add_text(&state, puts[i].state);
		ck_assert_int_eq(store_checkpoint_put(s->store, puts[i].day, &state), 0);
	}
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		int r = store_checkpoint_before(s->store, rows[i].day, &day, &state);
		expect_checkpoint(r, day, rows[i].before, &state, rows[i].before_state);
		r = store_checkpoint_after(s->store, rows[i].day, &day, &state);
		expect_checkpoint(r, day, rows[i].after, &state, rows[i].after_state);
	}
	buffer_release(&state);
	stored_free(s);
}
END

TEST(days_know_which_mapping_made_them)
{
	static const char other[] = PLANT "[channel room_temperature]\ntopic = a/other\n";
	struct stored *s = stored_new(PLANT ROOM);
	bool older = true;
	struct older_days days = {0};

	ck_assert_int_eq(store_day_made(s->store, DAY, DAY * MIN_PER_DAY), 0);
	ck_assert_int_eq(store_day_made(s->store, DAY + 1, (DAY + 1) * MIN_PER_DAY), 0);
	ck_assert_int_eq(store_day_is_older(s->store, DAY, &older), 0);
	ck_assert(!older);
	stored_reopen(s, other);
	ck_assert_int_eq(store_day_is_older(s->store, DAY, &older), 0);
	ck_assert(older);
	ck_assert_int_eq(
		store_day_is_older(s->store, DAY + 7, &older), 0); /* never made */
	ck_assert(!older);
	ck_assert_int_eq(store_older_days(s->store, 0, INT64_MAX, &days), 0);
	ck_assert_int_eq(days.count, 2);
	ck_assert_int_eq(days.sealed, 0);
	ck_assert_int_eq(days.first, DAY);
	ck_assert_int_eq(days.last, DAY + 1);
	/* A rebuild leaves what is past its age, or of a damaged chunk. */
	char *aged = xasprintf("INSERT INTO aged (day, until_minute, minutes_until) "
			       "VALUES (%d, %d, 0)",
		(int)DAY, (int)((DAY + 1) * MIN_PER_DAY));
	sql_run(s->store, aged);
	free(aged);
	ck_assert_int_eq(store_older_days(s->store, 0, INT64_MAX, &days), 0);
	ck_assert_int_eq(days.count, 2);
	ck_assert_int_eq(days.sealed, 1);
	ck_assert_int_eq(days.first, DAY + 1);
	ck_assert_int_eq(days.last, DAY + 1);
	sql_run(s->store, "DELETE FROM aged");
	ck_assert_int_eq(store_day_made(s->store, DAY, DAY * MIN_PER_DAY), 0);
	ck_assert_int_eq(store_older_days(s->store, 0, INT64_MAX, &days), 0);
	ck_assert_int_eq(days.count, 1);
	/* The former mapping again is the former mapping. */
	stored_reopen(s, PLANT ROOM);
	ck_assert_int_eq(store_day_is_older(s->store, DAY + 1, &older), 0);
	ck_assert(!older);
	ck_assert_int_eq(store_day_is_older(s->store, DAY, &older), 0);
	ck_assert(older);
	stored_free(s);
}
END

/* A mapping that comes into force amid a day has not made what was there before. */
TEST(a_day_with_rows_of_another_mapping_stays_that_ones)
{
	static const char other[] = PLANT "[channel room_temperature]\ntopic = a/other\n";
	const int64_t start = DAY * MIN_PER_DAY, noon = start + 720;
	struct stored *s = stored_new(PLANT ROOM);
	struct made made;
	bool older = false;

	made_at(&made, start + 100);
	made_channel(&made, 0, 20.0, 60000);
	ck_assert_int_eq(store_begin(s->store), 0);
	ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
	ck_assert_int_eq(store_day_made(s->store, DAY, start), 0);
	ck_assert_int_eq(store_commit(s->store), 0);
	stored_reopen(s, other);
	ck_assert_int_eq(store_day_made(s->store, DAY, noon), 0);
	ck_assert_int_eq(store_day_is_older(s->store, DAY, &older), 0);
	ck_assert(older);
	/* From the row on it is all of it. */
	ck_assert_int_eq(store_day_made(s->store, DAY, start + 100), 0);
	ck_assert_int_eq(store_day_is_older(s->store, DAY, &older), 0);
	ck_assert(!older);
	stored_free(s);
}
END

TESTS(chunks_come_back_byte_for_byte, a_damaged_chunk_is_never_taken_for_records,
	a_chunk_that_is_not_there_is_told_apart, chunks_of_a_span_are_those_that_touch_it,
	chunks_of_another_mapping_wait_for_their_spans,
	an_import_counts_once_and_begins_anew_when_it_was_broken_off,
	an_import_that_lost_a_chunk_may_be_filed_again,
	dirty_spans_come_by_their_first_day, checkpoints_are_found_before_and_after_a_day,
	days_know_which_mapping_made_them,
	a_day_with_rows_of_another_mapping_stays_that_ones)
