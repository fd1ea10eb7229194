/*
 * Looking into a tail from outside, while its daemon may be appending and releasing.
 *
 * There is no lock between the two. A snapshot is a copy of both files; frames check
 * themselves, so the copy of a frame being written is a frame less at the end. What can
 * go wrong is that a segment is released, and even filled again, between the two copies;
 * then they are made again. Frames that are missed because they were released are in the
 * store by then, and the caller reads the store afterwards.
 */
#include <heatbook/tail.h>

#include "restamp.h"
#include "segment.h"

#include <errno.h>
#include <fcntl.h>
#include <unistd.h>

#define ATTEMPTS 20

struct copy {
	struct buffer bytes;
	struct frame_run run;
};

static int copy_file(const char *directory, int index, struct copy *copy)
{
	_cleanup_(freep) char *path = segment_path(directory, index);
	int r = 0;
	buffer_reset(&copy->bytes);
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
	if (fd < 0)
		return errno == ENOENT ? 0 : -errno;
	for (;;) {
		buffer_reserve(&copy->bytes, 65536);
		ssize_t n = read(fd, copy->bytes.data + copy->bytes.length,
			copy->bytes.capacity - copy->bytes.length);
		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0) {
			r = n < 0 ? -errno : 0;
			break;
		}
		copy->bytes.length += (size_t)n;
	}
	(void)close(fd); /* only read */
	return r;
}

static int copy_segment(
	const char *directory, int index, uint64_t committed, struct copy *copy)
{
	int r = copy_file(directory, index, copy);
	copy->run = frame_run(
		(const unsigned char *)copy->bytes.data, copy->bytes.length, committed);
	return r;
}

/* Copies a, b, a again. The second copy of a goes with the copy of b when a was not
 * emptied in between, which its first sequence number tells: then all of a that precedes
 * b is in it, and all of b that precedes a was in b already. */
static int snapshot(const char *directory, uint64_t committed, struct copy copies[3])
{
	static const int indices[3] = {0, 1, 0};
	for (int i = 0; i < 3; i++) {
		int r = copy_segment(directory, indices[i], committed, &copies[i]);
		if (r < 0)
			return r;
	}
	return copies[0].run.first == copies[2].run.first ? 0 : -EAGAIN;
}

static int visit_copy(const struct copy *copy, tail_visit *visit, void *context)
{
	const unsigned char *bytes = (const unsigned char *)copy->bytes.data;
	for (size_t at = copy->run.above; at < copy->run.size;) {
		struct record record;
		uint64_t sequence;
		at += frame_read(bytes + at, copy->run.size - at, &record, &sequence);
		int r = visit(&record, sequence, context);
		if (r != 0)
			return r;
	}
	return 0;
}

/* The caller's visit, of records as restamps make them. */
struct amended {
	struct restamps restamps;
	tail_visit *visit;
	void *context;
};

static int note(const struct record *record, uint64_t sequence, void *context)
{
	struct amended *a = context;
	restamps_note(&a->restamps, record, sequence);
	return 0;
}

static int visit_amended(const struct record *record, uint64_t sequence, void *context)
{
	struct amended *a = context;
	struct record amended = *record;
	restamps_amend(&a->restamps, &amended, sequence);
	return a->visit(&amended, sequence, a->context);
}

static int visit_both(const struct copy *first, const struct copy *second,
	tail_visit *visit, void *context)
{
	struct amended a = {.visit = visit, .context = context};
	(void)visit_copy(first, note, &a); /* never ends the walk */
	(void)visit_copy(second, note, &a);
	int r = visit_copy(first, visit_amended, &a);
	if (r == 0)
		r = visit_copy(second, visit_amended, &a);
	restamps_release(&a.restamps);
	return r;
}

int tail_peek(const char *directory, uint64_t committed, tail_visit *visit, void *context)
{
	struct copy copies[3] = {0};
	int r = -EAGAIN;
	for (int i = 0; i < ATTEMPTS && r == -EAGAIN; i++)
		r = snapshot(directory, committed, copies);
	if (r == 0) {
		const struct copy *a = &copies[2], *b = &copies[1];
		bool b_first = b->run.first < a->run.first;
		r = visit_both(b_first ? b : a, b_first ? a : b, visit, context);
	}
	for (size_t i = 0; i < ARRAY_LEN(copies); i++)
		buffer_release(&copies[i].bytes);
	return r;
}
