/*
 * What a source's own times tell of the clock that wrote them: by how much they lie
 * behind the arrival of their messages, and whether they stand still. Used by the engine.
 *
 * A message comes as late as it likes (a slow line, a queue of hours), but never before
 * it was sent: so the least of an hour is the clock's own (the filter of least delay of
 * RFC 5905, 10, from memory), where something of the hour was sent at once. What is
 * delivered in batches was not: there the delays lie as far apart as a batch is long, and
 * tell nothing of the clock. Hours are UTC, by own times; nothing is carried
 * over their ends, so that none of it is carried state.
 */
#ifndef ACCOUNT_OWN_CLOCK_H
#define ACCOUNT_OWN_CLOCK_H

#include <heatbook/config.h>
#include <heatbook/event.h>
#include <heatbook/reading.h>

/* A channel's own times in the open hour. */
struct own_times {
	uint32_t instants; /* different ones; 0: none, the rest means nothing */
	int32_t least_s,
		most_s; /* behind the stamps of the first messages that bore them */
	/* Those that bore the last instant. */
	int64_t t_ms;
	uint32_t count;
	int32_t first_s, last_s;
	double value;
	bool moved; /* their values differ */
	/* The instant that was repeated for longest; stuck_s 0: none was. */
	int64_t stuck_ms;
	int32_t stuck_s;
	bool stuck_moved;
};

struct own_clocks {
	const struct config *config;
	struct own_times *channels;
	int64_t due_ms; /* when the open hour ends; INT64_MAX: nothing was seen in it */
};

void own_clocks_init(struct own_clocks *clocks, const struct config *config);
void own_clocks_release(struct own_clocks *clocks);
void own_clocks_reset(struct own_clocks *clocks);
/* A reading that bears its own time; in the order of these. */
void own_clocks_take(struct own_clocks *clocks, const struct reading *reading);
/* The hour is over: tells what it showed, to a sink that may be NULL. */
void own_clocks_close(struct own_clocks *clocks, event_sink *sink, void *context);

#endif
