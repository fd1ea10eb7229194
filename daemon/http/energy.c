/*
 * /v1/energy: heat, electricity and efficiency over a span by step, at a boundary. The
 * figures are those of figures.c; here the question is read and the answer laid out, by
 * one table of columns that serves the buckets, the modes, the total and the units.
 */
#include "face.h"

#include <heatbook/figures.h>

#include <string.h>

/* Names and UCUM codes; times in s, ratios without a unit.
 */
static const struct {
	const char *name;
	const char *ucum;
	int decimals; /* -1: milliseconds, written as seconds */
} columns[COLUMN_COUNT] = {
	[T] = {"t", "s", -1},
	[T_END] = {"t_end", "s", -1},
	[HEAT] = {"heat_kwh", "kW.h", KWH_DECIMALS},
	[ELECTRICITY] = {"electricity_kwh", "kW.h", KWH_DECIMALS},
	[COP] = {"cop", "1", RATIO_DECIMALS},
	[COP_UNCERTAINTY] = {"cop_uncertainty", "1", RATIO_DECIMALS},
	[PAIRED_HEAT] = {"paired_heat_kwh", "kW.h", KWH_DECIMALS},
	[PAIRED_ELECTRICITY] = {"paired_electricity_kwh", "kW.h", KWH_DECIMALS},
	[BRIDGED_HEAT] = {"bridged_heat_kwh", "kW.h", KWH_DECIMALS},
	[BRIDGED_ELECTRICITY] = {"bridged_electricity_kwh", "kW.h", KWH_DECIMALS},
	[OBSERVED_S] = {"observed_s", "s", -1},
	[HEAT_OBSERVED_S] = {"heat_observed_s", "s", -1},
	[ELECTRICITY_OBSERVED_S] = {"electricity_observed_s", "s", -1},
	[PAIRED_S] = {"paired_s", "s", -1},
	[BRIDGED_S] = {"bridged_s", "s", -1},
	[COOLING] = {"cooling_kwh", "kW.h", KWH_DECIMALS},
	[COOLING_ELECTRICITY] = {"cooling_electricity_kwh", "kW.h", KWH_DECIMALS},
};

static void write_cell(
	struct json *json, const char *key, const struct cell *cell, int decimals)
{
	if (!cell->known)
		json_null(json, key);
	else if (decimals < 0)
		json_seconds(json, key, cell->value);
	else
		json_scaled(json, key, cell->value, decimals);
}

static void write_columns(
	struct json *json, const struct figures *rows, size_t count, int column_count)
{
	for (int c = 0; c < column_count; c++) {
		json_array(json, columns[c].name);
		for (size_t i = 0; i < count; i++)
			write_cell(json, NULL, &rows[i].cells[c], columns[c].decimals);
		json_array_end(json);
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

static void write_modes(struct json *json, const struct energy_answer *answer,
	const struct question *q, struct figures *rows)
{
	json_object(json, "modes");
	for (int m = 0; m < MODE_COUNT; m++) {
		if (!mode_present(&answer->total, m))
			continue;
		for (size_t i = 0; i < answer->count; i++)
			rows[i] = figures_mode(&answer->buckets[i], m, q);
		json_object(json, mode_name((enum mode)m));
		write_columns(json, rows, answer->count, COOLING);
		json_object_end(json);
	}
	json_object_end(json);
}

/* Every meter of the plant, whether or not of the boundary; without cooling, as the
 * columns. */
static void write_meters(struct json *json, const struct energy_answer *answer,
	const struct config *config)
{
	json_object(json, "meters");
	for (size_t m = 0; m < config->meter_count; m++) {
		json_object(json, config->meters[m].name);
		for (int time = 0; time < 2; time++) {
			json_array(json, time ? columns[ELECTRICITY_OBSERVED_S].name
					      : columns[ELECTRICITY].name);
			for (size_t i = 0; i < answer->count; i++) {
				struct energy_sum sum = figures_sum(&answer->buckets[i]);
				if (time)
					json_seconds(json, NULL, sum.meter_ms[m]);
				else if (sum.meter_ms[m] > 0)
					json_scaled(json, NULL, kwh_of(sum.meter_j[m]),
						KWH_DECIMALS);
				else
					json_null(json, NULL);
			}
			json_array_end(json);
		}
		json_object_end(json);
	}
	json_object_end(json);
}

/* Glycol booked as water would over-read: every result names its fluid. */
static void write_fluid(struct json *json, const struct plant_config *plant)
{
	static const char *const names[] = {[FLUID_WATER] = "water",
		[FLUID_PROPYLENE_GLYCOL] = "propylene_glycol",
		[FLUID_ETHYLENE_GLYCOL] = "ethylene_glycol"};
	json_object(json, "fluid");
	json_text(json, "name", names[plant->fluid]);
	json_number(json, "volume_percent", plant->fluid_percent, 1);
	json_object_end(json);
}

static void write_body(struct json *json, const struct span *span,
	const struct energy_answer *answer, const struct question *q)
{
	struct figures *rows = xcalloc(answer->count, sizeof(*rows));
	struct figures total = figures_whole(&answer->total, q);
	for (size_t i = 0; i < answer->count; i++)
		rows[i] = figures_whole(&answer->buckets[i], q);
	json_object(json, NULL);
	span_write(span, q->config, json);
	json_text(json, "boundary", q->boundary.name[0] ? q->boundary.name : NULL);
	json_integer(json, "version", answer->version);
	json_integer(json, "older_mapping_days", answer->older_days);
	json_corrections(json, "corrections", q->config, CORRECTIONS_OF_ACCOUNTS,
		span->from_ms, span->to_ms);
	json_scaled(
		json, "least_denominator_kwh", kwh_of(LEAST_DENOMINATOR_J), KWH_DECIMALS);
	json_text(json, "uncertainty_largest_term",
		figures_largest_term(&answer->total, q));
	write_fluid(json, &q->config->plant);
	json_object(json, "columns");
	write_columns(json, rows, answer->count, COLUMN_COUNT);
	json_object_end(json);
	if (q->by_mode)
		write_modes(json, answer, q, rows);
	write_meters(json, answer, q->config);
	json_object(json, "total");
	for (int c = 0; c < COLUMN_COUNT; c++)
		write_cell(json, columns[c].name, &total.cells[c], columns[c].decimals);
	json_object_end(json);
	json_object(json, "units");
	for (int c = 0; c < COLUMN_COUNT; c++)
		json_text(json, columns[c].name, columns[c].ucum);
	json_object_end(json);
	free(rows);
}

void http_energy_body(const struct question *question, const struct energy_answer *answer,
	const char *step, struct buffer *out)
{
	struct json json = {0};
	const struct span span = {.from_ms = answer->total.t_ms,
		.to_ms = answer->total.t_end_ms,
		.step_text = step};
	write_body(&json, &span, answer, question);
	json_object_end(&json);
	buffer_add(out, json.out.data, json.out.length);
	buffer_add_text(out, "\n");
	buffer_release(&json.out);
}

/* Boundary and grouping; without any meter heat alone is answered, at no boundary. */
static bool question_read(const struct config *config, const struct request *request,
	struct reply *reply, struct question *ret)
{
	struct boundary list[BOUNDARIES_MOST];
	const char *names[BOUNDARIES_MOST];
	char why[256];
	const char *name = request_value(request, "boundary");
	const char *by = request_value(request, "by");
	*ret = (struct question){.config = config, .by_mode = by != NULL};
	if (by && strcmp(by, "mode") != 0) {
		const char *const allowed[] = {"mode"};
		problem_with(reply, "by", by, "the sums can be told apart by mode only");
		problem_allowed(reply, allowed, 1);
		return false;
	}
	if (boundary_find(config, name, &ret->boundary, why) == 0)
		return true;
	ret->boundary = (struct boundary){0};
	if (!name)
		return true;
	size_t count = boundary_list(config, list);
	for (size_t i = 0; i < count; i++)
		names[i] = list[i].name;
	problem_with(reply, "boundary", name, "%s", why);
	problem_allowed(reply, names, count);
	return false;
}

void answer_energy(struct http *http, const struct request *request, struct reply *reply)
{
	struct question q;
	struct span span;
	struct energy_answer answer = {0};
	if (!question_read(http->config, request, reply, &q))
		return;
	size_t values = COLUMN_COUNT + 2 * http->config->meter_count +
			(q.by_mode ? MODE_COUNT * COOLING : 0);
	if (!span_read(request, values, reply, &span))
		return;
	int r = query_energy(
		http->store, span.edges_ms, span.count, &q.boundary, &answer);
	if (r == 0) {
		write_body(&reply->body, &span, &answer, &q);
		reply->cache_s = span_cache_s(&span);
		energy_answer_release(&answer);
	} else {
		problem_query(reply, r);
	}
	span_release(&span);
}
