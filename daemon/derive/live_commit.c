/*
 * The live way's commit: sealed frames into the journal, pending minutes, checkpoints,
 * closed hours and days, the tail's sequence number, in one transaction. See live.h.
 */
#include "live_state.h"
#include "open_spans.h"

#include <heatbook/clock.h>

#include <string.h>

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
	return known ? 0 : store_dirty_readings(l->store, from_ms, to_ms);
}

/* Rows go on from `from`; the day that is not over is noted as well, so that a mapping
 * that comes into force in the midst of it does not pass for its maker. */
static int store_days(struct live *l, int64_t from)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < l->day_count; i++) {
		r = store_checkpoint_put(l->store, l->days[i].day, &l->days[i].state);
		if (r == 0 && l->days[i].made)
			r = store_day_made(l->store, l->days[i].day - 1, from);
	}
	if (r == 0 && l->closed > from)
		r = store_day_made(l->store, floor_div(l->closed - 1, MIN_PER_DAY), from);
	return r;
}

/* Those that readings of closed minutes closed come first. */
static size_t settled_before(const struct settled *list, int64_t t_ms)
{
	size_t n = 0;
	while (n < list->count && list->items[n].made_ms < t_ms)
		n++;
	return n;
}

/* Of these, rows change at each commit: what is behind them is taken off. */
static bool any_difference(const struct config *config)
{
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].difference)
			return true;
	return false;
}

static int settle(struct live *l, int64_t *from, int64_t *to)
{
	int64_t from_ms = *from * MS_PER_MIN, to_ms = *to * MS_PER_MIN;
	size_t count = settled_before(&l->settled, to_ms);
	int r = store_settle(l->store, l->settled.items, count, from_ms, to_ms, from, to);
	bool wider = *from * MS_PER_MIN < from_ms || *to * MS_PER_MIN > to_ms;
	if (r == 0 && (count || wider || any_difference(l->config)))
		l->laid = (struct minute_range){*from, *to};
	return r;
}

static int put_events(struct live *l, int64_t from, int64_t to)
{
	return store_events_put(l->store, l->happened.items, l->happened.count,
		from * MS_PER_MIN, to * MS_PER_MIN);
}

/* Committed: the rest is of the open minute. */
static void drop_settled(struct live *l)
{
	size_t done = settled_before(&l->settled, l->closed * MS_PER_MIN);
	l->settled.count -= done;
	if (l->settled.count)
		memmove(l->settled.items, l->settled.items + done,
			l->settled.count * sizeof(*l->settled.items));
	size_t n = 0;
	while (n < l->happened.count &&
		l->happened.items[n].made_ms < l->closed * MS_PER_MIN)
		n++;
	l->happened.count -= n;
	if (l->happened.count)
		memmove(l->happened.items, l->happened.items + n,
			l->happened.count * sizeof(*l->happened.items));
}

static int commit_rows(struct live *l)
{
	int64_t from = l->committed_until ? l->committed_until : l->first;
	int64_t to = l->closed;
	int r = store_pending_move(l->store);
	if (r == 0)
		r = store_days(l, from);
	if (r != 0 || l->closed < 0)
		return r;
	if (l->closed > from)
		r = put_events(l, from, l->closed);
	if (r == 0 && l->closed > from)
		r = settle(l, &from, &to);
	if (r == 0 && to > from)
		r = store_rollup(l->store, from, to, l->closed);
	/* Rows may end some minutes before the engine, where modes come by rule: a span
	 * that closed there is told of with these. */
	if (r == 0)
		r = open_spans_put(l->store, l->engine);
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
	if (r == 0 && !l->behind)
		r = commit_rows(l);
	for (size_t i = 0; r == 0 && i < l->late.count; i++)
		r = store_dirty_readings(
			l->store, l->late.spans[i].from_ms, l->late.spans[i].to_ms);
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

/* What is committed now. */
static void tell_committed(struct live *l)
{
	int64_t until_ms = l->closed * MS_PER_MIN;
	if (!l->news || l->behind)
		return;
	news_settled(l->news, l->settled.items, settled_before(&l->settled, until_ms),
		until_ms);
	news_revised(l->news, l->laid.from, l->laid.to);
}

/* Commits the sealed segment. All of it must have been taken: it is released whole. */
static int commit_segment(struct live *l)
{
	struct tail_state state;
	int r = live_told(l, live_load(l));
	if (r == 0)
		r = live_told_tail(l, tail_seal(l->tail));
	if (r != 0)
		return r;
	uint64_t before = l->committed_sequence;
	tail_state(l->tail, &state);
	while (live_take_until(l, state.sealed_sequence))
		;
	l->laid = (struct minute_range){0};
	r = live_told(l, commit(l));
	if (r != 0) {
		store_rollback(l->store);
		l->committed_sequence = before;
		filer_free(l->filer);
		l->filer = filer_new(l->store, l->decoder, 0);
		return r;
	}
	l->last_commit_ms = clock_now_ms();
	tell_committed(l);
	l->look |= l->late.count > 0 || l->day_count > 0;
	l->joining |= l->day_count > 0;
	if (!l->behind) {
		l->day_count = 0;
		drop_settled(l);
		l->committed_until = l->closed > 0 ? l->closed : 0;
	}
	r = tail_release(l->tail);
	return r == TAIL_UNREAD ? 0 : live_told_tail(l, r); /* the rest of it is held */
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
	late_clear(&l->late);
	if (!l->look || clock_mono_ms() < l->look_at_ms)
		return 0;
	r = live_told(l, look_for_dirty(l));
	l->look = r != 0;
	return r;
}
