/*
 * See deriver.h.
 *
 * A day's step: restore the state carried into it, feed its readings in canonical order,
 * write its minutes, sum the hours and local days that they touch, store the state
 * carried out of it and mark what was dirty as done; all in one transaction, so that
 * readers never see half a day and a crash repeats it. If the state carried out differs
 * from the one stored before, the next day is dirty too; while nothing holds, days
 * without readings are skipped.
 */
#include <heatbook/deriver.h>

#include "stream.h"

#include <heatbook/filer.h>

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

struct deriver {
	struct store *store;
	struct decoder *decoder;
	struct engine *engine;
	int64_t write_from; /* minutes before are already right */
	int write_error;
	int64_t day;
	uint64_t readings;
	struct buffer state, other;
};

int deriver_lock(const struct config *config, int *ret_fd)
{
	_cleanup_(freep) char *path = xasprintf("%s.lock", config->store.file);
	int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
	if (fd < 0)
		return -errno;
	if (flock(fd, LOCK_EX | LOCK_NB) < 0) {
		int error = errno;
		(void)close(fd); /* nothing was written */
		return error == EWOULDBLOCK ? DERIVER_TAKEN : -error;
	}
	*ret_fd = fd;
	return 0;
}

static void write_minute(const struct minute *minute, void *context)
{
	struct deriver *d = context;
	if (d->write_error == 0 && minute->minute >= d->write_from)
		d->write_error = store_minute_add(d->store, minute);
}

struct deriver *deriver_new(struct store *store, struct decoder *decoder)
{
	struct deriver *d = xcalloc(1, sizeof(*d));
	d->store = store;
	d->decoder = decoder;
	d->engine = engine_new(store_config(store), write_minute, d);
	return d;
}

void deriver_free(struct deriver *d)
{
	if (!d)
		return;
	engine_free(d->engine);
	buffer_release(&d->state);
	buffer_release(&d->other);
	free(d);
}

int64_t deriver_day(const struct deriver *d)
{
	return d->day;
}

uint64_t deriver_readings(const struct deriver *d)
{
	return d->readings;
}

/* Restores the state carried into `day`; *ret_day is earlier where holds of an earlier
 * checkpoint still run. A day whose state was not stored gets it now, so that whoever
 * derives an earlier day finds that this one began otherwise. */
static int restore_before(
	struct deriver *d, struct engine *engine, int64_t day, int64_t *ret_day)
{
	int64_t at = day;
	int r = store_checkpoint_before(d->store, day, &at, &d->state);
	bool none = r == STORE_NONE;
	if (none)
		engine_start(engine, day * MIN_PER_DAY);
	else if (r == 0)
		r = engine_restore(
			engine, at * MIN_PER_DAY, d->state.data, d->state.length);
	if (r != 0 && !none)
		return r;
	*ret_day = engine_quiet(engine) ? day : at;
	engine_advance(engine, *ret_day * MS_PER_DAY);
	if (!none && at == *ret_day)
		return 0;
	buffer_reset(&d->state);
	engine_save(engine, &d->state);
	return store_checkpoint_put(d->store, *ret_day, &d->state);
}

static int feed_span(
	struct deriver *d, struct engine *engine, int64_t from_ms, int64_t to_ms)
{
	struct stream *stream;
	const struct reading *reading;
	int r = stream_open(d->store, d->decoder, from_ms, to_ms, &stream);
	if (r != 0)
		return r;
	while ((r = stream_next(stream, &reading)) == 0) {
		engine_feed(engine, reading);
		d->readings++;
	}
	stream_close(stream);
	return r == STREAM_END ? 0 : r;
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

/* What follows a day that was derived to its end: its state is stored, and the next day
 * that the state reaches becomes dirty unless it began with the same. */
static int carry_over(struct deriver *d, int64_t day, int64_t until_minute)
{
	int64_t next = 0;

	buffer_reset(&d->state);
	engine_save(d->engine, &d->state);
	int r = store_checkpoint_after(d->store, day, &next, &d->other);
	bool stored = r == 0;
	if (r != 0 && r != STORE_NONE)
		return r;
	bool same = stored && d->other.length == d->state.length &&
		    memcmp(d->other.data, d->state.data, d->state.length) == 0;
	r = store_checkpoint_put(d->store, day + 1, &d->state);
	if (r != 0)
		return r;
	if (!engine_quiet(d->engine)) /* holds run into the very next day */
		return same && next == day + 1 ? 0 : make_dirty(d, day + 1, until_minute);
	if (!stored || same)
		return 0;
	r = store_checkpoint_put(d->store, next, &d->state);
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

static int derive_day(
	struct deriver *d, int64_t day, int64_t from_minute, int64_t until_minute)
{
	int64_t start = day * MIN_PER_DAY, end = start + MIN_PER_DAY;
	bool whole = end <= until_minute;
	int64_t stop = whole ? end : until_minute;

	d->write_from = from_minute > start ? from_minute : start;
	d->write_error = 0;
	int r = 0;
	if (d->write_from < stop)
		r = store_minutes_drop(d->store, d->write_from, stop);
	if (r == 0)
		r = feed_span(d, d->engine, start * MS_PER_MIN, stop * MS_PER_MIN);
	if (r != 0)
		return r;
	engine_advance(d->engine, stop * MS_PER_MIN);
	r = d->write_error;
	if (r == 0)
		r = store_rollup(d->store, d->write_from, stop, until_minute);
	if (r == 0)
		r = store_day_made(d->store, day);
	if (r == 0)
		r = store_dirty_done(d->store, stop * MS_PER_MIN);
	if (r == 0)
		r = move_end(d, stop);
	if (r == 0 && whole)
		r = carry_over(d, day, until_minute);
	return r == 0 ? store_bump_version(d->store) : r;
}

static int step(struct deriver *d, int64_t until_minute)
{
	int64_t from_ms, to_ms, day;
	int r = store_dirty_next(d->store, &from_ms, &to_ms);
	if (r == STORE_CLEAN || (r == 0 && from_ms >= until_minute * MS_PER_MIN))
		return DERIVER_CLEAN;
	if (r == 0)
		r = restore_before(d, d->engine, floor_div(from_ms, MS_PER_DAY), &day);
	if (r != 0)
		return r;
	d->day = day;
	if (day < floor_div(from_ms, MS_PER_DAY))
		from_ms = day * MS_PER_DAY; /* a day that was left half derived */
	return derive_day(d, day, floor_div(from_ms, MS_PER_MIN), until_minute);
}

int deriver_step(struct deriver *d, int64_t until_minute)
{
	int r = store_begin(d->store);
	if (r == 0)
		r = step(d, until_minute);
	if (r == 0)
		r = store_commit(d->store);
	if (r != 0)
		store_rollback(d->store);
	return r;
}

/* Readings that wait, with one copy of each frame: those of one record follow each other.
 */
struct keeper {
	struct readings *later;
	struct buffer *frames;
	size_t *offsets; /* of each reading's frame */
	size_t room, last_size;
};

static void keep(struct keeper *k, const struct reading *reading)
{
	struct record record;
	size_t size = record_read(reading->frame, RECORD_MOST, &record);
	size_t last = k->frames->length - k->last_size;
	bool same = k->last_size == size &&
		    memcmp(k->frames->data + last, reading->frame, size) == 0;

	if (!same) {
		last = k->frames->length;
		buffer_add(k->frames, reading->frame, size);
		k->last_size = size;
	}
	if (k->later->count == k->room) {
		k->room = k->room ? 2 * k->room : 64;
		k->offsets = xrealloc(k->offsets, k->room, sizeof(*k->offsets));
	}
	k->offsets[k->later->count] = last;
	readings_add(k->later, reading);
}

/* The copies stay where they are once all are there: now the readings can point to them.
 */
static void resolve(struct keeper *k)
{
	const unsigned char *base = (const unsigned char *)k->frames->data;
	for (size_t i = 0; i < k->later->count; i++)
		k->later->items[i].frame = base + k->offsets[i];
	free(k->offsets);
	k->offsets = NULL;
}

int deriver_replay(struct deriver *d, struct engine *engine, int64_t minute,
	int64_t to_ms, struct readings *later, struct buffer *frames)
{
	struct keeper keeper = {.later = later, .frames = frames};
	struct stream *stream;
	const struct reading *reading;
	int64_t edge_ms = minute * MS_PER_MIN, day;
	int r = restore_before(d, engine, floor_div(minute, MIN_PER_DAY), &day);
	if (r != 0)
		return r;
	assert(later->count == 0 && frames->length == 0);
	r = stream_open(d->store, d->decoder, day * MS_PER_DAY, to_ms, &stream);
	if (r != 0)
		return r;
	while ((r = stream_next(stream, &reading)) == 0) {
		if (reading->t_ms < edge_ms)
			engine_feed(engine, reading);
		else
			keep(&keeper, reading);
	}
	stream_close(stream);
	resolve(&keeper);
	if (r != STREAM_END)
		return r;
	engine_advance(engine, edge_ms);
	return 0;
}

static int respan_chunk(
	struct deriver *d, int64_t id, struct buffer *bytes, struct readings *scratch)
{
	int64_t first = INT64_MAX, last = INT64_MIN;
	struct record record;
	size_t size;
	int r = store_chunk_load(d->store, id, bytes);
	if (r != 0)
		return r;
	const unsigned char *at = (const unsigned char *)bytes->data;
	for (size_t left = bytes->length; (size = record_read(at, left, &record)) > 0;
		left -= size, at += size) {
		int64_t from, to;
		(void)record_span(d->decoder, at, scratch, &from, &to);
		first = from < first ? from : first;
		last = to > last ? to : last;
	}
	return store_chunk_respan(d->store, id, first, last);
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
	int r = store_chunks_unspanned(d->store, &ids, &count);
	if (r != 0)
		return r;
	r = count ? respan_chunks(d, ids, count) : DERIVER_CLEAN;
	free(ids);
	return r;
}
