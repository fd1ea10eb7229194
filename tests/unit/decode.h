/*
 * One message at a time through a decoder, and its readings as a line of text.
 */
#ifndef DECODE_H
#define DECODE_H

#include "unit.h"

#include <heatbook/config.h>
#include <heatbook/decoder.h>

#define STAMP INT64_C(1769853600000) /* 2026-01-31T10:00:00Z */

static struct config *config;
static struct decoder *decoder;
static struct buffer frames;
static struct readings readings;

static inline void setup(const char *text)
{
	struct faults faults = {0};
	int r = config_parse("t.conf", text, strlen(text), &config, &faults, NULL);
	ck_assert_msg(r == 0, "%s", faults.count ? faults.lines[0] : "no fault told");
	decoder = decoder_new(config);
}

static inline void teardown(void)
{
	decoder_free(decoder);
	config_free(config);
	buffer_release(&frames);
	readings_release(&readings);
	frames = (struct buffer){0};
}

/* Decodes one message alone; the readings point to it until the next one. */
static inline void decode(
	const char *topic, const char *payload, size_t length, bool retained)
{
	struct record record = {.kind = RECORD_MESSAGE,
		.retained = retained,
		.t_ms = STAMP,
		.boot_ms = -1,
		.topic = topic,
		.topic_length = strlen(topic),
		.payload = (const unsigned char *)payload,
		.payload_length = length};
	buffer_reset(&frames);
	readings.count = 0;
	record_write(&record, &frames);
	decoder_decode(decoder, (const unsigned char *)frames.data, &readings);
	readings_sort(&readings);
}

static inline void decode_text(const char *topic, const char *payload)
{
	decode(topic, payload, strlen(payload), false);
}

static inline const char *name_of(const struct reading *r)
{
	bool source = r->kind == READING_ALIVE || r->kind == READING_GONE;
	return source ? config->sources[r->channel].name
		      : config->channels[r->channel].name;
}

/* "+plant flow_temperature=35.2 room=? valve!broken JSON", with "@-5000" behind what is
 * so many ms off the stamp and "~" behind what is retained. */
static inline const char *told(void)
{
	static struct buffer text;
	buffer_reset(&text);
	for (size_t i = 0; i < readings.count; i++) {
		const struct reading *r = &readings.items[i];
		buffer_add_text(&text, i ? " " : "");
		if (r->kind == READING_ALIVE || r->kind == READING_GONE)
			buffer_add_text(&text, r->kind == READING_ALIVE ? "+" : "-");
		buffer_add_text(&text, name_of(r));
		if (r->kind == READING_VALUE)
			buffer_addf(&text, "=%.10g", r->value);
		else if (r->kind == READING_NOVALUE)
			buffer_add_text(&text, "=?");
		else if (r->kind == READING_BAD)
			buffer_addf(&text, "!%s",
				bad_reason_text((enum bad_reason)r->reason));
		if (r->t_ms != STAMP)
			buffer_addf(&text, "@%+lld", (long long)(r->t_ms - STAMP));
		if (r->retained)
			buffer_add_text(&text, "~");
	}
	return buffer_text(&text);
}

#endif
