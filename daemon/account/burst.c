/*
 * See burst.h. What is superseded tells nothing, but that its source lives: for that
 * there is a reading of its own. A word that was not understood supersedes nothing, and
 * no retained word takes part: its age is unknown by a rule of its own.
 */
#include "burst.h"

#include "accountant.h"
#include "doubt.h"

#include <math.h>
#include <string.h>

static bool only_last_counts(const struct config *config, size_t channel)
{
	const struct channel_config *c = &config->channels[channel];
	return c->time == TIME_ARRIVAL && !c->map_count &&
	       c->retained == RETAINED_IGNORE && !config_is_increment(config, channel);
}

void burst_init(struct burst *b, const struct config *config)
{
	*b = (struct burst){.config = config};
	b->last = xcalloc(config->channel_count, sizeof(*b->last));
	b->counts_last = xcalloc(config->channel_count, sizeof(*b->counts_last));
	for (size_t c = 0; c < config->channel_count; c++)
		b->counts_last[c] = only_last_counts(config, c);
	burst_reset(b);
}

void burst_release(struct burst *b)
{
	free(b->held);
	free(b->last);
	free(b->counts_last);
}

void burst_reset(struct burst *b)
{
	b->until_ms = NEVER_MS;
	b->told_ms = NEVER_MS;
	b->count = b->superseded = 0;
	memset(b->last, 0, b->config->channel_count * sizeof(*b->last));
}

static void open_window(struct burst *b, int64_t t_ms)
{
	int64_t edge_ms = (floor_div(t_ms, MS_PER_MIN) + 1) * MS_PER_MIN;
	b->until_ms = t_ms + BURST_MS < edge_ms ? t_ms + BURST_MS : edge_ms;
}

/* Equal readings count once, here, too: they stand beside each other. */
static bool is_repeated(const struct burst *b, const struct reading *r)
{
	if (b->count == 0)
		return false;
	const struct reading *last = &b->held[b->count - 1].reading;
	bool same = last->value == r->value || (isnan(last->value) && isnan(r->value));
	return same && last->t_ms == r->t_ms && last->kind == r->kind &&
	       last->channel == r->channel && last->place == r->place &&
	       last->retained == r->retained && last->table == r->table;
}

static bool is_periodic(const struct burst *b, const struct reading *r)
{
	bool word = r->kind == READING_VALUE || r->kind == READING_NOVALUE;
	return word && !r->retained && !r->table && b->counts_last[r->channel];
}

static void supersede(struct burst *b, const struct reading *r)
{
	if (doubt_is_code(&b->config->channels[r->channel], r))
		return;
	for (size_t at = b->last[r->channel]; at > 0; at = b->held[at - 1].before) {
		b->held[at - 1].superseded = true;
		b->superseded++;
	}
	b->last[r->channel] = 0;
}

static void append(struct burst *b, const struct burst_reading *held)
{
	struct burst_reading *own = &b->held[b->count++];
	*own = *held;
	if (!own->periodic)
		return;
	size_t *last = &b->last[own->reading.channel];
	own->before = *last;
	*last = b->count;
}

/* Lets go of what is superseded. */
static void compact(struct burst *b)
{
	size_t count = b->count;
	b->count = b->superseded = 0;
	memset(b->last, 0, b->config->channel_count * sizeof(*b->last));
	for (size_t i = 0; i < count; i++)
		if (!b->held[i].superseded)
			append(b, &b->held[i]);
}

static void make_room(struct burst *b)
{
	if (b->count < b->room)
		return;
	if (b->superseded > 0 && 2 * b->superseded >= b->count) {
		compact(b);
		return;
	}
	b->room = b->room ? 2 * b->room : 64;
	b->held = xrealloc(b->held, b->room, sizeof(*b->held));
}

static void hold(struct burst *b, const struct reading *r)
{
	struct burst_reading held = {.reading = *r, .periodic = is_periodic(b, r)};
	held.reading.frame = NULL; /* whose memory is not ours */
	if (held.periodic)
		supersede(b, r);
	make_room(b);
	append(b, &held);
}

bool burst_holds(struct burst *b, const struct reading *r)
{
	bool begins = burst_begins(r);
	bool over = r->t_ms >= b->until_ms || b->count - b->superseded >= BURST_MOST;
	if (over && (!begins || b->count > 0))
		return false;
	if (begins)
		open_window(b, r->t_ms);
	if (!is_repeated(b, r))
		hold(b, r);
	b->told_ms = r->t_ms;
	return true;
}

bool burst_lasts(struct burst *b, int64_t t_ms)
{
	if (t_ms >= b->until_ms)
		return false;
	if (t_ms > b->told_ms)
		b->told_ms = t_ms;
	return true;
}
