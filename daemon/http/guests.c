/*
 * Limits of time for each connection, of requests for each client.
 *
 * The library closes a connection on which nothing moves; one that lets a byte drip now
 * and then would stay for ever. So each has an instant until which what it does must be
 * done: the whole header of a request must have come, or the whole answer must have been
 * taken. Past it the socket is shut down, and the library finds it at its end.
 *
 * Requests are counted as in a bucket that runs full again within a minute. Of clients
 * beyond so many the one that was silent for longest is forgotten; who was silent for a
 * minute has a full bucket, known or not.
 */
#include "guests.h"

#include <math.h>
#include <netinet/in.h>
#include <string.h>
#include <sys/socket.h>

#define HEADER_MS      10000
#define ANSWER_MS      60000
#define BYTES_A_SECOND 16000 /* the slowest reader, beyond what ANSWER_MS allows */

struct visit *visit_begin(struct guests *guests, int fd, int64_t now_ms)
{
	struct visit *visit = xcalloc(1, sizeof(*visit));
	*visit = (struct visit){.fd = fd,
		.until_ms = now_ms + HEADER_MS,
		.next = guests->visits,
		.link = &guests->visits};
	if (visit->next)
		visit->next->link = &visit->next;
	guests->visits = visit;
	return visit;
}

void visit_answers(struct visit *visit, size_t bytes, int64_t now_ms)
{
	visit->until_ms = now_ms + ANSWER_MS + (int64_t)(bytes / (BYTES_A_SECOND / 1000));
}

void visit_streams(struct visit *visit)
{
	visit->until_ms = INT64_MAX;
}

void visit_rests(struct visit *visit, int64_t now_ms)
{
	visit->until_ms = now_ms + (int64_t)IDLE_S * 1000 + HEADER_MS;
}

void visit_end(struct visit *visit)
{
	*visit->link = visit->next;
	if (visit->next)
		visit->next->link = visit->link;
	free(visit);
}

int64_t guests_next_ms(const struct guests *guests)
{
	int64_t next_ms = INT64_MAX;
	for (const struct visit *v = guests->visits; v; v = v->next)
		if (v->until_ms < next_ms)
			next_ms = v->until_ms;
	return next_ms;
}

bool guests_cut(struct guests *guests, int64_t now_ms)
{
	bool cut = false;
	for (struct visit *v = guests->visits; v; v = v->next) {
		if (now_ms < v->until_ms)
			continue;
		(void)shutdown(v->fd, SHUT_RDWR); /* fails where the client was faster */
		v->until_ms = INT64_MAX;
		guests->cut++;
		cut = true;
	}
	return cut;
}

/* The key of an address; false on this host. */
static bool client_key(const struct sockaddr *from, unsigned char key[static 16])
{
	static const unsigned char mapped[12] = {[10] = 0xff, [11] = 0xff};
	memset(key, 0, 16);
	if (from->sa_family == AF_INET) {
		struct sockaddr_in in;
		memcpy(&in, from, sizeof(in));
		memcpy(key, mapped, sizeof(mapped));
		memcpy(key + 12, &in.sin_addr, 4);
	} else if (from->sa_family == AF_INET6) {
		struct sockaddr_in6 in6;
		memcpy(&in6, from, sizeof(in6));
		memcpy(key, &in6.sin6_addr, 16);
	}
	if (memcmp(key, mapped, sizeof(mapped)) == 0)
		return key[12] != 127;
	bool local = memcmp(key, &in6addr_loopback, 16) == 0;
	memset(key + 8, 0, 8); /* a host takes any address of its network */
	return !local;
}

static struct client *client_of(struct guests *guests, const unsigned char key[static 16],
	int in_a_minute, int64_t now_ms)
{
	struct client *oldest = &guests->clients[0];
	for (size_t i = 0; i < guests->client_count; i++) {
		struct client *c = &guests->clients[i];
		if (memcmp(c->address, key, sizeof(c->address)) == 0)
			return c;
		if (c->seen_ms < oldest->seen_ms)
			oldest = c;
	}
	if (guests->client_count < CLIENTS_MOST)
		oldest = &guests->clients[guests->client_count++];
	*oldest = (struct client){.left = in_a_minute, .seen_ms = now_ms};
	memcpy(oldest->address, key, sizeof(oldest->address));
	return oldest;
}

int guests_ask(struct guests *guests, const struct sockaddr *from, int in_a_minute,
	int64_t now_ms)
{
	unsigned char key[16];
	if (!client_key(from, key))
		return 0;
	struct client *c = client_of(guests, key, in_a_minute, now_ms);
	double a_ms = (double)in_a_minute / (double)MS_PER_MIN;
	c->left = fmin(in_a_minute, c->left + (double)(now_ms - c->seen_ms) * a_ms);
	c->seen_ms = now_ms;
	if (c->left < 1.0)
		return (int)ceil((1.0 - c->left) / a_ms / 1000.0);
	c->left -= 1.0;
	return 0;
}
