/*
 * How every answer of insight says its values, or what is missing to give them.
 */
#ifndef HEATBOOK_HTTP_INSIGHT_JSON_H
#define HEATBOOK_HTTP_INSIGHT_JSON_H

#include <heatbook/insight.h>

#include "json.h"

/* Members `answer`, an object of values with low, high and unit, or null where there is
 * none; and `missing`, an array of sentences. */
void json_insight(struct json *json, const struct insight_answer *answer);

#endif
