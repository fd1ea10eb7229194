/*
 * /v1/energy: heat, electricity and efficiency over a span by step, at a boundary. The
 * figures are those of figures.c; here the question is read and the answer laid out, by
 * one table of columns that serves the buckets, the modes, the total and the units.
 */
#include "basis.h"
#include "face.h"
#include "sheet.h"
#include "wanted.h"

#include <heatbook/estimate.h>
#include <heatbook/figures.h>
#include <heatbook/rules.h>

#include <string.h>

#define OFFSET_DECIMALS 6
#define TOLD_BY         "told_by"

/* Names and UCUM codes; times in s, ratios without a unit.
 */
static const struct {
	const char *name;
	const char *ucum;
	int decimals;
	const char *const *words;
} columns[COLUMN_COUNT] = {
	[T] = {"t", "s", SHEET_SECONDS},
	[T_END] = {"t_end", "s", SHEET_SECONDS},
	[HEAT] = {"heat_kwh", "kW.h", KWH_DECIMALS},
	[ELECTRICITY] = {"electricity_kwh", "kW.h", KWH_DECIMALS},
	[COP] = {"cop", "1", RATIO_DECIMALS},
	[COP_UNCERTAINTY] = {"cop_uncertainty", "1", RATIO_DECIMALS},
	[NO_COP] = {"no_cop_because", NULL, 0, no_cop_words},
	[PAIRED_HEAT] = {"paired_heat_kwh", "kW.h", KWH_DECIMALS},
	[PAIRED_ELECTRICITY] = {"paired_electricity_kwh", "kW.h", KWH_DECIMALS},
	[BRIDGED_HEAT] = {"bridged_heat_kwh", "kW.h", KWH_DECIMALS},
	[BRIDGED_ELECTRICITY] = {"bridged_electricity_kwh", "kW.h", KWH_DECIMALS},
	[SPREAD_HEAT] = {"spread_heat_kwh", "kW.h", KWH_DECIMALS},
	[SPREAD_ELECTRICITY] = {"spread_electricity_kwh", "kW.h", KWH_DECIMALS},
	[PROVISIONAL_HEAT] = {"provisional_heat_kwh", "kW.h", KWH_DECIMALS},
	[PROVISIONAL_ELECTRICITY] = {"provisional_electricity_kwh", "kW.h", KWH_DECIMALS},
	[OBSERVED_S] = {"observed_s", "s", SHEET_SECONDS},
	[HEAT_OBSERVED_S] = {"heat_observed_s", "s", SHEET_SECONDS},
	[ELECTRICITY_OBSERVED_S] = {"electricity_observed_s", "s", SHEET_SECONDS},
	[PAIRED_S] = {"paired_s", "s", SHEET_SECONDS},
	[BRIDGED_S] = {"bridged_s", "s", SHEET_SECONDS},
	[COOLING] = {"cooling_kwh", "kW.h", KWH_DECIMALS},
	[COOLING_ELECTRICITY] = {"cooling_electricity_kwh", "kW.h", KWH_DECIMALS},
	[UNPLACED_HEAT] = {"unplaced_heat_kwh", "kW.h", KWH_DECIMALS},
	[UNPLACED_ELECTRICITY] = {"unplaced_electricity_kwh", "kW.h", KWH_DECIMALS},
};

static void note_add(char note[static 64], const char *words)
{
	size_t used = strlen(note);
	(void)snprintf(note + used, 64 - used, "%s%s", used ? "; " : "", words);
}

/* What a CSV says of a column, as JSON does under `fluid` and `estimated`: antifreeze,
 * that it is an estimate, and what it lacks. */
static void note_column(const struct question *q, enum column c, char note[static 64])
{
	const struct plant_config *plant = &q->config->plant;
	bool heat = c == HEAT || c == PAIRED_HEAT || c == BRIDGED_HEAT ||
		    c == SPREAD_HEAT || c == PROVISIONAL_HEAT || c == COOLING;
	bool electricity = c == ELECTRICITY || c == PAIRED_ELECTRICITY ||
			   c == BRIDGED_ELECTRICITY || c == SPREAD_ELECTRICITY ||
			   c == PROVISIONAL_ELECTRICITY || c == COOLING_ELECTRICITY;
	bool ratio = c == COP, estimated = false, lacks = false;
	struct estimate list[ESTIMATES_MOST];
	char fluid[32];
	size_t count = estimates_of(q->config, &q->boundary, list);
	for (size_t i = 0; i < count; i++) {
		bool of_heat = list[i].kind != ESTIMATE_APPARENT;
		bool touched =
			list[i].counted && (ratio || (of_heat ? heat : electricity));
		lacks = lacks || (touched && list[i].kind == ESTIMATE_LACKS);
		estimated = estimated || (touched && list[i].kind != ESTIMATE_LACKS);
	}
	(void)snprintf(fluid, sizeof(fluid), "%s %.4g %%", fluid_name(plant->fluid),
		plant->fluid_percent);
	note[0] = '\0';
	if (estimated)
		note_add(note, "estimated");
	if (lacks && c != COOLING)
		note_add(note, "without immersion heat");
	if ((heat || ratio) && plant->fluid != FLUID_WATER)
		note_add(note, fluid);
}

struct sheet_column energy_column(const struct question *q, enum column c)
{
	struct sheet_column column = {
		.value = c == T || c == T_END ? NULL : columns[c].name,
		.ucum = columns[c].ucum,
		.decimals = columns[c].decimals,
		.words = columns[c].words,
		.instant = c == T || c == T_END};
	(void)snprintf(column.name, sizeof(column.name), "%s", columns[c].name);
	note_column(q, c, column.note);
	return column;
}

static void add_columns(struct sheet *sheet, enum sheet_group group, const char *member,
	const struct figures *rows, int column_count, const struct question *q)
{
	for (int c = 0; c < column_count; c++) {
		struct sheet_column column = energy_column(q, (enum column)c);
		column.group = group;
		column.member = member;
		struct cell *cells = sheet_add(sheet, &column);
		for (size_t i = 0; i < sheet->rows; i++)
			cells[i] = rows[i].cells[c];
	}
}

static bool mode_present(const struct energy_bucket *total, int mode)
{
	const struct energy_sum *sum = &total->modes[mode];
	bool any = sum->observed_ms || sum->heat_j;
	for (size_t i = 0; i < METERS_MOST; i++)
		any = any || sum->meter_j[i];
	return any;
}

unsigned http_energy_modes(const struct energy_answer *answer)
{
	unsigned modes = 0;
	for (int m = 0; m < MODE_COUNT; m++)
		modes |= mode_present(&answer->total, m) ? 1u << m : 0;
	return modes;
}

/* By the configuration in force: older rows may be another's. */
static void add_told(struct sheet *sheet, const struct energy_answer *answer,
	const struct config *config, enum mode mode)
{
	static const char *const words[] = {"flag", "rule"};
	const struct sheet_column column = {.group = SHEET_MODE,
		.member = mode_name(mode),
		.name = TOLD_BY,
		.value = TOLD_BY,
		.words = words};
	struct cell *cells = sheet_add(sheet, &column);
	bool by_rule = rules_tell(rules_needed(config), mode);
	for (size_t i = 0; i < answer->count; i++) {
		bool any = answer->buckets[i].modes[mode].observed_ms > 0;
		cells[i] = (struct cell){any && mode != MODE_UNASSIGNED, by_rule};
	}
}

static void add_modes(struct sheet *sheet, const struct energy_answer *answer,
	const struct question *q, unsigned modes, struct figures *rows)
{
	for (int m = 0; m < MODE_COUNT; m++) {
		if (!(modes & 1u << m))
			continue;
		for (size_t i = 0; i < answer->count; i++)
			rows[i] = figures_mode(&answer->buckets[i], m, q);
		add_columns(sheet, SHEET_MODE, mode_name((enum mode)m), rows, COOLING, q);
		add_told(sheet, answer, q->config, (enum mode)m);
	}
}

/* What is told of one meter. Of the electricity, what a register laid evenly over known
 * time, and over time of which nothing else is known, and what of it is provisional
 * stand beside; and what its register counted and no row holds. */
static const struct {
	const char *name;
	enum column like; /* whose unit and decimals it has */
} meter_columns[] = {{"electricity_kwh", ELECTRICITY},
	{"electricity_observed_s", ELECTRICITY_OBSERVED_S},
	{"spread_electricity_kwh", ELECTRICITY}, {"bridged_electricity_kwh", ELECTRICITY},
	{"provisional_electricity_kwh", ELECTRICITY},
	{"unplaced_electricity_kwh", ELECTRICITY}};

static void fill_meter(const struct energy_bucket *bucket, const struct energy_sum *sum,
	size_t m, struct cell ret[ARRAY_LEN(meter_columns)])
{
	bool known = sum->meter_ms[m] > 0 || sum->meter_bridged_ms[m] > 0;
	ret[0] = (struct cell){known, known ? kwh_of(sum->meter_j[m]) : 0};
	ret[1] = (struct cell){true, sum->meter_ms[m]};
	ret[2] = (struct cell){true, kwh_of(sum->meter_spread_j[m])};
	ret[3] = (struct cell){true, kwh_of(sum->meter_bridged_j[m])};
	ret[4] = (struct cell){true, kwh_of(sum->meter_provisional_j[m])};
	ret[5] = (struct cell){true, kwh_of(bucket->unplaced_j[m])};
}

/* Every meter of the plant, whether or not of the boundary; without cooling, as the
 * columns. */
static void add_meter(struct sheet *sheet, const struct energy_answer *answer,
	const struct config *config, size_t m)
{
	struct cell *cells[ARRAY_LEN(meter_columns)];
	for (size_t c = 0; c < ARRAY_LEN(cells); c++) {
		enum column like = meter_columns[c].like;
		struct sheet_column column = {.group = SHEET_METER,
			.member = config->meters[m].name,
			.value = meter_columns[c].name,
			.ucum = columns[like].ucum,
			.decimals = columns[like].decimals};
		(void)snprintf(
			column.name, sizeof(column.name), "%s", meter_columns[c].name);
		if (config->meters[m].apparent && like == ELECTRICITY)
			(void)snprintf(column.note, sizeof(column.note), "estimated");
		cells[c] = sheet_add(sheet, &column);
	}
	for (size_t i = 0; i < answer->count; i++) {
		struct cell row[ARRAY_LEN(cells)];
		struct energy_sum sum = figures_sum(&answer->buckets[i]);
		fill_meter(&answer->buckets[i], &sum, m, row);
		for (size_t c = 0; c < ARRAY_LEN(cells); c++)
			cells[c][i] = row[c];
	}
}

/* In each row, so that no line of a preview passes for what was measured. */
static void add_preview(struct sheet *sheet, const struct question *q)
{
	const struct sheet_column column = {.name = "preview_pair_offset_k",
		.ucum = "K",
		.decimals = OFFSET_DECIMALS};
	if (!q->preview)
		return;
	struct cell *cells = sheet_add(sheet, &column);
	for (size_t i = 0; i < sheet->rows; i++)
		cells[i] = cell_of(q->offset_k, OFFSET_DECIMALS);
}

static void lay_out(const struct energy_answer *answer, const struct question *q,
	unsigned modes, const struct wanted *wanted, struct sheet *sheet)
{
	struct figures *rows = xcalloc(answer->count, sizeof(*rows));

	*sheet = (struct sheet){.rows = answer->count};
	for (size_t i = 0; i < answer->count; i++)
		rows[i] = figures_whole(&answer->buckets[i], q);
	add_columns(sheet, SHEET_WHOLE, NULL, rows, COLUMN_COUNT, q);
	if (q->by_mode)
		add_modes(sheet, answer, q, modes, rows);
	for (size_t m = 0; m < q->config->meter_count; m++)
		add_meter(sheet, answer, q->config, m);
	add_preview(sheet, q);
	sheet_add_corrections(sheet, q->config, NULL, 0);
	wanted_keep(wanted, sheet);
	free(rows);
}

static void write_csv(const struct question *q, const struct energy_answer *answer,
	unsigned modes, const struct wanted *wanted, const struct csv_form *form,
	struct buffer *out)
{
	struct sheet sheet;
	lay_out(answer, q, modes, wanted, &sheet);
	sheet_csv(&sheet, form, out);
	sheet_release(&sheet);
}

void http_energy_csv(const struct question *question, const struct energy_answer *answer,
	unsigned modes, const struct csv_form *form, struct buffer *out)
{
	write_csv(question, answer, modes, &(struct wanted){0}, form, out);
}

/* Only where one was asked for. */
static void write_preview(struct json *json, const struct question *q)
{
	if (!q->preview)
		return;
	json_object(json, "preview");
	json_number(json, "pair_offset_k", q->offset_k, OFFSET_DECIMALS);
	json_text(json, "what",
		"heat as it would be with this offset added to flow less return "
		"temperature; modes and stored rows are unchanged");
	json_object_end(json);
}

static bool is_column(const char *name)
{
	for (int c = 0; c < COLUMN_COUNT; c++)
		if (strcmp(columns[c].name, name) == 0)
			return true;
	return false;
}

void json_figures(struct json *json, const struct figures *figures, enum column first)
{
	for (int c = (int)first; c < COLUMN_COUNT; c++) {
		const struct cell *cell = &figures->cells[c];
		if (columns[c].words && cell->known)
			json_text(json, columns[c].name, columns[c].words[cell->value]);
		else
			json_cell(json, columns[c].name, cell, columns[c].decimals);
	}
}

static void write_body(struct json *json, const struct span *span,
	const struct energy_answer *answer, const struct question *q,
	const struct wanted *wanted)
{
	struct figures total = figures_whole(&answer->total, q);
	struct sheet sheet;
	lay_out(answer, q, http_energy_modes(answer), wanted, &sheet);
	json_object(json, NULL);
	span_write(span, q->config, json);
	json_text(json, "boundary", q->boundary.name[0] ? q->boundary.name : NULL);
	json_integer(json, "version", answer->version);
	json_older_days(json, &answer->older);
	json_corrections(json, "corrections", q->config, CORRECTIONS_OF_ACCOUNTS,
		span->from_ms, span->to_ms);
	write_preview(json, q);
	json_scaled(
		json, "least_denominator_kwh", kwh_of(LEAST_DENOMINATOR_J), KWH_DECIMALS);
	json_text(json, "uncertainty_largest_term",
		figures_largest_term(&answer->total, q));
	json_budget(json, "uncertainty", &answer->total, q);
	json_fluid(json, &q->config->plant);
	json_estimates(json, q->config, &q->boundary, &answer->total);
	json_provisional(json, q->config, answer);
	sheet_json(&sheet, SHEET_WHOLE, span->by_rows, json);
	if (q->by_mode)
		sheet_json(&sheet, SHEET_MODE, span->by_rows, json);
	sheet_json(&sheet, SHEET_METER, span->by_rows, json);
	json_object(json, "total");
	json_figures(json, &total, T);
	json_object_end(json);
	json_object(json, "units");
	for (int c = 0; c < COLUMN_COUNT; c++)
		if (columns[c].ucum)
			json_text(json, columns[c].name, columns[c].ucum);
	for (size_t c = 0; c < ARRAY_LEN(meter_columns); c++)
		if (!is_column(meter_columns[c].name))
			json_text(json, meter_columns[c].name,
				columns[meter_columns[c].like].ucum);
	json_object_end(json);
	sheet_release(&sheet);
}

void http_energy_body(const struct question *question, const struct energy_answer *answer,
	const char *step, const struct finding_list *findings, struct buffer *out)
{
	struct json json = {0};
	const struct span span = {.from_ms = answer->total.t_ms,
		.to_ms = answer->total.t_end_ms,
		.step_text = step};
	write_body(&json, &span, answer, question, &(struct wanted){0});
	if (findings)
		json_findings(&json, "findings", findings);
	json_object_end(&json);
	buffer_add(out, json.out.data, json.out.length);
	buffer_add_text(out, "\n");
	buffer_release(&json.out);
}

size_t http_energy_values(const struct question *q)
{
	return COLUMN_COUNT + 2 + 2 * q->config->meter_count +
	       (q->by_mode ? MODE_COUNT * (COOLING + 1) : 0);
}

/* Names of all that may be wanted; their count. */
static size_t value_names(const char *ret[static WANTED_MOST])
{
	size_t count = 0;
	for (int c = T_END + 1; c < COLUMN_COUNT; c++)
		ret[count++] = columns[c].name;
	for (size_t c = 0; c < ARRAY_LEN(meter_columns); c++)
		if (!is_column(meter_columns[c].name))
			ret[count++] = meter_columns[c].name;
	ret[count++] = TOLD_BY;
	return count;
}

/* A bucket's, at most. */
static size_t values_of(const struct question *q, const struct wanted *wanted)
{
	size_t whole = 2, mode = 2 + wanted_has(wanted, TOLD_BY), meter = 0;
	if (!wanted->text)
		return http_energy_values(q);
	for (int c = T_END + 1; c < COLUMN_COUNT; c++) {
		whole += wanted_has(wanted, columns[c].name);
		mode += c < COOLING && wanted_has(wanted, columns[c].name);
	}
	for (size_t c = 0; c < ARRAY_LEN(meter_columns); c++)
		meter += wanted_has(wanted, meter_columns[c].name);
	return whole + meter * q->config->meter_count +
	       (q->by_mode ? MODE_COUNT * mode : 0);
}

static bool offset_read(const struct config *config, const struct request *request,
	struct reply *reply, struct question *q)
{
	static const char *const forms[] = {"kelvins, -10 to 10, such as -0.3"};
	const char *given = request_value(request, "preview_pair_offset");
	q->preview = given != NULL;
	if (!given)
		return true;
	if (!preview_possible(config)) {
		problem_with(reply, "preview_pair_offset", given,
			"heat is not worked out from a temperature pair here: an offset "
			"of it changes nothing");
		return false;
	}
	if (preview_offset_read(given, PREVIEW_OFFSET_MOST_K, &q->offset_k))
		return true;
	problem_with(reply, "preview_pair_offset", given, "that is no offset");
	problem_allowed(reply, forms, ARRAY_LEN(forms));
	return false;
}

bool boundary_read(const struct config *config, const struct request *request,
	bool narrowest, struct reply *reply, struct boundary *ret)
{
	struct boundary list[BOUNDARIES_MOST];
	const char *names[BOUNDARIES_MOST];
	char why[256];
	const char *name = request_value(request, "boundary");
	size_t count = boundary_list(config, list);
	if (!name && narrowest && count > 0) {
		*ret = list[0];
		return true;
	}
	if (boundary_find(config, name, ret, why) == 0)
		return true;
	*ret = (struct boundary){0};
	if (!name)
		return true;
	for (size_t i = 0; i < count; i++)
		names[i] = list[i].name;
	problem_with(reply, "boundary", name, "%s", why);
	problem_allowed(reply, names, count);
	return false;
}

bool question_read(const struct config *config, const struct request *request,
	struct reply *reply, struct question *ret)
{
	const char *by = request_value(request, "by");
	*ret = (struct question){.config = config, .by_mode = by != NULL};
	if (by && strcmp(by, "mode") != 0) {
		const char *const allowed[] = {"mode"};
		problem_with(reply, "by", by, "the sums can be told apart by mode only");
		problem_allowed(reply, allowed, 1);
		return false;
	}
	return boundary_read(config, request, false, reply, &ret->boundary);
}

static void answer_question(struct http *http, const struct request *request,
	const struct question *q, const struct wanted *wanted, struct reply *reply)
{
	struct span span;
	struct energy_answer answer = {0};
	if (!span_read(request, values_of(q, wanted), reply, &span))
		return;
	int r = query_energy(
		http->store, span.edges_ms, span.count, &q->boundary, &answer);
	if (r == 0) {
		if (q->preview)
			preview_offset(&answer, q->offset_k);
		if (reply->type)
			write_csv(q, &answer, http_energy_modes(&answer), wanted,
				&reply->form, &reply->body.out);
		else
			write_body(&reply->body, &span, &answer, q, wanted);
		span_keep(&span, reply);
		energy_answer_release(&answer);
	} else {
		problem_query(reply, r);
	}
	span_release(&span);
}

void answer_energy(struct http *http, const struct request *request, struct reply *reply)
{
	struct question q;
	struct wanted wanted;
	const char *names[WANTED_MOST];
	if (!form_read(request, reply) ||
		!question_read(http->config, request, reply, &q) ||
		!offset_read(http->config, request, reply, &q) ||
		!wanted_read(request, names, value_names(names), reply, &wanted))
		return;
	answer_question(http, request, &q, &wanted, reply);
	wanted_release(&wanted);
}
