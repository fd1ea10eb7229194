/*
 * Dated corrections in answers: whatever they touch names them.
 */
#include "basis.h"
#include "sheet.h"

#include <heatbook/correction.h>

#define CORRECTION_DECIMALS 6

void json_correction_terms(
	struct json *json, const struct config *config, const struct correction_config *c)
{
	const struct channel_config *channel = &config->channels[c->channel];
	enum dimension dimension = channel->dimension == DIMENSION_TEMPERATURE
					   ? DIMENSION_TEMPERATURE_DIFFERENCE
					   : channel->dimension;
	json_number(json, "factor", c->factor, CORRECTION_DECIMALS);
	json_number(json, "offset", c->offset, CORRECTION_DECIMALS);
	json_text(json, "offset_unit", unit_own(dimension)->ucum);
}

static void write_correction(
	struct json *json, const struct config *config, const struct correction_config *c)
{
	const struct channel_config *channel = &config->channels[c->channel];
	json_object(json, NULL);
	json_text(json, "name", c->name);
	json_text(json, "channel", channel->name);
	json_seconds(json, "from", c->from_ms);
	if (c->to_ms == INT64_MAX)
		json_null(json, "to");
	else
		json_seconds(json, "to", c->to_ms);
	json_correction_terms(json, config, c);
	json_object_end(json);
}

void json_corrections(struct json *json, const char *key, const struct config *config,
	int channel, int64_t from_ms, int64_t to_ms)
{
	json_array(json, key);
	for (size_t i = 0; i < config->correction_count; i++) {
		const struct correction_config *c = &config->corrections[i];
		bool asked = channel == CORRECTIONS_OF_ALL ||
			     (channel == CORRECTIONS_OF_ACCOUNTS
					     ? correction_accounts(config, c)
					     : c->channel == channel);
		if (asked && correction_touches(c, from_ms, to_ms))
			write_correction(json, config, c);
	}
	json_array_end(json);
}

static bool is_asked(const struct config *config, const struct correction_config *c,
	const int *channels, size_t count)
{
	for (size_t i = 0; i < count; i++)
		if (channels[i] == c->channel)
			return true;
	return count == 0 && correction_accounts(config, c);
}

/* "one+other", or NULL where none is in force at any time of [from, to). */
static char *names_of(const struct config *config, const int *channels, size_t count,
	int64_t from_ms, int64_t to_ms)
{
	char *names = NULL;
	for (size_t i = 0; i < config->correction_count; i++) {
		const struct correction_config *c = &config->corrections[i];
		if (!is_asked(config, c, channels, count) ||
			!correction_touches(c, from_ms, to_ms))
			continue;
		char *more =
			names ? xasprintf("%s+%s", names, c->name) : xstrdup(c->name);
		free(names);
		names = more;
	}
	return names;
}

void sheet_add_corrections(struct sheet *sheet, const struct config *config,
	const int *channels, size_t channel_count)
{
	bool any = false;
	for (size_t i = 0; i < config->correction_count; i++)
		any = any ||
		      is_asked(config, &config->corrections[i], channels, channel_count);
	if (!any)
		return;
	sheet->texts = xcalloc(sheet->rows, sizeof(*sheet->texts));
	sheet->text_count = sheet->rows;
	const struct sheet_column column = {
		.name = "corrections", .words = (const char *const *)sheet->texts};
	struct cell *cells = sheet_add(sheet, &column);
	const struct cell *t = sheet->columns[0].cells, *t_end = sheet->columns[1].cells;
	for (size_t i = 0; i < sheet->rows; i++) {
		sheet->texts[i] = names_of(
			config, channels, channel_count, t[i].value, t_end[i].value);
		cells[i] = (struct cell){sheet->texts[i] != NULL, (int64_t)i};
	}
}
