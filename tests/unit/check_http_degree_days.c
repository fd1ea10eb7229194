/*
 * /v1/degree-days: the frame, days and steps, what is missing, what is refused.
 *
 * References: degree_days.h by hand; 29 March 2026 has 23 hours in Berlin (tzdata).
 */
#include "http_client.h"

/* The outdoor temperature stands in for the first of the plant's channels. */
static struct http *serve_outdoor(void)
{
	plant_channels[0].role = ROLE_OUTDOOR_TEMPERATURE;
	plant.plant.degree_base_c = 15.5;
	return serve();
}

static cJSON *degree_days(struct http *http, const char *query, double (*outdoor)(size_t))
{
	char *target = xasprintf("/v1/degree-days?%s", query);
	fake.outdoor = outdoor;
	cJSON *json = get_json(http, target, 200);
	free(target);
	return json;
}

/* 5.5 °C and, on the third day, nothing. */
static double cold(size_t day)
{
	return day == 2 ? (double)NAN : 5.5;
}

#define FIVE_DAYS "from=1767222000&to=1767654000"

TEST(each_day_is_told_by_four_named_methods)
{
	static const struct {
		const char *column, *name;
		double base_c, kd;
	} rows[] = {{"integral_kd", "integral of minutes", 15.5, 10},
		{"daily_mean_kd", "daily mean", 15.5, 10},
		{"min_max_kd", "four cases of daily least and greatest", 15.5, 10},
		{"eurostat_kd", "Eurostat 18/15", 18, 12.5}};
	struct http *http = serve_outdoor();
	cJSON *json = degree_days(http, FIVE_DAYS, cold);
	ck_assert_str_eq(text_at(json, "zone"), "Europe/Berlin");
	ck_assert_double_eq(number_at(json, "version"), 42);
	ck_assert_double_eq(number_at(json, "base_c"), 15.5);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "columns/t")), 5);
	ck_assert_double_eq(number_at(json, "columns/t_end/0"), 1767222000 + 86400);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		char *name = xasprintf("methods/%s/name", rows[i].column);
		char *base = xasprintf("methods/%s/base_c", rows[i].column);
		char *first = xasprintf("columns/%s/0", rows[i].column);
		char *third = xasprintf("columns/%s/2", rows[i].column);
		char *total = xasprintf("total/%s", rows[i].column);
		char *unit = xasprintf("units/%s", rows[i].column);
		ck_assert_str_eq(text_at(json, name), rows[i].name);
		ck_assert_double_eq(number_at(json, base), rows[i].base_c);
		ck_assert_double_eq(number_at(json, first), rows[i].kd);
		ck_assert(null_at(json, third));
		ck_assert_double_eq(number_at(json, total), 4 * rows[i].kd);
		ck_assert_str_eq(text_at(json, unit), "K.d");
		char *const texts[] = {name, base, first, third, total, unit};
		for (size_t k = 0; k < ARRAY_LEN(texts); k++)
			free(texts[k]);
	}
	ck_assert_double_eq(number_at(json, "columns/missing_days/2"), 1);
	ck_assert_double_eq(number_at(json, "columns/days/2"), 0);
	ck_assert_double_eq(number_at(json, "total/days"), 4);
	ck_assert_double_eq(number_at(json, "total/missing_days"), 1);
	ck_assert_double_eq(number_at(json, "total/outdoor_c"), 5.5);
	ck_assert_ptr_null(at(json, "note"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(a_step_sums_the_days_that_are_known)
{
	struct http *http = serve_outdoor();
	/* Until 10 January; the first bucket is the week's rest, four days. */
	cJSON *json =
		degree_days(http, "from=1767222000&to=1767999600&step=P1W&base=10", cold);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "columns/t")), 2);
	ck_assert_double_eq(number_at(json, "columns/days/0"), 3);
	ck_assert_double_eq(number_at(json, "columns/missing_days/0"), 1);
	ck_assert_double_eq(number_at(json, "columns/integral_kd/0"), 13.5);
	ck_assert_double_eq(number_at(json, "columns/eurostat_kd/0"), 37.5);
	ck_assert_double_eq(number_at(json, "columns/days/1"), 5);
	ck_assert_double_eq(number_at(json, "methods/integral_kd/base_c"), 10);
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(days_are_whole_and_as_long_as_they_are)
{
	struct http *http = serve_outdoor();
	/* 28 March 10:00 to 29 March 13:00, summer time. */
	cJSON *json = degree_days(http, "from=1774688400&to=1774782000", cold);
	ck_assert_str_eq(
		text_at(json, "note"), "the span was widened to whole local days");
	ck_assert_double_eq(number_at(json, "from"), 1774652400);
	ck_assert_double_eq(number_at(json, "to"), 1774821600);
	ck_assert_double_eq(
		number_at(json, "columns/t_end/1") - number_at(json, "columns/t/1"),
		23 * 3600);
	ck_assert_double_eq_tol(
		number_at(json, "columns/integral_kd/1"), 10.0 * 23 / 24, 1e-4);
	ck_assert_double_eq(number_at(json, "columns/daily_mean_kd/1"), 10);
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(rows_come_as_csv_too)
{
	struct http *http = serve_outdoor();
	fake.outdoor = cold;
	struct reply_seen reply = ask(
		http, "GET", "/v1/degree-days?" FIVE_DAYS "&format=csv&base=15.5", "");
	ck_assert_int_eq(reply.status, 200);
	ck_assert_ptr_nonnull(strstr(reply.body,
		"integral_kd [K.d],daily_mean_kd [K.d],min_max_kd [K.d],eurostat_kd "
		"[K.d]"));
	ck_assert_ptr_nonnull(strstr(reply.body, "\r\n2026-01-03T00:00:00+01:00,2026-01-"
						 "04T00:00:00+01:00,0,1,0,,,,,,0\r\n"));
	reply_release(&reply);
	http_close(http);
}
END

/* From the second day's noon on. */
TEST(a_corrected_outdoor_temperature_is_named)
{
	struct correction_config corrections[] = {{.name = (char[]){"shaded"},
		.channel = 0,
		.factor = 1,
		.offset = -0.5,
		.from_ms = (DAY_1 + 129600) * 1000,
		.to_ms = (DAY_1 + 172800) * 1000}};
	struct http *http = serve_outdoor();
	plant.corrections = corrections;
	plant.correction_count = 1;
	cJSON *json = degree_days(http, FIVE_DAYS, cold);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "corrections")), 1);
	ck_assert_str_eq(text_at(json, "corrections/0/name"), "shaded");
	ck_assert(null_at(json, "columns/corrections/0"));
	ck_assert_str_eq(text_at(json, "columns/corrections/1"), "shaded");
	ck_assert(null_at(json, "columns/corrections/2"));
	cJSON_Delete(json);
	struct reply_seen reply =
		ask(http, "GET", "/v1/degree-days?" FIVE_DAYS "&format=csv", "");
	ck_assert_ptr_nonnull(strstr(reply.body, ",corrections\r\n"));
	ck_assert_ptr_nonnull(strstr(reply.body, ",shaded\r\n"));
	reply_release(&reply);
	plant.corrections = NULL;
	plant.correction_count = 0;
	http_close(http);
}
END

TEST(what_cannot_be_answered_is_refused)
{
	static const struct {
		const char *query, *parameter;
	} rows[] = {{"step=PT1H", "step"}, {"base=warm", "base"}, {"base=41", "base"},
		{"base=-21", "base"}, {"base=", "base"}, {"base=1e1", "base"},
		{"base=15.", "base"}, {"base=.5", "base"}, {"base=1.2.3", "base"},
		{"method=own", "method"}};
	struct http *http = serve_outdoor();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		char *target = xasprintf("/v1/degree-days?%s", rows[i].query);
		cJSON *json = get_json(http, target, 400);
		ck_assert_str_eq(text_at(json, "parameter"), rows[i].parameter);
		cJSON_Delete(json);
		free(target);
	}
	plant_channels[0].role = ROLE_FLOW_TEMPERATURE;
	cJSON *json = get_json(http, "/v1/degree-days", 404);
	ck_assert_ptr_nonnull(strstr(text_at(json, "detail"), "outdoor_temperature"));
	cJSON_Delete(json);
	http_close(http);
}
END

TESTS(each_day_is_told_by_four_named_methods, a_step_sums_the_days_that_are_known,
	days_are_whole_and_as_long_as_they_are, rows_come_as_csv_too,
	a_corrected_outdoor_temperature_is_named, what_cannot_be_answered_is_refused)
