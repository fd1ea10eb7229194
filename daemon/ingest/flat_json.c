/*
 * See flat_json.h. A small reader of our own, since no library at hand keeps whole
 * numbers of 64 bits and texts with NULs in them. What is nested is passed over by its
 * brackets and quotes alone: whoever wants it reads it again.
 */
#include "flat_json.h"

#include "utf8.h"

#include <string.h>

bool flat_json_fail(struct flat_json *json, const char *why)
{
	if (!json->why)
		json->why = why;
	return false;
}

static void skip_blanks(struct flat_json *json)
{
	while (json->p < json->end && (*json->p == ' ' || *json->p == '\t' ||
					      *json->p == '\r' || *json->p == '\n'))
		json->p++;
}

static bool take(struct flat_json *json, char c)
{
	skip_blanks(json);
	if (json->p == json->end || *json->p != c)
		return false;
	json->p++;
	return true;
}

static bool read_hex4(struct flat_json *json, uint32_t *ret)
{
	uint32_t code = 0;
	if (json->end - json->p < 4)
		return flat_json_fail(json, "an escape is cut off");
	for (int i = 0; i < 4; i++) {
		char c = *json->p++;
		if (c >= '0' && c <= '9')
			code = code << 4 | (uint32_t)(c - '0');
		else if ((c | 0x20) >= 'a' && (c | 0x20) <= 'f')
			code = code << 4 | (uint32_t)((c | 0x20) - 'a' + 10);
		else
			return flat_json_fail(
				json, "an escape \\u is not followed by four hex digits");
	}
	*ret = code;
	return true;
}

static bool read_unicode_escape(struct flat_json *json)
{
	uint32_t code = 0, low = 0;
	unsigned char bytes[4];
	if (!read_hex4(json, &code))
		return false;
	if (code >= 0xd800 && code <= 0xdfff) {
		if (code > 0xdbff || json->end - json->p < 6 || json->p[0] != '\\' ||
			json->p[1] != 'u')
			return flat_json_fail(
				json, "an escape holds half a surrogate pair");
		json->p += 2;
		if (!read_hex4(json, &low))
			return false;
		if (low < 0xdc00 || low > 0xdfff)
			return flat_json_fail(
				json, "an escape holds half a surrogate pair");
		code = 0x10000 + ((code - 0xd800) << 10 | (low - 0xdc00));
	}
	buffer_add(json->scratch, bytes, utf8_write(code, bytes));
	return true;
}

static bool read_escape(struct flat_json *json)
{
	static const char from[] = "\"\\/bfnrt", to[] = "\"\\/\b\f\n\r\t";
	if (json->p == json->end)
		return flat_json_fail(json, "a text is not ended");
	char c = *json->p++;
	if (c == 'u')
		return read_unicode_escape(json);
	const char *found = c ? strchr(from, c) : NULL;
	if (!found)
		return flat_json_fail(json, "an escape is not one of JSON's");
	buffer_add(json->scratch, &to[found - from], 1);
	return true;
}

/* ASCII that stands for itself in a text. */
static bool is_plain(char c)
{
	return c >= 0x20 && c < 0x7f && c != '"' && c != '\\';
}

/* One escape or character beyond ASCII. */
static bool read_special(struct flat_json *json)
{
	size_t n = utf8_sequence(
		(const unsigned char *)json->p, (size_t)(json->end - json->p));
	if (*json->p == '\\') {
		json->p++;
		return read_escape(json);
	}
	if (n == 0)
		return flat_json_fail(
			json, "a text is not UTF-8; such bytes go as base64");
	if ((unsigned char)*json->p < 0x20)
		return flat_json_fail(
			json, "a text holds a control character without escape");
	buffer_add(json->scratch, json->p, n);
	json->p += n;
	return true;
}

/* A text whose opening quote is taken. */
static bool read_text(struct flat_json *json, struct flat_value *ret)
{
	*ret = (struct flat_value){.type = FLAT_TEXT, .at = json->scratch->length};
	while (json->p < json->end && *json->p != '"') {
		const char *run = json->p;
		while (json->p < json->end && is_plain(*json->p))
			json->p++;
		buffer_add(json->scratch, run, (size_t)(json->p - run));
		if (json->p < json->end && *json->p != '"' && !read_special(json))
			return false;
	}
	if (json->p == json->end)
		return flat_json_fail(json, "a text is not ended");
	json->p++;
	ret->length = json->scratch->length - ret->at;
	return true;
}

/* Passes over an object or array of a key that no record has. */
static bool skip_nested(struct flat_json *json)
{
	int depth = 0;
	do {
		struct flat_value ignored;
		char c = *json->p++;
		if (c == '"' && !read_text(json, &ignored))
			return false;
		depth += (c == '{' || c == '[') - (c == '}' || c == ']');
	} while (depth > 0 && json->p < json->end);
	return depth == 0 || flat_json_fail(json, "an object or array is not ended");
}

static enum flat_type scalar_type(const char *text, size_t length, int64_t *ret_integer)
{
	if (length == 4 && memcmp(text, "true", 4) == 0)
		return FLAT_TRUE;
	if (length == 5 && memcmp(text, "false", 5) == 0)
		return FLAT_FALSE;
	if (length == 4 && memcmp(text, "null", 4) == 0)
		return FLAT_NULL;
	bool negative = length > 0 && *text == '-';
	int64_t value = 0;
	for (size_t i = negative; i < length; i++) {
		int digit = text[i] - '0';
		if (digit < 0 || digit > 9 || __builtin_mul_overflow(value, 10, &value) ||
			__builtin_sub_overflow(
				value, digit, &value)) /* kept negative: INT64_MIN */
			return FLAT_OTHER;
	}
	if (length == (size_t)negative || (!negative && value == INT64_MIN))
		return FLAT_OTHER;
	*ret_integer = negative ? value : -value;
	return FLAT_INTEGER;
}

static bool read_value(struct flat_json *json, struct flat_value *ret)
{
	*ret = (struct flat_value){.type = FLAT_OTHER};
	if (take(json, '"'))
		return read_text(json, ret);
	if (json->p < json->end && (*json->p == '{' || *json->p == '['))
		return skip_nested(json);
	const char *start = json->p;
	while (json->p < json->end && !strchr(",}] \t\r\n", *json->p))
		json->p++;
	if (json->p == start)
		return flat_json_fail(json, "a value is missing");
	ret->type = scalar_type(start, (size_t)(json->p - start), &ret->integer);
	return true;
}

static bool read_pair(struct flat_json *json, flat_pair *pair, void *context)
{
	struct flat_value name, value;
	if (!take(json, '"'))
		return flat_json_fail(json, "a key is missing");
	if (!read_text(json, &name))
		return false;
	if (!take(json, ':'))
		return flat_json_fail(json, "a colon is missing");
	skip_blanks(json);
	const char *raw = json->p;
	if (!read_value(json, &value))
		return false;
	value.raw = raw;
	value.raw_length = (size_t)(json->p - raw);
	return pair(json, json->scratch->data + name.at, name.length, &value, context);
}

static bool read_object(struct flat_json *json, flat_pair *pair, void *context)
{
	if (!take(json, '{'))
		return flat_json_fail(json, "the line is not a JSON object");
	if (!take(json, '}')) {
		do {
			if (!read_pair(json, pair, context))
				return false;
		} while (take(json, ','));
		if (!take(json, '}'))
			return flat_json_fail(json, "the object is not ended");
	}
	skip_blanks(json);
	return json->p == json->end ||
	       flat_json_fail(json, "something follows the object");
}

bool flat_json_read(struct flat_json *json, const char *line, size_t length,
	struct buffer *scratch, flat_pair *pair, void *context)
{
	*json = (struct flat_json){.p = line, .end = line + length, .scratch = scratch};
	buffer_reset(scratch);
	/* Decoded texts are never longer than the line. */
	buffer_reserve(scratch, length + 1);
	return read_object(json, pair, context);
}
