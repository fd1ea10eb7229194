/*
 * A plant, the HTTP face over a fake store, and a client that asks it.
 */
#ifndef HTTP_CLIENT_H
#define HTTP_CLIENT_H

#include "http_asked.h"
#include "schema.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>

#include "fake_store.h"

#include <cjson/cJSON.h>

#define NOW_MS (INT64_C(1767877230) * 1000) /* 2026-01-08T13:00:30Z, 14:00:30 local */
#define DAY_1  INT64_C(1767222000)          /* 2026-01-01T00:00:00+01:00 */

static char *valve_states[] = {(char[]){"heating"}, (char[]){"hot_water"}};

static struct channel_config plant_channels[] = {
	{.name = (char[]){"flow_temperature"},
		.role = ROLE_FLOW_TEMPERATURE,
		.topic = (char[]){"plant/unit"},
		.pointer = (char[]){"/water/leaving"},
		.dimension = DIMENSION_TEMPERATURE,
		.stale_after_ms = 300000},
	{.name = (char[]){"valve"},
		.role = ROLE_VALVE,
		.topic = (char[]){"plant/valve"},
		.dimension = DIMENSION_STATE,
		.states = valve_states,
		.state_count = 2,
		.stale_after_ms = -1},
	{.name = (char[]){"unit_power"},
		.topic = (char[]){"house/meter/1/power"},
		.dimension = DIMENSION_POWER,
		.stale_after_ms = -1,
		.extremes = true},
};

static struct source_config plant_sources[] = {{.name = (char[]){"plant"}}};

static struct meter_config plant_meters[] = {
	{.name = (char[]){"unit"},
		.feeds = DEVICE_COMPRESSOR | DEVICE_CIRCULATION,
		.serves = DEVICE_COMPRESSOR | DEVICE_CIRCULATION,
		.less = -1},
	{.name = (char[]){"immersion"},
		.feeds = DEVICE_IMMERSION,
		.serves = DEVICE_IMMERSION,
		.less = -1},
};

static struct cost_config plant_cost = {
	.site = {.import_channel = -1, .export_channel = -1, .generation_channel = -1}};

static struct config plant = {
	.cost = &plant_cost,
	.plant = {.name = (char[]){"Demo house"}, .zone = (char[]){"Europe/Berlin"}},
	.broker = {.host = (char[]){"127.0.0.1"}, .port = 1883},
	.channels = plant_channels,
	.channel_count = ARRAY_LEN(plant_channels),
	.sources = plant_sources,
	.source_count = ARRAY_LEN(plant_sources),
	.meters = plant_meters,
	.meter_count = ARRAY_LEN(plant_meters),
	.store = {.commit_interval_ms = 300000},
	.http = {.address = (char[]){"127.0.0.1"},
		.port = 0,
		.connections = 32,
		.connections_per_client = 16,
		.streams = 8,
		.requests_per_client = 600},
};

/* The fake store is the configuration itself. */
#define PLANT_STORE ((struct store *)(void *)&plant)

static struct latest plant_latest[ARRAY_LEN(plant_channels)];
static struct live_state plant_live;

static inline void fill_live(enum live_part part, struct live_state *ret, void *context)
{
	(void)context;
	*ret = plant_live;
	if (part == LIVE_ALL)
		return;
	/* What only a store could tell is not asked for: it must not be answered. */
	ret->store_bytes = ret->journal_bytes = -1;
	ret->dirty_days = ret->schema = -1;
}

static inline struct http *serve(void)
{
	struct http *http = NULL;
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	clock_test_start(NOW_MS, 1000000);
	fake.version = 42;
	plant_live = (struct live_state){.now_ms = NOW_MS,
		.channels = plant_latest,
		.heat_w = NAN,
		.electricity_w = NAN,
		.mode = -1,
		.started_ms = NOW_MS - 3600000,
		.broker_state = "subscribed",
		.broker_cause = "",
		.last_message_ms = NOW_MS - 1000,
		.derived_until_ms = NOW_MS - 30000,
		.last_commit_ms = NOW_MS - 100000,
		.commit_fault = "",
		.tail_bound_bytes = 64000000};
	ck_assert_int_eq(http_open(&plant, PLANT_STORE, fill_live, NULL, &http), 0);
	return http;
}

/* What /openapi.json answers, asked once; it stays. */
static inline const cJSON *contract_of(struct http *http)
{
	static cJSON *contract;
	if (!contract) {
		struct reply_seen reply = ask(http, "GET", "/openapi.json", "");
		ck_assert_int_eq(reply.status, 200);
		contract = cJSON_Parse(reply.body);
		ck_assert_ptr_nonnull(contract);
		reply_release(&reply);
	}
	return contract;
}

/* Every answer is held against the contract. */
static inline void check_contract(
	struct http *http, const char *target, int status, const cJSON *json)
{
	const cJSON *contract = contract_of(http);
	struct schema_fault fault = {""};
	const cJSON *schema = schema_of_answer(contract, target, status);
	bool fits = schema_fits(contract, schema, json, "", &fault);
	ck_assert_msg(fits, "%s: not as /openapi.json says: %s", target, fault.text);
}

/* For log_set_handler(): the last error that was logged. */
static char last_line[1000];
static inline void keep_line(enum log_level level, const char *line, void *context)
{
	(void)context;
	if (level == LOG_LEVEL_ERROR)
		(void)snprintf(last_line, sizeof(last_line), "%s", line);
}

/* The JSON of a GET, to be deleted; the status must be as expected. */
static inline cJSON *get_json(struct http *http, const char *target, int status)
{
	struct reply_seen reply =
		ask(http, "GET", target, "Accept: application/json\r\n");
	ck_assert_msg(
		reply.status == status, "%s: %d %s", target, reply.status, reply.body);
	cJSON *json = cJSON_Parse(reply.body);
	ck_assert_msg(json != NULL, "%s: no JSON: %s", target, reply.body);
	ck_assert(field_is(&reply, "Content-Type",
		status == 200 || cJSON_GetObjectItem(json, "broken")
			? "application/json"
			: "application/problem+json"));
	reply_release(&reply);
	check_contract(http, target, status, json);
	return json;
}

#endif
