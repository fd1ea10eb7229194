/*
 * Segment files: the frame's form, and what opening does with what a crash left.
 *
 * A frame counts when it is whole: length within its range, CRC and sequence number
 * right, the record valid. Opening walks the frames from the start. What follows the last
 * whole one is either a frame cut by a crash (it would reach past the end of the file:
 * its append never returned; dropped) or damage, which may be or hide accepted records:
 * that is moved to a file of its own and logged, never thrown away.
 *
 * The file is mapped once, shared and read-only, as far as it may ever grow. Writers use
 * pwrite(2), so a full file system is an error code and not a signal, and nobody reads
 * the mapping behind `end`, so it never touches pages that the file does not have.
 */
#include "segment.h"

#include <heatbook/log.h>

#include <assert.h>
#include <endian.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#define BROKEN_FILES_MOST 1000

static uint32_t get_u32(const unsigned char *bytes)
{
	uint32_t value;
	memcpy(&value, bytes, sizeof(value));
	return le32toh(value);
}

static void put_u32(char *bytes, uint32_t value)
{
	value = htole32(value);
	memcpy(bytes, &value, sizeof(value));
}

static uint32_t checksum(const void *bytes, size_t length)
{
	return (uint32_t)crc32_z(0, bytes, length);
}

void frame_write(const struct record *record, uint64_t sequence, struct buffer *out)
{
	char prefix[FRAME_PREFIX] = {0};
	size_t at = out->length;
	sequence = htole64(sequence);
	buffer_add(out, prefix, sizeof(prefix));
	buffer_add(out, &sequence, sizeof(sequence));
	record_write(record, out);
	size_t length = out->length - at - FRAME_PREFIX;
	put_u32(out->data + at, (uint32_t)length);
	put_u32(out->data + at + 4, checksum(out->data + at + FRAME_PREFIX, length));
}

static bool length_is_possible(size_t length)
{
	return length > FRAME_HEAD - FRAME_PREFIX && length <= FRAME_MOST - FRAME_PREFIX;
}

size_t frame_read(const unsigned char *bytes, size_t length, struct record *ret,
	uint64_t *ret_sequence)
{
	struct record record;
	uint64_t sequence;
	if (length < FRAME_HEAD)
		return 0;
	size_t inner = get_u32(bytes), record_size = inner - (FRAME_HEAD - FRAME_PREFIX);
	if (!length_is_possible(inner) || inner > length - FRAME_PREFIX)
		return 0;
	if (checksum(bytes + FRAME_PREFIX, inner) != get_u32(bytes + 4))
		return 0;
	if (record_read(bytes + FRAME_HEAD, record_size, &record) != record_size)
		return 0;
	memcpy(&sequence, bytes + FRAME_PREFIX, sizeof(sequence));
	*ret = record;
	*ret_sequence = le64toh(sequence);
	return FRAME_PREFIX + inner;
}

/* A wrong length in the middle of a file looks like a cut frame; whole frames behind it
 * tell. */
static bool frame_within(const unsigned char *bytes, size_t length)
{
	struct record record;
	uint64_t sequence;
	for (size_t i = 0; i + FRAME_HEAD <= length; i++)
		if (frame_read(bytes + i, length - i, &record, &sequence) > 0)
			return true;
	return false;
}

bool frame_is_cut(const unsigned char *bytes, size_t length)
{
	if (length >= FRAME_PREFIX) {
		size_t inner = get_u32(bytes);
		if (!length_is_possible(inner) || inner <= length - FRAME_PREFIX)
			return false;
	}
	return !frame_within(bytes, length);
}

struct frame_run frame_run(const unsigned char *bytes, size_t length, uint64_t committed)
{
	struct frame_run run = {0};
	for (;;) {
		struct record record;
		uint64_t sequence;
		size_t size = frame_read(
			bytes + run.size, length - run.size, &record, &sequence);
		if (size == 0 || sequence == 0 || (run.last && sequence != run.last + 1))
			return run;
		run.first = run.first ? run.first : sequence;
		run.last = sequence;
		run.size += size;
		if (sequence <= committed)
			run.above = run.size;
	}
}

char *segment_path(const char *directory, int index)
{
	return xasprintf("%s/segment-%c", directory, 'a' + index);
}

static int write_whole(int fd, const unsigned char *bytes, size_t length)
{
	while (length > 0) {
		ssize_t n = write(fd, bytes, length);
		if (n < 0 && errno == EINTR)
			continue;
		if (n < 0)
			return -errno;
		bytes += n;
		length -= (size_t)n;
	}
	return fsync(fd) < 0 ? -errno : 0;
}

/* A file that was not there before: damage of an earlier day is not written over. */
static int create_broken(const char *segment, char **ret_path)
{
	for (int i = 1; i <= BROKEN_FILES_MOST; i++) {
		char *path = xasprintf("%s-%d.broken", segment, i);
		int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
		if (fd >= 0) {
			*ret_path = path;
			return fd;
		}
		free(path);
		if (errno != EEXIST)
			return -errno;
	}
	return -EEXIST;
}

int segment_set_aside(struct segment *segment, int64_t keep)
{
	_cleanup_(freep) char *path = NULL;
	struct stat st;
	if (fstat(segment->fd, &st) < 0)
		return -errno;
	int fd = create_broken(segment->path, &path);
	if (fd < 0)
		return fd;
	assert(path);
	int r = write_whole(fd, segment->map + keep, (size_t)(st.st_size - keep));
	if (close(fd) < 0 && r == 0)
		r = -errno;
	if (r < 0) {
		(void)unlink(path); /* half a copy helps nobody; the segment still has it
				       all */
		return r;
	}
	if (ftruncate(segment->fd, keep) < 0)
		return -errno;
	atomic_store(&segment->end, keep);
	log_error(
		"%s: %lld damaged bytes behind sequence number %llu are set aside in %s",
		segment->path, (long long)(st.st_size - keep),
		(unsigned long long)segment->last, path);
	return 0;
}

static int map_file(struct segment *segment, int64_t size, int64_t bound_bytes)
{
	segment->map_size = (size_t)(size > bound_bytes ? size : bound_bytes);
	void *map = mmap(NULL, segment->map_size, PROT_READ, MAP_SHARED, segment->fd, 0);
	if (map == MAP_FAILED)
		return -errno;
	segment->map = map;
	return 0;
}

/* Cuts the file behind its last whole frame, by dropping or by setting aside. */
static int recover(struct segment *segment, int64_t size, int64_t *set_aside)
{
	const unsigned char *rest = segment->map + segment->end;
	size_t length = (size_t)(size - segment->end);
	if (length == 0)
		return 0;
	if (frame_is_cut(rest, length))
		return ftruncate(segment->fd, segment->end) < 0 ? -errno : 0;
	int r = segment_set_aside(segment, segment->end);
	if (r == 0)
		*set_aside += (int64_t)length;
	return r;
}

static int load(struct segment *segment, int64_t bound_bytes, uint64_t committed,
	int64_t *set_aside)
{
	struct stat st;
	if (fstat(segment->fd, &st) < 0)
		return -errno;
	int r = map_file(segment, st.st_size, bound_bytes);
	if (r < 0)
		return r;
	struct frame_run run = frame_run(segment->map, (size_t)st.st_size, committed);
	segment->start = (int64_t)run.above;
	segment->first = run.first;
	segment->last = run.last;
	atomic_store(&segment->end, (int64_t)run.size);
	return recover(segment, st.st_size, set_aside);
}

int segment_open(struct segment *segment, const char *directory, int index,
	int64_t bound_bytes, uint64_t committed, int64_t *set_aside)
{
	*segment = (struct segment){.path = segment_path(directory, index)};
	segment->fd =
		open(segment->path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
	int r = segment->fd < 0 ? -errno
				: load(segment, bound_bytes, committed, set_aside);
	if (r < 0)
		segment_close(segment);
	return r;
}

void segment_close(struct segment *segment)
{
	if (segment->map)
		(void)munmap((void *)(uintptr_t)segment->map,
			segment->map_size); /* ours, whole */
	if (segment->fd >= 0)
		(void)close(
			segment->fd); /* nothing is buffered that close could report */
	free(segment->path);
	*segment = (struct segment){.fd = -1};
}

int segment_clear(struct segment *segment)
{
	if (ftruncate(segment->fd, 0) < 0)
		return -errno;
	atomic_store(&segment->end, 0);
	segment->start = 0;
	segment->first = segment->last = 0;
	return 0;
}
