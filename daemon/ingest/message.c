/*
 * A channel's word into a reading, at the record's stamp or at a time that the message
 * bore. A reading whose time is missing, not understood or too far ahead is BAD at the
 * stamp.
 */
#include "message.h"
#include "pointer.h"

#include <math.h>
#include <string.h>

void message_add(struct message *m, enum reading_kind kind, int64_t t_ms, double value,
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
void message_note(const struct message *m, uint16_t channel, struct instant when,
	struct word word, const char *text, size_t length)
{
	const struct decoder *d = m->decoder;
	if (d->unknown && when.reason == BAD_NONE &&
		word_is_unknown(&m->config->channels[channel], word))
		d->unknown(channel, when.t_ms, text, length, d->unknown_context);
}

void message_note_number(const struct message *m, uint16_t channel, struct instant when,
	struct word word, double number)
{
	char text[32];
	int length = snprintf(text, sizeof(text), "%.15g", number);
	message_note(m, channel, when, word, text, (size_t)length);
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

void message_add_word(struct message *m, uint16_t channel, uint32_t element,
	struct instant when, struct word word, const cJSON *item)
{
	int source = m->config->channels[channel].source;
	if (when.reason != BAD_NONE)
		word = (struct word){READING_BAD, when.reason, NAN};
	message_add(m, word.kind, when.t_ms, word.value, word.reason,
		element << 16 | channel, channel);
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

struct instant at_stamp(const struct message *m, enum bad_reason reason)
{
	return (struct instant){.t_ms = m->record.t_ms, .reason = reason};
}

struct instant own_instant(const struct message *m, int result, int64_t t_ms)
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
struct instant message_time(
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
