/*
 * See live.h.
 *
 * The engine here takes readings in canonical order when their minutes close and makes
 * the rows; what holds right now is answered by present.c.
 *
 * Invariant: while not behind, `engine` stands at the end of the last closed minute,
 * every reading that was taken at or after it is in `waiting`, and pending rows are
 * exactly the minutes between the store's last one and it.
 */
#include <heatbook/live.h>

#include "arena.h"
#include "present.h"

#include <heatbook/archive.h>
#include <heatbook/clock.h>
#include <heatbook/deriver.h>
#include <heatbook/filer.h>

#include <errno.h>
#include <math.h>
#include <string.h>

#define RECORDS_A_TURN 4096
/* Readings that wait at most: above it the oldest pass early, and any that comes later
 * still is derived again from the journal. */
#define WAITING_MOST 65536

struct state_copy {
	int64_t day;
	bool made; /* the day before was made here */
	struct buffer state;
};

struct live {
	const struct config *config;
	struct store *store;
	struct decoder *decoder;
	struct tail *tail;
	struct filer *filer;
	struct deriver *deriver;

	struct engine *engine;
	int64_t closed; /* minute at which `engine` stands; -1 before anything was seen */
	int64_t first;  /* minute at which rows begin where nothing was committed yet */
	bool behind;
	bool respanned; /* every chunk's span is of the mapping in force */
	int row_error;

	struct readings waiting;
	struct arena frames, spare;
	struct readings scratch;
	struct buffer frame;
	int64_t latest_ms; /* newest reading taken */
	uint64_t unsure;   /* records taken that are */

	bool look; /* for dirty spans, after the next commit */
	bool late; /* something came after its minute closed */
	int64_t late_from_ms, late_to_ms;
	struct state_copy *days; /* checkpoints that the next commit stores */
	size_t day_count, day_room;

	uint64_t sequence;           /* last one read from the tail */
	uint64_t committed_sequence; /* last one in the store */
	int64_t committed_until;     /* minute */
	int64_t outside_version;
	int64_t last_commit_ms; /* wall clock; 0 = none yet */
	bool loaded;            /* where the store stands is known */
	char error[STORE_ERROR_MOST];

	bool joining; /* small chunks of days that are over, from this one on */
	int64_t join_from_ms;

	struct present *present;
};

static void pend_minute(const struct minute *minute, void *context)
{
	struct live *l = context;
	if (minute->minute < l->closed)
		return; /* stored: the state is being read back from the journal */
	if (l->row_error == 0)
		l->row_error = store_pending_add(l->store, minute);
}

/* Remembers why, of what the store answered. */
static int told(struct live *l, int r)
{
	if (r != 0)
		(void)snprintf(l->error, sizeof(l->error), "%s", store_error(l->store));
	return r;
}

static int told_tail(struct live *l, int r)
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

/* Where the store stands. Nothing is committed before that is known: records would be
 * filed twice. */
static int load(struct live *l)
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
	l->present = present_new(l->config, clock_now_ms());
	l->closed = -1;
	(void)load(l); /* tried again before anything is committed or derived */
	l->sequence = l->committed_sequence;
	l->joining = true;
	l->behind = true; /* the state is still to be read back from the journal */
	return l;
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
	readings_release(&l->waiting);
	readings_release(&l->scratch);
	arena_release(&l->frames);
	arena_release(&l->spare);
	buffer_release(&l->frame);
	free(l);
}

/* Rows before this instant are made, or are the deriver's. */
static int64_t standing_ms(const struct live *l)
{
	return l->behind ? l->closed * MS_PER_MIN : engine_now_ms(l->engine);
}

static void note_late(struct live *l, int64_t t_ms)
{
	if (!l->late || t_ms < l->late_from_ms)
		l->late_from_ms = t_ms;
	if (!l->late || t_ms >= l->late_to_ms)
		l->late_to_ms = t_ms + 1;
	l->late = true;
}

static void take_reading(struct live *l, const struct reading *r, int64_t stamp_ms)
{
	present_take(l->present, r, stamp_ms);
	if (r->t_ms > l->latest_ms)
		l->latest_ms = r->t_ms;
	if (r->t_ms < standing_ms(l))
		note_late(l, r->t_ms);
	else if (!l->behind) /* else it comes back from the journal when the state does */
		readings_add(&l->waiting, r);
}

/* A day more than there was between two commits so far makes the array grow. */
static void keep_checkpoint(struct live *l, int64_t day, bool made)
{
	if (l->day_count == l->day_room) {
		l->days = xrealloc(l->days, l->day_room + 1, sizeof(*l->days));
		l->days[l->day_room++] = (struct state_copy){0};
	}
	struct state_copy *copy = &l->days[l->day_count++];
	copy->day = day;
	copy->made = made;
	buffer_reset(&copy->state);
	engine_save(l->engine, &copy->state);
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
		if (!l->behind) /* else the state comes back with its checkpoint */
			keep_checkpoint(l, floor_div(l->closed, MIN_PER_DAY), false);
	}
	l->unsure += record->unsure;
	l->scratch.count = 0;
	decoder_decode(l->decoder, frame, &l->scratch);
	for (size_t i = 0; i < l->scratch.count; i++)
		take_reading(l, &l->scratch.items[i], record->t_ms);
}

/* Readings of one record follow each other: its frame is copied once. */
struct frame_copy {
	const unsigned char *from, *to;
};

static const unsigned char *copy_frame(
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
		r.frame = copy_frame(&copy, &l->spare, r.frame);
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
	int64_t day = floor_div(l->closed, MIN_PER_DAY);
	int64_t midnight = (day + 1) * MIN_PER_DAY, busy = closable;

	if (l->closed == day * MIN_PER_DAY && engine_quiet(l->engine)) {
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
	while (l->closed < closable) {
		int64_t to = stride_end(l, closable);
		feed_until(l, to * MS_PER_MIN);
		engine_advance(l->engine, to * MS_PER_MIN);
		l->closed = to;
		if (to % MIN_PER_DAY == 0)
			keep_checkpoint(l, floor_div(to, MIN_PER_DAY), true);
	}
}

/* Too much waits: minutes close before their time, and the open one takes all but the
 * newest instant, which may still grow. */
static void pass_early(struct live *l)
{
	int64_t now_ms = clock_now_ms();
	int64_t until_ms = l->latest_ms < now_ms ? l->latest_ms : now_ms;
	close_until(l, floor_div(until_ms, MS_PER_MIN));
	if (until_ms > l->closed * MS_PER_MIN)
		feed_until(l, until_ms);
}

/* Takes records up to a sequence number; true when the bound of a turn ended it. */
static bool take_until(struct live *l, uint64_t last)
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
	return take_until(l, UINT64_MAX);
}

int live_close(struct live *l, int64_t now_ms)
{
	if (l->behind || l->closed < 0)
		return 0;
	close_until(l, closed_minute(now_ms));
	if (l->row_error == 0)
		return 0;
	/* The rows that could not wait in memory are derived again from the journal. */
	int r = l->row_error;
	l->row_error = 0;
	l->day_count = 0;
	l->closed = l->committed_until ? l->committed_until : l->first;
	l->behind = true;
	(void)store_pending_clear(l->store); /* what fails now fails at the commit too */
	return told(l, r);
}

static int file_frame(const struct record *record, uint64_t sequence, void *context)
{
	struct live *l = context;
	if (sequence <= l->committed_sequence)
		return 0;
	l->committed_sequence = sequence;
	return filer_add(l->filer, record);
}

/* What is filed is made into rows here, so it is not dirty; but as long as no minute was
 * ever committed nothing else tells the next start where rows should begin. */
static int note_span(int64_t from_ms, int64_t to_ms, void *context)
{
	struct live *l = context;
	bool known = l->committed_until || !l->behind;
	return known ? 0 : store_dirty_add(l->store, from_ms, to_ms);
}

static int store_days(struct live *l)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < l->day_count; i++) {
		r = store_checkpoint_put(l->store, l->days[i].day, &l->days[i].state);
		if (r == 0 && l->days[i].made)
			r = store_day_made(l->store, l->days[i].day - 1);
	}
	return r;
}

static int commit_rows(struct live *l)
{
	int64_t from = l->committed_until ? l->committed_until : l->first;
	int r = store_pending_move(l->store);
	if (r == 0)
		r = store_days(l);
	if (r != 0 || l->closed < 0)
		return r;
	if (l->closed > from)
		r = store_rollup(l->store, from, l->closed, l->closed);
	if (r == 0)
		r = store_set_fact(
			l->store, FACT_DERIVED_UNTIL_MS, l->closed * MS_PER_MIN);
	return r;
}

static int commit(struct live *l)
{
	int r = store_begin(l->store);
	if (r == 0)
		r = tail_sealed(l->tail, file_frame, l);
	if (r == 0)
		r = filer_flush(l->filer);
	if (r == 0)
		r = filer_spans(l->filer, note_span, l);
	if (r == 0)
		r = store_set_fact(l->store, FACT_COMMITTED_SEQUENCE,
			(int64_t)l->committed_sequence);
	if (r == 0 && l->late)
		r = store_dirty_add(l->store, l->late_from_ms, l->late_to_ms);
	if (r == 0 && !l->behind)
		r = commit_rows(l);
	if (r == 0)
		r = store_bump_version(l->store);
	return r == 0 ? store_commit(l->store) : r;
}

bool live_uncommitted(const struct live *l)
{
	struct tail_state state;
	tail_state(l->tail, &state);
	return state.free_sequence > l->committed_sequence ||
	       (!l->behind && l->closed > l->committed_until);
}

/* Dirty spans of the minutes that rows were made of, or soon will be. */
static int look_for_dirty(struct live *l)
{
	int64_t from, to;
	int r = store_dirty_next(l->store, &from, &to);
	if (r == STORE_CLEAN)
		return 0;
	if (r == 0 && from < (l->closed + MIN_PER_DAY) * MS_PER_MIN)
		l->behind = true;
	return r;
}

/* Commits the sealed segment. All of it must have been taken: it is released whole. */
static int commit_segment(struct live *l)
{
	struct tail_state state;
	int r = told(l, load(l));
	if (r == 0)
		r = told_tail(l, tail_seal(l->tail));
	if (r != 0)
		return r;
	uint64_t before = l->committed_sequence;
	tail_state(l->tail, &state);
	while (take_until(l, state.sealed_sequence))
		;
	r = told(l, commit(l));
	if (r != 0) {
		store_rollback(l->store);
		l->committed_sequence = before;
		filer_free(l->filer);
		l->filer = filer_new(l->store, l->decoder, 0);
		return r;
	}
	l->last_commit_ms = clock_now_ms();
	l->look |= l->late || l->day_count > 0;
	l->joining |= l->day_count > 0;
	if (!l->behind) {
		l->day_count = 0;
		l->committed_until = l->closed > 0 ? l->closed : 0;
	}
	r = tail_release(l->tail);
	return r == TAIL_UNREAD ? 0 : told_tail(l, r); /* the rest of it is held */
}

/* A segment that was left sealed by an earlier failure takes a commit of its own. Only
 * when all that was taken is committed may late spans be derived: rows already hold the
 * rest. */
int live_commit(struct live *l)
{
	int r = commit_segment(l);
	if (r == 0 && l->sequence > l->committed_sequence)
		r = commit_segment(l);
	if (r != 0 || l->sequence > l->committed_sequence)
		return r;
	l->late = false;
	if (l->look)
		r = told(l, look_for_dirty(l));
	l->look = r != 0;
	return r;
}

int64_t live_closed_ms(const struct live *l)
{
	return l->closed < 0 ? 0 : l->closed * MS_PER_MIN;
}

bool live_behind(const struct live *l)
{
	return l->behind;
}

/* Readings up to here wait in memory; those further ahead are left to the day that they
 * belong to. */
static int64_t later_ms(const struct live *l)
{
	int64_t now_ms = clock_now_ms(), closed_ms = l->closed * MS_PER_MIN;
	return (now_ms > closed_ms ? now_ms : closed_ms) + MS_PER_DAY;
}

/* Reads the state back from the journal. All that was taken so far is committed. */
static int catch_up(struct live *l)
{
	struct readings later = {0};
	struct buffer frames = {0};
	int r = deriver_replay(
		l->deriver, l->engine, l->closed, later_ms(l), &later, &frames);

	l->waiting.count = 0;
	arena_reset(&l->frames);
	struct frame_copy copy = {0};
	for (size_t i = 0; r == 0 && i < later.count; i++) {
		struct reading reading = later.items[i];
		reading.frame = copy_frame(&copy, &l->frames, reading.frame);
		readings_add(&l->waiting, &reading);
	}
	if (r == 0)
		present_restore(l->present, l->engine, l->closed, &later, clock_now_ms());
	readings_release(&later);
	buffer_release(&frames);
	return r;
}

/* Is a span before `until` dirty? 0, DERIVER_CLEAN or a store's code. */
static int still_dirty(struct live *l, int64_t until)
{
	int64_t from, to;
	int r = store_dirty_next(l->store, &from, &to);
	if (r == STORE_CLEAN)
		return DERIVER_CLEAN;
	return r != 0 || from < until * MS_PER_MIN ? r : DERIVER_CLEAN;
}

/* One transaction: a span that an import makes dirty meanwhile must not pass for done. */
static int stand(struct live *l, int64_t until, int64_t now_ms, bool replay)
{
	int r = still_dirty(l, until);
	if (r != DERIVER_CLEAN)
		return r;
	r = replay ? catch_up(l) : 0;
	/* The next start shall know where rows begin, though none is committed yet. */
	if (r == 0 && !l->committed_until && l->closed >= 0)
		r = store_set_fact(
			l->store, FACT_DERIVED_UNTIL_MS, l->closed * MS_PER_MIN);
	/* What lies between now and rows of a clock that was far ahead is not done. */
	if (r == 0)
		r = store_dirty_done(l->store, until < l->closed ? now_ms : later_ms(l));
	if (r == 0)
		r = store_commit(l->store);
	if (r != 0)
		return r;
	if (!l->committed_until && l->closed >= 0)
		l->committed_until = l->closed;
	l->look |= until < l->closed; /* when the clock is right again */
	l->behind = false;
	return DERIVER_CLEAN;
}

/* Nothing is dirty: what of the tail is not committed is filed, then the state is read
 * back. 0: again in another turn. */
static int settle(struct live *l, int64_t until, int64_t now_ms)
{
	bool empty;
	int r = live_uncommitted(l) ? live_commit(l) : 0;
	if (r == 0)
		r = still_dirty(l, until); /* 0: what was just filed came late */
	if (r != DERIVER_CLEAN)
		return r;
	if (l->sequence != l->committed_sequence)
		return 0;
	r = store_journal_empty(l->store, &empty);
	/* Else nothing was ever heard that counts, there is no state. */
	bool known = l->closed >= 0 || until * MS_PER_MIN >= STAMP_LEAST_MS;
	bool replay = r == 0 && !empty && known;
	if (replay) {
		l->closed = l->closed >= 0 ? l->closed : until;
		if (!l->committed_until)
			l->first = l->closed;
		r = deriver_reach(l->deriver, l->closed);
		if (r != DERIVER_CLEAN)
			return r;
		r = 0;
	}
	if (r == 0)
		r = store_begin(l->store);
	if (r == 0)
		r = stand(l, until, now_ms, replay);
	if (l->behind)
		store_rollback(l->store); /* also when there is none */
	if (r == -EBADMSG) /* the state is read back without it in the next turn */
		r = deriver_set_aside(l->deriver);
	return r;
}

static int derive(struct live *l, int64_t now_ms)
{
	int r = load(l);
	if (r == 0)
		r = l->respanned ? DERIVER_CLEAN : deriver_respan(l->deriver);
	if (r != DERIVER_CLEAN)
		return r;
	l->respanned = true;
	int64_t until = l->closed >= 0 && l->closed * MS_PER_MIN <= now_ms
				? l->closed
				: derivable_minute(l->closed, now_ms);
	r = deriver_step(l->deriver, until);
	return r == DERIVER_CLEAN ? settle(l, until, now_ms) : r;
}

int live_derive(struct live *l, int64_t now_ms)
{
	if (!l->behind)
		return DERIVER_CLEAN;
	l->error[0] = '\0';
	int r = derive(l, now_ms);
	return r == DERIVER_CLEAN || l->error[0] ? r : told(l, r);
}

int live_look_outside(struct live *l)
{
	int64_t version, from, to;
	int r = told(l, store_outside_version(l->store, &version));
	if (r != 0 || version == l->outside_version)
		return r;
	r = store_dirty_next(l->store, &from, &to);
	if (r != 0 && r != STORE_CLEAN)
		return told(l, r); /* looked at again */
	if (r == 0 && !l->behind) {
		r = live_commit(l);
		l->behind |= r == 0;
	}
	if (r != 0 && r != STORE_CLEAN)
		return r;     /* as above; live_commit() said why */
	l->respanned = false; /* what came may be of another mapping */
	l->outside_version = version;
	return 0;
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
	ret->unmatched = decoder_unmatched(l->decoder);
	ret->derived_until_ms = l->closed > 0 ? l->closed * MS_PER_MIN : 0;
}
