/*
 * JSON held against a schema of /openapi.json: those keywords of JSON Schema 2020-12 that
 * contract.json uses (from memory; tests/integration/contract.py holds the same answers
 * against it by Debian's jsonschema). Any other keyword is a fault of the schema.
 */
#ifndef SCHEMA_H
#define SCHEMA_H

#include "json_at.h"

struct schema_fault {
	char text[400]; /* "" : none */
};

static inline bool schema_fits(const cJSON *contract, const cJSON *schema,
	const cJSON *value, const char *path, struct schema_fault *fault);

static inline bool schema_say(
	struct schema_fault *fault, const char *path, const char *what, const char *name)
{
	if (!fault->text[0])
		(void)snprintf(fault->text, sizeof(fault->text), "%.180s: %s %.180s",
			path, what, name ? name : "");
	return false;
}

/* What "#/components/schemas/NAME" names. */
static inline const cJSON *schema_of(const cJSON *contract, const char *ref)
{
	const char *name = strrchr(ref, '/');
	const cJSON *schema =
		name ? at(at(contract, "components/schemas"), name + 1) : NULL;
	ck_assert_msg(schema != NULL, "%s names nothing", ref);
	return schema;
}

static inline bool schema_is(const cJSON *value, const char *type)
{
	if (strcmp(type, "integer") == 0)
		return cJSON_IsNumber(value) &&
		       value->valuedouble == nearbyint(value->valuedouble);
	return (strcmp(type, "number") == 0 && cJSON_IsNumber(value)) ||
	       (strcmp(type, "string") == 0 && cJSON_IsString(value)) ||
	       (strcmp(type, "null") == 0 && cJSON_IsNull(value)) ||
	       (strcmp(type, "boolean") == 0 && cJSON_IsBool(value)) ||
	       (strcmp(type, "object") == 0 && cJSON_IsObject(value)) ||
	       (strcmp(type, "array") == 0 && cJSON_IsArray(value));
}

static inline bool schema_type(const cJSON *types, const cJSON *value)
{
	const cJSON *type;
	if (cJSON_IsString(types))
		return schema_is(value, types->valuestring);
	cJSON_ArrayForEach(type, types)
	{
		if (schema_is(value, type->valuestring))
			return true;
	}
	return false;
}

static inline bool schema_enum(const cJSON *list, const cJSON *value)
{
	const cJSON *item;
	cJSON_ArrayForEach(item, list)
	{
		if (cJSON_Compare(item, value, true))
			return true;
	}
	return false;
}

static inline bool schema_any(const cJSON *contract, const cJSON *list,
	const cJSON *value, const char *path, struct schema_fault *fault)
{
	const cJSON *schema;
	struct schema_fault why = {""};
	cJSON_ArrayForEach(schema, list)
	{
		why.text[0] = '\0';
		if (schema_fits(contract, schema, value, path, &why))
			return true;
	}
	return schema_say(fault, path, "none fits; the last:", why.text);
}

static inline bool schema_members(const cJSON *contract, const cJSON *schema,
	const cJSON *value, const char *path, struct schema_fault *fault)
{
	const cJSON *known = at(schema, "properties");
	const cJSON *more = at(schema, "additionalProperties");
	const cJSON *required = at(schema, "required");
	const cJSON *name, *member;
	cJSON_ArrayForEach(name, required)
	{
		if (!cJSON_GetObjectItemCaseSensitive(value, name->valuestring))
			return schema_say(fault, path, "has no", name->valuestring);
	}
	cJSON_ArrayForEach(member, value)
	{
		const cJSON *own =
			cJSON_GetObjectItemCaseSensitive(known, member->string);
		char below[200];
		(void)snprintf(below, sizeof(below), "%s/%s", path, member->string);
		if (!own && cJSON_IsFalse(more))
			return schema_say(fault, path, "may not have", member->string);
		own = own ? own : more;
		if (cJSON_IsObject(own) &&
			!schema_fits(contract, own, member, below, fault))
			return false;
	}
	return true;
}

static inline bool schema_known(const cJSON *schema, struct schema_fault *fault)
{
	static const char *const words[] = {"$ref", "type", "enum", "anyOf", "properties",
		"required", "additionalProperties", "items", "minimum", "description",
		"examples"};
	const cJSON *keyword;
	cJSON_ArrayForEach(keyword, schema)
	{
		bool known = false;
		for (size_t i = 0; i < ARRAY_LEN(words); i++)
			known = known || strcmp(words[i], keyword->string) == 0;
		if (!known)
			return schema_say(
				fault, "schema", "unknown keyword", keyword->string);
	}
	return true;
}

static inline bool schema_fits(const cJSON *contract, const cJSON *schema,
	const cJSON *value, const char *path, struct schema_fault *fault)
{
	const cJSON *keyword, *item;
	if (!schema_known(schema, fault))
		return false;
#define OF(name) (keyword = cJSON_GetObjectItemCaseSensitive(schema, name))
	if (OF("$ref") &&
		!schema_fits(contract, schema_of(contract, keyword->valuestring), value,
			path, fault))
		return false;
	if (OF("type") && !schema_type(keyword, value))
		return schema_say(fault, path, "is of another type", NULL);
	if (OF("enum") && !schema_enum(keyword, value))
		return schema_say(fault, path, "is none of the words", NULL);
	if (OF("minimum") && value->valuedouble < keyword->valuedouble)
		return schema_say(fault, path, "is too small", NULL);
	if (OF("anyOf") && !schema_any(contract, keyword, value, path, fault))
		return false;
	if (cJSON_IsObject(value) &&
		!schema_members(contract, schema, value, path, fault))
		return false;
	if (!OF("items") || !cJSON_IsArray(value))
		return true;
#undef OF
	cJSON_ArrayForEach(item, value)
	{
		if (!schema_fits(contract, keyword, item, path, fault))
			return false;
	}
	return true;
}

/* The schema of a GET's answer in JSON: by its path and status. */
static inline const cJSON *schema_of_answer(
	const cJSON *contract, const char *target, int status)
{
	char path[100], code[16];
	(void)snprintf(path, sizeof(path), "%.*s", (int)strcspn(target, "?"), target);
	(void)snprintf(code, sizeof(code), "%d", status);
	const cJSON *item = cJSON_GetObjectItemCaseSensitive(contract, "paths");
	const char *const way[] = {
		path, "get", "responses", code, "content", "application/json", "schema"};
	for (size_t i = 0; item && i < ARRAY_LEN(way); i++)
		item = cJSON_GetObjectItemCaseSensitive(item, way[i]);
	return item ? item : schema_of(contract, "#/components/schemas/Problem");
}

#endif
