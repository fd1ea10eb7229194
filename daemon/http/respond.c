/*
 * A reply on its way out: its header fields, its tag, and 304 in its place where the
 * client has it already.
 */
#include "face.h"

#include <microhttpd.h>
#include <string.h>

static void add_header(struct MHD_Response *response, const char *name, const char *value)
{
	(void)MHD_add_response_header(
		response, name, value); /* fails without memory only */
}

/* Is the tag in the list of If-None-Match (RFC 9110, 13.1.2: weak comparison, or *)? */
static bool tag_matches(const char *list, const char *tag)
{
	if (!list)
		return false;
	list += strspn(list, " \t");
	if (strcmp(list, "*") == 0)
		return true;
	for (const char *p = strstr(list, tag); p; p = strstr(p + 1, tag)) {
		char after = p[strlen(tag)];
		if (after == '\0' || after == ',' || after == ' ' || after == '\t')
			return true;
	}
	return false;
}

static void add_cache_rule(struct MHD_Response *response, int cache_s)
{
	char text[48];
	if (cache_s == CACHE_NEVER)
		(void)snprintf(text, sizeof(text), "no-store");
	else if (cache_s == CACHE_ASK)
		(void)snprintf(text, sizeof(text), "private, no-cache");
	else
		(void)snprintf(text, sizeof(text), "private, max-age=%d", cache_s);
	add_header(response, MHD_HTTP_HEADER_CACHE_CONTROL, text);
}

static void add_headers(struct MHD_Response *response, const struct reply *reply)
{
	const char *type = reply->problem ? "application/problem+json"
			   : reply->type  ? reply->type
					  : "application/json";
	if (reply->body.out.length)
		add_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, type);
	if (reply->varies)
		add_header(response, MHD_HTTP_HEADER_VARY, MHD_HTTP_HEADER_ACCEPT);
	add_header(response, "X-Content-Type-Options", "nosniff");
	add_cache_rule(response, reply->cache_s);
	if (reply->allow)
		add_header(response, MHD_HTTP_HEADER_ALLOW, ALLOWED_METHODS);
	if (reply->retry_after_s) {
		char text[16];
		(void)snprintf(text, sizeof(text), "%d", reply->retry_after_s);
		add_header(response, MHD_HTTP_HEADER_RETRY_AFTER, text);
	}
}

/* The strong tag of a body: bodies of rows bear the data's version, the span as it was
 * understood and the step, so equal tags mean equal bytes made by one version of
 * heatbook. */
static void make_tag(const struct buffer *body, char tag[static 24])
{
	uint64_t seed = digest64(0, HEATBOOK_VERSION, strlen(HEATBOOK_VERSION));
	uint64_t digest = digest64(seed, body->data, body->length);
	(void)snprintf(tag, 24, "\"%016llx\"", (unsigned long long)digest);
}

enum MHD_Result respond(struct MHD_Connection *connection, struct reply *reply)
{
	char tag[24] = "";
	struct buffer *body = &reply->body.out;
	if (body->length && !reply->type) {
		json_object_end(&reply->body);
		buffer_add_text(body, "\n");
	}
	if (reply->status == MHD_HTTP_OK)
		make_tag(body, tag);
	if (tag[0] && tag_matches(MHD_lookup_connection_value(connection, MHD_HEADER_KIND,
					  MHD_HTTP_HEADER_IF_NONE_MATCH),
			      tag)) {
		reply->status = MHD_HTTP_NOT_MODIFIED;
		buffer_release(body);
	}
	struct MHD_Response *response = MHD_create_response_from_buffer(
		body->length, body->data, MHD_RESPMEM_MUST_FREE);
	if (!response) {
		buffer_release(body);
		return MHD_NO;
	}
	add_headers(response, reply);
	if (tag[0])
		add_header(response, MHD_HTTP_HEADER_ETAG, tag);
	enum MHD_Result queued = MHD_queue_response(connection, reply->status, response);
	MHD_destroy_response(response);
	return queued;
}
