/*
 * See live.h. Here records are taken from the tail and minutes are closed.
 *
 * The engine takes readings in canonical order when their minutes close and makes the
 * rows; what holds right now is answered by present.c.
 */
#include "live_state.h"

#include <heatbook/clock.h>

#include <assert.h>
#include <errno.h>
#include <string.h>

#define RECORDS_A_TURN 4096
/* Readings that wait at most: above it the oldest pass early, and any that comes later
 * still is derived again from the journal. */
#define WAITING_MOST 65536

static void pend_minute(const struct minute *minute, void *context)
{
	struct live *l = context;
	if (minute->minute < l->closed)
		return; /* stored: the state is being read back from the journal */
	if (l->row_error == 0)
		l->row_error = store_pending_add(l->store, minute);
	if (l->row_error == 0 && l->news)
		news_minute(l->news, l->config, minute);
}

static void pend_settlement(const struct settlement *settlement, void *context)
{
	struct live *l = context;
	if (settlement->made_ms >= l->closed * MS_PER_MIN)
		settled_add(&l->settled, settlement); /* else booked, as above */
}

static void pend_event(const struct event *event, void *context)
{
	struct live *l = context;
	if (event->made_ms >= l->closed * MS_PER_MIN)
		happened_add(&l->happened, event);
}

int live_told(struct live *l, int r)
{
	if (r != 0)
		(void)snprintf(l->error, sizeof(l->error), "%s", store_error(l->store));
	return r;
}

int live_told_tail(struct live *l, int r)
{
	if (r != 0)
		(void)snprintf(l->error, sizeof(l->error), "tail %.200s: %s",
			l->config->journal.tail, strerror(-r));
	return r;
}

const char *live_error(const struct live *l)
{
	return l->error;
}

int live_load(struct live *l)
{
	int64_t until_ms = 0, sequence = 0;
	if (l->loaded)
		return 0;
	int r = store_fact(l->store, FACT_DERIVED_UNTIL_MS, &until_ms);
	if (r == 0)
		r = store_fact(l->store, FACT_COMMITTED_SEQUENCE, &sequence);
	if (r != 0)
		return r;
	l->committed_sequence = (uint64_t)sequence;
	l->committed_until = until_ms / MS_PER_MIN;
	l->closed = until_ms ? until_ms / MS_PER_MIN : -1;
	l->loaded = true;
	return 0;
}

struct live *live_new(struct store *store, struct decoder *decoder, struct tail *tail)
{
	struct live *l = xcalloc(1, sizeof(*l));

	l->config = store_config(store);
	l->store = store;
	l->decoder = decoder;
	l->tail = tail;
	l->filer = filer_new(store, decoder, 0);
	l->deriver = deriver_new(store, decoder);
	l->engine = engine_new(l->config, pend_minute, l);
	engine_on_settlement(l->engine, pend_settlement, l);
	engine_on_event(l->engine, pend_event, l);
	l->present = present_new(l->config, clock_now_ms());
	l->closed = -1;
	l->lag = engine_lag_min(l->config);
	l->behind_ms = -1;
	(void)live_load(l); /* tried again before anything is committed or derived */
	l->sequence = l->committed_sequence;
	l->joining = true;
	l->behind = true; /* the state is still to be read back from the journal */
	return l;
}

void live_tell(struct live *l, struct news *news)
{
	l->news = news;
	if (l->loaded)
		news_closed(news, l->closed);
}

void live_free(struct live *l)
{
	if (!l)
		return;
	for (size_t i = 0; i < l->day_room; i++)
		buffer_release(&l->days[i].state);
	free(l->days);
	engine_free(l->engine);
	present_free(l->present);
	filer_free(l->filer);
	deriver_free(l->deriver);
	free(l->settled.items);
	free(l->happened.items);
	readings_release(&l->waiting);
	readings_release(&l->scratch);
	late_release(&l->late);
	arena_release(&l->frames);
	arena_release(&l->spare);
	buffer_release(&l->frame);
	free(l);
}

/* Readings before this instant are in rows, or are the deriver's, who looks beyond the
 * last row where rules must tell modes. */
static int64_t standing_ms(const struct live *l)
{
	int64_t now_ms = engine_now_ms(l->engine);
	if (l->behind)
		return (l->closed + l->lag) * MS_PER_MIN;
	return now_ms > l->leant_ms ? now_ms : l->leant_ms;
}

static void take_reading(struct live *l, const struct reading *r, int64_t stamp_ms)
{
	present_take(l->present, r, stamp_ms);
	if (r->t_ms > l->latest_ms)
		l->latest_ms = r->t_ms;
	if (r->t_ms < standing_ms(l))
		late_add(&l->late, r->t_ms);
	else if (!l->behind) /* else it comes back from the journal when the state does */
		readings_add(&l->waiting, r);
}

/* A day more than there was between two commits so far makes the array grow. */
static struct state_copy *new_checkpoint(struct live *l, int64_t day, bool made)
{
	if (l->day_count == l->day_room) {
		l->days = xrealloc(l->days, l->day_room + 1, sizeof(*l->days));
		l->days[l->day_room++] = (struct state_copy){0};
	}
	struct state_copy *copy = &l->days[l->day_count];
	copy->day = day;
	copy->made = made;
	buffer_reset(&copy->state);
	return copy;
}

/* A midnight's state is known at once, or some minutes later (engine_midnight()). */
static void keep_midnights(struct live *l)
{
	bool quiet;
	while (l->midnight_count > 0) {
		struct state_copy *copy = new_checkpoint(l, l->midnights[0], true);
		if (!engine_midnight(l->engine, copy->day, &copy->state, &quiet))
			return;
		l->day_count++;
		l->midnights[0] = l->midnights[--l->midnight_count];
	}
}

static void pass_midnight(struct live *l, int64_t day)
{
	assert(l->midnight_count < ARRAY_LEN(l->midnights));
	l->midnights[l->midnight_count++] = day;
}

static void take_record(struct live *l, const struct record *record)
{
	buffer_reset(&l->frame);
	record_write(record, &l->frame);
	unsigned char *frame = arena_add(&l->frames, l->frame.length);
	memcpy(frame, l->frame.data, l->frame.length);

	if (l->closed < 0 && !record->unsure) {
		l->closed = l->first = floor_div(record->t_ms, MS_PER_MIN);
		engine_start(l->engine, l->closed);
		if (!l->behind) { /* else the state comes back with its checkpoint */
			int64_t day = floor_div(l->closed, MIN_PER_DAY);
			engine_save(l->engine, &new_checkpoint(l, day, false)->state);
			l->day_count++;
		}
	}
	l->unsure += record->unsure;
	l->scratch.count = 0;
	/* The decoder is the deriver's, too: what it decodes again counts once. */
	uint64_t unmatched = decoder_unmatched(l->decoder);
	uint64_t repeated = decoder_repeated_keys(l->decoder);
	decoder_decode(l->decoder, frame, &l->scratch);
	l->unmatched += decoder_unmatched(l->decoder) - unmatched;
	l->repeated_keys += decoder_repeated_keys(l->decoder) - repeated;
	for (size_t i = 0; i < l->scratch.count; i++)
		take_reading(l, &l->scratch.items[i], record->t_ms);
}

const unsigned char *live_copy_frame(
	struct frame_copy *copy, struct arena *arena, const unsigned char *frame)
{
	struct record record;
	if (frame != copy->from) {
		size_t size = record_read(frame, RECORD_MOST, &record);
		unsigned char *at = arena_add(arena, size);
		memcpy(at, frame, size);
		*copy = (struct frame_copy){frame, at};
	}
	return copy->to;
}

/* Feeds what waits and lies before `until_ms`; keeps the rest with its frames. */
static void feed_until(struct live *l, int64_t until_ms)
{
	size_t fed = 0, kept = 0;

	readings_sort(&l->waiting);
	while (fed < l->waiting.count && l->waiting.items[fed].t_ms < until_ms)
		engine_feed(l->engine, &l->waiting.items[fed++]);
	struct frame_copy copy = {0};
	for (size_t i = fed; i < l->waiting.count; i++) {
		struct reading r = l->waiting.items[i];
		r.frame = live_copy_frame(&copy, &l->spare, r.frame);
		l->waiting.items[kept++] = r;
	}
	l->waiting.count = kept;
	struct arena swap = l->frames;
	l->frames = l->spare;
	l->spare = swap;
	arena_reset(&l->spare);
}

/* Minutes are never closed across a UTC midnight in one stride, since a checkpoint lies
 * there; but days in which nothing holds and nothing waits are passed over together, so
 * that a clock that is set after years costs no more than another. */
static int64_t stride_end(struct live *l, int64_t closable)
{
	int64_t at = floor_div(engine_now_ms(l->engine), MS_PER_MIN);
	int64_t day = floor_div(at, MIN_PER_DAY);
	int64_t midnight = (day + 1) * MIN_PER_DAY, busy = closable;

	if (at == day * MIN_PER_DAY && engine_quiet(l->engine)) {
		readings_sort(&l->waiting);
		int64_t first = l->waiting.count
					? floor_div(l->waiting.items[0].t_ms, MS_PER_MIN)
					: closable;
		busy = first < closable ? first : closable;
		int64_t last = floor_div(busy, MIN_PER_DAY) * MIN_PER_DAY;
		midnight = last > midnight ? last : midnight;
	}
	return midnight < closable ? midnight : closable;
}

static void close_until(struct live *l, int64_t closable)
{
	while (engine_now_ms(l->engine) < closable * MS_PER_MIN) {
		int64_t to = stride_end(l, closable);
		feed_until(l, to * MS_PER_MIN);
		engine_advance(l->engine, to * MS_PER_MIN);
		int64_t end = engine_rows_end(l->engine);
		l->closed = end > l->closed ? end : l->closed;
		if (to % MIN_PER_DAY == 0)
			pass_midnight(l, floor_div(to, MIN_PER_DAY));
		keep_midnights(l);
	}
}

/* Too much waits: minutes close before their time, and the open one takes all but the
 * newest instant, which may still grow. */
static void pass_early(struct live *l)
{
	int64_t now_ms = clock_now_ms();
	int64_t until_ms = l->latest_ms < now_ms ? l->latest_ms : now_ms;
	close_until(l, floor_div(until_ms, MS_PER_MIN));
	if (until_ms > engine_now_ms(l->engine))
		feed_until(l, until_ms);
}

bool live_take_until(struct live *l, uint64_t last)
{
	struct record record;
	size_t taken = 0;

	while (taken < RECORDS_A_TURN && l->sequence < last &&
		tail_read(l->tail, &record, &l->sequence) == 0) {
		take_record(l, &record);
		taken++;
	}
	if (l->behind)
		arena_reset(&l->frames);
	else if (l->waiting.count > WAITING_MOST)
		pass_early(l);
	return taken == RECORDS_A_TURN;
}

bool live_take(struct live *l)
{
	return live_take_until(l, UINT64_MAX);
}

static int close_rows(struct live *l, int64_t now_ms)
{
	close_until(l, closed_minute(now_ms));
	if (l->row_error == 0)
		return 0;
	/* The rows that could not wait in memory are derived again from the journal. */
	int r = l->row_error;
	l->row_error = 0;
	l->day_count = 0;
	l->settled.count = l->happened.count = 0;
	l->closed = l->committed_until ? l->committed_until : l->first;
	l->behind = true;
	(void)store_pending_clear(l->store); /* what fails now fails at the commit too */
	return live_told(l, r);
}

int live_close(struct live *l, int64_t now_ms)
{
	if (l->behind || l->closed < 0)
		return 0;
	int r = close_rows(l, now_ms);
	if (l->news)
		news_closed(l->news, l->closed);
	return r;
}

int64_t live_closed_ms(const struct live *l)
{
	return l->closed < 0 ? 0 : (l->closed + l->lag) * MS_PER_MIN;
}

bool live_behind(const struct live *l)
{
	return l->behind;
}

int live_tidy(struct live *l)
{
	int64_t today_ms = floor_div(l->closed, MIN_PER_DAY) * MS_PER_DAY, day_ms;
	if (!l->joining || l->behind || l->closed < 0)
		return 0;
	int r = store_join(l->store, l->join_from_ms, today_ms, &day_ms);
	if (r == 0)
		return 0;
	/* A damaged chunk leaves its day as it is; what else fails is tried tomorrow. */
	l->joining = r == -EBADMSG;
	l->join_from_ms = l->joining ? day_ms + MS_PER_DAY : 0;
	return r == STORE_CLEAN ? 0 : r;
}

void live_present(struct live *l, int64_t now_ms, struct live_state *ret)
{
	present_answer(l->present, now_ms, ret);
	ret->last_commit_ms = l->last_commit_ms;
	ret->clock_unsure = l->unsure;
	ret->unmatched = l->unmatched;
	ret->repeated_keys = l->repeated_keys;
	ret->derived_until_ms = l->closed > 0 ? l->closed * MS_PER_MIN : 0;
}
