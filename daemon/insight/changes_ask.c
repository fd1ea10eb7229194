/*
 * Noted changes of a store. See changes.h.
 */
#include <heatbook/changes.h>

#include <heatbook/store.h>

int changes_ask(struct store *store, const struct boundary *boundary, size_t which,
	int64_t now_ms, struct changes *ret)
{
	int64_t from_ms, to_ms;
	struct insight_days days;
	changes_span(store_config(store), which, now_ms, &from_ms, &to_ms);
	int r = insight_days_ask(store, from_ms, to_ms, boundary, &days);
	if (r != 0)
		return r;
	changes_judge(&days, which, now_ms, ret);
	insight_days_release(&days);
	return 0;
}
