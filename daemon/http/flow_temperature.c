/*
 * /v1/flow-temperature: what heating with cooler water would save, a row a lowering, and
 * on how many of the days seen the emitters would no longer give the heat.
 *
 * Of heating alone: hot water is left as it is. The electricity is the unit's, of what
 * meters the compressor, in whole minutes of heating.
 */
#include "face.h"
#include "insight_json.h"
#include "sheet.h"

#include <heatbook/flow_temperature.h>

#include <math.h>
#include <string.h>

enum { DAYS_DEFAULT = 365, LOOK_BUDGET = 14 };
enum { K_DECIMALS = 2, C_DECIMALS = 2, PERCENT_DECIMALS = 2, LAW_DECIMALS = 5 };

static const char caution[] =
	"Of heating alone. How hot water must be stored is a question of health and is "
	"not "
	"touched. A control that is set lower by a kelvin may lower the water by less; "
	"rooms "
	"whose emitters are small for them are the first to become colder.";

struct asked {
	double by_k[LOWERINGS_MOST];
	size_t count;
	struct span span;
	struct flow_temperature result;
};

/* ---- the question ---- */

static bool refuse(const char *given, struct reply *reply)
{
	static const char *const forms[] = {"kelvins above 0, 20 at most, such as 2.5",
		"up to ten of them, joined by commas, such as 1,2,5"};
	problem_with(reply, "by", given, "by names no such lowerings");
	problem_allowed(reply, forms, ARRAY_LEN(forms));
	return false;
}

static bool by_read(const struct request *request, struct reply *reply, struct asked *a)
{
	const char *given = request_value(request, "by");
	const char *at = given;
	while (at) {
		char text[32];
		size_t length = strcspn(at, ",");
		double *k = &a->by_k[a->count];
		if (length >= sizeof(text) || a->count == LOWERINGS_MOST)
			return refuse(given, reply);
		memcpy(text, at, length);
		text[length] = '\0';
		if (!preview_offset_read(text, LOWERING_MOST_K, k) || *k <= 0.0)
			return refuse(given, reply);
		a->count++;
		at = at[length] ? at + length + 1 : NULL;
	}
	return true;
}

/* ---- rows ---- */

static struct cell *column(
	struct sheet *sheet, const char *name, const char *ucum, int decimals)
{
	struct sheet_column c = {.ucum = ucum, .decimals = decimals};
	(void)snprintf(c.name, sizeof(c.name), "%s", name);
	return sheet_add(sheet, &c);
}

/* What a row says of a lowering, with its interval or without. */
#define OF(member) .offset = offsetof(struct lowering, member)
static const struct {
	const char *name, *ucum;
	int decimals;
	bool interval;
	size_t offset;
} columns[] = {
	{"by_k", "K", K_DECIMALS, .interval = false, OF(by_k)},
	{"saving_kwh", "kW.h", 3, .interval = true, OF(saving_kwh)},
	{"saving_percent", "%", PERCENT_DECIMALS, .interval = true, OF(saving_percent)},
	{"days_short", "d", 0, .interval = true, OF(days_short)},
	{"coldest_served_c", "Cel", C_DECIMALS, .interval = false, OF(coldest_served_c)},
	{"warmest_short_c", "Cel", C_DECIMALS, .interval = false, OF(warmest_short_c)},
	{"output_percent", "%", PERCENT_DECIMALS, .interval = false, OF(output_percent)},
	{"carnot_percent", "%", PERCENT_DECIMALS, .interval = false, OF(carnot_percent)},
	{"fit_2019_percent", "%", PERCENT_DECIMALS, .interval = false,
		OF(fit_2019_percent)},
	{"fit_2012_percent", "%", PERCENT_DECIMALS, .interval = false,
		OF(fit_2012_percent)},
};

static void lay_column(
	const struct flow_temperature *result, size_t c, int which, struct sheet *sheet)
{
	static const char *const ends[] = {"", "_low", "_high"};
	char name[64];
	(void)snprintf(name, sizeof(name), "%s%s", columns[c].name, ends[which]);
	struct cell *cells = column(sheet, name, columns[c].ucum, columns[c].decimals);
	for (size_t i = 0; i < result->count; i++) {
		const char *at = (const char *)&result->lowerings[i] + columns[c].offset;
		cells[i] = cell_of(((const double *)at)[which], columns[c].decimals);
	}
}

/* A value with its interval is three doubles in a row (struct flow_value). */
static void lay_rows(const struct flow_temperature *result, struct sheet *sheet)
{
	*sheet = (struct sheet){.rows = result->count};
	for (size_t c = 0; c < ARRAY_LEN(columns); c++)
		for (int which = 0; which < (columns[c].interval ? 3 : 1); which++)
			lay_column(result, c, which, sheet);
}

/* ---- the answer ---- */

static void write_value(struct json *json, const char *key, const struct flow_value *v,
	const char *ucum, int decimals)
{
	json_insight_value(json, key, v->value, v->low, v->high, ucum, decimals);
}

static void write_law(struct json *json, const struct flow_temperature *r)
{
	json_number(json, "carnot_share", r->carnot_share, 4);
	json_object(json, "carnot_share_changes");
	json_integer(json, "days", (int64_t)r->share_days);
	write_value(json, "by_flow", &r->share_by_flow, "K-1", LAW_DECIMALS);
	write_value(json, "by_source", &r->share_by_source, "K-1", LAW_DECIMALS);
	write_value(json, "by_output", &r->share_by_output, "1", LAW_DECIMALS);
	json_object_end(json);
	json_object(json, "emitters");
	json_integer(json, "days", (int64_t)r->emitter_days);
	json_number(json, "exponent", r->exponent, 2);
	json_bool(json, "exponent_said", r->exponent_said);
	write_value(json, "output_w", &r->emitters_w, "W", 2);
	json_number(json, "storage_kwh_per_k", r->storage_kwh_per_k, 4);
	json_object_end(json);
}

static void write_evidence(struct json *json, const struct asked *a)
{
	const struct flow_temperature *r = &a->result;
	json_object(json, "evidence");
	json_integer(json, "days", (int64_t)r->span_days);
	json_integer(json, "days_looked_at", (int64_t)r->days_looked);
	json_integer(json, "heating_days", (int64_t)r->days);
	json_number(json, "heat_kwh", r->heat_kwh, 3);
	json_number(json, "electricity_kwh", r->electricity_kwh, 3);
	json_number(json, "flow_c", r->flow_c, C_DECIMALS);
	json_number(json, "return_c", r->return_c, C_DECIMALS);
	json_number(json, "source_c", r->source_c, C_DECIMALS);
	json_number(json, "room_c", r->room_c, C_DECIMALS);
	json_bool(json, "room_assumed", r->room_assumed);
	json_number(json, "running_share", r->running_share, 4);
	write_law(json, r);
	json_object_end(json);
}

static void write_body(struct json *json, const struct asked *a, const struct sheet *rows)
{
	json_insight_frame(json, &a->result.frame, a->span.note);
	json_insight(json, &a->result.answer);
	write_evidence(json, a);
	json_text(json, "caution", caution);
	sheet_json(rows, SHEET_WHOLE, a->span.by_rows, json);
	json_object(json, "units");
	sheet_json_units(rows, json);
	json_object_end(json);
}

static void answer_asked(struct http *http, struct asked *a, struct reply *reply)
{
	struct sheet rows;
	int r = flow_temperature_ask(http->store, a->span.from_ms, a->span.to_ms, a->by_k,
		a->count, LOOK_BUDGET, &a->result);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	lay_rows(&a->result, &rows);
	if (reply->type)
		sheet_csv(&rows, &reply->form, &reply->body.out);
	else
		write_body(&reply->body, a, &rows);
	span_keep(&a->span, reply);
	reply->standing.before_minute = INT64_MAX; /* whole days, beyond the span */
	sheet_release(&rows);
}

void answer_flow_temperature(
	struct http *http, const struct request *request, struct reply *reply)
{
	struct asked a = {0};
	if (form_read(request, reply) && by_read(request, reply, &a) &&
		span_times(request, DAYS_DEFAULT, reply, &a.span))
		answer_asked(http, &a, reply);
	flow_temperature_release(&a.result);
	span_release(&a.span);
}
