/*
 * The listening socket. It is opened here rather than by the HTTP library, so that a
 * failure can be told with its cause and its remedy.
 */
#include "face.h"

#include <heatbook/log.h>

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define BACKLOG 64

union address {
	struct sockaddr any;
	struct sockaddr_in in;
	struct sockaddr_in6 in6;
};

/* "localhost" or an IP address; false when it is neither. */
static bool address_parse(
	const struct http_config *config, union address *ret, socklen_t *ret_size)
{
	const char *text =
		strcmp(config->address, "localhost") == 0 ? "127.0.0.1" : config->address;
	*ret = (union address){0};
	if (inet_pton(AF_INET, text, &ret->in.sin_addr) == 1) {
		ret->in.sin_family = AF_INET;
		ret->in.sin_port = htons((uint16_t)config->port);
		*ret_size = sizeof(ret->in);
		return true;
	}
	if (inet_pton(AF_INET6, text, &ret->in6.sin6_addr) != 1)
		return false;
	ret->in6.sin6_family = AF_INET6;
	ret->in6.sin6_port = htons((uint16_t)config->port);
	*ret_size = sizeof(ret->in6);
	return true;
}

static const char *remedy_of(int error)
{
	switch (error) {
	case EADDRINUSE:
		return "end the program that has the port, or set another [http] port";
	case EACCES:
		return "ports below 1024 need a privilege: set another [http] port";
	case EADDRNOTAVAIL:
		return "this host has no such address: set [http] address to one of its "
		       "own";
	default:
		return "see [http] address and port";
	}
}

/* A listening socket, or -errno. */
static int listen_at(const union address *address, socklen_t size)
{
	const int on = 1, off = 0;
	int fd = socket(
		address->any.sa_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
	if (fd < 0)
		return -errno;
	/* "::" is all addresses, whatever the system's own setting. */
	if (address->any.sa_family == AF_INET6)
		(void)setsockopt(fd, IPPROTO_IPV6, IPV6_V6ONLY, &off, sizeof(off));
	/* A restart must not wait for connections of the time before. */
	if (setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof(on)) == 0 &&
		bind(fd, &address->any, size) == 0 && listen(fd, BACKLOG) == 0)
		return fd;
	int error = errno;
	(void)close(fd); /* nothing was written to it */
	return -error;
}

int http_socket_port(int fd)
{
	union address address = {0};
	socklen_t size = sizeof(address);
	if (getsockname(fd, &address.any, &size) < 0)
		return -errno;
	return ntohs(address.any.sa_family == AF_INET ? address.in.sin_port
						      : address.in6.sin6_port);
}

int http_socket(const struct http_config *config)
{
	union address address;
	socklen_t size = 0;
	if (!address_parse(config, &address, &size)) {
		log_error("http: address %s port %d: neither an IP address nor "
			  "\"localhost\"; "
			  "set [http] address to one",
			config->address, config->port);
		return -EINVAL;
	}
	if (!http_is_guarded(config)) {
		log_error("http: address %s port %d: is reached from beyond this host; "
			  "give a token_file, say open = yes, or set [http] address to "
			  "127.0.0.1 or ::1",
			config->address, config->port);
		return -EACCES;
	}
	int fd = listen_at(&address, size);
	if (fd < 0)
		log_errno(LOG_LEVEL_ERROR, fd,
			"http: address %s port %d: cannot listen (%s)", config->address,
			config->port, remedy_of(-fd));
	return fd;
}
