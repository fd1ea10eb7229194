/*
 * A reply on its way out: its header fields, its tag, and 304 in its place where the
 * client has it already. One that stands goes to the shelf besides, in both forms.
 */
#include "face.h"
#include "stream.h"

#include <microhttpd.h>
#include <string.h>

#define PACKED_LEAST 512 /* bytes */

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

/* What the page may do: load what is its own and ask its own daemon (CSP level 3). */
static const char page_policy[] =
	"default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
	"img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors "
	"'none'";

static void add_page_headers(struct MHD_Response *response)
{
	add_header(response, "Content-Security-Policy", page_policy);
	add_header(response, "Referrer-Policy", "no-referrer");
	add_header(response, "Cross-Origin-Opener-Policy", "same-origin");
}

/* For a page of another server that may ask: that it may read the answer, and, before it
 * asks, how it may ask (Fetch standard, 3.2.3; from memory). */
static void add_origin_headers(struct MHD_Response *response, const struct reply *reply)
{
	add_header(response, "Access-Control-Allow-Origin", reply->allow_origin);
	add_header(response, "Access-Control-Expose-Headers",
		"ETag, Retry-After, WWW-Authenticate");
	if (!reply->allow)
		return;
	add_header(response, "Access-Control-Allow-Methods", "GET, HEAD");
	add_header(response, "Access-Control-Allow-Headers",
		"Authorization, If-None-Match, Last-Event-ID");
	add_header(response, "Access-Control-Max-Age", "600");
}

static void add_headers(
	struct MHD_Response *response, const struct reply *reply, bool whole)
{
	const char *type = reply->problem ? "application/problem+json"
			   : reply->file  ? reply->file->type
			   : reply->type  ? reply->type
					  : "application/json";
	if ((whole && (reply->body.out.length || reply->file)) || reply->stream)
		add_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, type);
	add_header(response, MHD_HTTP_HEADER_VARY,
		reply->varies ? "Accept, Accept-Encoding, Origin"
			      : "Accept-Encoding, Origin");
	if (reply->allow_origin)
		add_origin_headers(response, reply);
	if (reply->challenge)
		add_header(response, MHD_HTTP_HEADER_WWW_AUTHENTICATE, reply->challenge);
	if (reply->file)
		add_page_headers(response);
	add_header(response, "Cross-Origin-Resource-Policy", "same-origin");
	add_header(response, "X-Content-Type-Options", "nosniff");
	if (reply->stream) {
		/* Whoever is between must not wait for more of it to pack. */
		add_header(response, MHD_HTTP_HEADER_CACHE_CONTROL,
			"no-store, no-transform");
		add_header(response, MHD_HTTP_HEADER_CONNECTION, "close");
	} else {
		add_cache_rule(response, reply->cache_s);
	}
	if (reply->allow)
		add_header(response, MHD_HTTP_HEADER_ALLOW, ALLOWED_METHODS);
	if (reply->retry_after_s) {
		char text[16];
		(void)snprintf(text, sizeof(text), "%d", reply->retry_after_s);
		add_header(response, MHD_HTTP_HEADER_RETRY_AFTER, text);
	}
}

/* The strong tag of what is sent, so it says which coding: bodies of rows bear the data's
 * version, the span as it was understood and the step, so equal tags mean equal bytes
 * made by one version of heatbook. */
static void make_tag(const struct reply *reply, bool packed, char tag[static TAG_SIZE])
{
	const struct buffer *body = &reply->body.out;
	const char *coding = packed ? "-gzip" : "";
	if (reply->file) {
		(void)snprintf(tag, TAG_SIZE, "\"%s%s\"", reply->file->tag, coding);
		return;
	}
	uint64_t seed = digest64(0, HEATBOOK_VERSION, strlen(HEATBOOK_VERSION));
	uint64_t digest = digest64(seed, body->data, body->length);
	(void)snprintf(
		tag, TAG_SIZE, "\"%016llx%s\"", (unsigned long long)digest, coding);
}

static struct MHD_Response *body_of(struct reply *reply, bool packed)
{
	const struct page_file *f = reply->file;
	struct buffer *body = &reply->body.out, small = {0};
	if (f)
		return MHD_create_response_from_buffer(
			packed ? f->packed_length : f->plain_length,
			(void *)(uintptr_t)(packed ? f->packed : f->plain),
			MHD_RESPMEM_PERSISTENT);
	if (packed && pack_gzip(body, &small)) {
		buffer_release(body);
		*body = small;
	}
	if (reply->standing.stands) /* no room beside what is kept */
		body->data = xrealloc(body->data, body->capacity = body->length, 1);
	struct MHD_Response *response = MHD_create_response_from_buffer(
		body->length, body->data, MHD_RESPMEM_MUST_FREE);
	if (!response)
		buffer_release(body);
	return response;
}

/* With its body, which is taken over; NULL without memory. */
static struct MHD_Response *whole_of(struct reply *reply, bool packed, const char *tag)
{
	struct MHD_Response *response = body_of(reply, packed);
	if (!response)
		return NULL;
	add_headers(response, reply, true);
	if (packed)
		add_header(response, MHD_HTTP_HEADER_CONTENT_ENCODING, "gzip");
	if (tag[0])
		add_header(response, MHD_HTTP_HEADER_ETAG, tag);
	return response;
}

/* For who has it. */
static struct MHD_Response *unchanged_of(const struct reply *reply, const char *tag)
{
	struct MHD_Response *response =
		MHD_create_response_from_buffer(0, NULL, MHD_RESPMEM_PERSISTENT);
	if (!response)
		return NULL;
	add_headers(response, reply, false);
	add_header(response, MHD_HTTP_HEADER_ETAG, tag);
	return response;
}

/* Small bodies gain nothing. */
static bool is_packed(const struct request *request, const struct reply *reply)
{
	size_t length = reply->file ? reply->file->plain_length : reply->body.out.length;
	return request->takes_gzip && length >= PACKED_LEAST;
}

static enum MHD_Result queue(
	struct MHD_Connection *connection, unsigned status, struct MHD_Response *response)
{
	return response ? MHD_queue_response(connection, status, response) : MHD_NO;
}

static bool client_has(struct MHD_Connection *connection, const char *tag)
{
	return tag[0] &&
	       tag_matches(MHD_lookup_connection_value(connection, MHD_HEADER_KIND,
				   MHD_HTTP_HEADER_IF_NONE_MATCH),
		       tag);
}

static enum MHD_Result send_kept(
	struct MHD_Connection *connection, const struct shelved *kept)
{
	bool has = client_has(connection, kept->tag);
	return queue(connection, has ? MHD_HTTP_NOT_MODIFIED : MHD_HTTP_OK,
		has ? kept->unchanged : kept->whole);
}

/* Sends an answer that stands, and keeps it. */
static enum MHD_Result send_and_keep(struct http *http, struct MHD_Connection *connection,
	const struct request *request, struct reply *reply, bool packed, const char *tag)
{
	struct shelved kept = {.whole = whole_of(reply, packed, tag),
		.unchanged = unchanged_of(reply, tag)};
	kept.bytes = reply->body.out.length; /* as it is sent */
	if (!kept.whole || !kept.unchanged) {
		MHD_destroy_response(kept.whole);
		MHD_destroy_response(kept.unchanged);
		return MHD_NO;
	}
	(void)snprintf(kept.tag, sizeof(kept.tag), "%s", tag);
	enum MHD_Result queued = send_kept(connection, &kept);
	shelf_put(http->shelf, &request->key, &reply->standing, &kept);
	return queued;
}

/* An event stream is no body that could be tagged or packed. */
static enum MHD_Result respond_stream(struct http *http,
	struct MHD_Connection *connection, const struct request *request,
	struct reply *reply)
{
	struct MHD_Response *response =
		request->head
			? MHD_create_response_from_buffer(0, NULL, MHD_RESPMEM_PERSISTENT)
			: stream_response(connection, http,
				  reply->resumes ? &reply->place : NULL);
	if (!response)
		return MHD_NO;
	reply->type = "text/event-stream";
	add_headers(response, reply, true);
	enum MHD_Result queued = MHD_queue_response(connection, reply->status, response);
	MHD_destroy_response(response);
	return queued;
}

enum MHD_Result respond(struct http *http, struct MHD_Connection *connection,
	const struct request *request, struct reply *reply)
{
	char tag[TAG_SIZE] = "";
	struct buffer *body = &reply->body.out;
	if (reply->kept)
		return send_kept(connection, reply->kept);
	if (reply->stream)
		return respond_stream(http, connection, request, reply);
	if (body->length && !reply->type) {
		json_object_end(&reply->body);
		buffer_add_text(body, "\n");
	}
	bool packed = is_packed(request, reply);
	if (reply->status == MHD_HTTP_OK)
		make_tag(reply, packed, tag);
	if (reply->status == MHD_HTTP_OK && reply->standing.stands)
		return send_and_keep(http, connection, request, reply, packed, tag);
	bool has = client_has(connection, tag);
	struct MHD_Response *response =
		has ? unchanged_of(reply, tag) : whole_of(reply, packed, tag);
	if (has)
		buffer_release(body);
	enum MHD_Result queued =
		queue(connection, has ? MHD_HTTP_NOT_MODIFIED : reply->status, response);
	MHD_destroy_response(response);
	return queued;
}
