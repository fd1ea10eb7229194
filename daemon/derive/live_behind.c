/*
 * The live way while it is behind: after a start, a late reading and an outside import,
 * dirty days are derived a turn each, then the state is read back from the journal and
 * minutes close again. See live.h.
 */
#include "live_state.h"

#include <heatbook/clock.h>

#include <errno.h>

/* After a derivation minutes close for so many times as long, before what came late
 * meanwhile is derived. */
#define LATE_SHARE 9

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
	l->settled.count = l->happened.count =
		0; /* what the open minute closed comes again */
	int r = deriver_replay(
		l->deriver, l->engine, l->closed, later_ms(l), &later, &frames);

	l->waiting.count = 0;
	arena_reset(&l->frames);
	struct frame_copy copy = {0};
	for (size_t i = 0; r == 0 && i < later.count; i++) {
		struct reading reading = later.items[i];
		reading.frame = live_copy_frame(&copy, &l->frames, reading.frame);
		readings_add(&l->waiting, &reading);
	}
	if (r == 0)
		present_restore(l->present, l->engine, l->closed, &later, clock_now_ms());
	readings_release(&later);
	buffer_release(&frames);
	return r;
}

/* Everything dirty is done but for what begins before `until`, which came meanwhile, and
 * what lies between now and rows of a clock that was far ahead. */
static int done_but_late(
	struct live *l, int64_t until, int64_t now_ms, struct late *ret_left)
{
	int64_t from, to;
	int r;
	while ((r = store_dirty_next(l->store, &from, &to)) == 0 &&
		from < until * MS_PER_MIN) {
		late_append(ret_left, from, to);
		r = store_dirty_done(l->store, to);
		if (r != 0)
			return r;
	}
	if (r == 0)
		r = store_dirty_done(l->store, until < l->closed ? now_ms : later_ms(l));
	else if (r == STORE_CLEAN)
		r = 0;
	for (size_t i = 0; r == 0 && i < ret_left->count; i++)
		r = store_dirty_add(
			l->store, ret_left->spans[i].from_ms, ret_left->spans[i].to_ms);
	return r;
}

/* In the transaction that reads the state back: what is marked as done is in it. */
static int read_back(
	struct live *l, int64_t until, int64_t now_ms, bool replay, struct late *ret_left)
{
	int r = replay ? catch_up(l) : 0;
	/* The next start shall know where rows begin, though none is committed yet. */
	if (r == 0 && !l->committed_until && l->closed >= 0)
		r = store_set_fact(
			l->store, FACT_DERIVED_UNTIL_MS, l->closed * MS_PER_MIN);
	if (r == 0)
		r = done_but_late(l, until, now_ms, ret_left);
	return r == 0 ? store_commit(l->store) : r;
}

/* Minutes close again. What came too late meanwhile waits for a while, so that readings
 * which go on coming late do not keep the daemon here. */
static int stand(struct live *l, int64_t until, int64_t now_ms, bool replay)
{
	struct late left = {0};
	int r = read_back(l, until, now_ms, replay, &left);
	bool more = left.count > 0 || until < l->closed; /* … when the clock is right */
	late_release(&left);
	if (r != 0)
		return r;
	if (!replay && l->closed >= 0)
		engine_start(l->engine, l->closed);
	if (!l->committed_until && l->closed >= 0)
		l->committed_until = l->closed;
	int64_t mono_ms = clock_mono_ms();
	l->look_at_ms = mono_ms + LATE_SHARE * (mono_ms - l->behind_ms);
	l->look |= more;
	l->behind_ms = -1;
	l->leant_ms = replay ? (l->closed + l->lag) * MS_PER_MIN : 0;
	l->midnight_count = 0; /* what was passed is stored, or passed again */
	l->behind = false;
	return DERIVER_CLEAN;
}

/* Nothing is dirty: what of the tail is not committed is filed, then the state is read
 * back. 0: again in another turn. */
static int settle(struct live *l, int64_t until, int64_t now_ms)
{
	bool empty;
	int r = live_uncommitted(l) ? live_commit(l) : 0;
	bool again = l->outside || l->sequence != l->committed_sequence;
	l->outside = false;
	if (r != 0 || again)
		return r;
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
	int r = live_load(l);
	if (r == 0)
		r = l->respanned ? DERIVER_CLEAN : deriver_respan(l->deriver);
	if (r != DERIVER_CLEAN)
		return r;
	l->respanned = true;
	int64_t until = l->closed >= 0 && l->closed * MS_PER_MIN <= now_ms
				? l->closed
				: derivable_minute(l->config, l->closed, now_ms);
	r = deriver_step(l->deriver, until);
	return r == DERIVER_CLEAN ? settle(l, until, now_ms) : r;
}

static void tell_derived(struct live *l)
{
	int64_t from, to;
	if (!l->news)
		return;
	if (deriver_rows(l->deriver, &from, &to))
		news_revised(l->news, from, to);
	if (l->loaded)
		news_closed(l->news, l->closed);
}

int live_derive(struct live *l, int64_t now_ms)
{
	if (!l->behind)
		return DERIVER_CLEAN;
	l->error[0] = '\0';
	if (l->behind_ms < 0)
		l->behind_ms = clock_mono_ms();
	int r = derive(l, now_ms);
	if (r == 0 || r == DERIVER_CLEAN)
		tell_derived(l);
	return r == DERIVER_CLEAN || l->error[0] ? r : live_told(l, r);
}

int live_look_outside(struct live *l)
{
	int64_t version, from, to;
	int r = live_told(l, store_outside_version(l->store, &version));
	if (r != 0 || version == l->outside_version)
		return r;
	r = store_dirty_next(l->store, &from, &to);
	if (r != 0 && r != STORE_CLEAN)
		return live_told(l, r); /* looked at again */
	l->outside |= r == 0 && l->behind;
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
