/*
 * Records into chunks: a bucket a day, bounds of memory, spans, and what was touched.
 *
 * Reference: filer.h's contract.
 */
#include "filed.h"

#define PLANT                                                                            \
	"[plant]\nzone = Europe/Berlin\n"                                                \
	"[channel room_temperature]\ntopic = a/room\n"                                   \
	"[channel flow_temperature]\ntopic = a/list\neach = /rows\npointer = /v\n"       \
	"time = payload\ntime_pointer = /t\ntime_form = s\n"

#define AT(day, seconds) ((DAY + (day)) * MS_PER_DAY + (seconds)*1000)

static void add(struct filer *filer, int64_t t_ms, const char *topic, const char *payload)
{
	struct record record = message(t_ms, topic, payload);
	ck_assert_int_eq(filer_add(filer, &record), 0);
}

static void expect_chunk(struct store *store, int64_t day, int64_t first_ms,
	int64_t last_ms, int64_t records)
{
	_cleanup_(freep) char *sql =
		xasprintf("SELECT count(*) FROM chunks WHERE first_ms = %lld AND last_ms "
			  "= %lld AND "
			  "records = %lld AND first_ms / 86400000 = %lld",
			(long long)first_ms, (long long)last_ms, (long long)records,
			(long long)(DAY + day));
	ck_assert_msg(
		sql_number(store, sql) == 1, "no such chunk of day %lld", (long long)day);
}

TEST(records_are_gathered_by_the_day_of_their_first_reading)
{
	struct filed f = filed_new(PLANT);
	struct filer *filer = filer_new(f.store, f.decoder, 0);

	add(filer, AT(2, 5), "a/room", "20");
	add(filer, AT(0, 86399), "a/room", "20");
	add(filer, AT(1, 0), "a/room", "20");
	add(filer, AT(2, 3), "nobody/knows", "it"); /* by its stamp */
	add(filer, AT(0, 7), "a/room", "?");
	add(filer, AT(2, 4), "a/room", "20");
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM chunks"), 0);
	ck_assert_int_eq(filer_flush(filer), 0);
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM chunks"), 3);
	expect_chunk(f.store, 0, AT(0, 7), AT(0, 86399), 2);
	expect_chunk(f.store, 1, AT(1, 0), AT(1, 0), 1);
	expect_chunk(f.store, 2, AT(2, 3), AT(2, 5), 3);
	ck_assert_int_eq(filer_flush(filer), 0); /* nothing twice */
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM chunks"), 3);
	filer_free(filer);
	filed_free(&f);
}
END

	/* Readings at seconds of days 0 and 2; the message itself comes a day later. */
	static char *
	list_of(int64_t a_ms, int64_t b_ms)
{
	return xasprintf(
		"{\"rows\": [{\"t\": %lld, \"v\": 35}, {\"t\": %lld, \"v\": 36}]}",
		(long long)(b_ms / 1000), (long long)(a_ms / 1000));
}

TEST(a_record_of_several_days_widens_the_span_of_its_first)
{
	struct filed f = filed_new(PLANT);
	struct filer *filer = filer_new(f.store, f.decoder, 0);
	_cleanup_(freep) char *payload = list_of(AT(0, 100), AT(2, 200));

	add(filer, AT(3, 0), "a/list", payload);
	add(filer, AT(0, 300), "a/room", "20");
	ck_assert_int_eq(filer_flush(filer), 0);
	expect_chunk(f.store, 0, AT(0, 100), AT(2, 200), 2);
	filer_free(filer);
	filed_free(&f);
}
END

TEST(the_span_of_a_record_is_that_of_its_readings)
{
	struct filed f = filed_new(PLANT);
	_cleanup_(freep) char *list = list_of(AT(0, 100), AT(2, 200));
	const struct {
		const char *topic, *payload;
		int64_t first_ms, last_ms;
	} rows[] = {{"a/room", "20", AT(3, 1), AT(3, 1)},
		{"a/room", "not a number", AT(3, 1), AT(3, 1)},
		{"else/where", "20", AT(3, 1), AT(3, 1)},
		{"a/list", list, AT(0, 100), AT(2, 200)},
		{"a/list", "{\"rows\": []}", AT(3, 1), AT(3, 1)}};
	struct readings scratch = {0};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct record record = message(AT(3, 1), rows[i].topic, rows[i].payload);
		struct buffer frame = {0};
		int64_t first, last;
		record_write(&record, &frame);
		record_span(f.decoder, (const unsigned char *)frame.data, &scratch,
			&first, &last);
		ck_assert_msg(first == rows[i].first_ms && last == rows[i].last_ms,
			"row %zu: %lld … %lld", i, (long long)first, (long long)last);
		buffer_release(&frame);
	}
	readings_release(&scratch);
	filed_free(&f);
}
END

	/* A message of that many bytes on a topic of no channel, so that it costs no
	   decoding. */
	static void
	add_bytes(struct filer *filer, int64_t t_ms, size_t bytes)
{
	char *payload = xmalloc(bytes + 1);
	memset(payload, 'x', bytes);
	payload[bytes] = '\0';
	add(filer, t_ms, "big", payload);
	free(payload);
}

TEST(a_bucket_is_written_when_it_reaches_a_mebibyte)
{
	struct filed f = filed_new(PLANT);
	struct filer *filer = filer_new(f.store, f.decoder, 0);
	for (int64_t i = 0; i < 40; i++)
		add_bytes(filer, AT(0, i), 60000);
	/* 18 records of 60,028 bytes each are the first to reach 2^20. */
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM chunks"), 2);
	expect_chunk(f.store, 0, AT(0, 0), AT(0, 17), 18);
	expect_chunk(f.store, 0, AT(0, 18), AT(0, 35), 18);
	ck_assert_int_eq(filer_flush(filer), 0);
	expect_chunk(f.store, 0, AT(0, 36), AT(0, 39), 4);
	filer_free(filer);
	filed_free(&f);
}
END

TEST(what_is_held_for_many_days_is_bounded)
{
	struct filed f = filed_new(PLANT);
	struct filer *filer = filer_new(f.store, f.decoder, 0);
	const int64_t days = 400;
	ck_assert_int_eq(store_begin(f.store), 0);
	for (int64_t i = 0; i < 2 * days; i++) /* 48 MB, no day over 120 kB */
		add_bytes(filer, AT(i % days, i), 60000);
	int64_t filed_bytes = sql_number(f.store, "SELECT sum(bytes) FROM chunks");
	ck_assert_int_ge(filed_bytes, 2 * days * 60000 - (16 << 20));
	ck_assert_int_eq(filer_flush(filer), 0);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT sum(records) FROM chunks"), 2 * days);
	ck_assert_int_eq(store_commit(f.store), 0);
	filer_free(filer);
	filed_free(&f);
}
END

	struct spans {
	int64_t from_ms[8], to_ms[8];
	size_t count;
};

static int keep_span(int64_t from_ms, int64_t to_ms, void *context)
{
	struct spans *spans = context;
	ck_assert_uint_lt(spans->count, ARRAY_LEN(spans->from_ms));
	spans->from_ms[spans->count] = from_ms;
	spans->to_ms[spans->count++] = to_ms;
	return 0;
}

static int fail_span(int64_t from_ms, int64_t to_ms, void *context)
{
	(void)from_ms;
	(void)to_ms;
	(void)context;
	return STORE_BUSY;
}

TEST(each_touched_day_is_told_once_with_its_span)
{
	struct filed f = filed_new(PLANT);
	struct filer *filer = filer_new(f.store, f.decoder, 0);
	struct spans spans = {0};

	add(filer, AT(1, 50), "a/room", "20");
	add(filer, AT(0, 9), "a/room", "20");
	ck_assert_int_eq(filer_flush(filer), 0);
	add(filer, AT(1, 40), "a/room", "20"); /* in no chunk yet: not told of */
	ck_assert_int_eq(filer_spans(filer, keep_span, &spans), 0);
	ck_assert_uint_eq(spans.count, 2);
	ck_assert_int_eq(spans.from_ms[0], AT(0, 9));
	ck_assert_int_eq(spans.to_ms[0], AT(0, 9) + 1);
	ck_assert_int_eq(spans.from_ms[1], AT(1, 50));
	ck_assert_int_eq(spans.to_ms[1], AT(1, 50) + 1);
	spans.count = 0;
	ck_assert_int_eq(filer_spans(filer, keep_span, &spans), 0);
	ck_assert_uint_eq(spans.count, 0);
	ck_assert_int_eq(filer_flush(filer), 0);
	add(filer, AT(1, 60), "a/room", "20");
	ck_assert_int_eq(filer_flush(filer), 0); /* two chunks, one span */
	ck_assert_int_eq(filer_spans(filer, keep_span, &spans), 0);
	ck_assert_uint_eq(spans.count, 1);
	ck_assert_int_eq(spans.from_ms[0], AT(1, 40));
	ck_assert_int_eq(spans.to_ms[0], AT(1, 60) + 1);
	add(filer, AT(1, 70), "a/room", "20");
	ck_assert_int_eq(filer_flush(filer), 0);
	ck_assert_int_eq(filer_spans(filer, fail_span, NULL), STORE_BUSY);
	filer_free(filer);
	filed_free(&f);
}
END

TEST(an_imports_chunks_bear_its_name)
{
	struct filed f = filed_new(PLANT);
	int64_t id = 0;
	ck_assert_int_eq(store_import_begin(f.store, "a.log", 1, &id), 0);
	struct filer *filer = filer_new(f.store, f.decoder, id);
	add(filer, AT(0, 0), "a/room", "20");
	ck_assert_int_eq(filer_flush(filer), 0);
	ck_assert_int_eq(sql_number(f.store, "SELECT import FROM chunks"), id);
	filer_free(filer);
	filer = filer_new(f.store, f.decoder, 0);
	add(filer, AT(1, 0), "a/room", "20");
	ck_assert_int_eq(filer_flush(filer), 0);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT import FROM chunks WHERE id = 2"), SQL_NULL);
	filer_free(filer);
	filed_free(&f);
}
END

/* Filed by its stamp where that is known to be enough, by decoding where it is not. */
TEST(only_messages_with_times_of_their_own_are_decoded)
{
	struct filed f = filed_new(
		PLANT "[channel late]\ntopic = a/late\npointer = /v\nunit = degC\n"
		      "time = payload\ntime_pointer = /t\n");
	struct filer *filer = filer_new(f.store, f.decoder, 0);
	struct spans spans = {0};

	add(filer, AT(1, 50), "a/room", "rubbish"); /* a sign of life at the stamp */
	add(filer, AT(3, 0), "a/late", "{\"v\":1,\"t\":1767225610}");
	add(filer, AT(2, 0), "elsewhere", "1"); /* concerns nobody */
	ck_assert_int_eq(filer_flush(filer), 0);
	ck_assert_int_eq(filer_spans(filer, keep_span, &spans), 0);
	ck_assert_uint_eq(spans.count, 2);
	ck_assert_int_eq(spans.from_ms[0], AT(0, 10));
	ck_assert_int_eq(spans.from_ms[1], AT(1, 50));
	filer_free(filer);
	filed_free(&f);
}
END

/* A log in random order: as many chunks as the buckets' memory makes needful, no more. */
TEST(records_of_many_days_in_random_order_make_chunks_of_some_size)
{
	static char payload[2000];
	struct filed f = filed_new(PLANT);
	struct filer *filer = filer_new(f.store, f.decoder, 0);
	uint64_t seed = unit_seed();
	int64_t *ids;
	size_t count = 0;

	memset(payload, 'x', sizeof(payload) - 1);
	for (size_t i = 0; i < 16000; i++) /* 32 MB, twice what is held */
		add(filer, AT(unit_random_between(&seed, 0, 399), (int64_t)i), "a/room",
			payload);
	ck_assert_int_eq(filer_flush(filer), 0);
	ck_assert_int_eq(store_chunks_all(f.store, &ids, &count), 0);
	ck_assert_uint_ge(count, 400);
	ck_assert_uint_le(count, 1500); /* 21 kB each, of 40 that there is room for */
	free(ids);
	filer_free(filer);
	filed_free(&f);
}
END

TESTS(records_of_many_days_in_random_order_make_chunks_of_some_size, only_messages_with_times_of_their_own_are_decoded, records_are_gathered_by_the_day_of_their_first_reading,
	a_record_of_several_days_widens_the_span_of_its_first,
	the_span_of_a_record_is_that_of_its_readings,
	a_bucket_is_written_when_it_reaches_a_mebibyte,
	what_is_held_for_many_days_is_bounded, each_touched_day_is_told_once_with_its_span,
	an_imports_chunks_bear_its_name)
