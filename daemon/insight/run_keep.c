/*
 * Days' runs on their way into the store. See run_ask.h.
 */
#include <heatbook/run_ask.h>
#include <heatbook/run_rows.h>
#include <heatbook/store.h>

static int make_and_keep(struct store *store, const struct run_span *span, uint64_t form)
{
	struct run_day day = {0};
	int r = run_day_of(store, span->start_min, span->end_min, &day);
	if (r == 0)
		r = store_runs_put(store, &day, form);
	run_day_release(&day);
	return r;
}

int runs_make(struct store *store, int64_t start_min, int64_t end_min)
{
	const struct run_span span = {start_min, end_min};
	int r = store_begin(store);
	if (r == 0)
		r = make_and_keep(store, &span, runs_form(store_config(store)));
	if (r == 0)
		r = store_commit(store);
	if (r != 0)
		store_rollback(store);
	return r;
}

#define SPANS_MOST 64

static int list_missing(struct store *store, uint64_t form, struct run_span *spans,
	size_t most, size_t *ret_count)
{
	return store_runs_missing(store, INT64_MIN / MS_PER_MIN, INT64_MAX / MS_PER_MIN,
		form, spans, most < SPANS_MOST ? most : SPANS_MOST, ret_count);
}

int runs_catch_up(struct store *store, size_t most, size_t *ret_done)
{
	uint64_t form = runs_form(store_config(store));
	struct run_span spans[SPANS_MOST];
	size_t count = 0;
	*ret_done = 0;
	int r = list_missing(store, form, spans, most, &count);
	if (r != 0 || count == 0)
		return r;
	r = store_begin(store);
	if (r == 0) /* what is missing within the transaction counts */
		r = list_missing(store, form, spans, most, &count);
	for (size_t i = 0; r == 0 && i < count; i++)
		r = make_and_keep(store, &spans[i], form);
	if (r == 0)
		r = store_commit(store);
	if (r != 0)
		store_rollback(store);
	else
		*ret_done = count;
	return r;
}
