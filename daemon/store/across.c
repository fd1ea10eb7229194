/*
 * Spans of registers across the ends of buckets. See across.h.
 *
 * Of energy that was laid evenly over a span nobody knows when it flowed: all of it may
 * have come before an end that cuts the span, or all after. So a bucket may be mistaken,
 * at that end, by the larger of both shares. What power shaped is left out: its share is
 * known as well as power is. Spans of a register do not overlap, so an instant lies in
 * one at most.
 */
#include "across.h"

#include "read.h"

#include <heatbook/settlement.h>

#include <math.h>

/* Squares of what may be mistaken at one instant. */
struct cut {
	double all, known;
};

static struct cut cut_of(
	int64_t at_ms, int64_t begin_ms, int64_t end_ms, int64_t kind, int64_t joules)
{
	struct cut cut = {0};
	if (begin_ms >= at_ms ||
		(kind != SETTLEMENT_SPREAD && kind != SETTLEMENT_BRIDGED))
		return cut;
	double before = (double)(at_ms - begin_ms) / (double)(end_ms - begin_ms);
	double most = (double)joules * fmax(before, 1.0 - before);
	cut.all = most * most;
	cut.known = kind == SETTLEMENT_SPREAD ? cut.all : 0.0;
	return cut;
}

static int cut_at(struct store *s, size_t q, int64_t at_ms, struct cut *ret)
{
	sqlite3_stmt *row = store_statement_of(s, SQL_SETTLEMENT_AT);
	if (!row)
		return s->unprepared;
	*ret = (struct cut){0};
	bind_int(row, ":meter", s->meter_bit[q]);
	bind_int(row, ":at_ms", at_ms);
	int rc = sqlite3_step(row);
	if (rc == SQLITE_ROW)
		*ret = cut_of(at_ms, sqlite3_column_int64(row, 0),
			sqlite3_column_int64(row, 1), sqlite3_column_int64(row, 2),
			sqlite3_column_int64(row, 3));
	(void)sqlite3_reset(row);
	return rc == SQLITE_ROW || rc == SQLITE_DONE ? 0 : slow_or_failed(s, rc);
}

static void set_across(
	struct energy_bucket *bucket, size_t q, struct cut first, struct cut last)
{
	bucket->across_j[q] = sqrt(first.all + last.all);
	bucket->across_known_j[q] = sqrt(first.known + last.known);
}

int read_across(struct store *s, const int64_t *edges_ms, size_t count,
	struct energy_answer *answer)
{
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		struct cut first = {0}, before, cut = {0};
		if (!config_counted(s->config, q))
			continue;
		int r = cut_at(s, q, edges_ms[0], &first);
		before = first;
		for (size_t i = 0; r == 0 && i < count; i++, before = cut) {
			r = cut_at(s, q, edges_ms[i + 1], &cut);
			if (r == 0)
				set_across(&answer->buckets[i], q, before, cut);
		}
		if (r != 0)
			return r;
		set_across(&answer->total, q, first, before);
	}
	return 0;
}
