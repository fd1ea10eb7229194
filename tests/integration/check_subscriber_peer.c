/*
 * The subscriber at a peer that misbehaves by script: what no broker does when asked.
 * Packets are written byte by byte after OASIS MQTT 3.1.1 (sections 2.2, 3.1
 * to 3.3, 3.8, 3.9; read).
 */
#include "link.h"

#include <signal.h>

#define PACKET_MOST  4096
#define STOP_MOST_MS 3000 /* generous: a stop takes milliseconds */

enum packet_type { PACKET_CONNECT = 1, PACKET_SUBSCRIBE = 8 };

struct peer {
	int listener;
	int port;
	int connections; /* accepted so far */
	pthread_t thread;
	void (*serve)(int fd, int connection, void *context);
	void *context;
};

static void *peer_run(void *context)
{
	struct peer *peer = context;
	int fd;
	while ((fd = accept4(peer->listener, NULL, NULL, SOCK_CLOEXEC)) >= 0) {
		peer->serve(fd, peer->connections++, peer->context);
		(void)close(fd); /* it may be gone already */
	}
	return NULL;
}

static void peer_listen(struct peer *peer, int backlog)
{
	struct sockaddr_in a = {
		.sin_family = AF_INET, .sin_addr = {htonl(INADDR_LOOPBACK)}};
	socklen_t size = sizeof(a);
	peer->listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
	ck_assert_int_eq(bind(peer->listener, (struct sockaddr *)&a, size), 0);
	ck_assert_int_eq(getsockname(peer->listener, (struct sockaddr *)&a, &size), 0);
	ck_assert_int_eq(listen(peer->listener, backlog), 0);
	peer->port = ntohs(a.sin_port);
}

static void peer_start(struct peer *peer, void (*serve)(int, int, void *), void *context)
{
	*peer = (struct peer){.serve = serve, .context = context};
	(void)signal(SIGPIPE, SIG_IGN); /* the peer's own writes */
	peer_listen(peer, 8);
	ck_assert_int_eq(pthread_create(&peer->thread, NULL, peer_run, peer), 0);
}

/* After the subscriber has ended, so that no connection is held. */
static void peer_stop(struct peer *peer)
{
	(void)shutdown(peer->listener, SHUT_RDWR); /* ends accept() */
	ck_assert_int_eq(pthread_join(peer->thread, NULL), 0);
	ck_assert_int_eq(close(peer->listener), 0);
}

/* Type of the next packet and its body, or -1 at the end. */
static int read_packet(int fd, unsigned char body[static PACKET_MOST], size_t *ret_length)
{
	unsigned char type, byte;
	size_t length = 0;
	if (recv(fd, &type, 1, 0) != 1)
		return -1;
	for (unsigned shift = 0; shift <= 21; shift += 7) {
		if (recv(fd, &byte, 1, 0) != 1)
			return -1;
		length |= (size_t)(byte & 127) << shift;
		if (!(byte & 128))
			break;
	}
	if (length > PACKET_MOST ||
		(length > 0 && recv(fd, body, length, MSG_WAITALL) != (ssize_t)length))
		return -1;
	*ret_length = length;
	return type >> 4;
}

static void send_bytes(int fd, const void *bytes, size_t length)
{
	(void)send(fd, bytes, length, MSG_NOSIGNAL); /* the other end may have left */
}

static bool greet(int fd, unsigned char code)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	if (read_packet(fd, body, &length) != PACKET_CONNECT)
		return false;
	send_bytes(fd, (unsigned char[]){0x20, 2, 0, code}, 4);
	return code == 0;
}

/* Answers subscriptions, 128 to filters that start with 'x', until the other end leaves.
 */
static void answer_subscriptions(int fd)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	for (int type; (type = read_packet(fd, body, &length)) >= 0;)
		if (type == PACKET_SUBSCRIBE)
			send_bytes(fd,
				(unsigned char[]){0x90, 3, body[0], body[1],
					body[4] == 'x' ? 128 : 0},
				5);
}

static void wait_for_end(int fd)
{
	unsigned char byte;
	while (recv(fd, &byte, 1, 0) == 1)
		;
}

static void serve_refusal(int fd, int connection, void *context)
{
	(void)connection;
	(void)greet(fd, *(unsigned char *)context); /* then it closes either way */
}

TEST(each_refusal_of_a_connection_has_words)
{
	static const struct {
		unsigned char code;
		const char *words;
	} cases[] = {{1, "protocol version"}, {2, "client identifier"},
		{3, "unavailable"}, {4, "user name or password"}, {5, "not authorised"},
		{77, "unknown"}};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		unsigned char code = cases[i].code;
		struct peer peer;
		struct link link;
		peer_start(&peer, serve_refusal, &code);
		link_init(&link, peer.port);
		link_start(&link, (const char *[]){"a"}, 1);
		struct subscriber_state s =
			expect_state(&link, LINK_WAITING, cases[i].words);
		ck_assert_uint_eq(s.connects, 0);
		link_release(&link);
		peer_stop(&peer);
	}
}
END

	/* Hangs up after the subscriptions were answered, the first time. */
	static void
	serve_subscriptions(int fd, int connection, void *context)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	(void)context;
	if (!greet(fd, 0))
		return;
	if (connection > 0) {
		answer_subscriptions(fd);
		return;
	}
	for (int i = 0; i < 3 && read_packet(fd, body, &length) == PACKET_SUBSCRIBE; i++)
		send_bytes(fd,
			(unsigned char[]){
				0x90, 3, body[0], body[1], body[4] == 'x' ? 128 : 0},
			5);
}

TEST(a_refused_filter_is_named_once_and_the_others_serve)
{
	static const char *const filters[] = {"a/#", "x/#", "b/+"};
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_subscriptions, NULL);
	link_init(&link, peer.port);
	link_start(&link, filters, ARRAY_LEN(filters));
	expect_record(&link, RECORD_SUBSCRIBED);
	expect_record(&link, RECORD_LOST);
	expect_record(&link, RECORD_SUBSCRIBED);
	struct subscriber_state s = expect_state(&link, LINK_SUBSCRIBED, "");
	ck_assert_uint_eq(s.connects, 2);
	ck_assert_uint_eq(said("subscription to x/# is refused"), 1);
	ck_assert_uint_eq(said("is refused"), 1);
	link_release(&link);
	peer_stop(&peer);
}
END

	static void
	serve_willing(int fd, int connection, void *context)
{
	(void)connection;
	(void)context;
	if (greet(fd, 0))
		answer_subscriptions(fd);
}

TEST(with_every_filter_refused_it_lets_go_and_tries_again)
{
	static const char *const filters[] = {
		"x/1", "a/#/wrong"}; /* the second by the library */
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_willing, NULL);
	link_init(&link, peer.port);
	link_start(&link, filters, ARRAY_LEN(filters));
	struct subscriber_state s =
		expect_state(&link, LINK_WAITING, "refuses every subscription");
	while (s.connects < 2)
		s = expect_state(&link, LINK_WAITING, "refuses every subscription");
	ck_assert_uint_eq(said("subscription to x/1 is refused"), 1);
	ck_assert_uint_eq(said("subscription to a/#/wrong is refused"), 1);
	struct tail_state tail;
	tail_state(link.tail, &tail);
	ck_assert_uint_eq(tail.last_sequence, 0); /* nothing was ever linked */
	link_release(&link);
	peer_stop(&peer);
}
END

	/* Bytes that are not MQTT, one script a connection. */
	static void
	serve_garbage(int fd, int connection, void *context)
{
	static const unsigned char scripts[][8] = {
		{0x00, 0x00},                              /* reserved type 0 */
		{0xf0, 0x00},                              /* reserved type 15 */
		{0x30, 0xff, 0xff, 0xff, 0xff, 0xff},      /* endless length */
		{0x36, 0x05, 0x00, 0x01, 'a', 0x00, 0x01}, /* QoS 3 */
		{0x30, 0x02, 0x00, 0x00},                  /* empty topic */
		{0x30, 0x03, 0x00, 0x09, 'a'},             /* topic past the end */
	};
	static const size_t lengths[] = {2, 2, 6, 7, 4, 5};
	size_t i = (size_t)connection;
	(void)context;
	if (!greet(fd, 0))
		return;
	if (i < ARRAY_LEN(scripts)) {
		send_bytes(fd, scripts[i], lengths[i]);
		(void)shutdown(fd, SHUT_WR); /* whatever the library makes of it */
		wait_for_end(fd);
		return;
	}
	answer_subscriptions(fd);
}

TEST(garbage_ends_a_connection_but_not_the_thread)
{
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_garbage, NULL);
	link_init(&link, peer.port);
	link_start(&link, (const char *[]){"a"}, 1);
	struct subscriber_state s = expect_state(&link, LINK_WAITING, "");
	ck_assert_str_ne(s.cause, "");
	while (s.connects <
		4) /* the pauses grow: four scripts take about seven seconds */
		s = expect_state(&link, LINK_WAITING, "");
	ck_assert_uint_eq(said("perhaps another client"), 0);
	link_release(&link);
	peer_stop(&peer);
}
END

	static void
	serve_silence(int fd, int connection, void *context)
{
	(void)connection;
	(void)context;
	wait_for_end(fd);
}

TEST(a_peer_that_never_answers_is_given_up)
{
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_silence, NULL);
	link_init(&link, peer.port);
	link_start(&link, (const char *[]){"a"}, 1);
	expect_state(&link, LINK_WAITING, "no answer within 10 s");
	link_release(&link);
	peer_stop(&peer);
}
END

TEST(a_link_gone_silent_is_noticed)
{
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_willing, NULL); /* answers no ping */
	link_init(&link, peer.port);
	link.broker.keepalive_s = 5;
	link_start(&link, (const char *[]){"a"}, 1);
	expect_record(&link, RECORD_SUBSCRIBED);
	int64_t from_ms = clock_mono_ms();
	expect_record(&link, RECORD_LOST);
	ck_assert_int_le(clock_mono_ms() - from_ms, 4 * 5000);
	link_release(&link);
	peer_stop(&peer);
}
END

	static void
	stop_in_time(struct link *link)
{
	int64_t from_ms = clock_mono_ms();
	subscriber_stop(link->subscriber);
	ck_assert_int_le(clock_mono_ms() - from_ms, STOP_MOST_MS);
	link->subscriber = NULL;
	link_release(link);
}

TEST(a_stop_does_not_wait_for_a_peer_without_answer)
{
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_silence, NULL);
	link_init(&link, peer.port);
	link_start(&link, (const char *[]){"a"}, 1);
	expect_state(&link, LINK_CONNECTING, "");
	stop_in_time(&link);
	peer_stop(&peer);
}
END

TEST(a_stop_does_not_wait_for_a_handshake)
{
	struct peer peer;
	struct link link;
	int fillers[8];
	peer_listen(&peer, 0); /* its queue is filled: a further SYN gets no answer */
	struct sockaddr_in a = {.sin_family = AF_INET,
		.sin_port = htons((uint16_t)peer.port),
		.sin_addr = {htonl(INADDR_LOOPBACK)}};
	for (size_t i = 0; i < ARRAY_LEN(fillers); i++) {
		fillers[i] =
			socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
		(void)connect(
			fillers[i], (struct sockaddr *)&a, sizeof(a)); /* begins only */
	}
	link_init(&link, peer.port);
	link_start(&link, (const char *[]){"a"}, 1);
	expect_state(&link, LINK_CONNECTING, "");
	stop_in_time(&link);
	for (size_t i = 0; i < ARRAY_LEN(fillers); i++)
		ck_assert_int_eq(close(fillers[i]), 0);
	ck_assert_int_eq(close(peer.listener), 0);
}
END

TEST(a_stop_does_not_wait_for_a_pause)
{
	struct link link;
	link_init(&link, free_port());
	link_start(&link, (const char *[]){"a"}, 1);
	expect_state(&link, LINK_WAITING, "");
	stop_in_time(&link);
}
END

	static void
	serve_farewell(int fd, int connection, void *context)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	(void)connection;
	if (!greet(fd, 0))
		return;
	for (int type; (type = read_packet(fd, body, &length)) >= 0;) {
		if (type == PACKET_SUBSCRIBE)
			send_bytes(
				fd, (unsigned char[]){0x90, 3, body[0], body[1], 0}, 5);
		*(int *)context = type; /* the last one */
	}
}

TEST(a_stop_takes_its_leave_and_is_no_loss)
{
	struct peer peer;
	struct link link;
	int last = 0;
	peer_start(&peer, serve_farewell, &last);
	link_init(&link, peer.port);
	link_start(&link, (const char *[]){"a"}, 1);
	expect_record(&link, RECORD_SUBSCRIBED);
	subscriber_stop(link.subscriber);
	link.subscriber = NULL;
	peer_stop(&peer);
	ck_assert_int_eq(last, 14); /* DISCONNECT */
	struct tail_state tail;
	tail_state(link.tail, &tail);
	ck_assert_uint_eq(tail.last_sequence, 1);
	link_release(&link);
}
END

TESTS(each_refusal_of_a_connection_has_words,
	a_refused_filter_is_named_once_and_the_others_serve,
	with_every_filter_refused_it_lets_go_and_tries_again,
	garbage_ends_a_connection_but_not_the_thread, a_peer_that_never_answers_is_given_up,
	a_link_gone_silent_is_noticed, a_stop_does_not_wait_for_a_peer_without_answer,
	a_stop_does_not_wait_for_a_handshake, a_stop_does_not_wait_for_a_pause,
	a_stop_takes_its_leave_and_is_no_loss)
