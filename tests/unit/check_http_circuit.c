/*
 * /v1/circuit: its frame, its rows in both forms, what it refuses. The figures are held
 * to their references in check_circuit.c.
 */
#include "emitting_days.h"
#include "http_client.h"

static void put(struct insight_day *day, enum evidence_kind kind, int64_t minutes,
	double v0, double v1, double v2)
{
	struct evidence *row = emitting_row(day, kind, 0, minutes);
	row->values[0] = v0;
	row->values[1] = v1;
	row->values[2] = v2;
}

/* A top-up of half a bar on the 20th day. */
static struct emitting *answer_days(size_t count)
{
	struct emitting *e = emitting_new(emitting_house, 0);
	for (size_t i = 0; i < count; i++) {
		double wave = sin(0.7 * (double)i), water_c = 28.0 + 5.0 * wave;
		double bar = (i < 20 ? 1.1 : 1.6) + 0.006 * (water_c - 20.0);
		struct insight_day *day = emitting_day(e, 5.0 + 6.0 * wave);
		put(day, EVIDENCE_FLOW, 500, 17.5 + 0.02 * wave, 19.0, 40.0);
		put(day, EVIDENCE_PRESSURE, 1440, bar, water_c, bar);
		put(day, EVIDENCE_CYLINDER, i == 30 ? 9 : 0, i == 30 ? 60.1 : 48.0,
			1440.0, (double)NAN);
	}
	fake.days = &e->days;
	return e;
}

TEST(trends_top_ups_and_days_are_answered)
{
	struct http *http = serve();
	struct emitting *e = answer_days(40);
	cJSON *json = get_json(http, "/v1/circuit", 200);
	ck_assert_double_eq(number_at(json, "answer/top_ups/value"), 1);
	ck_assert_double_eq_tol(number_at(json, "answer/cold_pressure/value"), 1.6, 1e-3);
	ck_assert_str_eq(text_at(json, "answer/cold_pressure/unit"), "bar");
	ck_assert_double_eq_tol(number_at(json, "answer/heating_flow/value"), 17.5, 0.05);
	ck_assert_double_eq_tol(number_at(json, "evidence/top_ups/0/bar"), 0.5, 0.02);
	ck_assert_double_eq(number_at(json, "evidence/top_ups/0/t"),
		(double)e->day[20].start_ms / 1000.0);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "evidence/stretches")), 2);
	ck_assert_double_gt(number_at(json, "answer/hours_since_60/value"), 9.0 * 24.0);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "columns/pressure_bar")), 40);
	ck_assert_double_eq(number_at(json, "columns/minutes_at_60/30"), 9);
	ck_assert_str_eq(text_at(json, "units/cold_pressure_bar"), "bar");
	ck_assert_ptr_nonnull(strstr(text_at(json, "caution"), "no advice"));
	cJSON_Delete(json);
	json = get_json(http, "/v1/circuit?rows=yes", 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "rows")), 40);
	cJSON_Delete(json);
	http_close(http);
	emitting_free(e);
}
END

TEST(without_days_all_is_missing)
{
	struct http *http = serve();
	fake.days = NULL;
	cJSON *json = get_json(http, "/v1/circuit", 200);
	ck_assert(cJSON_IsNull(at(json, "answer")));
	ck_assert_int_ge(cJSON_GetArraySize(at(json, "missing")), 1);
	ck_assert(cJSON_IsNull(at(json, "evidence/last_at_60")));
	cJSON_Delete(json);
	cJSON_Delete(get_json(http, "/v1/circuit?by=1", 400));
	fake.result = QUERY_TOO_SLOW;
	cJSON_Delete(get_json(http, "/v1/circuit", 503));
	fake.result = 0;
	http_close(http);
}
END

TESTS(trends_top_ups_and_days_are_answered, without_days_all_is_missing)
