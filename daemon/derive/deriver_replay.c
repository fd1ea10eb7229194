/*
 * An engine put where the store's rows end: the checkpoint before, then what the journal
 * holds since. What comes after waits for the caller, with its frames.
 */
#include "deriver_core.h"
#include "stream.h"

#include <assert.h>
#include <string.h>

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

static int replay(struct deriver *d, struct engine *engine, int64_t minute, int64_t to_ms,
	struct keeper *keeper)
{
	struct stream *stream;
	const struct reading *reading;
	int64_t edge_ms = minute * MS_PER_MIN, day;
	int r = deriver_restore_before(d, engine, floor_div(minute, MIN_PER_DAY), &day);
	if (r == 0)
		r = stream_open(d->store, d->decoder, day * MS_PER_DAY, to_ms, &stream);
	if (r != 0)
		return r;
	while ((r = stream_next(stream, &reading)) == 0) {
		if (reading->t_ms < edge_ms)
			engine_feed(engine, reading);
		else
			keep(keeper, reading);
	}
	d->damaged = stream_damaged(stream);
	stream_close(stream);
	if (r != STREAM_END)
		return r;
	engine_advance(engine, edge_ms);
	return 0;
}

int deriver_replay(struct deriver *d, struct engine *engine, int64_t minute,
	int64_t to_ms, struct readings *later, struct buffer *frames)
{
	struct keeper keeper = {.later = later, .frames = frames};

	assert(later->count == 0 && frames->length == 0);
	int r = replay(d, engine, minute, to_ms, &keeper);
	resolve(&keeper);
	return r;
}
