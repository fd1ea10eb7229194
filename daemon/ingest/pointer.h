/*
 * JSON as the decoder needs it: parsed within limits, addressed by JSON Pointer (RFC
 * 6901).
 */
#ifndef INGEST_POINTER_H
#define INGEST_POINTER_H

#include <heatbook/reading.h>

#include <cJSON.h>

/* Deepest nesting of objects and arrays that is parsed. */
#define JSON_DEPTH_MOST 16

/* Parses a stripped payload: one value and nothing behind it. NULL, with the reason
 * (BAD_JSON or BAD_TOO_DEEP), when it is not that. To be released with cJSON_Delete(). */
cJSON *json_parse(const char *text, size_t length, enum bad_reason *ret_reason);

/* The value at a pointer ("" is the root itself), or NULL. Of equal keys of an object the
 * first counts, and *repeated becomes true. */
const cJSON *json_pointer(const cJSON *root, const char *pointer, bool *repeated);

#endif
