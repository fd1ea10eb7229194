/*
 * What tests of the subscriber share: a tail to look into, the log's lines, waiting for
 * conditions. Waiting ends with the condition, or the test fails after a limit that only
 * a broken program or a stopped machine reaches.
 */
#ifndef LINK_H
#define LINK_H

#include "../../daemon/ingest/pace.h"
#include "../unit/scratch.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>
#include <heatbook/subscriber.h>

#include <arpa/inet.h>
#include <poll.h>
#include <pthread.h>
#include <sys/socket.h>

#define WAIT_MOST_MS 30000

struct link {
	char *dir;
	struct tail *tail;
	struct stamper *stamper;
	struct subscriber *subscriber;
	struct broker_config broker;
	struct outbox *outbox; /* the test's to make and free, or NULL */
};

static pthread_mutex_t log_mutex = PTHREAD_MUTEX_INITIALIZER;
static struct buffer log_lines; /* each with a newline */

static inline void keep_line(enum log_level level, const char *line, void *context)
{
	(void)level;
	(void)context;
	(void)pthread_mutex_lock(&log_mutex); /* never fails on a static one */
	buffer_add_text(&log_lines, line);
	buffer_add_text(&log_lines, "\n");
	(void)pthread_mutex_unlock(&log_mutex);
}

/* How many times the log says `text`. */
static inline size_t said(const char *text)
{
	size_t n = 0;
	(void)pthread_mutex_lock(&log_mutex); /* never fails on a static one */
	const char *at = buffer_text(&log_lines);
	while ((at = strstr(at, text))) {
		n++;
		at += strlen(text);
	}
	(void)pthread_mutex_unlock(&log_mutex);
	return n;
}

/* Waits until the log says `text`, which it may do after the deed that it tells of. */
static inline void expect_said(const char *text)
{
	int64_t until_ms = clock_mono_ms() + WAIT_MOST_MS;
	while (said(text) == 0) {
		ck_assert_msg(clock_mono_ms() < until_ms, "never said: %s", text);
		(void)poll(NULL, 0, 2); /* there is no descriptor for a line */
	}
}

/* A port of the loopback that nothing listens on. */
static inline int free_port(void)
{
	struct sockaddr_in a = {
		.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
	socklen_t size = sizeof(a);
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
	ck_assert_int_eq(bind(fd, (struct sockaddr *)&a, size), 0);
	ck_assert_int_eq(getsockname(fd, (struct sockaddr *)&a, &size), 0);
	ck_assert_int_eq(close(fd), 0);
	return ntohs(a.sin_port);
}

static inline void link_init(struct link *link, int port)
{
	static char host[] = "127.0.0.1", id[] = "heatbook-test";
	*link = (struct link){.dir = scratch_new(),
		.broker = {
			.host = host, .port = port, .client_id = id, .keepalive_s = 60}};
	link->tail = tail_opened(link->dir, 0, ROOMY);
	link->stamper = stamper_new(link->tail, 0, 0);
	log_set_handler(keep_line, NULL);
}

/* Short pauses, for tests that wait for several. */
static inline void link_hasten(void)
{
	link_pace.look_ms = 20;
	link_pace.pause_least_ms = 10;
	link_pace.pause_most_ms = 200;
}

static inline void link_start(struct link *link, const char *const *filters, size_t count)
{
	ck_assert_int_eq(subscriber_start(&link->broker, filters, count, link->stamper,
				 link->outbox, &link->subscriber),
		0);
}

static inline void link_release(struct link *link)
{
	subscriber_stop(link->subscriber);
	stamper_free(link->stamper);
	tail_close(link->tail);
	scratch_remove(link->dir);
	log_set_handler(NULL, NULL);
	buffer_release(&log_lines);
}

/* The next record of the tail, waited for. */
static inline struct record next_record(struct link *link)
{
	struct record record;
	uint64_t sequence;
	struct pollfd p = {.fd = tail_wake_fd(link->tail), .events = POLLIN};
	int64_t until_ms = clock_mono_ms() + WAIT_MOST_MS;
	while (tail_read(link->tail, &record, &sequence) == TAIL_EMPTY) {
		ck_assert_msg(clock_mono_ms() < until_ms, "no record came; said:\n%s",
			buffer_text(&log_lines));
		(void)poll(&p, 1, 1000); /* the loop looks again either way */
	}
	return record;
}

static inline struct record expect_record(struct link *link, enum record_kind kind)
{
	struct record record = next_record(link);
	ck_assert_msg(record.kind == kind, "%s instead of %s",
		record_kind_name(record.kind), record_kind_name(kind));
	return record;
}

/* Waits until the state is that, with a cause that holds `cause`. */
static inline struct subscriber_state expect_state(
	struct link *link, enum link_state state, const char *cause)
{
	struct subscriber_state s;
	int64_t until_ms = clock_mono_ms() + WAIT_MOST_MS;
	for (;;) {
		(void)poll(NULL, 0, 2); /* there is no descriptor for a state */
		subscriber_state(link->subscriber, &s);
		if (s.state == state && strstr(s.cause, cause))
			return s;
		ck_assert_msg(clock_mono_ms() < until_ms, "state %s, cause \"%s\"",
			link_state_name(s.state), s.cause);
	}
}

#endif
