/*
 * The readings of a span, out of the journal's chunks, in canonical order: a merge of
 * sorted chunks, each loaded when its time comes and dropped when it is done.
 */
#ifndef DERIVE_STREAM_H
#define DERIVE_STREAM_H

#include "ahead.h"

struct stream;
enum { STREAM_END = 1 };

/* Readings with times in [from, to); `ahead`, which may be NULL, may have some. */
int stream_open(struct store *store, struct decoder *decoder, struct ahead *ahead,
	int64_t from_ms, int64_t to_ms, struct stream **ret);
/* The next reading, valid until the next call; or STREAM_END, or a store's code;
 * -EBADMSG: the chunk that stream_damaged() names cannot be read. */
int stream_next(struct stream *stream, const struct reading **ret);
int64_t stream_damaged(const struct stream *stream);
void stream_close(struct stream *stream);

#endif
