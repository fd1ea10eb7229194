/*
 * What the subscriber publishes, packet by packet, at a peer that acknowledges, does not,
 * refuses or hangs up. OASIS MQTT 3.1.1: 3.1.2 (Will), 3.3.1 (QoS, RETAIN), 3.4 (read);
 * 3.14 (DISCONNECT drops the Will); 5.0: 3.2.2.2, 3.4.2.1 (from memory).
 */
#include "peer.h"

#include <heatbook/outbox.h>

#define WORDS_MOST        256
#define TOPIC_MOST        64
#define PACKET_PUBLISH    3
#define PACKET_DISCONNECT 14
#define WILL_FLAG         0x04
#define WILL_AS_OURS      0x2c /* flag, QoS 1, retained */
#define AS_OURS           0x33 /* PUBLISH, QoS 1, retained, no duplicate */

static const char *const topics[POST_COUNT] = {"heatbook/today", "heatbook/mode",
	"heatbook/findings", "heatbook/notices", "heatbook/state"};

struct seen {
	int withs, withouts; /* CONNECTs with a Will, and without */
	bool will_is_ours;
	size_t count;      /* of words */
	bool as_ours;      /* all of them, flags included */
	bool disconnected; /* by such a packet */
	int fd;            /* of the present connection, -1 */
};

/* What a peer does, and what it saw. */
struct script {
	unsigned char connack; /* to a CONNECT with a Will */
	bool hangs_up_at_will; /* in place of CONNACK */
	bool hangs_up_at_word;
	const char *silent_at; /* a topic whose words get no PUBACK */
	unsigned char puback;  /* reason code, MQTT 5 */

	pthread_mutex_t mutex;
	struct seen seen;
	char words[WORDS_MOST][TOPIC_MOST]; /* "topic=word" */
	int level;                          /* of the present connection */
	unsigned char held[2];              /* identifier that was not acknowledged */
};

static void lock(struct script *s)
{
	ck_assert_int_eq(pthread_mutex_lock(&s->mutex), 0);
}

static void unlock(struct script *s)
{
	ck_assert_int_eq(pthread_mutex_unlock(&s->mutex), 0);
}

static struct seen look(struct script *s)
{
	lock(s);
	struct seen seen = s->seen;
	unlock(s);
	return seen;
}

/* The text of two bytes of length and so many bytes; what follows it. */
static const unsigned char *take_text(
	const unsigned char *at, char text[static TOPIC_MOST])
{
	size_t length = (size_t)at[0] << 8 | at[1];
	(void)snprintf(text, TOPIC_MOST, "%.*s", (int)length, (const char *)at + 2);
	return at + 2 + length;
}

/* The level, or 0 when the connection is not to go on. */
static int take_connect(struct script *s, int fd)
{
	unsigned char body[PACKET_MOST];
	char id[TOPIC_MOST], topic[TOPIC_MOST], word[TOPIC_MOST];
	size_t length;
	if (read_packet(fd, body, &length) != PACKET_CONNECT || length < 12)
		return 0;
	int level = body[6];
	bool with = body[7] & WILL_FLAG, five = level == LEVEL_5;
	const unsigned char *at = body + 10;
	at = take_text(five ? at + 1 + at[0] : at, id);
	if (with) {
		at = take_text(five ? at + 1 + at[0] : at, topic);
		(void)take_text(at, word);
	}
	lock(s);
	s->seen.withs += with;
	s->seen.withouts += !with;
	s->level = level;
	if (with)
		s->seen.will_is_ours = (body[7] & 0x3c) == WILL_AS_OURS &&
				       strcmp(topic, topics[POST_STATE]) == 0 &&
				       strcmp(word, POST_GONE) == 0;
	unlock(s);
	if (with && s->hangs_up_at_will)
		return 0;
	return answer_connect(fd, level, with ? s->connack : 0);
}

static void acknowledge(struct script *s, int fd, const unsigned char id[static 2])
{
	if (s->level == LEVEL_5)
		send_bytes(fd, (unsigned char[]){0x40, 3, id[0], id[1], s->puback}, 5);
	else
		send_bytes(fd, (unsigned char[]){0x40, 2, id[0], id[1]}, 4);
}

/* False when the peer hangs up for it. */
static bool take_word(
	struct script *s, int fd, const unsigned char *body, size_t length, int flags)
{
	char topic[TOPIC_MOST];
	const unsigned char *id = take_text(body, topic), *word = id + 2;
	if (s->level == LEVEL_5)
		word += 1 + word[0];
	lock(s);
	ck_assert_uint_lt(s->seen.count, WORDS_MOST);
	(void)snprintf(s->words[s->seen.count++], TOPIC_MOST, "%.30s=%.*s", topic,
		(int)(body + length - word), (const char *)word);
	s->seen.as_ours = (s->seen.count == 1 || s->seen.as_ours) && flags == AS_OURS;
	bool silent = s->silent_at && strcmp(topic, s->silent_at) == 0;
	if (silent)
		memcpy(s->held, id, sizeof(s->held));
	unlock(s);
	if (s->hangs_up_at_word)
		return false;
	if (!silent)
		acknowledge(s, fd, id);
	return true;
}

/* As read_packet(), with the flags of its first byte. */
static int read_whole(int fd, unsigned char body[static PACKET_MOST], size_t *ret_length,
	int *ret_first)
{
	unsigned char first = 0;
	if (recv(fd, &first, 1, MSG_PEEK) != 1)
		return -1;
	*ret_first = first;
	return read_packet(fd, body, ret_length);
}

static void serve_script(int fd, int connection, void *context)
{
	struct script *s = context;
	unsigned char body[PACKET_MOST];
	size_t length;
	int first, type = -1, level = take_connect(s, fd);
	(void)connection;
	if (level == 0)
		return;
	lock(s);
	s->seen.fd = fd;
	unlock(s);
	for (int next; (next = read_whole(fd, body, &length, &first)) >= 0;) {
		type = next;
		if (type == PACKET_SUBSCRIBE)
			answer_subscription(fd, level, body, 0);
		if (type == PACKET_PUBLISH &&
			(length < 4 || !take_word(s, fd, body, length, first)))
			break;
	}
	lock(s);
	s->seen.fd = -1;
	s->seen.disconnected = type == PACKET_DISCONNECT;
	unlock(s);
}

struct bench {
	struct script script;
	struct peer peer;
	struct link link;
};

static void begin(struct bench *b, enum broker_protocol protocol)
{
	(void)pthread_mutex_init(&b->script.mutex, NULL); /* never fails */
	b->script.seen.fd = -1;
	peer_start(&b->peer, serve_script, &b->script);
	link_init(&b->link, b->peer.port);
	link_hasten();
	b->link.broker.protocol = protocol;
	ck_assert_int_eq(outbox_new("heatbook", 30000, &b->link.outbox), 0);
}

static void put_all(struct bench *b)
{
	outbox_put(b->link.outbox, POST_TODAY, "{}", false);
	outbox_put(b->link.outbox, POST_MODE, "heating", false);
	outbox_put(b->link.outbox, POST_FINDINGS, "[]", false);
}

static void leave(struct bench *b)
{
	struct outbox *outbox = b->link.outbox;
	link_release(&b->link);
	outbox_free(outbox);
	peer_stop(&b->peer);
}

static size_t count_of(struct script *s, const char *word)
{
	size_t n = 0;
	lock(s);
	for (size_t i = 0; i < s->seen.count; i++)
		n += !word || strcmp(s->words[i], word) == 0;
	unlock(s);
	return n;
}

static void expect_count(struct script *s, const char *word, size_t least)
{
	int64_t until_ms = clock_mono_ms() + WAIT_MOST_MS;
	while (count_of(s, word) < least) {
		ck_assert_msg(clock_mono_ms() < until_ms, "%s did not come",
			word ? word : "a word");
		(void)poll(NULL, 0, 2); /* there is no descriptor for it */
	}
}

static void expect_words(struct script *s, size_t from, const char *const *words)
{
	for (size_t i = 0; words[i]; i++)
		ck_assert_str_eq(s->words[from + i], words[i]);
}

TEST(all_is_said_before_it_is_present_and_taken_back_at_the_end)
{
	static struct bench b;
	begin(&b, BROKER_MQTT_311);
	outbox_put(b.link.outbox, POST_TODAY, "{}", false);
	outbox_put(b.link.outbox, POST_MODE, "heating", false);
	link_start(&b.link, (const char *[]){"#"}, 1);
	expect_count(&b.script, "heatbook/mode=heating", 1);
	ck_assert_uint_eq(count_of(&b.script, "heatbook/state=present"), 0);
	outbox_put(b.link.outbox, POST_FINDINGS, "[]", false);
	expect_count(&b.script, "heatbook/state=present", 1);
	ck_assert(look(&b.script).will_is_ours);
	leave(&b);
	expect_words(&b.script, 0,
		(const char *[]){"heatbook/today={}", "heatbook/mode=heating",
			"heatbook/findings=[]", "heatbook/state=present",
			"heatbook/today=", "heatbook/mode=", "heatbook/findings=",
			"heatbook/state=stopped", NULL});
	ck_assert_uint_eq(look(&b.script).count, 8);
	ck_assert(look(&b.script).as_ours && look(&b.script).disconnected);
}
END

TEST(nothing_piles_up_at_a_broker_that_does_not_acknowledge)
{
	static struct bench b;
	b.script.silent_at = topics[POST_MODE];
	begin(&b, BROKER_MQTT_311);
	put_all(&b);
	link_start(&b.link, (const char *[]){"#"}, 1);
	expect_count(&b.script, "heatbook/findings=[]", 1);
	for (int i = 0; i < 1000; i++) {
		_cleanup_(freep) char *word = xasprintf("mode %d", i);
		outbox_put(b.link.outbox, POST_MODE, word, false);
	}
	outbox_put(b.link.outbox, POST_TODAY, "{1}", false);
	expect_count(&b.script, "heatbook/today={1}", 1);
	ck_assert_uint_eq(look(&b.script).count, 4);
	lock(&b.script);
	b.script.silent_at = NULL;
	acknowledge(&b.script, b.script.seen.fd, b.script.held);
	unlock(&b.script);
	expect_count(&b.script, "heatbook/mode=mode 999", 1);
	expect_count(&b.script, "heatbook/state=present", 1);
	ck_assert_uint_eq(look(&b.script).count, 6);
	/* At the end it waits for no more than a moment, and leaves it to the Will to
	 * say. */
	lock(&b.script);
	b.script.silent_at = topics[POST_STATE];
	unlock(&b.script);
	leave(&b);
	ck_assert_uint_eq(look(&b.script).count, 10);
	ck_assert(!look(&b.script).disconnected);
}
END

/* MQTT-3.3.5-2: a server that does not allow a publication acknowledges it all the same
 * or closes the connection. */
TEST(where_publishing_breaks_connections_it_listens_without)
{
	static struct bench b;
	b.script.hangs_up_at_word = true;
	begin(&b, BROKER_MQTT_311);
	put_all(&b);
	link_start(&b.link, (const char *[]){"#"}, 1);
	expect_said("heatbook/state is not published: connections that publish break");
	while (look(&b.script).withouts == 0)
		(void)poll(NULL, 0, 2); /* there is no descriptor for it */
	expect_state(&b.link, LINK_SUBSCRIBED, "");
	size_t count = count_of(&b.script, NULL);
	outbox_put(b.link.outbox, POST_MODE, "defrost", false);
	send_message(look(&b.script).fd, LEVEL_311, false, "house/word", "1");
	for (struct record r = next_record(&b.link); r.kind != RECORD_MESSAGE;
		r = next_record(&b.link))
		;
	ck_assert_int_eq(look(&b.script).withs, 3);
	ck_assert_uint_eq(count_of(&b.script, NULL), count);
	leave(&b);
	ck_assert_uint_eq(count_of(&b.script, NULL), count); /* no farewell either */
}
END

TEST(where_a_will_is_not_taken_it_listens_without)
{
	static struct bench closing, refusing;
	closing.script.hangs_up_at_will = true;
	begin(&closing, BROKER_MQTT_311);
	link_start(&closing.link, (const char *[]){"#"}, 1);
	expect_state(&closing.link, LINK_SUBSCRIBED, "");
	ck_assert_int_eq(look(&closing.script).withs, 3);
	leave(&closing);
	refusing.script.connack = 0x9a;
	begin(&refusing, BROKER_MQTT_5);
	link_start(&refusing.link, (const char *[]){"#"}, 1);
	expect_state(&refusing.link, LINK_SUBSCRIBED, "");
	expect_said("is not published: the broker keeps no retained messages");
	ck_assert_int_eq(look(&refusing.script).withs, 1);
	leave(&refusing);
}
END

TEST(a_refusal_by_acknowledgement_is_said_once)
{
	static struct bench b;
	b.script.puback = 0x87;
	begin(&b, BROKER_MQTT_5);
	put_all(&b);
	link_start(&b.link, (const char *[]){"#"}, 1);
	expect_count(&b.script, "heatbook/state=present", 1);
	expect_said("heatbook/today is not published: the broker says not authorised");
	ck_assert_uint_eq(said("is not published"), 1);
	ck_assert(look(&b.script).as_ours && look(&b.script).will_is_ours);
	leave(&b);
}
END

TEST(own_words_that_come_back_are_no_messages)
{
	static struct bench b;
	begin(&b, BROKER_MQTT_311);
	put_all(&b);
	link_start(&b.link, (const char *[]){"#"}, 1);
	expect_count(&b.script, "heatbook/state=present", 1);
	expect_record(&b.link, RECORD_SUBSCRIBED);
	for (size_t i = 0; i < POST_COUNT; i++)
		send_message(look(&b.script).fd, LEVEL_311, i % 2, topics[i], "1");
	send_message(look(&b.script).fd, LEVEL_311, false, "heatbooks", "1");
	struct record r = expect_record(&b.link, RECORD_MESSAGE);
	ck_assert_uint_eq(r.topic_length, strlen("heatbooks"));
	struct subscriber_state s = expect_state(&b.link, LINK_SUBSCRIBED, "");
	ck_assert_uint_eq(s.messages, 1);
	leave(&b);
}
END

TESTS(all_is_said_before_it_is_present_and_taken_back_at_the_end,
	nothing_piles_up_at_a_broker_that_does_not_acknowledge,
	where_publishing_breaks_connections_it_listens_without,
	where_a_will_is_not_taken_it_listens_without,
	a_refusal_by_acknowledgement_is_said_once,
	own_words_that_come_back_are_no_messages)
