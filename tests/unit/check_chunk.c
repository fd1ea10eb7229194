/*
 * Chunks of records: whatever stamps and boot times they have, they come back byte for
 * byte; what schema 1 stored is read; and a file of schema 1 is brought up.
 *
 * Reference: record.h's binary form; store.h's contract.
 */
#include "stored.h"

#include <zstd.h>

#define PLANT  "[plant]\nzone = UTC\n"
#define ROOM   "[channel room_temperature]\ntopic = a/room\n"
#define DAY_MS (INT64_C(20454) * MS_PER_DAY) /* 2026-01-01 */

static void add_record(
	struct buffer *out, int64_t t_ms, int64_t boot_ms, const char *text)
{
	struct record record = {.kind = RECORD_MESSAGE,
		.t_ms = t_ms,
		.boot_ms = boot_ms,
		.topic = "a/room",
		.topic_length = 6,
		.payload = (const unsigned char *)text,
		.payload_length = strlen(text)};
	record_write(&record, out);
}

static void expect_back(struct stored *s, const struct buffer *records)
{
	struct buffer back = {0};
	ck_assert_int_eq(store_chunk_add(s->store, 0, DAY_MS, DAY_MS, 1, records->data,
				 records->length),
		0);
	int64_t id = sql_number(s->store, "SELECT max(id) FROM chunks");
	ck_assert_int_eq(store_chunk_load(s->store, id, &back), 0);
	ck_assert_uint_eq(back.length, records->length);
	ck_assert_int_eq(memcmp(back.data, records->data, back.length), 0);
	buffer_release(&back);
}

TEST(records_come_back_with_any_stamps)
{
	static const int64_t edges[] = {
		0, -1, 1, INT64_MIN, INT64_MAX, DAY_MS, -DAY_MS, DAY_MS + 1};
	uint64_t seed = unit_seed();
	struct stored *s = stored_new(PLANT ROOM);
	for (int round = 0; round < 50; round++) {
		struct buffer records = {0};
		int64_t count = unit_random_between(&seed, 1, 40);
		for (int64_t i = 0; i < count; i++) {
			char text[32];
			uint64_t t = unit_random(&seed), boot = unit_random(&seed);
			(void)snprintf(text, sizeof(text), "%d", (int)(t % 1000000));
			add_record(&records,
				t % 3 ? edges[t / 3 % ARRAY_LEN(edges)] : (int64_t)t,
				boot % 3 ? edges[boot / 3 % ARRAY_LEN(edges)]
					 : (int64_t)boot,
				text);
		}
		expect_back(s, &records);
		/* What is no record, or a part of one, behind them. */
		size_t half = records.length / 2;
		buffer_reserve(&records, half);
		buffer_add(&records, records.data, half);
		expect_back(s, &records);
		buffer_release(&records);
	}
	stored_free(s);
}
END

/* Steady clocks leave next to nothing of themselves, with a boot time or without. */
TEST(steady_stamps_pack_small)
{
	static const bool with_boot[] = {true, false};
	struct stored *s = stored_new(PLANT ROOM);
	uint64_t seed = unit_seed();
	for (size_t k = 0; k < ARRAY_LEN(with_boot); k++) {
		struct buffer records = {0};
		int64_t t_ms = DAY_MS;
		for (int i = 0; i < 1000; i++) {
			t_ms += 1000 + unit_random_between(&seed, 0, 3);
			add_record(&records, t_ms, with_boot[k] ? t_ms - DAY_MS + 77 : -1,
				"21.5");
		}
		expect_back(s, &records);
		buffer_release(&records);
	}
	/* Two bits of noise a record are 250 bytes; the stamps themselves are 16,000. */
	ck_assert_int_lt(
		sql_number(s->store, "SELECT max(length(data)) FROM chunks"), 1000);
	stored_free(s);
}
END

/* Schema 1: the frame alone, stamps as they are. */
TEST(a_chunk_of_schema_1_is_read)
{
	struct stored *s = stored_new(PLANT ROOM);
	struct buffer records = {0}, back = {0};
	char packed[512];
	sqlite3_stmt *add = NULL;
	add_record(&records, DAY_MS, 1000, "21.5");
	add_record(&records, DAY_MS + 60000, 61000, "21.6");
	size_t size =
		ZSTD_compress(packed, sizeof(packed), records.data, records.length, 3);
	ck_assert(!ZSTD_isError(size));
	ck_assert_int_eq(
		sqlite3_prepare_v2(store_handle(s->store),
			"INSERT INTO chunks (first_ms, last_ms, mapping, records, bytes, "
			"data) VALUES (0, 0, 1, 2, ?, ?)",
			-1, &add, NULL),
		SQLITE_OK);
	ck_assert_int_eq(sqlite3_bind_int64(add, 1, (int64_t)records.length), SQLITE_OK);
	ck_assert_int_eq(
		sqlite3_bind_blob(add, 2, packed, (int)size, SQLITE_STATIC), SQLITE_OK);
	ck_assert_int_eq(sqlite3_step(add), SQLITE_DONE);
	ck_assert_int_eq(sqlite3_finalize(add), SQLITE_OK);
	ck_assert_int_eq(store_chunk_load(s->store, 1, &back), 0);
	ck_assert_uint_eq(back.length, records.length);
	ck_assert_int_eq(memcmp(back.data, records.data, back.length), 0);
	buffer_release(&records);
	buffer_release(&back);
	stored_free(s);
}
END

TESTS(records_come_back_with_any_stamps, steady_stamps_pack_small,
	a_chunk_of_schema_1_is_read)
