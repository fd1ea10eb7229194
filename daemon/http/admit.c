/*
 * What every request is held against before its resource is looked up: how often its
 * client asks, that its target could be taken apart, that it was sent to this server, by
 * a page that may, only reads, brings no body, and bears a token where one is needed.
 */
#include "face.h"

#include <heatbook/clock.h>

#include <microhttpd.h>
#include <string.h>
#include <sys/socket.h>

static enum MHD_Result take_field(
	void *context, enum MHD_ValueKind kind, const char *key, const char *value)
{
	struct field *field = context;
	(void)kind; /* only header fields are visited */
	if (strcasecmp(key, field->name) != 0)
		return MHD_YES;
	field->value = value ? value : "";
	field->count++;
	return MHD_YES;
}

void field_find(struct MHD_Connection *connection, struct field *field)
{
	(void)MHD_get_connection_values(connection, MHD_HEADER_KIND, take_field, field);
}

static bool host_accepted(struct http *http, struct MHD_Connection *connection,
	const char *host, struct reply *reply)
{
	struct sockaddr_storage local = {0};
	socklen_t size = sizeof(local);
	if (host_allowed(host, &http->config->http, NULL))
		return true; /* as nearly always: the system need not be asked */
	bool known = getsockname(visit_of(connection)->fd, (struct sockaddr *)&local,
			     &size) == 0;
	if (host_allowed(
		    host, &http->config->http, known ? (struct sockaddr *)&local : NULL))
		return true;
	problem(reply, MHD_HTTP_MISDIRECTED_REQUEST,
		"this server is not known as \"%.100s\"; use localhost, the address "
		"that is configured, or a name of [http] hosts",
		host);
	return false;
}

/* By which host it was asked and by whose page. */
static bool addressed_well(struct http *http, struct MHD_Connection *connection,
	const struct request *request, struct reply *reply)
{
	struct field host = {.name = MHD_HTTP_HEADER_HOST};
	field_find(connection, &host);
	if (host.count != 1) {
		problem(reply, MHD_HTTP_BAD_REQUEST,
			"the request must have one Host field, not %zu", host.count);
		return false;
	}
	if (request->authority)
		host.value = request->authority;
	return host_accepted(http, connection, host.value, reply) &&
	       origin_admitted(http, connection, host.value, reply);
}

static bool asks_seldom(
	struct http *http, struct MHD_Connection *connection, struct reply *reply)
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
	int most = http->config->http.requests_per_client;
	int wait_s =
		info ? guests_ask(&http->guests, info->client_addr, most, clock_mono_ms())
		     : 0;
	if (wait_s == 0)
		return true;
	problem(reply, MHD_HTTP_TOO_MANY_REQUESTS,
		"more than %d requests a minute; ask again in %d s, or set [http] "
		"requests_per_client",
		most, wait_s);
	reply->retry_after_s = wait_s;
	return false;
}

bool request_has_body(struct MHD_Connection *connection)
{
	const char *length = MHD_lookup_connection_value(
		connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_CONTENT_LENGTH);
	if (MHD_lookup_connection_value(
		    connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_TRANSFER_ENCODING))
		return true;
	return length && strspn(length, "0") != strlen(length);
}

static bool only_reads(
	struct MHD_Connection *connection, const char *method, struct reply *reply)
{
	if (!method_allowed(method)) {
		problem(reply, MHD_HTTP_METHOD_NOT_ALLOWED,
			"heatbook is read-only: %.20s is none of " ALLOWED_METHODS,
			method);
		reply->allow = true;
		return false;
	}
	if (!request_has_body(connection))
		return true;
	problem(reply, MHD_HTTP_CONTENT_TOO_LARGE, "a request must not have a body");
	return false;
}

bool request_admitted(struct http *http, struct MHD_Connection *connection,
	const struct request *request, const char *method, struct reply *reply)
{
	if (!asks_seldom(http, connection, reply))
		return false;
	if (request->fault) {
		problem(reply, request->fault_status, "%s", request->fault);
		return false;
	}
	if (!addressed_well(http, connection, request, reply) ||
		!only_reads(connection, method, reply))
		return false;
	/* A browser asks by OPTIONS, without a token, whether it may send one. */
	return strcmp(method, MHD_HTTP_METHOD_OPTIONS) == 0 ||
	       route_is_public(request->path) || token_admitted(http, connection, reply);
}
