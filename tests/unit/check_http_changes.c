/*
 * /v1/changes: its frame, one change by its name, what is refused. What is compared is
 * held in check_changes.c and check_comparison.c.
 */
#include "house_days.h"
#include "http_client.h"

static struct change_config noted[] = {
	{.name = (char[]){"curve"}, .what = (char[]){"heating curve lowered"}},
	{.name = (char[]){"pump"}},
};

/* Changes on 20 November and 15 December; now is 8 January. */
static struct http *serve_changes(void)
{
	static struct channel_config channels[3];
	struct http *http = serve();
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	memcpy(channels, plant_channels, sizeof(channels));
	channels[1].role = ROLE_RETURN_TEMPERATURE;
	channels[2].role = ROLE_OUTDOOR_TEMPERATURE;
	plant.channels = channels;
	noted[0].at_ms = house_day_ms(50);
	noted[1].at_ms = house_day_ms(75);
	plant.changes = noted;
	plant.change_count = ARRAY_LEN(noted);
	return http;
}

static struct house *days_filled(void)
{
	struct house *house = house_new(&plant);
	house_fill(house, 99);
	for (size_t i = 0; i < house->days.count; i++) {
		house->day[i].whole.paired_ms = house->day[i].whole.ms;
		house->day[i].modes[MODE_HEATING].paired_heat_j =
			insight_space_heat_j(&house->day[i]);
		house->day[i].whole.paired_electricity_j = house->day[i].whole.heat_j / 3;
	}
	fake.days = &house->days;
	return house;
}

TEST(each_change_has_values_evidence_and_its_days)
{
	struct http *http = serve_changes();
	struct house *house = days_filled();
	fake.older = house->days.older = (struct older_days){.count = 5, .sealed = 2};
	cJSON *json = get_json(http, "/v1/changes?boundary=H2%2Bcirculation", 200);
	ck_assert_str_eq(text_at(json, "zone"), "Europe/Berlin");
	ck_assert_double_eq(number_at(json, "older_mapping_days"), 5);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "changes")), 2);
	ck_assert_str_eq(text_at(json, "changes/0/name"), "curve");
	ck_assert_str_eq(text_at(json, "changes/0/what"), "heating curve lowered");
	ck_assert(null_at(json, "changes/1/what"));
	ck_assert_double_eq(
		number_at(json, "changes/0/to"), number_at(json, "changes/1/at"));
	ck_assert_str_eq(
		text_at(json, "changes/0/evidence/verdict"), "no change can be shown");
	ck_assert_double_eq(number_at(json, "changes/0/evidence/before/days"), 49);
	ck_assert_str_eq(text_at(json, "changes/0/answer/heat_saving_kwh/unit"), "kW.h");
	ck_assert_double_lt(number_at(json, "changes/0/answer/heat_saving_kwh/low"), 0);
	ck_assert_double_gt(number_at(json, "changes/0/answer/heat_saving_kwh/high"), 0);
	/* No meter of the plant has power: its modes' electricity is not known. */
	ck_assert_ptr_null(at(json, "changes/0/answer/saving_kwh"));
	ck_assert(null_at(json, "changes/0/evidence/models/electricity"));
	/* The running sum ends at what heat did not save, as that begins at nothing. */
	const cJSON *sums =
		at(json, "changes/0/measured_less_predicted/columns/heat_sum_kwh");
	double last = cJSON_GetArrayItem(sums, cJSON_GetArraySize(sums) - 1)->valuedouble;
	ck_assert_double_eq_tol(
		last, -number_at(json, "changes/0/answer/heat_saving_kwh/value"), 0.01);
	cJSON_Delete(json);
	free(house);
	http_close(http);
}
END

TEST(one_change_is_asked_by_its_name)
{
	struct http *http = serve_changes();
	cJSON *json = get_json(http, "/v1/changes?change=pump", 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "changes")), 1);
	ck_assert_str_eq(text_at(json, "changes/0/name"), "pump");
	ck_assert(null_at(json, "changes/0/answer"));
	ck_assert_int_ge(cJSON_GetArraySize(at(json, "changes/0/missing")), 2);
	ck_assert_str_eq(
		text_at(json, "changes/0/evidence/verdict"), "not enough evidence");
	cJSON_Delete(json);
	json = get_json(http, "/v1/changes?change=boiler", 400);
	ck_assert_str_eq(text_at(json, "parameter"), "change");
	ck_assert_str_eq(text_at(json, "allowed/0"), "curve");
	cJSON_Delete(json);
	cJSON_Delete(get_json(http, "/v1/changes?boundary=H9", 400));
	cJSON_Delete(get_json(http, "/v1/changes?from=1767222000", 400));
	fake.result = QUERY_TOO_SLOW;
	cJSON_Delete(get_json(http, "/v1/changes", 503));
	http_close(http);
}
END

TEST(without_a_note_the_section_is_named)
{
	struct http *http = serve();
	cJSON *json = get_json(http, "/v1/changes", 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "changes")), 0);
	ck_assert_msg(strstr(text_at(json, "missing/0"), "[change NAME]") != NULL, "%s",
		text_at(json, "missing/0"));
	cJSON_Delete(json);
	http_close(http);
}
END

TESTS(each_change_has_values_evidence_and_its_days, one_change_is_asked_by_its_name,
	without_a_note_the_section_is_named)
