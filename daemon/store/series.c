/*
 * Channels over buckets: mean over the known part, known time, extremes where kept. A
 * channel with a value map answers the state that was held longest.
 */
#include "read.h"

#include <heatbook/query.h>

#include <errno.h>
#include <math.h>
#include <string.h>

/* One channel's sums over one bucket. */
struct channel_sum {
	double weighted; /* stored integer * ms */
	int64_t known_ms;
	int64_t least, most;
	int64_t *state_ms; /* by code + 1 */
};

struct column_sums {
	const struct channel_config *channel;
	struct channel_sum *sums;
	size_t slots; /* of states; 0 for numbers */
};

static void add(const struct column_sums *c, struct channel_sum *sum, sqlite3_stmt *row)
{
	const struct channel_config *channel = c->channel;
	if (sqlite3_column_type(row, 1) == SQLITE_NULL)
		return;
	int64_t value = sqlite3_column_int64(row, 1);
	int64_t ms = sqlite3_column_int64(row, 2);
	if (sum->state_ms) {
		size_t slot = (size_t)(value + 1);
		if (slot < c->slots)
			sum->state_ms[slot] += ms;
	}
	sum->weighted += (double)value * (double)ms;
	if (channel->extremes && sqlite3_column_type(row, 3) != SQLITE_NULL) {
		int64_t least = sqlite3_column_int64(row, 3);
		int64_t most = sqlite3_column_int64(row, 4);
		if (sum->least > least)
			sum->least = least;
		if (sum->most < most)
			sum->most = most;
	}
	sum->known_ms += ms;
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

static void answer(const struct channel_config *channel, const struct channel_sum *sum,
	struct series_column *column, size_t i)
{
	double scale = unit_scale(channel->dimension);

	column->observed_s[i] = (double)sum->known_ms / 1000.0;
	if (sum->known_ms == 0)
		return;
	column->mean[i] = sum->state_ms
				  ? longest_state(&column->states, sum->state_ms)
				  : round(sum->weighted / (double)sum->known_ms) / scale;
	if (column->least && column->most && sum->least <= sum->most) {
		column->least[i] = (double)sum->least / scale;
		column->most[i] = (double)sum->most / scale;
	}
}

static enum sql_id source_of(
	const struct channel_config *channel, enum part_source source)
{
	static const enum sql_id plain[] = {[PART_MINUTES] = SQL_SERIES_FROM_MINUTES,
		[PART_HOURS] = SQL_SERIES_FROM_HOURS,
		[PART_DAYS] = SQL_SERIES_FROM_DAYS};
	static const enum sql_id extremes[] = {[PART_MINUTES] = SQL_EXTREMES_FROM_MINUTES,
		[PART_HOURS] = SQL_EXTREMES_FROM_HOURS,
		[PART_DAYS] = SQL_EXTREMES_FROM_DAYS};
	return channel->extremes ? extremes[source] : plain[source];
}

int channel_rows(struct store *s, const struct channel_config *channel,
	const struct part *part, sqlite3_stmt **ret)
{
	struct buffer text = {0};
	sql_expand(s->config, source_of(channel, part->source), channel->name, &text);
	int rc = sqlite3_prepare_v3(s->db, buffer_text(&text), -1, 0, ret, NULL);
	buffer_release(&text);
	if (rc != SQLITE_OK)
		return store_failed(s, rc, "series");
	bind_int(*ret, ":from_minute", part->from_minute);
	bind_int(*ret, ":to_minute", part->to_minute);
	return 0;
}

static int read_part(struct store *s, const struct column_sums *c,
	const struct part *part, const int64_t *edges_ms, size_t count)
{
	sqlite3_stmt *rows = NULL;
	size_t at = 0;
	int rc, r = channel_rows(s, c->channel, part, &rows);

	if (r != 0)
		return r;
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW) {
		at = bucket_of(edges_ms, count, at, sqlite3_column_int64(rows, 0));
		add(c, &c->sums[at], rows);
	}
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
	column->observed_s = unknowns(count);
	column->least = extremes ? unknowns(count) : NULL;
	column->most = extremes ? unknowns(count) : NULL;
}

static int read_column(struct store *s, const struct parts *parts,
	const int64_t *edges_ms, size_t count, struct series_column *column)
{
	const struct channel_config *channel = &s->config->channels[column->channel];
	struct column_sums c = {.channel = channel};
	int r = 0;

	column_open(column, channel->extremes, count);
	if (channel->map_count)
		r = store_state_names(s, (size_t)column->channel, &column->states);
	if (r != 0)
		return r;
	c.slots = channel->map_count ? column->states.count + 1 : 0;
	c.sums = xcalloc(count, sizeof(*c.sums));
	int64_t *states = xcalloc(count * c.slots, sizeof(*states));
	for (size_t i = 0; i < count; i++) {
		c.sums[i].least = INT64_MAX;
		c.sums[i].most = INT64_MIN;
		c.sums[i].state_ms = c.slots ? states + i * c.slots : NULL;
	}
	for (size_t p = 0; r == 0 && p < parts->count; p++)
		r = read_part(s, &c, &parts->items[p], edges_ms, count);
	for (size_t i = 0; i < count; i++)
		answer(channel, &c.sums[i], column, i);
	free(states);
	free(c.sums);
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
	for (size_t c = 0; r == 0 && c < channel_count; c++) {
		a.columns[c].channel = channels[c];
		r = read_column(s, &parts, edges_ms, count, &a.columns[c]);
	}
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
