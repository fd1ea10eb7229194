/*
 * What days say of the conditions under which the unit worked, asked of the store: their
 * evidence, put together. The thin part before efficiency_map.h.
 */
#ifndef HEATBOOK_CONDITIONS_H
#define HEATBOOK_CONDITIONS_H

#include <heatbook/boundary.h>
#include <heatbook/declared.h>
#include <heatbook/efficiency_map.h>
#include <heatbook/store.h>

struct conditions {
	int64_t from_ms, to_ms; /* whole local days, but for what is not derived yet */
	int64_t version;        /* of the data */
	struct older_days older;
	size_t days, days_looked;
	struct boundary boundary; /* the unit's; no meters where they make none */
	struct efficiency_map map;
	struct steady_window *windows; /* in the order of time */
	size_t window_count;
};

/* Of local days that touch [from, to), no further than rows go. Days that were not looked
 * at yet are looked at now, the last first and as many as `budget` of them. 0, -errno or
 * a code of the store. */
int conditions_ask(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct conditions *ret);
void conditions_release(struct conditions *conditions);

#endif
