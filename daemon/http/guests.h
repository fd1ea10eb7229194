/*
 * How long a connection may take for what it does, and how often a client may ask. Not
 * for other rooms. See guests.c.
 */
#ifndef HEATBOOK_HTTP_GUESTS_H
#define HEATBOOK_HTTP_GUESTS_H

#include <heatbook/base.h>

#define IDLE_S       15u /* without any progress; the library's own limit */
#define CLIENTS_MOST 256

/* A connection. */
struct visit {
	int fd;
	int64_t until_ms; /* monotonic: it is cut then; INT64_MAX: not by us */
	struct visit *next, **link;
};

/* What a client beyond this host has left. */
struct client {
	unsigned char address[16]; /* of IPv6 the network's half alone */
	double left;               /* requests */
	int64_t seen_ms;
};

struct guests {
	struct visit *visits;
	struct client clients[CLIENTS_MOST];
	size_t client_count;
	int64_t cut; /* connections, since the start */
};

/* A connection was accepted: its first request is to be there soon. Never NULL. */
struct visit *visit_begin(struct guests *guests, int fd, int64_t now_ms);
/* An answer of so many bytes is on its way. */
void visit_answers(struct visit *visit, size_t bytes, int64_t now_ms);
/* The answer has no end: the connection is not cut for taking long. */
void visit_streams(struct visit *visit);
/* The answer was taken: another request may come. */
void visit_rests(struct visit *visit, int64_t now_ms);
/* The connection is being closed. */
void visit_end(struct visit *visit);

/* When guests_cut() has work at the earliest; INT64_MAX: never. */
int64_t guests_next_ms(const struct guests *guests);
/* Cuts the connections whose time is up: the library closes them in its next turn. True
 * where there was one. */
bool guests_cut(struct guests *guests, int64_t now_ms);

/* Takes one request off what the client has left, where it may ask so often in a minute;
 * 0, or the seconds after which it may ask again. A client on this host is not counted.
 */
struct sockaddr;
int guests_ask(struct guests *guests, const struct sockaddr *from, int in_a_minute,
	int64_t now_ms);

#endif
