/*
 * Places in JSON, addressed by JSON Pointer (RFC 6901).
 */
#ifndef INGEST_POINTER_H
#define INGEST_POINTER_H

#include <heatbook/base.h>

#include <cJSON.h>

/* The value at a pointer ("" is the root itself), or NULL. Of equal keys of an object the
 * first counts, and *repeated becomes true. */
const cJSON *json_pointer(const cJSON *root, const char *pointer, bool *repeated);

#endif
