/*
 * One channel over the open minute: its integral, extremes and time in states. The value
 * in force lives beside it (struct held), in one array that the accountant reads too.
 * What each reading asks for stands here, where it costs no call.
 */
#ifndef ACCOUNT_SIGNAL_H
#define ACCOUNT_SIGNAL_H

#include "accountant.h"
#include "line.h"

struct signal {
	const struct channel_config *config;
	int64_t t_ms;   /* reading in force */
	int64_t end_ms; /* by the channel's own limit, or exactly */
	int source;     /* whose life bounds the hold too, or -1 */
	bool exact;     /* it ends at end_ms, whatever its source does */
	bool no_line;   /* it holds, though its channel goes along lines (between.c) */
	bool waiting;   /* a retained state waits for its source's next sign of life */
	double waiting_value;

	int64_t since_ms; /* integrated up to here */
	int64_t known_ms;
	double sum; /* value * ms */
	double least, most;
	int64_t *state_ms; /* by code + 1 (0: a word that the map does not know) */
};

void signal_init(struct signal *s, const struct channel_config *config);
void signal_release(struct signal *s);
void signal_reset(struct signal *s);
/* How long a value may hold. */
struct term {
	int source;       /* see struct signal */
	int64_t exact_ms; /* or just so long, where above 0 */
};
/* A reading (or its absence) is in force from `t_ms`. */
static inline void signal_hold(
	struct signal *s, bool known, int64_t t_ms, struct term term)
{
	s->exact = known && term.exact_ms > 0;
	s->no_line = false;
	int64_t limit = s->exact ? term.exact_ms : s->config->stale_after_ms;
	s->t_ms = t_ms;
	s->end_ms = known && limit >= 0 ? t_ms + limit : INT64_MAX;
	s->source = known && !s->exact ? term.source : s->config->source;
	s->since_ms = t_ms;
}
/* Adds the piece up to `t_ms` at the value held. */
static inline void signal_integrate(
	struct signal *s, const struct held *held, int64_t t_ms)
{
	int64_t ms = t_ms - s->since_ms;
	s->since_ms = t_ms;
	if (!held->known || ms <= 0)
		return;
	s->known_ms += ms;
	if (s->state_ms) {
		s->state_ms[(size_t)(held->value + 1.0)] += ms;
		return;
	}
	s->sum += held->value * (double)ms;
	if (held->value < s->least)
		s->least = held->value;
	if (held->value > s->most)
		s->most = held->value;
}
/* The same along a line, of a channel of numbers. */
void signal_integrate_line(
	struct signal *s, const struct held *held, const struct line *line, int64_t t_ms);
/* Ends the minute: answers it and begins the next. */
void signal_close(struct signal *s, struct minute_channel *ret);

#endif
