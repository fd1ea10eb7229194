/*
 * /v1/series: chosen channels over a span by step.
 *
 * Values have the channel's stored decimals and own unit; a channel with a value map
 * answers the state that held longest, in words, and has no extremes. Least and most are
 * answered where the channel keeps them.
 */
#include "basis.h"
#include "face.h"
#include "sheet.h"
#include "wanted.h"

#include <math.h>
#include <string.h>

/* Of a channel, by what they are called in `values`. */
enum { MEAN, LEAST, MOST, OBSERVED, KIND_COUNT };
static const char *const kinds[KIND_COUNT] = {
	[MEAN] = "mean", [LEAST] = "min", [MOST] = "max", [OBSERVED] = "observed"};

struct selection {
	char *names; /* the list, cut at its commas */
	int channels[CHANNELS_MOST];
	size_t count;
	struct wanted wanted;
	size_t values; /* a bucket */
};

static const struct channel_config *channel_of(const struct config *config, int index)
{
	return &config->channels[index];
}

static size_t channel_values(
	const struct config *config, int channel, const struct wanted *wanted)
{
	size_t count = 0;
	for (int k = 0; k < KIND_COUNT; k++) {
		bool extreme = k == LEAST || k == MOST;
		if (!extreme || config->channels[channel].extremes)
			count += wanted_has(wanted, kinds[k]);
	}
	return count;
}

size_t http_channel_values(const struct config *config, int channel)
{
	return channel_values(config, channel, &(struct wanted){0});
}

static void allow_channels(const struct config *config, struct reply *reply)
{
	const char *names[CHANNELS_MOST];
	size_t count = 0;
	for (size_t i = 0; i < config->channel_count && count < CHANNELS_MOST; i++)
		names[count++] = config->channels[i].name;
	problem_allowed(reply, names, count);
}

static bool is_selected(const struct selection *selection, int channel)
{
	for (size_t i = 0; i < selection->count; i++)
		if (selection->channels[i] == channel)
			return true;
	return false;
}

static bool select_channel(const struct config *config, const char *name,
	struct reply *reply, struct selection *selection)
{
	int channel = config_channel(config, name);
	if (channel < 0) {
		problem_with(
			reply, "channels", name, "no channel is named \"%.60s\"", name);
		allow_channels(config, reply);
		return false;
	}
	if (is_selected(selection, channel)) {
		problem_with(reply, "channels", name, "channel %s is named twice", name);
		return false;
	}
	selection->channels[selection->count++] = channel;
	selection->values += channel_values(config, channel, &selection->wanted);
	return true;
}

static bool selection_read(const struct config *config, const struct request *request,
	struct reply *reply, struct selection *ret)
{
	const char *list = request_value(request, "channels");
	*ret = (struct selection){.values = 3};
	if (!wanted_read(request, kinds, KIND_COUNT, reply, &ret->wanted))
		return false;
	if (!list || !*list) {
		problem_with(reply, "channels", list,
			"channels must name one channel or more, joined by commas");
		allow_channels(config, reply);
		return false;
	}
	ret->names = xstrdup(list);
	char *rest = ret->names, *name;
	/* No name twice, so there are never more than channels. */
	while ((name = strsep(&rest, ",")))
		if (!select_channel(config, name, reply, ret))
			return false;
	return true;
}

void json_channel_value(struct json *json, const char *key,
	const struct channel_config *channel, double value)
{
	if (!channel->states) {
		json_number(json, key, value, unit_decimals(channel->dimension));
		return;
	}
	bool known = value >= 0 && value < (double)channel->state_count;
	json_text(json, key, known ? channel->states[(size_t)value] : NULL);
}

static void add_times(struct sheet *sheet, const char *name, const int64_t *t_ms)
{
	struct sheet_column column = {
		.ucum = "s", .decimals = SHEET_SECONDS, .instant = true};
	(void)snprintf(column.name, sizeof(column.name), "%s", name);
	struct cell *cells = sheet_add(sheet, &column);
	for (size_t i = 0; i < sheet->rows; i++)
		cells[i] = (struct cell){true, t_ms[i]};
}

/* One column of a channel's numbers. */
static void add_values(struct sheet *sheet, const struct channel_config *channel,
	int kind, const double *values)
{
	static const char *const suffixes[] = {
		[MEAN] = "", [LEAST] = "_min", [MOST] = "_max"};
	int decimals = unit_decimals(channel->dimension);
	struct sheet_column column = {.value = kinds[kind],
		.ucum = unit_own(channel->dimension)->ucum,
		.decimals = decimals};
	(void)snprintf(
		column.name, sizeof(column.name), "%s%s", channel->name, suffixes[kind]);
	struct cell *cells = sheet_add(sheet, &column);
	for (size_t i = 0; i < sheet->rows; i++)
		cells[i] = cell_of(values[i], decimals);
}

/* States by the words that they had when they were stored. */
static void add_states(struct sheet *sheet, const struct channel_config *channel,
	const struct series_column *from)
{
	bool stored = from->states.count > 0;
	size_t count = stored ? from->states.count : channel->state_count;
	struct sheet_column column = {.value = kinds[MEAN],
		.words = (const char *const *)(stored ? from->states.names
						      : channel->states)};
	(void)snprintf(column.name, sizeof(column.name), "%s", channel->name);
	struct cell *cells = sheet_add(sheet, &column);
	for (size_t i = 0; i < sheet->rows; i++)
		if (from->mean[i] >= 0 && from->mean[i] < (double)count)
			cells[i] = (struct cell){true, (int64_t)from->mean[i]};
}

static void add_observed(struct sheet *sheet, const struct channel_config *channel,
	const double *observed_s)
{
	struct sheet_column column = {
		.value = kinds[OBSERVED], .ucum = "s", .decimals = SHEET_SECONDS};
	(void)snprintf(column.name, sizeof(column.name), "%s_observed_s", channel->name);
	struct cell *cells = sheet_add(sheet, &column);
	for (size_t i = 0; i < sheet->rows; i++)
		cells[i] = (struct cell){
			true, isnan(observed_s[i]) ? 0 : llround(observed_s[i] * 1000)};
}

static void add_channel(const struct config *config, const struct series_column *column,
	const struct wanted *wanted, struct sheet *sheet)
{
	const struct channel_config *channel = channel_of(config, column->channel);
	bool states = channel->states || column->states.count;
	if (wanted_has(wanted, kinds[MEAN]) && states)
		add_states(sheet, channel, column);
	if (wanted_has(wanted, kinds[MEAN]) && !states)
		add_values(sheet, channel, MEAN, column->mean);
	if (wanted_has(wanted, kinds[LEAST]) && column->least && !channel->states)
		add_values(sheet, channel, LEAST, column->least);
	if (wanted_has(wanted, kinds[MOST]) && column->most && !channel->states)
		add_values(sheet, channel, MOST, column->most);
	if (wanted_has(wanted, kinds[OBSERVED]))
		add_observed(sheet, channel, column->observed_s);
}

static void lay_out(const struct config *config, const struct series_answer *answer,
	const struct wanted *wanted, struct sheet *sheet)
{
	*sheet = (struct sheet){.rows = answer->count};
	add_times(sheet, "t", answer->t_ms);
	add_times(sheet, "t_end", answer->t_end_ms);
	for (size_t i = 0; i < answer->column_count; i++)
		add_channel(config, &answer->columns[i], wanted, sheet);
	int channels[CHANNELS_MOST];
	for (size_t i = 0; i < answer->column_count; i++)
		channels[i] = answer->columns[i].channel;
	sheet_add_corrections(sheet, config, channels, answer->column_count);
}

static void write_csv(const struct config *config, const struct series_answer *answer,
	const struct wanted *wanted, const struct csv_form *form, struct buffer *out)
{
	struct sheet sheet;
	lay_out(config, answer, wanted, &sheet);
	sheet_csv(&sheet, form, out);
	sheet_release(&sheet);
}

void http_series_csv(const struct config *config, const struct series_answer *answer,
	const struct csv_form *form, struct buffer *out)
{
	write_csv(config, answer, &(struct wanted){0}, form, out);
}

static void write_units(struct json *json, const struct config *config,
	const struct series_answer *answer)
{
	json_object(json, "units");
	json_text(json, "t", "s");
	json_text(json, "t_end", "s");
	for (size_t i = 0; i < answer->column_count; i++) {
		const struct channel_config *channel =
			channel_of(config, answer->columns[i].channel);
		json_text(json, channel->name,
			channel->states ? NULL : unit_own(channel->dimension)->ucum);
	}
	json_object_end(json);
}

/* Of all channels of the answer, by channel. */
static void write_corrections(struct json *json, const struct config *config,
	const struct span *span, const struct series_answer *answer)
{
	json_object(json, "corrections");
	for (size_t i = 0; i < answer->column_count; i++)
		json_corrections(json, config->channels[answer->columns[i].channel].name,
			config, answer->columns[i].channel, span->from_ms, span->to_ms);
	json_object_end(json);
}

static void write_body(struct json *json, const struct config *config,
	const struct span *span, const struct series_answer *answer,
	const struct wanted *wanted)
{
	struct sheet sheet;
	lay_out(config, answer, wanted, &sheet);
	json_object(json, NULL);
	span_write(span, config, json);
	json_integer(json, "version", answer->version);
	json_older_days(json, &answer->older);
	write_corrections(json, config, span, answer);
	sheet_json(&sheet, SHEET_WHOLE, span->by_rows, json);
	write_units(json, config, answer);
	sheet_release(&sheet);
}

void answer_series(struct http *http, const struct request *request, struct reply *reply)
{
	struct selection selection = {0};
	struct span span = {0};
	struct series_answer answer = {0};
	if (form_read(request, reply) &&
		selection_read(http->config, request, reply, &selection) &&
		span_read(request, selection.values, reply, &span)) {
		int r = query_series(http->store, span.edges_ms, span.count,
			selection.channels, selection.count, &answer);
		if (r == 0) {
			if (reply->type)
				write_csv(http->config, &answer, &selection.wanted,
					&reply->form, &reply->body.out);
			else
				write_body(&reply->body, http->config, &span, &answer,
					&selection.wanted);
			span_keep(&span, reply);
			series_answer_release(&answer);
		} else {
			problem_query(reply, r);
		}
	}
	span_release(&span);
	wanted_release(&selection.wanted);
	free(selection.names);
}
