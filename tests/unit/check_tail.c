/*
 * The tail: order, sequence numbers, sealing, bounds, what opening finds after damage.
 * All laws are its own (tail.h); the file system's refusals are real ones, by
 * RLIMIT_FSIZE and by a small tmpfs where this process may mount one.
 */
#include "scratch.h"

#include <poll.h>
#include <signal.h>
#include <sys/eventfd.h>
#include <sys/mount.h>
#include <sys/resource.h>

static bool is_readable(int fd)
{
	struct pollfd p = {.fd = fd, .events = POLLIN};
	return poll(&p, 1, 0) == 1;
}

struct walk {
	uint64_t next;     /* number */
	uint64_t sequence; /* of the last */
	size_t count;
};

static int walk_number(const struct record *record, uint64_t sequence, void *context)
{
	struct walk *walk = context;
	ck_assert_uint_eq(record_number(record), walk->next++);
	walk->sequence = sequence;
	walk->count++;
	return 0;
}

static int stop_walk(const struct record *record, uint64_t sequence, void *context)
{
	(void)record;
	(void)context;
	return sequence == 2 ? -ECANCELED : 0;
}

TEST(records_come_back_as_they_were_in_order)
{
	char *dir = scratch_new();
	struct tail *tail = tail_opened(dir, 0, ROOMY);
	struct record in = {.kind = RECORD_MESSAGE,
		.retained = true,
		.t_ms = -5,
		.boot_ms = 77,
		.topic = "a/b",
		.topic_length = 3,
		.payload = (const unsigned char *)"x\0y",
		.payload_length = 3};
	struct record out,
		fact = {.kind = RECORD_LOST, .t_ms = 9, .boot_ms = -1, .topic = ""};
	uint64_t sequence;
	ck_assert_int_eq(tail_append(tail, &in), 0);
	ck_assert_int_eq(tail_append(tail, &fact), 0);
	ck_assert_int_eq(tail_read(tail, &out, &sequence), 0);
	ck_assert_uint_eq(sequence, 1);
	ck_assert(out.retained && out.t_ms == -5 && out.boot_ms == 77);
	ck_assert_int_eq(record_compare(&in, &out), 0);
	ck_assert_int_eq(tail_read(tail, &out, &sequence), 0);
	ck_assert_uint_eq(sequence, 2);
	ck_assert_int_eq(record_compare(&fact, &out), 0);
	ck_assert_int_eq(tail_read(tail, &out, &sequence), TAIL_EMPTY);
	tail_close(tail);
	scratch_remove(dir);
}
END

TEST(one_holder_at_a_time)
{
	char *dir = scratch_new();
	struct tail *tail = tail_opened(dir, 0, ROOMY), *second = NULL;
	ck_assert_int_eq(tail_open(dir, 0, ROOMY, &second), -EWOULDBLOCK);
	ck_assert_ptr_null(second);
	tail_close(tail);
	tail_close(tail_opened(dir, 0, ROOMY));
	scratch_remove(dir);
}
END

TEST(reopening_delivers_what_is_not_committed_and_counts_on)
{
	static const struct {
		uint64_t committed, first, next_sequence;
	} cases[] = {{0, 1, 11}, {1, 2, 11}, {9, 10, 11}, {10, 11, 11}, {15, 11, 16}};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		char *dir = scratch_new();
		struct tail *tail = tail_opened(dir, 0, ROOMY);
		append_numbers(tail, 1, 10, 100);
		tail_close(tail);
		tail = tail_opened(dir, cases[i].committed, ROOMY);
		ck_assert_int_eq(is_readable(tail_wake_fd(tail)), cases[i].first <= 10);
		expect_numbers(tail, cases[i].first, 10);
		struct record record;
		uint64_t sequence;
		ck_assert_int_eq(append_number(tail, 42, 8), 0);
		ck_assert_int_eq(tail_read(tail, &record, &sequence), 0);
		ck_assert_uint_eq(sequence, cases[i].next_sequence);
		tail_close(tail);
		scratch_remove(dir);
	}
}
END

TEST(the_descriptor_is_readable_while_frames_wait)
{
	char *dir = scratch_new();
	struct tail *tail = tail_opened(dir, 0, ROOMY);
	int fd = tail_wake_fd(tail);
	struct record record;
	uint64_t sequence;
	ck_assert(!is_readable(fd));
	append_numbers(tail, 1, 2, 8);
	ck_assert(is_readable(fd));
	ck_assert_int_eq(tail_read(tail, &record, &sequence), 0);
	ck_assert(is_readable(fd));
	expect_numbers(tail, 2, 2);
	ck_assert(!is_readable(fd));
	append_numbers(tail, 3, 3, 8);
	ck_assert(is_readable(fd));
	tail_close(tail);
	scratch_remove(dir);
}
END

	/* Appends in the moment when the tail drains its descriptor: this eventfd_read()
	 * takes the C library's place in this program. */
	static struct {
	struct tail *tail;
	uint64_t before, after; /* frames to append before and after the drain */
} moment;

int eventfd_read(int fd, eventfd_t *value)
{
	uint64_t before = moment.before, after = moment.after;
	moment.before = moment.after = 0;
	if (before)
		append_numbers(moment.tail, 1, before, 8);
	ssize_t n = read(fd, value, sizeof(*value));
	if (after)
		append_numbers(moment.tail, before + 1, before + after, 8);
	return n == (ssize_t)sizeof(*value) ? 0 : -1;
}

TEST(frames_that_come_during_the_drain_are_not_slept_over)
{
	for (uint64_t i = 1; i < 9; i++) {
		char *dir = scratch_new();
		struct tail *tail = tail_opened(dir, 0, ROOMY);
		struct record record;
		uint64_t sequence;
		moment.tail = tail;
		moment.before = i % 3;
		moment.after = i / 3;
		uint64_t last = moment.before + moment.after;
		for (uint64_t n = 1; n <= last; n++) {
			ck_assert(n == 1 || is_readable(tail_wake_fd(tail)));
			ck_assert_int_eq(tail_read(tail, &record, &sequence), 0);
			ck_assert_uint_eq(record_number(&record), n);
		}
		expect_numbers(tail, last + 1, last);
		ck_assert(!is_readable(tail_wake_fd(tail)));
		append_numbers(tail, 42, 42, 8);
		ck_assert(is_readable(tail_wake_fd(tail)));
		tail_close(tail);
		scratch_remove(dir);
	}
}
END

TEST(a_sealed_segment_is_visited_and_released)
{
	char *dir = scratch_new();
	struct tail *tail = tail_opened(dir, 0, ROOMY);
	struct walk walk = {.next = 1};
	struct record first;
	uint64_t sequence;
	append_numbers(tail, 1, 3, 5000);
	ck_assert_int_eq(tail_read(tail, &first, &sequence), 0);
	ck_assert_int_eq(tail_seal(tail), 0);
	append_numbers(tail, 4, 5, 5000);
	ck_assert_int_eq(tail_release(tail), TAIL_UNREAD);
	expect_numbers(tail, 2, 5);
	ck_assert_int_eq(tail_seal(tail), 0); /* does nothing yet */
	ck_assert_uint_eq(record_number(&first), 1);
	ck_assert_int_eq(tail_sealed(tail, stop_walk, NULL), -ECANCELED);
	ck_assert_int_eq(tail_sealed(tail, walk_number, &walk), 0);
	ck_assert_uint_eq(walk.sequence, 3);
	ck_assert_int_eq(tail_release(tail), 0);
	ck_assert_int_eq(tail_release(tail), 0); /* nothing is sealed */
	ck_assert_int_eq(tail_sealed(tail, walk_number, &walk), 0);
	ck_assert_uint_eq(walk.count, 3);
	ck_assert_int_eq(tail_seal(tail), 0);
	append_numbers(tail, 6, 6, 8); /* into the segment that was released */
	ck_assert_int_eq(tail_sealed(tail, walk_number, &walk), 0);
	ck_assert_uint_eq(walk.sequence, 5);
	ck_assert_int_eq(tail_release(tail), 0);
	expect_numbers(tail, 6, 6);
	tail_close(tail);
	scratch_remove(dir);
}
END

TEST(an_empty_tail_has_nothing_to_commit)
{
	char *dir = scratch_new();
	struct tail *tail = tail_opened(dir, 7, ROOMY);
	struct walk walk = {0};
	struct tail_state state;
	ck_assert_int_eq(tail_seal(tail), 0);
	ck_assert_int_eq(tail_sealed(tail, walk_number, &walk), 0);
	ck_assert_int_eq(tail_release(tail), 0);
	ck_assert_uint_eq(walk.count, 0);
	tail_state(tail, &state);
	ck_assert(state.last_sequence == 7 && state.bytes == 0 &&
		  state.bound_bytes == ROOMY);
	tail_close(tail);
	scratch_remove(dir);
}
END

TEST(a_commit_cut_short_is_done_again_or_was_done)
{
	static const uint64_t committed[] = {0, 2, 3, 4, 5};
	for (size_t i = 0; i < ARRAY_LEN(committed); i++) {
		char *dir = scratch_new();
		struct tail *tail = tail_opened(dir, 0, ROOMY);
		append_numbers(tail, 1, 3, 100);
		ck_assert_int_eq(tail_seal(tail), 0);
		append_numbers(tail, 4, 5, 100);
		tail_close(tail);

		struct walk walk = {.next = committed[i] + 1};
		tail = tail_opened(dir, committed[i], ROOMY);
		expect_numbers(tail, committed[i] + 1, 5);
		for (int commit = 0; commit < 2; commit++) {
			ck_assert_int_eq(tail_seal(tail), 0);
			ck_assert_int_eq(tail_sealed(tail, walk_number, &walk), 0);
			ck_assert_int_eq(tail_release(tail), 0);
		}
		ck_assert_uint_eq(walk.next, 6);
		ck_assert_int_eq(file_size(dir, "segment-a"), 0);
		ck_assert_int_eq(file_size(dir, "segment-b"), 0);
		tail_close(tail);
		scratch_remove(dir);
	}
}
END

	/* Reads a RECORD_REFUSED of that count and time. */
	static void
	expect_refused(struct tail *tail, int64_t count, int64_t t_ms)
{
	struct record record;
	uint64_t sequence;
	ck_assert_int_eq(tail_read(tail, &record, &sequence), 0);
	ck_assert_int_eq(record.kind, RECORD_REFUSED);
	ck_assert_int_eq(record.number[0], count);
	ck_assert_int_eq(record.t_ms, t_ms);
}

/* Fills until refused; the number that was. */
static uint64_t fill(struct tail *tail, size_t size)
{
	for (uint64_t n = 1;; n++) {
		int r = append_number(tail, n, size);
		if (r == -ENOSPC)
			return n;
		ck_assert_int_eq(r, 0);
	}
}

static void empty(struct tail *tail)
{
	ck_assert_int_eq(tail_seal(tail), 0);
	ck_assert_int_eq(tail_release(tail), 0);
}

TEST(at_the_bound_the_newest_is_refused_and_counted)
{
	char *dir = scratch_new();
	struct tail *tail = tail_opened(dir, 0, 10000);
	struct tail_state state;
	uint64_t full = fill(tail, 1000);
	ck_assert_uint_eq(full, 10); /* nine frames of a little over 1,000 bytes fit */
	ck_assert_int_eq(append_number(tail, full, 1000), -ENOSPC);
	tail_state(tail, &state);
	ck_assert_uint_eq(state.refused, 2);
	ck_assert_uint_eq(state.last_sequence, 9);
	ck_assert_int_le(state.bytes, 10000);
	expect_numbers(tail, 1, 9);
	empty(tail);
	ck_assert_int_eq(append_number(tail, 50, 8), 0);
	expect_refused(tail, 2, 1050);
	expect_numbers(tail, 50, 50);
	append_numbers(tail, 51, 52, 8);
	expect_numbers(tail, 51, 52);
	tail_state(tail, &state);
	ck_assert_uint_eq(state.last_sequence, 13);
	tail_close(tail);
	scratch_remove(dir);
}
END

TEST(the_bound_counts_both_segments)
{
	char *dir = scratch_new();
	struct tail *tail = tail_opened(dir, 0, 10000);
	append_numbers(tail, 1, 5, 1000);
	ck_assert_int_eq(tail_seal(tail), 0);
	append_numbers(tail, 6, 9, 1000);
	ck_assert_int_eq(append_number(tail, 10, 1000), -ENOSPC);
	expect_numbers(tail, 1, 9);
	tail_close(tail);
	tail = tail_opened(dir, 0, 5000); /* a smaller bound loses nothing */
	expect_numbers(tail, 1, 9);
	ck_assert_int_eq(append_number(tail, 10, 8), -ENOSPC);
	tail_close(tail);
	scratch_remove(dir);
}
END

TEST(a_write_cut_by_the_file_system_leaves_no_trace)
{
	char *dir = scratch_new();
	struct tail *tail = tail_opened(dir, 0, ROOMY);
	struct rlimit limit = {5500, RLIM_INFINITY};
	(void)signal(SIGXFSZ, SIG_IGN); /* the limit is to be an error code */
	ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
	ck_assert_uint_eq(fill(tail, 1000), 6);
	int64_t size = file_size(dir, "segment-a");
	ck_assert_int_lt(size, 5500);
	ck_assert_int_eq(append_number(tail, 6, 1000), -ENOSPC);
	ck_assert_int_eq(file_size(dir, "segment-a"), size);
	limit.rlim_cur = RLIM_INFINITY;
	ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
	append_numbers(tail, 6, 6, 1000);
	struct record record;
	uint64_t sequence;
	for (int i = 0; i < 5; i++)
		ck_assert_int_eq(tail_read(tail, &record, &sequence), 0);
	expect_refused(tail, 2, 1006);
	expect_numbers(tail, 6, 6);
	tail_close(tail);
	scratch_remove(dir);
}
END

TEST(a_full_file_system_refuses_and_recovers)
{
	char *dir = scratch_new();
	if (mount("tmpfs", dir, "tmpfs", 0, "size=64k") < 0) {
		printf("# not run: this process may not mount a tmpfs: %s\n",
			strerror(errno));
		(void)fflush(stdout); /* a comment only */
		scratch_remove(dir);
		return;
	}
	struct tail *tail = tail_opened(dir, 0, ROOMY);
	uint64_t full = fill(tail, 3000);
	ck_assert_uint_gt(full, 10);
	expect_numbers(tail, 1, full - 1);
	tail_close(tail);
	tail = tail_opened(dir, 0, ROOMY); /* a full disk is no reason not to start */
	expect_numbers(tail, 1, full - 1);
	ck_assert_int_eq(append_number(tail, full, 3000), -ENOSPC);
	empty(tail);
	append_numbers(tail, full, full, 3000);
	expect_refused(tail, 1, (int64_t)(1000 + full));
	expect_numbers(tail, full, full);
	tail_close(tail);
	ck_assert_int_eq(umount(dir), 0);
	scratch_remove(dir);
}
END

TEST(a_look_from_outside_sees_whole_frames_above_the_committed)
{
	char *dir = scratch_new();
	struct walk walk = {.next = 1};
	_cleanup_(freep) char *nowhere = xasprintf("%s/none", dir);
	ck_assert_int_eq(tail_peek(nowhere, 0, walk_number, &walk), 0);
	ck_assert_uint_eq(walk.count, 0);
	struct tail *tail = tail_opened(dir, 0, ROOMY);
	append_numbers(tail, 1, 3, 3000);
	ck_assert_int_eq(tail_seal(tail), 0);
	append_numbers(tail, 4, 6, 3000);
	ck_assert_int_eq(tail_peek(dir, 0, walk_number, &walk), 0);
	ck_assert_uint_eq(walk.count, 6);
	walk = (struct walk){.next = 3};
	ck_assert_int_eq(tail_peek(dir, 2, walk_number, &walk), 0);
	ck_assert_uint_eq(walk.count, 4);
	expect_numbers(tail, 1, 6);
	ck_assert_int_eq(tail_release(tail), 0);
	ck_assert_int_eq(tail_seal(tail), 0);
	append_numbers(tail, 7, 7, 8); /* the file names now sort against the order */
	walk = (struct walk){.next = 4};
	ck_assert_int_eq(tail_peek(dir, 0, walk_number, &walk), 0);
	ck_assert_uint_eq(walk.next, 8);
	ck_assert_int_eq(
		tail_peek(dir, 0, stop_walk, NULL), 0); /* it would stop at 2 only */
	tail_close(tail);
	scratch_remove(dir);
}
END

TESTS(records_come_back_as_they_were_in_order, one_holder_at_a_time,
	reopening_delivers_what_is_not_committed_and_counts_on,
	the_descriptor_is_readable_while_frames_wait,
	frames_that_come_during_the_drain_are_not_slept_over, a_sealed_segment_is_visited_and_released,
	an_empty_tail_has_nothing_to_commit, a_commit_cut_short_is_done_again_or_was_done,
	at_the_bound_the_newest_is_refused_and_counted, the_bound_counts_both_segments,
	a_write_cut_by_the_file_system_leaves_no_trace, a_full_file_system_refuses_and_recovers,
	a_look_from_outside_sees_whole_frames_above_the_committed)
