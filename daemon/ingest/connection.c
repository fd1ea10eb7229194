/*
 * A connection to the broker: libmosquitto's per-socket calls in a poll loop of our own.
 *
 * Waiting is bounded everywhere and ends when `stop_fd` is readable, except in the
 * resolver (getaddrinfo(3), bounded by its own time limits). Therefore addresses are
 * resolved here and handed to the library as numbers, one after the other, by its call
 * that does not wait for the handshake. An answer to CONNECT, SUBSCRIBE or PINGREQ that
 * does not come is a loss.
 *
 * Up to 64 reads a wake-up: the library takes one packet a call.
 *
 * Subscriptions ask for QoS 0: the library acknowledges a QoS 1 message before its
 * callback runs, so QoS 1 would not guard what we have not yet accepted, and a broker
 * holds fewer messages for a stalled subscriber at QoS 1 (its in-flight window and queue)
 * than at QoS 0 (the sockets' buffers as well).
 */
#include "connection.h"

#include "client.h"

#include <heatbook/clock.h>

#include <errno.h>
#include <mosquitto.h>
#include <netdb.h>
#include <poll.h>
#include <string.h>
#include <sys/socket.h>

#define READS_MOST        64
#define ANSWER_MOST_MS    INT64_C(10000) /* for CONNACK, then for all SUBACKs */
#define MISC_EVERY_MS     INT64_C(1000)
#define LEAVE_MOST_MS     500
#define KEEPALIVE_LEAST_S 5 /* the library's */
#define QOS_GRANTED_MOST  2 /* MQTT 3.1.1 section 3.9.3; 128 is a refusal */

struct connection {
	const struct broker_config *broker;
	const char *const *filters;
	size_t filter_count;
	int stop_fd;
	const struct connection_events *events;
	void *context;
	struct mosquitto *client;
	int keepalive_s;

	/* Of the connection being made or held. */
	int *pending;   /* packet identifiers by filter, 0 when answered */
	size_t waiting; /* filters without an answer */
	size_t granted;
	bool answered;   /* CONNACK came */
	bool subscribed; /* every SUBACK came */
	bool closed;     /* by the other side, without a word */
	int64_t deadline_ms;
	int64_t heard_ms;
	char cause[CAUSE_MOST]; /* "" while there is no reason to end */
};

PRINTF_LIKE(2, 3)
static void set_cause(struct connection *c, const char *format, ...)
{
	va_list args;
	if (c->cause[0])
		return; /* the first is the cause, the rest its consequence */
	int n = snprintf(c->cause, sizeof(c->cause), "%.100s port %d: ", c->broker->host,
		c->broker->port);
	va_start(args, format);
	(void)vsnprintf(c->cause + n, sizeof(c->cause) - (size_t)n, format, args);
	va_end(args);
}

/* All answers are in: with nothing granted the connection is of no use. */
static void settle(struct connection *c)
{
	if (c->waiting > 0 || c->subscribed)
		return;
	if (c->granted == 0 && c->filter_count > 0) {
		set_cause(c, "the broker refuses every subscription");
		return;
	}
	c->subscribed = true;
	c->events->subscribed(c->context);
}

static void on_connect(struct mosquitto *client, void *context, int code)
{
	struct connection *c = context;
	c->answered = true;
	if (code != 0) {
		set_cause(c, "%s", client_connack_words(code));
		return;
	}
	c->events->connected(c->context);
	c->deadline_ms = clock_mono_ms() + ANSWER_MOST_MS;
	for (size_t i = 0; i < c->filter_count; i++) {
		/* A packet a filter: one that is refused does not take the others along.
		 */
		if (mosquitto_subscribe(client, &c->pending[i], c->filters[i], 0) == 0) {
			c->waiting++;
			continue;
		}
		c->pending[i] = 0;
		c->events->refused(c->context, i, "it is no topic filter of MQTT");
	}
	settle(c);
}

static void on_subscribe(
	struct mosquitto *client, void *context, int id, int count, const int *granted)
{
	struct connection *c = context;
	(void)client; /* the same as c->client */
	for (size_t i = 0; i < c->filter_count; i++) {
		if (id == 0 || c->pending[i] != id)
			continue;
		c->pending[i] = 0;
		c->waiting--;
		if (count == 1 && granted[0] >= 0 && granted[0] <= QOS_GRANTED_MOST)
			c->granted++;
		else
			c->events->refused(c->context, i, "by the broker");
		settle(c);
		return;
	}
}

static void on_message(
	struct mosquitto *client, void *context, const struct mosquitto_message *message)
{
	struct connection *c = context;
	(void)client; /* the same as c->client */
	c->events->message(c->context, message);
}

int connection_new(const struct broker_config *broker, const char *const *filters,
	size_t filter_count, int stop_fd, const struct connection_events *events,
	void *context, struct connection **ret)
{
	struct connection *c = xcalloc(1, sizeof(*c));
	*c = (struct connection){.broker = broker,
		.filters = filters,
		.filter_count = filter_count,
		.stop_fd = stop_fd,
		.events = events,
		.context = context,
		.keepalive_s = broker->keepalive_s > KEEPALIVE_LEAST_S
				       ? broker->keepalive_s
				       : KEEPALIVE_LEAST_S};
	int r = client_new(broker, c, &c->client);
	if (r < 0) {
		free(c);
		return r;
	}
	c->pending = xcalloc(filter_count, sizeof(*c->pending));
	mosquitto_connect_callback_set(c->client, on_connect);
	mosquitto_subscribe_callback_set(c->client, on_subscribe);
	mosquitto_message_callback_set(c->client, on_message);
	*ret = c;
	return 0;
}

void connection_free(struct connection *c)
{
	if (!c)
		return;
	mosquitto_destroy(c->client);
	free(c->pending);
	free(c);
}

bool connection_wait(const struct connection *c, int64_t span_ms)
{
	int64_t until_ms = clock_mono_ms() + span_ms;
	struct pollfd p = {.fd = c->stop_fd, .events = POLLIN};
	for (;;) {
		int64_t left_ms = until_ms - clock_mono_ms();
		if (poll(&p, 1, left_ms > 0 ? (int)left_ms : 0) > 0)
			return true;
		if (left_ms <= 0)
			return false;
	}
}

/* Ends the connection from our side, whatever state it is in: the library closes the
 * socket when reading from it fails. */
static void drop(struct connection *c)
{
	int fd = mosquitto_socket(c->client);
	if (fd < 0)
		return;
	(void)shutdown(fd, SHUT_RDWR); /* not connected yet is as good */
	for (int i = 0; i < 2 * READS_MOST && mosquitto_socket(c->client) >= 0; i++)
		(void)mosquitto_loop_read(c->client, 1); /* it is over either way */
}

/* In good order: DISCONNECT, unless the socket does not take it. */
static int leave(struct connection *c)
{
	int64_t until_ms = clock_mono_ms() + LEAVE_MOST_MS;
	(void)mosquitto_disconnect(c->client); /* refused when there is no connection */
	while (mosquitto_socket(c->client) >= 0 && mosquitto_want_write(c->client)) {
		struct pollfd p = {.fd = mosquitto_socket(c->client), .events = POLLOUT};
		int64_t left_ms = until_ms - clock_mono_ms();
		if (left_ms <= 0 || poll(&p, 1, (int)left_ms) <= 0)
			break;
		if (mosquitto_loop_write(c->client, 1) != 0)
			break;
	}
	drop(c);
	return CONNECTION_STOPPED;
}

static void check_deadlines(struct connection *c, int64_t now_ms)
{
	int64_t silence_ms = 3 * (int64_t)c->keepalive_s * 1000;
	if (!c->answered && now_ms >= c->deadline_ms)
		set_cause(c, "no answer within %d s", (int)(ANSWER_MOST_MS / 1000));
	else if (c->answered && !c->subscribed && now_ms >= c->deadline_ms)
		set_cause(c, "no answer to %zu subscriptions within %d s", c->waiting,
			(int)(ANSWER_MOST_MS / 1000));
	else if (now_ms - c->heard_ms >= silence_ms)
		set_cause(
			c, "nothing received for %lld s", (long long)(silence_ms / 1000));
}

/* What poll(2) found on the socket; a code of the library, errno with MOSQ_ERR_ERRNO. */
static int serve_socket(struct connection *c, short events)
{
	int code = 0;
	if (events & POLLOUT)
		code = mosquitto_loop_write(c->client, 1);
	if (code != 0 || !(events & (POLLIN | POLLERR | POLLHUP)))
		return code;
	for (int i = 0; i < READS_MOST && code == 0; i++) {
		errno = 0;
		code = mosquitto_loop_read(c->client, 1);
		if (errno == EAGAIN || c->cause[0])
			break;
	}
	return code;
}

/* One wake-up. False when the connection is over, with the cause set, or to be left. */
static bool turn(struct connection *c, int64_t *misc_ms, bool *ret_stop)
{
	int64_t left_ms = *misc_ms - clock_mono_ms();
	bool writes = mosquitto_want_write(c->client);
	struct pollfd p[2] = {
		{.fd = mosquitto_socket(c->client),
			.events = writes ? POLLIN | POLLOUT : POLLIN},
		{.fd = c->stop_fd, .events = POLLIN},
	};
	int n = poll(p, ARRAY_LEN(p), left_ms > 0 ? (int)left_ms : 0);
	if (n > 0 && p[1].revents) {
		*ret_stop = true;
		return false;
	}
	if (n > 0 && p[0].revents & POLLIN)
		c->heard_ms = clock_mono_ms();
	errno = 0;
	int code = n > 0 ? serve_socket(c, p[0].revents) : 0;
	int error = errno;
	int64_t now_ms = clock_mono_ms();
	if (code == 0 && now_ms >= *misc_ms) {
		*misc_ms = now_ms + MISC_EVERY_MS;
		code = mosquitto_loop_misc(c->client);
		error = errno;
		check_deadlines(c, now_ms);
	}
	c->closed = code == MOSQ_ERR_CONN_LOST && !c->cause[0];
	if (code != 0 || mosquitto_socket(c->client) < 0)
		set_cause(c, "%s", client_error_words(code, error));
	return c->cause[0] == '\0';
}

static int attend(struct connection *c)
{
	int64_t misc_ms = clock_mono_ms() + MISC_EVERY_MS;
	bool stop = false;
	while (turn(c, &misc_ms, &stop))
		;
	if (stop)
		return leave(c);
	drop(c);
	return c->closed ? CONNECTION_CLOSED : CONNECTION_LOST;
}

static int try_address(struct connection *c, const struct addrinfo *address)
{
	char host[NI_MAXHOST];
	int r = getnameinfo(address->ai_addr, address->ai_addrlen, host, sizeof(host),
		NULL, 0, NI_NUMERICHOST);
	c->cause[0] = '\0';
	if (r != 0) {
		set_cause(c, "%s", gai_strerror(r));
		return CONNECTION_LOST;
	}
	c->answered = c->subscribed = false;
	c->waiting = c->granted = 0;
	memset(c->pending, 0, c->filter_count * sizeof(*c->pending));
	c->heard_ms = clock_mono_ms();
	c->deadline_ms = c->heard_ms + ANSWER_MOST_MS;
	errno = 0;
	int code =
		mosquitto_connect_async(c->client, host, c->broker->port, c->keepalive_s);
	if (code != 0) {
		set_cause(c, "%s", client_error_words(code, errno));
		drop(c);
		return CONNECTION_LOST;
	}
	return attend(c);
}

/* What there is to try, or NULL with the cause set. */
static struct addrinfo *resolve(struct connection *c)
{
	struct addrinfo hints = {.ai_socktype = SOCK_STREAM, .ai_family = AF_UNSPEC};
	struct addrinfo *addresses = NULL;
	int r = getaddrinfo(c->broker->host, NULL, &hints, &addresses);
	if (r == 0)
		return addresses;
	set_cause(c, "%s", r == EAI_SYSTEM ? strerror(errno) : gai_strerror(r));
	return NULL;
}

int connection_run(struct connection *c, char ret_cause[static CAUSE_MOST])
{
	const struct broker_config *b = c->broker;
	struct addrinfo *addresses = NULL;
	int r = CONNECTION_LOST;
	c->cause[0] = '\0';
	c->answered = false;
	int failed = client_set_credentials(c->client, b);
	if (failed)
		set_cause(c, "password file %.60s: %s",
			b->password_file ? b->password_file : "(none)",
			strerror(-failed));
	else
		addresses = resolve(c);
	for (struct addrinfo *a = addresses; a; a = a->ai_next) {
		r = try_address(c, a);
		if (r == CONNECTION_STOPPED || c->answered)
			break;
	}
	if (addresses)
		freeaddrinfo(addresses);
	memcpy(ret_cause, c->cause, CAUSE_MOST);
	return r;
}
