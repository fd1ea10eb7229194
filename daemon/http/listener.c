/*
 * The listening socket, libmicrohttpd without a thread of its own, and the way of a
 * request from its header to the reply.
 *
 * A request is answered in the handler's second call, when it is complete: an answer in
 * the first closes the connection. That is what a refused body wants, so that it is never
 * read. The socket is opened here rather than by the library, for its errors.
 */
#include "face.h"
#include "stream.h"

#include <heatbook/log.h>

#include <errno.h>
#include <limits.h>
#include <microhttpd.h>
#include <string.h>
#include <unistd.h>

#define CONNECTIONS_MOST 32u
#define PER_CLIENT_MOST  8u
#define IDLE_S           15u
#define MEMORY_BYTES     ((size_t)32 * 1024) /* header and target, a connection */

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
		if (!request_has_body(connection))
			return MHD_YES;
	}
	const char *accept = MHD_lookup_connection_value(
		connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_ACCEPT);
	request->accept = accept ? xstrdup(accept) : NULL;
	request->head = strcmp(method, MHD_HTTP_METHOD_HEAD) == 0;
	request->last_event_id =
		MHD_lookup_connection_value(connection, MHD_HEADER_KIND, "Last-Event-ID");
	request->takes_gzip = accepts_gzip(MHD_lookup_connection_value(
		connection, MHD_HEADER_KIND, MHD_HTTP_HEADER_ACCEPT_ENCODING));
	if (request_admitted(http, connection, request, method, &reply))
		dispatch(http, request, method, &reply);
	return respond(http, connection, request, &reply);
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
	return MHD_start_daemon(MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME, 0, NULL, NULL,
		request_goes_on, http, MHD_OPTION_LISTEN_SOCKET, fd,
		MHD_OPTION_CONNECTION_LIMIT, CONNECTIONS_MOST,
		MHD_OPTION_PER_IP_CONNECTION_LIMIT, PER_CLIENT_MOST,
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
		.shelf = shelf_new(),
		.port = http_socket_port(fd)};
	http->daemon = start_library(http, fd);
	if (!http->daemon) {
		log_error("http: address %s port %d: the HTTP library did not start",
			config->http.address, config->http.port);
		shelf_free(http->shelf);
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
	stream_end(http);
	(void)MHD_run(http->daemon);   /* none may rest when it stops */
	MHD_stop_daemon(http->daemon); /* closes the socket too */
	shelf_free(http->shelf);
	free(http);
}

void http_swap(struct http *http, const struct config *config, struct store *store)
{
	stream_end(http); /* their minutes are the former configuration's */
	http->config = config;
	http->store = store;
	shelf_clear(http->shelf); /* what is on it was another configuration's */
}

void http_tell(struct http *http, const struct news *news)
{
	http->news = news;
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
	int stream_ms = stream_wait_ms(http);
	if (MHD_get_timeout(http->daemon, &ms) != MHD_YES)
		return stream_ms;
	if (stream_ms >= 0 && (unsigned)stream_ms < ms)
		return stream_ms;
	return ms > INT_MAX ? INT_MAX : (int)ms;
}

void http_turn(struct http *http)
{
	stream_turn(http);
	/* Fails only when epoll itself does: the next turn tries again. */
	(void)MHD_run(http->daemon);
}
