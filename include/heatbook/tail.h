/*
 * The tail: the journal's not yet committed end, and the queue from the subscriber's
 * thread to the main loop. Two segment files in one directory (tmpfs under systemd), used
 * in turn: while the main loop commits one, the subscriber appends to the other.
 *
 * A frame is u32 length, u32 CRC-32 (zlib) of what follows, u64 sequence number, record
 * (see record.h). Sequence numbers start at 1, never repeat for one store and have no
 * gaps. A frame that was cut by a crash was never accepted and is dropped when the tail
 * is opened.
 *
 * Accepted = tail_append() has returned 0.
 */
#ifndef HEATBOOK_TAIL_H
#define HEATBOOK_TAIL_H

#include <heatbook/record.h>

struct tail;

/* Opens or creates the directory and the two segments; `committed` is the last sequence
 * number in the store: frames up to it are dropped, later ones are kept for tail_read().
 * `bound_bytes` is the greatest size of both together. -EWOULDBLOCK when another process
 * holds the tail (an advisory lock on the directory's lock file). Damaged bytes, unlike a
 * frame that was cut, are moved to a *.broken file beside the segment and logged; what
 * precedes them is kept. */
int tail_open(const char *directory, uint64_t committed, int64_t bound_bytes,
	struct tail **ret);
void tail_close(struct tail *tail);

/* Subscriber's thread (others may). 0 = accepted. -ENOSPC when the bound is reached or
 * the file system is full, or what else writing met: the record is refused and counted;
 * the next append that finds room is preceded by one RECORD_REFUSED with the count,
 * stamped with that append's time. */
int tail_append(struct tail *tail, const struct record *record);
/* Readable whenever frames wait that tail_read() would return; for poll(2). */
int tail_wake_fd(const struct tail *tail);

/* Main loop. The next unread frame, or TAIL_EMPTY. The view points into memory that stays
 * valid until the segment is released (tail_release() of a later generation, below). */
enum { TAIL_EMPTY = 1, TAIL_UNREAD = 2 };
int tail_read(struct tail *tail, struct record *ret, uint64_t *ret_sequence);

/* Main loop, a commit: tail_seal() turns the active segment into the sealed one, if the
 * last sealed one was released (else it does nothing: that commit covers what is sealed).
 * Then tail_sealed() walks every frame of the sealed segment, and after the store has
 * committed them tail_release() frees it. Records that tail_read() returned from the
 * sealed segment stay valid until then. Seal, then read to the end, then commit: a sealed
 * segment with frames that tail_read() has not returned yet is not released
 * (TAIL_UNREAD). If emptying the file fails, tail_sealed() visits its frames no second
 * time, and tail_release() may be tried again. The visitor ends the walk by anything but
 * 0, which tail_sealed() then returns. */
int tail_seal(struct tail *tail);
typedef int tail_visit(const struct record *record, uint64_t sequence, void *context);
int tail_sealed(struct tail *tail, tail_visit *visit, void *context);
int tail_release(struct tail *tail);

/* Main loop. Unsure records (see record.h) that wait for a restamp: tail_hold() keeps
 * them, and all that follow them, from tail_read() and tail_sealed() until
 * tail_restamp(). That appends a RECORD_RESTAMP; from then on every unsure record before
 * it, of the same boot, is read, visited and peeked at with the stamp that follows from
 * its boot time. A restamp that finds no room is returned as an error and holds for this
 * process all the same. tail_loose() is the first record that a restamp would reach, or
 * 0; one that another boot wrote is out of reach. */
uint64_t tail_loose(const struct tail *tail);
void tail_hold(struct tail *tail);
int tail_restamp(struct tail *tail, const struct record *restamp);

/* Frames in a directory without opening it for writing (export beside a running daemon):
 * every whole frame with a sequence number above `committed`, in order, held ones too.
 * A running daemon
 * moves frames from the tail into the store: peek first, then read the store, and leave
 * out what both have. 0 also when there is no tail; -EAGAIN when the daemon was faster
 * than every attempt; or what the visitor returned. */
int tail_peek(
	const char *directory, uint64_t committed, tail_visit *visit, void *context);

struct tail_state {
	uint64_t last_sequence; /* last accepted */
	uint64_t
		free_sequence; /* last before what is held; last accepted if nothing is */
	uint64_t sealed_sequence; /* last of the sealed segment, 0 if there is none */
	uint64_t refused;         /* since open */
	int64_t bytes;            /* in both segments */
	int64_t bound_bytes;
	int64_t set_aside_bytes; /* damaged, moved to *.broken files when opened */
};
void tail_state(struct tail *tail, struct tail_state *ret);
/* The latest end of a closed minute, ms, that records in the tail spoke of when it was
 * opened (number[1] of clock steps and restamps), or 0. */
int64_t tail_closed_until_ms(const struct tail *tail);

#endif
