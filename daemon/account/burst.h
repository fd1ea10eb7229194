/*
 * What follows a subscription within five seconds: a broker's backlog comes at once,
 * though its messages are as old as the connection was broken. Of several messages of a
 * channel that tells what is, only the last counts; one that counts a quantity each
 * (increments), one whose every word is an event (states) and one with times of its own
 * count all. A word that may be a fault (doubt.h) makes no good one before it undone: it
 * supersedes nothing, and a later word that is none supersedes it with the good one.
 *
 * The window is a function of the readings alone, the link fact among them: it ends five
 * seconds after the last subscription, or with its minute, so that a closed minute never
 * leans on the next, or at its 8192nd reading that counts, so that it is bounded: however
 * long a backlog is, of its channels that tell what is one word each is held. Readings in
 * it are held until it is over; who is told so needs to hold nothing himself.
 */
#ifndef HEATBOOK_ACCOUNT_BURST_H
#define HEATBOOK_ACCOUNT_BURST_H

#include <heatbook/config.h>
#include <heatbook/reading.h>

#define BURST_MS   5000
#define BURST_MOST 8192

struct burst_reading {
	struct reading reading; /* without its frame */
	bool periodic;          /* of its channel only the last word counts */
	bool superseded;
	size_t before; /* 1 + which of `held` the next word supersedes, too; 0: none */
};

struct burst {
	const struct config *config;
	int64_t until_ms;           /* of the open window; NEVER_MS: there is none */
	int64_t told_ms;            /* time was let pass up to here in it */
	struct burst_reading *held; /* in order */
	size_t count, room;
	size_t superseded; /* so many of them; they are let go as room runs out */
	size_t *last;      /* by channel: 1 + which of `held` is its last word; 0: none */
	bool *counts_last; /* by channel: only the last counts */
};

void burst_init(struct burst *b, const struct config *config);
void burst_release(struct burst *b);
/* No window is open, nothing is held. */
void burst_reset(struct burst *b);
/* Whether the reading is a subscription. */
static inline bool burst_begins(const struct reading *r)
{
	return r->kind == READING_FACT && r->channel == RECORD_SUBSCRIBED;
}
/* Whether the reading, the next in order, belongs to a window: the open one, or one that
 * it opens as nothing is held. It is held then. */
bool burst_holds(struct burst *b, const struct reading *reading);
/* Whether the window goes on at `t_ms`, up to where time passes. */
bool burst_lasts(struct burst *b, int64_t t_ms);

#endif
