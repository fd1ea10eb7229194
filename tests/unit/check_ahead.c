/*
 * Working ahead: a day that was made by the threads is the one that is made in time,
 * whatever its chunks; one that begins otherwise or has other chunks by now is not taken;
 * what cannot be read is left to whoever needs it. Run with ThreadSanitizer, too.
 */
#include "filed.h"

#include "../../daemon/derive/ahead.h"
#include "../../daemon/derive/stream.h"

#define PLANT                                                                            \
	"[plant]\nzone = UTC\n[channel room_temperature]\ntopic = b/room\n"              \
	"[channel power]\ntopic = b/power\nunit = W\n"                                   \
	"[channel counter]\ntopic = b/counter\nunit = kWh\n"                             \
	"[meter unit]\nfeeds = compressor\npower = power\nregister = counter\n"
#define DAYS  30
#define UNTIL ((DAY + DAYS + 1) * MIN_PER_DAY)

/* Records a day in none to some chunks, on one day in very many. */
static void file_days(struct filed *f, uint64_t seed)
{
	static const char *const topics[] = {"b/room", "b/power", "b/counter"};
	char payload[32];
	double total = 100.0;
	for (int64_t day = 0; day < DAYS; day++) {
		uint64_t chunks = day == 17 ? 40 : unit_random(&seed) % 9;
		int64_t at_ms = 0;
		for (uint64_t c = 0; c < chunks; c++) {
			at_ms += (int64_t)(unit_random(&seed) %
					   (uint64_t)(MS_PER_DAY / 50));
			uint64_t which = unit_random(&seed) % ARRAY_LEN(topics);
			total += which == 2 ? 0.7 : 0.0;
			(void)snprintf(payload, sizeof(payload), "%.1f",
				which == 2 ? total : (double)(unit_random(&seed) % 40));
			file_message(f, (DAY + day) * MS_PER_DAY + at_ms, topics[which],
				payload);
		}
	}
}

/* ---- a day in words ---- */

struct words {
	const struct config *config;
	struct buffer text;
};

static void say_minute(const struct minute *minute, void *context)
{
	struct words *w = context;
	buffer_addf(&w->text, "%lld %u", (long long)minute->minute, minute->known);
	for (size_t c = 0; c < w->config->channel_count; c++)
		if (minute->channels[c].known_ms)
			buffer_addf(&w->text, " c%zu %lld %a", c,
				(long long)minute->channels[c].known_ms,
				minute->channels[c].mean);
	for (size_t m = 0; m < MODE_COUNT; m++)
		if (minute->modes[m].seen)
			buffer_addf(&w->text, " m%zu %lld %lld %a", m,
				(long long)minute->modes[m].ms,
				(long long)minute->modes[m].meter_ms[0],
				minute->modes[m].meter_j[0]);
	buffer_add(&w->text, "\n", 1);
}

static void say_settlement(const struct settlement *s, void *context)
{
	struct words *w = context;
	buffer_addf(&w->text, "span %lld %lld %lld\n", (long long)s->begin_ms,
		(long long)s->end_ms, (long long)s->j);
}

/* The same engine's pass, here and now. */
static void make_in_time(
	struct filed *f, struct engine *engine, int64_t day, uint64_t *readings)
{
	struct stream *stream;
	const struct reading *r;
	int64_t from_ms = day * MS_PER_DAY;
	ck_assert_int_eq(
		stream_open(f->store, f->decoder, from_ms, from_ms + MS_PER_DAY, &stream),
		0);
	for (*readings = 0; stream_next(stream, &r) == 0; ++*readings)
		engine_feed(engine, r);
	stream_close(stream);
	engine_advance(engine, from_ms + MS_PER_DAY);
}

static void say_made(const struct made_day *made, struct words *w)
{
	/* Settlements are told among minutes by the engine: kept apart, they follow. */
	made_each_minute(made, w->config, say_minute, w);
	for (size_t i = 0; i < made->settled.count; i++)
		say_settlement(&made->settled.items[i], w);
}

TEST(a_day_made_ahead_is_the_one_made_in_time)
{
	struct filed f = filed_new(PLANT);
	const struct config *config = f.stored->config;
	struct ahead *ahead = ahead_new(config);
	struct words early = {.config = config}, late = {.config = config};
	struct words spans = {.config = config};
	struct engine *engine = engine_new(config, say_minute, &late);
	struct buffer state = {0};
	uint64_t seed = unit_seed(), readings;
	int taken = 0;

	ck_assert_ptr_nonnull(ahead);
	engine_on_settlement(engine, say_settlement, &spans);
	file_days(&f, seed);
	engine_start(engine, DAY * MIN_PER_DAY);
	for (int64_t day = DAY; day < DAY + DAYS; day++) {
		buffer_reset(&state);
		engine_save(engine, &state);
		const struct made_day *made = ahead_take(ahead, f.store, day, &state);
		buffer_reset(&early.text);
		buffer_reset(&late.text);
		buffer_reset(&spans.text);
		make_in_time(&f, engine, day, &readings);
		buffer_add(&late.text, spans.text.data, spans.text.length);
		buffer_reset(&state);
		engine_save(engine, &state);
		if (made) {
			taken++;
			say_made(made, &early);
			ck_assert_str_eq(
				buffer_text(&early.text), buffer_text(&late.text));
			ck_assert_uint_eq(made->readings, readings);
			ck_assert(buffer_equal(&made->end, &state));
			ck_assert_int_eq(made->quiet, engine_quiet(engine));
		}
		/* now and then another day than the next, or none */
		if (day % 7 == 3)
			ahead_begin(ahead, f.store, day + 3, UNTIL, &state);
		if (day % 7 != 5)
			ahead_begin(ahead, f.store, day + 1, UNTIL, &state);
	}
	/* All but the first, those of which there was none, and the one with too many
	 * chunks. */
	ck_assert_int_ge(taken, DAYS - 1 - DAYS / 7 - 1 - 2);
	ahead_free(ahead);
	engine_free(engine);
	buffer_release(&early.text);
	buffer_release(&late.text);
	buffer_release(&spans.text);
	buffer_release(&state);
	filed_free(&f);
}
END

	/* A day begun with nothing in force. */
	static struct buffer
	empty_state(const struct config *config)
{
	struct buffer state = {0};
	struct engine *engine = engine_new(config, NULL, NULL);
	engine_start(engine, DAY * MIN_PER_DAY);
	engine_save(engine, &state);
	engine_free(engine);
	return state;
}

TEST(a_day_is_taken_only_as_it_was_begun)
{
	struct filed f = filed_new(PLANT);
	struct ahead *ahead = ahead_new(f.stored->config);
	struct buffer state = empty_state(f.stored->config), other = {0};
	buffer_add(&other, "another", 7);
	file_message(&f, DAY * MS_PER_DAY + 5000, "b/room", "20");

	ahead_begin(ahead, f.store, DAY, UNTIL, &state);
	ck_assert_ptr_null(ahead_take(ahead, f.store, DAY + 1, &state));
	ahead_begin(ahead, f.store, DAY, UNTIL, &state);
	ck_assert_ptr_null(ahead_take(ahead, f.store, DAY, &other));
	ahead_begin(ahead, f.store, DAY, UNTIL, &state);
	const struct made_day *made = ahead_take(ahead, f.store, DAY, &state);
	ck_assert_ptr_nonnull(made);
	ck_assert_uint_eq(made->readings, 2); /* with the sign of life */
	ck_assert_ptr_null(ahead_take(ahead, f.store, DAY, &state));
	ck_assert_ptr_null(ahead_take(NULL, f.store, DAY, &state));
	buffer_release(&state);
	buffer_release(&other);
	ahead_free(ahead);
	filed_free(&f);
}
END

TEST(a_day_that_got_another_chunk_is_not_taken)
{
	struct filed f = filed_new(PLANT);
	struct ahead *ahead = ahead_new(f.stored->config);
	struct buffer state = empty_state(f.stored->config);
	file_message(&f, DAY * MS_PER_DAY + 5000, "b/room", "20");
	ahead_begin(ahead, f.store, DAY, UNTIL, &state);
	file_message(&f, DAY * MS_PER_DAY + 65000, "b/room", "21");
	ck_assert_ptr_null(ahead_take(ahead, f.store, DAY, &state));
	buffer_release(&state);
	ahead_free(ahead);
	filed_free(&f);
}
END

TEST(only_days_that_are_over_are_made_ahead)
{
	struct filed f = filed_new(PLANT);
	struct ahead *ahead = ahead_new(f.stored->config);
	struct buffer state = empty_state(f.stored->config);
	ahead_begin(ahead, f.store, DAY, (DAY + 1) * MIN_PER_DAY - 1, &state);
	ck_assert_ptr_null(ahead_take(ahead, f.store, DAY, &state));
	ahead_begin(ahead, f.store, DAY, (DAY + 1) * MIN_PER_DAY, &state);
	ck_assert_ptr_nonnull(ahead_take(ahead, f.store, DAY, &state));
	buffer_release(&state);
	ahead_free(ahead);
	filed_free(&f);
}
END

TEST(damage_is_found_by_whoever_reads_in_time)
{
	struct filed f = filed_new(PLANT);
	struct ahead *ahead = ahead_new(f.stored->config);
	struct buffer state = empty_state(f.stored->config);
	struct stream *stream;
	const struct reading *r;
	int64_t from_ms = DAY * MS_PER_DAY;
	file_message(&f, from_ms + 5000, "b/room", "20");
	sql_run(f.store, "UPDATE chunks SET data = x'0102030405'");
	ahead_begin(ahead, f.store, DAY, UNTIL, &state);
	ck_assert_ptr_null(ahead_take(ahead, f.store, DAY, &state));
	ck_assert_int_eq(
		stream_open(f.store, f.decoder, from_ms, from_ms + MS_PER_DAY, &stream),
		0);
	ck_assert_int_eq(stream_next(stream, &r), -EBADMSG);
	stream_close(stream);
	buffer_release(&state);
	ahead_free(ahead);
	filed_free(&f);
}
END

TEST(a_deriver_that_works_ahead_makes_the_same_rows)
{
	static const char *const tables[] = {"minutes", "energy_minutes", "hours",
		"energy_hours", "days", "energy_days", "settlements"};
	uint64_t seed = unit_seed();
	int64_t counts[2][ARRAY_LEN(tables)], sums[2][2];
	for (int pass = 0; pass < 2; pass++) {
		struct filed f = filed_new(PLANT);
		char sql[64];
		if (pass) {
			deriver_work_ahead(f.deriver);
			ck_assert_int_eq(store_in_bulk(f.store), 0);
		}
		file_days(&f, seed);
		(void)derive_until(&f, UNTIL);
		ck_assert_uint_ge(deriver_days(f.deriver), DAYS - 2);
		for (size_t t = 0; t < ARRAY_LEN(tables); t++) {
			(void)snprintf(
				sql, sizeof(sql), "SELECT count(*) FROM %s", tables[t]);
			counts[pass][t] = sql_number(f.store, sql);
		}
		sums[pass][0] = sql_number(f.store,
			"SELECT sum(minute * c_room_temperature % 1000003) FROM minutes");
		sums[pass][1] = sql_number(f.store,
			"SELECT sum(start_minute * e_unit_j % 1000003) FROM energy_days");
		filed_free(&f);
	}
	ck_assert_int_gt(counts[0][0], 0);
	ck_assert_mem_eq(counts[0], counts[1], sizeof(counts[0]));
	ck_assert_mem_eq(sums[0], sums[1], sizeof(sums[0]));
}
END

TESTS(a_day_made_ahead_is_the_one_made_in_time, a_day_is_taken_only_as_it_was_begun,
	a_day_that_got_another_chunk_is_not_taken, only_days_that_are_over_are_made_ahead,
	damage_is_found_by_whoever_reads_in_time,
	a_deriver_that_works_ahead_makes_the_same_rows)
