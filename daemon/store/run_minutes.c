/*
 * Minutes as runs are worked out of them (run_rows.h): rows of energy with what channels
 * were, two statements stepped side by side.
 */
#include "open.h"
#include "read.h"

#include <heatbook/run_rows.h>

#include <math.h>

/* The rows of the asked channels, stepped along with those of energy. */
struct beside {
	sqlite3_stmt *rows;        /* NULL: none is asked for, or no row is left */
	int64_t minute;            /* of the row that is there */
	int columns[RUN_CHANNELS]; /* of each in a row; 0: it is not asked for */
	double scales[RUN_CHANNELS];
};

static int beside_step(struct store *s, struct beside *beside)
{
	int rc = sqlite3_step(beside->rows);
	if (rc == SQLITE_ROW) {
		beside->minute = sqlite3_column_int64(beside->rows, 0);
		return 0;
	}
	(void)sqlite3_finalize(beside->rows);
	beside->rows = NULL;
	return rc == SQLITE_DONE ? 0 : slow_or_failed(s, rc);
}

static int beside_open(struct store *s, const struct part *part,
	const int channels[static RUN_CHANNELS], struct beside *beside)
{
	int asked[RUN_CHANNELS];
	size_t count = 0;
	for (int i = 0; i < RUN_CHANNELS; i++) {
		int channel = channels[i];
		if (channel < 0)
			continue;
		beside->columns[i] = 1 + 2 * (int)count;
		beside->scales[i] = unit_scale(s->config->channels[channel].dimension);
		asked[count++] = channel;
	}
	if (count == 0)
		return 0;
	int r = channel_rows(s, asked, count, part, &beside->rows);
	return r != 0 ? r : beside_step(s, beside);
}

static int beside_values(struct store *s, struct beside *beside, int64_t minute,
	double ret[static RUN_CHANNELS])
{
	int r = 0;
	while (r == 0 && beside->rows && beside->minute < minute)
		r = beside_step(s, beside);
	bool there = beside->rows && beside->minute == minute;
	for (size_t i = 0; i < RUN_CHANNELS; i++) {
		int column = beside->columns[i];
		bool known = there && column > 0 &&
			     sqlite3_column_type(beside->rows, column) != SQLITE_NULL;
		ret[i] = known ? (double)sqlite3_column_int64(beside->rows, column) /
					 beside->scales[i]
			       : (double)NAN;
	}
	return r;
}

/* Rows on their way to the visitor of minutes. */
struct showing {
	struct store *s;
	struct beside beside;
	struct energy_row rows[MODE_COUNT]; /* of the minute whose rows come */
	size_t count;
	run_minute_visit *visit;
	void *context;
	int error;
};

/* Shows the minute that is whole. */
static int minute_show(struct showing *show)
{
	struct run_minute minute = {.rows = show->rows, .count = show->count};
	if (show->count == 0)
		return 0;
	minute.minute = show->rows[0].minute;
	int r = beside_values(show->s, &show->beside, minute.minute, minute.values);
	if (r == 0)
		show->visit(&minute, show->context);
	show->count = 0;
	return r;
}

static bool show_row(struct energy_row *row, void *context)
{
	struct showing *show = context;
	if (show->count == MODE_COUNT ||
		(show->count && show->rows[0].minute != row->minute))
		show->error = minute_show(show);
	show->rows[show->count++] = *row;
	return show->error == 0;
}

int store_run_minutes(struct store *s, int64_t from_min, int64_t to_min,
	const int channels[static RUN_CHANNELS], run_minute_visit *visit, void *context)
{
	const struct part part = {PART_MINUTES, from_min, to_min};
	struct showing *show = xcalloc(1, sizeof(*show)); /* large */
	*show = (struct showing){.s = s, .visit = visit, .context = context};
	int r = beside_open(s, &part, channels, &show->beside);
	if (r == 0)
		r = read_energy_rows(s, &part, show_row, show);
	if (r == 0)
		r = show->error;
	if (r == 0)
		r = minute_show(show);
	(void)sqlite3_finalize(show->beside.rows);
	free(show);
	return r;
}

int store_snapshot(struct store *s, snapshot_ask *ask, void *context)
{
	int64_t deadline_ms;
	int r = begin_reading(s, &deadline_ms);
	if (r == 0)
		r = ask(s, context);
	return end_reading(s, r);
}
