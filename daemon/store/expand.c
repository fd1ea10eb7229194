/*
 * Repeats parts of a statement for each channel or meter: `{numbers|, c_$}` becomes
 * `, c_flow_temperature, c_return_temperature…`. Names come from the configuration, whose
 * pattern ([a-z][a-z0-9_]*) leaves nothing to quote.
 */
#include "database.h"

#include <assert.h>
#include <string.h>

/* `$` is the name; `@` the stem of the columns that hold its energy: heat's came before
 * any meter's. */
static void add_named(
	struct buffer *out, const char *text, size_t length, const char *name)
{
	for (size_t i = 0; i < length; i++) {
		if (text[i] == '$' && name)
			buffer_add_text(out, name);
		else if (text[i] == '@' && name && strcmp(name, COUNTED_HEAT_NAME) == 0)
			buffer_add_text(out, "heat");
		else if (text[i] == '@' && name)
			buffer_addf(out, "e_%s", name);
		else
			buffer_add(out, text + i, 1);
	}
}

static bool wanted(const char *kind, size_t length, const struct channel_config *channel)
{
	if (length == 8 && memcmp(kind, "channels", 8) == 0)
		return true;
	if (length == 7 && memcmp(kind, "numbers", 7) == 0)
		return channel->map_count == 0;
	if (length == 6 && memcmp(kind, "states", 6) == 0)
		return channel->map_count > 0;
	assert(length == 8 && memcmp(kind, "extremes", 8) == 0);
	return channel->extremes;
}

static void repeat(const struct config *config, const char *kind, size_t kind_length,
	const char *text, size_t length, struct buffer *out)
{
	if (kind_length == 6 && memcmp(kind, "meters", 6) == 0) {
		for (size_t m = 0; m < config->meter_count; m++)
			add_named(out, text, length, config->meters[m].name);
		return;
	}
	if (kind_length == 11 && memcmp(kind, "differences", 11) == 0) {
		for (size_t m = 0; m < config->meter_count; m++)
			if (config->meters[m].difference)
				add_named(out, text, length, config->meters[m].name);
		return;
	}
	if (kind_length == 8 && memcmp(kind, "counting", 8) == 0) {
		for (size_t q = 0; q < COUNTED_MOST; q++)
			if (config_is_laid(config, q))
				add_named(out, text, length,
					config_counted_name(config, q));
		return;
	}
	for (size_t c = 0; c < config->channel_count; c++)
		if (wanted(kind, kind_length, &config->channels[c]))
			add_named(out, text, length, config->channels[c].name);
}

void sql_expand(
	const struct config *config, enum sql_id id, const char *name, struct buffer *out)
{
	const char *text = sql_blocks[id].text;

	buffer_reset(out);
	for (;;) {
		const char *open = strchr(text, '{');
		if (!open) {
			add_named(out, text, strlen(text), name);
			return;
		}
		const char *bar = strchr(open, '|');
		const char *close = bar ? strchr(bar, '}') : NULL;
		assert(bar && close);
		add_named(out, text, (size_t)(open - text), name);
		repeat(config, open + 1, (size_t)(bar - open - 1), bar + 1,
			(size_t)(close - bar - 1), out);
		text = close + 1;
	}
}
