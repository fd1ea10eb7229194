/*
 * The tail after crashes and damage, and with several threads. The law: what was accepted
 * is there exactly once, in order, whatever happened in between (tail.h). SEED in the
 * environment repeats a random run of the kills, as far as the scheduler allows.
 */
#include "scratch.h"

#include <heatbook/log.h>

#include <poll.h>
#include <pthread.h>
#include <sched.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <time.h>

static void count_line(enum log_level level, const char *line, void *context)
{
	(void)level;
	(void)line;
	(*(int *)context)++;
}

#define FRAME                                                                             \
	(16 + 4 + 1 + 8 + 8 + 2 + 7 + 8) /* of append_number(…, 8), by tail.h, record.h \
					  */

/* A directory with a tail of the numbers 1 to `last`, 8 bytes each, in one
   segment. */
static char *made_tail(uint64_t last)
{
	char *dir = scratch_new();
	struct tail *tail = tail_opened(dir, 0, ROOMY);
	append_numbers(tail, 1, last, 8);
	tail_close(tail);
	ck_assert_int_eq(file_size(dir, "segment-a"), (int64_t)last * FRAME);
	return dir;
}

static void flip(const char *dir, off_t at, unsigned char bits)
{
	_cleanup_(freep) char *path = xasprintf("%s/segment-a", dir);
	unsigned char byte;
	int fd = open(path, O_RDWR | O_CLOEXEC);
	ck_assert_int_eq(pread(fd, &byte, 1, at), 1);
	byte ^= bits;
	ck_assert_int_eq(pwrite(fd, &byte, 1, at), 1);
	ck_assert_int_eq(close(fd), 0);
}

TEST(a_frame_cut_at_any_byte_is_dropped)
{
	for (int64_t cut = 2 * FRAME; cut < 3 * FRAME; cut++) {
		char *dir = made_tail(3);
		_cleanup_(freep) char *path = xasprintf("%s/segment-a", dir);
		ck_assert_int_eq(truncate(path, cut), 0);
		struct tail *tail = tail_opened(dir, 0, ROOMY);
		expect_numbers(tail, 1, 2);
		append_numbers(tail, 3, 3, 8);
		expect_numbers(tail, 3, 3);
		tail_close(tail);
		ck_assert_int_eq(file_size(dir, "segment-a"), (int64_t)3 * FRAME);
		ck_assert_int_eq(file_size(dir, "segment-a-1.broken"), -1);
		scratch_remove(dir);
	}
}
END

	/* Any bit of any byte of frame `damaged` of five: what precedes it is kept, the
	 * rest is in a file of its own, once, with a line in the log. */
	static void
	damage(int damaged, unsigned char bits)
{
	for (off_t at = (damaged - 1) * FRAME; at < damaged * FRAME; at++) {
		char *dir = made_tail(5);
		int lines = 0;
		struct tail_state state;
		flip(dir, at, bits);
		log_set_handler(count_line, &lines);
		struct tail *tail = tail_opened(dir, 0, ROOMY);
		log_set_handler(NULL, NULL);
		int64_t rest = (int64_t)(6 - damaged) * FRAME;
		ck_assert_int_eq(lines, 1);
		tail_state(tail, &state);
		ck_assert_int_eq(state.set_aside_bytes, rest);
		ck_assert_int_eq(file_size(dir, "segment-a-1.broken"), rest);
		expect_numbers(tail, 1, (uint64_t)damaged - 1);
		append_numbers(tail, 9, 9, 8);
		tail_close(tail);
		tail = tail_opened(dir, (uint64_t)damaged - 1, ROOMY);
		expect_numbers(tail, 9, 9);
		tail_close(tail);
		ck_assert_int_eq(file_size(dir, "segment-a-2.broken"), -1);
		scratch_remove(dir);
	}
}

TEST(damage_in_the_middle_is_set_aside)
{
	for (unsigned bit = 0; bit < 8; bit++)
		damage(3, (unsigned char)(1U << bit));
	damage(1, 0xff);
}
END

TEST(a_second_damage_does_not_write_over_the_first)
{
	char *dir = made_tail(5);
	int lines = 0;
	log_set_handler(count_line, &lines);
	flip(dir, 4 * FRAME - 1, 1);
	tail_close(tail_opened(dir, 0, ROOMY));
	flip(dir, FRAME + 20, 1);
	struct tail *tail = tail_opened(dir, 0, ROOMY);
	log_set_handler(NULL, NULL);
	expect_numbers(tail, 1, 1);
	tail_close(tail);
	ck_assert_int_eq(lines, 2);
	ck_assert_int_eq(file_size(dir, "segment-a-1.broken"), (int64_t)2 * FRAME);
	ck_assert_int_eq(file_size(dir, "segment-a-2.broken"), (int64_t)2 * FRAME);
	scratch_remove(dir);
}
END

	/* What a store keeps of the tail. It changes by rename(2): a kill leaves the old
	   or the new. */
	struct mark {
	uint64_t committed; /* sequence number */
	uint64_t number;    /* of the last committed message */
};

#define KILLS      30
#define KILL_BOUND (INT64_C(256) << 10)

static struct mark load_mark(const char *dir)
{
	_cleanup_(freep) char *path = xasprintf("%s/mark", dir);
	struct mark mark = {0};
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	if (fd < 0)
		return mark;
	ck_assert_int_eq(read(fd, &mark, sizeof(mark)), (int)sizeof(mark));
	ck_assert_int_eq(close(fd), 0);
	return mark;
}

/* The child's own checks: its end by anything but SIGKILL is a failure. */
static void must(bool holds, const char *what)
{
	if (holds)
		return;
	(void)fprintf(stderr, "child: %s\n", what);
	_exit(3);
}

static void save_mark(const char *dir, const struct mark *mark)
{
	_cleanup_(freep) char *path = xasprintf("%s/mark", dir);
	_cleanup_(freep) char *next = xasprintf("%s/mark-next", dir);
	int fd = open(next, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
	must(write(fd, mark, sizeof(*mark)) == (int)sizeof(*mark), "mark not written");
	must(close(fd) == 0 && rename(next, path) == 0, "mark not renamed");
}

struct writer {
	struct tail *tail;
	int pipe;
	uint64_t number; /* of the next message */
	uint64_t random;
};

/* The subscriber's part: accepted numbers go into the pipe as soon as they are accepted.
 */
static void *write_numbers(void *context)
{
	struct writer *w = context;
	for (;; w->number++) {
		while (append_number(w->tail, w->number, unit_random(&w->random) % 9000) <
			0)
			(void)sched_yield();
		must(write(w->pipe, &w->number, sizeof(w->number)) == 8, "pipe");
	}
	return NULL;
}

static int commit_number(const struct record *record, uint64_t sequence, void *context)
{
	struct mark *mark = context;
	uint64_t number;
	must(sequence == mark->committed + 1, "a sequence number is missing");
	mark->committed = sequence;
	if (record->kind == RECORD_REFUSED)
		return 0;
	must(is_number(record, &number) && number == mark->number + 1,
		"a number is missing");
	mark->number++;
	return 0;
}

/* The daemon's part: reads, commits every twenty records, until killed. */
static void live(const char *dir, int pipe, uint64_t number, uint64_t random)
{
	struct mark mark = load_mark(dir);
	struct tail *tail = NULL;
	struct record record;
	uint64_t sequence, seen = mark.committed;
	must(tail_open(dir, mark.committed, KILL_BOUND, &tail) == 0, "tail not opened");
	struct writer writer = {tail, pipe, number, random};
	pthread_t thread;
	must(pthread_create(&thread, NULL, write_numbers, &writer) == 0, "no thread");
	for (uint64_t last_commit = seen;;) {
		struct pollfd p = {.fd = tail_wake_fd(tail), .events = POLLIN};
		bool full =
			poll(&p, 1, 1) == 0; /* or idle; it has to be committed then */
		while (tail_read(tail, &record, &sequence) == 0)
			must(sequence == ++seen, "tail_read went out of order");
		if (seen < last_commit + 20 && !full)
			continue;
		last_commit = seen;
		must(tail_seal(tail) == 0, "not sealed");
		while (tail_read(tail, &record, &sequence) == 0)
			must(sequence == ++seen, "tail_read went out of order");
		must(tail_sealed(tail, commit_number, &mark) == 0, "not walked");
		save_mark(dir, &mark);
		must(tail_release(tail) == 0, "not released");
	}
}

/* Reads reports until there have been `most`, or the pipe's end; the last one, or `last`.
 */
static uint64_t read_reports(int fd, uint64_t most, uint64_t last)
{
	uint64_t number;
	for (uint64_t n = 0; n < most && read(fd, &number, sizeof(number)) == 8; n++)
		last = number;
	return last;
}

static uint64_t kill_one(const char *dir, uint64_t number, uint64_t *random)
{
	int fds[2];
	ck_assert_int_eq(pipe(fds), 0);
	pid_t child = fork();
	if (child == 0) {
		(void)prctl(PR_SET_PDEATHSIG,
			SIGKILL);    /* it must not outlive a failed test */
		(void)close(fds[0]); /* the parent's end */
		live(dir, fds[1], number, *random);
	}
	ck_assert_int_gt(child, 0);
	ck_assert_int_eq(close(fds[1]), 0);
	uint64_t last = read_reports(fds[0], 1 + unit_random(random) % 300, number - 1);
	struct timespec instant = {0, (long)(unit_random(random) % 300000)};
	(void)nanosleep(&instant, NULL); /* the random instant is the subject here */
	int status;
	ck_assert_int_eq(kill(child, SIGKILL), 0);
	ck_assert_int_eq(waitpid(child, &status, 0), child);
	ck_assert_msg(
		WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL, "child: %x", status);
	last = read_reports(fds[0], UINT64_MAX, last);
	ck_assert_int_eq(close(fds[0]), 0);
	return last;
}

static int look_number(const struct record *record, uint64_t sequence, void *context)
{
	struct mark *mark = context;
	uint64_t number = mark->number + 1;
	bool is_next = sequence == mark->committed + 1 &&
		       (record->kind == RECORD_REFUSED || is_number(record, &number));
	ck_assert(is_next && number == mark->number + 1);
	mark->committed = sequence;
	mark->number += record->kind == RECORD_MESSAGE;
	return 0;
}

/* The last number that store and tail hold together; they hold all up to it, once. */
static uint64_t count_held(const char *dir)
{
	struct mark mark = load_mark(dir), peeked = mark;
	struct tail *tail = NULL;
	struct record record;
	uint64_t sequence;
	ck_assert_int_eq(tail_peek(dir, mark.committed, look_number, &peeked), 0);
	ck_assert_int_eq(tail_open(dir, mark.committed, KILL_BOUND, &tail), 0);
	while (tail_read(tail, &record, &sequence) == 0)
		(void)look_number(&record, sequence, &mark); /* always 0 */
	ck_assert_uint_eq(mark.number, peeked.number);
	tail_close(tail);
	return mark.number;
}

TEST(what_was_accepted_before_a_kill_is_there_once_in_order)
{
	char *dir = scratch_new();
	uint64_t random = unit_seed(), held = 0;
	for (int i = 0; i < KILLS; i++) {
		uint64_t accepted = kill_one(dir, held + 1, &random);
		held = count_held(dir);
		/* The append that the kill hit may have been done, but not reported. */
		ck_assert_uint_ge(held, accepted);
		ck_assert_uint_le(held, accepted + 1);
	}
	printf("# %llu messages over %d kills\n", (unsigned long long)held, KILLS);
	(void)fflush(stdout); /* a comment only */
	ck_assert_uint_gt(held, KILLS);
	scratch_remove(dir);
}
END

#define THREADS  2
#define MESSAGES 5000

	static void *
	append_many(void *context)
{
	struct writer *w = context;
	for (uint64_t i = 0; i < MESSAGES; i++)
		while (append_number(w->tail, w->number + i,
			       unit_random(&w->random) % 2000) < 0)
			(void)sched_yield();
	return NULL;
}

static int count_frame(const struct record *record, uint64_t sequence, void *context)
{
	uint64_t *last = context;
	(void)record;
	ck_assert_uint_eq(sequence, ++*last);
	return 0;
}

/* Reads all there is; each thread's messages come in its order. */
static void read_all(struct tail *tail, uint64_t next[static THREADS])
{
	struct record record;
	uint64_t sequence;
	while (tail_read(tail, &record, &sequence) == 0) {
		if (record.kind == RECORD_REFUSED)
			continue;
		uint64_t number;
		memcpy(&number, record.payload, sizeof(number));
		ck_assert_uint_eq(number, next[number >> 32]);
		next[number >> 32]++;
	}
}

TEST(threads_append_while_the_main_loop_reads_and_commits)
{
	char *dir = scratch_new();
	struct tail *tail =
		tail_opened(dir, 0, 50000); /* small: they meet the bound, too */
	struct writer writers[THREADS];
	pthread_t threads[THREADS];
	uint64_t next[THREADS], committed = 0;
	struct tail_state state;
	for (uint64_t i = 0; i < THREADS; i++) {
		next[i] = i << 32;
		writers[i] = (struct writer){tail, -1, next[i], i};
		ck_assert_int_eq(
			pthread_create(&threads[i], NULL, append_many, &writers[i]), 0);
	}
	while ((next[0] & UINT32_MAX) < MESSAGES || (next[1] & UINT32_MAX) < MESSAGES) {
		struct pollfd p = {.fd = tail_wake_fd(tail), .events = POLLIN};
		ck_assert_int_eq(poll(&p, 1, 10000), 1);
		ck_assert_int_eq(tail_seal(tail), 0);
		read_all(tail, next);
		ck_assert_int_eq(tail_sealed(tail, count_frame, &committed), 0);
		ck_assert_int_eq(tail_release(tail), 0);
		tail_state(tail, &state);
		ck_assert_int_le(state.bytes, 50000);
	}
	for (size_t i = 0; i < THREADS; i++)
		ck_assert_int_eq(pthread_join(threads[i], NULL), 0);
	tail_close(tail);
	scratch_remove(dir);
}
END

TESTS(a_frame_cut_at_any_byte_is_dropped, damage_in_the_middle_is_set_aside,
	a_second_damage_does_not_write_over_the_first,
	what_was_accepted_before_a_kill_is_there_once_in_order,
	threads_append_while_the_main_loop_reads_and_commits)
