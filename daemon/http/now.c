/*
 * /v1/now: the latest word of every channel and the current minute; /v1/channels: what is
 * configured. Both from the configuration and the daemon's memory, without the store.
 */
#include "basis.h"
#include "face.h"

#define CHANNEL_BYTES 128 /* about: for one that is asked often a buffer is not grown */

static const char *latest_state_name(enum latest_state state)
{
	switch (state) {
	case LATEST_FRESH:
		return "fresh";
	case LATEST_STALE:
		return "stale";
	case LATEST_NEVER:
		return "never";
	}
	return "never";
}

static const char *ucum_of(const struct channel_config *channel)
{
	return channel->states ? NULL : unit_own(channel->dimension)->ucum;
}

static void write_latest(struct json *json, const struct channel_config *channel,
	const struct latest *latest, int64_t now_ms)
{
	bool never = latest->state == LATEST_NEVER;
	json_object(json, channel->name);
	if (never)
		json_null(json, "value");
	else
		json_channel_value(json, "value", channel, latest->value);
	json_text(json, "unit", ucum_of(channel));
	if (never) {
		json_null(json, "t");
		json_null(json, "age_s");
	} else {
		json_seconds(json, "t", latest->t_ms);
		json_seconds(json, "age_s", now_ms - latest->t_ms);
	}
	json_text(json, "state", latest_state_name(latest->state));
	json_object_end(json);
}

void answer_now(struct http *http, const struct request *request, struct reply *reply)
{
	const struct config *config = http->config;
	struct live_state live = {0};
	struct json *json = &reply->body;
	(void)request; /* it has no parameters */
	http->live(LIVE_PRESENT, &live, http->context);
	buffer_reserve(&json->out, CHANNEL_BYTES * (8 + config->channel_count));
	json_object(json, NULL);
	json_text(json, "zone", config->plant.zone);
	json_seconds(json, "t", live.now_ms);
	json_object(json, "channels");
	for (size_t i = 0; i < config->channel_count; i++)
		write_latest(json, &config->channels[i], &live.channels[i], live.now_ms);
	json_object_end(json);
	json_object(json, "minute");
	json_number(json, "heat_w", live.heat_w, 0);
	json_number(json, "electricity_w", live.electricity_w, 0);
	json_text(json, "mode", live.mode < 0 ? NULL : mode_name((enum mode)live.mode));
	json_object_end(json);
	json_fluid(json, &config->plant);
	json_corrections(json, "corrections", config, CORRECTIONS_OF_ALL, live.now_ms,
		live.now_ms + 1);
	/* What it answers as electricity is of every meter. */
	const struct boundary all = {.needs = ~0u};
	json_estimates(json, config, &all, NULL);
	reply->cache_s = CACHE_ASK;
}

/* Channels whose configuration is given in so many milliseconds, -1 for none. */
static void write_seconds_or_null(struct json *json, const char *key, int64_t value_ms)
{
	if (value_ms < 0)
		json_null(json, key);
	else
		json_seconds(json, key, value_ms);
}

static void write_place(struct json *json, const struct config *config,
	const struct channel_config *channel)
{
	json_text(json, "topic", channel->topic);
	json_text(json, "pointer", channel->pointer);
	json_text(json, "each", channel->each);
	json_text(json, "senml", channel->senml);
	json_text(json, "source",
		channel->source < 0 ? NULL : config->sources[channel->source].name);
}

static void write_states(struct json *json, const struct channel_config *channel)
{
	if (!channel->states)
		return;
	json_array(json, "states");
	for (size_t i = 0; i < channel->state_count; i++)
		json_text(json, NULL, channel->states[i]);
	json_array_end(json);
}

static void write_channel(struct json *json, const struct config *config,
	const struct channel_config *channel, const struct latest *latest)
{
	json_object(json, channel->name);
	json_text(json, "role", role_name(channel->role));
	json_text(json, "unit", ucum_of(channel));
	if (channel->states)
		json_null(json, "resolution");
	else
		json_number(json, "resolution", 1.0 / unit_scale(channel->dimension),
			unit_decimals(channel->dimension));
	write_states(json, channel);
	write_place(json, config, channel);
	json_text(json, "time", channel->time == TIME_PAYLOAD ? "payload" : "arrival");
	json_bool(json, "extremes", channel->extremes);
	json_corrections(json, "corrections", config, (int)(channel - config->channels),
		INT64_MIN, INT64_MAX);
	write_seconds_or_null(json, "stale_after_s", channel->stale_after_ms);
	write_seconds_or_null(json, "interval_s", latest->interval_ms);
	json_object_end(json);
}

/* Those that the meters allow, narrowest first. */
static void write_boundaries(struct json *json, const struct config *config)
{
	struct boundary list[BOUNDARIES_MOST];
	size_t count = boundary_list(config, list);
	json_array(json, "boundaries");
	for (size_t i = 0; i < count; i++)
		json_text(json, NULL, list[i].name);
	json_array_end(json);
}

void answer_channels(
	struct http *http, const struct request *request, struct reply *reply)
{
	const struct config *config = http->config;
	struct live_state live = {0};
	struct json *json = &reply->body;
	(void)request; /* it has no parameters */
	http->live(LIVE_PRESENT, &live, http->context);
	json_object(json, NULL);
	json_text(json, "zone", config->plant.zone);
	json_text(json, "plant", config->plant.name);
	write_boundaries(json, config);
	json_object(json, "channels");
	for (size_t i = 0; i < config->channel_count; i++)
		write_channel(json, config, &config->channels[i], &live.channels[i]);
	json_object_end(json);
	reply->cache_s = CACHE_ASK;
}
