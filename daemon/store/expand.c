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

static bool is(const char *kind, size_t length, const char *name)
{
	return length == strlen(name) && memcmp(kind, name, length) == 0;
}

static bool wanted(const char *kind, size_t length, const struct channel_config *channel)
{
	if (is(kind, length, "channels") || is(kind, length, "asked"))
		return true;
	if (is(kind, length, "numbers"))
		return channel->map_count == 0;
	if (is(kind, length, "states"))
		return channel->map_count > 0;
	assert(is(kind, length, "extremes") || is(kind, length, "asked_extremes"));
	return channel->extremes;
}

/* The text's parts are repeated for these, in this order; without them for all. */
struct asked {
	const int *channels;
	size_t count;
};

static void repeat_channels(const struct config *config, const struct asked *asked,
	const char *kind, size_t kind_length, const char *text, size_t length,
	struct buffer *out)
{
	bool some = asked && strncmp(kind, "asked", 5) == 0;
	size_t count = some ? asked->count : config->channel_count;
	for (size_t i = 0; i < count; i++) {
		const struct channel_config *channel =
			&config->channels[some ? (size_t)asked->channels[i] : i];
		if (wanted(kind, kind_length, channel))
			add_named(out, text, length, channel->name);
	}
}

static void repeat(const struct config *config, const struct asked *asked,
	const char *kind, size_t kind_length, const char *text, size_t length,
	struct buffer *out)
{
	if (is(kind, kind_length, "meters")) {
		for (size_t m = 0; m < config->meter_count; m++)
			add_named(out, text, length, config->meters[m].name);
		return;
	}
	if (is(kind, kind_length, "differences")) {
		for (size_t m = 0; m < config->meter_count; m++)
			if (config->meters[m].difference)
				add_named(out, text, length, config->meters[m].name);
		return;
	}
	if (is(kind, kind_length, "counting")) {
		for (size_t q = 0; q < COUNTED_MOST; q++)
			if (config_is_laid(config, q))
				add_named(out, text, length,
					config_counted_name(config, q));
		return;
	}
	repeat_channels(config, asked, kind, kind_length, text, length, out);
}

static void expand(const struct config *config, enum sql_id id, const char *name,
	const struct asked *asked, struct buffer *out)
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
		repeat(config, asked, open + 1, (size_t)(bar - open - 1), bar + 1,
			(size_t)(close - bar - 1), out);
		text = close + 1;
	}
}

void sql_expand(
	const struct config *config, enum sql_id id, const char *name, struct buffer *out)
{
	expand(config, id, name, NULL, out);
}

void sql_expand_asked(const struct config *config, enum sql_id id, const int *channels,
	size_t count, struct buffer *out)
{
	expand(config, id, NULL, &(struct asked){channels, count}, out);
}
