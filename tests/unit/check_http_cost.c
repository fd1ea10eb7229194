/*
 * /v1/cost: the frame, what is null and why, modes, meters, another source, what is
 * refused.
 *
 * References: by hand; a meter's limit of ±a enters as a/√3, k = 2 (JCGM 100:2008, 4.3.7
 * and 6.2: from memory).
 */
#include "http_client.h"

#define TWO_DAYS "from=1767222000&to=1767394800"
#define KWH      3600000

static char euro[] = "EUR";
static struct other_heat_config others[] = {{.name = (char[]){"oil_boiler"},
	.source = (char[]){"oil_boiler"},
	.dated = {INT64_MIN, INT64_MAX},
	.price = 0.1,
	.efficiency_percent = 80,
	.intensity_g = 250}};
static struct tariff_config tariffs[] = {{.name = (char[]){"basic"},
	.dated = {INT64_MIN, INT64_MAX},
	.price = 0.3,
	.price_channel = -1}};
static struct carbon_config carbons[] = {{.name = (char[]){"grid"},
	.dated = {INT64_MIN, INT64_MAX},
	.intensity_g = 400,
	.intensity_channel = -1}};

/* Ten kWh of the unit on each day, which give forty. */
static void ten(size_t i, struct energy_bucket *bucket)
{
	struct energy_sum *sum = &bucket->modes[MODE_HEATING];
	(void)i;
	bucket->modes_seen = 1u << MODE_HEATING;
	sum->observed_ms = sum->heat_ms = sum->paired_ms = MS_PER_DAY;
	sum->heat_j = sum->paired_heat_j = INT64_C(40) * KWH;
	sum->meter_j[0] = sum->paired_meter_j[0] = INT64_C(10) * KWH;
	sum->paired_electricity_j = INT64_C(10) * KWH;
	sum->meter_ms[0] = sum->meter_ms[1] = MS_PER_DAY;
}

/* The first day at 0.3, of the second nothing is known. */
static void first_day(size_t i, struct cost_bucket *bucket)
{
	const struct cost_sum sum = {10.0 * KWH, 3.0, 2.0 * KWH, 0.2, 10.0 * KWH, 4000.0};
	if (i > 0)
		return;
	cost_sum_add(&bucket->modes[MODE_HEATING], &sum);
	cost_sum_add(&bucket->paired[MODE_HEATING], &sum);
	cost_sum_add(&bucket->meters[0], &sum);
	bucket->paired_heat_j[MODE_HEATING] += 40.0 * KWH;
	bucket->carbon_heat_j[MODE_HEATING] += 40.0 * KWH;
	bucket->standing += 0.4;
	bucket->bridged.j += KWH;
	bucket->bridged.cost += 0.3;
	bucket->bridged_low += 0.2;
	bucket->bridged_high += 0.5;
	bucket->others[0].heat_j += 40.0 * KWH;
	bucket->others[0].cost += 5.0;
	bucket->others[0].own_cost += 3.0;
	bucket->others[0].carbon_heat_j += 40.0 * KWH;
	bucket->others[0].carbon_g += 12500.0;
	bucket->others[0].own_carbon_g += 4000.0;
}

static struct http *serve_priced(void)
{
	plant_meters[0].limit_percent = 3.0;
	plant_cost.site.currency = euro;
	plant_cost.site.import_channel = 2;
	plant_cost.tariffs = tariffs;
	plant_cost.tariff_count = 1;
	plant_cost.carbons = carbons;
	plant_cost.carbon_count = 1;
	plant_cost.others = others;
	plant_cost.other_count = 1;
	fake.energy = ten;
	fake.cost = first_day;
	fake.cost_days = (struct cost_answer){.other_count = 1, .days = 2};
	return serve();
}

TEST(each_day_is_told_beside_what_is_not_priced)
{
	struct http *http = serve_priced();
	cJSON *json = get_json(http, "/v1/cost?" TWO_DAYS, 200);
	double half = 3.0 * 2 * 0.03 / sqrt(3.0);
	ck_assert_str_eq(text_at(json, "currency"), "EUR");
	ck_assert_str_eq(text_at(json, "units/cost"), "{EUR}");
	ck_assert_str_eq(text_at(json, "units/price_paid"), "{EUR}/kW.h");
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "columns/t")), 2);
	ck_assert_double_eq(number_at(json, "columns/electricity_kwh/0"), 10);
	ck_assert_double_eq(number_at(json, "columns/cost/0"), 3);
	/* The meter's limit, and a kWh that cost 0.2 at least and 0.5 at most. */
	ck_assert_double_eq_tol(
		number_at(json, "columns/cost_low/0"), 3 - half - 0.1, 1e-4);
	ck_assert_double_eq_tol(
		number_at(json, "columns/cost_high/0"), 3 + half + 0.2, 1e-4);
	ck_assert_double_eq(number_at(json, "columns/price_paid/0"), 0.3);
	ck_assert_double_eq(number_at(json, "columns/own_electricity_kwh/0"), 2);
	ck_assert_double_eq(number_at(json, "columns/own_cost/0"), 0.2);
	ck_assert_double_eq(number_at(json, "columns/bridged_electricity_kwh/0"), 1);
	ck_assert_double_eq(number_at(json, "columns/standing_cost/0"), 0.4);
	ck_assert_double_eq(number_at(json, "columns/heat_cost/0"), 0.075);
	ck_assert_double_eq(number_at(json, "columns/carbon_kg/0"), 4);
	ck_assert_double_eq(number_at(json, "columns/heat_carbon_kg/0"), 0.1);
	ck_assert_double_eq(number_at(json, "columns/unpriced_electricity_kwh/0"), 0);
	ck_assert_double_eq(number_at(json, "columns/unpriced_electricity_kwh/1"), 10);
	ck_assert(null_at(json, "columns/cost/1"));
	ck_assert(null_at(json, "columns/cost_low/1"));
	ck_assert(null_at(json, "columns/price_paid/1"));
	ck_assert(null_at(json, "columns/heat_cost/1"));
	ck_assert(null_at(json, "columns/carbon_kg/1"));
	ck_assert_double_eq(number_at(json, "total/cost"), 3);
	ck_assert_double_eq(number_at(json, "total/electricity_kwh"), 20);
	ck_assert_double_eq(number_at(json, "total/unpriced_electricity_kwh"), 10);
	ck_assert_ptr_nonnull(
		strstr(text_at(json, "missing/0"), "the price of 10.000 kWh is not"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(the_same_heat_is_told_of_another_source)
{
	struct http *http = serve_priced();
	cJSON *json = get_json(http, "/v1/cost?" TWO_DAYS, 200);
	double electricity = 3.0 * 2 * 0.03 / sqrt(3.0);
	ck_assert_double_eq(
		number_at(json, "other_heat/oil_boiler/paired_heat_kwh/0"), 40);
	ck_assert_double_eq(number_at(json, "other_heat/oil_boiler/other_cost/0"), 5);
	ck_assert_double_eq(number_at(json, "other_heat/oil_boiler/saved/0"), 2);
	/* This plant's heat has no limits of error. */
	ck_assert_double_eq_tol(number_at(json, "other_heat/oil_boiler/saved_low/0"),
		2 - electricity, 1e-4);
	ck_assert_double_eq(
		number_at(json, "other_heat/oil_boiler/other_carbon_kg/0"), 12.5);
	ck_assert_double_eq(
		number_at(json, "other_heat/oil_boiler/saved_carbon_kg/0"), 8.5);
	ck_assert(null_at(json, "other_heat/oil_boiler/saved/1"));
	ck_assert_double_eq(number_at(json, "total/other_heat/oil_boiler/saved"), 2);
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(modes_meters_and_rows_have_their_part)
{
	struct http *http = serve_priced();
	cJSON *json = get_json(http, "/v1/cost?" TWO_DAYS "&by=mode&rows=yes", 200);
	ck_assert_double_eq(number_at(json, "rows/0/cost"), 3);
	ck_assert_double_eq(number_at(json, "modes/heating/0/cost"), 3);
	ck_assert_double_eq(number_at(json, "modes/heating/0/heat_cost"), 0.075);
	ck_assert(null_at(json, "modes/heating/1/cost"));
	ck_assert_ptr_null(at(json, "modes/heating/0/standing_cost"));
	ck_assert_double_eq(number_at(json, "meters/unit/0/cost"), 3);
	/* It took nothing, which cost nothing. */
	ck_assert_double_eq(number_at(json, "meters/immersion/1/cost"), 0);
	cJSON_Delete(json);
	struct reply_seen reply =
		ask(http, "GET", "/v1/cost?" TWO_DAYS "&format=csv", "");
	ck_assert_msg(strstr(reply.body, "cost [{EUR}]"), "%s", reply.body);
	ck_assert_ptr_nonnull(strstr(reply.body, "other_heat.oil_boiler.saved [{EUR}]"));
	reply_release(&reply);
	http_close(http);
}
END

	static void
	check_missing(const cJSON *json, const char *part)
{
	const cJSON *item;
	cJSON_ArrayForEach(
		item, at(json, "missing")) if (strstr(item->valuestring, part)) return;
	ck_abort_msg("nothing of '%s' is missing", part);
}

TEST(what_is_not_configured_is_missing_and_not_zero)
{
	struct http *http = serve_priced();
	plant_cost.tariff_count = plant_cost.carbon_count = plant_cost.other_count = 0;
	plant_cost.site.currency = NULL;
	plant_cost.site.import_channel = -1;
	fake.cost = NULL;
	cJSON *json = get_json(http, "/v1/cost?" TWO_DAYS, 200);
	ck_assert(null_at(json, "currency"));
	ck_assert(null_at(json, "total/cost"));
	ck_assert(null_at(json, "total/carbon_kg"));
	ck_assert(null_at(json, "total/own_electricity_kwh"));
	ck_assert_double_eq(number_at(json, "total/electricity_kwh"), 20);
	ck_assert_double_eq(number_at(json, "total/unpriced_electricity_kwh"), 20);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "other_heat")), 0);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "missing")), 3);
	check_missing(json, "sections [tariff NAME]");
	check_missing(json, "sections [carbon NAME]");
	check_missing(json, "[other_heat NAME]");
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(no_meter_is_said)
{
	struct http *http = serve_priced();
	plant.meter_count = 0;
	fake.energy = NULL;
	fake.cost = NULL;
	cJSON *json = get_json(http, "/v1/cost?" TWO_DAYS, 200);
	check_missing(json, "[meter NAME]");
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "meters")), 0);
	ck_assert(null_at(json, "total/cost"));
	ck_assert(null_at(json, "total/electricity_kwh"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(days_that_lack_are_counted)
{
	struct http *http = serve_priced();
	fake.cost_days = (struct cost_answer){.other_count = 1,
		.days = 9,
		.days_unpriced = 2,
		.days_left = 3,
		.days_gone = 4};
	cJSON *json = get_json(http, "/v1/cost?" TWO_DAYS, 200);
	check_missing(json, "2 of 9 days lie in no [tariff]");
	check_missing(json, "3 of 9 days are not worked out yet");
	check_missing(json, "the minutes of 4 days went for their age");
	ck_assert_double_eq(number_at(json, "evidence/days_to_be_worked_out"), 3);
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(steps_are_of_whole_days)
{
	struct http *http = serve_priced();
	cJSON *json = get_json(http, "/v1/cost?" TWO_DAYS "&step=PT1H", 400);
	ck_assert_ptr_nonnull(strstr(text_at(json, "detail"), "whole local days"));
	cJSON_Delete(json);
	json = get_json(http, "/v1/cost?from=1767261600&to=1767348000", 200);
	ck_assert_double_eq(number_at(json, "from"), 1767222000);
	ck_assert_double_eq(number_at(json, "to"), 1767394800);
	cJSON_Delete(json);
	json = get_json(http, "/v1/cost?" TWO_DAYS "&boundary=H1", 400);
	cJSON_Delete(json);
	http_close(http);
}
END

TESTS(each_day_is_told_beside_what_is_not_priced, the_same_heat_is_told_of_another_source,
	modes_meters_and_rows_have_their_part,
	what_is_not_configured_is_missing_and_not_zero, no_meter_is_said,
	days_that_lack_are_counted, steps_are_of_whole_days)
