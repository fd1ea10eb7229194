/*
 * /v1/circuit: the heating circuit's flow and pressure, a row a day, how both go, when it
 * was topped up; and when the cylinder was last at 60 °C, which is told and never advised
 * on. Whether a fall is a fault is for /v1/findings to say.
 */
#include "basis.h"
#include "face.h"
#include "insight_json.h"
#include "sheet.h"

#include <heatbook/circuit.h>

#include <math.h>

enum { DAYS_DEFAULT = 90, LOOK_BUDGET = 14 };
enum { LPM_DECIMALS = 3, BAR_DECIMALS = 4, C_DECIMALS = 2 };

static const char caution[] =
	"How hot water must be stored is a question of health and of scalding (public "
	"guidance asks for storage at 60 °C or more); this is what a sensor said, and no "
	"advice.";

#define OF(member) offsetof(struct circuit_point, member)
static const struct {
	const char *name, *ucum;
	int decimals;
	size_t offset;
} columns[] = {
	{"heating_lpm", "L/min", LPM_DECIMALS, OF(heating_lpm)},
	{"hot_water_lpm", "L/min", LPM_DECIMALS, OF(hot_water_lpm)},
	{"outdoor_c", "Cel", C_DECIMALS, OF(outdoor_c)},
	{"pressure_bar", "bar", BAR_DECIMALS, OF(bar)},
	{"water_c", "Cel", C_DECIMALS, OF(water_c)},
	{"cold_pressure_bar", "bar", BAR_DECIMALS, OF(cold_bar)},
	{"cylinder_c", "Cel", C_DECIMALS, OF(cylinder_c)},
	{"minutes_at_60", "min", 0, OF(hot_min)},
};

static struct cell *add(struct sheet *sheet, const char *name, const char *ucum,
	int decimals, bool instant)
{
	struct sheet_column c = {.ucum = ucum, .decimals = decimals, .instant = instant};
	(void)snprintf(c.name, sizeof(c.name), "%s", name);
	return sheet_add(sheet, &c);
}

static void lay_rows(const struct circuit *circuit, struct sheet *sheet)
{
	*sheet = (struct sheet){.rows = circuit->count};
	struct cell *t = add(sheet, "t", "s", SHEET_SECONDS, true);
	struct cell *t_end = add(sheet, "t_end", "s", SHEET_SECONDS, true);
	for (size_t i = 0; i < circuit->count; i++) {
		t[i] = (struct cell){true, circuit->points[i].start_ms};
		t_end[i] = (struct cell){true, circuit->points[i].end_ms};
	}
	for (size_t c = 0; c < ARRAY_LEN(columns); c++) {
		struct cell *cells = add(sheet, columns[c].name, columns[c].ucum,
			columns[c].decimals, false);
		for (size_t i = 0; i < circuit->count; i++) {
			const char *at = (const char *)&circuit->points[i];
			double v = *(const double *)(at + columns[c].offset);
			cells[i] = cell_of(v, columns[c].decimals);
		}
	}
}

static void write_value(struct json *json, const char *key, const struct circuit_value *v,
	const char *ucum, int decimals)
{
	json_insight_value(json, key, v->value, v->low, v->high, ucum, decimals);
}

static void write_flow(struct json *json, const char *key, const struct circuit_flow *f)
{
	json_object(json, key);
	json_integer(json, "days", (int64_t)f->days);
	write_value(json, "flow", &f->lpm, "L/min", LPM_DECIMALS);
	write_value(json, "a_month", &f->lpm_a_month, "L/min", LPM_DECIMALS);
	json_object_end(json);
}

static void write_stretch(struct json *json, const struct circuit_stretch *s)
{
	json_object(json, NULL);
	json_seconds(json, "from", s->from_ms);
	json_seconds(json, "to", s->to_ms);
	json_integer(json, "days", (int64_t)s->days);
	json_bool(json, "told", s->told);
	if (s->told) {
		write_value(json, "cold_pressure", &s->cold_bar, "bar", BAR_DECIMALS);
		write_value(json, "a_month", &s->bar_a_month, "bar", BAR_DECIMALS);
		json_seconds(json, "since", s->since_ms);
		write_value(json, "a_kelvin", &s->bar_a_kelvin, "bar/K", 5);
	}
	json_object_end(json);
}

static void write_evidence(struct json *json, const struct circuit *c)
{
	json_object(json, "evidence");
	json_integer(json, "days", (int64_t)c->span_days);
	json_integer(json, "days_looked_at", (int64_t)c->days_looked);
	write_flow(json, "heating", &c->heating);
	write_flow(json, "hot_water", &c->hot_water);
	json_number(json, "cold_c", CIRCUIT_COLD_C, 1);
	json_array(json, "stretches");
	for (size_t i = 0; i < c->stretch_count; i++)
		write_stretch(json, &c->stretches[i]);
	json_array_end(json);
	json_array(json, "top_ups");
	for (size_t i = 0; i < c->top_up_count; i++) {
		json_object(json, NULL);
		json_seconds(json, "t", c->top_ups[i].start_ms);
		json_number(json, "bar", c->top_ups[i].bar, BAR_DECIMALS);
		json_object_end(json);
	}
	json_array_end(json);
	json_number(json, "cylinder_days", c->cylinder_days, 0);
	if (c->last_hot_ms == INT64_MIN)
		json_null(json, "last_at_60");
	else
		json_seconds(json, "last_at_60", c->last_hot_ms);
	json_object_end(json);
}

static void write_body(struct json *json, const struct circuit *c,
	const struct span *span, const struct sheet *rows)
{
	json_insight_frame(json, &c->frame, span->note);
	json_insight(json, &c->answer);
	write_evidence(json, c);
	json_text(json, "caution", caution);
	sheet_json(rows, SHEET_WHOLE, span->by_rows, json);
	json_object(json, "units");
	sheet_json_units(rows, json);
	json_object_end(json);
}

void answer_circuit(struct http *http, const struct request *request, struct reply *reply)
{
	struct circuit circuit;
	struct sheet rows;
	struct span span = {0};
	if (!form_read(request, reply) ||
		!span_times(request, DAYS_DEFAULT, reply, &span))
		return;
	int r = circuit_ask(http->store, span.from_ms, span.to_ms, LOOK_BUDGET, &circuit);
	if (r != 0) {
		problem_query(reply, r);
		span_release(&span);
		return;
	}
	lay_rows(&circuit, &rows);
	if (reply->type)
		sheet_csv(&rows, &reply->form, &reply->body.out);
	else
		write_body(&reply->body, &circuit, &span, &rows);
	span_keep(&span, reply);
	reply->standing.before_minute = INT64_MAX; /* whole days, beyond the span */
	sheet_release(&rows);
	circuit_release(&circuit);
	span_release(&span);
}
