/*
 * The listening socket, libmicrohttpd without a thread of its own, and the way of a
 * request from its header to the reply.
 *
 * A request is answered in the handler's second call, when it is complete: an answer in
 * the first closes the connection. That is what a refused body wants, so that it is never
 * read. The socket is opened here rather than by the library, for its errors.
 */
#include "face.h"

#include <heatbook/log.h>

#include <errno.h>
#include <limits.h>
#include <microhttpd.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define CONNECTIONS_MOST 32u
#define PER_CLIENT_MOST  8u
#define IDLE_S           15u
#define MEMORY_BYTES     ((size_t)32 * 1024) /* header and target, a connection */
#define ALLOWED_METHODS  "GET, HEAD, OPTIONS"

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

static bool has_body(struct MHD_Connection *connection)
{
	const char *length = MHD_lookup_connection_value(
		connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_CONTENT_LENGTH);
	if (MHD_lookup_connection_value(
		    connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_TRANSFER_ENCODING))
		return true;
	return length && strspn(length, "0") != strlen(length);
}

/* What every request is held against before its resource is looked up. */
static bool request_accepted(struct http *http, struct MHD_Connection *connection,
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
	if (!has_body(connection))
		return true;
	problem(reply, MHD_HTTP_CONTENT_TOO_LARGE, "a request must not have a body");
	return false;
}

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
			   : reply->csv   ? "text/csv; charset=utf-8; header=present"
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

/* Queues the reply; takes its body over. */
static enum MHD_Result respond(struct MHD_Connection *connection, struct reply *reply)
{
	char tag[24] = "";
	struct buffer *body = &reply->body.out;
	if (body->length && !reply->csv) {
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

static void *request_begins(
	void *context, const char *target, struct MHD_Connection *connection)
{
	(void)context; /* the request knows nothing of its server */
	(void)connection;
	return request_new(target);
}

static enum MHD_Result request_goes_on(void *context, struct MHD_Connection *connection,
	const char *url, const char *method, const char *version, const char *upload,
	size_t *upload_size, void **state)
{
	struct http *http = context;
	struct request *request = *state;
	struct reply reply = {.status = MHD_HTTP_OK, .cache_s = CACHE_NEVER};
	(void)url; /* decoded by the library: not looked at */
	(void)version;
	(void)upload;
	(void)upload_size; /* a request with a body never comes here twice */
	if (!request->seen) {
		request->seen = true;
		if (!has_body(connection))
			return MHD_YES;
	}
	const char *accept = MHD_lookup_connection_value(
		connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_ACCEPT);
	request->accept = accept ? xstrdup(accept) : NULL;
	if (request_accepted(http, connection, request, method, &reply))
		dispatch(http, request, method, &reply);
	return respond(connection, &reply);
}

static void request_ends(void *context, struct MHD_Connection *connection, void **state,
	enum MHD_RequestTerminationCode why)
{
	(void)context; /* however it ended, only the request is freed */
	(void)connection;
	(void)why;
	request_free(*state);
	*state = NULL;
}

static struct MHD_Daemon *start_library(struct http *http, int fd)
{
	return MHD_start_daemon(MHD_USE_EPOLL, 0, NULL, NULL, request_goes_on, http,
		MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_CONNECTION_LIMIT,
		CONNECTIONS_MOST, MHD_OPTION_PER_IP_CONNECTION_LIMIT, PER_CLIENT_MOST,
		MHD_OPTION_CONNECTION_TIMEOUT, IDLE_S, MHD_OPTION_CONNECTION_MEMORY_LIMIT,
		MEMORY_BYTES, MHD_OPTION_URI_LOG_CALLBACK, request_begins, NULL,
		MHD_OPTION_NOTIFY_COMPLETED, request_ends, NULL, MHD_OPTION_END);
}

int http_open(const struct config *config, struct store *store, http_live *live,
	void *context, struct http **ret)
{
	int fd = http_socket(&config->http);
	if (fd < 0)
		return fd;
	struct http *http = xcalloc(1, sizeof(*http));
	*http = (struct http){.config = config,
		.store = store,
		.live = live,
		.context = context,
		.port = http_socket_port(fd)};
	http->daemon = start_library(http, fd);
	if (!http->daemon) {
		log_error("http: address %s port %d: the HTTP library did not start",
			config->http.address, config->http.port);
		free(http);
		return -ENOMEM;
	}
	http->fd = MHD_get_daemon_info(http->daemon, MHD_DAEMON_INFO_EPOLL_FD)->epoll_fd;
	*ret = http;
	return 0;
}

void http_close(struct http *http)
{
	if (!http)
		return;
	MHD_stop_daemon(http->daemon); /* closes the socket too */
	free(http);
}

void http_swap(struct http *http, const struct config *config, struct store *store)
{
	http->config = config;
	http->store = store;
}

int http_port(const struct http *http)
{
	return http->port;
}

int http_fd(const struct http *http)
{
	return http->fd;
}

int http_timeout_ms(struct http *http)
{
	MHD_UNSIGNED_LONG_LONG ms;
	if (MHD_get_timeout(http->daemon, &ms) != MHD_YES)
		return -1;
	return ms > INT_MAX ? INT_MAX : (int)ms;
}

void http_turn(struct http *http)
{
	/* Fails only when epoll itself does: the next turn tries again. */
	(void)MHD_run(http->daemon);
}
