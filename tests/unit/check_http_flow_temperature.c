/*
 * /v1/flow-temperature: its frame, its rows in both forms, what it refuses. The figures
 * are held to their laws in check_flow_temperature.c.
 */
#include "emitting_days.h"
#include "http_client.h"

static struct emitting *answer_days(size_t count)
{
	struct emitting *e = emitting_new(emitting_house, 0);
	emitting_fill(e, &emitting_usual, count);
	fake.days = &e->days;
	return e;
}

static void done(struct http *http, struct emitting *e)
{
	http_close(http);
	emitting_free(e);
}

TEST(rows_are_lowerings_and_the_answer_is_of_one)
{
	struct http *http = serve();
	struct emitting *e = answer_days(40);
	cJSON *json = get_json(http, "/v1/flow-temperature", 200);
	ck_assert_str_eq(text_at(json, "zone"), "Europe/Berlin");
	ck_assert_double_eq(number_at(json, "from"), (double)e->days.from_ms / 1000.0);
	ck_assert_double_eq(number_at(json, "evidence/days"), 40);
	ck_assert_double_eq(number_at(json, "evidence/heating_days"), 40);
	ck_assert_double_eq(number_at(json, "evidence/emitters/output_w/value"), 166.0);
	ck_assert_str_eq(text_at(json, "units/saving_kwh"), "kW.h");
	ck_assert_ptr_nonnull(strstr(text_at(json, "caution"), "question of health"));
	for (int i = 0; i < 10; i++) {
		char path[64];
		(void)snprintf(path, sizeof(path), "columns/by_k/%d", i);
		ck_assert_double_eq(number_at(json, path), i + 1);
		(void)snprintf(path, sizeof(path), "columns/saving_percent_low/%d", i);
		double low = number_at(json, path);
		(void)snprintf(path, sizeof(path), "columns/saving_percent/%d", i);
		ck_assert_double_le(low, number_at(json, path));
	}
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "columns/by_k")), 10);
	cJSON_Delete(json);
	done(http, e);
}
END

TEST(lowerings_are_those_asked_for)
{
	struct http *http = serve();
	struct emitting *e = answer_days(40);
	cJSON *json = get_json(http, "/v1/flow-temperature?by=2.5,1&rows=yes", 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "rows")), 2);
	ck_assert_double_eq(number_at(json, "rows/0/by_k"), 2.5);
	ck_assert_double_eq(number_at(json, "rows/1/by_k"), 1);
	ck_assert_double_eq(number_at(json, "answer/lowering/value"), 2.5);
	ck_assert_double_eq_tol(number_at(json, "answer/saving/value"),
		number_at(json, "rows/0/saving_kwh"), 0.051);
	cJSON_Delete(json);
	done(http, e);
}
END

TEST(what_is_no_lowering_is_refused_with_what_is)
{
	static const char *const wrong[] = {"0", "-1", "21", "x", "", "1,", "1,,2",
		"1,2,3,4,5,6,7,8,9,10,11", "1;2",
		"0.00000000000000000000000000000000001"};
	struct http *http = serve();
	struct emitting *e = answer_days(20);
	for (size_t i = 0; i < ARRAY_LEN(wrong); i++) {
		char *path = xasprintf("/v1/flow-temperature?by=%s", wrong[i]);
		cJSON *json = get_json(http, path, 400);
		ck_assert_str_eq(text_at(json, "parameter"), "by");
		ck_assert_int_eq(cJSON_GetArraySize(at(json, "allowed")), 2);
		cJSON_Delete(json);
		free(path);
	}
	done(http, e);
}
END

TEST(without_evidence_there_is_no_answer_and_no_row)
{
	struct http *http = serve();
	struct emitting *e = answer_days(13);
	cJSON *json = get_json(http, "/v1/flow-temperature", 200);
	ck_assert(cJSON_IsNull(at(json, "answer")));
	ck_assert_int_ge(cJSON_GetArraySize(at(json, "missing")), 1);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "columns/by_k")), 0);
	ck_assert(cJSON_IsNull(at(json, "evidence/emitters/output_w/value")));
	cJSON_Delete(json);
	fake.days = NULL;
	json = get_json(http, "/v1/flow-temperature", 200);
	ck_assert(cJSON_IsNull(at(json, "answer")));
	ck_assert_double_eq(number_at(json, "evidence/heating_days"), 0);
	cJSON_Delete(json);
	fake.result = QUERY_TOO_SLOW;
	cJSON_Delete(get_json(http, "/v1/flow-temperature", 503));
	fake.result = 0;
	done(http, e);
}
END

TESTS(rows_are_lowerings_and_the_answer_is_of_one, lowerings_are_those_asked_for,
	what_is_no_lowering_is_refused_with_what_is,
	without_evidence_there_is_no_answer_and_no_row)
