/*
 * See own_clock.h. What is told is rare: an hour that is in order tells nothing, and one
 * that is not tells one event a source, or one for each of its clocks where these differ.
 */
#include "own_clock.h"

#include <math.h>
#include <string.h>

#define OFF_LEAST_S   60  /* less is delivery, and no minute's matter */
#define STUCK_LEAST_S 900 /* what holds by default ends then */
/* Delays of one hour that lie further apart are batches: as far as times themselves do,
 * but what a line makes of a message is none, and what a minute's matter is not one. */
#define SPREAD_LEAST_S 30
#define SPREAD_MOST_S  90
#define STUCK_LEAST    5  /* messages: one that a broker repeats is no clock */
#define SAME_CLOCK_S   60 /* of one source, and closer: told once */

void own_clocks_init(struct own_clocks *k, const struct config *config)
{
	k->config = config;
	k->channels = xcalloc(config->channel_count + 1, sizeof(*k->channels));
	k->due_ms = INT64_MAX;
}

void own_clocks_release(struct own_clocks *k)
{
	free(k->channels);
}

void own_clocks_reset(struct own_clocks *k)
{
	if (k->due_ms != INT64_MAX)
		memset(k->channels, 0, k->config->channel_count * sizeof(*k->channels));
	k->due_ms = INT64_MAX;
}

/* The same word again loses nothing while it holds, or where it does without limit, or
 * where a newer one came within that time. */
static bool loses(
	const struct own_times *t, const struct channel_config *channel, int64_t next_ms)
{
	int64_t hold_ms = channel->stale_after_ms;
	int64_t lasted_ms = ((int64_t)t->last_s - t->first_s) * 1000;
	if (t->moved)
		return true;
	return hold_ms >= 0 && lasted_ms > hold_ms && next_ms - t->t_ms > hold_ms;
}

/* `next_ms`: the next instant of the hour; INT64_MAX where none follows. */
static void settle_instant(
	struct own_times *t, const struct channel_config *channel, int64_t next_ms)
{
	int64_t lasted_s = (int64_t)t->last_s - t->first_s;
	if (t->instants == 1 || t->first_s < t->least_s)
		t->least_s = t->first_s;
	if (t->instants == 1 || t->first_s > t->most_s)
		t->most_s = t->first_s;
	if (t->count < STUCK_LEAST || lasted_s < STUCK_LEAST_S ||
		lasted_s <= t->stuck_s || !loses(t, channel, next_ms))
		return;
	t->stuck_ms = t->t_ms;
	t->stuck_s = (int32_t)(lasted_s < INT32_MAX ? lasted_s : INT32_MAX);
	t->stuck_moved = t->moved;
}

static bool same_value(double a, double b)
{
	return a == b || (isnan(a) && isnan(b)); /* bad words have none */
}

static void take_again(struct own_times *t, const struct reading *r)
{
	t->count++;
	t->moved |= !same_value(t->value, r->value);
	t->first_s = r->behind_s < t->first_s ? r->behind_s : t->first_s;
	t->last_s = r->behind_s > t->last_s ? r->behind_s : t->last_s;
}

void own_clocks_take(struct own_clocks *k, const struct reading *r)
{
	struct own_times *t = &k->channels[r->channel];
	if (k->due_ms == INT64_MAX)
		k->due_ms = (floor_div(r->t_ms, MS_PER_HOUR) + 1) * MS_PER_HOUR;
	if (t->instants > 0 && t->t_ms == r->t_ms) {
		take_again(t, r);
		return;
	}
	if (t->instants > 0)
		settle_instant(t, &k->config->channels[r->channel], r->t_ms);
	t->instants++;
	t->t_ms = r->t_ms;
	t->count = 1;
	t->first_s = t->last_s = r->behind_s;
	t->value = r->value;
	t->moved = false;
}

/* ---- telling ---- */

/* Delivered together, later than they were sent. */
static bool in_batches(const struct own_times *t)
{
	double spacing_s = 3600.0 / t->instants;
	double limit_s = fmin(fmax(spacing_s, SPREAD_LEAST_S), SPREAD_MOST_S);
	return (double)t->most_s - t->least_s >= limit_s;
}

static bool is_off(const struct own_times *t)
{
	return t->instants > 0 && !in_batches(t) &&
	       (t->least_s >= OFF_LEAST_S || t->least_s <= -OFF_LEAST_S);
}

/* A channel before this one, of the same source, told the same. */
static bool told(const struct own_clocks *k, size_t c, bool stuck)
{
	const struct own_times *t = &k->channels[c];
	for (size_t i = 0; i < c; i++) {
		const struct own_times *other = &k->channels[i];
		if (k->config->channels[i].source != k->config->channels[c].source)
			continue;
		if (stuck && other->stuck_s && other->stuck_ms == t->stuck_ms)
			return true;
		if (!stuck && is_off(other) &&
			llabs((int64_t)other->least_s - t->least_s) <= SAME_CLOCK_S)
			return true;
	}
	return false;
}

static void tell_channel(
	const struct own_clocks *k, size_t c, event_sink *sink, void *context)
{
	const struct own_times *t = &k->channels[c];
	struct event event = {.made_ms = k->due_ms - 1, .subject = (uint16_t)c};
	if (is_off(t) && !told(k, c, false)) {
		event.kind = EVENT_CLOCK_OFF;
		event.t_ms = k->due_ms - MS_PER_HOUR;
		event.before = 3600.0 / t->instants;
		event.after = t->least_s;
		sink(&event, context);
	}
	if (t->stuck_s && !told(k, c, true)) {
		event.kind = EVENT_CLOCK_STUCK;
		event.t_ms = t->stuck_ms;
		event.before = t->stuck_moved;
		event.after = t->stuck_s;
		sink(&event, context);
	}
}

void own_clocks_close(struct own_clocks *k, event_sink *sink, void *context)
{
	for (size_t c = 0; c < k->config->channel_count; c++)
		if (k->channels[c].instants > 0)
			settle_instant(
				&k->channels[c], &k->config->channels[c], INT64_MAX);
	for (size_t c = 0; sink && c < k->config->channel_count; c++)
		tell_channel(k, c, sink, context);
	own_clocks_reset(k);
}
