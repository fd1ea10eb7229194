/*
 * What the verbs import and imports answer alike as JSON.
 */
#ifndef IMPORT_JSON_H
#define IMPORT_JSON_H

#include "http/json.h"

#include <heatbook/import.h>

/* first and last, null where there is none. */
void import_json_span(struct json *json, bool any, int64_t first_ms, int64_t last_ms);
/* Days that were derived, and by whom; sealed ones. */
void import_json_derived(struct json *json, const struct import_report *report);

#endif
