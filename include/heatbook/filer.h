/*
 * The filer: records into journal chunks. Records are gathered by the UTC day of their
 * first reading, so that a day is derived from few chunks whatever the order in which an
 * archive came; memory is bounded whatever its size.
 */
#ifndef HEATBOOK_FILER_H
#define HEATBOOK_FILER_H

#include <heatbook/decoder.h>
#include <heatbook/store.h>

struct filer;

/* `import` 0 = live. Chunks are written by filer_add() and filer_flush() in the caller's
 * transaction. */
struct filer *filer_new(struct store *store, struct decoder *decoder, int64_t import);
void filer_free(struct filer *filer);
/* From now on a thread packs what filer_add() writes; it is put into the store by a later
 * call, by filer_flush() at the latest. For an import. */
void filer_pack_aside(struct filer *filer);

/* 0 or a code of store.h: then nothing more is to be added. */
int filer_add(struct filer *filer, const struct record *record);
int filer_flush(struct filer *filer);
/* Calls back for each UTC day of whose records with readings chunks were written since
 * the last call, with the span of their times; the caller marks them dirty in the same
 * transaction. */
typedef int filer_span(int64_t from_ms, int64_t to_ms, void *context);
int filer_spans(struct filer *filer, filer_span *visit, void *context);

/* Span of a record's reading times, by decoding it where that is needed; its stamp, and
 * false, where it has none. */
bool record_span(struct decoder *decoder, const unsigned char *frame,
	struct readings *scratch, int64_t *ret_first_ms, int64_t *ret_last_ms);

/* What the bytes of a chunk hold. */
struct content {
	int64_t records;           /* rows one by one */
	int64_t first_ms, last_ms; /* of their spans; no sense without any record */
	size_t left;               /* bytes at the end that are no record */
};
struct content chunk_content(
	struct decoder *decoder, const struct buffer *bytes, struct readings *scratch);

#endif
