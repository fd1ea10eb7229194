/*
 * JSON payloads into cJSON's tree. See json.h.
 *
 * What is accepted and what comes out is to the byte what Debian 12's cJSON makes of it,
 * oddities included (zeros in front of numbers, control characters in strings, \u without
 * hexadecimal digits being NUL), so that readings do not depend on who parsed; the tests
 * compare both. But it takes no memory for each node, reads numbers by number_parse(),
 * which no locale can change, and goes no deeper than JSON_DEPTH_MOST.
 *
 * Nodes and texts lie in blocks that never move. One block is kept between payloads.
 */
#include "json.h"

#include "strip.h"

#include <heatbook/payload.h>

#include <string.h>

#define BLOCK_SIZE 16384

struct block {
	struct block *next;
	size_t size, used;
	_Alignas(max_align_t) unsigned char bytes[];
};

struct json {
	struct block *blocks; /* the newest first */
	const char *at, *end;
	int depth;
};

static bool read_value(struct json *j, cJSON *item);

/* ---- memory ---- */

static void add_block(struct json *j, size_t least)
{
	size_t size = least > BLOCK_SIZE ? least : BLOCK_SIZE;
	struct block *block = xmalloc(sizeof(*block) + size);
	*block = (struct block){.next = j->blocks, .size = size};
	j->blocks = block;
}

static void *take(struct json *j, size_t size)
{
	size = (size + sizeof(max_align_t) - 1) & ~(sizeof(max_align_t) - 1);
	if (j->blocks->size - j->blocks->used < size)
		add_block(j, size);
	void *taken = j->blocks->bytes + j->blocks->used;
	j->blocks->used += size;
	return taken;
}

/* All but the first block, which has BLOCK_SIZE. */
static void forget(struct json *j)
{
	while (j->blocks->next) {
		struct block *block = j->blocks;
		j->blocks = block->next;
		free(block);
	}
	j->blocks->used = 0;
}

struct json *json_new(void)
{
	struct json *j = xcalloc(1, sizeof(*j));
	add_block(j, BLOCK_SIZE);
	return j;
}

void json_free(struct json *j)
{
	if (!j)
		return;
	forget(j);
	free(j->blocks);
	free(j);
}

/* ---- texts ---- */

static void skip_blanks(struct json *j)
{
	while (j->at < j->end && (unsigned char)*j->at <= ' ')
		j->at++;
}

static bool skip_char(struct json *j, char c)
{
	bool is = j->at < j->end && *j->at == c;
	j->at += is;
	return is;
}

static unsigned read_hex4(const char *p)
{
	unsigned value = 0;
	for (int i = 0; i < 4; i++) {
		unsigned char c = (unsigned char)p[i], lower = c | 0x20;
		if (c >= '0' && c <= '9')
			value = value << 4 | (c - '0');
		else if (lower >= 'a' && lower <= 'f')
			value = value << 4 | (lower - 'a' + 10U);
		else
			return 0;
	}
	return value;
}

static char *put_utf8(char *to, unsigned code)
{
	static const unsigned char marks[] = {0, 0, 0xc0, 0xe0, 0xf0};
	int bytes = code < 0x80 ? 1 : code < 0x800 ? 2 : code < 0x10000 ? 3 : 4;
	for (int i = bytes - 1; i > 0; i--, code >>= 6)
		to[i] = (char)((code & 0x3f) | 0x80);
	to[0] = (char)(code | marks[bytes == 1 ? 0 : bytes]);
	return to + bytes;
}

/* \u…, one or a pair of surrogates; returns what follows, or NULL. */
static const char *read_unicode(const char *p, const char *end, char **to)
{
	if (end - p < 6)
		return NULL;
	unsigned code = read_hex4(p + 2);
	p += 6;
	if (code >= 0xdc00 && code <= 0xdfff)
		return NULL;
	if (code >= 0xd800 && code <= 0xdbff) {
		if (end - p < 6 || p[0] != '\\' || p[1] != 'u')
			return NULL;
		unsigned low = read_hex4(p + 2);
		if (low < 0xdc00 || low > 0xdfff)
			return NULL;
		code = 0x10000 + ((code & 0x3ff) << 10 | (low & 0x3ff));
		p += 6;
	}
	*to = put_utf8(*to, code);
	return p;
}

static const char *read_escape(const char *p, const char *end, char **to)
{
	static const char from[] = "bfnrt\"\\/", into[] = "\b\f\n\r\t\"\\/";
	if (p[1] == 'u')
		return read_unicode(p, end, to);
	const char *known = p[1] ? strchr(from, p[1]) : NULL;
	if (!known)
		return NULL;
	*(*to)++ = into[known - from];
	return p + 2;
}

static char *read_string(struct json *j)
{
	if (!skip_char(j, '"'))
		return NULL;
	const char *p = j->at, *close = p;
	bool plain = true;
	for (; close < j->end && *close != '"'; close++)
		if (*close == '\\') {
			plain = false;
			if (++close == j->end)
				return NULL;
		}
	if (close == j->end)
		return NULL;
	char *text = take(j, (size_t)(close - p) + 1), *to = text;
	if (plain) {
		memcpy(to, p, (size_t)(close - p));
		to += close - p;
	}
	while (!plain && p && p < close)
		if (*p == '\\')
			p = read_escape(p, close, &to);
		else
			*to++ = *p++;
	*to = '\0';
	j->at = close + 1;
	return p ? text : NULL;
}

/* ---- values ---- */

static bool is_of_number(char c)
{
	return (c >= '0' && c <= '9') || c == '+' || c == '-' || c == '.' || c == 'e' ||
	       c == 'E';
}

static bool read_number(struct json *j, cJSON *item)
{
	const char *begin = j->at;
	while (j->at < j->end && is_of_number(*j->at))
		j->at++;
	item->type = cJSON_Number;
	return number_parse(begin, (size_t)(j->at - begin), &item->valuedouble) == 0;
}

static bool read_literal(struct json *j, cJSON *item, const char *word, int type)
{
	size_t length = strlen(word);
	if ((size_t)(j->end - j->at) < length || memcmp(j->at, word, length) != 0)
		return false;
	j->at += length;
	item->type = type;
	return true;
}

static cJSON *new_item(struct json *j, cJSON *parent, cJSON *before)
{
	cJSON *item = take(j, sizeof(*item));
	*item = (cJSON){.prev = before};
	if (before)
		before->next = item;
	else
		parent->child = item;
	parent->child->prev = item; /* the first one's is the last one */
	return item;
}

static bool read_key(struct json *j, cJSON *item)
{
	item->string = read_string(j);
	skip_blanks(j);
	return item->string && skip_char(j, ':');
}

/* Array or object, behind its opening bracket. */
static bool read_items(struct json *j, cJSON *parent, bool keys, char close)
{
	cJSON *item = NULL;
	if (++j->depth > JSON_DEPTH_MOST)
		return false;
	skip_blanks(j);
	if (skip_char(j, close)) {
		j->depth--;
		return true;
	}
	do {
		item = new_item(j, parent, item);
		skip_blanks(j);
		if (keys && !read_key(j, item))
			return false;
		skip_blanks(j);
		if (!read_value(j, item))
			return false;
		skip_blanks(j);
	} while (skip_char(j, ','));
	j->depth--;
	return skip_char(j, close);
}

static bool read_value(struct json *j, cJSON *item)
{
	char c = j->at < j->end ? *j->at : '\0';
	switch (c) {
	case 'n':
		return read_literal(j, item, "null", cJSON_NULL);
	case 't':
		return read_literal(j, item, "true", cJSON_True);
	case 'f':
		return read_literal(j, item, "false", cJSON_False);
	case '"':
		item->type = cJSON_String;
		return (item->valuestring = read_string(j));
	case '{':
		item->type = cJSON_Object;
		j->at++;
		return read_items(j, item, true, '}');
	case '[':
		item->type = cJSON_Array;
		j->at++;
		return read_items(j, item, false, ']');
	default:
		return (c == '-' || (c >= '0' && c <= '9')) && read_number(j, item);
	}
}

/* Outside strings; whether brackets match does not matter. */
static bool too_deep(const char *text, size_t length)
{
	bool string = false;
	int depth = 0;
	for (size_t i = 0; i < length; i++) {
		char c = text[i];
		if (c == '"')
			string = !string;
		else if (string)
			i += c == '\\';
		else if (c == '{' || c == '[') {
			if (++depth > JSON_DEPTH_MOST)
				return true;
		} else if (c == '}' || c == ']')
			depth--;
	}
	return false;
}

const cJSON *json_parse(
	struct json *j, const char *text, size_t length, enum bad_reason *ret_reason)
{
	forget(j);
	j->at = text;
	j->end = text + length;
	j->depth = 0;
	cJSON *root = take(j, sizeof(*root));
	*root = (cJSON){0};
	skip_blanks(j);
	if (read_value(j, root)) {
		size_t rest = (size_t)(j->end - j->at);
		strip(&j->at, &rest);
		if (rest == 0)
			return root;
	}
	*ret_reason = too_deep(text, length) ? BAD_TOO_DEEP : BAD_JSON;
	return NULL;
}
