/*
 * See stream.h. Live chunks follow each other, so one or two are loaded at a time; an
 * archive that was imported in random order has all chunks of a day loaded, a mebibyte
 * each.
 */
#include "stream.h"

#include <errno.h>
#include <string.h>

struct stream_chunks {
	stream_load *load;
	void *context;
	const struct chunk_ref *refs;
	size_t ref_count, next_ref;
	struct loaded **loaded;
	size_t loaded_count;
	int64_t damaged;     /* the chunk that could not be read */
	struct loaded *last; /* gave the last run: dropped at the next call if it ended */

	struct in_time { /* of stream_open() */
		struct store *store;
		struct decoder *decoder;
		int64_t from_ms, to_ms;
		struct chunk_ref *refs;
	} in_time;
};

struct stream *stream_over(
	const struct chunk_ref *refs, size_t count, stream_load *load, void *context)
{
	struct stream_chunks *s = xcalloc(1, sizeof(*s));
	struct stream *stream = xcalloc(1, sizeof(*stream));
	stream->chunks = s;
	s->load = load;
	s->context = context;
	s->refs = refs;
	s->ref_count = count;
	/* NOLINTNEXTLINE(bugprone-sizeof-expression): an array of pointers */
	s->loaded = xcalloc(s->ref_count, sizeof(*s->loaded));
	return stream;
}

static int read_in_time(void *context, const struct chunk_ref *ref, struct loaded **ret)
{
	const struct in_time *t = context;
	struct loaded *l = xcalloc(1, sizeof(*l));
	int r = store_chunk_load(t->store, ref->id, &l->bytes);
	if (r == 0)
		r = loaded_decode(l, t->decoder, t->from_ms, t->to_ms);
	if (r == 0)
		*ret = l;
	else
		loaded_free(l);
	return r;
}

int stream_open(struct store *store, struct decoder *decoder, int64_t from_ms,
	int64_t to_ms, struct stream **ret)
{
	struct chunk_ref *refs;
	size_t count;
	int r = store_chunks(store, from_ms, to_ms, &refs, &count);
	if (r != 0)
		return r;
	*ret = stream_over(refs, count, read_in_time, NULL);
	struct stream_chunks *s = (*ret)->chunks;
	s->in_time = (struct in_time){store, decoder, from_ms, to_ms, refs};
	s->context = &s->in_time;
	return 0;
}

void stream_close(struct stream *stream)
{
	if (!stream)
		return;
	struct stream_chunks *s = stream->chunks;
	for (size_t i = 0; i < s->loaded_count; i++)
		loaded_free(s->loaded[i]);
	free(s->loaded);
	free(s->in_time.refs);
	free(s);
	free(stream);
}

static int load(struct stream_chunks *s, const struct chunk_ref *ref)
{
	struct loaded *l;
	int r = s->load(s->context, ref, &l);
	if (r != 0) {
		s->damaged = ref->id;
		return r;
	}
	if (l->readings.count == 0)
		loaded_free(l);
	else
		s->loaded[s->loaded_count++] = l;
	return 0;
}

/* The chunk whose readings have all been given goes. */
static void move_on(struct stream_chunks *s)
{
	struct loaded *l = s->last;
	s->last = NULL;
	if (!l || l->at < l->readings.count)
		return;
	for (size_t i = 0; i < s->loaded_count; i++) {
		if (s->loaded[i] != l)
			continue;
		s->loaded[i] = s->loaded[--s->loaded_count];
		loaded_free(l);
		return;
	}
}

static struct loaded *earliest(struct stream_chunks *s)
{
	struct loaded *best = NULL;
	for (size_t i = 0; i < s->loaded_count; i++) {
		struct loaded *l = s->loaded[i];
		if (!best || reading_compare(&l->readings.items[l->at],
				     &best->readings.items[best->at]) < 0)
			best = l;
	}
	return best;
}

/* End of the run that the earliest chunk gives. Mostly it alone is loaded, and only those
 * readings must wait that may come after the next chunk's first. */
static size_t run_end(const struct stream_chunks *s, const struct loaded *l)
{
	size_t low = l->at + 1, high = l->readings.count;
	if (s->loaded_count > 1)
		return low;
	if (s->next_ref == s->ref_count)
		return high;
	int64_t next_ms = s->refs[s->next_ref].first_ms;
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (l->readings.items[middle].t_ms < next_ms)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

int stream_next_run(struct stream *stream)
{
	struct stream_chunks *s = stream->chunks;
	move_on(s);
	struct loaded *best = earliest(s);
	while (s->next_ref < s->ref_count &&
		(!best || s->refs[s->next_ref].first_ms <=
				  best->readings.items[best->at].t_ms)) {
		int r = load(s, &s->refs[s->next_ref++]);
		if (r != 0)
			return r;
		best = earliest(s);
	}
	if (!best)
		return STREAM_END;
	size_t end = run_end(s, best);
	stream->next = &best->readings.items[best->at];
	stream->end = &best->readings.items[end];
	best->at = end;
	s->last = best;
	return 0;
}

int64_t stream_damaged(const struct stream *s)
{
	return s->chunks->damaged;
}
