/*
 * Channels that take a name in a SenML pack (RFC 8428): every record of it that bears the
 * name is a reading; of those without times of their own only the last is.
 */
#include "message.h"
#include "senml.h"

#include <string.h>

bool senml_is_whole(const cJSON *root)
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
		message_note_number(m, channel, when, word, record->number);
		return;
	}
	text = record->text ? record->text : text;
	message_note(m, channel, when, word, text, strlen(text));
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
	message_add_word(m, index, element, when, word, NULL);
	note_senml(m, index, when, word, record);
}

void message_decode_senml(struct message *m, const cJSON *root)
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
			message_add_word(m, route->channels[i], w->element,
				at_stamp(m, BAD_NONE), w->word, NULL);
		w->set = false;
	}
}
