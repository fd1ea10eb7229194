/*
 * The floor under an HTTP answer: libmicrohttpd with one reply that is ready, sent to
 * whatever is asked, in a loop over its epoll descriptor as the daemon's. The reply is a
 * file with an answer as it came: status line, fields, an empty line, the body.
 *
 * Usage: http_bare FILE; writes the port, on loopback, as a line. Ends when it is killed.
 */
#include <arpa/inet.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>

#define CONNECTIONS_MOST 64u
#define WAIT_MS          1000

static struct MHD_Response *ready;

/* In the second call, when the request is complete: else the connection would be closed.
 */
static enum MHD_Result answer(void *context, struct MHD_Connection *connection,
	const char *url, const char *method, const char *version, const char *upload,
	size_t *upload_size, void **state)
{
	static int seen;
	(void)context;
	(void)url;
	(void)method;
	(void)version;
	(void)upload;
	(void)upload_size;
	if (!*state) {
		*state = &seen;
		return MHD_YES;
	}
	return MHD_queue_response(connection, MHD_HTTP_OK, ready);
}

/* What the library writes by itself. */
static int is_automatic(const char *name)
{
	return strcasecmp(name, "Date") == 0 || strcasecmp(name, "Content-Length") == 0 ||
	       strcasecmp(name, "Connection") == 0;
}

/* Up to 16 MiB, as text. */
static char *file_read(const char *path, size_t *ret_length)
{
	static char bytes[(16 << 20) + 1];
	FILE *f = fopen(path, "rbe");
	if (!f)
		return NULL;
	*ret_length = fread(bytes, 1, sizeof(bytes) - 1, f);
	bytes[*ret_length] = '\0';
	return fclose(f) == 0 ? bytes : NULL;
}

/* Takes the file apart; 0, or -1 when it is no reply. */
static int reply_read(char *bytes, size_t length)
{
	char *body = strstr(bytes, "\r\n\r\n");
	char *line = body ? strstr(bytes, "\r\n") + 2 : NULL;
	if (!line)
		return -1;
	body += 2;
	*body = '\0';
	ready = MHD_create_response_from_buffer(
		length - (size_t)(body + 2 - bytes), body + 2, MHD_RESPMEM_PERSISTENT);
	while (ready && *line) {
		char *end = strstr(line, "\r\n"), *colon = strstr(line, ": ");
		if (!end || !colon)
			return -1;
		*end = *colon = '\0';
		if (!is_automatic(line) &&
			MHD_add_response_header(ready, line, colon + 2) != MHD_YES)
			return -1;
		line = end + 2;
	}
	return ready ? 0 : -1;
}

static int listen_on_loopback(int *ret_port)
{
	struct sockaddr_in address = {
		.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
	socklen_t size = sizeof(address);
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
	if (fd < 0 || bind(fd, (struct sockaddr *)&address, size) < 0 ||
		listen(fd, CONNECTIONS_MOST) < 0 ||
		getsockname(fd, (struct sockaddr *)&address, &size) < 0)
		return -1;
	*ret_port = ntohs(address.sin_port);
	return fd;
}

int main(int argc, char **argv)
{
	size_t length = 0;
	int port = 0, fd = listen_on_loopback(&port);
	char *bytes = argc == 2 ? file_read(argv[1], &length) : NULL;
	if (fd < 0 || !bytes || reply_read(bytes, length) < 0) {
		(void)fputs("usage: http_bare FILE (of one reply)\n", stderr);
		return 2;
	}
	struct MHD_Daemon *daemon = MHD_start_daemon(MHD_USE_EPOLL, 0, NULL, NULL, answer,
		NULL, MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_CONNECTION_LIMIT,
		CONNECTIONS_MOST, MHD_OPTION_END);
	if (!daemon)
		return 1;
	(void)printf("%d\n", port);
	(void)fflush(stdout);
	struct pollfd p = {
		.fd = MHD_get_daemon_info(daemon, MHD_DAEMON_INFO_EPOLL_FD)->epoll_fd,
		.events = POLLIN};
	for (;;) {
		(void)poll(&p, 1, WAIT_MS); /* a signal only shortens the wait */
		(void)MHD_run(daemon);
	}
}
