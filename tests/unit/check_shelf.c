/*
 * Answers that are given again: when, to whom, and that nothing of them is another's. The
 * fake store's rows change from question to question, so that an answer that was made
 * anew differs; its generation is the test's to set.
 *
 * Outside: conditional requests and strong tags (RFC 9110, 8.8.3 and 13.1.2; from
 * memory).
 */
#include "http_client.h"

#define DAY_OF_HOURS "/v1/energy?from=1767222000&to=1767308400&step=PT1H"
#define UNTIL_NOW    "/v1/energy?from=1767222000&step=P1D"

static int64_t heat_j;

static void rows(size_t i, struct energy_bucket *b)
{
	struct energy_sum *heating = &b->modes[MODE_HEATING];
	heating->observed_ms = heating->heat_ms = 3600000;
	heating->heat_j = heat_j + (int64_t)i;
	b->modes_seen = 1u << MODE_HEATING;
}

static struct http *serve_kept(void)
{
	struct http *http = serve();
	fake.energy = rows;
	fake.generations = true;
	fake.generation = (struct generation){.pending_from = INT64_MAX};
	return http;
}

/* After rows that no generation tells of: is the answer of before given again? Whether it
 * is, it must have been made by rows of some moment. */
static bool again(struct http *http, const char *target, const char *fields)
{
	struct reply_seen first = ask(http, "GET", target, fields);
	heat_j += 1000000;
	struct reply_seen second = ask(http, "GET", target, fields);
	ck_assert_int_eq(first.status, 200);
	ck_assert_int_eq(second.status, 200);
	bool same = first.length == second.length &&
		    memcmp(first.body, second.body, first.length) == 0;
	char *tag = field(&first, "ETag"), *other = field(&second, "ETag");
	ck_assert_int_eq(same, strcmp(tag, other) == 0);
	ck_assert(!same || same_head(&first, &second));
	free(tag);
	free(other);
	reply_release(&first);
	reply_release(&second);
	return same;
}

TEST(what_stands_is_given_again_field_by_field)
{
	static const char *const targets[] = {DAY_OF_HOURS, UNTIL_NOW,
		DAY_OF_HOURS "&by=mode&values=heat_kwh", DAY_OF_HOURS "&format=csv"};
	struct http *http = serve_kept();
	for (size_t i = 0; i < ARRAY_LEN(targets); i++) {
		ck_assert(again(http, targets[i], ""));
		ck_assert(again(http, targets[i], "Accept-Encoding: gzip\r\n"));
	}
	http_close(http);
}
END

TEST(nothing_is_kept_of_a_store_that_knows_no_generation)
{
	struct http *http = serve_kept();
	fake.generations = false;
	ck_assert(!again(http, DAY_OF_HOURS, ""));
	http_close(http);
}
END

	static char *
	printed(struct http *http, const char *target)
{
	cJSON *json = get_json(http, target, 200);
	char *text = cJSON_PrintUnformatted(json);
	cJSON_Delete(json);
	return text;
}

TEST(each_change_of_the_store_makes_it_anew)
{
	int64_t *const numbers[] = {&fake.generation.written, &fake.generation.outside,
		&fake.generation.pending, &fake.generation.pending_from};
	struct http *http = serve_kept();
	for (size_t i = 0; i < ARRAY_LEN(numbers); i++) {
		char *before = printed(http, DAY_OF_HOURS);
		heat_j += 1000000;
		*numbers[i] -= 1;
		char *now = printed(http, DAY_OF_HOURS);
		ck_assert_str_ne(now, before);
		free(before);
		free(now);
	}
	http_close(http);
}
END

	/* Asks, lets so many ms pass, and asks whether the answer stands. */
	static bool
	stands_after(const char *target, int64_t ms)
{
	struct http *http = serve_kept();
	struct reply_seen first = ask(http, "GET", target, "");
	heat_j += 1000000;
	clock_test_step(ms);
	struct reply_seen second = ask(http, "GET", target, "");
	bool same = strcmp(first.body, second.body) == 0;
	reply_release(&first);
	reply_release(&second);
	http_close(http);
	return same;
}

/* NOW_MS is half past the minute 14:00. */
TEST(the_clock_moves_what_now_means)
{
	ck_assert(stands_after(UNTIL_NOW, 29999));
	ck_assert(!stands_after(UNTIL_NOW, 30000));
	ck_assert(!stands_after(UNTIL_NOW, -30001));
	/* To 13:55 local: open for ten minutes, as to how long clients may keep it. */
#define TO_13_55 "/v1/energy?from=1767222000&to=1767876900&step=PT1H"
	ck_assert(stands_after(TO_13_55, 270000 - 1));
	ck_assert(!stands_after(TO_13_55, 270000));
	ck_assert(stands_after(DAY_OF_HOURS, 400 * MS_PER_DAY));
	/* A statement is of whole days: of today it ends now, not at the 13:00 that is
	 * named. */
#define STATEMENT "/v1/statement?from=1767222000&to="
	ck_assert(stands_after(STATEMENT "1767873600", 29999));
	ck_assert(!stands_after(STATEMENT "1767873600", 30000));
	ck_assert(!stands_after(STATEMENT "1767960000", 30000));
	ck_assert(stands_after(STATEMENT "1767826800", 400 * MS_PER_DAY));
}
END

TEST(an_open_answer_closes_with_its_fields)
{
	struct http *http = serve_kept();
	struct reply_seen reply = ask(http, "GET", TO_13_55, "");
	ck_assert(field_is(&reply, "Cache-Control", "private, max-age=30"));
	reply_release(&reply);
	clock_test_advance(270000);
	reply = ask(http, "GET", TO_13_55, "");
	ck_assert(field_is(&reply, "Cache-Control", "private, max-age=60"));
	reply_release(&reply);
	http_close(http);
}
END

TEST(a_client_that_has_it_hears_just_that)
{
	static const char *const fields[] = {"", "Accept-Encoding: gzip\r\n"};
	for (size_t i = 0; i < ARRAY_LEN(fields); i++) {
		struct http *http = serve_kept();
		struct reply_seen first = ask(http, "GET", DAY_OF_HOURS, fields[i]);
		char *tag = field(&first, "ETag");
		char *more = xasprintf("%sIf-None-Match: %s\r\n", fields[i], tag);
		fake.result = -EIO; /* a query would show */
		struct reply_seen second = ask(http, "GET", DAY_OF_HOURS, more);
		ck_assert_int_eq(second.status, 304);
		ck_assert_uint_eq(second.length, 0);
		ck_assert(field_is(&second, "ETag", tag));
		ck_assert(field_is(&second, "Cache-Control", "private, max-age=60"));
		ck_assert(field_is(&second, "Vary", "Accept, Accept-Encoding, Origin"));
		ck_assert(field_is(&second, "Content-Encoding", NULL));
		reply_release(&second);
		second = ask(http, "GET", DAY_OF_HOURS, "If-None-Match: \"other\"\r\n");
		ck_assert_int_eq(second.status, i == 0 ? 200 : 500);
		reply_release(&second);
		second = ask(http, "HEAD", DAY_OF_HOURS, fields[i]);
		ck_assert_int_eq(second.status, 200);
		ck_assert_uint_eq(second.length, 0);
		ck_assert(field_is(&second, "ETag", tag));
		fake.result = 0;
		reply_release(&first);
		reply_release(&second);
		free(tag);
		free(more);
		http_close(http);
	}
}
END

/* Whatever the answer varies with leads to another one. */
TEST(nobody_gets_what_another_asked_for)
{
	static const struct {
		const char *target, *fields, *type, *coding;
	} requests[] = {
		{DAY_OF_HOURS, "", "application/json", NULL},
		{DAY_OF_HOURS, "Accept: text/csv\r\n",
			"text/csv; charset=utf-8; header=present", NULL},
		{DAY_OF_HOURS, "Accept-Encoding: gzip\r\n", "application/json", "gzip"},
		{DAY_OF_HOURS, "Accept: text/csv\r\nAccept-Encoding: gzip\r\n",
			"text/csv; charset=utf-8; header=present", "gzip"},
		{DAY_OF_HOURS "&by=mode", "", "application/json", NULL},
	};
	struct http *http = serve_kept();
	char *tags[ARRAY_LEN(requests)];
	for (size_t round = 0; round < 2; round++)
		for (size_t i = 0; i < ARRAY_LEN(requests); i++) {
			struct reply_seen reply =
				ask(http, "GET", requests[i].target, requests[i].fields);
			ck_assert_int_eq(reply.status, 200);
			ck_assert(field_is(&reply, "Content-Type", requests[i].type));
			ck_assert(
				field_is(&reply, "Content-Encoding", requests[i].coding));
			char *tag = field(&reply, "ETag");
			for (size_t k = 0; round == 0 && k < i; k++)
				ck_assert_str_ne(tags[k], tag);
			if (round == 1) {
				ck_assert_str_eq(tags[i], tag);
				free(tags[i]);
			}
			tags[i] = tag;
			reply_release(&reply);
			heat_j += 1000000;
		}
	for (size_t i = 0; i < ARRAY_LEN(requests); i++)
		free(tags[i]);
	http_close(http);
}
END

TEST(a_problem_is_never_kept)
{
	struct http *http = serve_kept();
	fake.result = QUERY_TOO_SLOW;
	cJSON_Delete(get_json(http, DAY_OF_HOURS, 503));
	fake.result = 0;
	cJSON_Delete(get_json(http, DAY_OF_HOURS, 200));
	cJSON_Delete(get_json(http, DAY_OF_HOURS "&step=P2D", 400));
	cJSON_Delete(get_json(http, DAY_OF_HOURS "&step=P2D", 400));
	http_close(http);
}
END

TEST(another_configuration_begins_with_nothing)
{
	struct http *http = serve_kept();
	struct reply_seen first = ask(http, "GET", DAY_OF_HOURS, "");
	heat_j += 1000000;
	http_swap(http, &plant, PLANT_STORE);
	struct reply_seen second = ask(http, "GET", DAY_OF_HOURS, "");
	ck_assert_str_ne(first.body, second.body);
	reply_release(&first);
	reply_release(&second);
	http_close(http);
}
END

	/* The hour `i`, asked by an address of its own. */
	static char *
	hour(int i)
{
	return xasprintf("/v1/energy?from=%d&to=%d&step=PT1M&by=mode",
		1767222000 + 60 * i, 1767222000 + 60 * i + 3600);
}

/* More than are kept: the first are made anew, the last are not. */
TEST(what_was_not_asked_for_the_longest_goes)
{
	struct http *http = serve_kept();
	char *tags[40];
	for (int i = 0; i < 40; i++) {
		char *target = hour(i);
		struct reply_seen reply = ask(http, "GET", target, "");
		tags[i] = field(&reply, "ETag");
		reply_release(&reply);
		free(target);
	}
	heat_j += 1000000;
	for (int i = 39; i >= 0; i -= 39) {
		char *target = hour(i);
		struct reply_seen reply = ask(http, "GET", target, "");
		char *tag = field(&reply, "ETag");
		ck_assert_int_eq(strcmp(tag, tags[i]) == 0, i == 39);
		free(tag);
		reply_release(&reply);
		free(target);
	}
	for (int i = 0; i < 40; i++)
		free(tags[i]);
	http_close(http);
}
END

	/* Times and sums of many digits make a mebibyte. */
	static void
	large_rows(size_t i, struct energy_bucket *b)
{
	struct energy_sum *heating = &b->modes[MODE_HEATING];
	rows(i, b);
	heating->heat_bridged_j = heating->bridged_heat_j = heating->heat_j;
	heating->paired_heat_j = heating->paired_electricity_j = heating->heat_j;
	heating->bridged_electricity_j = heating->heat_j;
	for (size_t m = 0; m < 2; m++) {
		heating->meter_j[m] = heating->meter_spread_j[m] = heating->heat_j;
		heating->meter_bridged_j[m] = heating->heat_j;
		heating->meter_ms[m] = 3600000;
	}
}

TEST(what_is_too_large_is_made_anew)
{
	struct http *http = serve_kept();
	static const char large[] = "/v1/energy?from=1767222000&to=1767417600&step=PT1M";
	heat_j = INT64_C(20000000000000);
	fake.energy = large_rows;
	struct reply_seen reply = ask(http, "GET", large, "");
	ck_assert_int_eq(reply.status, 200);
	ck_assert_msg(reply.length > 1 << 20, "%zu", reply.length);
	reply_release(&reply);
	ck_assert(!again(http, large, ""));
	ck_assert(again(http, large, "Accept-Encoding: gzip\r\n")); /* small */
	http_close(http);
}
END

TESTS(what_stands_is_given_again_field_by_field,
	nothing_is_kept_of_a_store_that_knows_no_generation,
	each_change_of_the_store_makes_it_anew, the_clock_moves_what_now_means,
	an_open_answer_closes_with_its_fields, a_client_that_has_it_hears_just_that,
	nobody_gets_what_another_asked_for, a_problem_is_never_kept,
	another_configuration_begins_with_nothing,
	what_was_not_asked_for_the_longest_goes, what_is_too_large_is_made_anew)
