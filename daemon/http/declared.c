/*
 * /v1/declared: steady heating beside what the unit's maker declares, a row a point.
 *
 * At the unit's boundary. Declared figures are of the unit with the share of its pump
 * that EN 14511 counts, so a boundary that holds all of the pump's electricity is a
 * little stricter: the answer names it.
 */
#include "conditions_json.h"
#include "insight_json.h"
#include "sheet.h"

#include <math.h>

enum {
	POINT_OUTDOOR,
	POINT_FLOW,
	POINT_COP,
	POINT_CAPACITY,
	POINT_WINDOWS,
	POINT_MINUTES,
	POINT_HEAT,
	POINT_ELECTRICITY,
	POINT_MEASURED,
	POINT_DECLARED,
	POINT_RATIO,
	POINT_RATIO_UNCERTAINTY,
	POINT_ENOUGH,
	POINT_LOAD,
	POINT_LOAD_SHARE,
	POINT_FREQUENCY,
	POINT_COLUMNS
};
static const struct sheet_form point_columns[POINT_COLUMNS] = {
	[POINT_OUTDOOR] = {"outdoor_c", "Cel", 2},
	[POINT_FLOW] = {"flow_c", "Cel", 2},
	[POINT_COP] = {"point_cop", "1", RATIO_DECIMALS},
	[POINT_CAPACITY] = {"capacity_kw", "kW", 3},
	[POINT_WINDOWS] = {"windows", "1", 0},
	[POINT_MINUTES] = {"minutes", "min", 0},
	[POINT_HEAT] = {"heat_kwh", "kW.h", KWH_DECIMALS},
	[POINT_ELECTRICITY] = {"electricity_kwh", "kW.h", KWH_DECIMALS},
	[POINT_MEASURED] = {"cop", "1", RATIO_DECIMALS},
	[POINT_DECLARED] = {"declared_cop", "1", RATIO_DECIMALS},
	[POINT_RATIO] = {"ratio", "1", RATIO_DECIMALS},
	[POINT_RATIO_UNCERTAINTY] = {"ratio_uncertainty", "1", RATIO_DECIMALS},
	[POINT_ENOUGH] = {"enough", "1", 0},
	[POINT_LOAD] = {"load_kw", "kW", 3},
	[POINT_LOAD_SHARE] = {"load_share", "1", 4},
	[POINT_FREQUENCY] = {"frequency_hz", "Hz", 1},
};

static struct cell put(double value, int column)
{
	return cell_of(value, point_columns[column].decimals);
}

static void fill(const struct declared_config *point, const struct declared_tally *t,
	const struct question *q, struct cell cells[POINT_COLUMNS])
{
	struct declared_ratio ratio = declared_ratio(t, q);
	double s = 60.0 * t->sums.minutes, j = t->sums.heat_j;
	bool any = t->windows > 0;
	cells[POINT_OUTDOOR] = put(point->outdoor_c, POINT_OUTDOOR);
	cells[POINT_FLOW] = put(point->flow_c, POINT_FLOW);
	cells[POINT_COP] = put(point->cop, POINT_COP);
	cells[POINT_CAPACITY] =
		put(point->capacity_w > 0.0 ? point->capacity_w / 1000.0 : (double)NAN,
			POINT_CAPACITY);
	cells[POINT_WINDOWS] = put((double)t->windows, POINT_WINDOWS);
	cells[POINT_MINUTES] = put(t->sums.minutes, POINT_MINUTES);
	cells[POINT_HEAT] = (struct cell){true, kwh_of(llround(j))};
	cells[POINT_ELECTRICITY] =
		(struct cell){true, kwh_of(llround(t->sums.electricity_j))};
	cells[POINT_MEASURED] = put(map_cop(&t->sums), POINT_MEASURED);
	cells[POINT_DECLARED] =
		put(any ? j / t->declared_j : (double)NAN, POINT_DECLARED);
	cells[POINT_RATIO] = put(ratio.value, POINT_RATIO);
	cells[POINT_RATIO_UNCERTAINTY] = put(ratio.expanded, POINT_RATIO_UNCERTAINTY);
	cells[POINT_ENOUGH] = put(declared_enough(t), POINT_ENOUGH);
	cells[POINT_LOAD] = put(any ? j / s / 1000.0 : (double)NAN, POINT_LOAD);
	cells[POINT_LOAD_SHARE] =
		put(any ? j / t->capacity_j : (double)NAN, POINT_LOAD_SHARE);
	cells[POINT_FREQUENCY] =
		put(any ? t->hz_minutes / t->sums.minutes : (double)NAN, POINT_FREQUENCY);
}

/* `ret_names` are the caller's to free, once the sheet is written. */
static void lay_points(const struct declared *declared, const struct question *q,
	struct sheet *sheet, const char ***ret_names)
{
	const struct config *config = q->config;
	struct cell *cells[POINT_COLUMNS], row[POINT_COLUMNS];
	const char **names = xcalloc(config->declared_count + 1, sizeof(*names));
	struct sheet_column point = {.name = "point", .words = names};
	*sheet = (struct sheet){.rows = config->declared_count};
	struct cell *points = sheet_add(sheet, &point);
	sheet_add_forms(sheet, point_columns, POINT_COLUMNS, cells);
	for (size_t i = 0; i < config->declared_count; i++) {
		names[i] = config->declared[i].name;
		points[i] = (struct cell){true, (int64_t)i};
		fill(&config->declared[i], &declared->points[i], q, row);
		for (int c = 0; c < POINT_COLUMNS; c++)
			cells[c][i] = row[c];
	}
	*ret_names = names;
}

/* ---- the answer ---- */

static void write_evidence(
	struct json *json, const struct conditions *c, const struct declared *declared)
{
	json_object(json, "evidence");
	json_integer(json, "days", (int64_t)c->days);
	json_integer(json, "days_looked_at", (int64_t)c->days_looked);
	json_integer(json, "windows", (int64_t)declared->windows);
	json_integer(json, "windows_near_points", (int64_t)declared->all.windows);
	json_integer(json, "windows_between_points", (int64_t)declared->between.windows);
	json_number(json, "minutes_near_points", declared->all.sums.minutes, 0);
	json_number(json, "within_outdoor_k", DECLARED_OUTDOOR_K, 1);
	json_number(json, "within_flow_k", DECLARED_FLOW_K, 1);
	json_integer(json, "least_windows", DECLARED_LEAST_WINDOWS);
	json_integer(json, "least_minutes", DECLARED_LEAST_MINUTES);
	json_object_end(json);
}

struct asked {
	struct question question;
	struct span span;
	struct conditions conditions;
	struct declared declared;
};

static void write_body(
	struct json *json, const struct asked *a, const struct sheet *points)
{
	struct insight_answer answer = {0};
	declared_answer(&a->declared, &a->question, &answer);
	json_conditions(json, a->question.config, &a->span, &a->conditions);
	json_insight(json, &answer);
	write_evidence(json, &a->conditions, &a->declared);
	sheet_json(points, SHEET_WHOLE, a->span.by_rows, json);
	json_object(json, "units");
	sheet_json_units(points, json);
	json_object_end(json);
	insight_release(&answer);
}

static void answer_asked(struct http *http, struct asked *a, struct reply *reply)
{
	struct sheet points;
	const char **names;
	int r = conditions_ask(http->store, a->span.from_ms, a->span.to_ms,
		CONDITIONS_BUDGET, &a->conditions);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	a->question.boundary = a->conditions.boundary;
	declared_compare(http->config, a->conditions.windows, a->conditions.window_count,
		&a->declared);
	lay_points(&a->declared, &a->question, &points, &names);
	if (reply->type)
		sheet_csv(&points, &reply->form, &reply->body.out);
	else
		write_body(&reply->body, a, &points);
	span_keep(&a->span, reply);
	reply->standing.before_minute = INT64_MAX; /* days are whole */
	sheet_release(&points);
	free(names);
}

void answer_declared(
	struct http *http, const struct request *request, struct reply *reply)
{
	struct asked a = {.question = {.config = http->config}};
	if (form_read(request, reply) &&
		span_times(request, CONDITIONS_DAYS, reply, &a.span))
		answer_asked(http, &a, reply);
	declared_release(&a.declared);
	conditions_release(&a.conditions);
	span_release(&a.span);
}
