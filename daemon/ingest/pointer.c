/*
 * JSON Pointer on cJSON's tree. See pointer.h.
 */
#include "pointer.h"

#include <string.h>

/* Does a key equal a token of a pointer, in which ~0 is ~ and ~1 is /? */
static bool token_equals(const char *token, size_t length, const char *key)
{
	size_t i = 0;
	for (; i < length && *key; i++, key++) {
		char c = token[i];
		if (c == '~' && i + 1 < length &&
			(token[i + 1] == '0' || token[i + 1] == '1'))
			c = token[++i] == '0' ? '~' : '/';
		if (c != *key)
			return false;
	}
	return i == length && !*key;
}

static const cJSON *member(
	const cJSON *object, const char *token, size_t length, bool *repeated)
{
	const cJSON *found = NULL;
	for (const cJSON *child = object->child; child; child = child->next) {
		if (!child->string || !token_equals(token, length, child->string))
			continue;
		if (found)
			*repeated = true;
		else
			found = child;
	}
	return found;
}

/* RFC 6901, section 4: digits without zeros in front; "-" is past the end. */
static const cJSON *element(const cJSON *array, const char *token, size_t length)
{
	size_t index = 0;
	if (length == 0 || length > 6 || (token[0] == '0' && length > 1))
		return NULL;
	for (size_t i = 0; i < length; i++) {
		if (token[i] < '0' || token[i] > '9')
			return NULL;
		index = index * 10 + (size_t)(token[i] - '0');
	}
	const cJSON *child = array->child;
	while (child && index-- > 0)
		child = child->next;
	return child;
}

const cJSON *json_pointer(const cJSON *root, const char *pointer, bool *repeated)
{
	const cJSON *at = root;
	while (at && *pointer == '/') {
		const char *token = ++pointer;
		size_t length = strcspn(token, "/");
		pointer += length;
		if (cJSON_IsObject(at))
			at = member(at, token, length, repeated);
		else if (cJSON_IsArray(at))
			at = element(at, token, length);
		else
			return NULL;
	}
	return *pointer ? NULL : at;
}
