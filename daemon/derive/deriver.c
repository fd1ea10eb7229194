/*
 * See deriver.h.
 *
 * A day's step: restore the state carried into it, feed its readings in canonical order,
 * write its minutes and events, book the spans of registers that its readings closed
 * (back to where these began), sum the hours and local days that all this touches, store
 * the state carried out of it and mark what was dirty as done; all in one transaction, so
 * that readers never see half a day and a crash repeats it. If the state carried out
 * differs from the one stored before, the next day is dirty too; while nothing holds,
 * days without readings are skipped.
 *
 * Where modes are told by rule, a day's last minutes lean on the first ones of the next:
 * these are fed too, and what they say of their own day is dropped. Where channels go
 * along lines, so does the state at midnight. So a day's rows are a function of the state
 * carried into it and of the journal, and can be derived alone.
 *
 * What is damaged stops nothing: a state that cannot be read is dropped and made again
 * from an earlier one, by feeding the days between without writing their rows; a chunk
 * that cannot be read is set aside, and the days that it sealed keep theirs.
 */
#include <heatbook/deriver.h>

#include "deriver_core.h"
#include "stream.h"

#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/filer.h>
#include <heatbook/log.h>

#include <errno.h>
#include <string.h>

/* In one transaction, where nobody waits for the end of one: others may write, too. */
#define DAYS_A_TURN 8
#define TURN_MS     500

static void write_minute(const struct minute *minute, void *context)
{
	struct deriver *d = context;
	if (d->write_error == 0 && minute->minute >= d->write_from &&
		minute->minute < d->write_to)
		d->write_error = store_minute_add(d->store, minute);
}

static void keep_settlement(const struct settlement *settlement, void *context)
{
	struct deriver *d = context;
	if (settlement->made_ms < d->write_to * MS_PER_MIN)
		settled_add(&d->settled, settlement);
}

static void keep_event(const struct event *event, void *context)
{
	struct deriver *d = context;
	if (event->made_ms < d->write_to * MS_PER_MIN)
		happened_add(&d->happened, event);
}

struct deriver *deriver_new(struct store *store, struct decoder *decoder)
{
	struct deriver *d = xcalloc(1, sizeof(*d));
	d->store = store;
	d->decoder = decoder;
	d->days_a_turn = 1;
	d->engine = engine_new(store_config(store), write_minute, d);
	engine_on_settlement(d->engine, keep_settlement, d);
	engine_on_event(d->engine, keep_event, d);
	return d;
}

void deriver_work_ahead(struct deriver *d)
{
	if (!d->ahead)
		d->ahead = ahead_new(store_config(d->store));
	d->days_a_turn = DAYS_A_TURN;
	memory_stays();
}

void deriver_free(struct deriver *d)
{
	if (!d)
		return;
	engine_free(d->engine);
	ahead_free(d->ahead);
	free(d->settled.items);
	free(d->happened.items);
	buffer_release(&d->state);
	buffer_release(&d->other);
	buffer_release(&d->carried);
	free(d);
}

int64_t deriver_day(const struct deriver *d)
{
	return d->day;
}

uint64_t deriver_days(const struct deriver *d)
{
	return d->tally.days;
}

uint64_t deriver_readings(const struct deriver *d)
{
	return d->tally.readings;
}

uint64_t deriver_sealed(const struct deriver *d)
{
	return d->tally.sealed;
}

static int drop_checkpoint(struct deriver *d, int64_t day)
{
	char text[32];
	time_text_utc(day * MS_PER_DAY, text);
	log_warning(
		"the state of %.10s cannot be read; it is made again from an earlier one",
		text);
	return store_checkpoint_drop(d->store, day);
}

/* Where the journal begins, if that is before `day`. */
static int first_day(struct deriver *d, int64_t day, int64_t *ret)
{
	int64_t first_ms, last_ms;
	int r = store_journal_span(d->store, &first_ms, &last_ms);
	*ret = day;
	if (r == 0 && floor_div(first_ms, MS_PER_DAY) < day)
		*ret = floor_div(first_ms, MS_PER_DAY);
	return r == STORE_NONE ? 0 : r;
}

/* The last state that can be read, at or before `day`; without any, that of nothing. */
static int load_state(struct deriver *d, struct engine *engine, int64_t day,
	int64_t *ret_day, bool *ret_stored)
{
	bool dropped = false;
	int r;

	*ret_day = day;
	while ((r = store_checkpoint_before(d->store, day, ret_day, &d->state)) == 0) {
		r = engine_restore(
			engine, *ret_day * MIN_PER_DAY, d->state.data, d->state.length);
		*ret_stored = r == 0;
		if (r != -EBADMSG)
			return r;
		r = drop_checkpoint(d, *ret_day);
		if (r != 0)
			return r;
		dropped = true;
	}
	*ret_stored = false;
	if (r == STORE_NONE)
		r = dropped ? first_day(d, day, ret_day) : 0;
	engine_start(engine, *ret_day * MIN_PER_DAY);
	return r;
}

/* The day of the first chunk of [from, to); `to` when there is none. */
static int next_filed(struct deriver *d, int64_t from, int64_t to, int64_t *ret)
{
	struct chunk_ref *refs;
	size_t count;
	int r = store_chunks(d->store, from * MS_PER_DAY, to * MS_PER_DAY, &refs, &count);
	if (r != 0)
		return r;
	int64_t first = count ? floor_div(refs[0].first_ms, MS_PER_DAY) : to;
	*ret = first > from ? first : from;
	free(refs);
	return 0;
}

int deriver_restore_before(
	struct deriver *d, struct engine *engine, int64_t day, int64_t *ret_day)
{
	int64_t at, begin;
	bool stored;
	int r = load_state(d, engine, day, &at, &stored);
	begin = at;
	if (r == 0 && at < day && engine_quiet(engine))
		r = next_filed(d, at, day, &begin);
	if (r != 0)
		return r;
	engine_advance(engine, begin * MS_PER_DAY);
	*ret_day = begin;
	if (stored && at == begin)
		return 0;
	buffer_reset(&d->state);
	engine_save(engine, &d->state);
	return store_checkpoint_put(d->store, begin, &d->state);
}

/* Readings of a span into the deriver's engine, counted. */
static int feed_span(
	struct deriver *d, int64_t from_ms, int64_t to_ms, uint64_t *ret_readings)
{
	struct stream *stream;
	const struct reading *reading;
	int r = stream_open(d->store, d->decoder, from_ms, to_ms, &stream);
	if (r != 0)
		return r;
	while ((r = stream_next(stream, &reading)) == 0) {
		engine_feed(d->engine, reading);
		(*ret_readings)++;
	}
	d->damaged = stream_damaged(stream);
	stream_close(stream);
	return r == STREAM_END ? 0 : r;
}

static void take_over(struct deriver *d, const struct made_day *made)
{
	made_each_minute(made, store_config(d->store), write_minute, d);
	for (size_t i = 0; i < made->settled.count; i++)
		keep_settlement(&made->settled.items[i], d);
	for (size_t i = 0; i < made->happened.count; i++)
		keep_event(&made->happened.items[i], d);
	d->tally.readings += made->readings;
	buffer_reset(&d->carried);
	buffer_add(&d->carried, made->end.data, made->end.length);
	d->quiet = made->quiet;
}

/* Minutes that wait for those after them are known when these have passed. The engine is
 * beyond its day then. */
static int look_beyond(struct deriver *d, int64_t stop)
{
	int64_t lag = engine_lag_min(store_config(d->store));
	int64_t from_ms = stop * MS_PER_MIN, to_ms = (stop + lag) * MS_PER_MIN;
	if (lag == 0)
		return 0;
	uint64_t next_days = 0; /* counted when their day is made */
	int r = feed_span(d, from_ms, to_ms, &next_days);
	if (r == 0)
		engine_advance(d->engine, to_ms);
	return r;
}

/* What is carried out of a day that was fed to its end. */
static int keep_end(struct deriver *d, int64_t day)
{
	buffer_reset(&d->carried);
	if (engine_midnight(d->engine, day + 1, &d->carried, &d->quiet))
		return 0;
	int r = look_beyond(d, (day + 1) * MIN_PER_DAY);
	d->beyond = true;
	if (r == 0 && !engine_midnight(d->engine, day + 1, &d->carried, &d->quiet))
		r = -EPROTO; /* never: minutes that wait are no more than the lag */
	return r;
}

/* Minutes and settlements from the engine's state on, be they made now or ahead of their
 * time: they are the same. Leaves what is carried out. */
static int make(struct deriver *d, int64_t day, int64_t stop)
{
	const struct made_day *made = NULL;

	if (d->ahead && stop == (day + 1) * MIN_PER_DAY) {
		buffer_reset(&d->state);
		engine_save(d->engine, &d->state);
		made = ahead_take(d->ahead, d->store, day, &d->state);
	}
	d->beyond = made != NULL;
	if (made) {
		take_over(d, made);
		return 0;
	}
	int r = feed_span(d, day * MS_PER_DAY, stop * MS_PER_MIN, &d->tally.readings);
	if (r != 0)
		return r;
	engine_advance(d->engine, stop * MS_PER_MIN);
	return stop == (day + 1) * MIN_PER_DAY ? keep_end(d, day) : 0;
}

/* The next day's turn comes only where nothing newer than the mapping in force made it.
 */
static int make_dirty(struct deriver *d, int64_t day, int64_t until_minute)
{
	bool older = false;
	if (day * MIN_PER_DAY >= until_minute)
		return 0;
	int r = store_day_is_older(d->store, day, &older);
	if (r != 0 || older)
		return r; /* made by another mapping: it waits for a rebuild */
	return store_dirty_add(d->store, day * MS_PER_DAY, day * MS_PER_DAY + 1);
}

/* Whether the state stored for a day is the one carried out. Bytes of an older form, or
 * of another order of channels, are compared as what they say. */
static bool same_state(struct deriver *d, int64_t day)
{
	struct engine *engine;
	bool same = buffer_equal(&d->other, &d->carried);

	if (same)
		return true;
	engine = engine_new(store_config(d->store), NULL, NULL);
	if (engine_restore(engine, day * MIN_PER_DAY, d->other.data, d->other.length) ==
		0) {
		buffer_reset(&d->other);
		engine_save(engine, &d->other);
		same = buffer_equal(&d->other, &d->carried);
	}
	engine_free(engine);
	return same;
}

/* What follows a day that was derived to its end: its state is stored, and the next day
 * that the state reaches becomes dirty unless it began with the same. */
static int carry_over(struct deriver *d, int64_t day, int64_t until_minute)
{
	int64_t next = 0;
	int r = store_checkpoint_after(d->store, day, &next, &d->other);
	bool stored = r == 0;
	if (r != 0 && r != STORE_NONE)
		return r;
	bool same = stored && same_state(d, next);
	r = store_checkpoint_put(d->store, day + 1, &d->carried);
	if (r != 0)
		return r;
	if (!d->quiet) /* holds run into the very next day */
		return same && next == day + 1 ? 0 : make_dirty(d, day + 1, until_minute);
	if (!stored || same)
		return 0;
	r = store_checkpoint_put(d->store, next, &d->carried);
	return r == 0 ? make_dirty(d, next, until_minute) : r;
}

/* Rows that go on from the last derived minute move it, so that a derivation which is
 * broken off leaves no rows beyond it. */
static int move_end(struct deriver *d, int64_t stop)
{
	int64_t until_ms;
	int r = store_fact(d->store, FACT_DERIVED_UNTIL_MS, &until_ms);
	bool goes_on = r == 0 && until_ms > 0 && until_ms < stop * MS_PER_MIN &&
		       until_ms >= d->write_from * MS_PER_MIN;
	if (goes_on)
		r = store_set_fact(d->store, FACT_DERIVED_UNTIL_MS, stop * MS_PER_MIN);
	return r;
}

static void note_rows(struct deriver *d, int64_t from, int64_t to)
{
	bool none = d->rows_from >= d->rows_to;
	d->rows_from = none || from < d->rows_from ? from : d->rows_from;
	d->rows_to = none || to > d->rows_to ? to : d->rows_to;
}

bool deriver_rows(struct deriver *d, int64_t *ret_from, int64_t *ret_to)
{
	bool any = d->rows_from < d->rows_to;
	*ret_from = d->rows_from;
	*ret_to = d->rows_to;
	d->rows_from = d->rows_to = 0;
	return any;
}

static int write_rows(struct deriver *d, int64_t day, int64_t stop, int64_t until_minute)
{
	int64_t from = d->write_from, to = stop;
	int r = d->write_error;
	d->wrote_to = stop;
	if (r == 0)
		r = store_minutes_write(d->store);
	if (r == 0)
		r = store_settle(d->store, d->settled.items, d->settled.count,
			day * MS_PER_DAY, stop * MS_PER_MIN, &from, &to);
	if (r == 0)
		r = store_events_put(d->store, d->happened.items, d->happened.count,
			d->write_from * MS_PER_MIN, stop * MS_PER_MIN);
	if (r == 0)
		note_rows(d, from, to);
	if (r == 0)
		r = store_rollup(d->store, from, to, until_minute);
	if (r == 0)
		r = store_day_made(d->store, day, d->write_from);
	return r == 0 ? move_end(d, stop) : r;
}

/* From `from_minute` on rows are written; with one beyond the day only its state is made.
 */
static int derive_day(
	struct deriver *d, int64_t day, int64_t from_minute, int64_t until_minute)
{
	int64_t start = day * MIN_PER_DAY, end = start + MIN_PER_DAY;
	bool whole = end <= until_minute;
	int64_t stop = whole ? end : until_minute;

	d->write_from = from_minute > start ? from_minute : start;
	d->write_to = stop;
	d->write_error = 0;
	d->settled.count = d->happened.count = 0;
	bool writes = d->write_from < stop;
	int r = 0;
	if (writes)
		r = store_minutes_drop(d->store, d->write_from, stop);
	if (r == 0)
		r = make(d, day, stop);
	if (r != 0)
		return r;
	if (whole)
		ahead_begin(d->ahead, d->store, day + 1, until_minute, &d->carried);
	if (writes && !d->beyond)
		r = look_beyond(d, stop);
	if (r == 0 && writes)
		r = write_rows(d, day, stop, until_minute);
	if (r == 0)
		r = store_dirty_done(d->store, stop * MS_PER_MIN);
	if (r == 0 && whole)
		r = writes ? carry_over(d, day, until_minute)
			   : store_checkpoint_put(d->store, day + 1, &d->carried);
	return r == 0 ? store_bump_version(d->store) : r;
}

/* A day before the dirty one, whose state or rows are missing: what was derived once is
 * only fed. */
static int first_minute(struct deriver *d, int64_t day, int64_t *ret)
{
	int64_t until_ms, end_ms = (day + 1) * MS_PER_DAY;
	int r = store_fact(d->store, FACT_DERIVED_UNTIL_MS, &until_ms);
	if (r == 0)
		*ret = (until_ms >= end_ms ? end_ms : day * MS_PER_DAY) / MS_PER_MIN;
	return r;
}

static bool has_state(struct deriver *d, int64_t day)
{
	int64_t at = 0;
	return store_checkpoint_before(d->store, day, &at, &d->other) == 0 && at == day;
}

/* Derives what of a day is not sealed. */
static int derive_unsealed(
	struct deriver *d, int64_t day, int64_t from_minute, int64_t until_minute)
{
	int64_t sealed = 0;
	int r = store_sealed_until(d->store, day, &sealed);
	if (r != 0)
		return r;
	d->tally.sealed += sealed > from_minute;
	if (sealed < (day + 1) * MIN_PER_DAY || !has_state(d, day + 1))
		return derive_day(d, day, from_minute > sealed ? from_minute : sealed,
			until_minute);
	/* Nothing to write, and the next day begins with what it began with. */
	return store_dirty_done(d->store, (day + 1) * MS_PER_DAY);
}

static int step(struct deriver *d, int64_t until_minute)
{
	int64_t from_ms, to_ms, from_minute;
	int r = store_dirty_next(d->store, &from_ms, &to_ms);
	if (r == STORE_CLEAN || (r == 0 && from_ms >= until_minute * MS_PER_MIN))
		return DERIVER_CLEAN;
	if (r != 0)
		return r;
	int64_t dirty = floor_div(from_ms, MS_PER_DAY);
	r = deriver_restore_before(d, d->engine, dirty, &d->day);
	from_minute = floor_div(from_ms, MS_PER_MIN);
	if (r == 0 && d->day < dirty)
		r = first_minute(d, d->day, &from_minute);
	d->tally.days++;
	return r == 0 ? derive_unsealed(d, d->day, from_minute, until_minute) : r;
}

/* A day's state more on the way to that of `minute`. */
static int reach(struct deriver *d, int64_t minute)
{
	int64_t day = floor_div(minute, MIN_PER_DAY), at;
	int r = deriver_restore_before(d, d->engine, day, &at);
	if (r != 0)
		return r;
	int64_t end = (at + 1) * MIN_PER_DAY;
	return at < day ? derive_day(d, at, end, end) : DERIVER_CLEAN;
}

void deriver_ends_when(struct deriver *d, deriver_ask *ask, void *context)
{
	d->ask = ask;
	d->ended = false;
	d->ask_context = context;
}

/* Who is asked may answer yes only once. */
static bool ends(struct deriver *d)
{
	d->ended = d->ended || (d->ask && d->ask(d->ask_context));
	return d->ended;
}

/* Some days' work. 0 where any of it was done. */
static int works(
	struct deriver *d, int (*work)(struct deriver *, int64_t), int64_t minute)
{
	int r = work(d, minute);
	bool any = r == 0;
	int64_t until_ms = clock_mono_ms() + TURN_MS;
	for (int i = 1; r == 0 && i < d->days_a_turn && !ends(d); i++) {
		if (clock_mono_ms() >= until_ms)
			break;
		r = work(d, minute);
	}
	return any && r == DERIVER_CLEAN ? 0 : r;
}

/* One transaction; again without a chunk that turned out to be damaged. */
static int turn(struct deriver *d, int (*work)(struct deriver *, int64_t), int64_t minute)
{
	const struct tally before = d->tally;
	int r;
	do {
		r = store_begin(d->store);
		d->wrote_to = -1;
		if (r == 0)
			r = works(d, work, minute);
		if (r == 0)
			r = deriver_put_open(d);
		if (r == 0)
			r = store_commit(d->store);
		if (r == 0)
			break;
		store_rollback(d->store);
		d->tally = before;
	} while (r == -EBADMSG && (r = store_chunk_set_aside(d->store, d->damaged)) == 0);
	return r;
}

int deriver_step(struct deriver *d, int64_t until_minute)
{
	return ends(d) ? DERIVER_ENDED : turn(d, step, until_minute);
}

int deriver_reach(struct deriver *d, int64_t minute)
{
	return turn(d, reach, minute);
}

int deriver_set_aside(struct deriver *d)
{
	return store_chunk_set_aside(d->store, d->damaged);
}

static int respan_chunk(
	struct deriver *d, int64_t id, struct buffer *bytes, struct readings *scratch)
{
	d->damaged = id;
	int r = store_chunk_load(d->store, id, bytes);
	if (r != 0)
		return r;
	struct content c = chunk_content(d->decoder, bytes, scratch);
	return store_chunk_respan(d->store, id, c.first_ms, c.last_ms);
}

static int respan_chunks(struct deriver *d, const int64_t *ids, size_t count)
{
	struct readings scratch = {0};
	struct buffer bytes = {0};
	int r = store_begin(d->store);

	for (size_t i = 0; r == 0 && i < count; i++)
		r = respan_chunk(d, ids[i], &bytes, &scratch);
	if (r == 0)
		r = store_commit(d->store);
	if (r != 0)
		store_rollback(d->store);
	buffer_release(&bytes);
	readings_release(&scratch);
	return r;
}

int deriver_respan(struct deriver *d)
{
	int64_t *ids;
	size_t count;
	if (ends(d))
		return DERIVER_ENDED;
	int r = store_chunks_unspanned(d->store, &ids, &count);
	if (r != 0)
		return r;
	r = count ? respan_chunks(d, ids, count) : DERIVER_CLEAN;
	free(ids);
	return r == -EBADMSG ? store_chunk_set_aside(d->store, d->damaged) : r;
}
