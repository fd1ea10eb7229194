/*
 * Days kept together. See keep_days.h.
 */
#include "keep_days.h"

#include <heatbook/store.h>

#define DAYS_MOST 64

static int keep_each(struct store *store, const struct day_span *days, size_t count,
	day_keep *keep, const void *context)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < count; i++)
		r = keep(store, &days[i], context);
	return r;
}

static int finish(struct store *store, int r)
{
	if (r == 0)
		r = store_commit(store);
	if (r != 0)
		store_rollback(store);
	return r;
}

int keep_days(struct store *store, const struct day_span *days, size_t count,
	day_keep *keep, const void *context)
{
	int r = store_begin(store);
	if (r == 0)
		r = keep_each(store, days, count, keep, context);
	return finish(store, r);
}

int keep_lacking(struct store *store, days_lacking *lacking, day_keep *keep,
	const void *context, size_t most, size_t *ret_done)
{
	struct day_span days[DAYS_MOST];
	size_t count = 0;
	*ret_done = 0;
	most = most < DAYS_MOST ? most : DAYS_MOST;
	int r = lacking(store, context, days, most, &count);
	if (r != 0 || count == 0)
		return r;
	r = store_begin(store);
	if (r == 0)
		r = lacking(store, context, days, most, &count);
	if (r == 0)
		r = keep_each(store, days, count, keep, context);
	r = finish(store, r);
	if (r == 0)
		*ret_done = count;
	return r;
}
