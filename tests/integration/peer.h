/*
 * A peer that speaks MQTT as a test scripts it, a thread for one connection at a time.
 * Packets are written byte by byte after OASIS MQTT 3.1.1 (sections 2.2, 3.1 to 3.3, 3.8,
 * 3.9; read) and 5.0 (the same sections; from memory).
 */
#ifndef PEER_H
#define PEER_H

#include "link.h"

#include <assert.h>
#include <signal.h>

#define PACKET_MOST 4096

enum packet_type { PACKET_CONNECT = 1, PACKET_SUBSCRIBE = 8 };

struct peer {
	int listener;
	int port;
	int connections; /* accepted so far */
	pthread_t thread;
	void (*serve)(int fd, int connection, void *context);
	void *context;
};

static inline void *peer_run(void *context)
{
	struct peer *peer = context;
	int fd;
	while ((fd = accept4(peer->listener, NULL, NULL, SOCK_CLOEXEC)) >= 0) {
		peer->serve(fd, peer->connections++, peer->context);
		(void)close(fd); /* it may be gone already */
	}
	return NULL;
}

static inline void peer_listen(struct peer *peer, int backlog)
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

static inline void peer_start(
	struct peer *peer, void (*serve)(int, int, void *), void *context)
{
	*peer = (struct peer){.serve = serve, .context = context};
	(void)signal(SIGPIPE, SIG_IGN); /* the peer's own writes */
	peer_listen(peer, 8);
	ck_assert_int_eq(pthread_create(&peer->thread, NULL, peer_run, peer), 0);
}

/* After the subscriber has ended, so that no connection is held. */
static inline void peer_stop(struct peer *peer)
{
	(void)shutdown(peer->listener, SHUT_RDWR); /* ends accept() */
	ck_assert_int_eq(pthread_join(peer->thread, NULL), 0);
	ck_assert_int_eq(close(peer->listener), 0);
}

/* Type of the next packet and its body, or -1 at the end. */
static inline int read_packet(
	int fd, unsigned char body[static PACKET_MOST], size_t *ret_length)
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

static inline void send_bytes(int fd, const void *bytes, size_t length)
{
	(void)send(fd, bytes, length, MSG_NOSIGNAL); /* the other end may have left */
}

#define LEVEL_311 4 /* of the protocol, as CONNECT says */
#define LEVEL_5   5

/* CONNACK. The level when the code is 0, else 0. */
static inline int answer_connect(int fd, int level, unsigned char code)
{
	send_bytes(fd, (unsigned char[]){0x20, level == LEVEL_5 ? 3 : 2, 0, code, 0},
		level == LEVEL_5 ? 5 : 4);
	return code == 0 ? level : 0;
}

/* Reads CONNECT and answers with `code`; as answer_connect(). */
static inline int greet(int fd, unsigned char code)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	if (read_packet(fd, body, &length) != PACKET_CONNECT || length < 8)
		return 0;
	return answer_connect(fd, body[6], code);
}

/* SUBACK with one code. */
static inline void answer_subscription(
	int fd, int level, const unsigned char *body, unsigned char code)
{
	if (level == LEVEL_5)
		send_bytes(fd, (unsigned char[]){0x90, 4, body[0], body[1], 0, code}, 6);
	else
		send_bytes(fd, (unsigned char[]){0x90, 3, body[0], body[1], code}, 5);
}

/* A message at QoS 0, `retained` with that flag. */
static inline void send_message(
	int fd, int level, bool retained, const char *topic, const char *payload)
{
	unsigned char packet[128];
	size_t properties = level == LEVEL_5, topic_length = strlen(topic);
	size_t length = 2 + topic_length + properties + strlen(payload);
	assert(length < 128);
	packet[0] = retained ? 0x31 : 0x30;
	packet[1] = (unsigned char)length;
	packet[2] = 0;
	packet[3] = (unsigned char)topic_length;
	memcpy(packet + 4, topic, topic_length);
	packet[4 + topic_length] = 0;
	memcpy(packet + 4 + topic_length + properties, payload, strlen(payload));
	send_bytes(fd, packet, 2 + length);
}

/* Answers subscriptions, 128 to filters that start with 'x', until the other end leaves.
 */
static inline void answer_subscriptions(int fd)
{
	unsigned char body[PACKET_MOST];
	size_t length;
	for (int type; (type = read_packet(fd, body, &length)) >= 0;)
		if (type == PACKET_SUBSCRIBE)
			answer_subscription(
				fd, LEVEL_311, body, body[4] == 'x' ? 128 : 0);
}

static inline void wait_for_end(int fd)
{
	unsigned char byte;
	while (recv(fd, &byte, 1, 0) == 1)
		;
}

#endif
