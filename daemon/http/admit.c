/*
 * What every request is held against before its resource is looked up: that its target
 * could be taken apart, that it was sent to this server, only reads, and brings no body.
 */
#include "face.h"

#include <microhttpd.h>
#include <string.h>
#include <sys/socket.h>

struct hosts {
	const char *host;
	size_t count;
};

static enum MHD_Result take_host(
	void *context, enum MHD_ValueKind kind, const char *key, const char *value)
{
	struct hosts *hosts = context;
	(void)kind; /* only header fields are visited */
	if (strcasecmp(key, MHD_HTTP_HEADER_HOST) != 0)
		return MHD_YES;
	hosts->host = value ? value : "";
	hosts->count++;
	return MHD_YES;
}

static bool host_accepted(struct http *http, struct MHD_Connection *connection,
	const struct request *request, struct reply *reply)
{
	struct hosts hosts = {0};
	struct sockaddr_storage local = {0};
	socklen_t size = sizeof(local);
	(void)MHD_get_connection_values(connection, MHD_HEADER_KIND, take_host, &hosts);
	if (hosts.count != 1) {
		problem(reply, MHD_HTTP_BAD_REQUEST,
			"the request must have one Host field, not %zu", hosts.count);
		return false;
	}
	if (request->authority)
		hosts.host = request->authority;
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
	bool known = info &&
		     getsockname(info->connect_fd, (struct sockaddr *)&local, &size) == 0;
	if (host_allowed(hosts.host, http->config->http.address,
		    known ? (struct sockaddr *)&local : NULL))
		return true;
	problem(reply, MHD_HTTP_MISDIRECTED_REQUEST,
		"this server is not known as \"%.100s\"; use localhost or the address "
		"that is "
		"configured",
		hosts.host);
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

bool request_admitted(struct http *http, struct MHD_Connection *connection,
	const struct request *request, const char *method, struct reply *reply)
{
	if (request->fault) {
		problem(reply, MHD_HTTP_BAD_REQUEST, "%s", request->fault);
		return false;
	}
	if (!host_accepted(http, connection, request, reply))
		return false;
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
