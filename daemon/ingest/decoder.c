/*
 * Records into readings. See decoder.h.
 *
 * A message is looked up once by topic; then, in this order: Will words, the channels
 * that take the bare payload, those that take a place in the JSON or a name in a SenML
 * pack (parsed once for all of them), and the signs of life. What is wrong with one
 * channel's word, or with the message for all, becomes a BAD reading a channel and stops
 * nothing else.
 *
 * The place of a reading is element * 65536 + channel: element is the index in the array
 * of `each` or in the pack, 0 elsewhere. So of equal times in one message the last
 * element has the last word, and without own times only the last element that reports
 * makes a reading.
 *
 * A reading whose time is missing, not understood or too far ahead is BAD at the stamp.
 * Rows of tables are no messages: see rows.c.
 */
#include <heatbook/decoder.h>

#include "badcount.h"
#include "json.h"
#include "pointer.h"
#include "rows.h"
#include "senml.h"
#include "strip.h"
#include "topics.h"

#include <assert.h>
#include <heatbook/payload.h>
#include <math.h>

#define WILL_MOST 128 /* longer texts are no words */

/* A word that waits to be the last of its message. */
struct waiting {
	bool set;
	uint32_t element;
	struct word word;
};

struct decoder {
	const struct config *config;
	struct topics *topics;
	struct json *json;
	struct rows *rows;
	struct bad_counts bad;
	uint64_t unmatched;
	uint64_t repeated_keys;
	struct waiting waiting[CHANNELS_MOST];
	unknown_word_visit *unknown; /* or NULL */
	void *unknown_context;
};

/* One message on its way. */
struct message {
	struct decoder *decoder;
	const struct config *config;
	const struct route *route;
	const unsigned char *frame;
	struct record record;
	const char *text; /* the stripped payload */
	size_t length;
	struct readings *out;
	uint64_t own_time; /* sources that had a reading with a time of its own … */
	uint64_t stamped;  /* … and with the record's, a bit each */
	bool repeated;
};

/* When a reading holds. */
struct instant {
	int64_t t_ms;
	bool own;
	bool said;              /* the message bore a time, … */
	int64_t behind_ms;      /* … so far before the stamp */
	enum bad_reason reason; /* or why there is none */
};

static void add(struct message *m, enum reading_kind kind, int64_t t_ms, double value,
	enum bad_reason reason, uint32_t place, uint16_t channel)
{
	struct reading reading = {.t_ms = t_ms,
		.value = value,
		.frame = m->frame,
		.place = place,
		.channel = channel,
		.kind = (uint8_t)kind,
		.reason = (uint8_t)reason,
		.retained = m->record.retained};
	readings_add(m->out, &reading);
}

/* A word of the channel; whoever asked is told if no map names it. */
static void note_word(const struct message *m, uint16_t channel, struct instant when,
	struct word word, const char *text, size_t length)
{
	const struct decoder *d = m->decoder;
	if (d->unknown && when.reason == BAD_NONE &&
		word_is_unknown(&m->config->channels[channel], word))
		d->unknown(channel, when.t_ms, text, length, d->unknown_context);
}

static void note_number(const struct message *m, uint16_t channel, struct instant when,
	struct word word, double number)
{
	char text[32];
	int length = snprintf(text, sizeof(text), "%.15g", number);
	note_word(m, channel, when, word, text, (size_t)length);
}

static void note_item(const struct message *m, uint16_t channel, struct instant when,
	struct word word, const cJSON *item)
{
	const char *text = cJSON_IsTrue(item) ? "true" : "false";
	if (cJSON_IsNumber(item)) {
		note_number(m, channel, when, word, item->valuedouble);
		return;
	}
	if (cJSON_IsString(item))
		text = item->valuestring;
	note_word(m, channel, when, word, text, strlen(text));
}

/* Of the reading that was added last. */
static void note_own_time(struct message *m, int64_t behind_ms)
{
	struct reading *last = &m->out->items[m->out->count - 1];
	int64_t behind_s = floor_div(behind_ms, 1000);
	behind_s = behind_s < INT32_MAX ? behind_s : INT32_MAX;
	last->behind_s = (int32_t)(behind_s > INT32_MIN ? behind_s : INT32_MIN);
	last->own_time = true;
}

static void add_word(struct message *m, uint16_t channel, uint32_t element,
	struct instant when, struct word word, const cJSON *item)
{
	int source = m->config->channels[channel].source;
	if (when.reason != BAD_NONE)
		word = (struct word){READING_BAD, when.reason, NAN};
	add(m, word.kind, when.t_ms, word.value, word.reason, element << 16 | channel,
		channel);
	if (when.said && !m->record.retained)
		note_own_time(m, when.behind_ms);
	if (source >= 0)
		*(when.own ? &m->own_time : &m->stamped) |= UINT64_C(1) << source;
	if (word.kind != READING_BAD)
		return;
	if (item && cJSON_IsString(item) && when.reason == BAD_NONE)
		bad_counts_add(&m->decoder->bad, &m->record, word.reason,
			item->valuestring, strlen(item->valuestring));
	else
		bad_counts_add(
			&m->decoder->bad, &m->record, word.reason, m->text, m->length);
}

/* ---- time ---- */

static struct instant at_stamp(const struct message *m, enum bad_reason reason)
{
	return (struct instant){.t_ms = m->record.t_ms, .reason = reason};
}

static struct instant own_instant(const struct message *m, int result, int64_t t_ms)
{
	if (result < 0)
		return at_stamp(m, BAD_TIME);
	struct instant when = {.t_ms = t_ms,
		.own = true,
		.said = true,
		.behind_ms = m->record.t_ms - t_ms};
	if (t_ms - AHEAD_MOST_MS > m->record.t_ms) {
		when.t_ms = m->record.t_ms;
		when.own = false;
		when.reason = BAD_TIME_AHEAD;
	}
	return when;
}

/* Of a channel's reading in `base`: the element of `each`, the root, or NULL for no JSON.
 */
static struct instant time_of(
	struct message *m, const struct channel_config *channel, const cJSON *base)
{
	int64_t t_ms = 0, stamp = m->record.t_ms;
	int result = -1;
	if (channel->time == TIME_ARRIVAL)
		return at_stamp(m, BAD_NONE);
	const cJSON *item =
		base && channel->time_pointer
			? json_pointer(base, channel->time_pointer, &m->repeated)
			: NULL;
	if (item && cJSON_IsNumber(item))
		result = payload_time_number(
			item->valuedouble, channel->time_form, stamp, &t_ms);
	else if (item && cJSON_IsString(item))
		result = payload_time_text(item->valuestring, strlen(item->valuestring),
			channel->time_form, stamp, &t_ms);
	return own_instant(m, result, t_ms);
}

/* ---- JSON ---- */

static struct word word_of(const struct config *config,
	const struct channel_config *channel, const cJSON *item)
{
	if (cJSON_IsNumber(item))
		return payload_number(channel, item->valuedouble);
	if (cJSON_IsString(item))
		return payload_text(
			config, channel, item->valuestring, strlen(item->valuestring));
	if (cJSON_IsBool(item))
		return payload_bool(channel, cJSON_IsTrue(item));
	if (cJSON_IsNull(item))
		return (struct word){.kind = READING_NOVALUE, .value = NAN};
	return (struct word){READING_BAD, BAD_STRUCTURE, NAN};
}

/* The value at the channel's pointer in `base`; an absent key is no report. */
static void decode_place(
	struct message *m, uint16_t index, uint32_t element, const cJSON *base)
{
	const struct channel_config *channel = &m->config->channels[index];
	const cJSON *item = channel->pointer
				    ? json_pointer(base, channel->pointer, &m->repeated)
				    : base;
	if (!item)
		return;
	struct instant when = time_of(m, channel, base);
	struct word word = word_of(m->config, channel, item);
	add_word(m, index, element, when, word, item);
	if (m->decoder->unknown)
		note_item(m, index, when, word, item);
}

static bool reports(
	struct message *m, const struct channel_config *channel, const cJSON *base)
{
	return !channel->pointer || json_pointer(base, channel->pointer, &m->repeated);
}

static void decode_each(struct message *m, uint16_t index, const cJSON *root)
{
	const struct channel_config *channel = &m->config->channels[index];
	const cJSON *array = json_pointer(root, channel->each, &m->repeated),
		    *last = NULL;
	uint32_t element = 0, last_element = 0;
	if (!array)
		return;
	if (!cJSON_IsArray(array)) {
		struct word word =
			cJSON_IsNull(array)
				? word_of(m->config, channel, array)
				: (struct word){READING_BAD, BAD_STRUCTURE, NAN};
		add_word(m, index, 0, time_of(m, channel, NULL), word, array);
		return;
	}
	for (const cJSON *item = array->child; item; item = item->next, element++) {
		if (channel->time == TIME_PAYLOAD)
			decode_place(m, index, element, item);
		else if (reports(m, channel, item)) {
			last = item;
			last_element = element;
		}
	}
	if (last)
		decode_place(m, index, last_element, last);
}

/* ---- SenML ---- */

static bool pack_is_whole(const cJSON *root)
{
	struct senml pack = {.next = root->child};
	struct senml_record record;
	int result;
	if (!cJSON_IsArray(root))
		return false;
	do
		result = senml_next(&pack, &record);
	while (result == SENML_RECORD);
	return result == SENML_END;
}

static void note_senml(const struct message *m, uint16_t channel, struct instant when,
	struct word word, const struct senml_record *record)
{
	const char *text = record->is_bool && record->truth ? "true" : "false";
	if (!m->decoder->unknown)
		return;
	if (record->is_number && !record->text && !record->is_bool) {
		note_number(m, channel, when, word, record->number);
		return;
	}
	text = record->text ? record->text : text;
	note_word(m, channel, when, word, text, strlen(text));
}

static void take_senml(struct message *m, uint16_t index, uint32_t element,
	const struct senml_record *record)
{
	const struct channel_config *channel = &m->config->channels[index];
	struct word word;
	int64_t t_ms = 0;
	if (record->text)
		word = payload_text(
			m->config, channel, record->text, strlen(record->text));
	else if (record->is_bool)
		word = payload_bool(channel, record->truth);
	else if (record->is_number && record->unit)
		word = payload_quantity(channel, record->number,
			unit_find(record->unit, strlen(record->unit)));
	else if (record->is_number)
		word = payload_number(channel, record->number);
	else
		return;
	if (channel->time == TIME_ARRIVAL) {
		m->decoder->waiting[index] = (struct waiting){true, element, word};
		note_senml(m, index, at_stamp(m, BAD_NONE), word, record);
		return;
	}
	int result = payload_time_number(senml_time_ms(record, m->record.t_ms),
		TIME_FORM_MS, m->record.t_ms, &t_ms);
	struct instant when = own_instant(m, result, t_ms);
	add_word(m, index, element, when, word, NULL);
	note_senml(m, index, when, word, record);
}

static void decode_senml(struct message *m, const cJSON *root)
{
	struct senml pack = {.next = root->child};
	struct senml_record record;
	const struct route *route = m->route;
	while (senml_next(&pack, &record) == SENML_RECORD)
		for (size_t i = 0; i < route->channel_count; i++) {
			const char *name = m->config->channels[route->channels[i]].senml;
			if (name && strcmp(name, record.name) == 0)
				take_senml(
					m, route->channels[i], pack.index - 1, &record);
		}
	m->repeated |= pack.repeated;
	for (size_t i = 0; i < route->channel_count; i++) {
		struct waiting *w = &m->decoder->waiting[route->channels[i]];
		if (w->set)
			add_word(m, route->channels[i], w->element, at_stamp(m, BAD_NONE),
				w->word, NULL);
		w->set = false;
	}
}

/* ---- messages ---- */

enum form { FORM_BARE, FORM_JSON, FORM_SENML, FORM_COUNT };

static enum form form_of(const struct channel_config *channel)
{
	if (channel->senml)
		return FORM_SENML;
	return channel->pointer || channel->each ? FORM_JSON : FORM_BARE;
}

/* The same word for every channel of the route whose form is in `forms`. */
static void add_to_all(
	struct message *m, unsigned forms, enum reading_kind kind, enum bad_reason reason)
{
	for (size_t i = 0; i < m->route->channel_count; i++) {
		uint16_t index = m->route->channels[i];
		const struct channel_config *channel = &m->config->channels[index];
		struct instant when = at_stamp(m, BAD_NONE);
		if (!(forms >> form_of(channel) & 1))
			continue;
		if (kind != READING_BAD)
			when = time_of(m, channel, NULL);
		add_word(m, index, 0, when, (struct word){kind, reason, NAN}, NULL);
	}
}

static void decode_json(struct message *m, unsigned forms)
{
	enum bad_reason reason = BAD_NONE;
	const cJSON *root = json_parse(m->decoder->json, m->text, m->length, &reason);
	if (!root) {
		add_to_all(m, 1U << FORM_JSON | 1U << FORM_SENML, READING_BAD, reason);
		return;
	}
	for (size_t i = 0; i < m->route->channel_count; i++) {
		uint16_t index = m->route->channels[i];
		const struct channel_config *channel = &m->config->channels[index];
		if (form_of(channel) != FORM_JSON)
			continue;
		if (channel->each)
			decode_each(m, index, root);
		else
			decode_place(m, index, 0, root);
	}
	if (forms >> FORM_SENML & 1) {
		if (pack_is_whole(root))
			decode_senml(m, root);
		else
			add_to_all(m, 1U << FORM_SENML, READING_BAD, BAD_SENML);
	}
	m->decoder->repeated_keys += m->repeated;
}

/* A bare payload; a text in quotes is taken as the JSON string that it is. */
static void decode_bare(struct message *m, uint16_t index)
{
	const struct channel_config *channel = &m->config->channels[index];
	const char *text = m->text;
	size_t length = m->length;
	struct word word = {READING_BAD, BAD_STRUCTURE, NAN};
	if (length >= 2 && *text == '"' && text[length - 1] == '"' &&
		!memchr(text + 1, '"', length - 2) && !memchr(text, '\\', length)) {
		text++;
		length -= 2;
	}
	if (*text != '{' && *text != '[')
		word = payload_text(m->config, channel, text, length);
	struct instant when = time_of(m, channel, NULL);
	add_word(m, index, 0, when, word, NULL);
	note_word(m, index, when, word, text, length);
}

static void decode_channels(struct message *m)
{
	const unsigned all = (1U << FORM_COUNT) - 1;
	unsigned forms = 0;
	if (m->length == 0) {
		add_to_all(m, all, READING_NOVALUE, BAD_NONE);
		return;
	}
	if (m->record.payload_length > PAYLOAD_MOST || is_binary(m->text, m->length)) {
		bool binary = m->record.payload_length <= PAYLOAD_MOST;
		add_to_all(m, all, READING_BAD, binary ? BAD_BINARY : BAD_TOO_LONG);
		return;
	}
	for (size_t i = 0; i < m->route->channel_count; i++) {
		uint16_t index = m->route->channels[i];
		enum form form = form_of(&m->config->channels[index]);
		forms |= 1U << form;
		if (form == FORM_BARE)
			decode_bare(m, index);
	}
	if (forms >> FORM_JSON)
		decode_json(m, forms);
}

static bool is_word(const char *word, const char *text, size_t length)
{
	return word && strlen(word) == length && memcmp(word, text, length) == 0;
}

static void decode_will(struct message *m, uint16_t index)
{
	const struct source_config *source = &m->config->sources[index];
	char folded[WILL_MOST];
	size_t length = m->length < sizeof(folded) ? m->length : 0;
	memcpy(folded, m->text, length);
	text_fold(folded, length);
	if (length > 0 && is_word(source->will_gone, folded, length))
		add(m, READING_GONE, m->record.t_ms, NAN, BAD_NONE, 0, index);
	else if (length > 0 && is_word(source->will_present, folded, length))
		add(m, READING_ALIVE, m->record.t_ms, NAN, BAD_NONE, 0, index);
	else
		bad_counts_add(&m->decoder->bad, &m->record, BAD_NOT_A_NUMBER, m->text,
			m->length);
}

static void decode_message(struct message *m)
{
	const struct route *route =
		topics_find(m->decoder->topics, m->record.topic, m->record.topic_length);
	if (!route) {
		m->decoder->unmatched++;
		return;
	}
	m->route = route;
	m->text = (const char *)m->record.payload;
	m->length = m->record.payload_length;
	strip(&m->text, &m->length);
	for (size_t i = 0; i < route->will_count; i++)
		decode_will(m, route->wills[i]);
	if (route->channel_count > 0)
		decode_channels(m);
	if (m->record.retained)
		return;
	uint64_t by_readings = m->own_time & ~m->stamped;
	for (size_t i = 0; i < route->source_count; i++)
		if (!(by_readings >> route->sources[i] & 1))
			add(m, READING_ALIVE, m->record.t_ms, NAN, BAD_NONE, 0,
				route->sources[i]);
}

bool decoder_decode(
	struct decoder *decoder, const unsigned char *frame, struct readings *out)
{
	return decoder_decode_span(decoder, frame, INT64_MIN, INT64_MAX, out);
}

bool decoder_decode_span(struct decoder *decoder, const unsigned char *frame,
	int64_t from_ms, int64_t to_ms, struct readings *out)
{
	bool any;
	struct message m = {.decoder = decoder,
		.config = decoder->config,
		.frame = frame,
		.out = out};
	size_t size = record_read(frame, RECORD_MOST, &m.record);
	assert(size > 0); /* frames are of our own writing */
	if (m.record.unsure)
		return true;
	if (m.record.kind == RECORD_ROW)
		return rows_decode(decoder->rows, frame, &m.record, from_ms, to_ms, out,
			&decoder->bad);
	if ((m.record.t_ms < from_ms || m.record.t_ms >= to_ms) &&
		decoder_is_at_stamp(decoder, &m.record, &any))
		return true;
	if (m.record.kind == RECORD_MESSAGE)
		decode_message(&m);
	else if (m.record.kind < RECORD_MESSAGE)
		add(&m, READING_FACT, m.record.t_ms, (double)m.record.number[0], BAD_NONE,
			0, (uint16_t)m.record.kind);
	return true;
}

bool decoder_is_at_stamp(
	struct decoder *decoder, const struct record *record, bool *ret_any)
{
	const struct route *route = NULL;
	if (record->kind == RECORD_ROW)
		return false;
	if (record->kind == RECORD_MESSAGE && !record->unsure)
		route = topics_find(decoder->topics, record->topic, record->topic_length);
	for (size_t i = 0; route && i < route->channel_count; i++)
		if (decoder->config->channels[route->channels[i]].time == TIME_PAYLOAD)
			return false;
	*ret_any = !record->unsure && (route || record->kind < RECORD_MESSAGE);
	return true;
}

bool decoder_row_span(struct decoder *decoder, const struct record *row,
	int64_t *ret_first_ms, int64_t *ret_last_ms)
{
	return rows_span(decoder->rows, row, ret_first_ms, ret_last_ms);
}

struct decoder *decoder_new(const struct config *config)
{
	struct decoder *decoder = xcalloc(1, sizeof(*decoder));
	assert(config->channel_count <= CHANNELS_MOST &&
		config->source_count <= SOURCES_MOST);
	decoder->config = config;
	decoder->topics = topics_new(config);
	decoder->json = json_new();
	decoder->rows = rows_new(config);
	return decoder;
}

void decoder_free(struct decoder *decoder)
{
	if (!decoder)
		return;
	topics_free(decoder->topics);
	json_free(decoder->json);
	rows_free(decoder->rows);
	bad_counts_release(&decoder->bad);
	free(decoder);
}

const struct bad_count *decoder_bad(const struct decoder *decoder, size_t *ret_count)
{
	*ret_count = decoder->bad.count;
	return decoder->bad.items;
}

void decoder_on_unknown_word(
	struct decoder *decoder, unknown_word_visit *visit, void *context)
{
	decoder->unknown = visit;
	decoder->unknown_context = context;
	rows_on_unknown_word(decoder->rows, visit, context);
}

uint64_t decoder_unmatched(const struct decoder *decoder)
{
	return decoder->unmatched;
}

uint64_t decoder_repeated_keys(const struct decoder *decoder)
{
	return decoder->repeated_keys;
}

const char *const *decoder_filters(const struct decoder *decoder, size_t *ret_count)
{
	return topics_filters(decoder->topics, ret_count);
}
