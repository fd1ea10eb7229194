/*
 * From a request to its resource: the look-up in the route table, what is refused there,
 * the page's files, and the index.
 */
#include "routes.h"

#include <heatbook/clock.h>

#include <microhttpd.h>
#include <string.h>

static const struct route *route_find(const char *path)
{
	for (size_t i = 0; i < route_count; i++)
		if (strcmp(routes[i].path, path) == 0)
			return &routes[i];
	return NULL;
}

static void refuse_unknown(
	const struct route *route, const struct parameter *parameter, struct reply *reply)
{
	const char *names[ROUTE_PARAMETERS_MOST];
	size_t count = route_parameters(route);
	for (size_t i = 0; i < count; i++)
		names[i] = route->parameters[i].name;
	problem_with(reply, parameter->name, parameter->value,
		"%s has no parameter \"%.60s\"%s", route->path, parameter->name,
		count ? "" : "; it has none");
	problem_allowed(reply, names, count);
}

static bool parameters_known(
	const struct route *route, const struct request *request, struct reply *reply)
{
	for (size_t i = 0; i < request->parameter_count; i++) {
		const struct parameter *p = &request->parameters[i];
		if (!route_takes(route, p->name)) {
			refuse_unknown(route, p, reply);
			return false;
		}
		/* The first of the name is another: it is given twice. */
		if (request_value(request, p->name) != p->value) {
			problem_with(reply, p->name, p->value,
				"%s is given more than once", p->name);
			return false;
		}
	}
	return true;
}

static void refuse_path(const char *path, struct reply *reply)
{
	problem(reply, MHD_HTTP_NOT_FOUND, "there is no resource %.200s", path);
	json_array(&reply->body, "resources");
	for (size_t i = 0; i < route_count; i++)
		json_text(&reply->body, NULL, routes[i].path);
	json_array_end(&reply->body);
}

static const struct page_file *file_find(const char *path)
{
	for (size_t i = 0; i < page_file_count; i++)
		if (strcmp(page_files[i].path, path) == 0)
			return &page_files[i];
	return NULL;
}

static void answer_file(const struct request *request, struct reply *reply)
{
	const struct page_file *file = file_find(request->path);
	if (!file)
		refuse_path(request->path, reply);
	else if (request->parameter_count > 0)
		problem_with(reply, request->parameters[0].name,
			request->parameters[0].value, "%s has no parameters", file->path);
	else {
		reply->file = file;
		reply->cache_s = CACHE_ASK;
	}
}

/* All that an answer's bytes and fields hang on besides the store, the clock and the
 * configuration. */
static void make_key(struct request *request, const struct reply *reply)
{
	buffer_add_text(&request->key, request->target);
	buffer_add(&request->key, "\n", 1);
	buffer_add_text(&request->key, request->accept ? request->accept : "-");
	buffer_add_text(&request->key, request->takes_gzip ? "\ngzip\n" : "\n\n");
	buffer_add_text(&request->key, reply->allow_origin ? reply->allow_origin : "-");
}

/* Gives the answer again where it is kept and stands. */
static void answer_kept(struct http *http, const struct route *route,
	struct request *request, struct reply *reply)
{
	make_key(request, reply);
	reply->kept = shelf_find(http->shelf, &request->key, http->store, clock_now_ms());
	if (reply->kept)
		return;
	/* Before its rows: what changes meanwhile is then found changed. */
	bool known = store_generation(http->store, &reply->standing.generation) == 0;
	route->answer(http, request, reply);
	reply->standing.stands &= known;
}

bool route_is_public(const char *path)
{
	const struct route *route = route_find(path);
	return route ? route->is_public : file_find(path) != NULL;
}

bool method_allowed(const char *method)
{
	return strcmp(method, MHD_HTTP_METHOD_GET) == 0 ||
	       strcmp(method, MHD_HTTP_METHOD_HEAD) == 0 ||
	       strcmp(method, MHD_HTTP_METHOD_OPTIONS) == 0;
}

void dispatch(struct http *http, struct request *request, const char *method,
	struct reply *reply)
{
	const struct route *route = route_find(request->path);
	bool options = strcmp(method, MHD_HTTP_METHOD_OPTIONS) == 0;
	if (options &&
		(route || file_find(request->path) || strcmp(request->path, "*") == 0)) {
		reply->status = MHD_HTTP_NO_CONTENT;
		reply->allow = true;
		return;
	}
	if (!route) {
		answer_file(request, reply);
		return;
	}
	if (!parameters_known(route, request, reply))
		return;
	if (route->kept)
		answer_kept(http, route, request, reply);
	else
		route->answer(http, request, reply);
}

void answer_index(struct http *http, const struct request *request, struct reply *reply)
{
	struct json *json = &reply->body;
	(void)http; /* the table is enough */
	reply->varies = true;
	if (prefers_page(request->accept)) {
		answer_file(request, reply);
		return;
	}
	json_object(json, NULL);
	json_text(json, "name", "heatbook");
	json_text(json, "version", HEATBOOK_VERSION);
	json_array(json, "resources");
	for (size_t i = 0; i < route_count; i++) {
		json_object(json, NULL);
		json_text(json, "path", routes[i].path);
		json_text(json, "what", routes[i].what);
		json_object(json, "parameters");
		for (size_t k = 0; k < route_parameters(&routes[i]); k++)
			json_text(json, routes[i].parameters[k].name,
				routes[i].parameters[k].meaning);
		json_object_end(json);
		json_object_end(json);
	}
	json_array_end(json);
	reply->cache_s = 60;
}
