/*
 * The subscriber: a libmosquitto client run by our own loop in its own thread. It stamps
 * each message first thing, appends the record to the tail and wakes the main loop by
 * that (stamper.h); no JSON, no SQL. It subscribes on each connect, checks what was
 * granted, backs off 1…60 s with jitter, and writes link facts (subscribed, lost) into
 * the tail. It publishes what an outbox has, if there is one (outbox.h): what comes back
 * of that is dropped before it is stamped.
 */
#ifndef HEATBOOK_SUBSCRIBER_H
#define HEATBOOK_SUBSCRIBER_H

#include <heatbook/config.h>
#include <heatbook/stamper.h>

struct subscriber;
struct outbox;

enum link_state {
	LINK_OFF,
	LINK_CONNECTING,
	LINK_CONNECTED,
	LINK_SUBSCRIBED,
	LINK_WAITING
};

struct subscriber_state {
	enum link_state state;
	int64_t since_ms;        /* of this state */
	uint64_t messages;       /* accepted since start */
	int64_t last_message_ms; /* stamp, or -1 */
	uint64_t connects;
	char cause[256]; /* last failure in words, "" if none */
};

/* Starts the thread. `filters` are the topic filters to subscribe, copied; `broker`, with
 * a host, must outlive the subscriber, and so must the stamper and the outbox (NULL:
 * nothing is published). -errno when there can be no client at all. */
int subscriber_start(const struct broker_config *broker, const char *const *filters,
	size_t filter_count, struct stamper *stamper, struct outbox *outbox,
	struct subscriber **ret);
/* Takes what was published back, disconnects in good order, ends the thread, frees. */
void subscriber_stop(struct subscriber *subscriber);
void subscriber_state(struct subscriber *subscriber, struct subscriber_state *ret);
const char *link_state_name(enum link_state state);

#endif
