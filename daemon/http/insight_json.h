/*
 * How every answer of insight says its values, or what is missing to give them.
 */
#ifndef HEATBOOK_HTTP_INSIGHT_JSON_H
#define HEATBOOK_HTTP_INSIGHT_JSON_H

#include <heatbook/insight.h>
#include <heatbook/insight_days.h>

#include "json.h"

/* Members `answer`, an object of values with low, high and unit, or null where there is
 * none; and `missing`, an array of sentences. */
void json_insight(struct json *json, const struct insight_answer *answer);
/* An object with value, low, high and unit, as those of `answer`. */
void json_insight_value(struct json *json, const char *key, double value, double low,
	double high, const char *ucum, int decimals);
/* The first members of an answer about days, in an object that is opened: zone, from, to,
 * note (unless it is ""), boundary, version, older days, corrections. */
void json_insight_frame(
	struct json *json, const struct insight_days *days, const char *note);

#endif
