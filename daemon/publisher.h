/*
 * What heatbook publishes, out of what it knows: words into the outbox, from the main
 * loop, and never anything that waits.
 */
#ifndef HEATBOOK_PUBLISHER_H
#define HEATBOOK_PUBLISHER_H

#include <heatbook/notices.h>
#include <heatbook/outbox.h>
#include <heatbook/query.h>

/* `{0}` publishes nothing. */
struct publisher {
	struct outbox *outbox; /* the subscriber's; NULL: nothing is published */
	int64_t day_ms;        /* first instant of the day that `today` is of */
	int64_t again_at_ms;   /* monotonic: when all is published anew */
	int64_t findings_at_ms;
	int64_t notices_at; /* minute up to which notices were told; -1: none were */
};

/* Begins to publish where the configuration has a prefix. -errno. */
int publisher_begin(struct publisher *publisher, const struct config *config);
/* Before a subscriber ends whose broker or prefix may be another hereafter. */
void publisher_forsake(struct publisher *publisher);
/* After the subscriber has ended, which takes everything back. */
void publisher_end(struct publisher *publisher);

/* Fills in the daemon's state; as http_live. */
typedef void publisher_state(struct live_state *ret, void *context);

/* To be called about once a second. `notices` as far as they are known, NULL: not now. */
void publisher_tick(struct publisher *publisher, const struct config *config,
	struct store *store, const struct notices *notices, publisher_state *state,
	void *context);

#endif
