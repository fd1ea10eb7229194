/*
 * Spans of registers that are not over where rows end, noted in the store: by the live
 * way at each commit, by the deriver where it wrote the last rows of all.
 */
#include "open_spans.h"

#include "deriver_core.h"

int open_spans_put(struct store *store, const struct engine *engine)
{
	struct open_span spans[COUNTED_MOST];
	size_t count = engine_open_spans(engine, spans);
	return store_open_put(store, spans, count);
}

static bool any_counts(const struct config *config)
{
	bool any = false;
	for (size_t q = 0; q < COUNTED_MOST; q++)
		any = any || config_counted(config, q);
	return any;
}

/* Of a day made ahead of its time there is but the state. */
static int put_of_state(struct deriver *d)
{
	struct engine *end = engine_new(store_config(d->store), NULL, NULL);
	int r = engine_restore(end, d->wrote_to, d->carried.data, d->carried.length);
	if (r == 0)
		r = open_spans_put(d->store, end);
	engine_free(end);
	return r;
}

int deriver_put_open(struct deriver *d)
{
	int64_t first, last = INT64_MIN;

	if (d->wrote_to < 0 || !any_counts(store_config(d->store)))
		return 0;
	int r = store_minute_span(d->store, &first, &last);
	if ((r != 0 && r != STORE_NONE) || d->wrote_to <= last)
		return r;
	return d->wrote_to % MIN_PER_DAY == 0 ? put_of_state(d)
					      : open_spans_put(d->store, d->engine);
}
