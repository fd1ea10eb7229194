/*
 * Spans of a register beside each other: none lies over another, and none begins behind
 * what the register counted since the one before it. See settle.c for when that is asked.
 */
#include "settle.h"

int settlement_cut(
	struct store *s, const struct settlement *first, struct settlement *span)
{
	bool counts = first->kind < SETTLEMENT_RESET;
	int64_t j = span->j - (first->begin_ms == span->begin_ms
					      ? first->j
					      : first->to_j - span->from_j);

	if (span->end_ms <= first->end_ms) {
		span->begin_ms = span->end_ms;
		return 0;
	}
	if (!counts)
		j = span->j;
	if (!config_counted(s->config, (size_t)span->quantity)->counting.falls)
		j = j < 0 ? 0 : j > span->j ? span->j : j;
	int r = store_span_cut(s, first, span);
	span->j = j;
	span->from_j = first->to_j;
	span->begin_ms = first->end_ms;
	span->first = 0;
	return r;
}

static int step_to_one(
	struct store *s, sqlite3_stmt *get, struct settlement *ret, bool *found)
{
	int rc = sqlite3_step(get);
	*found = rc == SQLITE_ROW;
	if (*found)
		settlement_read(s, get, ret);
	(void)sqlite3_reset(get);
	return *found || rc == SQLITE_DONE ? 0
					   : store_failed(s, rc, "spans of registers");
}

int settlement_earlier(struct store *s, const struct settlement *span, int64_t from_ms,
	struct settlement *ret, bool *found)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_SETTLEMENT_EARLIER);
	if (!get)
		return s->unprepared;
	bind_int(get, ":meter", s->meter_bit[span->quantity]);
	bind_int(get, ":begin_ms", span->begin_ms);
	bind_int(get, ":end_ms", span->end_ms);
	bind_int(get, ":from_ms", from_ms);
	return step_to_one(s, get, ret, found);
}

int settlement_next(struct store *s, size_t q, int64_t from_ms, int64_t to_ms,
	struct settlement *before, struct settlement *next, bool *found)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_SETTLEMENT_NEXT);
	sqlite3_stmt *last = store_statement_of(s, SQL_SETTLEMENT_LAST);
	if (!get || !last)
		return s->unprepared;
	bind_int(get, ":meter", s->meter_bit[q]);
	bind_int(get, ":from_ms", from_ms);
	bind_int(get, ":to_ms", to_ms);
	int r = step_to_one(s, get, next, found);
	if (r != 0 || !*found)
		return r;
	bind_int(last, ":meter", s->meter_bit[q]);
	bind_int(last, ":until_ms", next->begin_ms);
	return step_to_one(s, last, before, found);
}

int settlement_join(
	struct store *s, const struct settlement *before, struct settlement *next)
{
	int64_t j = next->from_j - before->to_j;
	next->begin_ms = floor_div(before->end_ms, MS_PER_MIN) * MS_PER_MIN;
	int r = store_span_cut(s, before, next);
	next->begin_ms = before->end_ms;
	next->from_j = before->to_j;
	next->j += j;
	return r;
}
