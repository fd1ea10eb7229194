/*
 * Words that no map names, out of the journal: see finding.h. Rows hold but that a word
 * was unknown; which one it was stands in the records that they were made of, so none
 * has to be kept twice, and a store of any age can tell.
 *
 * Of a chunk only records of the channel's topics, and tables' rows, are decoded. What is
 * damaged, or was packed anew meanwhile, tells nothing.
 */
#include "finding.h"

#include <heatbook/decoder.h>
#include <heatbook/store.h>

#include <errno.h>
#include <string.h>

#define BYTES_MOST (INT64_C(32) << 20)

struct search {
	const struct channel_config *channel;
	int index;
	int64_t from_ms, to_ms;
	struct decoder *decoder;
	struct readings readings;
	struct said_words *words;
};

static size_t folded(const char *word, size_t length, char out[static 128])
{
	length = length < 128 ? length : 128;
	memcpy(out, word, length);
	text_fold(out, length);
	return length;
}

static struct said_word *find(struct said_words *words, const char *word, size_t length)
{
	char a[128], b[128];
	size_t n = folded(word, length, a);
	for (size_t i = 0; i < words->count; i++) {
		const struct said_word *w = &words->items[i];
		if (folded(w->text, w->length, b) == n && memcmp(a, b, n) == 0)
			return &words->items[i];
	}
	return NULL;
}

static void take(
	uint16_t channel, int64_t t_ms, const char *word, size_t length, void *context)
{
	struct search *s = context;
	if (channel != s->index || t_ms < s->from_ms || t_ms >= s->to_ms)
		return;
	struct said_word *w = find(s->words, word, length);
	if (!w && s->words->count == SAID_WORDS_MOST)
		return;
	if (!w) {
		w = &s->words->items[s->words->count++];
		w->length = length < sizeof(w->text) ? length : sizeof(w->text);
		memcpy(w->text, word, w->length);
		w->count = 0;
	}
	w->count++;
}

static bool may_tell(const struct search *s, const struct record *record)
{
	if (record->kind == RECORD_ROW)
		return true;
	return record->kind == RECORD_MESSAGE && s->channel->topic &&
	       topic_matches(s->channel->topic, record->topic, record->topic_length);
}

static void search_chunk(struct search *s, const struct buffer *bytes)
{
	const unsigned char *at = (const unsigned char *)bytes->data;
	size_t left = bytes->length, size;
	struct record record;
	while ((size = record_read(at, left, &record)) > 0) {
		s->readings.count = 0;
		if (may_tell(s, &record) && !decoder_decode_span(s->decoder, at,
						    s->from_ms, s->to_ms, &s->readings))
			return;
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

int said_words_of(struct store *store, int channel, int64_t from_ms, int64_t to_ms,
	struct said_words *words)
{
	const struct config *config = store_config(store);
	struct search s = {.channel = &config->channels[channel],
		.index = channel,
		.from_ms = from_ms,
		.to_ms = to_ms,
		.words = words};
	struct chunk_ref *chunks = NULL;
	size_t count = 0;
	int r = store_chunks(store, from_ms, to_ms, &chunks, &count);
	if (r != 0)
		return r;
	s.decoder = decoder_new(config);
	decoder_on_unknown_word(s.decoder, take, &s);
	r = search_chunks(&s, store, chunks, count);
	decoder_free(s.decoder);
	readings_release(&s.readings);
	free(chunks);
	return r;
}

static int by_count(const void *left, const void *right)
{
	const struct said_word *a = left, *b = right;
	if (a->count != b->count)
		return a->count < b->count ? 1 : -1;
	int order =
		memcmp(a->text, b->text, a->length < b->length ? a->length : b->length);
	return order ? order : (a->length > b->length) - (a->length < b->length);
}

void said_words_sort(struct said_words *words)
{
	if (words->count)
		qsort(words->items, words->count, sizeof(*words->items), by_count);
}
