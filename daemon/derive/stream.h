/*
 * The readings of a span, out of the journal's chunks, in canonical order: a merge of
 * sorted chunks, each loaded when its time comes and dropped when it is done.
 */
#ifndef DERIVE_STREAM_H
#define DERIVE_STREAM_H

#include "loaded.h"

#include <heatbook/store.h>

struct stream_chunks;

/* For stream_next() alone. */
struct stream {
	const struct reading *next, *end; /* the run that is known to follow */
	struct stream_chunks *chunks;
};

enum { STREAM_END = 1 };

/* Readings with times in [from, to). 0 or a store's code. */
int stream_open(struct store *store, struct decoder *decoder, int64_t from_ms,
	int64_t to_ms, struct stream **ret);
/* Those of chunks in order of their first times, which outlive the stream. `load` answers
 * them in this order: the caller's to free, or a code of stream_next(). */
typedef int stream_load(void *context, const struct chunk_ref *ref, struct loaded **ret);
struct stream *stream_over(
	const struct chunk_ref *refs, size_t count, stream_load *load, void *context);
/* Finds the run that follows the one that was given to its end. */
int stream_next_run(struct stream *stream);
/* The next reading, valid until the next call; or STREAM_END, or a store's code;
 * -EBADMSG: the chunk that stream_damaged() names cannot be read. */
static inline int stream_next(struct stream *stream, const struct reading **ret)
{
	int r = stream->next < stream->end ? 0 : stream_next_run(stream);
	if (r == 0)
		*ret = stream->next++;
	return r;
}
int64_t stream_damaged(const struct stream *stream);
void stream_close(struct stream *stream);

#endif
