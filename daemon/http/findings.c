/*
 * /v1/findings: what is likely wrong, what it weighs, and what helps. The same body is
 * the section of the report's JSON.
 */
#include "face.h"
#include "insight_json.h"

#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/finding.h>

#include <math.h>

enum { DAYS_BACK = 400, LOOK_BUDGET = 14, SIZE_DECIMALS = 4, EFFECT_DECIMALS = 4 };

void json_finding_size(struct json *json, const struct finding *f)
{
	json_number(json, "size", f->size, SIZE_DECIMALS);
	json_text(json, "unit", f->unit);
	json_number(json, "effect", f->effect, EFFECT_DECIMALS);
}

void json_finding(struct json *json, const struct finding *f)
{
	json_text(json, "kind", finding_name(f->kind));
	json_text(json, "title", finding_title(f->kind));
	json_text(json, "subject", f->subject[0] ? f->subject : NULL);
	json_seconds(json, "since", f->since_ms);
	json_bool(json, "since_before", f->began_before);
	json_seconds(json, "until", f->until_ms);
	json_bool(json, "lasts", f->lasts);
	json_finding_size(json, f);
}

static void write_finding(struct json *json, const struct finding *f)
{
	json_object(json, NULL);
	json_finding(json, f);
	json_text(json, "evidence", f->evidence);
	json_text(json, "remedy", f->remedy);
	json_text(json, "correction", f->correction);
	json_object_end(json);
}

void json_findings(
	struct json *json, const char *key, const struct finding_list *findings)
{
	json_array(json, key);
	for (size_t i = 0; i < findings->count; i++)
		write_finding(json, &findings->items[i]);
	json_array_end(json);
}

static void write_body(struct json *json, const struct config *config,
	const struct span *span, const struct findings *findings)
{
	char season[32];
	const struct insight_days frame = {.config = config,
		.boundary = findings->boundary,
		.from_ms = findings->from_ms,
		.to_ms = findings->to_ms,
		.version = findings->version,
		.older = findings->older};
	json_insight_frame(json, &frame, span->note);
	(void)snprintf(season, sizeof(season), "%02d-%02d",
		config->plant.season_start.month, config->plant.season_start.day);
	json_text(json, "season_start", season);
	json_integer(json, "days", findings->days);
	json_integer(json, "days_looked_at", findings->days_looked);
	json_findings(json, "findings", &findings->list);
}

void answer_findings(
	struct http *http, const struct request *request, struct reply *reply)
{
	struct findings findings;
	struct span span = {0};
	if (!span_times(request, DAYS_BACK, reply, &span))
		return;
	int r = findings_ask(
		http->store, span.from_ms, span.to_ms, LOOK_BUDGET, &findings);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	write_body(&reply->body, http->config, &span, &findings);
	span_keep(&span, reply);
	reply->cache_s = 60;
	reply->standing.before_minute = INT64_MAX; /* they look beyond the span */
	findings_ask_release(&findings);
}
