/*
 * Bytes of a chunk into its readings of a span. See loaded.h.
 */
#include "loaded.h"

#include <errno.h>

void loaded_free(struct loaded *l)
{
	if (!l)
		return;
	buffer_release(&l->bytes);
	readings_release(&l->readings);
	free(l);
}

static void keep_span(struct readings *readings, int64_t from_ms, int64_t to_ms)
{
	size_t kept = 0;
	for (size_t i = 0; i < readings->count; i++) {
		const struct reading *r = &readings->items[i];
		if (r->t_ms < from_ms || r->t_ms >= to_ms)
			continue;
		if (kept < i)
			readings->items[kept] = *r;
		kept++;
	}
	readings->count = kept;
}

int loaded_decode(
	struct loaded *l, struct decoder *decoder, int64_t from_ms, int64_t to_ms)
{
	const unsigned char *at = (const unsigned char *)l->bytes.data;
	size_t left = l->bytes.length, size;
	struct record record;

	while ((size = record_read(at, left, &record)) > 0) {
		if (!decoder_decode_span(decoder, at, from_ms, to_ms, &l->readings))
			return -EBADMSG;
		at += size;
		left -= size;
	}
	if (left > 0)
		return -EBADMSG;
	keep_span(&l->readings, from_ms, to_ms);
	readings_sort(&l->readings);
	return 0;
}
