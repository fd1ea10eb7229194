/*
 * Parts of a JSON document by their path.
 */
#ifndef JSON_AT_H
#define JSON_AT_H

#include "unit.h"

#include <cjson/cJSON.h>

/* "columns/heat_kwh/0" within a document; NULL when it is not there. */
static inline const cJSON *at(const cJSON *json, const char *path)
{
	char *copy = xstrdup(path), *rest = copy, *part;
	while (json && (part = strsep(&rest, "/")))
		json = cJSON_IsArray(json) ? cJSON_GetArrayItem(json, atoi(part))
					   : cJSON_GetObjectItemCaseSensitive(json, part);
	free(copy);
	return json;
}

static inline double number_at(const cJSON *json, const char *path)
{
	const cJSON *item = at(json, path);
	ck_assert_msg(cJSON_IsNumber(item), "%s is no number", path);
	return item ? item->valuedouble : (double)NAN;
}

static inline const char *text_at(const cJSON *json, const char *path)
{
	const cJSON *item = at(json, path);
	ck_assert_msg(cJSON_IsString(item), "%s is no text", path);
	return item ? item->valuestring : "";
}

static inline bool null_at(const cJSON *json, const char *path)
{
	return cJSON_IsNull(at(json, path));
}

#endif
