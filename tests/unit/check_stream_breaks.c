/*
 * Whoever follows /v1/stream, from any point and over any break, holds what the store
 * holds: each minute came once, or a `revised` covered it, after which the reader asks
 * anew. Minutes close, are revised and taken back at random; the server is reloaded and
 * started again, the store fails now and then; the reader loses its connection amid any
 * byte. SEED and ROUNDS are taken.
 *
 * Outside: resumption as WHATWG HTML 9.2 has it; from memory. The law is heatbook's own.
 */
#include "event_reader.h"

#include <heatbook/news.h>

#define BEGIN  (NOW_MS / MS_PER_MIN)
#define MOST   20000 /* minutes, before and after BEGIN */
#define BEFORE 100   /* of them before */
#define OPS    400

static struct {
	int64_t rows[MOST]; /* joules of each minute: what the store holds */
	int64_t closed;     /* … of those before */
	struct http *http;
	struct news news;
	uint64_t random, runs;
} house;

/* What the reader holds. */
static struct {
	struct event_reader stream;
	int64_t begin; /* it knows of minutes from here on; -1: not yet */
	int64_t next;  /* the minute that comes next */
	int64_t rows[MOST];
	bool told[MOST]; /* by an event, and not revised since */
	size_t minutes, revisions;
} reader;

static int64_t any(int64_t low, int64_t high)
{
	return unit_random_between(&house.random, low, high);
}

static void energy_of_house(size_t i, struct energy_bucket *bucket)
{
	(void)i; /* its time says all */
	int64_t at = bucket->t_ms / MS_PER_MIN - BEGIN + BEFORE;
	ck_assert_msg(
		at >= 0 && at < house.closed, "minute %lld is not closed", (long long)at);
	struct energy_sum *sum = &bucket->modes[MODE_HEATING];
	bucket->modes_seen = 1u << MODE_HEATING;
	sum->observed_ms = sum->heat_ms = 60000;
	sum->heat_j = house.rows[at] * 60;
}

static int64_t minute_of(int64_t at)
{
	return at + BEGIN - BEFORE;
}

static void close_minutes(int64_t count)
{
	for (int64_t i = 0; i < count && house.closed < MOST; i++)
		house.rows[house.closed++] = any(1, 1000000);
	news_closed(&house.news, minute_of(house.closed));
}

static void revise(int64_t from, int64_t to)
{
	for (int64_t i = from; i < to && i < house.closed; i++)
		house.rows[i] = any(1, 1000000);
	news_revised(&house.news, minute_of(from), minute_of(to));
}

/* Rows at the end are made again, from the journal. */
static void take_back(int64_t count)
{
	house.closed -= count < house.closed ? count : house.closed;
	news_closed(&house.news, minute_of(house.closed));
}

static void start_server(void)
{
	house.http = serve();
	news_begin(&house.news, ++house.runs, NOW_MS);
	fake.energy = energy_of_house;
	fake.first_row = minute_of(0);
	http_tell(house.http, &house.news);
	if (any(0, 1))
		news_closed(&house.news, minute_of(house.closed));
}

static void lose(void)
{
	reader_close(&reader.stream);
	reader_open(&reader.stream, house.http);
}

static void restart_server(void)
{
	http_close(house.http);
	take_back(any(0, 5));
	for (int64_t i = any(0, house.closed); i < house.closed; i++)
		house.rows[i] = any(1, 1000000); /* while nobody told of it */
	start_server();
	lose();
}

static int64_t place_of_minute(int64_t seconds)
{
	int64_t at = seconds / 60 - BEGIN + BEFORE;
	ck_assert_int_ge(at, 0);
	ck_assert_int_le(at, MOST);
	return at;
}

static void take_minute(const cJSON *json)
{
	int64_t at = place_of_minute((int64_t)number_at(json, "t"));
	ck_assert_msg(!reader.told[at], "minute %lld comes twice", (long long)at);
	ck_assert_int_eq(at, reader.next);
	reader.told[at] = true;
	reader.rows[at] = (int64_t)number_at(json, "heat_w");
	reader.minutes++;
}

/* It asks at once what the store holds of it now. */
static void take_revised(const cJSON *json)
{
	int64_t from = place_of_minute((int64_t)number_at(json, "from"));
	int64_t to = place_of_minute((int64_t)number_at(json, "to"));
	ck_assert_int_lt(from, to);
	for (int64_t i = from; i < to; i++) {
		reader.told[i] = false;
		reader.rows[i] = i < house.closed ? house.rows[i] : -1;
	}
	reader.revisions++;
}

static void read_events(size_t most)
{
	reader_pump(&reader.stream, house.http, most);
	if (reader.stream.head)
		ck_assert_int_eq(reader_status(&reader.stream), 200);
	if (reader.begin < 0 && reader.stream.last_id[0]) {
		reader.begin = place_of_minute(strtoll(reader.stream.last_id, NULL, 10));
		reader.next = reader.begin;
	}
	for (size_t i = 0; i < reader.stream.event_count; i++) {
		const struct event_seen *event = &reader.stream.events[i];
		cJSON *json = cJSON_Parse(event->data);
		ck_assert_ptr_nonnull(json);
		if (strcmp(event->type, "minute") == 0)
			take_minute(json);
		else
			take_revised(json);
		reader.next = place_of_minute(strtoll(event->id, NULL, 10));
		cJSON_Delete(json);
	}
	reader_forget(&reader.stream);
}

static void step(void)
{
	switch (any(0, 15)) {
	case 0:
	case 1:
	case 2:
	case 3:
	case 4:
		close_minutes(any(0, 3));
		break;
	case 5:
		close_minutes(any(0, 1) ? any(50, 200) : any(1400, 1500));
		break;
	case 6:
	case 7: {
		int64_t from = any(0, house.closed);
		revise(from, from + any(0, 200));
		break;
	}
	case 8:
		for (int64_t i = any(1, 2 * NEWS_REVISIONS_MOST); i > 0; i--)
			revise(house.closed - any(1, 50), house.closed - any(0, 20));
		break;
	case 9:
		take_back(any(1, 10));
		break;
	case 10:
		restart_server();
		break;
	case 11:
		http_swap(house.http, &plant, PLANT_STORE);
		break;
	case 12:
		fake.result = fake.result ? 0 : QUERY_TOO_SLOW;
		break;
	case 13:
		clock_test_advance(any(0, 20000));
		break;
	case 14:
		read_events((size_t)any(0, 3000)); /* the rest is lost on the way */
		lose();
		break;
	default:
		read_events(SIZE_MAX);
		break;
	}
	if (reader.stream.ended)
		lose();
}

/* Nothing happens any more, and the reader has a connection that holds. */
static void settle(void)
{
	fake.result = 0;
	news_closed(&house.news, minute_of(house.closed));
	for (int i = 0; i < 3; i++) {
		clock_test_advance(1000);
		read_events(SIZE_MAX);
		if (reader.stream.ended)
			lose();
	}
}

static void compare(void)
{
	ck_assert_int_eq(reader.next, house.closed);
	for (int64_t i = reader.begin; i < house.closed; i++)
		ck_assert_msg(reader.rows[i] == house.rows[i],
			"minute %lld: it holds %lld, the store %lld", (long long)i,
			(long long)reader.rows[i], (long long)house.rows[i]);
}

static void play(void)
{
	memset(&house.rows, 0, sizeof(house.rows));
	memset(&reader, 0, sizeof(reader));
	reader.begin = -1;
	house.closed = BEFORE;
	start_server();
	reader_open(&reader.stream, house.http);
	for (int i = 0; i < OPS; i++) {
		step();
		if (i % 20 == 19) {
			settle();
			compare();
		}
	}
	reader_release(&reader.stream);
	http_close(house.http);
}

TEST(a_reader_holds_what_the_store_holds_over_any_break)
{
	size_t minutes = 0, revisions = 0;
	house.random = unit_seed();
	for (uint64_t rounds = unit_rounds(3); rounds > 0; rounds--) {
		play();
		minutes += reader.minutes;
		revisions += reader.revisions;
	}
	printf("# %zu minutes and %zu revisions were told\n", minutes, revisions);
	ck_assert_uint_gt(minutes, 1000);
	ck_assert_uint_gt(revisions, 100);
}
END

TESTS(a_reader_holds_what_the_store_holds_over_any_break)
