/*
 * The values that a client wants of /v1/series and /v1/energy: these and no others, equal
 * to what the whole answer has, and room for more rows.
 */
#include "http_energy.h"

static void hours(size_t i, struct energy_bucket *b)
{
	struct energy_sum *heating = &b->modes[MODE_HEATING];
	*heating = (struct energy_sum){.observed_ms = 3600000,
		.heat_j = 7200000 + (int64_t)i,
		.heat_ms = 3600000};
	heating->meter_j[0] = 1800000;
	heating->meter_ms[0] = 3600000;
	b->modes_seen = 1u << MODE_HEATING;
}

static int members(const cJSON *json, const char *path)
{
	return cJSON_GetArraySize(at(json, path));
}

static bool same(const cJSON *a, const cJSON *b, const char *path)
{
	return cJSON_Compare(at(a, path), at(b, path), true);
}

TEST(energy_has_the_columns_that_are_wanted)
{
	struct http *http = serve();
	cJSON *all = energy(http, "&by=mode", hours);
	cJSON *some = energy(
		http, "&by=mode&values=observed_s,heat_kwh,electricity_kwh", hours);
	ck_assert_int_eq(members(some, "columns"), 5);
	ck_assert_int_eq(members(some, "modes/heating"), 5);
	ck_assert_int_eq(members(some, "meters/unit"), 1);
	ck_assert(same(all, some, "columns/t"));
	ck_assert(same(all, some, "columns/heat_kwh"));
	ck_assert(same(all, some, "modes/heating/observed_s"));
	ck_assert(same(all, some, "meters/unit/electricity_kwh"));
	ck_assert(same(all, some, "total"));
	ck_assert(same(all, some, "units"));
	ck_assert_int_gt(members(all, "columns"), 15);
	cJSON_Delete(all);
	cJSON_Delete(some);
	http_close(http);
}
END

TEST(series_have_the_kinds_that_are_wanted)
{
	struct http *http = serve();
	cJSON *json = get_json(http,
		"/v1/series?channels=unit_power,valve&values=max,mean&" TWO_HOURS, 200);
	ck_assert_int_eq(members(json, "columns"), 5);
	ck_assert_ptr_nonnull(at(json, "columns/unit_power"));
	ck_assert_ptr_nonnull(at(json, "columns/unit_power_max"));
	ck_assert_ptr_nonnull(at(json, "columns/valve"));
	cJSON_Delete(json);
	json = get_json(
		http, "/v1/series?channels=unit_power&values=observed&" TWO_HOURS, 200);
	ck_assert_int_eq(members(json, "columns"), 3);
	ck_assert_ptr_nonnull(at(json, "columns/unit_power_observed_s"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(csv_has_them_alike)
{
	struct http *http = serve();
	fake.energy = hours;
	struct reply_seen reply = ask(http, "GET",
		"/v1/energy?" TWO_HOURS "&values=heat_kwh&format=csv&time=epoch", "");
	ck_assert_int_eq(reply.status, 200);
	ck_assert_ptr_nonnull(strstr(
		reply.body, "t [s],t_end [s],heat_kwh [kW.h]\r\n1767222000,1767225600,"));
	reply_release(&reply);
	http_close(http);
}
END

/* A day by minute and mode: refused in whole, but not what is wanted of it. */
TEST(few_values_leave_room_for_more_rows)
{
	struct http *http = serve();
	static const char day[] =
		"/v1/energy?from=1767222000&to=1767308400&step=PT1M&by=mode";
	cJSON *json = get_json(http, day, 400);
	ck_assert_str_eq(text_at(json, "parameter"), "step");
	cJSON_Delete(json);
	char *target = xasprintf("%s&values=observed_s", day);
	json = get_json(http, target, 200);
	ck_assert_int_eq(members(json, "columns/t"), 1440);
	cJSON_Delete(json);
	free(target);
	http_close(http);
}
END

TEST(what_is_no_value_is_refused_by_name)
{
	struct http *http = serve();
	static const struct {
		const char *target, *given, *detail;
	} rows[] = {
		{"/v1/energy?values=", "", "\"\" is none of these rows' values"},
		{"/v1/energy?values=heat_kwh,", "heat_kwh,",
			"\"\" is none of these rows' values"},
		{"/v1/energy?values=t", "t", "\"t\" is none of these rows' values"},
		{"/v1/energy?values=cop,cop", "cop,cop", "\"cop\" is named twice"},
		{"/v1/series?channels=valve&values=mean,median", "mean,median",
			"\"median\" is none of these rows' values"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		cJSON *json = get_json(http, rows[i].target, 400);
		ck_assert_str_eq(text_at(json, "parameter"), "values");
		ck_assert_str_eq(text_at(json, "given"), rows[i].given);
		ck_assert_str_eq(text_at(json, "detail"), rows[i].detail);
		ck_assert_int_ge(members(json, "allowed"), 4);
		cJSON_Delete(json);
	}
	http_close(http);
}
END

TEST(channels_say_which_boundaries_are_offered)
{
	struct http *http = serve();
	cJSON *json = get_json(http, "/v1/channels", 200);
	const cJSON *name;
	ck_assert_int_gt(members(json, "boundaries"), 0);
	cJSON_ArrayForEach(name, at(json, "boundaries"))
	{
		char *target = xasprintf("/v1/energy?" TWO_HOURS "&boundary=%s",
			cJSON_GetStringValue(name));
		for (char *p = target; (p = strchr(p, '+')) != NULL;) {
			*p = '\0';
			char *escaped = xasprintf("%s%%2B%s", target, p + 1);
			size_t at_plus = (size_t)(p - target);
			free(target);
			target = escaped;
			p = target + at_plus + 1;
		}
		cJSON *answer = get_json(http, target, 200);
		ck_assert_str_eq(text_at(answer, "boundary"), cJSON_GetStringValue(name));
		cJSON_Delete(answer);
		free(target);
	}
	ck_assert_ptr_nonnull(at(json, "plant"));
	cJSON_Delete(json);
	http_close(http);
}
END

TESTS(energy_has_the_columns_that_are_wanted, series_have_the_kinds_that_are_wanted,
	csv_has_them_alike, few_values_leave_room_for_more_rows,
	what_is_no_value_is_refused_by_name, channels_say_which_boundaries_are_offered)
