/*
 * Energy over buckets, read from the coarsest stored rows that fit: closed days
 * where every inner edge is a local midnight, closed hours where every inner edge is a
 * whole hour, minutes elsewhere and at the ends. Rows are read whole and the read ended
 * before anything is answered; a query that takes too long (read.c) is given up.
 */
#include "across.h"
#include "open.h"
#include "read.h"
#include "unplaced.h"

#include <heatbook/query.h>

#include <errno.h>
#include <math.h>
#include <string.h>

void read_energy_row(const struct store *s, sqlite3_stmt *row, struct energy_row *ret)
{
	memset(ret, 0, sizeof(*ret));
	ret->minute = sqlite3_column_int64(row, 0);
	ret->mode = sqlite3_column_int(row, 1);
	ret->known = sqlite3_column_int64(row, 2);
	ret->sum.observed_ms = sqlite3_column_int64(row, 3);
	ret->sum.heat_j = sqlite3_column_int64(row, 4);
	ret->sum.heat_ms = sqlite3_column_int64(row, 5);
	ret->sum.sensitivity_j_per_k = (double)sqlite3_column_int64(row, 6);
	for (size_t m = 0; m < s->config->meter_count; m++) {
		ret->sum.meter_j[m] = sqlite3_column_int64(row, 7 + 2 * (int)m);
		ret->sum.meter_ms[m] = sqlite3_column_int64(row, 8 + 2 * (int)m);
	}
	int column = 7 + 2 * (int)s->config->meter_count;
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		bool heat = q == COUNTED_HEAT;
		struct energy_sum *sum = &ret->sum;
		if (!config_is_laid(s->config, q))
			continue;
		*(heat ? &sum->heat_spread_j : &sum->meter_spread_j[q]) =
			sqlite3_column_int64(row, column++);
		*(heat ? &sum->heat_bridged_j : &sum->meter_bridged_j[q]) =
			sqlite3_column_int64(row, column++);
		*(heat ? &sum->heat_bridged_ms : &sum->meter_bridged_ms[q]) =
			sqlite3_column_int64(row, column++);
	}
}

static void bridge(
	const struct store *s, const struct boundary *boundary, struct energy_sum *sum)
{
	sum->bridged_heat_j = sum->heat_bridged_j;
	sum->bridged_ms = sum->heat_bridged_ms;
	for (size_t m = 0; m < s->config->meter_count; m++) {
		if (!(boundary->needs & 1u << m))
			continue;
		if (boundary->meters & 1u << m)
			sum->bridged_electricity_j += sum->meter_bridged_j[m];
		if (boundary->heat_plus & 1u << m)
			sum->bridged_heat_j += sum->meter_bridged_j[m];
		if (boundary->heat_less & 1u << m)
			sum->bridged_heat_j -= sum->meter_bridged_j[m];
		if (sum->meter_bridged_ms[m] > sum->bridged_ms)
			sum->bridged_ms = sum->meter_bridged_ms[m];
	}
}

/* Law 5: a minute counts in a quotient iff heat and every meter of the boundary are known
 * for all of it. Rows are kept apart by what is known, so that sums of them can tell. */
static void pair(
	const struct store *s, const struct boundary *boundary, struct energy_row *row)
{
	int64_t needs = KNOWN_HEAT;
	struct energy_sum *sum = &row->sum;

	if (row->mode == MODE_COOLING)
		return; /* cooling has its own account */
	for (size_t m = 0; m < s->config->meter_count; m++)
		if (boundary->needs & 1u << m)
			needs |= INT64_C(1) << s->meter_bit[m];
	if ((row->known & needs) != needs)
		return;
	sum->paired_ms = sum->heat_ms; /* a row that a register made has no other */
	sum->paired_heat_j = sum->heat_j;
	sum->paired_sensitivity_j_per_k = sum->sensitivity_j_per_k;
	sum->paired_heat_spread_j = sum->heat_spread_j;
	for (size_t m = 0; m < s->config->meter_count; m++) {
		unsigned bit = 1u << m;
		sum->paired_meter_j[m] = sum->meter_j[m];
		if (boundary->meters & bit &&
			s->config->meters[m].serves != DEVICE_IMMERSION)
			sum->paired_electricity_spread_j += sum->meter_spread_j[m];
		if (boundary->heat_less & bit)
			sum->paired_heat_spread_j -= sum->meter_spread_j[m];
		if (boundary->meters & bit)
			sum->paired_electricity_j += sum->meter_j[m];
		if (boundary->heat_plus & bit)
			sum->paired_heat_j += sum->meter_j[m];
		if (boundary->heat_less & bit)
			sum->paired_heat_j -= sum->meter_j[m];
	}
}

void energy_row_pair(
	const struct store *s, const struct boundary *boundary, struct energy_row *row)
{
	pair(s, boundary, row);
	bridge(s, boundary, &row->sum);
}

static void add_row(struct energy_bucket *bucket, const struct energy_row *row)
{
	energy_sum_add(&bucket->modes[row->mode], &row->sum);
	bucket->modes_seen |= 1u << row->mode;
}

void energy_rows_sum(const struct store *s, const struct boundary *boundary,
	const struct energy_rows *rows, struct energy_bucket *ret)
{
	*ret = (struct energy_bucket){0};
	for (size_t i = 0; i < rows->count; i++) {
		struct energy_row row = rows->items[i];
		energy_row_pair(s, boundary, &row);
		add_row(ret, &row);
	}
}

int read_energy_rows(
	struct store *s, const struct part *part, energy_take *take, void *context)
{
	static const enum sql_id sources[] = {[PART_MINUTES] = SQL_ENERGY_FROM_MINUTES,
		[PART_HOURS] = SQL_ENERGY_FROM_HOURS,
		[PART_DAYS] = SQL_ENERGY_FROM_DAYS};
	sqlite3_stmt *rows = store_statement_of(s, sources[part->source]);
	struct energy_row row;
	bool more = true;
	int rc = SQLITE_DONE;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":from_minute", part->from_minute);
	bind_int(rows, ":to_minute", part->to_minute);
	while (more && (rc = sqlite3_step(rows)) == SQLITE_ROW) {
		read_energy_row(s, rows, &row);
		more = take(&row, context);
	}
	(void)sqlite3_reset(rows);
	return rc == SQLITE_DONE || !more ? 0 : slow_or_failed(s, rc);
}

struct asking {
	const struct store *s;
	const int64_t *edges_ms;
	const struct boundary *boundary;
	struct energy_answer *answer;
	size_t at; /* of the bucket, in a part */
};

static bool take_row(struct energy_row *row, void *context)
{
	struct asking *a = context;
	struct energy_answer *answer = a->answer;

	energy_row_pair(a->s, a->boundary, row);
	a->at = bucket_of(a->edges_ms, answer->count, a->at, row->minute);
	add_row(&answer->buckets[a->at], row);
	add_row(&answer->total, row);
	return true;
}

static int read_all(struct store *s, const int64_t *edges_ms,
	const struct boundary *boundary, struct energy_answer *answer)
{
	struct parts parts = {0};
	int r = read_parts(
		s, edges_ms, answer->count, &parts, &answer->version, &answer->older);
	for (size_t i = 0; r == 0 && i < parts.count; i++) {
		struct asking a = {s, edges_ms, boundary, answer, 0};
		r = read_energy_rows(s, &parts.items[i], take_row, &a);
	}
	if (r == 0)
		r = read_across(s, edges_ms, answer->count, answer);
	if (r == 0)
		r = read_open(s, edges_ms, parts.until_minute, answer);
	return r == 0 ? read_unplaced(s, edges_ms, answer) : r;
}

int query_energy(struct store *s, const int64_t *edges_ms, size_t count,
	const struct boundary *boundary, struct energy_answer *ret)
{
	struct energy_answer answer = {.count = count};
	int64_t deadline_ms;

	answer.buckets = xcalloc(count, sizeof(*answer.buckets));
	for (size_t i = 0; i < count; i++) {
		answer.buckets[i].t_ms = edges_ms[i];
		answer.buckets[i].t_end_ms = edges_ms[i + 1];
	}
	answer.total.t_ms = edges_ms[0];
	answer.total.t_end_ms = edges_ms[count];
	int r = begin_reading(s, &deadline_ms);
	if (r == 0)
		r = read_all(s, edges_ms, boundary, &answer);
	r = end_reading(s, r);
	if (r != 0) {
		energy_answer_release(&answer);
		return r;
	}
	*ret = answer;
	return 0;
}

void energy_answer_release(struct energy_answer *answer)
{
	free(answer->buckets);
	answer->buckets = NULL;
}
