/*
 * What both answers about conditions begin with: /v1/efficiency-map and /v1/declared.
 */
#ifndef HEATBOOK_HTTP_CONDITIONS_JSON_H
#define HEATBOOK_HTTP_CONDITIONS_JSON_H

#include "face.h"

#include <heatbook/conditions.h>

/* So many days without `from`; so many that were not looked at yet are looked at. */
enum { CONDITIONS_DAYS = 365, CONDITIONS_BUDGET = 14 };

/* Opens the object: span, boundary, version, corrections, and what figures rest on. */
void json_conditions(struct json *json, const struct config *config,
	const struct span *span, const struct conditions *conditions);

#endif
