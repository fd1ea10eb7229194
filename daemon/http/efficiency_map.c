/*
 * /v1/efficiency-map: efficiency against the temperatures outside and of the flow, a row
 * a bin; and own bins by outdoor temperature beside a reference climate's.
 *
 * At the unit's boundary, the narrowest that the meters allow. The band of published fits
 * is that of a bin's middle: a yardstick, no limit.
 */
#include "conditions_json.h"
#include "insight_json.h"
#include "sheet.h"

#include <heatbook/cop_curve.h>

#include <math.h>
#include <string.h>

#define HOUR_DECIMALS 2

enum { LOAD_DECIMALS = 6, LIFT_DECIMALS = 0 };

static const char *const mode_words[] = {"heating", "hot_water"};

static struct cell kwh_cell(double j)
{
	return (struct cell){true, kwh_of(llround(j))};
}

static struct cell number(double value, int decimals)
{
	return cell_of(value, decimals);
}

/* ---- bins ---- */

enum {
	BIN_OUTDOOR,
	BIN_FLOW,
	BIN_HOURS,
	BIN_HEAT,
	BIN_ELECTRICITY,
	BIN_COP,
	BIN_COP_UNCERTAINTY,
	BIN_SECOND_LAW,
	BIN_BAND_LEAST,
	BIN_BAND_MOST,
	BIN_DEFROST_HEAT,
	BIN_DEFROST_ELECTRICITY,
	BIN_COP_WITH_DEFROSTS,
	BIN_COLUMNS
};
static const struct sheet_form bin_columns[BIN_COLUMNS] = {
	[BIN_OUTDOOR] = {"outdoor_c", "Cel", LIFT_DECIMALS},
	[BIN_FLOW] = {"flow_c", "Cel", LIFT_DECIMALS},
	[BIN_HOURS] = {"hours", "h", HOUR_DECIMALS},
	[BIN_HEAT] = {"heat_kwh", "kW.h", KWH_DECIMALS},
	[BIN_ELECTRICITY] = {"electricity_kwh", "kW.h", KWH_DECIMALS},
	[BIN_COP] = {"cop", "1", RATIO_DECIMALS},
	[BIN_COP_UNCERTAINTY] = {"cop_uncertainty", "1", RATIO_DECIMALS},
	[BIN_SECOND_LAW] = {"second_law", "1", RATIO_DECIMALS},
	[BIN_BAND_LEAST] = {"band_least", "1", RATIO_DECIMALS},
	[BIN_BAND_MOST] = {"band_most", "1", RATIO_DECIMALS},
	[BIN_DEFROST_HEAT] = {"defrost_heat_kwh", "kW.h", KWH_DECIMALS},
	[BIN_DEFROST_ELECTRICITY] = {"defrost_electricity_kwh", "kW.h", KWH_DECIMALS},
	[BIN_COP_WITH_DEFROSTS] = {"cop_with_defrosts", "1", RATIO_DECIMALS},
};

static void fill_bin(const struct map_bin *bin, const struct question *q,
	struct cell cells[BIN_COLUMNS])
{
	struct map_sums all = bin->work;
	double lift_k = bin->flow_c - bin->outdoor_c;
	bool air = efficiency_map_of_air(q->config);
	bool banded = air && lift_k >= COP_LEAST_LIFT_K;
	struct cop_band band = cop_band(lift_k);
	map_sums_add(&all, &bin->defrost);
	cells[BIN_OUTDOOR] = number(bin->outdoor_c, LIFT_DECIMALS);
	cells[BIN_FLOW] = number(bin->flow_c, LIFT_DECIMALS);
	cells[BIN_HOURS] = number(bin->work.minutes / 60.0, HOUR_DECIMALS);
	cells[BIN_HEAT] = kwh_cell(bin->work.heat_j);
	cells[BIN_ELECTRICITY] = kwh_cell(bin->work.electricity_j);
	cells[BIN_COP] = number(map_cop(&bin->work), RATIO_DECIMALS);
	cells[BIN_COP_UNCERTAINTY] =
		number(map_cop_expanded(&bin->work, q), RATIO_DECIMALS);
	cells[BIN_SECOND_LAW] =
		number(air ? map_second_law(&bin->work) : (double)NAN, RATIO_DECIMALS);
	cells[BIN_BAND_LEAST] = number(banded ? band.least : (double)NAN, RATIO_DECIMALS);
	cells[BIN_BAND_MOST] = number(banded ? band.most : (double)NAN, RATIO_DECIMALS);
	cells[BIN_DEFROST_HEAT] = kwh_cell(bin->defrost.heat_j);
	cells[BIN_DEFROST_ELECTRICITY] = kwh_cell(bin->defrost.electricity_j);
	cells[BIN_COP_WITH_DEFROSTS] = number(map_cop(&all), RATIO_DECIMALS);
}

static void lay_bins(
	const struct efficiency_map *map, const struct question *q, struct sheet *sheet)
{
	struct sheet_column mode = {.name = "mode", .words = mode_words};
	struct cell *cells[BIN_COLUMNS], row[BIN_COLUMNS];
	*sheet = (struct sheet){.rows = map->count};
	struct cell *modes = sheet_add(sheet, &mode);
	sheet_add_forms(sheet, bin_columns, BIN_COLUMNS, cells);
	for (size_t i = 0; i < map->count; i++) {
		modes[i] = (struct cell){true, map->bins[i].mode == MODE_HOT_WATER};
		fill_bin(&map->bins[i], q, row);
		for (int c = 0; c < BIN_COLUMNS; c++)
			cells[c][i] = row[c];
	}
}

/* ---- beside a climate ---- */

enum {
	SEASON_OUTDOOR,
	SEASON_REFERENCE,
	SEASON_LOAD,
	SEASON_HOURS,
	SEASON_HEAT,
	SEASON_ELECTRICITY,
	SEASON_COP,
	SEASON_COP_UNCERTAINTY,
	SEASON_COUNTS,
	SEASON_COLUMNS
};
static const struct sheet_form season_columns[SEASON_COLUMNS] = {
	[SEASON_OUTDOOR] = {"outdoor_c", "Cel", 0},
	[SEASON_REFERENCE] = {"reference_hours", "h", 0},
	[SEASON_LOAD] = {"reference_load", "1", LOAD_DECIMALS},
	[SEASON_HOURS] = {"hours", "h", HOUR_DECIMALS},
	[SEASON_HEAT] = {"heat_kwh", "kW.h", KWH_DECIMALS},
	[SEASON_ELECTRICITY] = {"electricity_kwh", "kW.h", KWH_DECIMALS},
	[SEASON_COP] = {"cop", "1", RATIO_DECIMALS},
	[SEASON_COP_UNCERTAINTY] = {"cop_uncertainty", "1", RATIO_DECIMALS},
	[SEASON_COUNTS] = {"counts", "1", 0},
};

static void lay_season(
	const struct map_season *season, const struct question *q, struct sheet *sheet)
{
	struct cell *cells[SEASON_COLUMNS];
	*sheet = (struct sheet){.rows = season->count};
	for (int c = 0; c < SEASON_COLUMNS; c++)
		cells[c] = sheet_add_form(sheet, SHEET_OUTDOOR, NULL, &season_columns[c]);
	for (size_t i = 0; i < season->count; i++) {
		const struct map_reference *bin = &season->bins[i];
		cells[SEASON_OUTDOOR][i] = (struct cell){true, bin->outdoor_c};
		cells[SEASON_REFERENCE][i] = (struct cell){true, bin->hours};
		cells[SEASON_LOAD][i] = number(bin->load, LOAD_DECIMALS);
		cells[SEASON_HOURS][i] = number(bin->own.minutes / 60.0, HOUR_DECIMALS);
		cells[SEASON_HEAT][i] = kwh_cell(bin->own.heat_j);
		cells[SEASON_ELECTRICITY][i] = kwh_cell(bin->own.electricity_j);
		cells[SEASON_COP][i] = number(map_cop(&bin->own), RATIO_DECIMALS);
		cells[SEASON_COP_UNCERTAINTY][i] =
			number(map_cop_expanded(&bin->own, q), RATIO_DECIMALS);
		cells[SEASON_COUNTS][i] = (struct cell){true, bin->counts};
	}
}

/* ---- the answer ---- */

struct asked {
	struct question question;
	struct span span;
	enum en14825_climate climate;
	struct conditions conditions;
};

static void write_evidence(
	struct json *json, const struct asked *a, const struct map_season *season)
{
	const struct efficiency_map *map = &a->conditions.map;
	struct map_sums heating = efficiency_map_sum(map, MODE_HEATING, true);
	struct map_sums hot_water = efficiency_map_sum(map, MODE_HOT_WATER, true);
	json_object(json, "evidence");
	json_integer(json, "days", (int64_t)a->conditions.days);
	json_integer(json, "days_looked_at", (int64_t)a->conditions.days_looked);
	json_number(json, "heating_hours", heating.minutes / 60.0, HOUR_DECIMALS);
	json_number(json, "hot_water_hours", hot_water.minutes / 60.0, HOUR_DECIMALS);
	json_number(json, "hours_without_temperatures", map->unplaced.minutes / 60.0,
		HOUR_DECIMALS);
	json_number(json, "outdoor_bin_k", CONDITION_OUTDOOR_K, 0);
	json_number(json, "flow_bin_k", CONDITION_FLOW_K, 0);
	json_number(json, "least_lift_k", COP_LEAST_LIFT_K, 0);
	json_text(json, "climate", en14825_climate_name(a->climate));
	json_number(json, "climate_hours_share", season->hours_share, LOAD_DECIMALS);
	json_number(json, "climate_heat_share", season->heat_share, LOAD_DECIMALS);
	json_object_end(json);
}

static void write_body(struct json *json, const struct asked *a, const struct sheet *bins)
{
	struct map_season season = efficiency_map_season(&a->conditions.map, a->climate);
	struct insight_answer answer = {0};
	struct sheet beside;
	lay_season(&season, &a->question, &beside);
	efficiency_map_answer(&a->conditions.map, &season, &a->question, &answer);
	json_conditions(json, a->question.config, &a->span, &a->conditions);
	json_insight(json, &answer);
	write_evidence(json, a, &season);
	sheet_json(bins, SHEET_WHOLE, a->span.by_rows, json);
	if (efficiency_map_of_air(a->question.config))
		sheet_json(&beside, SHEET_OUTDOOR, a->span.by_rows, json);
	json_object(json, "units");
	sheet_json_units(bins, json);
	json_object_end(json);
	sheet_release(&beside);
	insight_release(&answer);
}

static bool climate_read(
	const struct request *request, struct reply *reply, enum en14825_climate *ret)
{
	const char *given = request_value(request, "climate");
	const char *names[EN14825_CLIMATES];
	for (int c = 0; c < EN14825_CLIMATES; c++) {
		names[c] = en14825_climate_name((enum en14825_climate)c);
		if (given && strcmp(given, names[c]) == 0)
			*ret = (enum en14825_climate)c;
	}
	if (!given || strcmp(given, names[*ret]) == 0)
		return true;
	problem_with(reply, "climate", given, "no reference climate of EN 14825");
	problem_allowed(reply, names, EN14825_CLIMATES);
	return false;
}

static void answer_asked(struct http *http, struct asked *a, struct reply *reply)
{
	struct sheet bins;
	int r = conditions_ask(http->store, a->span.from_ms, a->span.to_ms,
		CONDITIONS_BUDGET, &a->conditions);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	a->question.boundary = a->conditions.boundary;
	lay_bins(&a->conditions.map, &a->question, &bins);
	if (reply->type)
		sheet_csv(&bins, &reply->form, &reply->body.out);
	else
		write_body(&reply->body, a, &bins);
	span_keep(&a->span, reply);
	reply->standing.before_minute = INT64_MAX; /* days are whole */
	sheet_release(&bins);
}

void answer_efficiency_map(
	struct http *http, const struct request *request, struct reply *reply)
{
	struct asked a = {.question = {.config = http->config}};
	if (form_read(request, reply) && climate_read(request, reply, &a.climate) &&
		span_times(request, CONDITIONS_DAYS, reply, &a.span))
		answer_asked(http, &a, reply);
	conditions_release(&a.conditions);
	span_release(&a.span);
}
