/*
 * See said.h. Of a chunk only records of the channel's topics, and tables' rows, are
 * decoded.
 */
#include "said.h"

#include <errno.h>
#include <stdlib.h>

#define BYTES_MOST (INT64_C(32) << 20)

struct search {
	const struct channel_config *channel;
	int index;
	int64_t from_ms, to_ms;
	struct decoder *decoder;
	struct readings readings;
	said_reading *reading;
	void *context;
};

static bool may_tell(const struct search *s, const struct record *record)
{
	if (record->kind == RECORD_ROW)
		return true;
	return record->kind == RECORD_MESSAGE && s->channel->topic &&
	       topic_matches(s->channel->topic, record->topic, record->topic_length);
}

static void tell(const struct search *s)
{
	for (size_t i = 0; s->reading && i < s->readings.count; i++) {
		const struct reading *r = &s->readings.items[i];
		if (r->kind >= READING_VALUE && r->channel == s->index &&
			r->t_ms >= s->from_ms && r->t_ms < s->to_ms)
			s->reading(r, s->context);
	}
}

static void search_chunk(struct search *s, const struct buffer *bytes)
{
	const unsigned char *at = (const unsigned char *)bytes->data;
	size_t left = bytes->length, size;
	struct record record;
	while ((size = record_read(at, left, &record)) > 0) {
		s->readings.count = 0;
		if (may_tell(s, &record)) {
			bool sound = decoder_decode_span(
				s->decoder, at, s->from_ms, s->to_ms, &s->readings);
			tell(s);
			if (!sound)
				return;
		}
		at += size;
		left -= size;
	}
}

static int search_chunks(struct search *s, struct store *store,
	const struct chunk_ref *chunks, size_t count)
{
	struct buffer bytes = {0};
	int64_t left = BYTES_MOST;
	int r = 0;
	for (size_t i = 0; r == 0 && i < count && left > 0; i++) {
		r = store_chunk_load(store, chunks[i].id, &bytes);
		if (r == 0)
			search_chunk(s, &bytes);
		left -= (int64_t)bytes.length;
		if (r == -EBADMSG || r == STORE_NONE)
			r = 0;
	}
	buffer_release(&bytes);
	return r;
}

int said_visit(struct store *store, int channel, int64_t from_ms, int64_t to_ms,
	said_reading *reading, unknown_word_visit *word, void *context)
{
	const struct config *config = store_config(store);
	struct search s = {.channel = &config->channels[channel],
		.index = channel,
		.from_ms = from_ms,
		.to_ms = to_ms,
		.reading = reading,
		.context = context};
	struct chunk_ref *chunks = NULL;
	size_t count = 0;
	int r = store_chunks(store, from_ms, to_ms, &chunks, &count);
	if (r != 0)
		return r;
	s.decoder = decoder_new(config);
	if (word)
		decoder_on_unknown_word(s.decoder, word, context);
	r = search_chunks(&s, store, chunks, count);
	decoder_free(s.decoder);
	readings_release(&s.readings);
	free(chunks);
	return r;
}

/* ---- how often ---- */

enum { REPORTS_MOST = 8192, REPORTS_LEAST = 6 };
#define TOGETHER_MS   30000
#define UNEVEN        2.5 /* times: what comes by a beat, a lost one now and then, does not */
#define SHARE_AT_ENDS 10 /* a tenth on either side is left out */

struct reports {
	int64_t t_ms[REPORTS_MOST];
	size_t count;
};

static void take(const struct reading *reading, void *context)
{
	struct reports *reports = context;
	if (reports->count < REPORTS_MOST)
		reports->t_ms[reports->count++] = reading->t_ms;
}

static int by_size(const void *left, const void *right)
{
	const int64_t *a = left, *b = right;
	return (*a > *b) - (*a < *b);
}

/* Times become what lies between those that are apart, by size. */
static size_t spacings_of(int64_t *t_ms, size_t count)
{
	size_t spacings = 0;
	qsort(t_ms, count, sizeof(*t_ms), by_size);
	int64_t last_ms = count ? t_ms[0] : 0;
	for (size_t i = 1; i < count; i++) {
		if (t_ms[i] - last_ms < TOGETHER_MS)
			continue;
		int64_t at_ms = t_ms[i];
		t_ms[spacings++] = at_ms - last_ms;
		last_ms = at_ms;
	}
	qsort(t_ms, spacings, sizeof(*t_ms), by_size);
	return spacings;
}

static bool is_often(struct reports *reports, int64_t spacing_ms)
{
	int64_t *spacings = reports->t_ms;
	size_t all = reports->count, count = spacings_of(spacings, all);
	if (count + 1 < REPORTS_LEAST) /* so quick that all are together */
		return all == REPORTS_MOST;
	int64_t least = spacings[count / SHARE_AT_ENDS];
	int64_t most = spacings[count - 1 - count / SHARE_AT_ENDS];
	return spacings[count / 2] < spacing_ms || (double)most > UNEVEN * (double)least;
}

int said_often(struct store *store, int channel, int64_t from_ms, int64_t to_ms,
	int64_t spacing_ms, bool *ret)
{
	struct reports *reports = xcalloc(1, sizeof(*reports));
	int r = said_visit(store, channel, from_ms, to_ms, take, NULL, reports);
	if (r == 0)
		*ret = is_often(reports, spacing_ms);
	free(reports);
	return r;
}
