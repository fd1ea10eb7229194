/*
 * Lines that are one JSON object (RFC 8259), read pair by pair: whole numbers of 64 bits
 * come out to the last digit, texts may hold anything, and of every value the text is
 * known that stands in the line. Objects and arrays within are passed over.
 */
#ifndef INGEST_FLAT_JSON_H
#define INGEST_FLAT_JSON_H

#include <heatbook/base.h>

enum flat_type {
	FLAT_ABSENT,
	FLAT_TEXT,
	FLAT_INTEGER,
	FLAT_TRUE,
	FLAT_FALSE,
	FLAT_NULL,
	FLAT_OTHER
};

struct flat_value {
	enum flat_type type;
	int64_t integer;
	size_t at; /* of a text in the scratch buffer */
	size_t length;
	const char *raw; /* as it stands in the line */
	size_t raw_length;
};

struct flat_json {
	const char *p;
	const char *end;
	struct buffer *scratch; /* decoded texts; it never moves while a line is read */
	const char *why;        /* the first fault, a static sentence */
};

/* A pair; the name lies in the scratch buffer. False (flat_json_fail()) ends reading. */
typedef bool flat_pair(struct flat_json *json, const char *name, size_t length,
	const struct flat_value *value, void *context);
/* Reads the line; `scratch` is reset first. False with json->why: it is no such object,
 * or `pair` did not want it. */
bool flat_json_read(struct flat_json *json, const char *line, size_t length,
	struct buffer *scratch, flat_pair *pair, void *context);
/* Notes the first fault; answers false. */
bool flat_json_fail(struct flat_json *json, const char *why);

#endif
