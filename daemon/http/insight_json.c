/*
 * Values with intervals as JSON. See insight_json.h.
 */
#include "insight_json.h"

#include "basis.h"

void json_insight_value(struct json *json, const char *key, double value, double low,
	double high, const char *ucum, int decimals)
{
	json_object(json, key);
	json_number(json, "value", value, decimals);
	json_number(json, "low", low, decimals);
	json_number(json, "high", high, decimals);
	json_text(json, "unit", ucum);
	json_object_end(json);
}

void json_insight_frame(
	struct json *json, const struct insight_days *days, const char *note)
{
	json_object(json, NULL);
	json_text(json, "zone", days->config->plant.zone);
	json_seconds(json, "from", days->from_ms);
	json_seconds(json, "to", days->to_ms);
	if (note[0])
		json_text(json, "note", note);
	json_text(json, "boundary", days->boundary.name[0] ? days->boundary.name : NULL);
	json_integer(json, "version", days->version);
	json_older_days(json, &days->older);
	json_corrections(json, "corrections", days->config, CORRECTIONS_OF_ALL,
		days->from_ms, days->to_ms);
}

static void write_value(struct json *json, const struct insight_value *v)
{
	json_insight_value(
		json, v->name, v->value, v->low, v->high, v->ucum, v->decimals);
}

void json_insight(struct json *json, const struct insight_answer *answer)
{
	if (answer->count == 0)
		json_null(json, "answer");
	else {
		json_object(json, "answer");
		for (size_t i = 0; i < answer->count; i++)
			write_value(json, &answer->values[i]);
		json_object_end(json);
	}
	json_array(json, "missing");
	for (size_t i = 0; i < answer->missing_count; i++)
		json_text(json, NULL, answer->missing[i]);
	json_array_end(json);
}
