/*
 * The JSON parser's verdict on a text beside that of Debian 12's cJSON (1.7.15), whose
 * tree it makes. Needs no test frame.
 */
#ifndef JSON_ORACLE_H
#define JSON_ORACLE_H

#include "../../daemon/ingest/json.h"
#include "../../daemon/ingest/strip.h"

static inline bool reference_too_deep(const char *text, size_t length)
{
	int depth = 0;
	bool string = false;
	for (size_t i = 0; i < length; i++) {
		if (text[i] == '"')
			string = !string;
		else if (string && text[i] == '\\')
			i++;
		else if (!string && strchr("[{", text[i]) && text[i])
			depth++;
		else if (!string && strchr("]}", text[i]) && text[i])
			depth--;
		if (depth > JSON_DEPTH_MOST)
			return true;
	}
	return false;
}

static inline cJSON *reference(const char *text, size_t length)
{
	const char *end = NULL;
	if (reference_too_deep(text, length))
		return NULL;
	cJSON *root = cJSON_ParseWithLengthOpts(text, length, &end, false);
	size_t rest = root ? length - (size_t)(end - text) : 0;
	if (root)
		strip(&end, &rest);
	if (rest == 0)
		return root;
	cJSON_Delete(root);
	return NULL;
}

static inline bool same_text(const char *a, const char *b)
{
	return a && b ? strcmp(a, b) == 0 : a == b;
}

static inline bool same_tree(const cJSON *a, const cJSON *b)
{
	bool number = cJSON_IsNumber(a);
	if (a->type != b->type || !same_text(a->string, b->string) ||
		!same_text(a->valuestring, b->valuestring) ||
		(number && memcmp(&a->valuedouble, &b->valuedouble, sizeof(double)) != 0))
		return false;
	const cJSON *x = a->child, *y = b->child;
	for (; x && y; x = x->next, y = y->next)
		if (!same_tree(x, y))
			return false;
	return !x && !y;
}

struct json_verdict {
	bool accepted;
	const char *differs; /* NULL: they agree */
};

/* The text is copied to memory of its own size, so that a step past its end is seen. */
static inline void json_judge(
	struct json *json, const char *text, size_t length, struct json_verdict *ret)
{
	enum bad_reason reason = BAD_NONE;
	char *copy = xmalloc(length + !length);
	if (length)
		memcpy(copy, text, length);
	cJSON *theirs = reference(copy, length);
	const cJSON *ours = json_parse(json, copy, length, &reason);
	enum bad_reason wanted = theirs                             ? BAD_NONE
				 : reference_too_deep(copy, length) ? BAD_TOO_DEEP
								    : BAD_JSON;
	*ret = (struct json_verdict){.accepted = ours};
	if (!theirs != !ours || reason != wanted)
		ret->differs = theirs ? "refused" : "accepted, or another reason";
	else if (theirs && !same_tree(theirs, ours))
		ret->differs = "another tree";
	cJSON_Delete(theirs);
	free(copy);
}

#endif
