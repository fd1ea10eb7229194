/*
 * The one writer of bodies: JSON (RFC 8259) into a buffer, numbers with fixed decimals.
 * Keys are NULL inside arrays. No NaN: it is null.
 */
#ifndef HEATBOOK_HTTP_JSON_H
#define HEATBOOK_HTTP_JSON_H

#include <heatbook/base.h>

struct json {
	struct buffer out;
	bool comma; /* something precedes on this level */
};

void json_object(struct json *json, const char *key);
void json_object_end(struct json *json);
void json_array(struct json *json, const char *key);
void json_array_end(struct json *json);

/* NULL is null; bytes that are no UTF-8 become U+FFFD. */
void json_text(struct json *json, const char *key, const char *text);
void json_integer(struct json *json, const char *key, int64_t value);
void json_null(struct json *json, const char *key);
/* A value that is JSON already. */
void json_written(struct json *json, const char *key, const char *value);
void json_bool(struct json *json, const char *key, bool value);
/* value / 10^decimals, exactly, with all its decimals. */
void json_scaled(struct json *json, const char *key, int64_t value, int decimals);
/* Seconds of so many milliseconds: decimals only when it is not a whole second. */
void json_seconds(struct json *json, const char *key, int64_t value_ms);
/* A value in its last decimal, rounded; false when it is not finite. */
bool json_scale(double value, int decimals, int64_t *ret);
/* Rounded to the decimals; null when it is not finite. */
void json_number(struct json *json, const char *key, double value, int decimals);

#endif
