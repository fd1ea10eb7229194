/*
 * JSON payloads into cJSON's tree.
 */
#ifndef INGEST_JSON_H
#define INGEST_JSON_H

#include <heatbook/reading.h>

#include <cJSON.h>

/* Deepest nesting of objects and arrays that is parsed. */
#define JSON_DEPTH_MOST 16

/* A parser with the memory of its tree, which the next parse takes over. */
struct json;
struct json *json_new(void);
void json_free(struct json *json);

/* Parses a stripped payload: one value and nothing behind it. NULL, with the reason
 * (BAD_JSON or BAD_TOO_DEEP), when it is not that. The tree is valid until the next call;
 * its integers (valueint) are not set. */
const cJSON *json_parse(
	struct json *json, const char *text, size_t length, enum bad_reason *ret_reason);

#endif
