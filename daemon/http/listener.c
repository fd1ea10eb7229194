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

#include <heatbook/clock.h>
#include <heatbook/log.h>

#include <errno.h>
#include <limits.h>
#include <microhttpd.h>
#include <string.h>
#include <unistd.h>

#define MEMORY_BYTES ((size_t)32 * 1024) /* header and target, a connection */

struct visit *visit_of(struct MHD_Connection *connection)
{
	return MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT)
		->socket_context;
}

static void connection_changes(void *context, struct MHD_Connection *connection,
	void **state, enum MHD_ConnectionNotificationCode what)
{
	struct http *http = context;
	if (what == MHD_CONNECTION_NOTIFY_STARTED)
		*state = visit_begin(&http->guests,
			MHD_get_connection_info(
				connection, MHD_CONNECTION_INFO_CONNECTION_FD)
				->connect_fd,
			clock_mono_ms());
	else
		visit_end(*state);
}

static void *request_begins(
	void *context, const char *target, struct MHD_Connection *connection)
{
	(void)context; /* the request knows nothing of its server */
	(void)connection;
	return request_new(target);
}

/* Packed, it is shorter: then the reader has more time than it needs. */
static size_t reply_length(const struct reply *reply)
{
	return reply->kept   ? reply->kept->bytes
	       : reply->file ? reply->file->plain_length
			     : reply->body.out.length;
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
	if (reply.stream)
		visit_streams(visit_of(connection));
	else
		visit_answers(
			visit_of(connection), reply_length(&reply), clock_mono_ms());
	return respond(http, connection, request, &reply);
}

static void request_ends(void *context, struct MHD_Connection *connection, void **state,
	enum MHD_RequestTerminationCode why)
{
	(void)context;
	(void)why; /* however it ended */
	visit_rests(visit_of(connection), clock_mono_ms());
	request_free(*state);
	*state = NULL;
}

static struct MHD_Daemon *start_library(struct http *http, int fd)
{
	const struct http_config *config = &http->config->http;
	return MHD_start_daemon(MHD_USE_EPOLL | MHD_ALLOW_SUSPEND_RESUME, 0, NULL, NULL,
		request_goes_on, http, MHD_OPTION_LISTEN_SOCKET, fd,
		MHD_OPTION_STRICT_FOR_CLIENT, 1, MHD_OPTION_CONNECTION_LIMIT,
		(unsigned)config->connections, MHD_OPTION_PER_IP_CONNECTION_LIMIT,
		(unsigned)config->connections_per_client, MHD_OPTION_CONNECTION_TIMEOUT,
		IDLE_S, MHD_OPTION_CONNECTION_MEMORY_LIMIT, MEMORY_BYTES,
		MHD_OPTION_NOTIFY_CONNECTION, connection_changes, http,
		MHD_OPTION_URI_LOG_CALLBACK, request_begins, NULL,
		MHD_OPTION_NOTIFY_COMPLETED, request_ends, NULL, MHD_OPTION_END);
}

/* The tokens of a configuration, NULL where it wants none; 0, or -errno once the log has
 * what is wrong. */
static int take_tokens(const struct http_config *config, struct tokens **ret)
{
	char why[256];
	*ret = NULL;
	if (!config->token_file)
		return 0;
	struct tokens *tokens = xcalloc(1, sizeof(*tokens));
	int r = tokens_read(config->token_file, tokens, why);
	if (r == 0) {
		*ret = tokens;
		return 0;
	}
	free(tokens);
	log_error("http: token_file %s: %s", config->token_file, why);
	return r < 0 ? r : -EINVAL;
}

static void drop_tokens(struct tokens *tokens)
{
	if (tokens)
		explicit_bzero(tokens, sizeof(*tokens));
	free(tokens);
}

int http_open(const struct config *config, struct store *store, http_live *live,
	void *context, struct http **ret)
{
	struct tokens *tokens = NULL;
	int fd = take_tokens(&config->http, &tokens);
	if (fd == 0)
		fd = http_socket(&config->http);
	if (fd < 0) {
		drop_tokens(tokens);
		return fd;
	}
	struct http *http = xcalloc(1, sizeof(*http));
	*http = (struct http){.config = config,
		.tokens = tokens,
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
		drop_tokens(http->tokens);
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
	drop_tokens(http->tokens);
	buffer_release(&http->notices);
	notice_walks_drop(&http->walks);
	free(http);
}

int http_swap(struct http *http, const struct config *config, struct store *store)
{
	struct tokens *tokens;
	int r = take_tokens(&config->http, &tokens);
	if (r != 0)
		return r;
	drop_tokens(http->tokens);
	http->tokens = tokens;
	stream_end(http); /* their minutes are the former configuration's */
	http->config = config;
	http->store = store;
	shelf_clear(http->shelf); /* what is on it was another configuration's */
	http->notices_digest = 0; /* and so were its notices */
	notice_walks_drop(&http->walks);
	return 0;
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
	MHD_UNSIGNED_LONG_LONG ms = INT_MAX;
	int64_t until_ms = guests_next_ms(&http->guests);
	int stream_ms = stream_wait_ms(http);
	bool some = MHD_get_timeout(http->daemon, &ms) == MHD_YES;
	int64_t wait_ms = some && ms < INT_MAX ? (int64_t)ms : INT_MAX;
	if (stream_ms >= 0 && stream_ms < wait_ms)
		wait_ms = stream_ms;
	if (until_ms < INT64_MAX && until_ms - clock_mono_ms() < wait_ms)
		wait_ms = until_ms - clock_mono_ms();
	if (wait_ms == INT_MAX)
		return -1;
	return wait_ms > 0 ? (int)wait_ms : 0;
}

void http_turn(struct http *http)
{
	stream_turn(http);
	/* Fails only when epoll itself does: the next turn tries again. */
	(void)MHD_run(http->daemon);
	if (guests_cut(&http->guests, clock_mono_ms()))
		(void)MHD_run(http->daemon); /* likewise; closes what was cut */
}
