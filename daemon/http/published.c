/*
 * Bodies of what is published: the present day and what was found, in the names, units
 * and roundings of /v1/energy and /v1/findings. Each says when it was written and of
 * which day or span it is, so that a retained message can be told from a present one.
 */
#include "basis.h"
#include "face.h"
#include "sheet.h"

#include <heatbook/calendar.h>

#include <math.h>

enum { SHARE_DECIMALS = 4 };

static double share(int64_t known_ms, int64_t of_ms)
{
	return of_ms > 0 ? (double)known_ms / (double)of_ms : (double)NAN;
}

/* How much of the day so far was known; null before its first minute has closed. */
static void write_coverage(
	struct json *json, const struct figures *figures, int64_t span_ms)
{
	const struct cell *c = figures->cells;
	json_object(json, "coverage");
	json_number(
		json, "heat", share(c[HEAT_OBSERVED_S].value, span_ms), SHARE_DECIMALS);
	json_number(json, "electricity", share(c[ELECTRICITY_OBSERVED_S].value, span_ms),
		SHARE_DECIMALS);
	json_number(json, "cop", share(c[PAIRED_S].value, span_ms), SHARE_DECIMALS);
	json_object_end(json);
}

static void begin(struct json *json, const struct config *config, int64_t now_ms)
{
	json_object(json, NULL);
	json_text(json, "plant", config->plant.name);
	json_text(json, "zone", config->plant.zone);
	json_seconds(json, "t", now_ms);
}

static void end(struct json *json, struct buffer *out)
{
	json_object_end(json);
	buffer_add(out, json->out.data, json->out.length);
	buffer_release(&json->out);
}

void http_today_body(const struct question *q, const struct energy_bucket *day,
	int64_t now_ms, struct buffer *out)
{
	struct figures figures = figures_whole(day, q);
	struct json json = {0};
	char date[16];
	begin(&json, q->config, now_ms);
	calendar_date_text(calendar_date(day->t_ms), date);
	json_text(&json, "date", date);
	json_seconds(&json, "from", day->t_ms);
	json_seconds(&json, "to", day->t_end_ms);
	json_text(&json, "boundary", q->boundary.name[0] ? q->boundary.name : NULL);
	json_figures(&json, &figures, HEAT);
	write_coverage(&json, &figures, day->t_end_ms - day->t_ms);
	json_budget(&json, "uncertainty", day, q);
	json_fluid(&json, &q->config->plant);
	json_estimates(&json, q->config, &q->boundary, day);
	json_corrections(&json, "corrections", q->config, CORRECTIONS_OF_ACCOUNTS,
		day->t_ms, day->t_end_ms);
	end(&json, out);
}

void http_findings_body(const struct config *config, const struct findings *findings,
	int64_t now_ms, struct buffer *out)
{
	const struct finding_list *list = &findings->list;
	struct json json = {0};
	begin(&json, config, now_ms);
	json_seconds(&json, "from", findings->from_ms);
	json_seconds(&json, "to", findings->to_ms);
	json_integer(&json, "days", findings->days);
	json_integer(&json, "days_looked_at", findings->days_looked);
	json_integer(&json, "count", (int64_t)list->count);
	json_array(&json, "findings");
	for (size_t i = 0; i < list->count && i < PUBLISHED_FINDINGS; i++) {
		json_object(&json, NULL);
		json_finding(&json, &list->items[i]);
		json_object_end(&json);
	}
	json_array_end(&json);
	end(&json, out);
}
