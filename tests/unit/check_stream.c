/*
 * /v1/stream: what its events are, how it is resumed, how many may follow, how it ends.
 *
 * Outside: the event stream format and its resumption, WHATWG HTML, 9.2; from memory.
 * That nothing is told twice or missed is held over random breaks, revisions, reloads and
 * restarts; SEED and ROUNDS are taken.
 */
#include "event_reader.h"

#include <heatbook/news.h>
#include <heatbook/notices.h>

#define BEGIN   (NOW_MS / MS_PER_MIN) /* the minute at which rows end at first */
#define FOREVER SIZE_MAX

static void energy_of_minute(size_t i, struct energy_bucket *bucket)
{
	(void)i; /* its time says all */
	struct energy_sum *sum = &bucket->modes[MODE_HEATING];
	bucket->modes_seen = 1u << MODE_HEATING;
	sum->observed_ms = 60000;
	sum->heat_j = 240000;
	sum->heat_ms = 60000;
	sum->meter_j[0] = 30000;
	sum->meter_ms[0] = 30000;
}

static struct http *serve_news(struct news *news)
{
	struct http *http = serve();
	news_begin(news, 0x1234, NOW_MS);
	http_tell(http, news);
	fake.energy = energy_of_minute;
	fake.first_row = BEGIN - 1000;
	(void)contract_of(http);
	return http;
}

static void follow(struct event_reader *r, struct http *http)
{
	reader_open(r, http);
	reader_pump(r, http, FOREVER);
}

/* A server whose rows end at BEGIN, and a reader that follows them. */
static struct http *serve_reader(struct news *news, struct event_reader *r)
{
	struct http *http = serve_news(news);
	*r = (struct event_reader){0};
	news_closed(news, BEGIN);
	follow(r, http);
	return http;
}

static void let_go(struct http *http, struct event_reader *r)
{
	reader_release(r);
	http_close(http);
}

/* Events are described in the contract, too. */
static void check_event(const char *type, const cJSON *data)
{
	bool minute = strcmp(type, "minute") == 0;
	bool notices = strcmp(type, "notices") == 0;
	const char *name = minute    ? "#/components/schemas/StreamedMinute"
			   : notices ? "#/components/schemas/StreamedNotices"
				     : "#/components/schemas/StreamedRevision";
	const cJSON *contract = contract_of(NULL); /* asked for by serve_news() */
	struct schema_fault fault = {""};
	ck_assert_msg(schema_fits(contract, schema_of(contract, name), data, "", &fault),
		"%s: %s", name, fault.text);
}

static const cJSON *event_data(const struct event_reader *r, size_t i, const char *type)
{
	static cJSON *kept; /* one at a time */
	cJSON_Delete(kept);
	kept = NULL;
	ck_assert_uint_lt(i, r->event_count);
	ck_assert_str_eq(r->events[i].type, type);
	kept = cJSON_Parse(r->events[i].data);
	ck_assert_ptr_nonnull(kept);
	check_event(type, kept);
	return kept;
}

static void check_range(const struct event_reader *r, size_t i, int64_t from, int64_t to)
{
	const cJSON *json = event_data(r, i, "revised");
	ck_assert_int_eq((int64_t)number_at(json, "from"), from * 60);
	ck_assert_int_eq((int64_t)number_at(json, "to"), to * 60);
}

TEST(each_minute_that_closes_is_an_event)
{
	struct news news;
	struct event_reader r;
	struct http *http = serve_reader(&news, &r);
	ck_assert_int_eq(reader_status(&r), 200);
	ck_assert_ptr_nonnull(strstr(r.head, "Content-Type: text/event-stream"));
	ck_assert_ptr_nonnull(strstr(r.head, "Cache-Control: no-store"));
	ck_assert_uint_eq(r.event_count, 0);
	ck_assert_uint_eq(r.retries, 1);
	ck_assert_msg(r.last_id[0], "a stream without events yet can be resumed");
	news_closed(&news, BEGIN + 2);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 2);
	for (size_t i = 0; i < 2; i++) {
		const cJSON *json = event_data(&r, i, "minute");
		int64_t t = (BEGIN + (int64_t)i) * 60;
		ck_assert_int_eq((int64_t)number_at(json, "t"), t);
		ck_assert_int_eq((int64_t)number_at(json, "t_end"), t + 60);
		ck_assert_double_eq(number_at(json, "heat_w"), 4000);
		ck_assert_double_eq(number_at(json, "electricity_w"), 1000);
		ck_assert_double_eq(number_at(json, "meters/unit/electricity_w"), 1000);
		ck_assert(null_at(json, "meters/immersion/electricity_w"));
		ck_assert_str_eq(text_at(json, "mode"), "heating");
		ck_assert_double_eq(number_at(json, "channels/flow_temperature"), 0);
	}
	ck_assert_ptr_nonnull(strstr(r.last_id, "1767877320."));
	let_go(http, &r);
}
END

TEST(a_minute_of_which_nothing_is_known_is_an_event_too)
{
	struct news news;
	struct event_reader r;
	struct http *http = serve_reader(&news, &r);
	fake.energy = NULL;
	news_closed(&news, BEGIN + 1);
	reader_pump(&r, http, FOREVER);
	const cJSON *json = event_data(&r, 0, "minute");
	ck_assert(null_at(json, "heat_w"));
	ck_assert(null_at(json, "electricity_w"));
	ck_assert(null_at(json, "mode"));
	let_go(http, &r);
}
END

TEST(older_rows_that_change_are_told_by_their_span)
{
	struct news news;
	struct event_reader r;
	struct http *http = serve_reader(&news, &r);
	news_revised(&news, BEGIN - 100, BEGIN - 90);
	news_revised(&news, BEGIN - 90, BEGIN - 80); /* touches the one before */
	news_revised(&news, BEGIN - 20, BEGIN + 5);  /* its end is still to be told */
	news_revised(&news, BEGIN + 2, BEGIN + 5);   /* all of it is */
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 2);
	check_range(&r, 0, BEGIN - 100, BEGIN - 80);
	check_range(&r, 1, BEGIN - 20, BEGIN);
	let_go(http, &r);
}
END

TEST(a_reader_who_comes_back_gets_what_it_missed)
{
	struct news news;
	struct event_reader r;
	struct http *http = serve_reader(&news, &r);
	reader_close(&r);
	news_closed(&news, BEGIN + 200);
	news_revised(&news, BEGIN - 7, BEGIN - 5);
	follow(&r, http);
	ck_assert_uint_eq(r.event_count, 201);
	check_range(&r, 0, BEGIN - 7, BEGIN - 5);
	for (size_t i = 1; i < r.event_count; i++)
		ck_assert_int_eq(
			(int64_t)number_at(event_data(&r, i, "minute"), "t") / 60,
			BEGIN + (int64_t)i - 1);
	reader_forget(&r);
	reader_close(&r);
	news_closed(&news, BEGIN + 200 + MIN_PER_DAY + 1); /* nobody wants each of them */
	follow(&r, http);
	ck_assert_uint_eq(r.event_count, 1);
	check_range(&r, 0, BEGIN + 200, BEGIN + 200 + MIN_PER_DAY + 1);
	let_go(http, &r);
}
END

TEST(an_id_of_another_run_revises_all_before_it)
{
	struct news news;
	struct http *http = serve_news(&news);
	struct event_reader r = {0};
	news_closed(&news, BEGIN + 1);
	(void)snprintf(r.last_id, sizeof(r.last_id), "%lld.%016x.%d",
		(long long)BEGIN * 60, 0x9999, 3);
	follow(&r, http);
	ck_assert_uint_eq(r.event_count, 2);
	check_range(&r, 0, BEGIN - 1000, BEGIN);
	ck_assert_int_eq(
		(int64_t)number_at(event_data(&r, 1, "minute"), "t"), BEGIN * 60);
	let_go(http, &r);
}
END

TEST(a_field_that_is_no_id_is_a_400)
{
	static const char *const ids[] = {"1", "x", "1767877200.1234", "1767877200.1234.",
		"1767877201.1234.0", "-60.1234.0", "1767877200.123g.0",
		"1767877200.12345678901234567.0", "9999999999999.1.0", "60.1.-1", "60..1",
		"..", "60.1.1.", "60.1.1.-1", "60.1.1.12345678901234567", "60.1.1.1.1"};
	struct news news;
	struct http *http = serve_news(&news);
	news_closed(&news, BEGIN);
	for (size_t i = 0; i < ARRAY_LEN(ids); i++) {
		char *fields = xasprintf("Last-Event-ID: %s\r\nX: y\r\n", ids[i]);
		struct reply_seen reply = ask(http, "GET", "/v1/stream", fields);
		ck_assert_msg(reply.status == 400, "%s: %d", ids[i], reply.status);
		ck_assert(field_is(&reply, "Content-Type", "application/problem+json"));
		reply_release(&reply);
		free(fields);
	}
	struct reply_seen reply = ask(http, "GET", "/v1/stream?x=1", "");
	ck_assert_int_eq(reply.status, 400);
	reply_release(&reply);
	http_close(http);
}
END

	static struct notice_config warm = {.name = (char[]){"warm"},
		.watches = (char[]){"value flow_temperature"},
		.text = (char[]){"It is \"warm\"\nnow"},
		.watch = NOTICE_VALUE,
		.compares = true,
		.above = true,
		.raises = 40.0,
		.clears = 38.0,
		.dimension = DIMENSION_TEMPERATURE,
		.for_ms = MS_PER_MIN,
		.clears_for_ms = MS_PER_MIN};

static double water_c;

static double series_of_water(size_t bucket, size_t column)
{
	(void)bucket;
	(void)column;
	return water_c;
}

/* Of the minutes that are closed. */
static void tell_notices(struct http *http, struct notices *n, const struct news *news)
{
	int r;
	while ((r = notices_turn(n, PLANT_STORE, news->closed, 1)) == NOTICES_MORE)
		;
	ck_assert_int_eq(r, 0);
	http_tell_notices(http, n);
}

static void begin_notices(double degrees)
{
	warm.raises = 40.0;
	warm.clears = 38.0;
	water_c = degrees;
	plant.notices = &warm;
	plant.notice_count = 1;
	fake.series = series_of_water;
}

static void end_notices(struct notices *n)
{
	plant.notice_count = 0;
	notices_free(n);
}

TEST(notices_are_told_when_one_is_raised_or_cleared)
{
	struct news news;
	struct event_reader r;
	begin_notices(20.0);
	struct http *http = serve_reader(&news, &r);
	struct notices *n = notices_new(&plant, BEGIN, NULL, NULL);
	http_tell_notices(http, NULL);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 0);
	tell_notices(http, n, &news);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 1);
	ck_assert_double_eq(number_at(event_data(&r, 0, "notices"), "raised"), 0);
	for (int64_t m = 1; m <= 5; m++) {
		water_c = m >= 2 && m <= 3 ? 45.0 : 20.0;
		news_closed(&news, BEGIN + m);
		tell_notices(http, n, &news);
		reader_pump(&r, http, FOREVER);
	}
	ck_assert_uint_eq(r.event_count, 8);              /* five minutes among them */
	const cJSON *json = event_data(&r, 3, "notices"); /* after its minute */
	ck_assert_double_eq(number_at(json, "raised"), 1);
	ck_assert_str_eq(text_at(json, "notices/0/text"), warm.text);
	ck_assert_int_eq((int64_t)number_at(json, "notices/0/since"), (BEGIN + 1) * 60);
	ck_assert_double_eq(number_at(event_data(&r, 6, "notices"), "raised"), 0);
	end_notices(n);
	let_go(http, &r);
}
END

TEST(who_comes_back_is_told_of_notices_that_it_does_not_know)
{
	struct news news;
	struct event_reader r;
	begin_notices(45.0);
	struct http *http = serve_reader(&news, &r);
	struct notices *n = notices_new(&plant, BEGIN, NULL, NULL);
	tell_notices(http, n, &news);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 1);
	reader_close(&r);
	news_begin(&news, 0x777, NOW_MS); /* another run, which comes to the same */
	news_closed(&news, BEGIN);
	follow(&r, http);
	ck_assert_uint_eq(r.event_count, 2);
	check_range(&r, 1, BEGIN - 1000, BEGIN);
	reader_close(&r);
	*strrchr(r.last_id, '.') = '\0'; /* as it was before notices were told */
	follow(&r, http);
	ck_assert_uint_eq(r.event_count, 3);
	ck_assert_double_eq(number_at(event_data(&r, 2, "notices"), "raised"), 1);
	ck_assert_int_eq(http_swap(http, &plant, PLANT_STORE), 0);
	warm.raises = warm.clears = 60.0;
	reader_pump(&r, http, FOREVER);
	reader_close(&r);
	follow(&r, http);
	ck_assert_uint_eq(r.event_count, 3); /* until it is known how they stand */
	end_notices(n);
	plant.notice_count = 1;
	n = notices_new(&plant, BEGIN, NULL, NULL);
	tell_notices(http, n, &news);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 4);
	ck_assert_double_eq(number_at(event_data(&r, 3, "notices"), "raised"), 0);
	end_notices(n);
	let_go(http, &r);
}
END

TEST(head_has_the_fields_and_follows_nothing)
{
	struct news news;
	struct http *http = serve_news(&news);
	for (int i = 0; i < 20; i++) { /* more than may follow */
		struct reply_seen reply = ask(http, "HEAD", "/v1/stream", "");
		ck_assert_int_eq(reply.status, 200);
		ck_assert(field_is(&reply, "Content-Type", "text/event-stream"));
		ck_assert_uint_eq(reply.length, 0);
		reply_release(&reply);
	}
	http_close(http);
}
END

TEST(as_many_as_may_follow_and_no_more)
{
	struct news news;
	struct http *http = serve_news(&news);
	struct event_reader readers[9] = {0};
	news_closed(&news, BEGIN);
	for (size_t i = 0; i < ARRAY_LEN(readers); i++) {
		readers[i].from = i % 2 ? "127.0.0.2" : "127.0.0.3";
		follow(&readers[i], http);
		ck_assert_int_eq(reader_status(&readers[i]), i < 8 ? 200 : 503);
	}
	ck_assert_ptr_nonnull(strstr(readers[8].head, "Retry-After: "));
	reader_close(&readers[8]);
	reader_close(&readers[0]); /* noticed when the next word goes there */
	news_closed(&news, BEGIN + 1);
	reader_pump(&readers[1], http, FOREVER);
	news_closed(&news, BEGIN + 2);
	reader_pump(&readers[1], http, FOREVER);
	follow(&readers[0], http);
	ck_assert_int_eq(reader_status(&readers[0]), 200);
	for (size_t i = 0; i < ARRAY_LEN(readers); i++)
		reader_release(&readers[i]);
	http_close(http);
}
END

/* Nothing closes meanwhile: a page that is loaded again and again leaves each time. */
TEST(who_leaves_gives_its_place_free_within_a_second)
{
	struct news news;
	struct http *http = serve_news(&news);
	struct event_reader readers[8] = {0};
	news_closed(&news, BEGIN);
	for (size_t i = 0; i < ARRAY_LEN(readers); i++) {
		readers[i].from = i % 2 ? "127.0.0.2" : "127.0.0.3";
		follow(&readers[i], http);
		ck_assert_int_eq(reader_status(&readers[i]), 200);
	}
	for (size_t i = 1; i < ARRAY_LEN(readers); i++)
		reader_close(&readers[i]);
	for (int i = 0; i < 3; i++) {
		clock_test_advance(500);
		reader_pump(&readers[0], http, FOREVER);
	}
	ck_assert_uint_eq(readers[0].comments, 0);
	for (size_t i = 1; i < ARRAY_LEN(readers); i++) {
		follow(&readers[i], http);
		ck_assert_int_eq(reader_status(&readers[i]), 200);
	}
	for (size_t i = 0; i < ARRAY_LEN(readers); i++)
		reader_release(&readers[i]);
	http_close(http);
}
END

/* It reads on after it has ended its own direction: that is no leaving. */
TEST(who_says_no_more_is_told_on)
{
	struct news news;
	struct event_reader r;
	struct http *http = serve_reader(&news, &r);
	ck_assert_int_eq(shutdown(r.fd, SHUT_WR), 0);
	for (int i = 0; i < 10; i++) {
		clock_test_advance(500);
		reader_pump(&r, http, FOREVER);
	}
	news_closed(&news, BEGIN + 1);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 1);
	ck_assert_uint_le(r.comments, 10);
	let_go(http, &r);
}
END

TEST(a_stream_outlasts_the_time_that_other_answers_have)
{
	struct news news;
	struct event_reader r;
	struct http *http = serve_reader(&news, &r);
	for (size_t i = 0; i < 20; i++) {
		clock_test_advance(15000);
		reader_pump(&r, http, FOREVER);
		ck_assert_uint_eq(r.comments, i + 1);
	}
	let_go(http, &r);
}
END

TEST(silence_is_broken_by_comments)
{
	struct news news;
	struct event_reader r;
	struct http *http = serve_reader(&news, &r);
	ck_assert_int_gt(http_timeout_ms(http), 14000);
	clock_test_advance(14000);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.comments, 0);
	clock_test_advance(1000);
	ck_assert_int_eq(http_timeout_ms(http), 0);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.comments, 1);
	ck_assert_uint_eq(r.event_count, 0);
	let_go(http, &r);
}
END

TEST(a_reload_and_an_end_end_streams_in_good_order)
{
	struct news news;
	struct http *http = serve_news(&news);
	struct event_reader r[2] = {0};
	news_closed(&news, BEGIN);
	for (size_t i = 0; i < 2; i++)
		follow(&r[i], http);
	http_swap(http, &plant, PLANT_STORE);
	reader_pump(&r[0], http, FOREVER);
	ck_assert(r[0].ended);
	reader_close(&r[0]);
	news_closed(&news, BEGIN + 1);
	follow(&r[0], http);
	ck_assert_uint_eq(r[0].event_count, 1);
	ck_assert(!r[0].ended);
	http_close(http); /* one that rests, and one whose reader has not read its end */
	for (size_t i = 0; i < 2; i++)
		reader_release(&r[i]);
}
END

TEST(a_store_that_does_not_answer_is_asked_again)
{
	struct news news;
	struct event_reader r;
	struct http *http = serve_reader(&news, &r);
	fake.result = QUERY_TOO_SLOW;
	news_closed(&news, BEGIN + 1);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 0);
	ck_assert_int_gt(http_timeout_ms(http), 0); /* not at once: that would spin */
	fake.result = 0;
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 0);
	clock_test_advance(1000);
	reader_pump(&r, http, FOREVER);
	ck_assert_uint_eq(r.event_count, 1);
	let_go(http, &r);
}
END

/* It takes nothing: what is not told yet is nowhere, and others are told. */
TEST(a_reader_that_takes_nothing_holds_nobody_up)
{
	struct news news;
	struct event_reader r, slow = {.from = "127.0.0.2"};
	struct http *http = serve_reader(&news, &r);
	int64_t closed = BEGIN;
	reader_open(&slow, http);
	for (int i = 0; i < 4; i++)
		http_turn(http); /* it begins */
	for (int i = 0; i < 4; i++) {
		closed += 1000;
		news_closed(&news, closed);
		reader_pump(&r, http, FOREVER);
	}
	ck_assert_uint_eq(r.event_count, 4000);
	/* It wakes, and gets all of it in order. */
	for (int i = 0; i < 2000 && strtoll(slow.last_id, NULL, 10) < closed * 60; i++) {
		client_turn(http, slow.fd);
		reader_pump(&slow, http, FOREVER);
	}
	size_t minutes = 0;
	int64_t next = BEGIN;
	for (size_t i = 0; i < slow.event_count; i++) {
		bool minute = strcmp(slow.events[i].type, "minute") == 0;
		cJSON *json = cJSON_Parse(slow.events[i].data);
		ck_assert_int_eq(
			(int64_t)number_at(json, minute ? "t" : "from"), next * 60);
		next = (int64_t)number_at(json, minute ? "t_end" : "to") / 60;
		minutes += minute;
		cJSON_Delete(json);
	}
	ck_assert_int_eq(next, closed);
	ck_assert_uint_gt(minutes, 0);
	reader_release(&slow);
	let_go(http, &r);
}
END

TEST(without_minutes_there_is_no_stream)
{
	struct http *http = serve();
	struct reply_seen reply = ask(http, "GET", "/v1/stream", "");
	ck_assert_int_eq(reply.status, 503);
	reply_release(&reply);
	http_close(http);
}
END

TESTS(each_minute_that_closes_is_an_event,
	a_minute_of_which_nothing_is_known_is_an_event_too,
	older_rows_that_change_are_told_by_their_span,
	a_reader_who_comes_back_gets_what_it_missed,
	an_id_of_another_run_revises_all_before_it,
	notices_are_told_when_one_is_raised_or_cleared,
	who_comes_back_is_told_of_notices_that_it_does_not_know, a_field_that_is_no_id_is_a_400,
	head_has_the_fields_and_follows_nothing, as_many_as_may_follow_and_no_more,
	who_leaves_gives_its_place_free_within_a_second, who_says_no_more_is_told_on,
	a_stream_outlasts_the_time_that_other_answers_have,
	silence_is_broken_by_comments, a_reload_and_an_end_end_streams_in_good_order,
	a_store_that_does_not_answer_is_asked_again,
	a_reader_that_takes_nothing_holds_nobody_up, without_minutes_there_is_no_stream)
