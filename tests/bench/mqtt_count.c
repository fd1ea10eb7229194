/*
 * The floor that a subscriber is measured against: it counts and does nothing else. The
 * library's per-socket calls in a poll loop, up to 64 reads a wake-up, TCP_NODELAY, as
 * the daemon has them. It says "ready" when subscribed and ends, with its count, after
 * COUNT messages or ten seconds without any.
 *
 * Usage: mqtt_count PORT COUNT
 */
#include <errno.h>
#include <mosquitto.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>

#define READS_MOST 64
#define IDLE_MS    10000

static unsigned long received;

static void on_connect(struct mosquitto *client, void *context, int code)
{
	(void)context;
	if (code == 0)
		(void)mosquitto_subscribe(client, NULL, "bench/+/state", 0);
}

static void on_subscribe(
	struct mosquitto *client, void *context, int id, int count, const int *granted)
{
	(void)client;
	(void)context;
	(void)id;
	(void)count;
	(void)granted;
	(void)puts("ready");
	(void)fflush(stdout);
}

static void on_message(
	struct mosquitto *client, void *context, const struct mosquitto_message *message)
{
	(void)client;
	(void)context;
	(void)message;
	received++;
}

static int turn(struct mosquitto *client)
{
	short writes = mosquitto_want_write(client) ? POLLOUT : 0;
	struct pollfd p = {mosquitto_socket(client), (short)(POLLIN | writes), 0};
	int code = 0;
	if (poll(&p, 1, IDLE_MS) <= 0)
		return MOSQ_ERR_CONN_LOST;
	if (p.revents & POLLOUT)
		code = mosquitto_loop_write(client, 1);
	for (int i = 0; i < READS_MOST && code == 0 && p.revents & POLLIN; i++) {
		errno = 0;
		code = mosquitto_loop_read(client, 1);
		if (errno == EAGAIN)
			break;
	}
	return code;
}

int main(int argc, char **argv)
{
	(void)mosquitto_lib_init();
	struct mosquitto *client = mosquitto_new(NULL, true, NULL);
	if (argc != 3 || !client) {
		(void)fputs("usage: mqtt_count PORT COUNT\n", stderr);
		return 2;
	}
	unsigned long count = strtoul(argv[2], NULL, 10);
	mosquitto_connect_callback_set(client, on_connect);
	mosquitto_subscribe_callback_set(client, on_subscribe);
	mosquitto_message_callback_set(client, on_message);
	(void)mosquitto_int_option(client, MOSQ_OPT_TCP_NODELAY, 1); /* a known option */
	int code = mosquitto_connect(
		client, "127.0.0.1", (int)strtol(argv[1], NULL, 10), 600);
	while (code == 0 && received < count)
		code = turn(client);
	(void)printf("%lu\n", received);
	mosquitto_destroy(client);
	return received == count ? 0 : 1;
}
