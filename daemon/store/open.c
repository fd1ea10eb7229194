/*
 * Spans of registers that are not over. See open.h.
 *
 * Where one began is told by the rows of the spans before it: it goes on from the end of
 * the last of them. Two kinds of registers leave gaps between spans that nobody counts (a
 * daily one before midnight, increments of rows between them), and the first span of all
 * has none before it; there the engine's word counts, which whoever derives the last
 * minute leaves as facts. These also tell what register and power said of the span so
 * far. They are one row each on a page that each commit writes anyway, while a row of a
 * span that is not over would be two more pages each time.
 *
 * What lies in such a span is read a second time, from its first minute on: it is seldom
 * longer than some hours, and days and hours serve where it is.
 */
#include "open.h"

#include "read.h"

#include <math.h>
#include <string.h>

/* ---- what is told of them ---- */

static const char *const words[] = {"begin_ms", "last_ms", "j", "power_j", "power_ms"};

static void fields_of(struct open_span *span, int64_t *ret[static ARRAY_LEN(words)])
{
	int64_t *const fields[ARRAY_LEN(words)] = {&span->begin_ms, &span->last_ms,
		&span->j, &span->power_j, &span->power_ms};
	memcpy(ret, fields, sizeof(fields));
}

static char *fact_name(const struct store *s, size_t q, size_t word)
{
	return xasprintf("span_%s_%s", config_counted_name(s->config, q), words[word]);
}

static int put(struct store *s, const struct open_span *span)
{
	struct open_span copy = *span;
	int64_t *fields[ARRAY_LEN(words)];
	int r = 0;

	fields_of(&copy, fields);
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(words); i++) {
		_cleanup_(freep) char *name = fact_name(s, (size_t)span->quantity, i);
		sqlite3_stmt *set = store_statement_of(s, SQL_FACT_SET);
		bind_text(set, ":name", name);
		bind_int(set, ":value", *fields[i]);
		r = store_run(s, set);
	}
	return r;
}

int store_open_put(struct store *s, const struct open_span *spans, size_t count)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < count; i++)
		r = put(s, &spans[i]);
	return r;
}

/* STORE_NONE: nothing was told of it. */
static int get(struct store *s, size_t q, struct open_span *ret)
{
	int64_t *fields[ARRAY_LEN(words)];
	int r = 0;

	*ret = (struct open_span){.quantity = (int64_t)q};
	fields_of(ret, fields);
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(words); i++) {
		_cleanup_(freep) char *name = fact_name(s, q, i);
		sqlite3_stmt *fact = store_statement_of(s, SQL_FACT_GET);
		bind_text(fact, ":name", name);
		r = store_scalar(s, fact, fields[i]);
	}
	return r;
}

/* ---- which there are ---- */

/* Where the last span ends; STORE_NONE without any. */
static int last_end(struct store *s, size_t q, int64_t *ret_ms)
{
	sqlite3_stmt *last = store_statement_of(s, SQL_SETTLEMENT_LAST_END);
	if (!last)
		return s->unprepared;
	bind_int(last, ":meter", s->meter_bit[q]);
	return store_scalar(s, last, ret_ms);
}

static void compare(const struct counted *c, struct energy_open *open)
{
	const struct open_span *span = &open->span;
	int64_t ms = span->last_ms - span->begin_ms;
	int64_t more_j = span->power_j - span->j;

	open->step_j = c->counting.step_j * (int64_t)c->register_count;
	open->compared =
		span->begin_ms == open->begin_ms && ms > 0 && 2 * span->power_ms >= ms;
	if (open->compared && llabs(more_j) > open->step_j)
		open->beyond_j =
			more_j > 0 ? more_j - open->step_j : more_j + open->step_j;
}

static int find(struct store *s, size_t q, struct energy_open *ret)
{
	const struct counted *c = config_counted(s->config, q);
	bool gaps = c->counting.kind != REGISTER_COUNTS_ON;
	int64_t end_ms = INT64_MIN;
	int told = get(s, q, &ret->span), over = last_end(s, q, &end_ms);

	if ((told != 0 && told != STORE_NONE) || (over != 0 && over != STORE_NONE))
		return told != 0 && told != STORE_NONE ? told : over;
	ret->open = told == 0 || over == 0;
	ret->begin_ms = over == 0 ? end_ms : ret->span.begin_ms;
	if (told == 0 && gaps && ret->span.begin_ms > ret->begin_ms)
		ret->begin_ms = ret->span.begin_ms;
	if (told == 0)
		compare(c, ret);
	return 0;
}

/* ---- what lies in them ---- */

static int64_t *provisional_of(struct energy_sum *sum, size_t q)
{
	return q == COUNTED_HEAT ? &sum->heat_provisional_j
				 : &sum->meter_provisional_j[q];
}

static void add(struct energy_bucket *bucket, size_t q, const struct energy_row *row)
{
	*provisional_of(&bucket->modes[row->mode], q) +=
		q == COUNTED_HEAT ? row->sum.heat_j : row->sum.meter_j[q];
}

struct adding {
	struct energy_answer *answer;
	size_t q, at; /* of the bucket */
	const int64_t *edges_ms;
};

static bool add_row(struct energy_row *row, void *context)
{
	struct adding *a = context;
	struct energy_answer *answer = a->answer;
	a->at = bucket_of(a->edges_ms, answer->count, a->at, row->minute);
	add(&answer->buckets[a->at], a->q, row);
	add(&answer->total, a->q, row);
	return true;
}

/* The edges from a time on, which is the first of them: 0 when none is behind it. */
static size_t edges_from(
	const int64_t *edges_ms, size_t count, int64_t from_ms, int64_t *ret_ms)
{
	size_t at = 0;
	while (at < count && edges_ms[at + 1] <= from_ms)
		at++;
	memcpy(ret_ms, edges_ms + at, (count + 1 - at) * sizeof(*ret_ms));
	if (from_ms > ret_ms[0])
		ret_ms[0] = from_ms;
	return count - at;
}

static int add_rows(struct store *s, const int64_t *edges_ms, size_t q, int64_t from_ms,
	int64_t until_minute, struct energy_answer *answer)
{
	_cleanup_(freep) int64_t *own_ms = xcalloc(answer->count + 1, sizeof(*own_ms));
	size_t count = edges_from(edges_ms, answer->count, from_ms, own_ms);
	struct adding a = {.answer = answer, .q = q, .edges_ms = edges_ms};
	struct parts parts;
	int r = 0;

	if (count == 0)
		return 0;
	parts_split(own_ms, count, until_minute, &parts);
	for (size_t i = 0; r == 0 && i < parts.count; i++)
		r = read_energy_rows(s, &parts.items[i], add_row, &a);
	return r;
}

/* A meter before others is a difference, provisional while any of theirs is. */
static int64_t begins(
	const struct config *config, const struct energy_answer *answer, size_t q)
{
	int64_t ms = answer->open[q].open ? answer->open[q].begin_ms : INT64_MAX;
	if (q == COUNTED_HEAT || !config->meters[q].difference)
		return ms;
	for (int m = config->meters[q].less; m >= 0; m = config->meters[m].less) {
		const struct energy_open *behind = &answer->open[m];
		if (behind->open && behind->begin_ms < ms)
			ms = behind->begin_ms;
	}
	return ms;
}

/* Of what a meter reads in all. */
static double read_in(
	const struct config *config, const struct energy_bucket *bucket, size_t q)
{
	double j = 0.0;
	for (int mode = 0; mode < MODE_COUNT; mode++) {
		const struct energy_sum *sum = &bucket->modes[mode];
		if (q == COUNTED_HEAT) {
			j += (double)sum->heat_provisional_j;
			continue;
		}
		for (int m = (int)q; m >= 0; m = config->meters[m].less)
			j += (double)sum->meter_provisional_j[m];
	}
	return fabs(j);
}

/* The bucket's share, as power went. */
static void set_doubt(const struct config *config, const struct energy_open *open,
	size_t q, struct energy_bucket *bucket)
{
	double all_j = fabs((double)open->span.power_j);
	double share = all_j > 0.0 ? read_in(config, bucket, q) / all_j : 1.0;
	if (bucket->t_end_ms > open->begin_ms)
		bucket->open_j[q] = fabs((double)open->beyond_j) * fmin(share, 1.0);
}

int read_open(struct store *s, const int64_t *edges_ms, int64_t until_minute,
	struct energy_answer *answer)
{
	const struct config *config = s->config;
	int r = 0;

	for (size_t q = 0; r == 0 && q < COUNTED_MOST; q++)
		if (config_counted(config, q))
			r = find(s, q, &answer->open[q]);
	for (size_t q = 0; r == 0 && q < COUNTED_MOST; q++) {
		int64_t begin_ms =
			config_is_laid(config, q) ? begins(config, answer, q) : INT64_MAX;
		int64_t minute = floor_div(begin_ms, MS_PER_MIN);
		if (begin_ms < edges_ms[answer->count])
			r = add_rows(s, edges_ms, q, minute * MS_PER_MIN, until_minute,
				answer);
	}
	for (size_t q = 0; r == 0 && q < COUNTED_MOST; q++) {
		const struct energy_open *open = &answer->open[q];
		if (!open->compared || open->beyond_j == 0)
			continue;
		for (size_t i = 0; i < answer->count; i++)
			set_doubt(config, open, q, &answer->buckets[i]);
		set_doubt(config, open, q, &answer->total);
	}
	return r;
}
