/*
 * A payload into the channels of its route: those that take it bare, those that take a
 * place in its JSON, which is parsed once for all of them, and those that take a name in
 * a SenML pack. What is wrong with one channel's word, or with the message for all,
 * becomes a BAD reading a channel and stops nothing else.
 */
#include "message.h"
#include "pointer.h"
#include "strip.h"

#include <math.h>
#include <string.h>

static void note_item(const struct message *m, uint16_t channel, struct instant when,
	struct word word, const cJSON *item)
{
	const char *text = cJSON_IsTrue(item) ? "true" : "false";
	if (cJSON_IsNumber(item)) {
		message_note_number(m, channel, when, word, item->valuedouble);
		return;
	}
	if (cJSON_IsString(item))
		text = item->valuestring;
	message_note(m, channel, when, word, text, strlen(text));
}

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
	struct instant when = message_time(m, channel, base);
	struct word word = word_of(m->config, channel, item);
	message_add_word(m, index, element, when, word, item);
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
		message_add_word(
			m, index, 0, message_time(m, channel, NULL), word, array);
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
			when = message_time(m, channel, NULL);
		message_add_word(
			m, index, 0, when, (struct word){kind, reason, NAN}, NULL);
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
		if (senml_is_whole(root))
			message_decode_senml(m, root);
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
	struct instant when = message_time(m, channel, NULL);
	message_add_word(m, index, 0, when, word, NULL);
	message_note(m, index, when, word, text, length);
}

void message_decode(struct message *m)
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
