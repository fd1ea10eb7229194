/*
 * /openapi.json: the contract as OpenAPI 3.1. Paths and parameters are written from the
 * route table, schemas come from contract.json, which the build puts into the program.
 */
#include "contract.h"
#include "routes.h"

#include <string.h>

static void write_ref(struct json *json, const char *kind, const char *name)
{
	_cleanup_(freep) char *ref = xasprintf("#/components/%s/%s", kind, name);
	json_text(json, "$ref", ref);
}

static void write_schema(struct json *json, const char *name)
{
	json_object(json, "schema");
	write_ref(json, "schemas", name);
	json_object_end(json);
}

static void write_parameter(
	struct json *json, const char *in, const struct route_parameter *parameter)
{
	json_object(json, NULL);
	json_text(json, "name", parameter->name);
	json_text(json, "in", in);
	json_text(json, "description", parameter->meaning);
	json_bool(json, "required", parameter->needed);
	write_schema(json, parameter->schema);
	json_object_end(json);
}

static void write_content(struct json *json, const char *type, const char *schema)
{
	json_object(json, type);
	write_schema(json, schema);
	json_object_end(json);
}

static void write_answer(struct json *json, const char *status, const struct route *route)
{
	json_object(json, status);
	json_text(json, "description", route->what);
	json_object(json, "content");
	write_content(
		json, route->type ? route->type : "application/json", route->schema);
	if (route_takes(route, "format"))
		write_content(json, "text/csv", "Rows");
	if (strcmp(route->path, "/") == 0)
		write_content(json, "text/html", "Page");
	json_object_end(json);
	json_object_end(json);
}

static void write_response(struct json *json, const char *status, const char *name)
{
	json_object(json, status);
	write_ref(json, "responses", name);
	json_object_end(json);
}

/* "/v1/hot-water" is hot_water. */
static void write_id(struct json *json, const char *path)
{
	const char *last = strrchr(path, '/') + 1;
	_cleanup_(freep) char *id = xstrdup(*last ? last : "index");
	for (char *p = id; *p; p++)
		if (*p == '-' || *p == '.')
			*p = '_';
	json_text(json, "operationId", id);
}

static void write_path(struct json *json, const struct route *route)
{
	static const struct route_parameter resumption = {
		"Last-Event-ID", "the id of the last event that was seen", "EventId"};
	json_object(json, route->path);
	json_object(json, "get");
	write_id(json, route->path);
	json_text(json, "summary", route->what);
	if (route->is_public) {
		json_array(json, "security");
		json_array_end(json);
	}
	json_array(json, "parameters");
	for (size_t i = 0; i < route_parameters(route); i++)
		write_parameter(json, "query", &route->parameters[i]);
	if (route->resumes)
		write_parameter(json, "header", &resumption);
	json_array_end(json);
	json_object(json, "responses");
	write_answer(json, "200", route);
	write_response(json, "304", "Unchanged");
	if (route->ill)
		write_answer(json, "503", route);
	write_response(json, "default", "Problem");
	json_object_end(json);
	json_object_end(json);
	json_object_end(json);
}

/* A token or, where the configuration asks for none, nothing. */
static void write_security(struct json *json)
{
	json_array(json, "security");
	json_object(json, NULL);
	json_array(json, "token");
	json_array_end(json);
	json_object_end(json);
	json_object(json, NULL);
	json_object_end(json);
	json_array_end(json);
}

void answer_contract(
	struct http *http, const struct request *request, struct reply *reply)
{
	struct json *json = &reply->body;
	(void)http; /* the table is enough */
	(void)request;
	json_object(json, NULL);
	json_text(json, "openapi", "3.1.0");
	json_object(json, "info");
	json_text(json, "title", "heatbook");
	json_text(json, "version", HEATBOOK_VERSION);
	json_text(json, "description",
		"Heat, electricity and efficiency of a heat pump, read-only. Spans are "
		"half-open. null is no valid data, absent is not configured, 0 was "
		"measured. What is under /v1/ only grows.");
	json_object_end(json);
	write_security(json);
	json_object(json, "paths");
	for (size_t i = 0; i < route_count; i++)
		write_path(json, &routes[i]);
	json_object_end(json);
	json_written(json, "components", contract_components);
	reply->cache_s = CACHE_ASK;
}
