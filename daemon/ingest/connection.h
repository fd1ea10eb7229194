/*
 * One connection at a time to a broker, from finding its address to its loss, in the
 * caller's thread. It knows topics and packets, no tail and no back-off.
 */
#ifndef HEATBOOK_INGEST_CONNECTION_H
#define HEATBOOK_INGEST_CONNECTION_H

#include <heatbook/config.h>

struct connection;
struct mosquitto_message;
struct outbox;

#define CAUSE_MOST 256 /* bytes of a cause in words, with NUL */

/* Called inside connection_run(). */
struct connection_events {
	void (*connected)(void *context);
	/* Every filter was answered, and one at least was granted. */
	void (*subscribed)(void *context);
	/* The broker, or the library, would not have the filter of that index; `why` in
	 * words. */
	void (*refused)(void *context, size_t filter, const char *why);
	void (*message)(void *context, const struct mosquitto_message *message);
	/* What the outbox has for a topic does not get there; with an outbox only. */
	void (*unpublished)(void *context, const char *topic, const char *why);
};

/* `broker`, `filters`, `outbox`, `events` and `context` must outlive the connection.
 * Without an outbox (NULL) nothing is published. `stop_fd` is readable when it is time to
 * end. -errno when there can be no client at all. */
int connection_new(const struct broker_config *broker, const char *const *filters,
	size_t filter_count, struct outbox *outbox, int stop_fd,
	const struct connection_events *events, void *context, struct connection **ret);
void connection_free(struct connection *connection);

/* Connects, subscribes and receives until there is an end. CONNECTION_STOPPED after a
 * disconnect in good order; or with the reason in words CONNECTION_CLOSED when the other
 * side hung up without one, CONNECTION_LOST else. */
enum { CONNECTION_STOPPED = 1, CONNECTION_CLOSED = 2, CONNECTION_LOST = 3 };
int connection_run(struct connection *connection, char ret_cause[static CAUSE_MOST]);

/* Waits for `span_ms`, or less when it is time to end: then true. */
bool connection_wait(const struct connection *connection, int64_t span_ms);

#endif
