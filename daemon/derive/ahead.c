/*
 * See ahead.h. Days wait in line; each belongs to the threads until it is done. The
 * engine's thread takes a chunk from the decoder's, and asks for the one that will be
 * taken two chunks later: what is decoded and not yet fed is bounded, whatever a day has.
 */
#include "ahead.h"

#include "stream.h"
#include "worker.h"

#include <errno.h>
#include <string.h>

/* Days in line: two, and more while what they hold is little, so that there is work to do
 * while the caller commits. */
#define DAYS_LEAST  2
#define DAYS_MOST   4
#define LINE_BYTES  (12 << 20) /* of readings */
#define CHUNKS_MOST 24         /* of a day; one with more is made in time */
#define READ_AHEAD  2          /* chunks */

struct piece {
	struct work work;
	struct ahead *ahead;
	int64_t chunk;
	int64_t from_ms, to_ms;
	bool of_day; /* begins in it, not in the minutes behind it */
	struct buffer packed;
	struct loaded *loaded; /* NULL when it cannot be read, or was taken */
};

struct ahead_day {
	struct work work;
	struct ahead *ahead;
	int64_t day;
	struct chunk_ref *refs;
	struct piece *pieces;
	size_t count, given, taken;
	bool begins; /* with made.begin; else with how the day before ended */
	int result;
	struct made_day made;
};

struct ahead {
	const struct config *config;
	struct worker *reader, *maker;
	struct decoder *decoder; /* the reader's, as is what it unpacked last: where
				  * minutes wait, a day's first chunk is read for two */
	int64_t unpacked;        /* its chunk; 0: none */
	size_t usual;            /* readings of a day's chunk, of late */
	int64_t version;         /* of what other processes wrote */
	struct buffer bytes;
	struct engine *engine; /* the maker's */
	struct buffer carried; /* the maker's: how the day before ended … */
	bool lost;             /* … which is not known */
	struct ahead_day *at;  /* what the engine makes */
	struct ahead_day *days[DAYS_MOST];
	size_t count;
	struct ahead_day *last; /* the one that was taken */
	uint64_t readings;      /* that it had */
};

static void keep_minute(const struct minute *minute, void *context)
{
	struct ahead *a = context;
	made_add_minute(&a->at->made, a->config, minute);
}

static void keep_settlement(const struct settlement *settlement, void *context)
{
	struct ahead *a = context;
	settled_add(&a->at->made.settled, settlement);
}

static void keep_event(const struct event *event, void *context)
{
	struct ahead *a = context;
	happened_add(&a->at->made.happened, event);
}

struct ahead *ahead_new(const struct config *config)
{
	struct ahead *a = xcalloc(1, sizeof(*a));
	a->config = config;
	a->reader = worker_new();
	a->maker = a->reader ? worker_new() : NULL;
	if (!a->maker) {
		worker_free(a->reader);
		free(a);
		return NULL;
	}
	a->decoder = decoder_new(config);
	a->engine = engine_new(config, keep_minute, a);
	engine_on_settlement(a->engine, keep_settlement, a);
	engine_on_event(a->engine, keep_event, a);
	return a;
}

static void day_free(struct ahead_day *d)
{
	if (!d)
		return;
	for (size_t i = 0; i < d->count; i++) {
		loaded_free(d->pieces[i].loaded);
		buffer_release(&d->pieces[i].packed);
	}
	free(d->pieces);
	free(d->refs);
	made_release(&d->made);
	free(d);
}

static void drop_days(struct ahead *a)
{
	worker_wait_all(a->maker); /* which may give to the reader */
	worker_wait_all(a->reader);
	for (size_t i = 0; i < a->count; i++)
		day_free(a->days[i]);
	a->count = 0;
	a->unpacked = 0;
}

/* Another process may have dropped a chunk and filed another by its number. */
static bool others_wrote(struct ahead *a, struct store *store)
{
	int64_t version = 0, before = a->version;
	if (store_outside_version(store, &version) != 0)
		return true;
	a->version = version;
	return version != before;
}

void ahead_free(struct ahead *a)
{
	if (!a)
		return;
	drop_days(a);
	worker_free(a->maker);
	worker_free(a->reader);
	day_free(a->last);
	decoder_free(a->decoder);
	buffer_release(&a->bytes);
	engine_free(a->engine);
	buffer_release(&a->carried);
	free(a);
}

/* Up to where readings of a day or of the minutes behind it are wanted. */
static int64_t day_to_ms(const struct ahead_day *d)
{
	return (d->day + 1) * MS_PER_DAY + engine_lag_min(d->ahead->config) * MS_PER_MIN;
}

/* ---- the reader's ---- */

static int unpack(struct piece *p, struct buffer *ret)
{
	struct ahead *a = p->ahead;
	bool waits = engine_lag_min(a->config) > 0;
	int r = 0;
	if (waits && a->unpacked == p->chunk) {
		buffer_add(ret, a->bytes.data, a->bytes.length);
		return 0;
	}
	r = store_chunk_open(&p->packed, ret);
	if (r == 0 && waits) {
		a->unpacked = p->chunk;
		buffer_reset(&a->bytes);
		buffer_add(&a->bytes, ret->data, ret->length);
	}
	return r;
}

static void read_piece(struct work *work)
{
	struct piece *p = (struct piece *)work;
	struct loaded *l = xcalloc(1, sizeof(*l));
	if (p->of_day)
		readings_reserve(&l->readings, p->ahead->usual);
	if (unpack(p, &l->bytes) == 0 &&
		loaded_decode(l, p->ahead->decoder, p->from_ms, p->to_ms) == 0)
		p->loaded = l;
	else
		loaded_free(l);
	if (p->loaded && p->of_day)
		p->ahead->usual = l->readings.count;
	buffer_release(&p->packed);
}

static void give_pieces(struct ahead_day *d)
{
	while (d->given < d->count && d->given < d->taken + READ_AHEAD)
		worker_give(d->ahead->reader, &d->pieces[d->given++].work, read_piece);
}

/* ---- the maker's ---- */

static int take_piece(void *context, const struct chunk_ref *ref, struct loaded **ret)
{
	struct ahead_day *d = context;
	struct piece *p = &d->pieces[d->taken++];
	(void)ref; /* the stream asks in their order */
	give_pieces(d);
	worker_wait(d->ahead->reader, &p->work);
	*ret = p->loaded;
	p->loaded = NULL;
	return *ret ? 0 : -EBADMSG;
}

/* At once, or when the minutes behind it have passed. */
static void keep_end(struct ahead_day *d, struct engine *engine)
{
	if (d->made.end.length == 0)
		(void)engine_midnight(engine, d->day + 1, &d->made.end, &d->made.quiet);
}

static void end_day(struct ahead_day *d, struct engine *engine)
{
	engine_advance(engine, (d->day + 1) * MS_PER_DAY);
	keep_end(d, engine);
}

/* Minutes that wait for those after them come when these have passed: the engine goes on
 * behind the day's end until then. */
static int feed(struct ahead_day *d, struct engine *engine)
{
	struct stream *stream = stream_over(d->refs, d->count, take_piece, d);
	const struct reading *reading;
	int64_t end_ms = (d->day + 1) * MS_PER_DAY;
	bool ended = false;
	int r;
	while ((r = stream_next(stream, &reading)) == 0) {
		if (!ended && reading->t_ms >= end_ms) {
			end_day(d, engine);
			ended = true;
		}
		engine_feed(engine, reading);
		d->made.readings += !ended;
	}
	stream_close(stream);
	if (r != STREAM_END)
		return r;
	if (!ended)
		end_day(d, engine);
	engine_advance(engine, day_to_ms(d));
	keep_end(d, engine);
	return 0;
}

static int begin_day(struct ahead_day *d, struct ahead *a)
{
	struct buffer *begin = &d->made.begin;
	if (!d->begins && a->lost)
		return -EAGAIN;
	if (!d->begins)
		buffer_add(begin, a->carried.data, a->carried.length);
	return engine_restore(
		a->engine, d->day * MIN_PER_DAY, begin->data, begin->length);
}

static void make_day(struct work *work)
{
	struct ahead_day *d = (struct ahead_day *)work;
	struct ahead *a = d->ahead;

	a->at = d;
	d->result = begin_day(d, a);
	if (d->result == 0)
		d->result = feed(d, a->engine);
	a->lost = d->result != 0;
	buffer_reset(&a->carried);
	buffer_add(&a->carried, d->made.end.data, d->made.end.length);
}

/* ---- the caller's ---- */

static int copy_pieces(struct ahead_day *d, struct store *store)
{
	int r = 0;
	d->pieces = xcalloc(d->count, sizeof(*d->pieces));
	for (size_t i = 0; r == 0 && i < d->count; i++) {
		d->pieces[i].ahead = d->ahead;
		d->pieces[i].chunk = d->refs[i].id;
		d->pieces[i].from_ms = d->day * MS_PER_DAY;
		d->pieces[i].to_ms = day_to_ms(d);
		d->pieces[i].of_day = d->refs[i].first_ms < (d->day + 1) * MS_PER_DAY;
		r = store_chunk_copy(store, d->refs[i].id, &d->pieces[i].packed);
	}
	return r;
}

static struct ahead_day *day_new(struct ahead *a, struct store *store, int64_t day)
{
	struct ahead_day *d = xcalloc(1, sizeof(*d));
	d->ahead = a;
	d->day = day;
	if (store_chunks(store, day * MS_PER_DAY, day_to_ms(d), &d->refs, &d->count) ==
			0 &&
		d->count <= CHUNKS_MOST && copy_pieces(d, store) == 0)
		return d;
	if (!d->pieces)
		d->count = 0;
	day_free(d);
	return NULL;
}

/* Days are mostly alike. */
static size_t days_in_line(const struct ahead *a)
{
	uint64_t bytes = a->readings * sizeof(struct reading);
	uint64_t fit = bytes ? LINE_BYTES / bytes : DAYS_LEAST;
	return fit < DAYS_LEAST ? DAYS_LEAST : fit > DAYS_MOST ? DAYS_MOST : (size_t)fit;
}

void ahead_begin(struct ahead *a, struct store *store, int64_t day, int64_t until_minute,
	const struct buffer *state)
{
	if (!a)
		return;
	if (others_wrote(a, store) || (a->count && a->days[0]->day != day))
		drop_days(a);
	while (a->count < days_in_line(a)) {
		int64_t next = day + (int64_t)a->count;
		struct ahead_day *d = NULL;
		if ((next + 1) * MIN_PER_DAY <= until_minute)
			d = day_new(a, store, next);
		if (!d)
			return;
		d->begins = a->count == 0;
		if (d->begins)
			buffer_add(&d->made.begin, state->data, state->length);
		a->days[a->count++] = d;
		give_pieces(d);
		worker_give(a->maker, &d->work, make_day);
	}
}

/* The chunks of a day may have become others since. */
static bool has_same_chunks(const struct ahead_day *d, struct store *store)
{
	struct chunk_ref *refs = NULL;
	size_t count = 0;
	if (store_chunks(store, d->day * MS_PER_DAY, day_to_ms(d), &refs, &count) != 0)
		return false; /* told when it is read in time */
	bool same = count == d->count;
	for (size_t i = 0; same && i < count; i++)
		same = refs[i].id == d->refs[i].id;
	free(refs);
	return same;
}

const struct made_day *ahead_take(
	struct ahead *a, struct store *store, int64_t day, const struct buffer *state)
{
	if (!a || a->count == 0)
		return NULL;
	struct ahead_day *d = a->days[0];
	worker_wait(a->maker, &d->work);
	if (others_wrote(a, store) || d->day != day || d->result != 0 ||
		!buffer_equal(&d->made.begin, state) || !has_same_chunks(d, store)) {
		drop_days(a);
		return NULL;
	}
	a->count--;
	/* NOLINTNEXTLINE(bugprone-sizeof-expression): pointers */
	memmove(a->days, a->days + 1, a->count * sizeof(a->days[0]));
	day_free(a->last);
	a->last = d;
	a->readings = d->made.readings;
	return &d->made;
}
