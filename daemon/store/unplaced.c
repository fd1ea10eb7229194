/*
 * What registers counted in sealed minutes and no row holds (lay_balance.c names it), as
 * sums over buckets. Events are asked by an index that holds all but their amount.
 */
#include "unplaced.h"
#include "read.h"

#include <heatbook/event.h>

#include <math.h>

/* COUNTED_MOST: of what is counted no more. */
static size_t quantity_of(const struct config *config, bool is_meter, const char *subject)
{
	const struct counted *heat = config_counted(config, COUNTED_HEAT);
	int at = is_meter ? config_meter(config, subject)
			  : config_channel(config, subject);

	if (at < 0)
		return COUNTED_MOST;
	if (is_meter)
		return config_counted(config, (size_t)at) ? (size_t)at : COUNTED_MOST;
	return heat && heat->registers[0] == at ? COUNTED_HEAT : COUNTED_MOST;
}

static void add(const struct store *s, sqlite3_stmt *row, const int64_t *edges_ms,
	size_t *at, struct energy_answer *answer)
{
	const char *subject = (const char *)sqlite3_column_text(row, 2);
	size_t q = quantity_of(s->config, sqlite3_column_int(row, 1) != 0, subject);
	int64_t j = llround(sqlite3_column_double(row, 3) * J_PER_KWH);

	*at = bucket_of(edges_ms, answer->count, *at,
		floor_div(sqlite3_column_int64(row, 0), MS_PER_MIN));
	if (q == COUNTED_MOST)
		return;
	answer->buckets[*at].unplaced_j[q] += j;
	answer->total.unplaced_j[q] += j;
}

int read_unplaced(struct store *s, const int64_t *edges_ms, struct energy_answer *answer)
{
	sqlite3_stmt *rows = store_statement_of(s, SQL_EVENTS_OF_KIND);
	size_t at = 0;
	int rc;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":kind", EVENT_REGISTER_UNPLACED);
	bind_int(rows, ":from_ms", edges_ms[0]);
	bind_int(rows, ":to_ms", edges_ms[answer->count]);
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW)
		add(s, rows, edges_ms, &at, answer);
	(void)sqlite3_reset(rows);
	return rc == SQLITE_DONE ? 0 : slow_or_failed(s, rc);
}
