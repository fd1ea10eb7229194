/*
 * Channels over buckets: mean over the known part, known time, extremes where kept. A
 * channel with a value map answers the state that was held longest. One pass over a
 * source's rows serves all channels: they lie side by side in a row.
 */
#include "read.h"

#include <heatbook/query.h>

#include <errno.h>
#include <math.h>
#include <string.h>

/* One channel's sums over the bucket that is being read. */
struct channel_sum {
	double weighted; /* stored integer * ms */
	int64_t known_ms;
	int64_t least, most;
};

/* A channel on its way from rows into its column. */
struct reader {
	const struct channel_config *channel;
	struct series_column *column;
	struct channel_sum sum;
	int64_t *state_ms; /* by code + 1; NULL for numbers */
	size_t slots;
	int at, extremes_at; /* its columns in a row */
};

/* All of them: rows come in order, so one bucket is open at a time. */
struct readers {
	struct reader *items;
	size_t count;
	const int64_t *edges_ms;
	size_t buckets;
	size_t at; /* the bucket */
};

static void reader_clear(struct reader *r)
{
	r->sum = (struct channel_sum){.least = INT64_MAX, .most = INT64_MIN};
	if (r->state_ms)
		memset(r->state_ms, 0, r->slots * sizeof(*r->state_ms));
}

static void add_extremes(struct channel_sum *sum, sqlite3_stmt *row, int at)
{
	if (sqlite3_column_type(row, at) == SQLITE_NULL)
		return;
	int64_t least = sqlite3_column_int64(row, at);
	int64_t most = sqlite3_column_int64(row, at + 1);
	if (sum->least > least)
		sum->least = least;
	if (sum->most < most)
		sum->most = most;
}

static void add(struct reader *r, sqlite3_stmt *row, enum part_source source)
{
	sqlite3_value *cell = sqlite3_column_value(row, r->at); /* in one call of three */
	if (sqlite3_value_type(cell) == SQLITE_NULL)
		return;
	int64_t value = sqlite3_value_int64(cell);
	int64_t ms = known_ms_of(row, r->at + 1, source);
	if (r->state_ms) {
		size_t slot = (size_t)(value + 1);
		if (slot < r->slots)
			r->state_ms[slot] += ms;
	}
	r->sum.weighted += (double)value * (double)ms;
	r->sum.known_ms += ms;
	if (r->channel->extremes)
		add_extremes(&r->sum, row, r->extremes_at);
}

/* Of equals the last by name, so that the order in which codes were given says nothing.
 */
static double longest_state(const struct state_names *names, const int64_t *state_ms)
{
	size_t best = 0;
	for (size_t i = 1; i <= names->count; i++) {
		bool later = best == 0 ||
			     strcmp(names->names[i - 1], names->names[best - 1]) > 0;
		if (state_ms[i] > state_ms[best] ||
			(state_ms[i] == state_ms[best] && later))
			best = i;
	}
	return (double)best - 1.0;
}

static void answer(const struct reader *r, size_t i)
{
	struct series_column *column = r->column;
	const struct channel_sum *sum = &r->sum;
	double scale = unit_scale(r->channel->dimension);

	column->observed_s[i] = (double)sum->known_ms / 1000.0;
	if (sum->known_ms == 0)
		return;
	column->mean[i] = r->state_ms
				  ? longest_state(&column->states, r->state_ms)
				  : round(sum->weighted / (double)sum->known_ms) / scale;
	if (column->least && column->most && sum->least <= sum->most) {
		column->least[i] = (double)sum->least / scale;
		column->most[i] = (double)sum->most / scale;
	}
}

static void bucket_close(struct readers *readers)
{
	for (size_t i = 0; i < readers->count; i++) {
		answer(&readers->items[i], readers->at);
		reader_clear(&readers->items[i]);
	}
}

static void add_row(struct readers *readers, sqlite3_stmt *row, enum part_source source)
{
	size_t at = bucket_of(readers->edges_ms, readers->buckets, readers->at,
		sqlite3_column_int64(row, 0));
	if (at != readers->at)
		bucket_close(readers);
	readers->at = at;
	for (size_t i = 0; i < readers->count; i++)
		add(&readers->items[i], row, source);
}

int channel_rows(struct store *s, const int *channels, size_t count,
	const struct part *part, sqlite3_stmt **ret)
{
	static const enum sql_id sources[] = {[PART_MINUTES] = SQL_SERIES_FROM_MINUTES,
		[PART_HOURS] = SQL_SERIES_FROM_HOURS,
		[PART_DAYS] = SQL_SERIES_FROM_DAYS};
	struct buffer text = {0};
	sql_expand_asked(s->config, sources[part->source], channels, count, &text);
	int rc = sqlite3_prepare_v3(s->db, buffer_text(&text), -1, 0, ret, NULL);
	buffer_release(&text);
	if (rc != SQLITE_OK)
		return store_failed(s, rc, "series");
	bind_int(*ret, ":from_minute", part->from_minute);
	bind_int(*ret, ":to_minute", part->to_minute);
	return 0;
}

int64_t known_ms_of(sqlite3_stmt *row, int column, enum part_source source)
{
	int64_t whole = source == PART_MINUTES ? MS_PER_MIN : 0;
	return sqlite3_column_type(row, column) == SQLITE_NULL
		       ? whole
		       : sqlite3_column_int64(row, column);
}

static int read_part(struct store *s, const int *channels, const struct part *part,
	struct readers *readers)
{
	sqlite3_stmt *rows = NULL;
	int rc, r = channel_rows(s, channels, readers->count, part, &rows);

	if (r != 0)
		return r;
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW)
		add_row(readers, rows, part->source);
	(void)sqlite3_finalize(rows);
	return rc == SQLITE_DONE ? 0 : slow_or_failed(s, rc);
}

static double *unknowns(size_t count)
{
	double *values = xmalloc(count * sizeof(*values));
	for (size_t i = 0; i < count; i++)
		values[i] = (double)NAN;
	return values;
}

static void column_open(struct series_column *column, bool extremes, size_t count)
{
	column->mean = unknowns(count);
	column->observed_s = xcalloc(count, sizeof(*column->observed_s));
	column->least = extremes ? unknowns(count) : NULL;
	column->most = extremes ? unknowns(count) : NULL;
}

/* Where each channel's columns stand, and what its states are called. */
static int readers_open(struct store *s, struct series_answer *a, struct readers *readers)
{
	int r = 0, extremes_at = 1 + 2 * (int)readers->count;
	for (size_t i = 0; r == 0 && i < readers->count; i++) {
		struct reader *reader = &readers->items[i];
		struct series_column *column = &a->columns[i];
		*reader =
			(struct reader){.channel = &s->config->channels[column->channel],
				.column = column,
				.at = 1 + 2 * (int)i,
				.extremes_at = extremes_at};
		extremes_at += reader->channel->extremes ? 2 : 0;
		column_open(column, reader->channel->extremes, a->count);
		if (reader->channel->map_count) {
			r = store_state_names(
				s, (size_t)column->channel, &column->states);
			reader->slots = column->states.count + 1;
			reader->state_ms =
				xmalloc(reader->slots * sizeof(*reader->state_ms));
		}
		reader_clear(reader);
	}
	return r;
}

static int read_columns(struct store *s, const struct parts *parts,
	const int64_t *edges_ms, const int *channels, struct series_answer *a)
{
	struct readers readers = {.count = a->column_count,
		.edges_ms = edges_ms,
		.buckets = a->count,
		.items = xcalloc(a->column_count, sizeof(*readers.items))};
	int r = readers_open(s, a, &readers);
	for (size_t p = 0; r == 0 && p < parts->count; p++)
		r = read_part(s, channels, &parts->items[p], &readers);
	if (r == 0)
		bucket_close(&readers);
	for (size_t i = 0; i < readers.count; i++)
		free(readers.items[i].state_ms);
	free(readers.items);
	return r;
}

int query_series(struct store *s, const int64_t *edges_ms, size_t count,
	const int *channels, size_t channel_count, struct series_answer *ret)
{
	struct series_answer a = {.count = count, .column_count = channel_count};
	struct parts parts = {0};
	int64_t deadline_ms;

	a.t_ms = xcalloc(count, sizeof(*a.t_ms));
	a.t_end_ms = xcalloc(count, sizeof(*a.t_end_ms));
	a.columns = xcalloc(channel_count, sizeof(*a.columns));
	memcpy(a.t_ms, edges_ms, count * sizeof(*a.t_ms));
	memcpy(a.t_end_ms, edges_ms + 1, count * sizeof(*a.t_end_ms));
	int r = begin_reading(s, &deadline_ms);
	if (r == 0)
		r = read_parts(s, edges_ms, count, &parts, &a.version, &a.older);
	for (size_t c = 0; c < channel_count; c++)
		a.columns[c].channel = channels[c];
	if (r == 0)
		r = read_columns(s, &parts, edges_ms, channels, &a);
	r = end_reading(s, r);
	if (r != 0) {
		series_answer_release(&a);
		return r;
	}
	*ret = a;
	return 0;
}

void series_answer_release(struct series_answer *a)
{
	for (size_t c = 0; c < a->column_count; c++) {
		state_names_release(&a->columns[c].states);
		free(a->columns[c].mean);
		free(a->columns[c].least);
		free(a->columns[c].most);
		free(a->columns[c].observed_s);
	}
	free(a->columns);
	free(a->t_ms);
	free(a->t_end_ms);
	*a = (struct series_answer){0};
}
