/*
 * A reader of event streams beside a server in one thread: HTTP/1.1's chunks (RFC 9112,
 * 7.1) and the event stream format (WHATWG HTML, 9.2.5 and 9.2.6), both from memory and
 * by code apart from the daemon's.
 */
#ifndef EVENT_READER_H
#define EVENT_READER_H

#include "http_client.h"

struct event_seen {
	char type[16]; /* "message" without a field of it */
	char id[64];
	char *data;
};

struct event_reader {
	const char *from; /* its own address; NULL: any */
	int fd;
	struct buffer raw; /* as received, from the first byte that was not taken */
	char *head;        /* of the answer; NULL before it came */
	bool ended;        /* by its last chunk */
	struct buffer line;
	char type[16];
	struct buffer data;
	bool has_data;
	char last_id[64]; /* of the last event that was whole */
	char next_id[64];
	size_t retries, comments;
	struct event_seen *events; /* whole ones, to be looked at by the test */
	size_t event_count;
};

static inline void reader_open(struct event_reader *r, struct http *http)
{
	char field[96] = "", text[256];
	if (r->last_id[0])
		(void)snprintf(field, sizeof(field), "Last-Event-ID: %s\r\n", r->last_id);
	int n = snprintf(text, sizeof(text),
		"GET /v1/stream HTTP/1.1\r\nHost: localhost\r\n%s\r\n", field);
	r->fd = client_connect(http, r->from);
	client_send(r->fd, text, (size_t)n);
	r->ended = false;
}

/* What was begun and is not whole is forgotten; the last id stays (9.2.6). */
static inline void reader_close(struct event_reader *r)
{
	(void)close(r->fd);
	r->fd = -1;
	free(r->head);
	r->head = NULL;
	buffer_reset(&r->raw);
	buffer_reset(&r->line);
	buffer_reset(&r->data);
	r->has_data = false;
	r->type[0] = '\0';
	memcpy(r->next_id, r->last_id, sizeof(r->next_id));
}

static inline void reader_forget(struct event_reader *r)
{
	for (size_t i = 0; i < r->event_count; i++)
		free(r->events[i].data);
	r->event_count = 0;
}

static inline void reader_release(struct event_reader *r)
{
	if (r->fd >= 0)
		reader_close(r);
	reader_forget(r);
	free(r->events);
	buffer_release(&r->raw);
	buffer_release(&r->line);
	buffer_release(&r->data);
}

static inline void reader_dispatch(struct event_reader *r)
{
	(void)snprintf(r->last_id, sizeof(r->last_id), "%s", r->next_id);
	if (r->has_data) {
		r->events = xrealloc(r->events, r->event_count + 1, sizeof(*r->events));
		struct event_seen *event = &r->events[r->event_count++];
		(void)snprintf(event->type, sizeof(event->type), "%s",
			r->type[0] ? r->type : "message");
		(void)snprintf(event->id, sizeof(event->id), "%s", r->last_id);
		event->data = xstrdup(buffer_text(&r->data));
	}
	buffer_reset(&r->data);
	r->has_data = false;
	r->type[0] = '\0';
}

static inline void reader_line(struct event_reader *r)
{
	char *text = xstrdup(buffer_text(&r->line)), *value = strchr(text, ':');
	buffer_reset(&r->line);
	if (!*text)
		reader_dispatch(r);
	r->comments += *text == ':';
	if (value)
		*value++ = '\0';
	else
		value = text + strlen(text);
	value += *value == ' ';
	if (strcmp(text, "event") == 0)
		(void)snprintf(r->type, sizeof(r->type), "%s", value);
	else if (strcmp(text, "id") == 0)
		(void)snprintf(r->next_id, sizeof(r->next_id), "%s", value);
	else if (strcmp(text, "retry") == 0)
		r->retries++;
	else if (strcmp(text, "data") == 0) {
		if (r->has_data)
			buffer_add_text(&r->data, "\n");
		buffer_add_text(&r->data, value);
		r->has_data = true;
	}
	free(text);
}

static inline void reader_text(struct event_reader *r, const char *text, size_t length)
{
	for (size_t i = 0; i < length; i++) {
		if (text[i] == '\n')
			reader_line(r);
		else
			buffer_add(&r->line, &text[i], 1);
	}
}

static inline void reader_drop(struct event_reader *r, size_t count)
{
	memmove(r->raw.data, r->raw.data + count, r->raw.length - count);
	r->raw.length -= count;
}

/* The head, or a whole chunk; false when neither is there. */
static inline bool reader_part(struct event_reader *r)
{
	const char *text = buffer_text(&r->raw);
	if (!r->head) {
		const char *end = strstr(text, "\r\n\r\n");
		if (!end)
			return false;
		r->head = xstrndup(text, (size_t)(end - text));
		reader_drop(r, (size_t)(end + 4 - text));
		return true;
	}
	const char *line = strstr(text, "\r\n");
	if (!line || r->ended)
		return false;
	size_t size = strtoul(text, NULL, 16), begin = (size_t)(line + 2 - text);
	if (r->raw.length < begin + size + 2)
		return false;
	r->ended = size == 0;
	reader_text(r, text + begin, size);
	reader_drop(r, begin + size + 2);
	return true;
}

/* Turns the server until nothing more comes; takes at most so many bytes of it. */
static inline void reader_pump(struct event_reader *r, struct http *http, size_t most)
{
	char bytes[4096];
	for (int idle = 0; idle < 4;) {
		http_turn(http);
		ssize_t n = recv(r->fd, bytes, sizeof(bytes), MSG_DONTWAIT);
		if (n > 0)
			buffer_add(&r->raw, bytes, (size_t)n);
		idle = n > 0 ? 0 : idle + 1;
		if (n == 0)
			break;
	}
	if (r->raw.length > most)
		r->raw.length = most;
	while (reader_part(r))
		;
}

static inline int reader_status(const struct event_reader *r)
{
	int status = 0;
	if (r->head)
		ck_assert_int_eq(sscanf(r->head, "HTTP/1.1 %d", &status), 1);
	return status;
}

#endif
