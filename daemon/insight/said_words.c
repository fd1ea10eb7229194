/*
 * Words that no map names, out of the journal: see finding.h. Rows hold but that a word
 * was unknown.
 */
#include "finding.h"

#include "said.h"

#include <string.h>

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

struct asked {
	int channel;
	int64_t from_ms, to_ms;
	struct said_words *words;
};

static void take(
	uint16_t channel, int64_t t_ms, const char *word, size_t length, void *context)
{
	struct asked *asked = context;
	struct said_words *words = asked->words;
	if (channel != asked->channel || t_ms < asked->from_ms || t_ms >= asked->to_ms)
		return;
	struct said_word *w = find(words, word, length);
	if (!w && words->count == SAID_WORDS_MOST)
		return;
	if (!w) {
		w = &words->items[words->count++];
		w->length = length < sizeof(w->text) ? length : sizeof(w->text);
		memcpy(w->text, word, w->length);
		w->count = 0;
	}
	w->count++;
}

int said_words_of(struct store *store, int channel, int64_t from_ms, int64_t to_ms,
	struct said_words *words)
{
	struct asked asked = {channel, from_ms, to_ms, words};
	return said_visit(store, channel, from_ms, to_ms, NULL, take, &asked);
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
