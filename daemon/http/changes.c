/*
 * /v1/changes: of each noted change whether it helped, by how much, how sure that is, and
 * what it rests on; with the days that were compared, for a picture of sums that run.
 */
#include "basis.h"
#include "face.h"
#include "insight_json.h"
#include "sheet.h"

#include <heatbook/calendar.h>
#include <heatbook/changes.h>
#include <heatbook/clock.h>

#include <math.h>
#include <string.h>

enum { KWH = 3, CELSIUS = 2, TERM = 6, SHARE = 4 };

static void write_use(struct json *json, const char *key, const struct change_days *days,
	const struct comparison_use *use)
{
	json_object(json, key);
	json_integer(json, "days", (int64_t)days->days);
	json_integer(json, "compared", (int64_t)use->used);
	json_integer(json, "little_known", (int64_t)days->little);
	json_integer(json, "weather_unknown", (int64_t)days->no_weather);
	json_integer(json, "too_warm", (int64_t)use->too_warm);
	json_integer(json, "weather_not_seen_before", (int64_t)use->not_seen);
	json_number(json, "outdoor_least_c", use->least_c, CELSIUS);
	json_number(json, "outdoor_most_c", use->most_c, CELSIUS);
	json_number(json, "outdoor_mean_c", use->mean_c, CELSIUS);
	json_object_end(json);
}

static void write_model(
	struct json *json, const char *key, const struct comparison_fit *fit)
{
	if (!fit->known) {
		json_null(json, key);
		return;
	}
	json_object(json, key);
	json_integer(json, "days", (int64_t)fit->days);
	json_integer(json, "terms", (int64_t)fit->terms);
	json_integer(json, "terms_held", (int64_t)fit->held);
	json_number(json, "outdoor_slope", fit->slope, TERM);
	json_number(json, "outdoor_slope_sd", fit->slope_sd, TERM);
	json_number(json, "r_squared", fit->r_squared, SHARE);
	json_number(json, "cv_rmse_percent", fit->cv_rmse_percent, CELSIUS);
	json_number(json, "autocorrelation", fit->rho, SHARE);
	json_object_end(json);
}

static void write_evidence(struct json *json, const struct config *config,
	const struct change_judged *judged)
{
	const struct comparison *c = &judged->comparison;
	json_object(json, "evidence");
	json_text(json, "verdict", comparison_verdict_words(c->verdict));
	json_text(json, "verdict_by_efficiency",
		comparison_verdict_words(c->by_efficiency));
	json_text(json, "verdict_by_heat", comparison_verdict_words(c->by_heat));
	json_integer(json, "days_least", COMPARISON_DAYS_LEAST);
	json_number(json, "heating_below_c", c->heating_below_c, CELSIUS);
	write_use(json, "before", &judged->before, &c->before);
	write_use(json, "after", &judged->after, &c->after);
	json_object(json, "models");
	for (int i = 0; i < COMPARISON_MODELS; i++)
		write_model(json, comparison_model_name((enum comparison_model)i),
			&c->fits[i]);
	json_object_end(json);
	json_corrections(json, "corrections", config, CORRECTIONS_OF_ACCOUNTS,
		judged->from_ms, judged->to_ms);
	json_object_end(json);
}

/* ---- days ---- */

enum { DAY_T, DAY_AFTER, DAY_HEAT, DAY_HEAT_SUM, DAY_E, DAY_E_SUM, DAY_COLUMNS };

static const struct sheet_column columns[DAY_COLUMNS] = {
	[DAY_T] = {.name = "t", .ucum = "s", .decimals = SHEET_SECONDS, .instant = true},
	[DAY_AFTER] = {.name = "after", .decimals = 0},
	[DAY_HEAT] = {.name = "heat_kwh", .ucum = "kW.h", .decimals = KWH},
	[DAY_HEAT_SUM] = {.name = "heat_sum_kwh", .ucum = "kW.h", .decimals = KWH},
	[DAY_E] = {.name = "electricity_kwh", .ucum = "kW.h", .decimals = KWH},
	[DAY_E_SUM] = {.name = "electricity_sum_kwh", .ucum = "kW.h", .decimals = KWH},
};

static void lay_out(const struct comparison *c, struct sheet *sheet)
{
	struct cell *cells[DAY_COLUMNS];
	double heat = 0.0, electricity = 0.0;
	*sheet = (struct sheet){.rows = c->point_count};
	for (int i = 0; i < DAY_COLUMNS; i++)
		cells[i] = sheet_add(sheet, &columns[i]);
	for (size_t i = 0; i < c->point_count; i++) {
		const struct comparison_point *point = &c->points[i];
		heat += point->heat_off_kwh;
		electricity += point->electricity_off_kwh;
		cells[DAY_T][i] = (struct cell){true, change_day_start(point->day)};
		cells[DAY_AFTER][i] = (struct cell){true, point->after};
		cells[DAY_HEAT][i] = cell_of(point->heat_off_kwh, KWH);
		cells[DAY_HEAT_SUM][i] = cell_of(heat, KWH);
		cells[DAY_E][i] = cell_of(point->electricity_off_kwh, KWH);
		cells[DAY_E_SUM][i] = cell_of(electricity, KWH);
	}
}

static void write_days(struct json *json, const struct comparison *c)
{
	struct sheet sheet;
	lay_out(c, &sheet);
	json_object(json, "measured_less_predicted");
	sheet_json(&sheet, SHEET_WHOLE, false, json);
	json_object_end(json);
	sheet_release(&sheet);
}

/* ---- the answer ---- */

static void write_change(struct json *json, const struct config *config,
	const struct change_judged *judged)
{
	json_object(json, NULL);
	json_text(json, "name", judged->change->name);
	json_text(json, "what", judged->change->what);
	json_seconds(json, "at", judged->change->at_ms);
	json_seconds(json, "from", judged->from_ms);
	json_seconds(json, "to", judged->to_ms);
	json_insight(json, &judged->answer);
	write_evidence(json, config, judged);
	write_days(json, &judged->comparison);
	json_object_end(json);
}

static bool which_read(const struct config *config, const struct request *request,
	struct reply *reply, size_t *ret)
{
	const char *name = request_value(request, "change");
	*ret = CHANGES_ALL;
	if (!name)
		return true;
	for (size_t i = 0; i < config->change_count; i++)
		if (strcmp(config->changes[i].name, name) == 0) {
			*ret = i;
			return true;
		}
	const char **names = xcalloc(config->change_count + 1, sizeof(*names));
	for (size_t i = 0; i < config->change_count; i++)
		names[i] = config->changes[i].name;
	problem_with(reply, "change", name, "there is no [change %s]", name);
	problem_allowed(reply, names, config->change_count);
	free(names);
	return false;
}

static void write_body(struct json *json, const struct config *config,
	const struct boundary *boundary, const struct changes *changes)
{
	const struct insight_days frame = {.config = config,
		.boundary = *boundary,
		.from_ms = changes->from_ms,
		.to_ms = changes->to_ms,
		.version = changes->version,
		.older = changes->older};
	json_insight_frame(json, &frame, "");
	json_fluid(json, &config->plant);
	json_estimates(json, config, boundary, NULL);
	json_array(json, "changes");
	for (size_t i = 0; i < changes->count; i++)
		write_change(json, config, &changes->items[i]);
	json_array_end(json);
	json_array(json, "missing");
	if (config->change_count == 0)
		json_text(json, NULL,
			"[change NAME]: no change is noted; a section with its day is "
			"all it takes");
	json_array_end(json);
}

void answer_changes(struct http *http, const struct request *request, struct reply *reply)
{
	struct boundary boundary;
	struct changes changes;
	size_t which;
	if (!boundary_read(http->config, request, true, reply, &boundary) ||
		!which_read(http->config, request, reply, &which))
		return;
	/* Only days that are over are compared: midnight is when something changes. */
	int64_t now_ms = clock_now_ms();
	struct date today = calendar_date(now_ms);
	int64_t day_ms = calendar_day_start(today);
	int r = changes_ask(http->store, &boundary, which, day_ms, &changes);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	write_body(&reply->body, http->config, &boundary, &changes);
	reply->cache_s = 60;
	reply->standing = (struct standing){.stands = true,
		.from_ms = day_ms,
		.until_ms = calendar_day_start(calendar_add(today, 0, 0, 1)),
		.before_minute = day_ms / MS_PER_MIN};
	changes_release(&changes);
}
