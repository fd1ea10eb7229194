/*
 * The integral of one held channel over one minute. Sums are value times whole
 * milliseconds; a channel with a value map keeps the time in each of its states instead.
 */
#include "signal.h"

#include <math.h>
#include <string.h>

static size_t state_slots(const struct signal *s)
{
	return s->config->state_count + 1;
}

static void open_minute(struct signal *s)
{
	s->known_ms = 0;
	s->sum = 0.0;
	s->least = HUGE_VAL;
	s->most = -HUGE_VAL;
	if (s->state_ms)
		memset(s->state_ms, 0, state_slots(s) * sizeof(*s->state_ms));
}

void signal_init(struct signal *s, const struct channel_config *config)
{
	*s = (struct signal){.config = config};
	if (config->map_count)
		s->state_ms = xcalloc(state_slots(s), sizeof(*s->state_ms));
	signal_reset(s);
}

void signal_release(struct signal *s)
{
	free(s->state_ms);
}

void signal_reset(struct signal *s)
{
	s->t_ms = 0;
	s->end_ms = INT64_MAX;
	s->source = s->config->source;
	s->exact = false;
	s->no_line = false;
	s->waiting = false;
	s->waiting_value = 0.0;
	s->since_ms = 0;
	open_minute(s);
}

/* The mean of a straight line is its value in the middle. */
void signal_integrate_line(
	struct signal *s, const struct held *held, const struct line *line, int64_t t_ms)
{
	int64_t ms = t_ms - s->since_ms;
	double begin = line_value(line, (double)s->since_ms);
	double end = line_value(line, (double)t_ms);

	s->since_ms = t_ms;
	if (!held->known || ms <= 0)
		return;
	s->known_ms += ms;
	s->sum += 0.5 * (begin + end) * (double)ms;
	s->least = fmin(s->least, fmin(begin, end));
	s->most = fmax(s->most, fmax(begin, end));
}

/* The state held longest; of equals the last by name, so that the numbers, which are the
 * configuration's, say nothing. */
static double longest_state(const struct signal *s)
{
	size_t best = 0;
	for (size_t i = 1; i < state_slots(s); i++) {
		bool later = best == 0 || strcmp(s->config->states[i - 1],
						  s->config->states[best - 1]) > 0;
		if (s->state_ms[i] > s->state_ms[best] ||
			(s->state_ms[i] == s->state_ms[best] && later))
			best = i;
	}
	return (double)best - 1.0;
}

void signal_close(struct signal *s, struct minute_channel *ret)
{
	*ret = (struct minute_channel){.known_ms = s->known_ms};
	if (s->known_ms > 0) {
		ret->mean = s->state_ms ? longest_state(s) : s->sum / (double)s->known_ms;
		ret->least = s->least;
		ret->most = s->most;
	}
	open_minute(s);
}
