/*
 * The subscriber at a broker that is broken or hostile, by both protocols: it does its
 * worst HOSTILE times, then serves. Each time the thread must live, the cause be told
 * once with its count, and what was accepted before and after be in the tail once.
 *
 * What is wrong with the packets: OASIS MQTT 3.1.1 (read) and 5.0 (from memory), the
 * sections beside them.
 */
#include "peer.h"

#define HOSTILE 2 /* times; a third quick end would make it suspect a twin */
#define GOOD    3 /* live messages of the broker once it serves */

#define SHORT_LIFE_MS 40

#define NOT_ALLOWED "the broker sent what MQTT does not allow"
#define UNANSWERED  "closed by the broker before it answered"

enum stage {
	AT_ONCE,          /* when the connection is there */
	INSTEAD,          /* of CONNACK */
	AFTER_CONNACK,    /* instead of SUBACK */
	AFTER_SUBSCRIBED, /* when all is granted */
};
enum then { CLOSES, HOLDS };

struct script {
	const char *name;
	enum broker_protocol protocol;
	enum stage stage;
	const char *bytes;
	size_t length;
	enum then then;
	const char *words;
	void (*more)(int fd); /* what bytes in a table cannot do */
	size_t messages;      /* that it sends each time, all good */
};

#define V3       BROKER_MQTT_311
#define V5       BROKER_MQTT_5
#define BYTES(b) b, sizeof(b) - 1

/* PUBLISH of the greatest length, 2.2.3, as much of it as the other end takes. */
static void send_endless(int fd)
{
	static const char block[1 << 16];
	ssize_t n = send(fd, "\x30\xff\xff\xff\x7f\0\1a", 8, MSG_NOSIGNAL);
	for (size_t sent = 0; n > 0 && sent < (size_t)256 << 20; sent += (size_t)n)
		n = send(fd, block, sizeof(block), MSG_NOSIGNAL);
}

/* QoS 2 without PUBREL, 4.3.3: the receiver has to keep each. */
static void send_unreleased(int fd)
{
	static char packet[10240] = "\x34\xfd\x4f\0\1a";
	for (unsigned i = 1; i < 65536; i++) {
		char answers[4096];
		packet[6] = (char)(i >> 8);
		packet[7] = (char)i;
		if (send(fd, packet, sizeof(packet), MSG_NOSIGNAL) < 0)
			return;
		(void)recv(fd, answers, sizeof(answers), MSG_DONTWAIT); /* PUBRECs */
	}
}

static void drip(int fd)
{
	for (int i = 0; i < 200; i++) {
		if (send(fd, "\x20", 1, MSG_NOSIGNAL) < 0)
			return;
		(void)poll(NULL, 0, 50); /* that is the script */
	}
}

static void send_longest_topic(int fd)
{
	static char packet[4 + 2 + 65535] = "\x30\x81\x80\x04\xff\xff";
	memset(packet + 6, 't', sizeof(packet) - 6);
	packet[1] = (char)0x81;
	send_bytes(fd, packet, sizeof(packet));
}

static void send_retained(int fd)
{
	for (int i = 0; i < 10000; i++)
		send_message(fd, LEVEL_311, true, "house/kept", "21.5");
}

static void send_live(int fd)
{
	send_message(fd, LEVEL_311, false, "house/live", "21.5");
}

static const struct script scripts[] = {
	/* before and instead of CONNACK */
	{"hangs up at once", V3, AT_ONCE, BYTES(""), CLOSES, UNANSWERED},
	{"hangs up at CONNECT", V3, INSTEAD, BYTES(""), CLOSES, UNANSWERED},
	{"never answers", V3, INSTEAD, BYTES(""), HOLDS, "no answer within 0.5 s"},
	{"never answers v5", V5, INSTEAD, BYTES(""), HOLDS, "no answer within 0.5 s"},
	{"half a CONNACK", V3, INSTEAD, BYTES("\x20\2"), CLOSES, UNANSWERED},
	{"half a CONNACK, held", V3, INSTEAD, BYTES("\x20\2"), HOLDS, "no answer within"},
	{"drips", V3, INSTEAD, BYTES(""), CLOSES, "no answer within 0.5 s", drip},
	{"speaks HTTP", V3, INSTEAD, BYTES("HTTP/1.1 400 Bad Request\r\n\r\n"), CLOSES,
		UNANSWERED},
	{"talks first", V3, INSTEAD, BYTES("\x30\5\0\1a21"), HOLDS, NOT_ALLOWED},
	{"SUBACK first", V3, INSTEAD, BYTES("\x90\3\0\1\0"), HOLDS, NOT_ALLOWED},
	{"reserved type 0", V3, INSTEAD, BYTES("\0\0"), HOLDS, NOT_ALLOWED},
	{"CONNACK of 3.1.1 to 5", V5, INSTEAD, BYTES("\x20\2\0\1"), HOLDS,
		"refuses the protocol version; set protocol to the other"},
	{"bad properties", V5, INSTEAD, BYTES("\x20\5\0\0\2\x27\0"), HOLDS, "the broker"},
	/* instead of SUBACK */
	{"hangs up after CONNACK", V3, AFTER_CONNACK, BYTES(""), CLOSES,
		": closed by the broker"},
	{"CONNACK again", V3, AFTER_CONNACK, BYTES("\x20\2\0\0"), HOLDS, NOT_ALLOWED},
	{"refused", V3, AFTER_CONNACK, BYTES("\x90\3\0\1\x80"), HOLDS,
		"the broker refuses every subscription"},
	{"refused v5", V5, AFTER_CONNACK, BYTES("\x90\4\0\1\0\x87"), HOLDS,
		"the broker refuses every subscription"},
	{"QoS 3 granted", V3, AFTER_CONNACK, BYTES("\x90\3\0\1\3"), HOLDS,
		"the broker refuses every subscription"},
	{"no code", V3, AFTER_CONNACK, BYTES("\x90\2\0\1"), HOLDS, NOT_ALLOWED},
	{"two codes", V3, AFTER_CONNACK, BYTES("\x90\4\0\1\0\0"), HOLDS,
		"the broker refuses every subscription"},
	{"unknown id", V3, AFTER_CONNACK, BYTES("\x90\3\x12\x34\0"), HOLDS,
		"no answer to 1 of 1 subscriptions within 0.5 s"},
	{"id 0", V3, AFTER_CONNACK, BYTES("\x90\3\0\0\0"), HOLDS, NOT_ALLOWED},
	{"message, then an end", V3, AFTER_CONNACK, BYTES("\x31\5\0\1a21"), CLOSES,
		": closed by the broker", NULL, 1},
	/* 2.2.3: a length of at most four bytes; 3.3.1.2: no QoS 3; 3.3.2.1: a topic of
	 * UTF-8 without U+0000 (1.5.3), at least one character long (4.7.3) */
	{"endless length", V3, AFTER_SUBSCRIBED, BYTES("\x30\x80\x80\x80\x80\1"), HOLDS,
		NOT_ALLOWED},
	{"256 MB", V3, AFTER_SUBSCRIBED, BYTES(""), CLOSES,
		"a packet of more than 8192 kB; protocol = 5", send_endless},
	{"256 MB v5", V5, AFTER_SUBSCRIBED, BYTES(""), CLOSES,
		"a packet of more than 256 kB", send_endless},
	{"unreleased", V3, AFTER_SUBSCRIBED, BYTES(""), CLOSES,
		"at a quality of service that was not asked for", send_unreleased},
	{"unreleased v5", V5, AFTER_SUBSCRIBED, BYTES(""), CLOSES,
		"at a quality of service that was not asked for", send_unreleased},
	{"QoS 3", V3, AFTER_SUBSCRIBED, BYTES("\x36\5\0\1a\0\1"), HOLDS,
		"a quality of service that was not"},
	{"QoS 3 v5", V5, AFTER_SUBSCRIBED, BYTES("\x36\6\0\1a\0\1\0"), HOLDS,
		"a quality of service that was not"},
	{"empty topic", V3, AFTER_SUBSCRIBED, BYTES("\x30\3\0\0x"), HOLDS, NOT_ALLOWED},
	{"topic alias", V5, AFTER_SUBSCRIBED, BYTES("\x30\7\0\0\3\x23\0\1x"), HOLDS,
		NOT_ALLOWED},
	{"topic past the end", V3, AFTER_SUBSCRIBED,
		BYTES("\x30\3\0\x09"
		      "a"),
		HOLDS, NOT_ALLOWED},
	{"bad UTF-8", V3, AFTER_SUBSCRIBED, BYTES("\x30\5\0\2\xc3\x28x"), HOLDS,
		"the broker sent a topic that is not UTF-8"},
	{"NUL in the topic", V3, AFTER_SUBSCRIBED,
		BYTES("\x30\6\0\3a\0b"
		      "x"),
		HOLDS, "the broker sent a topic that is not UTF-8"},
	{"reserved type 15", V3, AFTER_SUBSCRIBED, BYTES("\xf0\0"), HOLDS, NOT_ALLOWED},
	{"a client's packet", V3, AFTER_SUBSCRIBED, BYTES("\x82\6\0\1\0\1a\0"), HOLDS,
		NOT_ALLOWED},
	{"half a message", V3, AFTER_SUBSCRIBED, BYTES("\x30\x7f\0\1a"), CLOSES,
		": closed by the broker"},
	{"DISCONNECT of 3.1.1", V3, AFTER_SUBSCRIBED, BYTES("\xe0\0"), HOLDS,
		NOT_ALLOWED},
	{"longest topic", V3, AFTER_SUBSCRIBED, BYTES(""), CLOSES,
		": closed by the broker", send_longest_topic, 1},
	{"10,000 retained", V3, AFTER_SUBSCRIBED, BYTES(""), CLOSES,
		": closed by the broker", send_retained, 10000},
	{"silence", V3, AFTER_SUBSCRIBED, BYTES(""), HOLDS,
		"nothing received for 0.7 s, three keep-alives"},
	/* DISCONNECT of MQTT 5, 3.14.2.1 */
	{"taken over", V5, AFTER_SUBSCRIBED, BYTES("\xe0\2\x8e\0"), CLOSES,
		"another client took this one's place: it has the same id"},
	{"server moved", V5, AFTER_SUBSCRIBED, BYTES("\xe0\x0a\x9d\x08\x1c\0\5other"),
		CLOSES, "the broker has moved to another server; set host"},
	{"shutting down", V5, AFTER_SUBSCRIBED, BYTES("\xe0\2\x8b\0"), CLOSES,
		"the broker is shutting down"},
	{"unknown reason", V5, AFTER_SUBSCRIBED, BYTES("\xe0\2\xfe\0"), HOLDS,
		"a reason unknown to MQTT 5.0"},
	{"farewell", V5, AFTER_SUBSCRIBED, BYTES("\xe0\1\0"), CLOSES,
		": closed by the broker"},
};

/* Reads up to SUBSCRIBE and grants it, where `grants`. False at the end. */
static bool await_subscription(int fd, int level, bool grants)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	for (int type; (type = read_packet(fd, body, &length)) >= 0;) {
		if (type != PACKET_SUBSCRIBE)
			continue;
		if (grants)
			answer_subscription(fd, level, body, 0);
		return true;
	}
	return false;
}

static void misbehave(int fd, const struct script *s)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	int level = 0;
	if (s->stage == INSTEAD && read_packet(fd, body, &length) != PACKET_CONNECT)
		return;
	if (s->stage >= AFTER_CONNACK && (level = greet(fd, 0)) == 0)
		return;
	if (s->stage >= AFTER_CONNACK &&
		!await_subscription(fd, level, s->stage == AFTER_SUBSCRIBED))
		return;
	if (s->length > 0)
		send_bytes(fd, s->bytes, s->length);
	if (s->more)
		s->more(fd);
	if (s->then == HOLDS)
		wait_for_end(fd);
}

static void serve_well(int fd)
{
	int level = greet(fd, 0);
	if (level == 0 || !await_subscription(fd, level, true))
		return;
	for (int i = 0; i < GOOD; i++) {
		send_message(fd, level, false, "good/news", "21.5");
		(void)poll(NULL, 0, SHORT_LIFE_MS); /* the next proves a longer life */
	}
	wait_for_end(fd);
}

static void serve_script(int fd, int connection, void *context)
{
	if (connection < HOSTILE)
		misbehave(fd, context);
	else
		serve_well(fd);
}

static bool is_of(const struct record *r, const char *topic)
{
	return r->topic_length == strlen(topic) &&
	       memcmp(r->topic, topic, r->topic_length) == 0;
}

/* Reads the tail until the good broker's last message; the count of the others. */
static size_t count_others(struct link *link)
{
	size_t others = 0;
	for (int good = 0; good < GOOD;) {
		struct record r = next_record(link);
		if (r.kind != RECORD_MESSAGE)
			continue;
		if (is_of(&r, "good/news"))
			good++;
		else
			others++;
	}
	return others;
}

static void expect_said_once(const char *name, const char *words)
{
	_cleanup_(freep) char *end = xasprintf("good again; failures: %d, last", HOSTILE);
	/* The message is in the tail before its thread says that all is well. */
	for (int i = 0; i < 2000 && said(end) == 0; i++)
		(void)usleep(5000);
	ck_assert_msg(said(end) == 1 && said(words) == 2, "%s: %s", name,
		buffer_text(&log_lines));
}

static void hasten(void)
{
	link_hasten();
	link_pace.answer_ms = 500;
	link_pace.silence_ms = 700;
	link_pace.short_life_ms = SHORT_LIFE_MS;
}

static void endure(const struct script *s)
{
	struct peer peer;
	struct link link;
	struct tail_state tail;
	peer_start(&peer, serve_script, (void *)(uintptr_t)s);
	link_init(&link, peer.port);
	hasten();
	link.broker.protocol = s->protocol;
	link_start(&link, (const char *[]){"#"}, 1);
	size_t others = count_others(&link);
	ck_assert_msg(
		others == HOSTILE * s->messages, "%s: %zu messages", s->name, others);
	expect_said_once(s->name, s->words);
	struct subscriber_state state = expect_state(&link, LINK_SUBSCRIBED, s->words);
	ck_assert_uint_eq(state.messages, others + GOOD);
	ck_assert_uint_eq(state.connects, s->stage < AFTER_CONNACK ? 1 : HOSTILE + 1);
	tail_state(link.tail, &tail);
	ck_assert_uint_eq(tail.refused, 0);
	link_release(&link);
	peer_stop(&peer);
	ck_assert_int_eq(peer.connections, HOSTILE + 1);
}

TEST(whatever_a_broker_does_it_is_named_once_and_served_later)
{
	for (size_t i = 0; i < ARRAY_LEN(scripts); i++)
		endure(&scripts[i]);
}
END

	static long
	resident_kb(const char *which)
{
	_cleanup_(fclosep) FILE *f = fopen("/proc/self/status", "re");
	char line[256];
	ck_assert_ptr_nonnull(f);
	while (fgets(line, sizeof(line), f))
		if (strncmp(line, which, strlen(which)) == 0)
			return strtol(line + strlen(which) + 1, NULL, 10);
	ck_abort_msg("no %s", which);
	return 0;
}

/* The library would take the announced 256 MB and fill them; sanitizers take some for
 * themselves. */
TEST(an_announced_length_does_not_fill_the_memory)
{
	const struct script s = {"256 MB", V3, AFTER_SUBSCRIBED, BYTES(""), CLOSES,
		"a packet of more than 8192 kB", send_endless};
	long before_kb = resident_kb("VmRSS:");
	endure(&s);
	long grown_kb = resident_kb("VmHWM:") - before_kb;
	ck_assert_msg(grown_kb < 96 * 1024, "%ld kB", grown_kb);
}
END

	/* One refusal a connection, then service. */
	struct refusals {
	const unsigned char *codes;
	int count;
};

static void serve_refusals(int fd, int connection, void *context)
{
	const struct refusals *r = context;
	if (connection < r->count)
		(void)greet(fd, r->codes[connection]); /* it hangs up either way */
	else
		serve_well(fd);
}

static void refuse_all(
	enum broker_protocol protocol, const unsigned char *codes, int count)
{
	struct refusals refusals = {codes, count};
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_refusals, &refusals);
	link_init(&link, peer.port);
	hasten();
	link_pace.pause_most_ms = 10;
	link.broker.protocol = protocol;
	link_start(&link, (const char *[]){"#"}, 1);
	ck_assert_uint_eq(count_others(&link), 0);
	ck_assert_uint_eq(said("closed by"), 0); /* a reason was given each time */
	ck_assert_uint_eq(said("broker: 127.0.0.1 port"), (size_t)count);
	link_release(&link);
	peer_stop(&peer);
}

TEST(every_reason_not_to_connect_has_words_of_its_own)
{
	static const unsigned char old[] = {1, 2, 3, 4, 5, 6};
	unsigned char codes[0x23 + 1];
	for (size_t i = 0; i < ARRAY_LEN(codes); i++)
		codes[i] = (unsigned char)(0x80 + i); /* the last is unknown */
	refuse_all(V3, old, (int)ARRAY_LEN(old));
	refuse_all(V5, codes, (int)ARRAY_LEN(codes));
}
END

	static void
	serve_mixed(int fd, int connection, void *context)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	int level = greet(fd, 0);
	(void)connection;
	(void)context;
	for (int type; (type = read_packet(fd, body, &length)) >= 0;)
		if (type == PACKET_SUBSCRIBE)
			answer_subscription(fd, level, body,
				body[5] == 'x'   ? 0x87
				: body[5] == 'y' ? 0xa2
						 : 0);
}

TEST(with_mqtt_5_the_reason_stands_by_the_filter)
{
	static const char *const filters[] = {"x/#", "a/#", "y/+"};
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_mixed, NULL);
	link_init(&link, peer.port);
	link.broker.protocol = V5;
	link_start(&link, filters, ARRAY_LEN(filters));
	expect_record(&link, RECORD_SUBSCRIBED);
	ck_assert_uint_eq(said("subscription to x/# is refused: the broker says not "
			       "authorised"),
		1);
	ck_assert_uint_eq(said("subscription to y/+ is refused: the broker offers no "
			       "wildcards"),
		1);
	ck_assert_uint_eq(said("is refused"), 2);
	link_release(&link);
	peer_stop(&peer);
}
END

	static void
	serve_connect(int fd, int connection, void *context)
{
	(void)connection;
	(void)read_packet(fd, context, &(size_t){0}); /* and hangs up */
}

/* MQTT 5.0, 3.1.2.11.4. */
TEST(with_mqtt_5_the_broker_is_told_a_greatest_packet)
{
	unsigned char body[PACKET_MOST] = {0};
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_connect, body);
	link_init(&link, peer.port);
	link.broker.protocol = V5;
	link_start(&link, (const char *[]){"#"}, 1);
	expect_state(&link, LINK_WAITING, UNANSWERED);
	link_release(&link);
	peer_stop(&peer);
	ck_assert_mem_eq(body, "\0\4MQTT\5", 7);
	static const unsigned char limit[] = {0x27, 0, 4, 0, 0}; /* 256 KiB */
	ck_assert_ptr_nonnull(memmem(body + 11, body[10], limit, sizeof(limit)));
}
END

	/* CONNACK with Server Keep Alive, then silence. */
	static void
	serve_keepalive(int fd, int connection, void *context)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	(void)connection;
	if (read_packet(fd, body, &length) != PACKET_CONNECT)
		return;
	send_bytes(fd,
		(unsigned char[]){0x20, 6, 0, 0, 3, 0x13, 0, *(unsigned char *)context},
		8);
	if (await_subscription(fd, LEVEL_5, true))
		wait_for_end(fd);
}

/* MQTT 5.0, 3.2.2.3.14: 1 s, though 60 s were offered. */
TEST(a_keep_alive_of_the_brokers_own_counts)
{
	unsigned char keepalive_s = 1;
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_keepalive, &keepalive_s);
	link_init(&link, peer.port);
	link.broker.protocol = V5;
	link_start(&link, (const char *[]){"#"}, 1);
	expect_record(&link, RECORD_SUBSCRIBED);
	expect_state(&link, LINK_WAITING, "no answer to a ping");
	link_release(&link);
	peer_stop(&peer);
}
END

	static void
	serve_live_ends(int fd, int connection, void *context)
{
	(void)connection;
	(void)context;
	int level = greet(fd, 0);
	if (level && await_subscription(fd, level, true))
		send_live(fd); /* and it hangs up */
}

TEST(pauses_grow_though_each_connection_brings_a_message)
{
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_live_ends, NULL);
	link_init(&link, peer.port);
	hasten();
	link_pace.pause_least_ms = 20;
	link_pace.pause_most_ms = 60000;
	link_pace.short_life_ms = 5000;
	link_start(&link, (const char *[]){"#"}, 1);
	int64_t began_ms = clock_mono_ms();
	expect_state(
		&link, LINK_WAITING, "perhaps another client has the same client_id");
	while (clock_mono_ms() - began_ms < 2500)
		(void)poll(NULL, 0, 50); /* that is the span looked at */
	link_release(&link);
	peer_stop(&peer);
	/* Of 20 ms each there would be more than a hundred; of 20, 20, 20, 40, 80 … ten.
	 */
	ck_assert_int_le(peer.connections, 16);
}
END

#define CUT_MESSAGES 3000

	/* Messages "cut" of many lengths, written in pieces that end anywhere. */
	static void
	serve_in_pieces(int fd, int connection, void *context)
{
	static unsigned char packet[70000];
	uint64_t random = *(uint64_t *)context;
	(void)connection;
	int level = greet(fd, 0);
	if (level == 0 || !await_subscription(fd, level, true))
		return;
	for (uint32_t n = 0; n < CUT_MESSAGES; n++) {
		int64_t most = n % 50 == 0 ? 60000 : n % 5 == 0 ? 2000 : 120;
		size_t rest = 5 + (size_t)unit_random_between(&random, 4, most), head = 1;
		packet[0] = 0x30;
		for (size_t left = rest; left > 0; left >>= 7)
			packet[head++] =
				(unsigned char)((left & 127) | (left > 127 ? 128 : 0));
		memcpy(packet + head, "\0\3cut", 5);
		memcpy(packet + head + 5, &n, sizeof(n));
		for (size_t at = 0, piece; at < head + rest; at += piece) {
			piece = (size_t)unit_random_between(
				&random, 1, n % 3 ? 70000 : 1 + (int64_t)rest / 3);
			if (piece > head + rest - at)
				piece = head + rest - at;
			send_bytes(fd, packet + at, piece);
			if (unit_random(&random) % 64 == 0)
				(void)poll(NULL, 0, 1); /* let it be read */
		}
	}
	wait_for_end(fd);
}

TEST(messages_cut_anywhere_arrive_whole_and_in_order)
{
	uint64_t random = unit_seed();
	struct peer peer;
	struct link link;
	peer_start(&peer, serve_in_pieces, &random);
	link_init(&link, peer.port);
	link_start(&link, (const char *[]){"#"}, 1);
	for (uint32_t n = 0; n < CUT_MESSAGES;) {
		uint32_t number;
		struct record r = next_record(&link);
		if (r.kind == RECORD_SUBSCRIBED)
			continue;
		ck_assert_int_eq(r.kind, RECORD_MESSAGE);
		memcpy(&number, r.payload, sizeof(number));
		ck_assert_uint_eq(number, n++);
	}
	struct subscriber_state state = expect_state(&link, LINK_SUBSCRIBED, "");
	ck_assert_uint_eq(state.connects, 1);
	ck_assert_uint_eq(state.messages, CUT_MESSAGES);
	link_release(&link);
	peer_stop(&peer);
}
END

TESTS(whatever_a_broker_does_it_is_named_once_and_served_later,
	an_announced_length_does_not_fill_the_memory,
	every_reason_not_to_connect_has_words_of_its_own,
	with_mqtt_5_the_reason_stands_by_the_filter,
	messages_cut_anywhere_arrive_whole_and_in_order,
	with_mqtt_5_the_broker_is_told_a_greatest_packet,
	a_keep_alive_of_the_brokers_own_counts,
	pauses_grow_though_each_connection_brings_a_message)
