/*
 * Reading by the library. See intake.h.
 *
 * Up to 64 reads a wake-up: the library takes one packet a call.
 *
 * The library takes memory for the length that a packet announces, up to 256 MB, fills it
 * in one call while bytes keep coming, and copies a message once more. So without TLS the
 * bytes that wait in the socket are looked at first, and only packets of a size that can
 * be believed pass. With TLS, whose other end has proved who it is, a connection is given
 * up when as much has come without any packet of use coming to its end; a packet that
 * arrives faster than it is read is then bounded by the service's MemoryMax only.
 *
 * A header that is not all there waits in the socket, since what the library has begun to
 * read cannot be looked at any more; meanwhile the socket is readable, and is looked at
 * by time.
 */
#include "intake.h"

#include <errno.h>
#include <linux/tcp.h> /* tcpi_bytes_received, which the C library's does not have */
#include <mosquitto.h>
#include <netinet/in.h>
#include <sys/socket.h>

#define READS_MOST 64
#define STARVED_MS 20

void intake_reset(struct intake *in, size_t most, bool blind)
{
	in->most = most;
	in->blind = blind;
	in->in_packet = in->starved = false;
	in->base_bytes = -1;
}

short intake_events(const struct intake *in)
{
	return in->starved ? POLLRDHUP : POLLIN;
}

int64_t intake_wait_ms(const struct intake *in, int64_t most_ms)
{
	return in->starved && most_ms > STARVED_MS ? STARVED_MS : most_ms;
}

bool intake_is_due(const struct intake *in)
{
	return in->starved;
}

/* How many packets the library may read now. */
static int look(struct intake *in, struct mosquitto *client, bool ends,
	enum gate_verdict *verdict)
{
	int whole = 0;
	ssize_t n = recv(mosquitto_socket(client), in->window, sizeof(in->window),
		MSG_PEEK | MSG_DONTWAIT);
	in->starved = false;
	*verdict = GATE_PASS;
	if (n <= 0) /* the library shall meet the end itself */
		return n < 0 && errno == EAGAIN ? 0 : 1;
	*verdict = gate_look(in->window, (size_t)n, in->most, &whole);
	if (whole > 0)
		return whole;
	in->starved = *verdict == GATE_WAIT && !ends;
	return *verdict == GATE_PASS || (*verdict == GATE_WAIT && ends);
}

int intake_read(struct intake *in, struct mosquitto *client, bool ends, const char *cause,
	enum gate_verdict *ret_verdict)
{
	int code = 0;
	for (int left = READS_MOST, n = 0; left > 0; left--, n--) {
		if (n <= 0)
			n = in->blind || in->in_packet
				    ? 1
				    : look(in, client, ends, ret_verdict);
		if (n <= 0)
			break;
		errno = 0;
		code = mosquitto_loop_read(client, 1); /* EAGAIN: not to its end */
		in->in_packet = errno == EAGAIN;
		if (in->in_packet || code != 0 || cause[0])
			break;
	}
	return code;
}

bool intake_swells(struct intake *in, struct mosquitto *client, bool advanced)
{
	struct tcp_info info;
	socklen_t size = sizeof(info);
	if (!in->blind || advanced ||
		getsockopt(mosquitto_socket(client), IPPROTO_TCP, TCP_INFO, &info,
			&size) < 0) {
		in->base_bytes = -1;
		return false;
	}
	int64_t bytes = (int64_t)info.tcpi_bytes_received;
	if (in->base_bytes < 0)
		in->base_bytes = bytes;
	return bytes - in->base_bytes > (int64_t)in->most;
}
