/*
 * A store that answers from memory, for tests of the HTTP face: buckets by plain walking,
 * rows from a function that the test sets.
 */
#ifndef FAKE_STORE_H
#define FAKE_STORE_H

#include "fake_found_days.h"

#include <heatbook/age.h>
#include <heatbook/calendar.h>
#include <heatbook/changes.h>
#include <heatbook/circuit.h>
#include <heatbook/conditions.h>
#include <heatbook/cost.h>
#include <heatbook/finding.h>
#include <heatbook/flow_temperature.h>
#include <heatbook/habit.h>
#include <heatbook/insight_days.h>
#include <heatbook/query.h>
#include <heatbook/run_rows.h>
#include <heatbook/signature.h>

#include <errno.h>
#include <math.h>
#include <string.h>

typedef void fake_energy_row(size_t i, struct energy_bucket *bucket);
typedef double fake_series_value(size_t bucket, size_t column);

static struct {
	int result; /* of the queries */
	int64_t version;
	int64_t until_ms; /* other facts */
	enum habit habit; /* of immersion heaters */
	fake_energy_row *energy;
	const struct energy_open *open; /* of COUNTED_MOST, or NULL */
	fake_series_value *series;
	double (*outdoor)(size_t day);
	int outdoor_result;    /* of a long span, if not `result` */
	struct boundary asked; /* by the last query */
	int64_t first_ms, last_ms;
	int64_t span_from_ms, span_to_ms; /* of minutes: whose older days count */
	const struct finding *findings;   /* those that are answered */
	size_t finding_count;
	const struct insight_days *days; /* that insight is asked of, or none */
	struct older_days older;
	const struct evidence *evidence; /* of days that begin at their at_min */
	size_t evidence_count;
	int64_t sealed_days;
	bool generations; /* it knows its own: answers are kept */
	struct generation generation;
	int64_t first_row;                 /* minute */
	const struct evidence *conditions; /* those that days say */
	size_t condition_count;
	void (*cost)(size_t i, struct cost_bucket *bucket);
	struct cost_answer cost_days; /* its counts of days */
} fake;

int store_generation(struct store *store, struct generation *ret)
{
	(void)store;
	*ret = fake.generation;
	return fake.generations ? 0 : -EIO;
}

bool generation_holds(const struct generation *then, const struct generation *now,
	int64_t before_minute)
{
	(void)before_minute;
	return memcmp(then, now, sizeof(*now)) == 0;
}

static int64_t fake_next_edge(int64_t t_ms, const struct duration *step)
{
	if (step->exact_ms)
		return (floor_div(t_ms, step->exact_ms) + 1) * step->exact_ms;
	struct date date = calendar_date(t_ms);
	if (step->months || step->years)
		date.day = 1;
	if (step->years)
		date.month = 1;
	if (step->days == 7)
		date = calendar_add(date, 0, 0, 1 - calendar_weekday(date));
	return calendar_day_start(
		calendar_add(date, step->years, step->months, step->days));
}

int query_buckets(int64_t from_ms, int64_t to_ms, const struct duration *step,
	size_t most, int64_t **ret_edges_ms, size_t *ret_count)
{
	int64_t *edges = xcalloc(most + 2, sizeof(*edges));
	size_t count = 0;
	edges[0] = from_ms;
	while (edges[count] < to_ms && count <= most) {
		int64_t next = fake_next_edge(edges[count], step);
		edges[++count] = next < to_ms ? next : to_ms;
	}
	if (count > most) {
		free(edges);
		return QUERY_TOO_MANY;
	}
	*ret_edges_ms = edges;
	*ret_count = count;
	return 0;
}

int query_energy(struct store *store, const int64_t *edges_ms, size_t count,
	const struct boundary *boundary, struct energy_answer *ret)
{
	(void)store;
	if (fake.result)
		return fake.result;
	fake.asked = *boundary;
	fake.first_ms = edges_ms[0];
	fake.last_ms = edges_ms[count];
	*ret = (struct energy_answer){.count = count, .version = fake.version};
	ret->buckets = xcalloc(count, sizeof(*ret->buckets));
	ret->total.t_ms = edges_ms[0];
	ret->total.t_end_ms = edges_ms[count];
	for (size_t q = 0; fake.open && q < COUNTED_MOST; q++)
		ret->open[q] = fake.open[q];
	for (size_t i = 0; i < count; i++) {
		struct energy_bucket *bucket = &ret->buckets[i];
		bucket->t_ms = edges_ms[i];
		bucket->t_end_ms = edges_ms[i + 1];
		if (fake.energy)
			fake.energy(i, bucket);
		for (size_t m = 0; m < MODE_COUNT; m++)
			energy_sum_add(&ret->total.modes[m], &bucket->modes[m]);
		ret->total.modes_seen |= bucket->modes_seen;
		for (size_t q = 0; q < COUNTED_MOST; q++)
			ret->total.unplaced_j[q] += bucket->unplaced_j[q];
	}
	return 0;
}

void energy_answer_release(struct energy_answer *answer)
{
	free(answer->buckets);
}

static double *fake_values(size_t count, size_t column, double add)
{
	double *values = xcalloc(count, sizeof(*values));
	for (size_t i = 0; i < count; i++)
		values[i] = (fake.series ? fake.series(i, column) : 0.0) + add;
	return values;
}

int query_series(struct store *store, const int64_t *edges_ms, size_t count,
	const int *channels, size_t channel_count, struct series_answer *ret)
{
	const struct config *config = (const struct config *)store;
	if (fake.result)
		return fake.result;
	*ret = (struct series_answer){
		.count = count, .column_count = channel_count, .version = fake.version};
	ret->t_ms = xcalloc(count, sizeof(*ret->t_ms));
	ret->t_end_ms = xcalloc(count, sizeof(*ret->t_end_ms));
	for (size_t i = 0; i < count; i++) {
		ret->t_ms[i] = edges_ms[i];
		ret->t_end_ms[i] = edges_ms[i + 1];
	}
	ret->columns = xcalloc(channel_count, sizeof(*ret->columns));
	for (size_t c = 0; c < channel_count; c++) {
		struct series_column *column = &ret->columns[c];
		column->channel = channels[c];
		column->mean = fake_values(count, c, 0.0);
		column->observed_s = xcalloc(count, sizeof(double));
		for (size_t i = 0; i < count; i++)
			column->observed_s[i] = isnan(column->mean[i]) ? 0.0 : 59.5;
		if (!config->channels[channels[c]].extremes)
			continue;
		column->least = fake_values(count, c, -1.0);
		column->most = fake_values(count, c, 1.0);
	}
	return 0;
}

void series_answer_release(struct series_answer *answer)
{
	for (size_t c = 0; c < answer->column_count; c++) {
		free(answer->columns[c].mean);
		free(answer->columns[c].least);
		free(answer->columns[c].most);
		free(answer->columns[c].observed_s);
	}
	free(answer->columns);
	free(answer->t_ms);
	free(answer->t_end_ms);
}

/* Only energy that is asked for by boundaries. */
void energy_rows_sum(const struct store *store, const struct boundary *boundary,
	const struct energy_rows *rows, struct energy_bucket *ret)
{
	(void)store;
	fake.asked = *boundary;
	*ret = (struct energy_bucket){0};
	for (size_t i = 0; i < rows->count; i++) {
		int mode = rows->items[i].mode;
		energy_sum_add(&ret->modes[mode], &rows->items[i].sum);
		ret->modes_seen |= 1u << mode;
	}
}

int store_snapshot(struct store *store, snapshot_ask *asking, void *context)
{
	return fake.result ? fake.result : asking(store, context);
}

/* The minutes for which `fake.energy` makes anything, counted from the first. */
int store_run_minutes(struct store *store, int64_t from_min, int64_t to_min,
	const int channels[static RUN_CHANNELS], run_minute_visit *visit, void *context)
{
	(void)store;
	if (fake.first_ms == 0 || from_min * MS_PER_MIN < fake.first_ms)
		fake.first_ms = from_min * MS_PER_MIN;
	fake.last_ms = to_min * MS_PER_MIN;
	for (int64_t t = from_min; t < to_min && t < fake.first_row + MIN_PER_DAY; t++) {
		static struct energy_row rows[MODE_COUNT]; /* large */
		struct energy_bucket bucket = {.t_ms = t * MS_PER_MIN};
		struct run_minute minute = {.minute = t, .rows = rows};
		size_t i = (size_t)(t - from_min);
		for (size_t c = 0; c < RUN_CHANNELS; c++)
			minute.values[c] = channels[c] >= 0 && fake.series
						   ? fake.series(i, c)
						   : (double)NAN;
		if (fake.energy)
			fake.energy(i, &bucket);
		for (int m = 0; m < MODE_COUNT; m++)
			if (bucket.modes_seen & 1u << m)
				rows[minute.count++] = (struct energy_row){
					.minute = t, .mode = m, .sum = bucket.modes[m]};
		if (minute.count)
			visit(&minute, context);
	}
	return 0;
}

/* Nothing is kept. */
int store_run_marks(struct store *store, int64_t from_min, int64_t to_min, uint64_t form,
	run_mark_visit *visit, void *context)
{
	(void)store;
	(void)from_min;
	(void)to_min;
	(void)form;
	(void)visit;
	(void)context;
	return 0;
}

int store_run_pieces(struct store *store, enum run_kind kind, int64_t from_min,
	int64_t to_min, run_piece_visit *visit, void *context)
{
	(void)store;
	(void)kind;
	(void)from_min;
	(void)to_min;
	(void)visit;
	(void)context;
	return 0;
}

int store_run_span(struct store *store, int64_t *ret_from, int64_t *ret_to)
{
	(void)store;
	*ret_from = fake.first_row;
	*ret_to = fake.first_row + MIN_PER_DAY;
	return 0;
}

int store_minutes_gone_until(struct store *store, int64_t minute, int64_t *ret)
{
	(void)store;
	(void)minute;
	*ret = 0;
	return 0;
}

int store_fact(struct store *store, enum store_fact fact, int64_t *ret)
{
	(void)store;
	*ret = fact == FACT_VERSION ? fake.version : fake.until_ms;
	return 0;
}

/* A use of each heater all day, of `fake.habit`. */
int immersion_habits_ask(struct store *store, int64_t from_ms, int64_t to_ms,
	size_t budget, struct immersion_habits *ret)
{
	const struct config *config = (const struct config *)store;
	(void)to_ms;
	(void)budget;
	*ret = (struct immersion_habits){.meters = config->meter_count, .count = 1};
	ret->start_min = xcalloc(1, sizeof(*ret->start_min));
	ret->start_min[0] = from_ms / MS_PER_MIN;
	ret->heaters = xcalloc(ret->meters + 1, sizeof(*ret->heaters));
	for (size_t m = 0; m < ret->meters; m++) {
		const struct evidence all_day = {.minutes = MIN_PER_DAY,
			.at_min = ret->start_min[0],
			.values = {0.0, MIN_PER_DAY}};
		const bool looked = true;
		heater_uses_add(&ret->heaters[m], 0, ret->start_min[0], &all_day);
		habits_judge(&looked, &ret->heaters[m]);
		ret->heaters[m].habits[0] = fake.habit;
	}
	return fake.result;
}

/* Each day by `fake.outdoor`, all of it known, or none where that is NaN. */
int query_outdoor(struct store *store, int channel, double base_c,
	const int64_t *edges_ms, size_t count, struct outdoor_answer *ret)
{
	(void)store;
	(void)channel;
	if (fake.result)
		return fake.result;
	*ret = (struct outdoor_answer){.count = count, .version = fake.version};
	ret->days = xcalloc(count, sizeof(*ret->days));
	fake.first_ms = edges_ms[0];
	fake.last_ms = edges_ms[count];
	for (size_t i = 0; i < count; i++) {
		struct outdoor_day *day = &ret->days[i];
		double t_c = fake.outdoor ? fake.outdoor(i) : (double)NAN;
		day->length_ms = edges_ms[i + 1] - edges_ms[i];
		if (!isnan(t_c))
			outdoor_day_add(
				day, base_c, t_c, t_c - 1, t_c + 1, day->length_ms);
	}
	return 0;
}

int query_outdoor_long(struct store *store, int channel, double base_c,
	const int64_t *edges_ms, size_t count, struct outdoor_answer *ret)
{
	if (fake.outdoor_result)
		return fake.outdoor_result;
	return query_outdoor(store, channel, base_c, edges_ms, count, ret);
}

void outdoor_answer_release(struct outdoor_answer *answer)
{
	free(answer->days);
}

int signature_ask(
	struct store *store, int64_t from_ms, int64_t to_ms, struct signature *ret)
{
	const struct config *config = (const struct config *)store;
	struct insight_days none = {.config = config,
		.from_ms = from_ms,
		.to_ms = to_ms,
		.version = fake.version};
	if (fake.result)
		return fake.result;
	fake.first_ms = from_ms;
	fake.last_ms = to_ms;
	none.older = fake.older;
	signature_fit(fake.days ? fake.days : &none, ret);
	signature_tell(config, ret);
	return 0;
}

void signature_release(struct signature *signature)
{
	insight_release(&signature->answer);
	free(signature->points);
}

int changes_ask(struct store *store, const struct boundary *boundary, size_t which,
	int64_t now_ms, struct changes *ret)
{
	const struct config *config = (const struct config *)store;
	struct insight_days none = {.config = config, .version = fake.version};
	if (fake.result)
		return fake.result;
	none.older = fake.older;
	none.boundary = fake.asked = *boundary;
	changes_judge(fake.days ? fake.days : &none, which, now_ms, ret);
	return 0;
}

int circuit_ask(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct circuit *ret)
{
	const struct config *config = (const struct config *)store;
	struct insight_days none = {.config = config,
		.from_ms = from_ms,
		.to_ms = to_ms,
		.version = fake.version};
	(void)budget;
	if (fake.result)
		return fake.result;
	none.older = fake.older;
	circuit_of(fake.days ? fake.days : &none, ret);
	return 0;
}

int flow_temperature_ask(struct store *store, int64_t from_ms, int64_t to_ms,
	const double *by_k, size_t count, size_t budget, struct flow_temperature *ret)
{
	const struct config *config = (const struct config *)store;
	struct insight_days none = {.config = config,
		.from_ms = from_ms,
		.to_ms = to_ms,
		.version = fake.version};
	(void)budget;
	if (fake.result)
		return fake.result;
	none.older = fake.older;
	flow_temperature_of(fake.days ? fake.days : &none, by_k, count, ret);
	return 0;
}

int findings_ask(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct findings *ret)
{
	(void)store;
	(void)budget;
	if (fake.result)
		return fake.result;
	fake.first_ms = from_ms;
	fake.last_ms = to_ms;
	*ret = (struct findings){
		.from_ms = from_ms, .to_ms = to_ms, .version = fake.version, .days = 3};
	ret->older = fake.older;
	ret->days_looked = 2;
	ret->boundary = fake.asked;
	ret->list.count = fake.finding_count;
	ret->list.items = xcalloc(fake.finding_count + 1, sizeof(*ret->list.items));
	for (size_t i = 0; i < fake.finding_count; i++) {
		struct finding copy = fake.findings[i];
		copy.evidence = xstrdup(copy.evidence);
		copy.remedy = xstrdup(copy.remedy);
		copy.correction = copy.correction ? xstrdup(copy.correction) : NULL;
		ret->list.items[i] = copy;
	}
	return 0;
}

void findings_ask_release(struct findings *findings)
{
	findings_release(&findings->list);
}

/* ---- what days are reduced from ---- */

void query_buckets_some(int64_t from_ms, int64_t to_ms, const struct duration *step,
	size_t most, int64_t **ret_edges_ms, size_t *ret_count)
{
	while (query_buckets(from_ms, to_ms, step, most, ret_edges_ms, ret_count) != 0)
		to_ms = from_ms + (to_ms - from_ms) / 2;
}

const struct config *store_config(const struct store *store)
{
	return (const struct config *)(const void *)store;
}

int store_older_days(
	struct store *store, int64_t from_ms, int64_t to_ms, struct older_days *ret)
{
	(void)store;
	fake.span_from_ms = from_ms;
	fake.span_to_ms = to_ms;
	*ret = fake.older;
	return fake.result;
}

int store_evidence(struct store *store, int64_t from_min, int64_t to_min,
	evidence_visit *visit, void *context)
{
	(void)store;
	for (size_t i = 0; i < fake.evidence_count; i++)
		if (fake.evidence[i].at_min >= from_min &&
			fake.evidence[i].at_min < to_min)
			visit(fake.evidence[i].at_min, &fake.evidence[i], context);
	return fake.result;
}

/* Of what is not kept nothing is left. */
int evidence_look(struct store *store, int64_t start_min, int64_t end_min,
	struct evidence_list *list, bool *ret_looked)
{
	(void)store;
	(void)start_min;
	(void)end_min;
	(void)list;
	(void)ret_looked;
	return fake.result;
}

int store_schema(const struct store *store)
{
	(void)store;
	return 9;
}

int store_sealed_days(struct store *store, int64_t from_day, int64_t to_day,
	int64_t *ret_count, int64_t *ret_first, int64_t *ret_last)
{
	(void)store;
	*ret_count = fake.sealed_days;
	*ret_first = from_day;
	*ret_last = to_day - 1;
	return fake.result;
}

int conditions_ask(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct conditions *ret)
{
	(void)store;
	(void)budget;
	if (fake.result)
		return fake.result;
	*ret = (struct conditions){.from_ms = from_ms,
		.to_ms = to_ms,
		.version = fake.version,
		.older = fake.older,
		.days = 3,
		.days_looked = 2};
	(void)snprintf(ret->boundary.name, sizeof(ret->boundary.name), "H2+circulation");
	ret->boundary.meters = ret->boundary.needs = 1;
	ret->windows = xcalloc(fake.condition_count + 1, sizeof(*ret->windows));
	for (size_t i = 0; i < fake.condition_count; i++) {
		efficiency_map_take(&ret->map, &fake.conditions[i]);
		if (fake.conditions[i].kind == EVIDENCE_STEADY)
			ret->windows[ret->window_count++] =
				steady_window_of(&fake.conditions[i]);
	}
	efficiency_map_sort(&ret->map);
	return 0;
}

void conditions_release(struct conditions *conditions)
{
	efficiency_map_release(&conditions->map);
	free(conditions->windows);
}

/* What `fake.cost` says of the buckets that `fake.energy` fills. */
int cost_ask(struct store *store, const int64_t *edges_ms, size_t count,
	const struct boundary *boundary, size_t budget, struct cost_answer *ret)
{
	(void)budget;
	*ret = fake.cost_days;
	int r = query_energy(store, edges_ms, count, boundary, &ret->energy);
	if (r != 0)
		return r;
	ret->buckets = xcalloc(count, sizeof(*ret->buckets));
	for (size_t i = 0; fake.cost && i < count; i++) {
		fake.cost(i, &ret->buckets[i]);
		fake.cost(i, &ret->total);
	}
	return 0;
}

void cost_answer_release(struct cost_answer *answer)
{
	energy_answer_release(&answer->energy);
	free(answer->buckets);
}

/* Rows of a day before the tests' present. */
int store_row_span(struct store *store, int64_t *ret_from, int64_t *ret_to)
{
	(void)store;
	*ret_from = fake.first_row;
	*ret_to = fake.first_row + MIN_PER_DAY;
	return fake.result;
}

#endif
