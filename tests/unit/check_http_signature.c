/*
 * /v1/signature: its frame, what it answers, what it refuses. The figures are held to
 * their references in check_change_point.c and check_signature.c.
 */
#include "house_days.h"
#include "http_client.h"

static struct house *answer_days(size_t count)
{
	struct house *house = house_new(&plant);
	house_fill(house, count);
	fake.days = &house->days;
	plant.plant.design_temperature_c = -9.0;
	plant.plant.design_capacity_w = (double)NAN;
	return house;
}

TEST(values_have_intervals_and_the_evidence_its_divisor)
{
	struct http *http = serve();
	struct house *house = answer_days(200);
	fake.older = (struct older_days){.count = 5, .sealed = 2};
	cJSON *json = get_json(http, "/v1/signature?points=yes", 200);
	ck_assert_str_eq(text_at(json, "zone"), "Europe/Berlin");
	ck_assert_double_eq(number_at(json, "version"), 42);
	ck_assert_str_eq(text_at(json, "fluid/name"), "water");
	ck_assert_double_eq_tol(
		number_at(json, "answer/heat_loss_w_per_k/value"), 200, 3);
	ck_assert_double_lt(number_at(json, "answer/heat_loss_w_per_k/low"), 200);
	ck_assert_double_gt(number_at(json, "answer/heat_loss_w_per_k/high"), 200);
	ck_assert_str_eq(text_at(json, "answer/heat_loss_w_per_k/unit"), "W/K");
	ck_assert_double_eq_tol(
		number_at(json, "answer/design_load_kw/value"), 4.8, 0.05);
	ck_assert_double_eq(number_at(json, "evidence/n"), 200);
	ck_assert_str_eq(text_at(json, "evidence/divisor"), "n - 3");
	ck_assert_str_eq(text_at(json, "evidence/model"), "change_point");
	ck_assert_double_eq_tol(number_at(json, "evidence/beyond_coldest_k"),
		number_at(json, "evidence/coldest_day/outdoor_c") + 9, 1e-3);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "evidence/points/fitted_kwh")), 200);
	cJSON_Delete(json);
	free(house);
	http_close(http);
}
END

TEST(points_come_where_they_are_asked_for)
{
	struct http *http = serve();
	struct house *house = answer_days(30);
	cJSON *json = get_json(http, "/v1/signature", 200);
	ck_assert_ptr_null(at(json, "evidence/points"));
	cJSON_Delete(json);
	json = get_json(http, "/v1/signature?points=maybe", 400);
	ck_assert_str_eq(text_at(json, "parameter"), "points");
	cJSON_Delete(json);
	free(house);
	http_close(http);
}
END

TEST(without_evidence_the_answer_is_null_and_says_what_is_missing)
{
	struct http *http = serve();
	struct house *house = answer_days(9);
	cJSON *json = get_json(http, "/v1/signature", 200);
	ck_assert(cJSON_IsNull(at(json, "answer")));
	ck_assert_int_ge(cJSON_GetArraySize(at(json, "missing")), 1);
	ck_assert_ptr_null(at(json, "evidence/model"));
	cJSON_Delete(json);
	fake.days = NULL;
	json = get_json(http, "/v1/signature", 200);
	ck_assert(cJSON_IsNull(at(json, "answer")));
	ck_assert(cJSON_IsNull(at(json, "evidence/coldest_day")));
	cJSON_Delete(json);
	free(house);
	http_close(http);
}
END

TEST(it_is_asked_of_a_year_unless_a_span_is_given)
{
	struct http *http = serve();
	cJSON_Delete(get_json(http, "/v1/signature", 200));
	ck_assert_int_eq(fake.last_ms, NOW_MS - NOW_MS % MS_PER_MIN);
	ck_assert_int_eq(fake.first_ms,
		calendar_day_start(calendar_add(calendar_date(NOW_MS), 0, 0, -364)));
	cJSON_Delete(get_json(http, "/v1/signature?from=1767222000&to=1767481200", 200));
	ck_assert_int_eq(fake.first_ms, DAY_1 * 1000);
	ck_assert_int_eq(fake.last_ms, (DAY_1 + 259200) * 1000);
	cJSON_Delete(get_json(http, "/v1/signature?base=15", 400));
	fake.result = QUERY_TOO_SLOW;
	cJSON_Delete(get_json(http, "/v1/signature", 503));
	http_close(http);
}
END

TESTS(values_have_intervals_and_the_evidence_its_divisor,
	points_come_where_they_are_asked_for,
	without_evidence_the_answer_is_null_and_says_what_is_missing,
	it_is_asked_of_a_year_unless_a_span_is_given)
