/*
 * Joining: the records of a day that is over stay, in order, in fewer chunks; imports,
 * other days, large chunks and damaged ones are left alone.
 *
 * Reference: store.h's contract of store_join().
 */
#include "stored.h"

#define PLANT "[plant]\nzone = UTC\n"
#define ROOM  "[channel room_temperature]\ntopic = a/room\n"

#define DAY     INT64_C(20454) /* 2026-01-01 */
#define DAY_MS  (DAY * MS_PER_DAY)
#define NEXT_MS (DAY_MS + MS_PER_DAY)
#define JOINED  (1 << 18) /* bytes of a group at most; half of it is small */

/* Bytes that tell which chunk they are of. */
static void file_chunk(struct stored *s, int64_t import, int64_t first_ms,
	int64_t last_ms, char letter, size_t length)
{
	char *bytes = xmalloc(length);
	memset(bytes, letter, length);
	ck_assert_int_eq(store_chunk_add(s->store, import, first_ms, last_ms,
				 (int64_t)length, bytes, length),
		0);
	free(bytes);
}

/* Joins until there is nothing to join; how many groups that made. */
static int join_all(struct stored *s)
{
	int64_t day_ms;
	int r, groups = 0;
	while ((r = store_join(s->store, 0, NEXT_MS, &day_ms)) == 0) {
		ck_assert_int_eq(day_ms, DAY_MS);
		ck_assert_int_lt(groups++, 100);
	}
	ck_assert_int_eq(r, STORE_CLEAN);
	return groups;
}

/* A chunk's content as letters, each once in a row. */
static void expect_letters(struct stored *s, int64_t id, const char *wanted)
{
	struct buffer bytes = {0};
	char got[64] = "";
	size_t n = 0;
	ck_assert_int_eq(store_chunk_load(s->store, id, &bytes), 0);
	for (size_t i = 0; i < bytes.length && n + 1 < sizeof(got); i++)
		if (n == 0 || got[n - 1] != bytes.data[i])
			got[n++] = bytes.data[i];
	ck_assert_str_eq(got, wanted);
	buffer_release(&bytes);
}

static void expect_books(struct stored *s)
{
	int64_t fact = -1;
	ck_assert_int_eq(store_fact(s->store, FACT_JOURNAL_BYTES, &fact), 0);
	ck_assert_int_eq(
		fact, sql_number(s->store, "SELECT sum(length(data)) FROM chunks"));
	ck_assert_int_eq(
		sql_number(s->store, "SELECT sum(records - bytes) FROM chunks"), 0);
}

TEST(a_day_that_is_over_is_one_chunk_in_order_of_time)
{
	struct stored *s = stored_new(PLANT ROOM);
	file_chunk(s, 0, DAY_MS + 1000, DAY_MS + 1999, 'a', 100);
	file_chunk(s, 0, DAY_MS + 3000, DAY_MS + 3999, 'c', 300);
	file_chunk(s, 0, DAY_MS + 2000, NEXT_MS + 5, 'b', 200); /* late, and reaches on */
	file_chunk(s, 0, DAY_MS + 4000, DAY_MS + 4999, 'd', 400);
	int64_t before = sql_number(s->store, "SELECT sum(bytes) FROM chunks");

	ck_assert_int_eq(join_all(s), 1);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM chunks"), 1);
	ck_assert_int_eq(sql_number(s->store, "SELECT bytes FROM chunks"), before);
	ck_assert_int_eq(
		sql_number(s->store, "SELECT first_ms FROM spans"), DAY_MS + 1000);
	ck_assert_int_eq(sql_number(s->store, "SELECT last_ms FROM spans"), NEXT_MS + 5);
	expect_letters(s, 1, "abcd");
	expect_books(s);
	ck_assert_int_eq(join_all(s), 0);
	stored_free(s);
}
END

TEST(days_do_not_mix_and_the_open_one_waits)
{
	struct stored *s = stored_new(PLANT ROOM);
	int64_t day_ms = 0;
	file_chunk(s, 0, DAY_MS, DAY_MS, 'a', 10);
	file_chunk(s, 0, NEXT_MS, NEXT_MS, 'b', 10);
	file_chunk(s, 0, NEXT_MS + 1, NEXT_MS + 1, 'c', 10);
	ck_assert_int_eq(join_all(s), 0);
	ck_assert_int_eq(store_join(s->store, 0, NEXT_MS + MS_PER_DAY, &day_ms), 0);
	ck_assert_int_eq(day_ms, NEXT_MS);
	expect_letters(s, 1, "a");
	expect_letters(s, 2, "bc");
	expect_books(s);
	stored_free(s);
}
END

TEST(imports_and_large_chunks_stay_as_they_are)
{
	struct stored *s = stored_new(PLANT ROOM);
	int64_t import;
	ck_assert_int_eq(store_import_begin(s->store, "x", 1, &import), 0);
	file_chunk(s, import, DAY_MS, DAY_MS, 'i', 10);
	file_chunk(s, import, DAY_MS + 1, DAY_MS + 1, 'j', 10);
	file_chunk(s, 0, DAY_MS + 2, DAY_MS + 2, 'l', JOINED / 2);
	file_chunk(s, 0, DAY_MS + 3, DAY_MS + 3, 'm', JOINED / 2);
	file_chunk(s, 0, DAY_MS + 4, DAY_MS + 4, 's', JOINED / 2 - 1);
	ck_assert_int_eq(join_all(s), 0);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM chunks"), 5);
	stored_free(s);
}
END

/* Groups are full when the next chunk would not fit, and then are small no more. */
TEST(groups_are_bounded)
{
	struct stored *s = stored_new(PLANT ROOM);
	for (int i = 0; i < 10; i++)
		file_chunk(s, 0, DAY_MS + i, DAY_MS + i, (char)('a' + i), JOINED / 5);
	ck_assert_int_eq(join_all(s), 2);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM chunks"), 2);
	ck_assert_int_le(sql_number(s->store, "SELECT max(bytes) FROM chunks"), JOINED);
	expect_letters(s, 1, "abcde");
	expect_letters(s, 6, "fghij");
	expect_books(s);
	stored_free(s);
}
END

TEST(a_damaged_chunk_leaves_its_day_as_it_is)
{
	struct stored *s = stored_new(PLANT ROOM);
	int64_t day_ms = 0;
	file_chunk(s, 0, DAY_MS, DAY_MS, 'a', 10);
	file_chunk(s, 0, DAY_MS + 1, DAY_MS + 1, 'b', 10);
	file_chunk(s, 0, NEXT_MS, NEXT_MS, 'c', 10);
	file_chunk(s, 0, NEXT_MS + 1, NEXT_MS + 1, 'd', 10);
	sql_run(s->store, "UPDATE chunks SET data = x'00' WHERE id = 2");
	ck_assert_int_eq(
		store_join(s->store, 0, NEXT_MS + MS_PER_DAY, &day_ms), -EBADMSG);
	ck_assert_int_eq(day_ms, DAY_MS);
	expect_letters(s, 1, "a");
	ck_assert_int_eq(store_join(s->store, NEXT_MS, NEXT_MS + MS_PER_DAY, &day_ms), 0);
	expect_letters(s, 3, "cd");
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM chunks"), 3);
	stored_free(s);
}
END

/* What stands under another mapping has its span still to be worked out. */
TEST(chunks_of_another_mapping_wait)
{
	struct stored *s = stored_new(PLANT ROOM);
	file_chunk(s, 0, DAY_MS, DAY_MS, 'a', 10);
	file_chunk(s, 0, DAY_MS + 1, DAY_MS + 1, 'b', 10);
	stored_reopen(s, PLANT "[channel room_temperature]\ntopic = a/other\n");
	ck_assert_int_eq(join_all(s), 0);
	ck_assert_int_eq(store_chunk_respan(s->store, 1, DAY_MS, DAY_MS), 0);
	ck_assert_int_eq(store_chunk_respan(s->store, 2, DAY_MS + 1, DAY_MS + 1), 0);
	ck_assert_int_eq(join_all(s), 1);
	expect_letters(s, 1, "ab");
	stored_free(s);
}
END

TESTS(a_day_that_is_over_is_one_chunk_in_order_of_time,
	days_do_not_mix_and_the_open_one_waits, imports_and_large_chunks_stay_as_they_are,
	groups_are_bounded, a_damaged_chunk_leaves_its_day_as_it_is,
	chunks_of_another_mapping_wait)
