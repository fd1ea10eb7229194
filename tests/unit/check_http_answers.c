/*
 * What the resources other than /v1/energy answer, and the span that row resources share.
 *
 * Outside: local days of Europe/Berlin (IANA zone database, as installed), RFC 3339 and
 * ISO 8601 forms, UCUM codes; all from memory.
 */
#include "http_client.h"

#define TWO_HOURS "from=1767222000&to=1767229200&step=PT1H"

TEST(times_are_taken_in_every_written_form)
{
	static const struct {
		const char *query;
		int64_t from_s, to_s;
		const char *note; /* part of it, or NULL */
	} rows[] = {
		{"from=1767222000&to=1767225600", DAY_1, DAY_1 + 3600, NULL},
		{"from=2026-01-01T00:00:00%2B01:00&to=2026-01-01T00:00:00Z", DAY_1,
			DAY_1 + 3600, NULL},
		{"from=2026-01-01T00:00:00+01:00&to=1767225600", DAY_1, DAY_1 + 3600,
			"from: "},
		{"from=2025-12-31T18:00:00-05:00&to=1767225600", DAY_1, DAY_1 + 3600,
			NULL},
		{"from=1767222059&to=1767225601", DAY_1, DAY_1 + 3600, "cut"},
		/* The last seven local days, up to the minute of now. */
		{"", 1767308400, 1767877200, NULL},
		{"to=2026-01-08T00:00:00%2B01:00", DAY_1, 1767826800, NULL},
		{"from=1767222000", DAY_1, 1767877200, NULL},
	};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		char *target = xasprintf("/v1/energy?%s", rows[i].query);
		cJSON *json = get_json(http, target, 200);
		const cJSON *note = at(json, "note");
		ck_assert_double_eq(number_at(json, "from"), (double)rows[i].from_s);
		ck_assert_double_eq(number_at(json, "to"), (double)rows[i].to_s);
		ck_assert_int_eq(fake.first_ms, rows[i].from_s * 1000);
		ck_assert_int_eq(fake.last_ms, rows[i].to_s * 1000);
		ck_assert_str_eq(text_at(json, "step"), "P1D");
		if (rows[i].note)
			ck_assert_ptr_nonnull(strstr(note->valuestring, rows[i].note));
		else
			ck_assert_ptr_null(note);
		cJSON_Delete(json);
		free(target);
	}
	http_close(http);
}
END

TEST(every_allowed_step_is_taken)
{
	static const char *const steps[] = {"PT1M", "PT60S", "PT90M", "PT1H", "PT24H",
		"P1D", "P7D", "P1W", "P1M", "P1Y"};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(steps); i++) {
		char *target = xasprintf("/v1/energy?"
					 "from=1767222000&to=1767229200&step=%s",
			steps[i]);
		cJSON *json = get_json(http, target, 200);
		ck_assert_str_eq(text_at(json, "step"), steps[i]);
		cJSON_Delete(json);
		free(target);
	}
	http_close(http);
}
END

	static double
	series_rows(size_t bucket, size_t column)
{
	if (bucket == 1)
		return NAN;
	return column == 1 ? 1.0 : 21.376;
}

TEST(series_answer_values_states_extremes_and_time)
{
	struct http *http = serve();
	fake.series = series_rows;
	cJSON *json = get_json(http,
		"/v1/series?channels=flow_temperature,valve,unit_power&" TWO_HOURS, 200);
	ck_assert_double_eq(number_at(json, "columns/flow_temperature/0"), 21.38);
	ck_assert(null_at(json, "columns/flow_temperature/1"));
	ck_assert_double_eq(
		number_at(json, "columns/flow_temperature_observed_s/0"), 59.5);
	ck_assert_double_eq(number_at(json, "columns/flow_temperature_observed_s/1"), 0);
	ck_assert_ptr_null(at(json, "columns/flow_temperature_min"));
	ck_assert_str_eq(text_at(json, "columns/valve/0"), "hot_water");
	ck_assert(null_at(json, "columns/valve/1"));
	ck_assert_ptr_null(at(json, "columns/valve_min"));
	ck_assert_double_eq(number_at(json, "columns/unit_power/0"), 21);
	ck_assert_double_eq(number_at(json, "columns/unit_power_min/0"), 20);
	ck_assert_double_eq(number_at(json, "columns/unit_power_max/0"), 22);
	ck_assert_str_eq(text_at(json, "units/flow_temperature"), "Cel");
	ck_assert_str_eq(text_at(json, "units/unit_power"), "W");
	ck_assert(null_at(json, "units/valve"));
	ck_assert_double_eq(number_at(json, "columns/t/0"), 1767222000);
	ck_assert_double_eq(number_at(json, "version"), 42);
	cJSON_Delete(json);
	http_close(http);
}
END

	/* Two of the pair's sensor, one of a series, with edges within and outside of
	 * what is asked. */
	static struct correction_config dated[] = {
		{.name = (char[]){"strap"},
			.channel = 0,
			.factor = 1.0,
			.offset = -0.4,
			.from_ms = (DAY_1 + 3600) * 1000,
			.to_ms = (DAY_1 + 7200) * 1000},
		{.name = (char[]){"later"},
			.channel = 0,
			.factor = 1.0,
			.offset = 0.2,
			.from_ms = (DAY_1 + 7200) * 1000,
			.to_ms = INT64_MAX},
		{.name = (char[]){"clamp"},
			.channel = 2,
			.factor = -1.5,
			.from_ms = 0,
			.to_ms = INT64_MAX},
};

TEST(every_answer_names_the_corrections_that_touch_it)
{
	struct http *http = serve();
	plant.corrections = dated;
	plant.correction_count = ARRAY_LEN(dated);
	fake.series = series_rows;
	cJSON *json = get_json(http, "/v1/energy?" TWO_HOURS, 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "corrections")), 1);
	ck_assert_str_eq(text_at(json, "corrections/0/name"), "strap");
	ck_assert_str_eq(text_at(json, "corrections/0/channel"), "flow_temperature");
	ck_assert_double_eq(number_at(json, "corrections/0/from"), DAY_1 + 3600);
	ck_assert_double_eq(number_at(json, "corrections/0/to"), DAY_1 + 7200);
	ck_assert_double_eq(number_at(json, "corrections/0/offset"), -0.4);
	ck_assert_double_eq(number_at(json, "corrections/0/factor"), 1);
	ck_assert_str_eq(text_at(json, "corrections/0/offset_unit"), "K");
	ck_assert_double_eq(number_at(json, "older_mapping_days"), 0);
	cJSON_Delete(json);

	json = get_json(http, "/v1/series?channels=valve,unit_power&" TWO_HOURS, 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "corrections/valve")), 0);
	ck_assert_str_eq(text_at(json, "corrections/unit_power/0/name"), "clamp");
	ck_assert_double_eq(number_at(json, "corrections/unit_power/0/factor"), -1.5);
	ck_assert_ptr_null(at(json, "corrections/flow_temperature"));
	cJSON_Delete(json);

	json = get_json(http, "/v1/channels", 200);
	ck_assert_int_eq(
		cJSON_GetArraySize(at(json, "channels/flow_temperature/corrections")), 2);
	ck_assert(null_at(json, "channels/flow_temperature/corrections/1/to"));
	cJSON_Delete(json);
	plant.corrections = NULL;
	plant.correction_count = 0;
	http_close(http);
}
END

TEST(now_tells_fresh_stale_and_never)
{
	struct http *http = serve();
	plant_latest[0] = (struct latest){LATEST_STALE, 35.125, NOW_MS - 400500, 20000};
	plant_latest[1] = (struct latest){LATEST_FRESH, 0, NOW_MS - 1000, -1};
	plant_latest[2] = (struct latest){LATEST_NEVER, 5, 0, -1};
	plant_live.heat_w = -1234.4;
	plant_live.mode = MODE_DEFROST;
	cJSON *json = get_json(http, "/v1/now", 200);
	ck_assert_double_eq(number_at(json, "t"), NOW_MS / 1000.0);
	ck_assert_double_eq(number_at(json, "channels/flow_temperature/value"), 35.13);
	ck_assert_str_eq(text_at(json, "channels/flow_temperature/unit"), "Cel");
	ck_assert_str_eq(text_at(json, "channels/flow_temperature/state"), "stale");
	ck_assert_double_eq(number_at(json, "channels/flow_temperature/age_s"), 400.5);
	ck_assert_str_eq(text_at(json, "channels/valve/value"), "heating");
	ck_assert_str_eq(text_at(json, "channels/valve/state"), "fresh");
	ck_assert(null_at(json, "channels/unit_power/value"));
	ck_assert(null_at(json, "channels/unit_power/t"));
	ck_assert_str_eq(text_at(json, "channels/unit_power/state"), "never");
	ck_assert_double_eq(number_at(json, "minute/heat_w"), -1234);
	ck_assert(null_at(json, "minute/electricity_w"));
	ck_assert_str_eq(text_at(json, "minute/mode"), "defrost");
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(channels_tell_what_is_configured)
{
	struct http *http = serve();
	plant_latest[0].interval_ms = 20000;
	plant_latest[1].interval_ms = -1;
	cJSON *json = get_json(http, "/v1/channels", 200);
	const cJSON *flow = at(json, "channels/flow_temperature");
	const cJSON *valve = at(json, "channels/valve");
	ck_assert_str_eq(text_at(flow, "role"), "flow_temperature");
	ck_assert_str_eq(text_at(flow, "topic"), "plant/unit");
	ck_assert_str_eq(text_at(flow, "pointer"), "/water/leaving");
	ck_assert_str_eq(text_at(flow, "source"), "plant");
	ck_assert_double_eq(number_at(flow, "resolution"), 0.01);
	ck_assert_double_eq(number_at(flow, "interval_s"), 20);
	ck_assert_double_eq(number_at(flow, "stale_after_s"), 300);
	ck_assert_str_eq(text_at(valve, "states/1"), "hot_water");
	ck_assert(null_at(valve, "unit"));
	ck_assert(null_at(valve, "pointer"));
	ck_assert(null_at(valve, "interval_s"));
	ck_assert(null_at(valve, "stale_after_s"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(health_is_200_and_ok_when_nothing_is_broken)
{
	struct http *http = serve();
	plant_live.bad = 7;
	plant_live.messages = 100;
	plant_live.repeated_keys = 3;
	plant_live.turn_ms_longest = 3.25;
	cJSON *json = get_json(http, "/v1/health", 200);
	ck_assert_str_eq(text_at(json, "status"), "ok");
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "broken")), 0);
	ck_assert_str_eq(text_at(json, "version"), HEATBOOK_VERSION);
	ck_assert_double_eq(number_at(json, "uptime_s"), 3600);
	ck_assert_str_eq(text_at(json, "broker/state"), "subscribed");
	ck_assert_double_eq(number_at(json, "messages/accepted"), 100);
	ck_assert_double_eq(number_at(json, "messages/bad"), 7);
	ck_assert_double_eq(number_at(json, "messages/repeated_keys"), 3);
	ck_assert_double_eq(number_at(json, "derivation/lag_s"), 29);
	ck_assert_double_eq(number_at(json, "store/last_commit"), 1767877130);
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(health_is_503_and_names_each_broken_limit)
{
	static const struct {
		const char *limit;
		struct live_state live;
	} rows[] = {
		{"broker", {.broker_state = "waiting",
				   .broker_cause = "connection refused"}},
		{"commit", {.commit_fault = "disk full"}},
		{"commit_interval", {.last_commit_ms = NOW_MS - 2000000}},
		{"tail", {.tail_bytes = 63000000}},
		{"lag", {.derived_until_ms = NOW_MS - 400000}},
		{"clock", {.clock_state = "behind closed minutes", .clock_broken = true}},
	};
	struct http *http = serve();
	const struct live_state good = plant_live;
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		const struct live_state *bad = &rows[i].live;
		plant_live = good;
		if (bad->broker_state) {
			plant_live.broker_state = bad->broker_state;
			plant_live.broker_cause = bad->broker_cause;
		}
		if (bad->commit_fault)
			plant_live.commit_fault = bad->commit_fault;
		if (bad->last_commit_ms)
			plant_live.last_commit_ms = bad->last_commit_ms;
		if (bad->tail_bytes)
			plant_live.tail_bytes = bad->tail_bytes;
		if (bad->clock_state) {
			plant_live.clock_state = bad->clock_state;
			plant_live.clock_broken = bad->clock_broken;
		}
		if (bad->derived_until_ms)
			plant_live.derived_until_ms = bad->derived_until_ms;
		cJSON *json = get_json(http, "/v1/health", 503);
		ck_assert_str_eq(text_at(json, "status"), "broken");
		ck_assert_int_eq(cJSON_GetArraySize(at(json, "broken")), 1);
		ck_assert_str_eq(text_at(json, "broken/0/limit"), rows[i].limit);
		cJSON_Delete(json);
	}
	http_close(http);
}
END

TEST(health_tells_what_the_clock_did)
{
	struct http *http = serve();
	plant_live.clock_state = "behind closed minutes";
	plant_live.clock_since_ms = NOW_MS - 5000;
	plant_live.clock_step_ms = -3600500;
	plant_live.clock_stepped_ms = NOW_MS - 4000;
	plant_live.clock_unsure_until_ms = NOW_MS + 60000;
	plant_live.clock_unsure = 3;
	plant_live.clock_broken = true;
	cJSON *json = get_json(http, "/v1/health", 503);
	ck_assert_str_eq(text_at(json, "clock/state"), "behind closed minutes");
	ck_assert_double_eq(number_at(json, "clock/since"), (NOW_MS - 5000) / 1000.0);
	ck_assert_double_eq(number_at(json, "clock/last_step/by_s"), -3600.5);
	ck_assert_double_eq(
		number_at(json, "clock/last_step/t"), (NOW_MS - 4000) / 1000.0);
	ck_assert_double_eq(
		number_at(json, "clock/unsure_until"), (NOW_MS + 60000) / 1000.0);
	ck_assert_double_eq(number_at(json, "clock/unsure"), 3);
	ck_assert_ptr_nonnull(strstr(text_at(json, "broken/0/detail"), "feed no row"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(nothing_is_overdue_while_messages_wait_for_the_clock)
{
	struct http *http = serve();
	plant_live.clock_state = "waiting to be set";
	plant_live.clock_held = 12;
	plant_live.last_commit_ms = NOW_MS - 2000000;
	plant_live.derived_until_ms = NOW_MS - 400000;
	cJSON *json = get_json(http, "/v1/health", 200);
	ck_assert_double_eq(number_at(json, "clock/held"), 12);
	ck_assert(null_at(json, "clock/last_step"));
	ck_assert(null_at(json, "clock/unsure_until"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(health_of_a_daemon_without_broker_is_ok)
{
	struct http *http = serve();
	plant.broker.host = NULL;
	plant_live.broker_state = "off";
	plant_live.last_message_ms = -1;
	plant_live.derived_until_ms = 0;
	plant_live.last_commit_ms = 0;
	cJSON *json = get_json(http, "/v1/health", 200);
	ck_assert_str_eq(text_at(json, "status"), "ok");
	ck_assert(null_at(json, "messages/last"));
	ck_assert(null_at(json, "store/last_commit"));
	cJSON_Delete(json);
	http_close(http);
}
END

TESTS(times_are_taken_in_every_written_form, every_allowed_step_is_taken, series_answer_values_states_extremes_and_time,
	every_answer_names_the_corrections_that_touch_it, now_tells_fresh_stale_and_never, channels_tell_what_is_configured, health_is_200_and_ok_when_nothing_is_broken, health_is_503_and_names_each_broken_limit, health_tells_what_the_clock_did, nothing_is_overdue_while_messages_wait_for_the_clock, health_of_a_daemon_without_broker_is_ok)
