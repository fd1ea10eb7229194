/*
 * A client on a socket of the HTTP face, in one thread with it: the client turns the
 * server's loop while it waits.
 */
#ifndef HTTP_ASKED_H
#define HTTP_ASKED_H

#include "unit.h"

#include <heatbook/http.h>

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

/* A connection to the server from an address of this host (NULL = any). */
static inline int client_connect(struct http *http, const char *from)
{
	struct sockaddr_in own = {.sin_family = AF_INET};
	struct sockaddr_in to = {.sin_family = AF_INET,
		.sin_port = htons((uint16_t)http_port(http)),
		.sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
	ck_assert_int_ge(fd, 0);
	if (from) {
		ck_assert_int_eq(inet_pton(AF_INET, from, &own.sin_addr), 1);
		ck_assert_int_eq(bind(fd, (struct sockaddr *)&own, sizeof(own)), 0);
	}
	ck_assert_int_eq(connect(fd, (struct sockaddr *)&to, sizeof(to)), 0);
	return fd;
}

/* Turns the server once, when it or the client has something to do. */
static inline void client_turn(struct http *http, int fd)
{
	struct pollfd fds[] = {
		{.fd = http_fd(http), .events = POLLIN}, {.fd = fd, .events = POLLIN}};
	int wait_ms = http_timeout_ms(http);
	(void)poll(fds, 2, wait_ms < 0 || wait_ms > 1000 ? 1000 : wait_ms);
	http_turn(http);
}

static inline void client_send(int fd, const char *bytes, size_t length)
{
	/* A server may close before it has read all of a request that it refuses. */
	(void)send(fd, bytes, length, MSG_NOSIGNAL);
}

struct reply_seen {
	int status; /* 0: closed without an answer */
	char *head; /* to the empty line */
	char *body;
	size_t length; /* of the body */
};

static inline void reply_take(struct buffer *in, struct reply_seen *ret)
{
	const char *text = buffer_text(in);
	const char *end = strstr(text, "\r\n\r\n");
	*ret = (struct reply_seen){0};
	if (!end) {
		ret->head = xstrdup("");
		ret->body = xstrdup("");
		return;
	}
	ck_assert_int_eq(sscanf(text, "HTTP/1.%*d %d", &ret->status), 1);
	ret->head = xstrndup(text, (size_t)(end - text));
	ret->length = in->length - (size_t)(end + 4 - text);
	ret->body = xstrndup(end + 4, ret->length);
}

/* Reads until the server closes. */
static inline struct reply_seen client_read(struct http *http, int fd)
{
	struct buffer in = {0};
	struct reply_seen reply;
	char bytes[8192];
	for (int turns = 0; turns < 20000; turns++) {
		client_turn(http, fd);
		ssize_t n = recv(fd, bytes, sizeof(bytes), MSG_DONTWAIT);
		if (n > 0)
			buffer_add(&in, bytes, (size_t)n);
		if (n == 0 || (n < 0 && errno != EAGAIN))
			break;
	}
	(void)close(fd);
	reply_take(&in, &reply);
	buffer_release(&in);
	return reply;
}

static inline struct reply_seen exchange(
	struct http *http, const char *bytes, size_t length)
{
	int fd = client_connect(http, NULL);
	client_send(fd, bytes, length);
	return client_read(http, fd);
}

/* One request with a method, a target and further header lines. */
static inline struct reply_seen ask(
	struct http *http, const char *method, const char *target, const char *fields)
{
	char *text =
		xasprintf("%s %s HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"
			  "%s\r\n",
			method, target, fields);
	struct reply_seen reply = exchange(http, text, strlen(text));
	free(text);
	return reply;
}

static inline void reply_release(struct reply_seen *reply)
{
	free(reply->head);
	free(reply->body);
}

/* A field's value, to be freed; NULL when the reply has no such field. */
static inline char *field(const struct reply_seen *reply, const char *name)
{
	char *start = xasprintf("\r\n%s: ", name);
	const char *found = strcasestr(reply->head, start);
	size_t skip = strlen(start);
	free(start);
	if (!found)
		return NULL;
	return xstrndup(found + skip, strcspn(found + skip, "\r"));
}

/* NULL: the reply has no such field. */
static inline bool field_is(
	const struct reply_seen *reply, const char *name, const char *value)
{
	char *seen = field(reply, name);
	bool same = value ? seen && strcmp(seen, value) == 0 : !seen;
	free(seen);
	return same;
}

/* A head without the library's Date, to be freed. */
static inline char *head_undated(const struct reply_seen *reply)
{
	char *head = xstrdup(reply->head), *date = strcasestr(head, "\r\nDate: ");
	if (date) {
		const char *rest = date + 2 + strcspn(date + 2, "\r");
		memmove(date, rest, strlen(rest) + 1);
	}
	return head;
}

static inline bool same_head(const struct reply_seen *a, const struct reply_seen *b)
{
	char *one = head_undated(a), *two = head_undated(b);
	bool same = strcmp(one, two) == 0;
	free(one);
	free(two);
	return same;
}

#endif
