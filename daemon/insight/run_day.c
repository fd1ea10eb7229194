/*
 * A day's runs out of its minutes: the thin part between runs.c, which is pure, and the
 * store.
 */
#include <heatbook/age.h>
#include <heatbook/run_ask.h>
#include <heatbook/run_rows.h>
#include <heatbook/store.h>

struct making {
	struct runs *runs;
	int64_t until_min;
};

static void take_minute(const struct run_minute *minute, void *context)
{
	struct making *m = context;
	if (minute->minute >= m->until_min)
		m->until_min = minute->minute + 1;
	runs_take(m->runs, minute);
}

static void take_before(int64_t start_min, struct plant_run *piece, void *context)
{
	(void)start_min;
	if (piece->goes_on)
		runs_come_over(context, piece->kind, piece->meter);
	energy_rows_release(&piece->rows);
}

#define DAY_MOST_MIN INT64_C(1560)

/* Where the minutes before the day went for their age, what was kept of that day tells
 * what came over. */
static int look_before(struct store *store, int64_t start_min, struct runs *runs)
{
	int64_t gone_until = 0;
	int r = store_minutes_gone_until(store, start_min - 1, &gone_until);
	if (r != 0 || gone_until < start_min)
		return r;
	for (int kind = 0; r == 0 && kind < RUN_KINDS; kind++)
		r = store_run_pieces(store, (enum run_kind)kind, start_min - DAY_MOST_MIN,
			start_min, take_before, runs);
	return r;
}

int run_day_of(
	struct store *store, int64_t start_min, int64_t end_min, struct run_day *ret)
{
	const struct config *config = store_config(store);
	struct making m = {.runs = runs_new(config, start_min, end_min)};
	int64_t until_ms = 0, last_min = end_min + RUN_AHEAD_MIN;
	int channels[RUN_CHANNELS];
	for (int c = 0; c < RUN_CHANNELS; c++)
		channels[c] = run_channel(config, (enum run_channel)c);
	int r = store_fact(store, FACT_DERIVED_UNTIL_MS, &until_ms);
	m.until_min = until_ms / MS_PER_MIN;
	if (r == 0)
		r = look_before(store, start_min, m.runs);
	if (r == 0)
		r = store_run_minutes(store, start_min - RUN_BACK_MIN, last_min, channels,
			take_minute, &m);
	if (r == 0)
		runs_end(m.runs, m.until_min < last_min ? m.until_min : last_min, ret);
	runs_free(m.runs);
	return r;
}
