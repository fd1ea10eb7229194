/*
 * Everything dirty, to its end: what an import alone and a rebuild do. The daemon derives
 * a day a turn instead (live_behind.c).
 */
#include <heatbook/clock.h>
#include <heatbook/deriver.h>

/* A minute closes this long after its end, so that what was late by a moment still
 * counts. */
#define GRACE_MS 10000

#define GIVE_WAY_EACH_MS 200

int64_t closed_minute(int64_t now_ms)
{
	return floor_div(now_ms - GRACE_MS, MS_PER_MIN);
}

int64_t derivable_minute(
	const struct config *config, int64_t derived_minute, int64_t now_ms)
{
	int64_t closed = closed_minute(now_ms) - engine_lag_min(config);
	bool ahead = derived_minute > closed && derived_minute <= closed + MIN_PER_DAY;
	return ahead ? derived_minute : closed;
}

static void tell(struct store *store, const struct progress_to *progress, int64_t days)
{
	int64_t left;
	if (!progress || !progress->call || store_dirty_days(store, &left) != 0)
		return;
	const struct progress now = {
		.stage = PROGRESS_DERIVING, .done = days, .total = days + left};
	progress_tell(progress, &now);
}

/* An import beside this one may wait for its turn. */
static void give_way(int64_t *last_ms)
{
	if (clock_mono_ms() - *last_ms < GIVE_WAY_EACH_MS)
		return;
	store_give_way();
	*last_ms = clock_mono_ms();
}

int derive_all(struct store *store, struct deriver *deriver, int64_t now_ms,
	const struct progress_to *progress, int64_t *ret_days)
{
	int64_t until_ms = 0, until_minute = 0;
	uint64_t before = deriver_days(deriver);
	int64_t gave_ms = clock_mono_ms();
	int r;

	while ((r = deriver_respan(deriver)) == 0)
		progress_tell(progress, &(struct progress){.stage = PROGRESS_MAPPING});
	if (r == DERIVER_CLEAN)
		r = store_fact(store, FACT_DERIVED_UNTIL_MS, &until_ms);
	/* A clock that was set back leaves nothing behind underived. */
	if (r == 0)
		until_minute = derivable_minute(
			store_config(store), until_ms / MS_PER_MIN, now_ms);
	/* What holds at the end of the last derivation runs on to its limits. */
	if (r == 0 && until_ms > 0 && until_ms < until_minute * MS_PER_MIN)
		r = store_dirty_add(store, until_ms, until_minute * MS_PER_MIN);
	while (r == 0 && (r = deriver_step(deriver, until_minute)) == 0) {
		tell(store, progress, (int64_t)(deriver_days(deriver) - before));
		give_way(&gave_ms);
	}
	if (r != DERIVER_CLEAN)
		return r;
	*ret_days = (int64_t)(deriver_days(deriver) - before);
	if (until_ms >= until_minute * MS_PER_MIN)
		return 0;
	r = store_begin(store);
	if (r == 0 && until_ms > 0)
		r = store_rollup(
			store, until_ms / MS_PER_MIN, until_minute, until_minute);
	if (r == 0)
		r = store_set_fact(
			store, FACT_DERIVED_UNTIL_MS, until_minute * MS_PER_MIN);
	if (r == 0)
		r = store_commit(store);
	if (r != 0)
		store_rollback(store);
	return r;
}
