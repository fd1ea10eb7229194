/*
 * A configuration, a line "%%", and lines of an archive (`epoch topic payload` or our own
 * JSON): every record through the decoder.
 *
 * The same record makes the same readings twice, from its own copy of the bytes and from
 * a decoder that saw nothing before. Times lie between 2020 and 120 s after the stamp, or
 * are the stamp; values are within the channel's range; indices are of the configuration;
 * an unsure record makes nothing.
 */
#include "fuzz.h"

#include <heatbook/archive.h>
#include <heatbook/decoder.h>

#include <math.h>

#define CLOCKLESS_MS INT64_C(1577836800000) /* 2020-01-01T00:00:00Z */
#define AHEAD_MS     120000

static void check_value(const struct config *config, const struct reading *r)
{
	const struct channel_config *c = &config->channels[r->channel];
	HOLDS(isfinite(r->value), "%s is not finite", c->name);
	if (c->states)
		HOLDS((int)r->value == STATE_UNKNOWN ||
				(r->value >= 0 && r->value < (double)c->state_count),
			"%s: state %g of %zu", c->name, r->value, c->state_count);
	else
		HOLDS(r->value >= c->valid_least && r->value <= c->valid_most,
			"%s: %g is out of range", c->name, r->value);
}

static void check_reading(const struct config *config, const struct record *record,
	const unsigned char *frame, const struct reading *r)
{
	bool of_channel = r->kind >= READING_VALUE;
	size_t bound = of_channel                ? config->channel_count
		       : r->kind == READING_FACT ? RECORD_KIND_COUNT
						 : config->source_count;
	HOLDS(r->kind <= READING_BAD && r->channel < bound, "%u of %zu, kind %u",
		r->channel, bound, r->kind);
	HOLDS(r->frame == frame, "a reading of another record");
	HOLDS((r->kind == READING_BAD) == (r->reason != BAD_NONE), "reason %u",
		r->reason);
	HOLDS(r->reason < BAD_REASON_COUNT, "reason %u", r->reason);
	if (r->kind == READING_VALUE)
		check_value(config, r);
	if (record->kind == RECORD_MESSAGE)
		HOLDS(r->t_ms == record->t_ms ||
				(r->t_ms >= CLOCKLESS_MS &&
					r->t_ms <= record->t_ms + AHEAD_MS),
			"%lld of a record of %lld", (long long)r->t_ms,
			(long long)record->t_ms);
}

static void same_readings(const struct readings *a, const struct readings *b)
{
	HOLDS(a->count == b->count, "%zu readings, then %zu", a->count, b->count);
	for (size_t i = 0; i < a->count; i++) {
		const struct reading *x = &a->items[i], *y = &b->items[i];
		HOLDS(reading_compare(x, y) == 0 && x->reason == y->reason &&
				x->exact_ms == y->exact_ms &&
				memcmp(&x->value, &y->value, sizeof(x->value)) == 0,
			"reading %zu", i);
	}
}

static void check_record(
	const struct config *config, struct decoder *decoder, const struct record *record)
{
	struct buffer form = {0};
	struct readings readings = {0}, again = {0};
	struct decoder *fresh = decoder_new(config);
	record_write(record, &form);
	unsigned char *frame = exact_copy(form.data, form.length);
	unsigned char *copy = exact_copy(form.data, form.length);

	HOLDS(decoder_decode(decoder, frame, &readings), "damaged");
	for (size_t i = 0; i < readings.count; i++)
		check_reading(config, record, frame, &readings.items[i]);
	HOLDS(!record->unsure || readings.count == 0, "readings of an unsure record");
	HOLDS(decoder_decode(decoder, copy, &again), "damaged");
	same_readings(&readings, &again);
	again.count = 0;
	HOLDS(decoder_decode(fresh, copy, &again), "damaged");
	same_readings(&readings, &again);
	readings_sort(&readings);
	for (size_t i = 1; i < readings.count; i++)
		HOLDS(reading_compare(&readings.items[i - 1], &readings.items[i]) <= 0,
			"not sorted");
	decoder_free(fresh);
	readings_release(&readings);
	readings_release(&again);
	buffer_release(&form);
	free(frame);
	free(copy);
}

static void check_records(const struct config *config, const char *at, const char *end)
{
	struct decoder *decoder = decoder_new(config);
	struct archive archive = {.form = ARCHIVE_DETECT};
	struct record record;
	const char *line, *why;
	size_t length, count;
	while (next_line(&at, end, &line, &length))
		if (archive_line(&archive, line, length, &record, &why) == 0)
			check_record(config, decoder, &record);
	const struct bad_count *bad = decoder_bad(decoder, &count);
	for (size_t i = 0; i < count; i++)
		for (const char *p = bad[i].sample; *p; p++)
			HOLDS(*p >= 0x20 && *p < 0x7f, "a sample is not printable");
	archive_release(&archive);
	decoder_free(decoder);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	const char *rest;
	int answer;
	struct config *config = config_before(data, size, &rest, &answer);
	if (config)
		check_records(config, rest, (const char *)data + size);
	config_free(config);
	return answer;
}
