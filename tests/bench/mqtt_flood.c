/*
 * A publisher that never waits but for the socket: N distinct JSON objects of 20 numbers
 * at QoS 0 (OASIS MQTT 3.1.1, 3.1, 3.3, 3.12; read), packed into large writes. It says
 * "ready", begins with a line on standard input and ends when the broker has answered a
 * ping behind the last message.
 *
 * Usage: mqtt_flood PORT COUNT
 */
#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define BLOCK      65536
#define PACKET_ANY 1024 /* none is larger */
#define TOPICS     4

static int connect_to(int port)
{
	static const unsigned char hello[] = {0x10, 17, 0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0,
		0, 0, 5, 'f', 'l', 'o', 'o', 'd'};
	struct sockaddr_in a = {.sin_family = AF_INET,
		.sin_port = htons((uint16_t)port),
		.sin_addr = {htonl(INADDR_LOOPBACK)}};
	unsigned char answer[4];
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), on = 1;
	(void)setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof(on)); /* or slower */
	bool good = connect(fd, (struct sockaddr *)&a, sizeof(a)) == 0 &&
		    write(fd, hello, sizeof(hello)) == sizeof(hello) &&
		    recv(fd, answer, sizeof(answer), MSG_WAITALL) == sizeof(answer) &&
		    answer[3] == 0;
	return good ? fd : -1;
}

/* 20 numbers in three levels, about 380 bytes; all differ by `n`. */
static size_t put_payload(char *to, size_t room, unsigned n)
{
	unsigned a = n % 997, b = n * 2654435761U % 911;
	return (size_t)snprintf(to, room,
		"{\"n\":%u,\"water\":{\"out\":%u.%02u,\"back\":%u.%02u,\"rate\":%u.%u,"
		"\"gauge\":1.%02u},\"air\":{\"t\":-%u.%u,\"rh\":%u},"
		"\"unit\":{\"hz\":%u,\"power\":%u,\"suction\":%u.%02u,\"discharge\":%u.%"
		"u,"
		"\"high\":%u.%02u,\"low\":%u.%02u,\"valve\":%u,\"fan\":%u,\"starts\":%u},"
		"\"tank\":{\"top\":%u.%02u,\"bottom\":%u.%02u},\"mode\":1,"
		"\"grid\":{\"v\":23%u.%u,\"a\":%u.%02u}}",
		n, 30 + a % 9, b % 100, 26 + b % 7, a % 100, 14 + a % 5, b % 10,
		40 + a % 30, b % 12, a % 10, 60 + b % 30, 30 + a % 60, 600 + b, 2 + a % 9,
		b % 100, 50 + b % 20, a % 10, 18 + a % 9, b % 100, 5 + b % 5, a % 100,
		a % 480, b % 900, n / 1000, 45 + b % 9, a % 100, 38 + a % 6, b % 100,
		a % 10, b % 10, a % 9, b % 100);
}

static size_t put_packet(unsigned char *to, unsigned n)
{
	char payload[PACKET_ANY], topic[32];
	size_t size = put_payload(payload, sizeof(payload), n);
	size_t length =
		(size_t)snprintf(topic, sizeof(topic), "bench/%u/state", n % TOPICS);
	size_t rest = 2 + length + size, at = 0;
	to[at++] = 0x30;
	to[at++] = (unsigned char)(rest % 128 | 128); /* two bytes for 128 to 16383 */
	to[at++] = (unsigned char)(rest / 128);
	to[at++] = 0;
	to[at++] = (unsigned char)length;
	memcpy(to + at, topic, length);
	memcpy(to + at + length, payload, size);
	return at + length + size;
}

static bool write_all(int fd, const unsigned char *bytes, size_t length)
{
	for (ssize_t n; length > 0; bytes += n, length -= (size_t)n)
		if ((n = write(fd, bytes, length)) <= 0)
			return false;
	return true;
}

static bool flood(int fd, unsigned count)
{
	static unsigned char block[BLOCK];
	size_t at = 0;
	for (unsigned n = 0; n < count; n++) {
		if (at + PACKET_ANY > sizeof(block)) {
			if (!write_all(fd, block, at))
				return false;
			at = 0;
		}
		at += put_packet(block + at, n);
	}
	unsigned char answer[2];
	return write_all(fd, block, at) && write(fd, "\xc0\0", 2) == 2 &&
	       recv(fd, answer, 2, MSG_WAITALL) == 2 && answer[0] == 0xd0 &&
	       write(fd, "\xe0\0", 2) == 2;
}

int main(int argc, char **argv)
{
	int fd = argc == 3 ? connect_to((int)strtol(argv[1], NULL, 10)) : -1;
	if (fd < 0) {
		(void)fputs("usage: mqtt_flood PORT COUNT; or no broker there\n", stderr);
		return 2;
	}
	(void)puts("ready");
	(void)fflush(stdout);
	(void)getchar(); /* begins at an end of input as well */
	bool good = flood(fd, (unsigned)strtoul(argv[2], NULL, 10));
	(void)close(fd);
	return good ? 0 : 1;
}
