/*
 * Reading ahead: the readings are those that are read in time, whatever the chunks, and
 * what cannot be read ahead is left to whoever needs it. Run with ThreadSanitizer, too.
 */
#include "filed.h"

#include "../../daemon/derive/stream.h"

#define PLANT "[plant]\nzone = UTC\n[channel room_temperature]\ntopic = b/room\n"
#define DAYS  30

/* Some records a day, in one or several chunks, some days without. */
static void file_days(struct filed *f, uint64_t seed)
{
	char payload[32];
	for (int64_t day = 0; day < DAYS; day++) {
		uint64_t chunks = unit_random(&seed) % 6;
		for (uint64_t c = 0; c < chunks; c++) {
			int64_t at_ms =
				(int64_t)(unit_random(&seed) % (uint64_t)MS_PER_DAY);
			(void)snprintf(payload, sizeof(payload), "%d",
				(int)(unit_random(&seed) % 40));
			file_message(
				f, (DAY + day) * MS_PER_DAY + at_ms, "b/room", payload);
		}
	}
}

/* Times, values and kinds of a day's readings, and what ended them. */
static int read_day(struct filed *f, struct ahead *ahead, int64_t day, struct buffer *out)
{
	struct stream *stream;
	const struct reading *r;
	int64_t from_ms = (DAY + day) * MS_PER_DAY;
	int ended = stream_open(
		f->store, f->decoder, ahead, from_ms, from_ms + MS_PER_DAY, &stream);
	ck_assert_int_eq(ended, 0);
	while ((ended = stream_next(stream, &r)) == 0)
		buffer_addf(out, "%lld %d %a\n", (long long)r->t_ms, r->kind, r->value);
	stream_close(stream);
	return ended;
}

TEST(what_is_read_ahead_is_what_is_read_in_time)
{
	struct filed f = filed_new(PLANT);
	struct ahead *ahead = ahead_new(f.stored->config);
	struct buffer in_time = {0}, early = {0};
	ck_assert_ptr_nonnull(ahead);
	file_days(&f, unit_seed());
	for (int64_t day = 0; day < DAYS; day++) {
		ck_assert_int_eq(read_day(&f, NULL, day, &in_time), STREAM_END);
		ck_assert_int_eq(read_day(&f, ahead, day, &early), STREAM_END);
		/* now and then another span than the next, or two at once */
		if (day % 7 == 3)
			ahead_begin(ahead, f.store, (DAY + day + 5) * MS_PER_DAY,
				(DAY + day + 6) * MS_PER_DAY);
		if (day % 7 != 5)
			ahead_begin(ahead, f.store, (DAY + day + 1) * MS_PER_DAY,
				(DAY + day + 2) * MS_PER_DAY);
	}
	ck_assert_uint_gt(early.length, 0);
	ck_assert_str_eq(buffer_text(&early), buffer_text(&in_time));
	ahead_free(ahead);
	buffer_release(&in_time);
	buffer_release(&early);
	filed_free(&f);
}
END

TEST(a_span_is_taken_only_as_it_was_asked_for)
{
	struct filed f = filed_new(PLANT);
	struct ahead *ahead = ahead_new(f.stored->config);
	int64_t begin = DAY * MS_PER_DAY;
	file_message(&f, begin + 5000, "b/room", "20");
	int64_t chunk = sql_number(f.store, "SELECT id FROM chunks");
	ahead_begin(ahead, f.store, begin, begin + MS_PER_DAY);
	ck_assert_ptr_null(ahead_take(ahead, chunk, begin, begin + 1));
	ck_assert_ptr_null(ahead_take(ahead, chunk + 1, begin, begin + MS_PER_DAY));
	struct loaded *l = ahead_take(ahead, chunk, begin, begin + MS_PER_DAY);
	ck_assert_ptr_nonnull(l);
	ck_assert_uint_eq(l->readings.count, 2); /* with the sign of life */
	loaded_free(l);
	ck_assert_ptr_null(ahead_take(ahead, chunk, begin, begin + MS_PER_DAY));
	ck_assert_ptr_null(ahead_take(NULL, chunk, begin, begin + MS_PER_DAY));
	ahead_free(ahead);
	filed_free(&f);
}
END

TEST(damage_is_found_by_whoever_reads_in_time)
{
	struct filed f = filed_new(PLANT);
	struct ahead *ahead = ahead_new(f.stored->config);
	struct buffer out = {0};
	int64_t begin = DAY * MS_PER_DAY;
	file_message(&f, begin + 5000, "b/room", "20");
	sql_run(f.store, "UPDATE chunks SET data = x'0102030405'");
	ahead_begin(ahead, f.store, begin, begin + MS_PER_DAY);
	ck_assert_int_eq(read_day(&f, ahead, 0, &out), -EBADMSG);
	ahead_free(ahead);
	buffer_release(&out);
	filed_free(&f);
}
END

TEST(a_deriver_that_reads_ahead_makes_the_same_rows)
{
	uint64_t seed = unit_seed();
	int64_t sums[2], counts[2];
	for (int pass = 0; pass < 2; pass++) {
		struct filed f = filed_new(PLANT);
		if (pass)
			deriver_work_ahead(f.deriver);
		file_days(&f, seed);
		(void)derive_until(&f, (DAY + DAYS + 1) * MIN_PER_DAY);
		counts[pass] = sql_number(f.store, "SELECT count(*) FROM minutes");
		sums[pass] = sql_number(f.store,
			"SELECT sum(minute * c_room_temperature % 1000003) FROM minutes");
		filed_free(&f);
	}
	ck_assert_int_gt(counts[0], 0);
	ck_assert_int_eq(counts[0], counts[1]);
	ck_assert_int_eq(sums[0], sums[1]);
}
END

TESTS(what_is_read_ahead_is_what_is_read_in_time,
	a_span_is_taken_only_as_it_was_asked_for,
	damage_is_found_by_whoever_reads_in_time,
	a_deriver_that_reads_ahead_makes_the_same_rows)
