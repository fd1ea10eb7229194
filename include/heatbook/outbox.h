/*
 * What waits to be published: for each topic that heatbook may publish to its last word,
 * and nothing else. The main loop puts words in and never waits; the subscriber's thread
 * sends what is new whenever there is a connection. So nothing piles up while the broker
 * is away or slow, and after a connection all is said again.
 *
 * The table of topics is closed: they are PREFIX/state, today, mode, findings and
 * notices. There is no other way from heatbook to a broker's topics (law 9: it only reads
 * the plant).
 */
#ifndef HEATBOOK_OUTBOX_H
#define HEATBOOK_OUTBOX_H

#include <heatbook/base.h>

/* In the order in which they are sent: the state last, so that what stands beside a state
 * of "present" is of this run. The state is the connection's to say. */
enum post { POST_TODAY, POST_MODE, POST_FINDINGS, POST_NOTICES, POST_STATE, POST_COUNT };
/* Is it a word that stands until there is another? It is not sent to a broker that holds
 * the same, has no end, and is not taken back when heatbook stops: whoever passes it on
 * to a person shall not do so twice. */
bool post_stands(enum post post);

#define POST_BYTES_MOST 65536 /* of a word */

#define POST_PRESENT "present" /* a connection is there and all of it was said */
#define POST_STOPPED "stopped" /* heatbook has ended in good order */
#define POST_GONE    "gone"    /* the connection broke: said by the broker (Will) */

struct outbox;

/* Words that do not stand, but for the state, are good for `fades_ms`: a broker that can
 * (MQTT 5) drops them then. -errno. */
int outbox_new(const char *prefix, int64_t fades_ms, struct outbox **ret);
void outbox_free(struct outbox *outbox);

/* "heatbook/today"; valid as long as the outbox. */
const char *outbox_topic(const struct outbox *outbox, enum post post);
uint32_t outbox_fades_s(const struct outbox *outbox);
/* Is a topic the prefix, or beneath it? */
bool outbox_owns(const struct outbox *outbox, const char *topic);

/* Of the main loop: the word in place of the one before; one that is the same is sent
 * again only when `again`. "" takes the topic's retained message away. Never POST_STATE.
 */
void outbox_put(struct outbox *outbox, enum post post, const char *word, bool again);

/* Nothing more will be said under this prefix: at its end the connection takes the state
 * back as well, in place of saying that it stopped. */
void outbox_forsake(struct outbox *outbox);

/* Of the subscriber's thread: what the state is to be at the end. */
const char *outbox_farewell(struct outbox *outbox);
/* Readable once something was put, until outbox_calm(). */
int outbox_fd(const struct outbox *outbox);
void outbox_calm(struct outbox *outbox);
/* The number of the last word, 0 before the first; where it is not `sent`, the word is
 * put in place of what the buffer held. */
uint64_t outbox_take(
	struct outbox *outbox, enum post post, uint64_t sent, struct buffer *word);

#endif
