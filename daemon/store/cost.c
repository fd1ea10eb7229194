/*
 * Facts of cost as rows of the table of evidence, of a kind of their own: summing a day
 * anew drops them with all else that was said of it, looking at it anew does not.
 *
 * A day's first row has no subject and bears the digest that its facts are of. A fact has
 * the name of its meter (heat: "0") and, as its place, known * 16 + mode. What is bridged
 * of a meter has the place -1.
 */
#include "open.h"
#include "read.h"

#include <heatbook/cost.h>
#include <heatbook/engine.h>
#include <heatbook/evidence.h>

#include <math.h>
#include <string.h>

_Static_assert(EVIDENCE_COST >= EVIDENCE_KINDS, "whoever reads evidence passes it over");

#define PLACE_BRIDGED (-1)
#define HALF_MIN_MS   (MS_PER_MIN / 2)

enum { BRIDGED_AT_START = 1, BRIDGED_AT_END = 2 };

int64_t store_known_bits(const struct store *s, unsigned meters)
{
	int64_t bits = KNOWN_HEAT;
	for (size_t m = 0; m < s->config->meter_count; m++)
		if (meters & 1u << m)
			bits |= INT64_C(1) << s->meter_bit[m];
	return bits;
}

/* ---- minutes ---- */

/* A channel that is asked for twice stands in a row once. */
static size_t list_channels(const int wanted[static COST_CHANNELS],
	int list[static COST_CHANNELS], int columns[static COST_CHANNELS])
{
	size_t count = 0;
	for (size_t c = 0; c < COST_CHANNELS; c++) {
		size_t at = 0;
		columns[c] = 0;
		if (wanted[c] < 0)
			continue;
		while (at < count && list[at] != wanted[c])
			at++;
		if (at == count)
			list[count++] = wanted[c];
		columns[c] = 1 + 2 * (int)at;
	}
	return count;
}

static int read_channels(struct store *s, const struct part *part,
	const int channels[static COST_CHANNELS],
	double *const values[static COST_CHANNELS])
{
	int list[COST_CHANNELS], columns[COST_CHANNELS], rc;
	size_t count = list_channels(channels, list, columns);
	sqlite3_stmt *rows = NULL;
	if (count == 0)
		return 0;
	int r = channel_rows(s, list, count, part, &rows);
	if (r != 0)
		return r;
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW) {
		int64_t at = sqlite3_column_int64(rows, 0) - part->from_minute;
		for (size_t c = 0; c < COST_CHANNELS; c++) {
			if (columns[c] == 0 ||
				sqlite3_column_type(rows, columns[c]) == SQLITE_NULL ||
				known_ms_of(rows, columns[c] + 1, PART_MINUTES) <
					HALF_MIN_MS)
				continue;
			const struct channel_config *channel =
				&s->config->channels[channels[c]];
			values[c][at] = (double)sqlite3_column_int64(rows, columns[c]) /
					unit_scale(channel->dimension);
		}
	}
	(void)sqlite3_finalize(rows);
	return rc == SQLITE_DONE ? 0 : slow_or_failed(s, rc);
}

struct showing {
	cost_row_visit *visit;
	void *context;
};

static bool show(struct energy_row *row, void *context)
{
	const struct showing *showing = context;
	showing->visit(row->minute, row->mode, row->known, &row->sum, showing->context);
	return true;
}

int store_cost_minutes(struct store *s, int64_t start_min, int64_t end_min,
	const int channels[static COST_CHANNELS],
	double *const values[static COST_CHANNELS], cost_row_visit *visit, void *context)
{
	const struct part part = {PART_MINUTES, start_min, end_min};
	struct showing showing = {visit, context};
	int r = read_channels(s, &part, channels, values);
	return r == 0 ? read_energy_rows(s, &part, show, &showing) : r;
}

/* ---- facts ---- */

static int put_row(struct store *s, int64_t start_min, const char *subject, int64_t place,
	int64_t number, const double values[static EVIDENCE_VALUES])
{
	return store_evidence_row(
		s, start_min, EVIDENCE_COST, subject, place, number, values);
}

static int put_fact(struct store *s, int64_t start_min, const struct cost_fact *fact)
{
	const struct cost_sum *sum = &fact->sum;
	const double values[EVIDENCE_VALUES] = {sum->priced_j, sum->cost, sum->own_j,
		sum->own_cost, sum->carbon_j, sum->carbon_g};
	return put_row(s, start_min, config_counted_name(s->config, (size_t)fact->meter),
		fact->known * SLOTS_A_MINUTE + fact->mode, 0, values);
}

static int put_bridge(
	struct store *s, int64_t start_min, size_t meter, const struct cost_bridge *b)
{
	const double values[EVIDENCE_VALUES] = {b->j, b->cost, b->least, b->most};
	int64_t reaches =
		(b->at_start ? BRIDGED_AT_START : 0) | (b->at_end ? BRIDGED_AT_END : 0);
	return put_row(s, start_min, config_counted_name(s->config, meter), PLACE_BRIDGED,
		reaches, values);
}

int store_cost_put(struct store *s, int64_t start_min, uint64_t digest,
	const struct cost_facts *facts)
{
	static const double none[EVIDENCE_VALUES];
	int64_t number;
	memcpy(&number, &digest, sizeof(number));
	sqlite3_stmt *drop = store_statement_of(s, SQL_COST_DROP);
	bind_int(drop, ":start_minute", start_min);
	int r = store_run(s, drop);
	if (r == 0)
		r = put_row(s, start_min, "", start_min, number, none);
	for (size_t i = 0; r == 0 && i < facts->count; i++)
		r = put_fact(s, start_min, &facts->items[i]);
	for (size_t m = 0; r == 0 && m < s->config->meter_count; m++)
		if (facts->bridges[m].j != 0.0)
			r = put_bridge(s, start_min, m, &facts->bridges[m]);
	return r;
}

/* Facts of one day on their way to the visitor. */
struct facts_reading {
	const struct store *s;
	cost_facts_visit *visit;
	void *context;
	int64_t start_min;
	uint64_t digest;
	struct cost_facts facts;
};

static void day_over(struct facts_reading *reading)
{
	if (reading->digest)
		reading->visit(reading->start_min, reading->digest, &reading->facts,
			reading->context);
	reading->digest = 0;
	reading->facts.count = 0;
	memset(reading->facts.bridges, 0, sizeof(reading->facts.bridges));
}

/* The index of what a row is of, -1 of a meter that is not configured any more. */
static int meter_of(const struct config *config, const char *subject)
{
	return strcmp(subject, COUNTED_HEAT_NAME) == 0 ? COST_HEAT
						       : config_meter(config, subject);
}

static void take_values(struct facts_reading *reading, int meter, sqlite3_stmt *row)
{
	struct cost_facts *facts = &reading->facts;
	int64_t place = sqlite3_column_int64(row, 2);
	double v[EVIDENCE_VALUES];
	for (int i = 0; i < EVIDENCE_VALUES; i++)
		v[i] = sqlite3_column_double(row, 4 + i);
	if (place == PLACE_BRIDGED && meter != COST_HEAT) {
		int64_t reaches = sqlite3_column_int64(row, 3);
		facts->bridges[meter] = (struct cost_bridge){v[0], v[1], v[2], v[3],
			reaches & BRIDGED_AT_START, reaches & BRIDGED_AT_END};
		return;
	}
	if (place < 0)
		return;
	if (facts->count == facts->room) {
		facts->room = facts->room ? 2 * facts->room : 16;
		facts->items = xrealloc(facts->items, facts->room, sizeof(*facts->items));
	}
	facts->items[facts->count++] = (struct cost_fact){.meter = meter,
		.mode = (int)(place % SLOTS_A_MINUTE),
		.known = place / SLOTS_A_MINUTE,
		.sum = {v[0], v[1], v[2], v[3], v[4], v[5]}};
}

static void take_row(sqlite3_stmt *row, void *context)
{
	struct facts_reading *reading = context;
	int64_t start_min = sqlite3_column_int64(row, 0);
	const char *subject = (const char *)sqlite3_column_text(row, 1);
	if (start_min != reading->start_min)
		day_over(reading);
	reading->start_min = start_min;
	if (!*subject) {
		int64_t number = sqlite3_column_int64(row, 3);
		memcpy(&reading->digest, &number, sizeof(number));
		return;
	}
	int meter = meter_of(reading->s->config, subject);
	if (meter >= 0)
		take_values(reading, meter, row);
}

int store_cost_facts(struct store *s, int64_t from_min, int64_t to_min,
	cost_facts_visit *visit, void *context)
{
	struct facts_reading reading = {.s = s, .visit = visit, .context = context};
	int r = store_rows_of(s, store_statement_of(s, SQL_COST_OF_SPAN), from_min,
		to_min, take_row, &reading, "facts of cost");
	if (r == 0)
		day_over(&reading);
	cost_facts_release(&reading.facts);
	return r;
}

struct days_reading {
	cost_day_visit *visit;
	void *context;
};

static void show_day(sqlite3_stmt *row, void *context)
{
	const struct days_reading *reading = context;
	int64_t number = sqlite3_column_int64(row, 2);
	uint64_t digest;
	memcpy(&digest, &number, sizeof(digest));
	reading->visit(sqlite3_column_int64(row, 0), sqlite3_column_int64(row, 1), digest,
		sqlite3_column_int(row, 3), reading->context);
}

int store_cost_days(struct store *s, int64_t from_min, int64_t to_min,
	cost_day_visit *visit, void *context)
{
	struct days_reading reading = {visit, context};
	return store_rows_of(s, store_statement_of(s, SQL_COST_DAYS), from_min, to_min,
		show_day, &reading, "days of cost");
}
