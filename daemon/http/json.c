/*
 * The JSON writer. See json.h.
 *
 * One flag is enough for the commas: it is set after every value and end, cleared after
 * every key and beginning. Balance of beginnings and ends is the caller's.
 */
#include "json.h"

#include <heatbook/decimal.h>

#include <math.h>
#include <string.h>

/* Length of the UTF-8 sequence at `p` (RFC 3629, 4), or 0 when it is none. */
static size_t sequence_length(const unsigned char *p)
{
	static const struct {
		unsigned char first, last; /* of the lead byte */
		unsigned char low, high;   /* of the second byte */
		size_t length;
	} forms[] = {
		{0x00, 0x7f, 0, 0, 1},
		{0xc2, 0xdf, 0x80, 0xbf, 2},
		{0xe0, 0xe0, 0xa0, 0xbf, 3},
		{0xe1, 0xec, 0x80, 0xbf, 3},
		{0xed, 0xed, 0x80, 0x9f, 3},
		{0xee, 0xef, 0x80, 0xbf, 3},
		{0xf0, 0xf0, 0x90, 0xbf, 4},
		{0xf1, 0xf3, 0x80, 0xbf, 4},
		{0xf4, 0xf4, 0x80, 0x8f, 4},
	};
	for (size_t i = 0; i < ARRAY_LEN(forms); i++) {
		if (p[0] < forms[i].first || p[0] > forms[i].last)
			continue;
		if (forms[i].length > 1 && (p[1] < forms[i].low || p[1] > forms[i].high))
			return 0;
		for (size_t k = 2; k < forms[i].length; k++)
			if ((p[k] & 0xc0) != 0x80)
				return 0;
		return forms[i].length;
	}
	return 0;
}

static bool is_plain(unsigned char c)
{
	return c >= ' ' && c < 0x7f && c != '"' && c != '\\';
}

static void add_quoted(struct buffer *out, const char *text)
{
	const unsigned char *p = (const unsigned char *)text;
	buffer_add_byte(out, '"');
	while (*p) {
		size_t plain = 0;
		while (is_plain(p[plain]))
			plain++;
		buffer_add(out, p, plain);
		p += plain;
		if (!*p)
			break;
		size_t length = sequence_length(p);
		if (length == 0)
			buffer_add_text(out, "\xef\xbf\xbd"); /* U+FFFD */
		else if (*p == '"' || *p == '\\')
			buffer_addf(out, "\\%c", *p);
		else if (*p < ' ' || *p == 0x7f)
			buffer_addf(out, "\\u%04x", *p);
		else
			buffer_add(out, p, length);
		p += length ? length : 1;
	}
	buffer_add_byte(out, '"');
}

/* What precedes a value: the comma, the key. */
static void lead(struct json *json, const char *key)
{
	if (json->comma)
		buffer_add_byte(&json->out, ',');
	json->comma = true;
	if (!key)
		return;
	add_quoted(&json->out, key);
	buffer_add_byte(&json->out, ':');
}

static void begin(struct json *json, const char *key, char bracket)
{
	lead(json, key);
	buffer_add_byte(&json->out, bracket);
	json->comma = false;
}

static void end(struct json *json, char bracket)
{
	buffer_add_byte(&json->out, bracket);
	json->comma = true;
}

void json_object(struct json *json, const char *key)
{
	begin(json, key, '{');
}

void json_object_end(struct json *json)
{
	end(json, '}');
}

void json_array(struct json *json, const char *key)
{
	begin(json, key, '[');
}

void json_array_end(struct json *json)
{
	end(json, ']');
}

void json_text(struct json *json, const char *key, const char *text)
{
	lead(json, key);
	if (text)
		add_quoted(&json->out, text);
	else
		buffer_add_text(&json->out, "null");
}

void json_null(struct json *json, const char *key)
{
	json_text(json, key, NULL);
}

void json_written(struct json *json, const char *key, const char *value)
{
	lead(json, key);
	buffer_add_text(&json->out, value);
}

void json_bool(struct json *json, const char *key, bool value)
{
	lead(json, key);
	buffer_add_text(&json->out, value ? "true" : "false");
}

void json_scaled(struct json *json, const char *key, int64_t value, int decimals)
{
	lead(json, key);
	decimal_add(&json->out, value, decimals);
}

void json_integer(struct json *json, const char *key, int64_t value)
{
	json_scaled(json, key, value, 0);
}

void json_seconds(struct json *json, const char *key, int64_t value_ms)
{
	if (value_ms % 1000)
		json_scaled(json, key, value_ms, 3);
	else
		json_scaled(json, key, value_ms / 1000, 0);
}

bool json_scale(double value, int decimals, int64_t *ret)
{
	static const double powers[] = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7};
	double scaled = value * powers[decimals];
	if (!isfinite(scaled) || fabs(scaled) > 9e17) /* beyond any quantity of a plant */
		return false;
	*ret = llround(scaled);
	return true;
}

void json_number(struct json *json, const char *key, double value, int decimals)
{
	int64_t scaled;
	if (json_scale(value, decimals, &scaled))
		json_scaled(json, key, scaled, decimals);
	else
		json_null(json, key);
}
