/*
 * Days' runs on their way into the store. See run_ask.h.
 */
#include "keep_days.h"

#include <heatbook/run_ask.h>
#include <heatbook/run_rows.h>
#include <heatbook/store.h>

static int make_and_keep(
	struct store *store, const struct day_span *span, const void *context)
{
	const uint64_t *form = context;
	struct run_day day = {0};
	int r = run_day_of(store, span->start_min, span->end_min, &day);
	if (r == 0)
		r = store_runs_put(store, &day, *form);
	run_day_release(&day);
	return r;
}

int runs_make(struct store *store, int64_t start_min, int64_t end_min)
{
	const struct day_span span = {start_min, end_min};
	uint64_t form = runs_form(store_config(store));
	return keep_days(store, &span, 1, make_and_keep, &form);
}

static int not_made(struct store *store, const void *context, struct day_span *ret,
	size_t most, size_t *ret_count)
{
	const uint64_t *form = context;
	return store_runs_missing(store, INT64_MIN / MS_PER_MIN, INT64_MAX / MS_PER_MIN,
		*form, ret, most, ret_count);
}

int runs_catch_up(struct store *store, size_t most, size_t *ret_done)
{
	uint64_t form = runs_form(store_config(store));
	return keep_lacking(store, not_made, make_and_keep, &form, most, ret_done);
}
