/*
 * Values with intervals as JSON. See insight_json.h.
 */
#include "insight_json.h"

static void write_value(struct json *json, const struct insight_value *value)
{
	json_object(json, value->name);
	json_number(json, "value", value->value, value->decimals);
	json_number(json, "low", value->low, value->decimals);
	json_number(json, "high", value->high, value->decimals);
	json_text(json, "unit", value->ucum);
	json_object_end(json);
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
