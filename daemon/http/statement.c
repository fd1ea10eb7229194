/*
 * /v1/statement: one sheet of a span of whole local days, in the frame of every answer of
 * insight: figures with intervals, what is missing, and under `evidence` all that they
 * rest on. The same body is the report's, with --statement --json.
 *
 * An anonymous one has months where instants stand, and no word of the configuration.
 */
#include "basis.h"
#include "face.h"
#include "insight_json.h"

#include <heatbook/clock.h>
#include <heatbook/correction.h>
#include <heatbook/rules.h>
#include <heatbook/statement.h>
#include <heatbook/uncertainty.h>

#include <math.h>
#include <string.h>

enum { LOOK_BUDGET = 14, PART_DECIMALS = 4, LIMIT_DECIMALS = 4 };

/* ---- the body ---- */

/* An instant, or its month. */
static void write_when(
	struct json *json, const char *key, const struct statement *s, int64_t t_ms)
{
	char month[32];
	statement_when(s, t_ms, month);
	if (t_ms == INT64_MAX)
		json_null(json, key);
	else if (s->anonymous)
		json_text(json, key, month);
	else
		json_seconds(json, key, t_ms);
}

static void write_kwh(struct json *json, const char *key, const struct cell *cell)
{
	if (cell->known)
		json_scaled(json, key, cell->value, KWH_DECIMALS);
	else
		json_null(json, key);
}

static void write_efficiency(struct json *json, const struct figures *f)
{
	const struct cell *c = f->cells;
	double value = c[COP].known ? (double)c[COP].value / 1e6 : (double)NAN;
	double u = c[COP].known && c[COP_UNCERTAINTY].known
			   ? (double)c[COP_UNCERTAINTY].value / 1e6
			   : (double)NAN;
	json_number(json, "efficiency", value, RATIO_DECIMALS);
	json_number(json, "efficiency_low", value - u, RATIO_DECIMALS);
	json_number(json, "efficiency_high", value + u, RATIO_DECIMALS);
}

static void write_meter_names(
	struct json *json, const char *key, const struct config *config, unsigned set)
{
	json_array(json, key);
	for (size_t i = 0; i < config->meter_count; i++)
		if (set & 1u << i)
			json_text(json, NULL, config->meters[i].name);
	json_array_end(json);
}

static void write_boundaries(struct json *json, const struct statement *s)
{
	json_array(json, "boundaries");
	for (size_t i = 0; i < s->offer_count; i++) {
		const struct statement_offer *offer = &s->offers[i];
		const struct boundary *b = &offer->boundary;
		json_object(json, NULL);
		json_text(json, "name", b->name);
		write_efficiency(json, &offer->whole);
		write_meter_names(json, "meters", &s->config, b->meters);
		write_meter_names(json, "count_as_heat", &s->config, b->heat_plus);
		write_meter_names(json, "taken_off_heat", &s->config, b->heat_less);
		json_object_end(json);
	}
	json_array_end(json);
}

static void write_modes(struct json *json, const struct statement *s)
{
	struct rules_needed needed = rules_needed(&s->config);
	json_array(json, "modes");
	for (int m = 0; m < MODE_COUNT; m++) {
		const struct cell *c = s->modes[m].cells;
		if (c[OBSERVED_S].value == 0 && c[HEAT].value == 0 &&
			c[ELECTRICITY].value == 0)
			continue;
		json_object(json, NULL);
		json_text(json, "mode", mode_name((enum mode)m));
		json_text(json, "told_by",
			m == MODE_UNASSIGNED               ? NULL
			: rules_tell(needed, (enum mode)m) ? "rule"
							   : "flag");
		json_seconds(json, "observed_s", c[OBSERVED_S].value);
		write_kwh(json, "heat_kwh", &c[HEAT]);
		write_kwh(json, "electricity_kwh", &c[ELECTRICITY]);
		write_efficiency(json, &s->modes[m]);
		json_object_end(json);
	}
	json_array_end(json);
}

static void write_meters(struct json *json, const struct statement *s)
{
	json_array(json, "meters");
	for (size_t i = 0; i < s->config.meter_count; i++) {
		const struct meter_config *meter = &s->config.meters[i];
		json_object(json, NULL);
		json_text(json, "name", meter->name);
		json_array(json, "feeds");
		for (unsigned device = 1; device <= DEVICE_SOURCE; device <<= 1)
			if (meter->feeds & device)
				json_text(json, NULL, device_name((enum device)device));
		json_array_end(json);
		json_text(json, "read_by", statement_read_by(meter));
		json_text(json, "class", meter->class);
		json_number(json, "limit_percent", meter->limit_percent, LIMIT_DECIMALS);
		json_bool(json, "apparent", meter->apparent);
		write_kwh(json, "electricity_kwh", &s->meters[i]);
		json_object_end(json);
	}
	json_array_end(json);
}

static void write_sensors(struct json *json, const struct statement *s)
{
	const struct plant_config *p = &s->config.plant;
	json_array(json, "sensors");
	for (size_t i = 0; i < s->config.channel_count; i++) {
		const struct channel_config *c = &s->config.channels[i];
		bool percent = c->role == ROLE_FLOW_RATE;
		if (!statement_names_sensor(c->role))
			continue;
		json_object(json, NULL);
		json_text(json, "name", c->name);
		json_text(json, "role", role_name(c->role));
		json_text(json, "class", c->class);
		json_number(json, "limit", c->limit, LIMIT_DECIMALS);
		json_text(json, "limit_unit", percent ? "%" : "K");
		json_bool(json, "strapped", c->strapped);
		json_object_end(json);
	}
	json_array_end(json);
	json_object(json, "limits");
	json_text(json, "pair_class", p->pair_class);
	json_number(json, "pair_k", p->pair_limit.k, LIMIT_DECIMALS);
	json_number(json, "pair_percent", p->pair_limit.percent, LIMIT_DECIMALS);
	json_number(json, "flow_percent", p->flow_limit_percent, LIMIT_DECIMALS);
	json_text(json, "heat_source_class", p->heat_class);
	json_number(json, "heat_source_percent", statement_heat_percent(&s->config),
		LIMIT_DECIMALS);
	json_object_end(json);
}

static void write_corrections(struct json *json, const struct statement *s)
{
	json_array(json, "corrections");
	for (size_t i = 0; i < s->config.correction_count; i++) {
		const struct correction_config *c = &s->config.corrections[i];
		if (!correction_touches(c, s->from_ms, s->to_ms))
			continue;
		json_object(json, NULL);
		json_text(json, "name", c->name);
		json_text(json, "channel", s->config.channels[c->channel].name);
		write_when(json, "from", s, c->from_ms);
		write_when(json, "to", s, c->to_ms);
		json_correction_terms(json, &s->config, c);
		json_object_end(json);
	}
	json_array_end(json);
	json_older_days(json, &s->older);
	json_integer(json, "sealed_days", s->sealed_days);
}

static void write_weather(struct json *json, const struct statement *s)
{
	if (!s->has_outdoor) {
		json_null(json, "degree_days");
		return;
	}
	json_object(json, "degree_days");
	json_text(json, "method", degree_method_name(DEGREE_INTEGRAL));
	json_number(json, "base_c", s->config.plant.degree_base_c, 2);
	json_integer(json, "days", s->degrees.days);
	json_integer(json, "missing_days", s->degrees.missing);
	json_integer(json, "days_from_hours", s->degrees.from_hours);
	json_object_end(json);
}

static void write_findings(struct json *json, const struct statement *s)
{
	const struct finding_list *list = &s->findings.list;
	json_array(json, "findings");
	for (size_t i = 0; i < list->count; i++) {
		const struct finding *f = &list->items[i];
		json_object(json, NULL);
		json_text(json, "kind", finding_name(f->kind));
		json_text(json, "title", finding_title(f->kind));
		json_text(json, "subject", f->subject[0] ? f->subject : NULL);
		write_when(json, "since", s, f->since_ms);
		json_bool(json, "since_before", f->began_before);
		write_when(json, "until", s, f->until_ms);
		json_bool(json, "lasts", f->lasts);
		json_finding_size(json, f);
		json_text(json, "evidence", f->evidence);
		json_object_end(json);
	}
	json_array_end(json);
}

static void write_cautions(struct json *json, const struct statement *s)
{
	json_array(json, "cautions");
	const char *caution;
	for (size_t i = 0; (caution = statement_caution(s, i)); i++)
		json_text(json, NULL, caution);
	json_array_end(json);
}

static void write_software(struct json *json, const struct statement *s)
{
	char mapping[24];
	(void)snprintf(mapping, sizeof(mapping), "%016llx",
		(unsigned long long)s->config.mapping_digest);
	json_object(json, "software");
	json_text(json, "name", "heatbook");
	json_text(json, "version", HEATBOOK_VERSION);
	json_integer(json, "schema", s->schema);
	json_text(json, "mapping", s->anonymous ? NULL : mapping);
	json_object_end(json);
}

static void write_coverage(struct json *json, const struct statement *s)
{
	json_object(json, "coverage");
	json_number(json, "heat", statement_coverage(s, HEAT_OBSERVED_S), PART_DECIMALS);
	json_number(json, "electricity", statement_coverage(s, ELECTRICITY_OBSERVED_S),
		PART_DECIMALS);
	json_number(json, "efficiency", statement_coverage(s, PAIRED_S), PART_DECIMALS);
	json_object_end(json);
}

static void write_parts(struct json *json, const struct statement *s)
{
	static const struct {
		const char *name;
		enum column column;
	} parts[] = {{"bridged_heat_kwh", BRIDGED_HEAT},
		{"bridged_electricity_kwh", BRIDGED_ELECTRICITY},
		{"spread_heat_kwh", SPREAD_HEAT},
		{"spread_electricity_kwh", SPREAD_ELECTRICITY},
		{"provisional_heat_kwh", PROVISIONAL_HEAT},
		{"provisional_electricity_kwh", PROVISIONAL_ELECTRICITY},
		{"unplaced_heat_kwh", UNPLACED_HEAT},
		{"unplaced_electricity_kwh", UNPLACED_ELECTRICITY}};
	json_object(json, "parts");
	for (size_t i = 0; i < ARRAY_LEN(parts); i++)
		write_kwh(json, parts[i].name, &s->whole.cells[parts[i].column]);
	json_object_end(json);
}

static void write_evidence(struct json *json, const struct statement *s)
{
	json_object(json, "evidence");
	json_integer(json, "days", s->days);
	json_bool(json, "open", s->open);
	write_coverage(json, s);
	write_parts(json, s);
	json_integer(json, "coverage_factor", (int64_t)COVERAGE_FACTOR);
	json_text(json, "largest_term", s->largest_term);
	json_text(json, "no_boundary", s->no_boundary[0] ? s->no_boundary : NULL);
	write_boundaries(json, s);
	write_modes(json, s);
	json_text(json, "heat_source", statement_heat_source(&s->config));
	write_meters(json, s);
	write_sensors(json, s);
	json_fluid(json, &s->config.plant);
	json_estimates(json, &s->config, &s->boundary, s->sums);
	write_corrections(json, s);
	write_weather(json, s);
	write_findings(json, s);
	write_cautions(json, s);
	write_software(json, s);
	json_object_end(json);
}

static void write_body(struct json *json, const struct statement *s, const char *note)
{
	json_object(json, NULL);
	json_bool(json, "anonymous", s->anonymous);
	json_text(json, "plant", s->config.plant.name);
	json_text(json, "zone", s->zone);
	write_when(json, "from", s, s->from_ms);
	write_when(json, "to", s, s->anonymous ? s->to_ms - 1 : s->to_ms);
	if (note[0])
		json_text(json, "note", note);
	json_integer(json, "version", s->anonymous ? 0 : s->version);
	json_text(json, "boundary", s->boundary.name[0] ? s->boundary.name : NULL);
	json_insight(json, &s->answer);
	write_evidence(json, s);
}

void http_statement_body(const struct statement *statement, struct buffer *out)
{
	struct json json = {0};
	write_body(&json, statement, "");
	json_object_end(&json);
	buffer_add(out, json.out.data, json.out.length);
	buffer_add_text(out, "\n");
	buffer_release(&json.out);
}

/* ---- the resource ---- */

/* Whole days; what is not over ends now. */
static bool span_of(const struct request *request, struct reply *reply, struct span *span,
	bool *ret_open)
{
	static const struct duration day = {.days = 1};
	int64_t now_ms = clock_now_ms();
	now_ms -= now_ms % MS_PER_MIN;
	span->step = day;
	span->step_text = "P1D";
	if (!span_read(request, 1, reply, span) || !span_whole_days(request, span, reply))
		return false;
	*ret_open = span->to_ms > now_ms;
	if (*ret_open) {
		span->to_ms = now_ms;
		span->open = true; /* and the same words are another span a minute on */
		span->clock_from_ms = now_ms;
		span->clock_until_ms = now_ms + MS_PER_MIN;
	}
	if (span->from_ms < span->to_ms)
		return true;
	problem_with(reply, "from", request_value(request, "from"),
		"that span has not begun yet");
	return false;
}

void answer_statement(
	struct http *http, const struct request *request, struct reply *reply)
{
	static const char *const yes_no[] = {"no", "yes"};
	_cleanup_(freep) struct statement *statement = xcalloc(1, sizeof(*statement));
	struct statement_asked asked = {.config = http->config, .budget = LOOK_BUDGET};
	struct span span = {0};
	char why[256];
	if (!boundary_read(http->config, request, false, reply, &asked.boundary) ||
		!choice_read(request, reply, "anonymous", yes_no, &asked.anonymous) ||
		!span_of(request, reply, &span, &asked.open)) {
		span_release(&span);
		return;
	}
	struct boundary none;
	if (!asked.boundary.name[0] && boundary_find(http->config, NULL, &none, why) != 0)
		asked.no_boundary = why;
	asked.from_ms = span.from_ms;
	asked.to_ms = span.to_ms;
	int r = statement_ask(http->store, &asked, statement);
	if (r == 0) {
		write_body(&reply->body, statement, span.note);
		span_keep(&span, reply);
		reply->standing.before_minute = INT64_MAX; /* findings look beyond it */
	} else {
		problem_query(reply, r);
	}
	statement_release(statement);
	span_release(&span);
}
