/*
 * One segment file of the tail and the frames in it; used by tail.c and peek.c only.
 *
 * Frame, little endian: u32 length of sequence number and record, u32 CRC-32 (ISO 3309,
 * zlib's) of them, u64 sequence number, record. Sequence numbers in a segment have no
 * gaps.
 */
#ifndef HEATBOOK_INGEST_SEGMENT_H
#define HEATBOOK_INGEST_SEGMENT_H

#include <heatbook/record.h>

#include <stdatomic.h>

#define SEGMENT_COUNT 2
#define FRAME_PREFIX  8                          /* length and CRC */
#define FRAME_HEAD    (FRAME_PREFIX + 8)         /* … and sequence number */
#define FRAME_MOST    (FRAME_HEAD + RECORD_MOST) /* bytes */

/* Appends a frame to `out`. */
void frame_write(const struct record *record, uint64_t sequence, struct buffer *out);
/* Reads the frame at `bytes`; its whole size, or 0 when it is not a whole valid frame. */
size_t frame_read(const unsigned char *bytes, size_t length, struct record *ret,
	uint64_t *ret_sequence);
/* Whether bytes that frame_read() refused are what a write cut by a crash leaves: the
 * start of a frame that would end behind the bytes, with no whole frame in them. */
bool frame_is_cut(const unsigned char *bytes, size_t length);

/* The whole frames at the start of some bytes. */
struct frame_run {
	size_t size;    /* bytes */
	uint64_t first; /* sequence numbers, 0 when there is no frame */
	uint64_t last;
	size_t above; /* offset of the first frame above `committed`; `size` if none */
};
struct frame_run frame_run(const unsigned char *bytes, size_t length, uint64_t committed);

struct segment {
	char *path;
	int fd;
	const unsigned char *map; /* of the whole file and what it may grow to */
	size_t map_size;
	_Atomic(int64_t) end; /* bytes; whole frames only lie before it */
	int64_t start;        /* of the first frame that is not committed */
	uint64_t first;       /* sequence numbers when opened, 0 for none */
	uint64_t last;
};

/* Path of segment `index` in the directory; to be freed. */
char *segment_path(const char *directory, int index);
/* Opens or creates; a cut frame at the end is dropped, damage before the end is set aside
 * by segment_set_aside(). `*set_aside` grows by the bytes that were. On failure nothing
 * is held. */
int segment_open(struct segment *segment, const char *directory, int index,
	int64_t bound_bytes, uint64_t committed, int64_t *set_aside);
void segment_close(struct segment *segment);
/* Moves what follows `keep` into a new file beside the segment, named *.broken, and says
 * so. */
int segment_set_aside(struct segment *segment, int64_t keep);
/* Empties the file. */
int segment_clear(struct segment *segment);

#endif
