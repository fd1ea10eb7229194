/*
 * The tail: two segments in turn, one writer side, one reader side. See tail.h.
 *
 * One mutex guards the writer's side (which segment is active, the sequence number, what
 * was refused); appends hold it for one pwrite(2), sealing for an assignment. The
 * reader's side belongs to the main loop alone. Between them stands each segment's
 * published `end`, which grows only after the bytes are in the file, and the eventfd.
 *
 * The sealed segment is the older one: it is read before the active one, and it takes no
 * appends. At opening the older of two segments with frames is the sealed one, so a
 * commit interrupted by a crash is simply done again.
 *
 * What restamps change is changed in the views that are handed out (restamp.h).
 *
 * An append is one write. A write that was cut short (file system full) is cut back and
 * the record refused. There is no fsync: the tail lives in memory-backed storage, and
 * what it must survive is the end of the process, not of the machine.
 */
#include <heatbook/tail.h>

#include "restamp.h"
#include "segment.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <sys/eventfd.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

struct tail {
	struct segment segments[SEGMENT_COUNT];
	int lock_fd;
	int wake_fd;
	atomic_bool signalled; /* wake_fd holds a count */
	int64_t bound_bytes;
	int64_t set_aside_bytes;

	pthread_mutex_t mutex; /* writers' side */
	int active;
	uint64_t last_sequence;
	uint64_t refused;
	uint64_t refused_unsaid; /* of these, not yet in a RECORD_REFUSED */
	struct buffer frames;    /* scratch of one append */

	struct restamps restamps; /* main loop's side, and what follows */
	uint64_t hold_from;       /* the first held record, 0: none */
	int64_t closed_until_ms;  /* what records told when opened */
	bool sealed;              /* main loop's side: the segment that is not active */
	uint64_t committed;
	int64_t read_at[SEGMENT_COUNT];
};

static int take_lock(const char *directory)
{
	_cleanup_(freep) char *path = xasprintf("%s/lock", directory);
	int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
	if (fd < 0)
		return -errno;
	if (flock(fd, LOCK_EX | LOCK_NB) < 0) {
		int r = -errno;
		(void)close(fd); /* the lock is what matters, and it is another's */
		return r;
	}
	return fd;
}

static uint64_t largest(uint64_t a, uint64_t b)
{
	return a > b ? a : b;
}

/* Segments whose frames are all committed are emptied: their commit came before the crash
 * and their release did not. */
static int drop_committed(struct tail *tail)
{
	for (int i = 0; i < SEGMENT_COUNT; i++) {
		struct segment *s = &tail->segments[i];
		if (s->first && s->last <= tail->committed) {
			int r = segment_clear(s);
			if (r < 0)
				return r;
		}
		tail->read_at[i] = s->start;
	}
	tail->sealed = tail->segments[1 - tail->active].end > 0;
	return 0;
}

/* Decides which segment is which, by sequence numbers. */
static int order_segments(struct tail *tail)
{
	struct segment *a = &tail->segments[0], *b = &tail->segments[1];
	tail->active = b->first > a->first ? 1 : 0;
	struct segment *older = &tail->segments[1 - tail->active];
	struct segment *newer = &tail->segments[tail->active];
	if (!older->first || newer->first > older->last)
		return 0;
	/* Numbers that were given twice: no run of this program leaves that. */
	int64_t size = newer->end;
	int r = segment_set_aside(newer, 0);
	if (r < 0)
		return r;
	tail->set_aside_bytes += size;
	tail->active = 1 - tail->active;
	return segment_clear(newer);
}

static void wake(struct tail *tail)
{
	if (!atomic_exchange(&tail->signalled, true))
		(void)eventfd_write(tail->wake_fd, 1); /* fails at 2^64 only */
}

/* The next frame of a segment. Frames were checked when they were opened, or are our own:
 * one that does not read is memory gone bad, and nothing after it can be trusted. */
static bool next_frame(const struct segment *segment, int64_t *at, struct record *ret,
	uint64_t *ret_sequence)
{
	int64_t end = atomic_load(&segment->end);
	if (*at >= end)
		return false;
	size_t size =
		frame_read(segment->map + *at, (size_t)(end - *at), ret, ret_sequence);
	if (size == 0) {
		log_error("%s: damaged at byte %lld while in use", segment->path,
			(long long)*at);
		abort();
	}
	*at += (int64_t)size;
	return true;
}

/* What the records of an earlier process say about clocks. */
static void note_clocks(struct tail *tail, const struct segment *segment)
{
	struct record record;
	uint64_t sequence;
	for (int64_t at = segment->start; next_frame(segment, &at, &record, &sequence);) {
		restamps_note(&tail->restamps, &record, sequence);
		bool tells =
			record.kind == RECORD_CLOCK_STEP || record.kind == RECORD_RESTAMP;
		if (tells && record.number[1] > tail->closed_until_ms)
			tail->closed_until_ms = record.number[1];
	}
}

static void note_all_clocks(struct tail *tail)
{
	struct restamps *r = &tail->restamps;
	int64_t boot = clock_boot_number();

	if (tail->sealed)
		note_clocks(tail, &tail->segments[1 - tail->active]);
	note_clocks(tail, &tail->segments[tail->active]);
	bool same = boot || r->boot_number ? boot == r->boot_number
					   : clock_boot_ms() >= r->boot_ms;
	if (!same)
		restamps_bar(r, tail->last_sequence);
}

static int open_files(struct tail *tail, const char *directory)
{
	tail->wake_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	if (tail->wake_fd < 0)
		return -errno;
	tail->lock_fd = take_lock(directory);
	if (tail->lock_fd < 0)
		return tail->lock_fd;
	for (int i = 0; i < SEGMENT_COUNT; i++) {
		int r = segment_open(&tail->segments[i], directory, i, tail->bound_bytes,
			tail->committed, &tail->set_aside_bytes);
		if (r < 0)
			return r;
		tail->last_sequence =
			largest(tail->last_sequence, tail->segments[i].last);
	}
	int r = order_segments(tail);
	if (r == 0)
		r = drop_committed(tail);
	if (r == 0)
		note_all_clocks(tail);
	return r;
}

static bool nothing_held(const struct tail *tail)
{
	return tail->segments[0].end == 0 && tail->segments[1].end == 0;
}

int tail_open(
	const char *directory, uint64_t committed, int64_t bound_bytes, struct tail **ret)
{
	assert(bound_bytes > 0);
	if (mkdir(directory, 0700) < 0 && errno != EEXIST)
		return -errno;
	struct tail *tail = xcalloc(1, sizeof(*tail));
	tail->lock_fd = tail->wake_fd = -1;
	for (int i = 0; i < SEGMENT_COUNT; i++)
		tail->segments[i].fd = -1;
	tail->bound_bytes = bound_bytes;
	tail->committed = tail->last_sequence = committed;
	(void)pthread_mutex_init(&tail->mutex, NULL); /* cannot fail without attributes */
	buffer_reserve(&tail->frames, (size_t)2 * FRAME_MOST);
	int r = open_files(tail, directory);
	if (r < 0) {
		tail_close(tail);
		return r;
	}
	if (!nothing_held(tail))
		wake(tail);
	*ret = tail;
	return 0;
}

void tail_close(struct tail *tail)
{
	if (!tail)
		return;
	for (int i = 0; i < SEGMENT_COUNT; i++)
		segment_close(&tail->segments[i]);
	if (tail->wake_fd >= 0)
		(void)close(tail->wake_fd); /* an eventfd has nothing to report */
	if (tail->lock_fd >= 0)
		(void)close(tail->lock_fd); /* gives the lock up */
	buffer_release(&tail->frames);
	restamps_release(&tail->restamps);
	(void)pthread_mutex_destroy(&tail->mutex);
	free(tail);
}

static int write_frames(struct segment *segment, const struct buffer *frames)
{
	ssize_t n;
	do
		n = pwrite(segment->fd, frames->data, frames->length, segment->end);
	while (n < 0 && errno == EINTR);
	if (n == (ssize_t)frames->length)
		return 0;
	int r = n < 0 && errno != EDQUOT && errno != EFBIG ? -errno : -ENOSPC;
	if (n > 0 && ftruncate(segment->fd, segment->end) < 0)
		return -errno; /* the next append writes over it, opening drops it */
	return r;
}

/* The record's frame, after one that says what was refused before it. */
static uint64_t build_frames(struct tail *tail, const struct record *record)
{
	uint64_t sequence = tail->last_sequence;
	buffer_reset(&tail->frames);
	if (tail->refused_unsaid) {
		struct record refused = {.kind = RECORD_REFUSED,
			.t_ms = record->t_ms,
			.boot_ms = record->boot_ms,
			.unsure = record->unsure,
			.number = {(int64_t)tail->refused_unsaid}};
		frame_write(&refused, ++sequence, &tail->frames);
	}
	frame_write(record, ++sequence, &tail->frames);
	return sequence;
}

static int append_locked(struct tail *tail, const struct record *record)
{
	struct segment *segment = &tail->segments[tail->active];
	uint64_t sequence = build_frames(tail, record);
	int64_t held = tail->segments[0].end + tail->segments[1].end;
	int64_t size = (int64_t)tail->frames.length;
	int r = held + size > tail->bound_bytes ? -ENOSPC
						: write_frames(segment, &tail->frames);
	if (r < 0) {
		tail->refused++;
		tail->refused_unsaid++;
		return r;
	}
	tail->refused_unsaid = 0;
	tail->last_sequence = sequence;
	atomic_store(&segment->end, segment->end + size);
	return 0;
}

int tail_append(struct tail *tail, const struct record *record)
{
	(void)pthread_mutex_lock(&tail->mutex); /* fails only when misused */
	int r = append_locked(tail, record);
	(void)pthread_mutex_unlock(&tail->mutex);
	if (r == 0)
		wake(tail);
	return r;
}

int tail_wake_fd(const struct tail *tail)
{
	return tail->wake_fd;
}

static bool is_held(const struct tail *tail, uint64_t sequence)
{
	return tail->hold_from && sequence >= tail->hold_from;
}

/* The next frame of segment `i` that may be read. */
static bool read_from(
	struct tail *tail, int i, struct record *ret, uint64_t *ret_sequence)
{
	int64_t at = tail->read_at[i];
	struct record record;
	uint64_t sequence;
	if (!next_frame(&tail->segments[i], &at, &record, &sequence) ||
		is_held(tail, sequence))
		return false;
	restamps_amend(&tail->restamps, &record, sequence);
	tail->read_at[i] = at;
	*ret = record;
	*ret_sequence = sequence;
	return true;
}

static bool read_next(struct tail *tail, struct record *ret, uint64_t *ret_sequence)
{
	int active = tail->active, other = 1 - active;
	return (tail->sealed && read_from(tail, other, ret, ret_sequence)) ||
	       read_from(tail, active, ret, ret_sequence);
}

int tail_read(struct tail *tail, struct record *ret, uint64_t *ret_sequence)
{
	eventfd_t count;
	if (read_next(tail, ret, ret_sequence))
		return 0;
	/* An append between the look and the drain would be slept over: look again, and
	 * leave the descriptor readable if there is something, as more may have come with
	 * it. */
	(void)eventfd_read(tail->wake_fd, &count); /* nothing to drain is as good */
	atomic_store(&tail->signalled, false);
	if (!read_next(tail, ret, ret_sequence))
		return TAIL_EMPTY;
	wake(tail);
	return 0;
}

int tail_seal(struct tail *tail)
{
	if (tail->sealed || tail->segments[tail->active].end == 0)
		return 0;
	(void)pthread_mutex_lock(&tail->mutex);
	tail->segments[tail->active].last = tail->last_sequence;
	tail->active = 1 - tail->active;
	(void)pthread_mutex_unlock(&tail->mutex);
	tail->sealed = true;
	return 0;
}

int tail_sealed(struct tail *tail, tail_visit *visit, void *context)
{
	if (!tail->sealed)
		return 0;
	const struct segment *segment = &tail->segments[1 - tail->active];
	struct record record;
	uint64_t sequence;
	for (int64_t at = segment->start; next_frame(segment, &at, &record, &sequence);) {
		if (is_held(tail, sequence))
			return 0;
		restamps_amend(&tail->restamps, &record, sequence);
		int r = sequence > tail->committed ? visit(&record, sequence, context)
						   : 0;
		if (r != 0)
			return r;
	}
	return 0;
}

int tail_release(struct tail *tail)
{
	int sealed = 1 - tail->active;
	struct segment *segment = &tail->segments[sealed];
	if (!tail->sealed)
		return 0;
	if (tail->read_at[sealed] < segment->end)
		return TAIL_UNREAD;
	/* Committed even if clearing fails: then the next commit finds nothing to visit.
	 */
	tail->committed = largest(tail->committed, segment->last);
	restamps_forget(&tail->restamps, tail->committed);
	int r = segment_clear(segment);
	if (r < 0)
		return r;
	tail->read_at[sealed] = 0;
	tail->sealed = false;
	return 0;
}

void tail_state(struct tail *tail, struct tail_state *ret)
{
	(void)pthread_mutex_lock(&tail->mutex);
	*ret = (struct tail_state){
		.last_sequence = tail->last_sequence,
		.free_sequence =
			tail->hold_from ? tail->hold_from - 1 : tail->last_sequence,
		.sealed_sequence =
			tail->sealed ? tail->segments[1 - tail->active].last : 0,
		.refused = tail->refused,
		.bytes = tail->segments[0].end + tail->segments[1].end,
		.bound_bytes = tail->bound_bytes,
		.set_aside_bytes = tail->set_aside_bytes,
	};
	(void)pthread_mutex_unlock(&tail->mutex);
}

int64_t tail_closed_until_ms(const struct tail *tail)
{
	return tail->closed_until_ms;
}

uint64_t tail_loose(const struct tail *tail)
{
	return tail->restamps.first_loose;
}

void tail_hold(struct tail *tail)
{
	(void)pthread_mutex_lock(&tail->mutex);
	uint64_t next = tail->last_sequence + 1;
	(void)pthread_mutex_unlock(&tail->mutex);
	uint64_t loose = tail->restamps.first_loose;
	tail->hold_from = loose ? loose : next;
}

int tail_restamp(struct tail *tail, const struct record *restamp)
{
	assert(restamp->kind == RECORD_RESTAMP);
	(void)pthread_mutex_lock(&tail->mutex);
	int r = append_locked(tail, restamp);
	uint64_t sequence = tail->last_sequence + (r < 0);
	(void)pthread_mutex_unlock(&tail->mutex);
	restamps_note(&tail->restamps, restamp, sequence);
	tail->hold_from = 0;
	wake(tail);
	return r;
}
