/*
 * A request as it comes to the HTTP face: the first line is the target, a second one a
 * Host, a third an Accept field. Whatever is asked, the answer is whole JSON, CSV or a
 * file of the page with a status that fits, and parameters were decoded within their
 * bounds.
 */
#include "../../daemon/http/face.h"
#include "../../daemon/http/page_files.h"
#include "../unit/http_client.h"
#include "fuzz.h"

static struct sockaddr_in incoming = {.sin_family = AF_INET};

static void check_parameters(const struct request *request)
{
	HOLDS(request->path[0] == '/' || strcmp(request->path, "*") == 0, "path %s",
		request->path);
	HOLDS(request->parameter_count <= PARAMETERS_MOST, "%zu parameters",
		request->parameter_count);
	for (size_t i = 0; i < request->parameter_count; i++) {
		const struct parameter *p = &request->parameters[i];
		for (const char *c = p->value; *c; c++)
			HOLDS((unsigned char)*c >= 0x20 && *c != 0x7f, "control byte");
		HOLDS(request_value(request, p->name), "%s is lost", p->name);
	}
}

static void check_json(struct reply *reply)
{
	const char *end;
	json_object_end(&reply->body);
	cJSON *json = cJSON_ParseWithLengthOpts(
		reply->body.out.data, reply->body.out.length, &end, false);
	HOLDS(json && end == reply->body.out.data + reply->body.out.length,
		"no JSON: %.*s", (int)reply->body.out.length, reply->body.out.data);
	cJSON_Delete(json);
}

static void check_answer(struct request *request)
{
	struct http http = {.config = &plant,
		.store = PLANT_STORE,
		.live = fill_live,
		.shelf = shelf_new()};
	struct reply reply = {.status = 200, .cache_s = CACHE_NEVER};
	dispatch(&http, request, "GET", &reply);
	HOLDS(reply.status == 200 || reply.problem, "status %u", reply.status);
	HOLDS(!reply.problem || (reply.status >= 400 && reply.status < 500), "status %u",
		reply.status);
	if (reply.file)
		HOLDS(reply.file->plain_length > 0, "no page");
	else if (reply.type)
		HOLDS(reply.body.out.length > 0, "no body");
	else
		check_json(&reply);
	buffer_release(&reply.body.out);
	shelf_free(http.shelf);
}

static void begin(void)
{
	static bool begun;
	if (begun)
		return;
	begun = true;
	HOLDS(inet_pton(AF_INET, "192.0.2.1", &incoming.sin_addr) == 1, "address");
	HOLDS(calendar_set_zone("Europe/Berlin") == 0, "zone");
	clock_test_start(NOW_MS, 1000000);
	plant_live = (struct live_state){.now_ms = NOW_MS,
		.channels = plant_latest,
		.heat_w = NAN,
		.electricity_w = NAN,
		.mode = -1,
		.broker_state = "subscribed",
		.broker_cause = "",
		.commit_fault = ""};
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	char *text = text_of(data, size), *rest = text;
	const char *target = strsep(&rest, "\n"), *host = strsep(&rest, "\n");
	const char *accept = strsep(&rest, "\n");
	begin();
	struct request *request = request_new(target);
	request->accept = accept ? xstrdup(accept) : NULL;
	if (!request->fault) {
		check_parameters(request);
		check_answer(request);
	}
	if (host && host_allowed(host, &plant.http, (const struct sockaddr *)&incoming))
		HOLDS(strstr(host, "127.") || strstr(host, "192.0.2.1") ||
				strcasestr(host, "localhost") || strchr(host, ':'),
			"host %s", host);
	request_free(request);
	free(text);
	return 0;
}
