/*
 * /v1/runs, /v1/defrosts, /v1/hot-water: what the plant did, one row an event, and the
 * same by the outdoor temperature.
 *
 * An event belongs to the span in which it began, and is followed to its end beyond it,
 * so that spans that follow each other name each event once, and as the same. Energies
 * are figures of /v1/energy over the event's time in its modes, at the narrowest boundary
 * that the meters allow unless another is asked for. A defrost has no quotient: it takes
 * heat to melt ice. Bins of the outdoor temperature are three kelvins wide; an event is
 * in that of the mean over its minutes.
 */
#include "basis.h"
#include "face.h"
#include "sheet.h"

#include <heatbook/run_ask.h>

#include <math.h>
#include <string.h>

#define DAYS_DEFAULT     7
#define BIN_K            INT64_C(3)
#define OUTDOOR_DECIMALS 2

/* What an event is told of besides the figures of energy. */
enum work { WORK_HEATING, WORK_HOT_WATER, WORK_COOLING, WORK_DEFROST, WORK_MIXED };
static const char *const work_words[] = {
	"heating", "hot_water", "cooling", "defrost", "mixed"};
static const char *const source_words[] = {"flag", "rule"};
static const char *const cut_words[] = {"no", "begin", "end", "both"};

/* Events together: one, those of a bin, or all. */
struct group {
	bool outdoor_known;
	int bin; /* from bin * BIN_K */
	size_t count, truncated;
	int64_t whole_ms; /* of those that are not truncated */
	struct energy_bucket sums;
};

struct happening {
	int64_t begin_ms, end_ms, ms;
	enum work kind;
	bool by_rule;
	int cut; /* 1 the begin, 2 the end */
	double outdoor_c;
	int64_t mode_ms[MODE_COUNT];
	struct figures figures;
};

struct events {
	const struct question *question;
	enum run_kind kind;
	int outdoor; /* channel, or -1 */
	struct span span;
	struct store *store;
	struct happening *items;
	size_t count;
	struct group *bins;
	size_t bin_count;
	struct group total;
	int64_t version;
	struct older_days older;
};

/* ---- what happened ---- */

/* What nine tenths of its time were for, defrosts aside. */
static enum work kind_of(const struct plant_run *run, const struct energy_sum *modes)
{
	static const struct {
		enum mode mode;
		enum work kind;
	} works[] = {{MODE_HEATING, WORK_HEATING}, {MODE_HOT_WATER, WORK_HOT_WATER},
		{MODE_COOLING, WORK_COOLING}};
	int64_t rest_ms = run->ms - modes[MODE_DEFROST].observed_ms;
	if (rest_ms <= 0)
		return WORK_DEFROST;
	for (size_t i = 0; i < ARRAY_LEN(works); i++)
		if (modes[works[i].mode].observed_ms * 10 >= rest_ms * 9)
			return works[i].kind;
	return WORK_MIXED;
}

static void group_add(struct group *group, const struct plant_run *run,
	const struct energy_bucket *sums)
{
	bool truncated = run->begin_truncated || run->end_truncated;
	group->count++;
	group->truncated += truncated;
	group->whole_ms += truncated ? 0 : run->ms;
	for (int m = 0; m < MODE_COUNT; m++)
		energy_sum_add(&group->sums.modes[m], &sums->modes[m]);
	group->sums.modes_seen |= sums->modes_seen;
}

/* The bin of a temperature, put where it belongs by size; the unknown one last. */
static struct group *bin_of(struct events *e, double outdoor_c)
{
	bool known = !isnan(outdoor_c);
	int bin = known ? (int)floor(outdoor_c / (double)BIN_K) : INT32_MAX;
	size_t at = 0;
	while (at < e->bin_count && e->bins[at].bin < bin)
		at++;
	if (at < e->bin_count && e->bins[at].bin == bin)
		return &e->bins[at];
	e->bins = xrealloc(e->bins, e->bin_count + 1, sizeof(*e->bins));
	memmove(e->bins + at + 1, e->bins + at, (e->bin_count - at) * sizeof(*e->bins));
	e->bin_count++;
	e->bins[at] = (struct group){.outdoor_known = known, .bin = bin};
	return &e->bins[at];
}

static void add_item(
	struct events *e, const struct plant_run *run, const struct energy_bucket *sums)
{
	struct happening event = {.begin_ms = run->begin_ms,
		.end_ms = run->end_ms,
		.ms = run->ms,
		.kind = kind_of(run, sums->modes),
		.by_rule = run->by_rule,
		.cut = run->begin_truncated + 2 * run->end_truncated,
		.outdoor_c = run_mean_of(&run->means[RUN_OUTDOOR]),
		.figures = figures_chosen(sums, e->question)};
	for (int m = 0; m < MODE_COUNT; m++)
		event.mode_ms[m] = sums->modes[m].observed_ms;
	e->items = xrealloc(e->items, e->count + 1, sizeof(*e->items));
	e->items[e->count++] = event;
}

static void take_run(const struct plant_run *run, void *context)
{
	struct events *e = context;
	struct energy_bucket sums;
	energy_rows_sum(e->store, &e->question->boundary, &run->rows, &sums);
	group_add(&e->total, run, &sums);
	if (e->outdoor >= 0)
		group_add(bin_of(e, run_mean_of(&run->means[RUN_OUTDOOR])), run, &sums);
	add_item(e, run, &sums);
}

static int events_ask(struct store *store, struct events *e)
{
	const struct runs_asked asked = {.kind = e->kind,
		.from_ms = e->span.from_ms,
		.to_ms = e->span.to_ms,
		.visit = take_run,
		.context = e};
	e->store = store;
	return runs_ask(store, &asked, &e->version, &e->older);
}

static void events_release(struct events *e)
{
	free(e->items);
	free(e->bins);
	span_release(&e->span);
}

/* ---- the answer ---- */

static struct cell *add_column(struct sheet *sheet, enum sheet_group group,
	const char *name, const char *ucum, int decimals)
{
	struct sheet_column column = {.group = group, .ucum = ucum, .decimals = decimals};
	(void)snprintf(column.name, sizeof(column.name), "%s", name);
	return sheet_add(sheet, &column);
}

static struct cell *add_words(
	struct sheet *sheet, const char *name, const char *const *words)
{
	struct sheet_column column = {.words = words};
	(void)snprintf(column.name, sizeof(column.name), "%s", name);
	return sheet_add(sheet, &column);
}

static bool has_figure(enum run_kind kind, enum column c)
{
	static const enum column defrost[] = {HEAT, ELECTRICITY, SPREAD_HEAT,
		SPREAD_ELECTRICITY, HEAT_OBSERVED_S, ELECTRICITY_OBSERVED_S};
	static const enum column others[] = {HEAT, ELECTRICITY, COP, COP_UNCERTAINTY,
		NO_COP, PAIRED_HEAT, PAIRED_ELECTRICITY, SPREAD_HEAT, SPREAD_ELECTRICITY,
		HEAT_OBSERVED_S, ELECTRICITY_OBSERVED_S, PAIRED_S};
	bool few = kind == RUN_DEFROST;
	const enum column *list = few ? defrost : others;
	for (size_t i = 0; i < (few ? ARRAY_LEN(defrost) : ARRAY_LEN(others)); i++)
		if (list[i] == c)
			return true;
	return kind == RUN_COMPRESSOR && (c == COOLING || c == COOLING_ELECTRICITY);
}

/* The columns of figures; NULL where the kind has none of it. */
struct figure_columns {
	struct cell *cells[COLUMN_COUNT];
};

static struct figure_columns add_figures(
	struct sheet *sheet, enum sheet_group group, const struct events *e)
{
	struct figure_columns columns = {0};
	for (int c = 0; c < COLUMN_COUNT; c++) {
		if (!has_figure(e->kind, (enum column)c))
			continue;
		struct sheet_column column = energy_column(e->question, (enum column)c);
		column.group = group;
		columns.cells[c] = sheet_add(sheet, &column);
	}
	return columns;
}

static void put_figures(
	const struct figure_columns *columns, size_t row, const struct figures *figures)
{
	for (int c = 0; c < COLUMN_COUNT; c++)
		if (columns->cells[c])
			columns->cells[c][row] = figures->cells[c];
}

static struct cell time_cell(int64_t ms)
{
	return (struct cell){true, ms};
}

/* Which modes' time is told beside the whole: a run of the compressor may have many. */
static const struct {
	const char *name;
	enum mode mode;
} parts[] = {{"heating_s", MODE_HEATING}, {"hot_water_s", MODE_HOT_WATER},
	{"cooling_s", MODE_COOLING}, {"defrost_s", MODE_DEFROST}};

static void add_parts(struct sheet *sheet, const struct events *e)
{
	for (size_t p = 0; e->kind == RUN_COMPRESSOR && p < ARRAY_LEN(parts); p++) {
		struct cell *cells =
			add_column(sheet, SHEET_WHOLE, parts[p].name, "s", SHEET_SECONDS);
		for (size_t i = 0; i < e->count; i++)
			cells[i] = time_cell(e->items[i].mode_ms[parts[p].mode]);
	}
}

static void add_ends(struct sheet *sheet, const struct events *e)
{
	struct sheet_column t = energy_column(e->question, T);
	struct sheet_column t_end = energy_column(e->question, T_END);
	struct cell *begins = sheet_add(sheet, &t), *ends = sheet_add(sheet, &t_end);
	for (size_t i = 0; i < e->count; i++) {
		begins[i] = time_cell(e->items[i].begin_ms);
		ends[i] = time_cell(e->items[i].end_ms);
	}
}

static void lay_events(const struct events *e, struct sheet *sheet)
{
	*sheet = (struct sheet){.rows = e->count};
	add_ends(sheet, e);
	struct cell *kinds = add_words(sheet, "kind", work_words);
	struct cell *sources = add_words(sheet, "source", source_words);
	struct cell *cuts = add_words(sheet, "truncated", cut_words);
	struct cell *running =
		add_column(sheet, SHEET_WHOLE, "running_s", "s", SHEET_SECONDS);
	for (size_t i = 0; i < e->count; i++) {
		kinds[i] = (struct cell){true, e->items[i].kind};
		sources[i] = (struct cell){true, e->items[i].by_rule};
		cuts[i] = (struct cell){true, e->items[i].cut};
		running[i] = time_cell(e->items[i].ms);
	}
	add_parts(sheet, e);
	struct cell *outdoor = e->outdoor < 0
				       ? NULL
				       : add_column(sheet, SHEET_WHOLE, "outdoor_c",
						 "Cel", OUTDOOR_DECIMALS);
	for (size_t i = 0; outdoor && i < e->count; i++)
		outdoor[i] = cell_of(e->items[i].outdoor_c, OUTDOOR_DECIMALS);
	struct figure_columns columns = add_figures(sheet, SHEET_WHOLE, e);
	for (size_t i = 0; i < e->count; i++)
		put_figures(&columns, i, &e->items[i].figures);
	sheet_add_corrections(sheet, e->question->config, NULL, 0);
}

/* Counts, times and figures of groups; `sheet` has as many rows. */
static void add_counts(struct sheet *sheet, enum sheet_group group,
	const struct events *e, const struct group *groups)
{
	struct cell *count = add_column(sheet, group, "count", "1", 0);
	struct cell *truncated = add_column(sheet, group, "truncated", "1", 0);
	struct cell *running = add_column(sheet, group, "running_s", "s", SHEET_SECONDS);
	struct cell *mean = add_column(sheet, group, "mean_running_s", "s", 0);
	struct figure_columns columns = add_figures(sheet, group, e);
	for (size_t i = 0; i < sheet->rows; i++) {
		const struct group *g = &groups[i];
		struct figures figures = figures_chosen(&g->sums, e->question);
		size_t whole = g->count - g->truncated;
		int64_t ms = 0;
		for (int m = 0; m < MODE_COUNT; m++)
			ms += g->sums.modes[m].observed_ms;
		count[i] = (struct cell){true, (int64_t)g->count};
		truncated[i] = (struct cell){true, (int64_t)g->truncated};
		running[i] = time_cell(ms);
		mean[i] = cell_of(whole ? (double)g->whole_ms / 1000.0 / (double)whole
					: (double)NAN,
			0);
		put_figures(&columns, i, &figures);
	}
}

static void lay_bins(const struct events *e, struct sheet *sheet)
{
	*sheet = (struct sheet){.rows = e->bin_count};
	struct cell *from = add_column(sheet, SHEET_OUTDOOR, "outdoor_from_c", "Cel", 0);
	struct cell *to = add_column(sheet, SHEET_OUTDOOR, "outdoor_to_c", "Cel", 0);
	for (size_t i = 0; i < e->bin_count; i++) {
		const struct group *g = &e->bins[i];
		if (!g->outdoor_known)
			continue;
		from[i] = (struct cell){true, g->bin * BIN_K};
		to[i] = (struct cell){true, (g->bin + 1) * BIN_K};
	}
	add_counts(sheet, SHEET_OUTDOOR, e, e->bins);
}

static void write_body(
	struct json *json, const struct events *e, const struct sheet *sheet)
{
	const struct config *config = e->question->config;
	struct sheet bins, total = {.rows = 1};
	lay_bins(e, &bins);
	add_counts(&total, SHEET_WHOLE, e, &e->total);
	json_object(json, NULL);
	span_write(&e->span, config, json);
	json_text(json, "boundary",
		e->question->boundary.name[0] ? e->question->boundary.name : NULL);
	json_integer(json, "version", e->version);
	json_older_days(json, &e->older);
	json_corrections(json, "corrections", config, CORRECTIONS_OF_ACCOUNTS,
		e->span.from_ms, e->span.to_ms);
	json_scaled(
		json, "least_denominator_kwh", kwh_of(LEAST_DENOMINATOR_J), KWH_DECIMALS);
	json_fluid(json, &config->plant);
	json_estimates(json, config, &e->question->boundary, NULL);
	json_integer(json, "count", (int64_t)e->count);
	sheet_json(sheet, SHEET_WHOLE, e->span.by_rows, json);
	if (e->outdoor >= 0)
		sheet_json(&bins, SHEET_OUTDOOR, e->span.by_rows, json);
	json_object(json, "total");
	sheet_json_row(&total, 0, json);
	json_object_end(json);
	json_object(json, "units");
	sheet_json_units(sheet, json);
	json_object_end(json);
	sheet_release(&bins);
	sheet_release(&total);
}

static void refuse_many(const struct events *e, size_t columns, struct reply *reply)
{
	problem(reply, MHD_HTTP_BAD_REQUEST,
		"%zu events of %zu values are more than %d values: ask for a shorter "
		"span",
		e->count, columns, VALUES_MOST);
}

static void answer_events(struct http *http, struct events *e, struct reply *reply)
{
	struct sheet sheet;
	int r = events_ask(http->store, e);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	lay_events(e, &sheet);
	if (sheet.rows * sheet.count > VALUES_MOST)
		refuse_many(e, sheet.count, reply);
	else if (reply->type)
		sheet_csv(&sheet, &reply->form, &reply->body.out);
	else
		write_body(&reply->body, e, &sheet);
	if (!reply->problem) {
		span_keep(&e->span, reply);
		reply->standing.before_minute = INT64_MAX; /* ends lie beyond it */
	}
	sheet_release(&sheet);
}

static void answer_kind(struct http *http, const struct request *request,
	struct reply *reply, enum run_kind kind)
{
	struct question question = {.config = http->config};
	struct events events = {.question = &question,
		.kind = kind,
		.outdoor = config_role(http->config, ROLE_OUTDOOR_TEMPERATURE)};
	if (form_read(request, reply) &&
		boundary_read(http->config, request, true, reply, &question.boundary) &&
		span_times(request, DAYS_DEFAULT, reply, &events.span))
		answer_events(http, &events, reply);
	events_release(&events);
}

void answer_runs(struct http *http, const struct request *request, struct reply *reply)
{
	answer_kind(http, request, reply, RUN_COMPRESSOR);
}

void answer_defrosts(
	struct http *http, const struct request *request, struct reply *reply)
{
	answer_kind(http, request, reply, RUN_DEFROST);
}

void answer_hot_water(
	struct http *http, const struct request *request, struct reply *reply)
{
	answer_kind(http, request, reply, RUN_HOT_WATER);
}
