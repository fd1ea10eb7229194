/*
 * /v1/efficiency-map: its bins with their quotients, the season by own bins;
 * /v1/declared: steady heating beside declared points; what is said where something is
 * missing.
 *
 * Reference: hand-computed; band and Carnot by check_cop_curve; the answer's form by the
 * contract.
 */
#include "http_client.h"

#include <heatbook/cop_curve.h>

#define SPAN "from=1767222000&to=1767481200"
#define KWH  3.6e6

/* A bin of so many hours, heat and electricity in kWh; ideal: as the ideal machine. */
static struct evidence bin(enum mode mode, double outdoor_c, double flow_c, double hours,
	double heat_kwh, double electricity_kwh)
{
	double lift_k = flow_c - outdoor_c;
	struct evidence e = {.kind = EVIDENCE_CONDITIONS,
		.subject = mode,
		.minutes = llround(60.0 * hours),
		.values = {outdoor_c, flow_c, heat_kwh * KWH, electricity_kwh * KWH,
			heat_kwh * KWH / 5.0}};
	e.values[5] = mode == MODE_DEFROST ? MODE_HEATING
		      : lift_k < COP_LEAST_LIFT_K
			      ? (double)NAN
			      : heat_kwh * KWH / cop_carnot(flow_c, outdoor_c);
	return e;
}

static struct channel_config channels[5];
static struct meter_config meters[2];

/* The tests' plant with all that a map needs, and a source of that kind. A fork a test.
 */
static struct http *serve_of(enum source_kind source)
{
	memcpy(channels, plant_channels, sizeof(plant_channels));
	channels[3] = (struct channel_config){.name = (char[]){"outdoor_temperature"},
		.role = ROLE_OUTDOOR_TEMPERATURE,
		.dimension = DIMENSION_TEMPERATURE};
	channels[4] = (struct channel_config){.name = (char[]){"heat_power"},
		.role = ROLE_HEAT_POWER,
		.dimension = DIMENSION_POWER};
	memcpy(meters, plant_meters, sizeof(meters));
	meters[0].power_count = 1;
	meters[0].power[0] = 2;
	meters[0].limit_percent = 1.0;
	plant.meters = meters;
	plant.channels = channels;
	plant.channel_count = ARRAY_LEN(channels);
	plant.plant.source_kind = source;
	plant.plant.heat_source = HEAT_POWER;
	plant.plant.source_limit_percent = 5.0;
	return serve();
}

static void say(const struct evidence *items, size_t count)
{
	fake.conditions = items;
	fake.condition_count = count;
}

TEST(a_bin_has_its_sums_quotients_and_band)
{
	struct http *http = serve_of(SOURCE_AIR);
	const struct evidence items[] = {bin(MODE_HEATING, 2, 35, 10, 50, 14),
		bin(MODE_HOT_WATER, 2, 50, 1, 5, 2), bin(MODE_HEATING, 2, 35, 5, 25, 7),
		bin(MODE_DEFROST, 2, 35, 0.5, -3, 0.5),
		bin(MODE_HEATING, 20, 30, 1, 5, 1)};
	struct cop_band band = cop_band(33.0);
	say(items, ARRAY_LEN(items));
	cJSON *json = get_json(http, "/v1/efficiency-map?" SPAN, 200);
	ck_assert_str_eq(text_at(json, "columns/mode/0"), "heating");
	ck_assert_str_eq(text_at(json, "columns/mode/2"), "hot_water");
	ck_assert_double_eq(number_at(json, "columns/outdoor_c/0"), 2);
	ck_assert_double_eq(number_at(json, "columns/flow_c/0"), 35);
	ck_assert_double_eq(number_at(json, "columns/hours/0"), 15);
	ck_assert_double_eq(number_at(json, "columns/heat_kwh/0"), 75);
	ck_assert_double_eq(number_at(json, "columns/electricity_kwh/0"), 21);
	ck_assert_double_eq_tol(number_at(json, "columns/cop/0"), 75.0 / 21.0, 5.1e-7);
	/* JCGM 100, 4.3.7: limits over the root of three, k = 2 */
	ck_assert_double_eq_tol(number_at(json, "columns/cop_uncertainty/0"),
		2.0 * 75.0 / 21.0 * hypot(0.05, 0.01) / sqrt(3.0), 1e-6);
	ck_assert_double_eq_tol(number_at(json, "columns/second_law/0"),
		75.0 / 21.0 / cop_carnot(35.0, 2.0), 1e-6);
	ck_assert_double_eq_tol(
		number_at(json, "columns/band_least/0"), band.least, 1e-6);
	ck_assert_double_eq_tol(number_at(json, "columns/band_most/0"), band.most, 1e-6);
	ck_assert_double_eq(number_at(json, "columns/defrost_heat_kwh/0"), -3);
	ck_assert_double_eq_tol(
		number_at(json, "columns/cop_with_defrosts/0"), 72.0 / 21.5, 1e-6);
	ck_assert(null_at(json, "columns/second_law/1"));
	ck_assert(null_at(json, "columns/band_most/1"));
	ck_assert_double_eq(number_at(json, "evidence/heating_hours"), 16.5);
	ck_assert_double_eq_tol(
		number_at(json, "answer/heating_cop/value"), 80.0 / 22.0, 1e-6);
	ck_assert_double_lt(number_at(json, "answer/heating_cop/low"), 80.0 / 22.0);
	ck_assert_double_eq_tol(number_at(json, "answer/hot_water_cop/value"), 2.5, 1e-6);
	cJSON_Delete(json);
	http_close(http);
}
END

/* Of bins that hold 0.8 of the climate's heat a season is told; nothing is extrapolated. */
TEST(a_season_is_of_bins_that_count)
{
	struct http *http = serve_of(SOURCE_AIR);
	struct evidence items[27];
	size_t count = 0;
	for (int t = -5; t <= 15; t++)
		items[count++] = bin(MODE_HEATING, t, 35, 2, 10, t < 5 ? 4 : 2.5);
	items[count++] = bin(MODE_HEATING, -6, 35, 0.5, 10, 1); /* half an hour */
	say(items, count);
	cJSON *json = get_json(http, "/v1/efficiency-map?" SPAN, 200);
	const struct en14825_season *s = en14825_season(EN14825_AVERAGE);
	double heat = 0.0, electricity = 0.0, whole = 0.0;
	for (size_t i = 0; i < s->count; i++) {
		double part = s->bins[i].hours * en14825_load(s, s->bins[i].outdoor_c);
		whole += part;
		if (s->bins[i].outdoor_c < -5)
			continue;
		heat += part;
		electricity += part / (s->bins[i].outdoor_c < 5 ? 2.5 : 4.0);
	}
	ck_assert_double_eq_tol(number_at(json, "answer/season_by_own_bins/value"),
		heat / electricity, 1e-6);
	ck_assert_double_eq_tol(
		number_at(json, "evidence/climate_heat_share"), heat / whole, 1e-6);
	ck_assert_double_eq(number_at(json, "by_outdoor/counts/4"), 0);
	ck_assert_double_eq(number_at(json, "by_outdoor/counts/5"), 1);
	ck_assert_double_eq(number_at(json, "by_outdoor/reference_hours/10"), 240);
	cJSON_Delete(json);
	json = get_json(http, "/v1/efficiency-map?climate=colder&" SPAN, 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "by_outdoor/cop")), 38);
	ck_assert_str_eq(text_at(json, "evidence/climate"), "colder");
	ck_assert_ptr_null(at(json, "answer/season_by_own_bins"));
	ck_assert_ptr_nonnull(strstr(text_at(json, "missing/0"), "-22 to -6 °C outside"));
	cJSON_Delete(json);
	json = get_json(http, "/v1/efficiency-map?climate=mild&" SPAN, 400);
	ck_assert_ptr_nonnull(strstr(text_at(json, "detail"), "EN 14825"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(without_air_as_the_source_there_is_no_lift)
{
	struct http *http = serve_of(SOURCE_GROUND);
	const struct evidence items[] = {bin(MODE_HEATING, 2, 35, 10, 50, 10)};
	say(items, 1);
	cJSON *json = get_json(http, "/v1/efficiency-map?" SPAN, 200);
	ck_assert_double_eq(number_at(json, "columns/cop/0"), 5);
	ck_assert(null_at(json, "columns/second_law/0"));
	ck_assert(null_at(json, "columns/band_least/0"));
	ck_assert_ptr_null(at(json, "by_outdoor"));
	ck_assert_ptr_null(at(json, "answer/heating_second_law"));
	ck_assert_ptr_nonnull(strstr(text_at(json, "missing/0"), "the air outside as"));
	cJSON_Delete(json);
	plant.plant.source_kind = SOURCE_NOT_SAID;
	json = get_json(http, "/v1/efficiency-map?last=P9D", 200);
	ck_assert_double_gt(number_at(json, "columns/second_law/0"), 0);
	ck_assert_ptr_nonnull(
		strstr(text_at(json, "missing/1"), "source_kind of [plant]"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(what_is_missing_is_named)
{
	struct http *http = serve_of(SOURCE_AIR);
	cJSON *json = get_json(http, "/v1/efficiency-map?" SPAN, 200);
	ck_assert(null_at(json, "answer"));
	ck_assert_ptr_nonnull(strstr(text_at(json, "missing/0"), "days that are over"));
	cJSON_Delete(json);
	static const struct {
		int channel;
		const char *said;
	} cases[] = {{3, "a channel outdoor_temperature"},
		{0, "a channel flow_temperature"}, {4, "heat by the minute"}};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		enum role role = channels[cases[i].channel].role;
		channels[cases[i].channel].role = ROLE_PLAIN;
		char *target = xasprintf("/v1/efficiency-map?last=P%zuD", i + 1);
		json = get_json(http, target, 200);
		ck_assert(null_at(json, "answer"));
		ck_assert_ptr_nonnull(strstr(text_at(json, "missing/0"), cases[i].said));
		cJSON_Delete(json);
		free(target);
		channels[cases[i].channel].role = role;
	}
	meters[0].power_count = 0;
	json = get_json(http, "/v1/efficiency-map?last=P9D", 200);
	ck_assert_ptr_nonnull(
		strstr(text_at(json, "missing/0"), "a meter with power that feeds"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(rows_and_csv_hold_the_same)
{
	struct http *http = serve_of(SOURCE_AIR);
	const struct evidence items[] = {bin(MODE_HEATING, -3, 40, 10, 50, 16)};
	say(items, 1);
	cJSON *json = get_json(http, "/v1/efficiency-map?rows=yes&" SPAN, 200);
	ck_assert_str_eq(text_at(json, "rows/0/mode"), "heating");
	ck_assert_double_eq(number_at(json, "rows/0/cop"), 3.125);
	ck_assert_double_eq(number_at(json, "by_outdoor/7/heat_kwh"), 50);
	cJSON_Delete(json);
	struct reply_seen reply =
		ask(http, "GET", "/v1/efficiency-map?format=csv&" SPAN, "");
	ck_assert_int_eq(reply.status, 200);
	ck_assert_ptr_nonnull(strstr(reply.body, "mode,outdoor_c"));
	ck_assert_ptr_nonnull(strstr(reply.body, "\nheating,-3,40,10.00,50.0000000,"));
	reply_release(&reply);
	http_close(http);
}
END

	/* ---- /v1/declared ---- */

	static struct declared_config declared_points[] = {
		{.name = (char[]){"a2_w35"}, .outdoor_c = 2, .flow_c = 35, .cop = 3.5},
		{.name = (char[]){"a7_w35"},
			.outdoor_c = 7,
			.flow_c = 35,
			.cop = 4.5,
			.capacity_w = 8000}};

static struct evidence steady(double outdoor_c, double heat_kwh, double electricity_kwh)
{
	return (struct evidence){.kind = EVIDENCE_STEADY,
		.subject = MODE_HEATING,
		.minutes = 30,
		.values = {outdoor_c, 35.0, 5.0, heat_kwh * KWH, electricity_kwh * KWH,
			42.5}};
}

TEST(steady_heating_stands_beside_declared_points)
{
	struct http *http = serve_of(SOURCE_AIR);
	struct evidence items[7];
	plant.declared = declared_points;
	plant.declared_count = 2;
	for (int i = 0; i < 5; i++)
		items[i] = steady(7.0, 2.0, 0.5);
	items[5] = steady(2.0, 2.0, 0.6);
	items[6] = steady(4.5, 2.0, 0.5);
	say(items, 7);
	cJSON *json = get_json(http, "/v1/declared?" SPAN, 200);
	ck_assert_str_eq(text_at(json, "columns/point/1"), "a7_w35");
	ck_assert_double_eq(number_at(json, "columns/windows/1"), 5);
	ck_assert_double_eq(number_at(json, "columns/cop/1"), 4);
	ck_assert_double_eq(number_at(json, "columns/declared_cop/1"), 4.5);
	ck_assert_double_eq_tol(number_at(json, "columns/ratio/1"), 4.0 / 4.5, 1e-6);
	ck_assert_double_eq_tol(number_at(json, "columns/ratio_uncertainty/1"),
		2.0 * 4.0 / 4.5 * hypot(0.05, 0.01) / sqrt(3.0), 1e-6);
	ck_assert_double_eq(number_at(json, "columns/load_kw/1"), 4);
	ck_assert_double_eq(number_at(json, "columns/load_share/1"), 0.5);
	ck_assert_double_eq(number_at(json, "columns/frequency_hz/1"), 42.5);
	ck_assert_double_eq(number_at(json, "columns/enough/1"), 1);
	ck_assert_double_eq(number_at(json, "columns/enough/0"), 0);
	ck_assert(null_at(json, "columns/load_share/0"));
	ck_assert(null_at(json, "columns/capacity_kw/0"));
	ck_assert_double_eq_tol(
		number_at(json, "answer/ratio_a7_w35/value"), 4.0 / 4.5, 1e-6);
	ck_assert_ptr_null(at(json, "answer/ratio_a2_w35"));
	ck_assert_double_eq(number_at(json, "evidence/windows_between_points"), 1);
	ck_assert_double_eq(number_at(json, "evidence/windows"), 7);
	ck_assert_ptr_nonnull(strstr(text_at(json, "missing/0"),
		"a2_w35: 1 windows of steady heating, 30 minutes"));
	ck_assert_ptr_nonnull(
		strstr(text_at(json, "missing/1"), "capacity of [declared a2_w35]"));
	cJSON_Delete(json);
	json = get_json(http, "/v1/declared?rows=yes&" SPAN, 200);
	ck_assert_str_eq(text_at(json, "rows/0/point"), "a2_w35");
	cJSON_Delete(json);
	struct reply_seen reply = ask(http, "GET", "/v1/declared?format=csv&" SPAN, "");
	ck_assert_ptr_nonnull(strstr(reply.body, "\na7_w35,7.00,35.00,"));
	reply_release(&reply);
	http_close(http);
}
END

TEST(what_a_comparison_lacks_is_named)
{
	struct http *http = serve_of(SOURCE_GROUND);
	cJSON *json = get_json(http, "/v1/declared?" SPAN, 200);
	ck_assert(null_at(json, "answer"));
	ck_assert_ptr_nonnull(
		strstr(text_at(json, "missing/0"), "a section [declared NAME]"));
	ck_assert_ptr_nonnull(
		strstr(text_at(json, "missing/1"), "the air outside as the source"));
	cJSON_Delete(json);
	plant.declared = declared_points;
	plant.declared_count = 2;
	plant.plant.source_kind = SOURCE_NOT_SAID;
	json = get_json(http, "/v1/declared?last=P9D", 200);
	ck_assert_ptr_nonnull(strstr(text_at(json, "missing/0"), "source_kind of"));
	ck_assert_ptr_nonnull(strstr(text_at(json, "missing/2"), "a7_w35: 0 windows"));
	cJSON_Delete(json);
	http_close(http);
}
END

TESTS(a_bin_has_its_sums_quotients_and_band, a_season_is_of_bins_that_count,
	without_air_as_the_source_there_is_no_lift, what_is_missing_is_named,
	rows_and_csv_hold_the_same, steady_heating_stands_beside_declared_points,
	what_a_comparison_lacks_is_named)
