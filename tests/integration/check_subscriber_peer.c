/*
 * The subscriber at a peer that lets it wait, refuses, or goes silent, and its leave
 * taking. What a hostile one sends: check_subscriber_hostile.c.
 */
#include "peer.h"

#define STOP_MOST_MS 3000 /* generous: a stop takes milliseconds */

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
		answer_subscription(fd, LEVEL_311, body, body[4] == 'x' ? 128 : 0);
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
	link_pace.look_ms = 20;
	link_pace.answer_ms = 500;
	link_start(&link, (const char *[]){"a"}, 1);
	expect_state(&link, LINK_WAITING, "no answer within 0.5 s");
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
			answer_subscription(fd, LEVEL_311, body, 0);
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
	a_peer_that_never_answers_is_given_up,
	a_link_gone_silent_is_noticed, a_stop_does_not_wait_for_a_peer_without_answer,
	a_stop_does_not_wait_for_a_handshake, a_stop_does_not_wait_for_a_pause,
	a_stop_takes_its_leave_and_is_no_loss)
