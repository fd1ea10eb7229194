/*
 * Events as rows and columns: which columns each kind has. See events.h.
 */
#include "events.h"

#include <math.h>

#define MEAN_DECIMALS  2
#define SHARE_DECIMALS 4

static const char *const work_words[] = {"heating", "hot_water", "cooling", "defrost",
	"mixed", "immersion", "freeze_protection"};
static const char *const source_words[] = {"flag", "rule"};
static const char *const cut_words[] = {"no", "begin", "end", "both"};
static const char *const yes_words[] = {"no", "yes"};
static const char *const habit_words[] = {[HABIT_USUAL] = "planned",
	[HABIT_TOO_OFTEN] = "too_often",
	[HABIT_OTHER_TIME] = "other_time"};

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

static struct cell number_cell(int64_t value)
{
	return (struct cell){true, value};
}

/* ---- figures ---- */

static bool has_figure(enum run_kind kind, enum column c)
{
	static const enum column all[] = {HEAT, ELECTRICITY, SPREAD_HEAT,
		SPREAD_ELECTRICITY, HEAT_OBSERVED_S, ELECTRICITY_OBSERVED_S};
	static const enum column paired[] = {
		COP, COP_UNCERTAINTY, NO_COP, PAIRED_HEAT, PAIRED_ELECTRICITY, PAIRED_S};
	bool quotient = kind == RUN_COMPRESSOR || kind == RUN_HOT_WATER;
	if (kind == RUN_IMMERSION)
		return false;
	for (size_t i = 0; i < ARRAY_LEN(all); i++)
		if (all[i] == c)
			return true;
	for (size_t i = 0; quotient && i < ARRAY_LEN(paired); i++)
		if (paired[i] == c)
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

/* Of an immersion heater its own electricity, which no boundary decides. */
struct own_columns {
	struct cell *energy, *spread; /* NULL: not of this kind */
};

static struct own_columns add_own(
	struct sheet *sheet, enum sheet_group group, const struct events *e)
{
	struct own_columns columns = {0};
	if (e->kind != RUN_IMMERSION)
		return columns;
	columns.energy =
		add_column(sheet, group, "electricity_kwh", "kW.h", KWH_DECIMALS);
	columns.spread =
		add_column(sheet, group, "spread_electricity_kwh", "kW.h", KWH_DECIMALS);
	return columns;
}

static void put_own(
	const struct own_columns *columns, size_t row, int64_t j, int64_t spread_j)
{
	if (!columns->energy)
		return;
	columns->energy[row] = number_cell(kwh_of(j));
	columns->spread[row] = number_cell(kwh_of(spread_j));
}

/* ---- an event a row ---- */

static void add_ends(struct sheet *sheet, const struct events *e)
{
	struct sheet_column t = energy_column(e->question, T);
	struct sheet_column t_end = energy_column(e->question, T_END);
	struct cell *begins = sheet_add(sheet, &t), *ends = sheet_add(sheet, &t_end);
	for (size_t i = 0; i < e->count; i++) {
		begins[i] = number_cell(e->items[i].begin_ms);
		ends[i] = number_cell(e->items[i].end_ms);
	}
}

/* What it was, and why it ended. */
static void add_nature(struct sheet *sheet, const struct events *e)
{
	struct cell *kinds = add_words(sheet, "kind", work_words);
	struct cell *sources = add_words(sheet, "source", source_words);
	struct cell *cuts = add_words(sheet, "truncated", cut_words);
	struct cell *ends = add_words(sheet, "ended", run_end_words);
	struct cell *shorts =
		e->kind == RUN_COMPRESSOR ? add_words(sheet, "short", yes_words) : NULL;
	struct cell *planned = e->kind == RUN_IMMERSION
				       ? add_words(sheet, "planned", habit_words)
				       : NULL;
	for (size_t i = 0; i < e->count; i++) {
		const struct happening *event = &e->items[i];
		kinds[i] = number_cell(event->kind);
		sources[i] = number_cell(event->by_rule);
		cuts[i] = number_cell(event->cut);
		ends[i] = number_cell((int64_t)event->ended);
		if (shorts)
			shorts[i] = number_cell(event->is_short);
		if (planned && event->habit != HABIT_UNKNOWN)
			planned[i] = number_cell(event->habit);
	}
}

/* Which meter's heater, in words of the configuration. */
static void add_meters(struct sheet *sheet, const struct events *e)
{
	const struct config *config = e->question->config;
	if (e->kind != RUN_IMMERSION)
		return;
	sheet->texts = xcalloc(config->meter_count + 1, sizeof(*sheet->texts));
	sheet->text_count = config->meter_count;
	for (size_t m = 0; m < config->meter_count; m++)
		sheet->texts[m] = xstrdup(config->meters[m].name);
	struct cell *meters =
		add_words(sheet, "meter", (const char *const *)sheet->texts);
	for (size_t i = 0; i < e->count; i++)
		meters[i] = number_cell(e->items[i].meter);
}

/* Which modes' time is told beside the whole: a run of the compressor may have many. */
static const struct {
	const char *name;
	enum mode mode;
} parts[] = {{"heating_s", MODE_HEATING}, {"hot_water_s", MODE_HOT_WATER},
	{"cooling_s", MODE_COOLING}, {"defrost_s", MODE_DEFROST}};

static void add_times(struct sheet *sheet, const struct events *e)
{
	struct cell *running =
		add_column(sheet, SHEET_WHOLE, "running_s", "s", SHEET_SECONDS);
	for (size_t i = 0; i < e->count; i++)
		running[i] = number_cell(e->items[i].ms);
	for (size_t p = 0; e->kind == RUN_COMPRESSOR && p < ARRAY_LEN(parts); p++) {
		struct cell *cells =
			add_column(sheet, SHEET_WHOLE, parts[p].name, "s", SHEET_SECONDS);
		for (size_t i = 0; i < e->count; i++)
			cells[i] = number_cell(e->items[i].mode_ms[parts[p].mode]);
	}
	if (e->kind != RUN_DEFROST)
		return;
	struct cell *intervals =
		add_column(sheet, SHEET_WHOLE, "interval_s", "s", SHEET_SECONDS);
	for (size_t i = 0; i < e->count; i++)
		if (e->items[i].interval_ms >= 0)
			intervals[i] = number_cell(e->items[i].interval_ms);
}

/* Means over its minutes, of channels that are there. */
static void add_means(struct sheet *sheet, const struct events *e)
{
	static const struct {
		const char *name, *ucum;
		enum run_channel channel;
	} means[] = {{"outdoor_c", "Cel", RUN_OUTDOOR}, {"flow_c", "Cel", RUN_FLOW},
		{"return_c", "Cel", RUN_RETURN}, {"frequency_hz", "Hz", RUN_FREQUENCY}};
	size_t count = e->kind == RUN_IMMERSION           ? 1
		       : e->kind == RUN_FREEZE_PROTECTION ? 3
							  : ARRAY_LEN(means);
	for (size_t m = 0; m < count; m++) {
		if (run_channel(e->question->config, means[m].channel) < 0)
			continue;
		struct cell *cells = add_column(
			sheet, SHEET_WHOLE, means[m].name, means[m].ucum, MEAN_DECIMALS);
		for (size_t i = 0; i < e->count; i++)
			cells[i] = cell_of(
				e->items[i].means[means[m].channel], MEAN_DECIMALS);
	}
}

static bool has_immersion(const struct config *config)
{
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].serves == DEVICE_IMMERSION)
			return true;
	return false;
}

static void add_cylinder(struct sheet *sheet, const struct events *e)
{
	if (run_channel(e->question->config, RUN_CYLINDER) < 0)
		return;
	struct cell *begins =
		add_column(sheet, SHEET_WHOLE, "cylinder_start_c", "Cel", MEAN_DECIMALS);
	struct cell *ends =
		add_column(sheet, SHEET_WHOLE, "cylinder_end_c", "Cel", MEAN_DECIMALS);
	for (size_t i = 0; i < e->count; i++) {
		begins[i] = cell_of(e->items[i].cylinder_begin_c, MEAN_DECIMALS);
		ends[i] = cell_of(e->items[i].cylinder_end_c, MEAN_DECIMALS);
	}
}

static void add_immersion(struct sheet *sheet, const struct events *e)
{
	if (!has_immersion(e->question->config))
		return;
	struct cell *energy =
		add_column(sheet, SHEET_WHOLE, "immersion_kwh", "kW.h", KWH_DECIMALS);
	struct cell *share =
		add_column(sheet, SHEET_WHOLE, "immersion_share", "1", SHARE_DECIMALS);
	for (size_t i = 0; i < e->count; i++) {
		energy[i] = number_cell(kwh_of(e->items[i].immersion_j));
		share[i] = cell_of(e->items[i].immersion_share, SHARE_DECIMALS);
	}
}

void events_lay(const struct events *e, struct sheet *sheet)
{
	*sheet = (struct sheet){.rows = e->count};
	add_ends(sheet, e);
	add_nature(sheet, e);
	add_meters(sheet, e);
	add_times(sheet, e);
	add_means(sheet, e);
	if (e->kind == RUN_HOT_WATER) {
		add_cylinder(sheet, e);
		add_immersion(sheet, e);
	}
	struct figure_columns columns = add_figures(sheet, SHEET_WHOLE, e);
	struct own_columns own = add_own(sheet, SHEET_WHOLE, e);
	for (size_t i = 0; i < e->count; i++) {
		const struct happening *event = &e->items[i];
		put_figures(&columns, i, &event->figures);
		put_own(&own, i, event->immersion_j, event->immersion_spread_j);
	}
	sheet_add_corrections(sheet, e->question->config, NULL, 0);
}

/* ---- many in a row ---- */

static struct cell mean_cell(int64_t ms, size_t count)
{
	return cell_of(count ? (double)ms / 1000.0 / (double)count : (double)NAN, 0);
}

/* Numbers of what is told of single ones, too. */
static void add_kinds_counts(struct sheet *sheet, enum sheet_group group,
	const struct events *e, const struct group *groups)
{
	bool shorts = e->kind == RUN_COMPRESSOR, planned = e->kind == RUN_IMMERSION;
	struct cell *counts = NULL, *intervals = NULL;
	if (shorts || planned)
		counts = add_column(sheet, group, shorts ? "short" : "unplanned", "1", 0);
	if (e->kind == RUN_DEFROST)
		intervals = add_column(sheet, group, "mean_interval_s", "s", 0);
	for (size_t i = 0; i < sheet->rows; i++) {
		const struct group *g = &groups[i];
		if (counts)
			counts[i] = number_cell(
				(int64_t)(shorts ? g->short_ones : g->unplanned));
		if (intervals)
			intervals[i] = mean_cell(g->interval_ms, g->intervals);
	}
}

/* Counts, times and figures of groups; `sheet` has as many rows. */
static void add_counts(struct sheet *sheet, enum sheet_group group,
	const struct events *e, const struct group *groups)
{
	struct cell *count = add_column(sheet, group, "count", "1", 0);
	struct cell *truncated = add_column(sheet, group, "truncated", "1", 0);
	add_kinds_counts(sheet, group, e, groups);
	struct cell *running = add_column(sheet, group, "running_s", "s", SHEET_SECONDS);
	struct cell *mean = add_column(sheet, group, "mean_running_s", "s", 0);
	struct figure_columns columns = add_figures(sheet, group, e);
	struct own_columns own = add_own(sheet, group, e);
	for (size_t i = 0; i < sheet->rows; i++) {
		const struct group *g = &groups[i];
		struct figures figures = figures_chosen(&g->sums, e->question);
		count[i] = number_cell((int64_t)g->count);
		truncated[i] = number_cell((int64_t)g->truncated);
		running[i] = number_cell(g->ms);
		mean[i] = mean_cell(g->whole_ms, g->count - g->truncated);
		put_figures(&columns, i, &figures);
		put_own(&own, i, g->immersion_j, g->immersion_spread_j);
	}
}

void events_lay_bins(const struct events *e, struct sheet *sheet)
{
	*sheet = (struct sheet){.rows = e->bin_count};
	struct cell *from = add_column(sheet, SHEET_OUTDOOR, "outdoor_from_c", "Cel", 0);
	struct cell *to = add_column(sheet, SHEET_OUTDOOR, "outdoor_to_c", "Cel", 0);
	for (size_t i = 0; i < e->bin_count; i++) {
		const struct group *g = &e->bins[i];
		if (!g->outdoor_known)
			continue;
		from[i] = number_cell(g->bin * EVENT_BIN_K);
		to[i] = number_cell((g->bin + 1) * EVENT_BIN_K);
	}
	add_counts(sheet, SHEET_OUTDOOR, e, e->bins);
}

void events_lay_total(const struct events *e, struct sheet *sheet)
{
	*sheet = (struct sheet){.rows = 1};
	add_counts(sheet, SHEET_WHOLE, e, &e->total);
}
