/*
 * Counts by topic and reason in a bounded list. See badcount.h.
 *
 * A plain search: what is not understood is rare, and where it is not there are few kinds
 * of it.
 */
#include "badcount.h"

#include <string.h>

/* Printable ASCII stays, the rest becomes \xHH; what does not fit whole is left out. */
static void escape(const unsigned char *bytes, size_t length, char *out, size_t size)
{
	static const char hex[] = "0123456789abcdef";
	char *end = out + size - 1;
	for (size_t i = 0; i < length; i++) {
		unsigned char c = bytes[i];
		bool plain = c >= 0x20 && c < 0x7f && c != '\\';
		if (end - out < (plain ? 1 : 4))
			break;
		if (plain) {
			*out++ = (char)c;
			continue;
		}
		*out++ = '\\';
		*out++ = 'x';
		*out++ = hex[c >> 4];
		*out++ = hex[c & 15];
	}
	*out = '\0';
}

static struct bad_count *find(struct bad_counts *counts, const char *topic, size_t length,
	enum bad_reason reason)
{
	for (size_t i = 0; i < counts->count; i++) {
		struct bad_count *item = &counts->items[i];
		if (item->reason == reason && strncmp(item->topic, topic, length) == 0 &&
			!item->topic[length])
			return item;
	}
	return NULL;
}

void bad_counts_add(struct bad_counts *counts, const struct record *record,
	enum bad_reason reason, const void *sample, size_t sample_length)
{
	static const char others[] = "(others)";
	const char *topic = record->topic;
	size_t length = record->topic_length;
	if (length > BAD_TOPIC_MOST)
		length = BAD_TOPIC_MOST;
	length = strnlen(topic, length); /* of an archive: no broker passes a 0 */
	struct bad_count *item = find(counts, topic, length, reason);
	if (!item && counts->count >= BAD_COUNTS_MOST - 1) {
		topic = others;
		length = strlen(others);
		reason = BAD_NONE;
		item = find(counts, topic, length, reason);
	}
	if (!item) {
		item = &counts->items[counts->count++];
		*item = (struct bad_count){
			.topic = xstrndup(topic, length), .reason = reason};
		escape(sample, sample_length, item->sample, sizeof(item->sample));
	}
	item->count++;
}

void bad_counts_release(struct bad_counts *counts)
{
	for (size_t i = 0; i < counts->count; i++)
		free(counts->items[i].topic);
	counts->count = 0;
}
