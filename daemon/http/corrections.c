/*
 * Dated corrections in answers: whatever they touch names them.
 */
#include "face.h"

#include <heatbook/correction.h>

#define CORRECTION_DECIMALS 6

static void write_correction(
	struct json *json, const struct config *config, const struct correction_config *c)
{
	const struct channel_config *channel = &config->channels[c->channel];
	enum dimension dimension = channel->dimension == DIMENSION_TEMPERATURE
					   ? DIMENSION_TEMPERATURE_DIFFERENCE
					   : channel->dimension;
	json_object(json, NULL);
	json_text(json, "name", c->name);
	json_text(json, "channel", channel->name);
	json_seconds(json, "from", c->from_ms);
	if (c->to_ms == INT64_MAX)
		json_null(json, "to");
	else
		json_seconds(json, "to", c->to_ms);
	json_number(json, "factor", c->factor, CORRECTION_DECIMALS);
	json_number(json, "offset", c->offset, CORRECTION_DECIMALS);
	json_text(json, "offset_unit", unit_own(dimension)->ucum);
	json_object_end(json);
}

void json_corrections(struct json *json, const char *key, const struct config *config,
	int channel, int64_t from_ms, int64_t to_ms)
{
	json_array(json, key);
	for (size_t i = 0; i < config->correction_count; i++) {
		const struct correction_config *c = &config->corrections[i];
		bool asked = channel == CORRECTIONS_OF_ACCOUNTS
				     ? correction_accounts(config, c)
				     : c->channel == channel;
		if (asked && correction_touches(c, from_ms, to_ms))
			write_correction(json, config, c);
	}
	json_array_end(json);
}
