/*
 * See between.h.
 *
 * Notes of a channel are what the scout made of it, oldest first, one an instant. The
 * first is the one in force where the engine behind stands, if it has come to it.
 *
 * Invariants: the engine stands at most `lag_min` whole minutes behind the minute in
 * which the scout does; every reading in between is in the queue; a note is final once
 * the scout is behind its instant.
 */
#include "between.h"

#include "engine_core.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* A midnight may still wait when the next one is told of, after a day of silence. */
#define MIDNIGHTS 2

struct note {
	int64_t t_ms;
	double raw;
	bool known;
	bool exact; /* of a row that covers an interval */
	bool holds; /* no line begins here, whatever follows */
};

struct noted {
	size_t channel;
	int64_t most_ms; /* a line takes */
	struct note *notes;
	size_t count, room;
};

struct midnight {
	int64_t day;
	bool passed; /* and the rest is known */
	bool quiet;
	struct buffer state;
};

/* Readings that wait, in order. */
struct queue {
	struct reading *items;
	size_t count, room;
};

struct between {
	struct engine *scout;
	int64_t lag_min;
	struct noted *noted; /* by channel that goes along lines */
	size_t noted_count;
	size_t *which;      /* by channel: 1 + which of `noted`; 0: it holds */
	struct line *lines; /* by channel: those in force where the engine stands */
	struct queue queue;
	int64_t minute; /* of the last reading … */
	size_t count;   /* … and so many different ones in it */
	int64_t full;   /* the last minute that had too many */
	struct midnight midnights[MIDNIGHTS];
	size_t midnight_count;
};

int64_t between_lag_min(const struct config *config)
{
	int64_t most_ms = 0;
	for (size_t c = 0; c < config->channel_count; c++)
		if (config->channels[c].line_ms > most_ms)
			most_ms = config->channels[c].line_ms;
	return (most_ms + MS_PER_MIN - 1) / MS_PER_MIN;
}

/* The scout tells what readings count as, and which way the compressor went: nothing is
 * booked by it. */
static struct engine *scout_new(const struct config *config, struct between *b)
{
	struct engine *scout = engine_new_holding(config, NULL, NULL);
	int compressor = config_role(config, ROLE_COMPRESSOR_FREQUENCY);
	for (size_t c = 0; c < config->channel_count; c++) {
		scout->accountant.is_input[c] = (int)c == compressor;
		scout->accountant.is_register[c] = false;
		scout->accountant.is_increment[c] = false;
	}
	scout->scouts = b;
	return scout;
}

struct between *between_new(const struct config *config)
{
	int64_t lag_min = between_lag_min(config);
	if (lag_min == 0)
		return NULL;
	struct between *b = xcalloc(1, sizeof(*b));
	b->lag_min = lag_min;
	b->noted = xcalloc(config->channel_count, sizeof(*b->noted));
	b->which = xcalloc(config->channel_count, sizeof(*b->which));
	b->lines = xcalloc(config->channel_count, sizeof(*b->lines));
	for (size_t c = 0; c < config->channel_count; c++) {
		int64_t most_ms = config->channels[c].line_ms;
		if (most_ms == 0)
			continue;
		b->noted[b->noted_count] =
			(struct noted){.channel = c, .most_ms = most_ms};
		b->which[c] = ++b->noted_count;
	}
	b->scout = scout_new(config, b);
	return b;
}

void between_free(struct between *b)
{
	if (!b)
		return;
	engine_free(b->scout);
	for (size_t i = 0; i < b->noted_count; i++)
		free(b->noted[i].notes);
	for (size_t i = 0; i < MIDNIGHTS; i++)
		buffer_release(&b->midnights[i].state);
	free(b->noted);
	free(b->which);
	free(b->lines);
	free(b->queue.items);
	free(b);
}

const struct line *between_lines(const struct between *b)
{
	return b->lines;
}

const struct engine *between_scout(const struct between *b)
{
	return b->scout;
}

int64_t between_rows_end(const struct between *b, int64_t minute)
{
	int64_t usual = floor_div(b->scout->now_ms, MS_PER_MIN) - b->lag_min;
	return minute < usual ? minute : usual;
}

bool between_quiet(const struct between *b)
{
	return b->queue.count == 0 && engine_quiet(b->scout);
}

/* ---- notes ---- */

static struct note *note_at(struct noted *n, int64_t t_ms)
{
	if (n->count > 0 && n->notes[n->count - 1].t_ms == t_ms)
		return &n->notes[n->count - 1]; /* of one instant the last counts */
	if (n->count == n->room) {
		n->room = n->room ? 2 * n->room : 16;
		n->notes = xrealloc(n->notes, n->room, sizeof(*n->notes));
	}
	return &n->notes[n->count++];
}

static void put_note(struct between *b, struct noted *n, double raw, int64_t t_ms)
{
	*note_at(n, t_ms) = (struct note){.t_ms = t_ms,
		.raw = raw,
		.known = b->scout->held[n->channel].known,
		.exact = b->scout->signals[n->channel].exact,
		.holds = floor_div(t_ms, MS_PER_MIN) == b->full};
}

/* What is not final yet will hold. */
static void hold_all(struct between *b)
{
	for (size_t i = 0; i < b->noted_count; i++) {
		struct noted *n = &b->noted[i];
		for (size_t k = n->count; k-- > 0;) {
			n->notes[k].holds = true;
			if (n->notes[k].t_ms < b->scout->now_ms)
				break; /* those before have a successor that is final */
		}
	}
}

/* Drops the notes before the one in force at `t_ms`. */
static void drop_notes(struct noted *n, int64_t t_ms)
{
	size_t past = 0;
	while (past + 1 < n->count && n->notes[past + 1].t_ms <= t_ms)
		past++;
	n->count -= past;
	if (past > 0)
		memmove(n->notes, n->notes + past, n->count * sizeof(*n->notes));
}

/* ---- lines ---- */

/* From the first note to the second, as corrections are where the engine stands. */
static void set_line(struct engine *e, struct noted *n)
{
	const struct correction_config *c = e->corrector.in_force[n->channel];
	struct line *line = &e->between->lines[n->channel];

	*line = (struct line){.on = false};
	e->signals[n->channel].no_line =
		n->count > 0 && n->notes[0].known && n->notes[0].holds;
	if (n->count < 2)
		return;
	const struct note *a = &n->notes[0], *z = &n->notes[1];
	bool goes = a->known && z->known && !a->exact && !z->exact && !a->holds &&
		    z->t_ms - a->t_ms <= n->most_ms;
	if (goes)
		*line = (struct line){true, a->t_ms, z->t_ms, correction_apply(c, a->raw),
			correction_apply(c, z->raw)};
}

void between_correct(struct engine *e)
{
	for (size_t i = 0; i < e->between->noted_count; i++)
		set_line(e, &e->between->noted[i]);
}

void between_changed(struct engine *e, size_t channel, double raw, int64_t t_ms)
{
	struct between *b = e->scouts ? e->scouts : e->between;
	if (b->which[channel] == 0)
		return;
	struct noted *n = &b->noted[b->which[channel] - 1];
	if (e->scouts) {
		put_note(b, n, raw, t_ms);
		return;
	}
	drop_notes(n, t_ms);
	assert(n->count > 0 && n->notes[0].t_ms == t_ms);
	set_line(e, n);
}

/* ---- the way behind ---- */

/* Gives the engine what lies before `t_ms`, from the queue's number `at` on, and lets it
 * advance to there. Answers how far it came in the queue. */
static size_t give_until(struct engine *e, size_t at, int64_t t_ms)
{
	const struct queue *queue = &e->between->queue;
	while (at < queue->count && queue->items[at].t_ms < t_ms)
		engine_take_on(e, &queue->items[at++]);
	engine_pass(e, t_ms);
	return at;
}

static void keep_state(struct engine *e, struct midnight *m)
{
	m->passed = true;
	m->quiet = engine_holds_nothing(e);
	buffer_reset(&m->state);
	engine_save(e, &m->state);
}

/* The engine goes on to `t_ms`, a minute's edge; all lines in force before are final. */
static void go_on(struct engine *e, int64_t t_ms)
{
	struct between *b = e->between;
	size_t at = 0;
	if (t_ms <= e->now_ms)
		return;
	between_correct(e); /* lines in force of which more is known by now */
	for (size_t i = 0; i < b->midnight_count; i++) {
		struct midnight *m = &b->midnights[i];
		if (m->passed || m->day * MS_PER_DAY > t_ms)
			continue;
		at = give_until(e, at, m->day * MS_PER_DAY);
		keep_state(e, m);
	}
	at = give_until(e, at, t_ms);
	b->queue.count -= at;
	if (at > 0)
		memmove(b->queue.items, b->queue.items + at,
			b->queue.count * sizeof(*b->queue.items));
}

/* While nothing holds and nothing waits there is nothing to wait for. */
static void follow(struct engine *e)
{
	const struct between *b = e->between;
	int64_t minute = floor_div(b->scout->now_ms, MS_PER_MIN);
	go_on(e, (minute - b->lag_min) * MS_PER_MIN);
	if (b->queue.count == 0 && engine_quiet(e))
		go_on(e, minute * MS_PER_MIN);
}

/* Nothing waits any more. */
static void catch_up(struct engine *e)
{
	struct between *b = e->between;
	int64_t t_ms = b->scout->now_ms;
	b->full = b->minute;
	hold_all(b);
	go_on(e, floor_div(t_ms, MS_PER_MIN) * MS_PER_MIN);
	between_correct(e);
	for (size_t i = 0; i < b->queue.count; i++)
		engine_take_on(e, &b->queue.items[i]);
	b->queue.count = 0;
}

static bool is_repeated(const struct between *b, const struct reading *r)
{
	if (b->queue.count == 0)
		return false;
	const struct reading *last = &b->queue.items[b->queue.count - 1];
	bool same = last->value == r->value || (isnan(last->value) && isnan(r->value));
	return same && last->t_ms == r->t_ms && last->kind == r->kind &&
	       last->channel == r->channel && last->place == r->place;
}

/* Equal readings count once, also here. */
static void count_reading(struct between *b, const struct reading *r)
{
	int64_t minute = floor_div(r->t_ms, MS_PER_MIN);
	if (minute != b->minute)
		b->count = 0;
	b->minute = minute;
	if (!is_repeated(b, r))
		b->count++;
}

static void wait_in(struct queue *queue, const struct reading *r)
{
	if (queue->count == queue->room) {
		queue->room = queue->room ? 2 * queue->room : 64;
		queue->items = xrealloc(queue->items, queue->room, sizeof(*queue->items));
	}
	struct reading *own = &queue->items[queue->count++];
	*own = *r;
	own->frame = NULL; /* whose memory is not ours */
}

void between_feed(struct engine *e, const struct reading *r)
{
	struct between *b = e->between;
	count_reading(b, r);
	wait_in(&b->queue, r);
	engine_feed(b->scout, r); /* by what was full before */
	if (b->count >= BETWEEN_MOST)
		catch_up(e);
	else
		follow(e);
}

static void tell_midnight(struct between *b, int64_t day)
{
	if (b->midnight_count > 0 && b->midnights[b->midnight_count - 1].day == day)
		return;
	if (b->midnight_count == MIDNIGHTS) {
		struct midnight first = b->midnights[0];
		memmove(b->midnights, b->midnights + 1,
			(MIDNIGHTS - 1) * sizeof(*b->midnights));
		b->midnights[--b->midnight_count] = first;
	}
	struct midnight *m = &b->midnights[b->midnight_count++];
	m->day = day;
	m->passed = false;
}

void between_advance(struct engine *e, int64_t t_ms)
{
	if (floor_div(t_ms, MS_PER_DAY) * MS_PER_DAY == t_ms && t_ms > e->now_ms)
		tell_midnight(e->between, t_ms / MS_PER_DAY);
	engine_advance(e->between->scout, t_ms);
	follow(e);
}

bool between_midnight(struct engine *e, int64_t day, struct buffer *out, bool *ret_quiet)
{
	const struct between *b = e->between;
	for (size_t i = 0; i < b->midnight_count; i++) {
		const struct midnight *m = &b->midnights[i];
		if (m->day != day || !m->passed)
			continue;
		buffer_add(out, m->state.data, m->state.length);
		*ret_quiet = m->quiet;
		return true;
	}
	return false;
}

/* ---- begin ---- */

void between_start(struct engine *e, int64_t minute)
{
	struct between *b = e->between;
	engine_start(b->scout, minute);
	for (size_t i = 0; i < b->noted_count; i++) {
		b->noted[i].count = 0;
		b->lines[b->noted[i].channel] = (struct line){.on = false};
	}
	b->queue.count = 0;
	b->minute = minute;
	b->count = 0;
	b->full = NEVER_MS;
	b->midnight_count = 0;
}

int between_restore(struct engine *e, int64_t minute, const void *bytes, size_t length)
{
	struct between *b = e->between;
	int r = engine_restore(b->scout, minute, bytes, length);
	for (size_t i = 0; i < b->noted_count; i++) {
		struct noted *n = &b->noted[i];
		const struct signal *signal = &e->signals[n->channel];
		n->count = 0;
		if (!e->held[n->channel].known)
			continue;
		*note_at(n, signal->t_ms) = (struct note){.t_ms = signal->t_ms,
			.raw = e->corrector.raw[n->channel],
			.known = true,
			.exact = signal->exact,
			.holds = signal->no_line};
	}
	return r;
}
