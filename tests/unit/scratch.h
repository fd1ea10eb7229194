/*
 * A directory of a test's own, and short ways to make and look at tails in it.
 */
#ifndef SCRATCH_H
#define SCRATCH_H

#include "unit.h"

#include <heatbook/tail.h>

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#define ROOMY (INT64_C(8) << 20) /* a bound that is not reached */

/* A new directory, to be given to scratch_remove(). */
static inline char *scratch_new(void)
{
	const char *base = getenv("TMPDIR");
	char *path = xasprintf("%s/heatbook-test-XXXXXX", base ? base : "/tmp");
	ck_assert_msg(mkdtemp(path) != NULL, "%s: %s", path, strerror(errno));
	return path;
}

/* Removes the directory with the files in it. */
static inline void scratch_remove(char *path)
{
	DIR *d = opendir(path);
	ck_assert_ptr_nonnull(d);
	for (struct dirent *e; (e = readdir(d));)
		if (e->d_name[0] != '.')
			ck_assert_int_eq(unlinkat(dirfd(d), e->d_name, 0), 0);
	ck_assert_int_eq(closedir(d), 0);
	ck_assert_int_eq(rmdir(path), 0);
	free(path);
}

static inline int64_t file_size(const char *directory, const char *name)
{
	_cleanup_(freep) char *path = xasprintf("%s/%s", directory, name);
	struct stat st;
	return stat(path, &st) < 0 ? -1 : (int64_t)st.st_size;
}

static inline struct tail *tail_opened(
	const char *directory, uint64_t committed, int64_t bound)
{
	struct tail *tail = NULL;
	int r = tail_open(directory, committed, bound, &tail);
	ck_assert_msg(r == 0, "tail_open: %s", strerror(-r));
	return tail;
}

/* A message of `number`, the bytes of the number padded to `size` by bytes made from it.
 */
static inline int append_number(struct tail *tail, uint64_t number, size_t size)
{
	static _Thread_local unsigned char payload[PAYLOAD_MOST];
	struct record record = {.kind = RECORD_MESSAGE,
		.t_ms = (int64_t)(1000 + number),
		.boot_ms = (int64_t)number,
		.topic = "numbers",
		.topic_length = 7,
		.payload = payload};
	record.payload_length = size < sizeof(number) ? sizeof(number) : size;
	memset(payload, (int)(number & 255), record.payload_length);
	memcpy(payload, &number, sizeof(number));
	return tail_append(tail, &record);
}

static inline void append_numbers(
	struct tail *tail, uint64_t first, uint64_t last, size_t size)
{
	for (uint64_t n = first; n <= last; n++)
		ck_assert_int_eq(append_number(tail, n, size), 0);
}

/* The number of such a record; false when it is not one, or any byte of it is wrong. (One
 * assertion a record at most: each is a write to the test's parent.) */
static inline bool is_number(const struct record *record, uint64_t *ret)
{
	uint64_t number;
	if (record->kind != RECORD_MESSAGE || record->payload_length < sizeof(number))
		return false;
	memcpy(&number, record->payload, sizeof(number));
	for (size_t i = sizeof(number); i < record->payload_length; i++)
		if (record->payload[i] != (number & 255))
			return false;
	*ret = number;
	return record->t_ms == (int64_t)(1000 + number);
}

static inline uint64_t record_number(const struct record *record)
{
	uint64_t number = 0;
	ck_assert(is_number(record, &number));
	return number;
}

/* Reads messages of the numbers `first` to `last`, and then finds nothing more. */
static inline void expect_numbers(struct tail *tail, uint64_t first, uint64_t last)
{
	struct record record;
	uint64_t sequence;
	for (uint64_t n = first; n <= last; n++) {
		ck_assert_int_eq(tail_read(tail, &record, &sequence), 0);
		ck_assert_uint_eq(record_number(&record), n);
	}
	ck_assert_int_eq(tail_read(tail, &record, &sequence), TAIL_EMPTY);
}

#endif
