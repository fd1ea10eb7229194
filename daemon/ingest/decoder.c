/*
 * Records into readings. See decoder.h.
 *
 * A message is looked up once by topic; then, in this order: Will words, the channels
 * that take the bare payload, those that take a place in the JSON or a name in a SenML
 * pack (message_channels.c), and the signs of life.
 *
 * The place of a reading is element * 65536 + channel: element is the index in the array
 * of `each` or in the pack, 0 elsewhere. So of equal times in one message the last
 * element has the last word, and without own times only the last element that reports
 * makes a reading.
 *
 * Rows of tables are no messages: see rows.c.
 */
#include "message.h"
#include "strip.h"

#include <assert.h>
#include <math.h>

#define WILL_MOST 128 /* longer texts are no words */

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
		message_add(m, READING_GONE, m->record.t_ms, NAN, BAD_NONE, 0, index);
	else if (length > 0 && is_word(source->will_present, folded, length))
		message_add(m, READING_ALIVE, m->record.t_ms, NAN, BAD_NONE, 0, index);
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
		message_decode(m);
	if (m->record.retained)
		return;
	uint64_t by_readings = m->own_time & ~m->stamped;
	for (size_t i = 0; i < route->source_count; i++)
		if (!(by_readings >> route->sources[i] & 1))
			message_add(m, READING_ALIVE, m->record.t_ms, NAN, BAD_NONE, 0,
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
		message_add(&m, READING_FACT, m.record.t_ms, (double)m.record.number[0],
			BAD_NONE, 0, (uint16_t)m.record.kind);
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
