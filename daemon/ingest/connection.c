/*
 * A connection to the broker: libmosquitto's per-socket calls in a poll loop of our own.
 *
 * Waiting is bounded everywhere and ends when `stop_fd` is readable, except in the
 * resolver (getaddrinfo(3), bounded by its own time limits). Therefore addresses are
 * resolved here and handed to the library as numbers, one after the other, by its call
 * that does not wait for the handshake. An answer to CONNECT, SUBSCRIBE or PINGREQ that
 * does not come is a loss. A client serves one run, so that nothing of a broken
 * connection is left to the next, and certificates and the password are read anew.
 *
 * Subscriptions ask for QoS 0: the library acknowledges a QoS 1 message before its
 * callback runs, so QoS 1 would not guard what we have not yet accepted, and a broker
 * holds fewer messages for a stalled subscriber at QoS 1 (its in-flight window and queue)
 * than at QoS 0 (the sockets' buffers as well).
 */
#include "connection.h"

#include "client.h"
#include "intake.h"
#include "pace.h"
#include "posting.h"
#include "reasons.h"
#include "tls.h"

#include <heatbook/clock.h>

#include <errno.h>
#include <mosquitto.h>
#include <mqtt_protocol.h>
#include <netdb.h>
#include <poll.h>
#include <string.h>
#include <sys/socket.h>

#define SINK_BYTES        ((size_t)1 << 20)
#define DROP_READS_MOST   128
#define LEAVE_MOST_MS     500
#define KEEPALIVE_LEAST_S 5         /* the library's */
#define PACKET_311_MOST   (8 << 20) /* no word of the limit goes to the broker */
#define QOS_GRANTED_MOST  2         /* MQTT 3.1.1 section 3.9.3; 128 is a refusal */

struct link_pace link_pace = {
	.look_ms = 1000,
	.answer_ms = 10000,
	.silence_ms = 0,
	.pause_least_ms = 1000,
	.pause_most_ms = 60000,
	.proven_ms = 60000,
	.short_life_ms = 5000,
};

struct connection {
	const struct broker_config *broker;
	const char *const *filters;
	size_t filter_count;
	int stop_fd;
	const struct connection_events *events;
	void *context;
	int keepalive_s;

	/* Of a run. */
	struct mosquitto *client;
	struct tls *tls; /* or NULL */

	/* Of the connection being made or held. */
	bool reached;   /* the network's handshake is done */
	int *pending;   /* packet identifiers by filter, 0 when answered */
	size_t waiting; /* filters without an answer */
	size_t granted;
	bool answered;      /* CONNACK came */
	bool subscribed;    /* every SUBACK came */
	bool closed;        /* by the other side, without a word */
	bool advanced;      /* a packet of use came to its end in this turn */
	int64_t silence_ms; /* until it is given up; 0 = for ever */
	int64_t deadline_ms;
	int64_t heard_ms;
	char cause[CAUSE_MOST];   /* "" while there is no reason to end */
	char verdict[CAUSE_MOST]; /* on our certificate, the last one heard */
	int connack;              /* its code */
	struct intake intake;
	struct posting posting;
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

static void on_connect(struct mosquitto *client, void *context, int code, int flags,
	const mosquitto_property *properties)
{
	struct connection *c = context;
	(void)flags; /* the session is a new one */
	if (c->answered) {
		set_cause(c, "%s", client_error_words(MOSQ_ERR_PROTOCOL, 0));
		return; /* one CONNACK a connection, MQTT 3.1.1, 3.2 */
	}
	c->answered = c->advanced = true;
	c->connack = code;
	if (code != 0) {
		set_cause(c, "%s", reason_connack_words(code));
		return;
	}
	mosquitto_log_callback_set(client, NULL); /* it costs a text a message */
	int keepalive_s = client_agree_keepalive(client, properties, c->keepalive_s);
	c->silence_ms = link_pace.silence_ms ? link_pace.silence_ms
					     : 3 * (int64_t)keepalive_s * 1000;
	c->events->connected(c->context);
	c->deadline_ms = clock_mono_ms() + link_pace.answer_ms;
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
	posting_ask(&c->posting, client);
	settle(c);
	errno = 0; /* see on_message() */
}

static const char *refusal_words(const struct connection *c, int count, int code)
{
	if (count != 1)
		return "the broker does not give one answer";
	return c->broker->protocol == BROKER_MQTT_5
		       ? reason_words(code)
		       : "the broker says no; its access list may forbid it";
}

static void on_subscribe(struct mosquitto *client, void *context, int id, int count,
	const int *granted, const mosquitto_property *properties)
{
	struct connection *c = context;
	(void)client; /* the same as c->client */
	(void)properties;
	for (size_t i = 0; i < c->filter_count; i++) {
		if (id == 0 || c->pending[i] != id)
			continue;
		c->advanced = true;
		c->pending[i] = 0;
		c->waiting--;
		if (count == 1 && granted[0] >= 0 && granted[0] <= QOS_GRANTED_MOST)
			c->granted++;
		else
			c->events->refused(
				c->context, i, refusal_words(c, count, granted[0]));
		settle(c);
		break;
	}
	errno = 0; /* see on_message() */
}

static void on_message(struct mosquitto *client, void *context,
	const struct mosquitto_message *message, const mosquitto_property *properties)
{
	struct connection *c = context;
	(void)client; /* the same as c->client */
	(void)properties;
	c->advanced = true;
	posting_hear(&c->posting, message);
	c->events->message(c->context, message);
	errno = 0; /* EAGAIN of ours would be taken for the library's */
}

static void on_publish(struct mosquitto *client, void *context, int id, int code,
	const mosquitto_property *properties)
{
	struct connection *c = context;
	(void)client; /* the same as c->client */
	(void)properties;
	c->advanced = true;
	posting_acknowledged(&c->posting, id, code);
	errno = 0; /* see on_message() */
}

/* With a reason only when MQTT 5 has given it; the library's own codes lie below. */
static void on_disconnect(struct mosquitto *client, void *context, int code,
	const mosquitto_property *properties)
{
	(void)client; /* the same as c->client */
	(void)properties;
	if (code >= REASON_LEAST)
		set_cause(context, "%s", reason_words(code));
}

static void on_log(struct mosquitto *client, void *context, int level, const char *line)
{
	const struct connection *c = context;
	(void)client;
	(void)level;
	tls_note(c->tls, line);
}

static void close_client(struct connection *c)
{
	if (c->client)
		mosquitto_destroy(c->client);
	tls_free(c->tls);
	c->client = NULL;
	c->tls = NULL;
}

/* The client of a run. False with the cause set. */
static bool open_client(struct connection *c)
{
	const struct broker_config *b = c->broker;
	char why[CAUSE_MOST];
	int r = client_new(b, c, &c->client);
	if (r < 0) {
		set_cause(c, "%s", strerror(-r));
		return false;
	}
	r = client_set_credentials(c->client, b);
	if (r < 0) {
		set_cause(c, "password_file %.80s: %s",
			b->password_file ? b->password_file : "(none)", strerror(-r));
		return false;
	}
	if (b->tls && tls_new(b, &c->tls, why) != 0) {
		set_cause(c, "%s", why);
		return false;
	}
	if (c->tls) {
		tls_give(c->tls, c->client);
		mosquitto_log_callback_set(c->client, on_log);
	}
	mosquitto_connect_v5_callback_set(c->client, on_connect);
	mosquitto_subscribe_v5_callback_set(c->client, on_subscribe);
	mosquitto_message_v5_callback_set(c->client, on_message);
	mosquitto_publish_v5_callback_set(c->client, on_publish);
	mosquitto_disconnect_v5_callback_set(c->client, on_disconnect);
	posting_give(&c->posting, c->client);
	return true;
}

int connection_new(const struct broker_config *broker, const char *const *filters,
	size_t filter_count, struct outbox *outbox, int stop_fd,
	const struct connection_events *events, void *context, struct connection **ret)
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
	close_client(c); /* that there can be one was the question */
	if (r < 0) {
		free(c);
		return r;
	}
	c->pending = xcalloc(filter_count, sizeof(*c->pending));
	posting_init(
		&c->posting, outbox, broker->protocol == BROKER_MQTT_5, events, context);
	*ret = c;
	return 0;
}

void connection_free(struct connection *c)
{
	if (!c)
		return;
	posting_release(&c->posting);
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
	/* Closing resets: a broker that still writes would wait for room for minutes, as
	 * an end of a closed window is not told to it. */
	(void)setsockopt(fd, SOL_SOCKET, SO_LINGER, &(struct linger){.l_onoff = 1},
		sizeof(struct linger));
	(void)shutdown(fd, SHUT_RDWR); /* not connected yet is as good */
	/* What waits there is not for the library: it would take memory for it. */
	for (int i = 0; i < DROP_READS_MOST; i++)
		if (recv(fd, NULL, SINK_BYTES, MSG_TRUNC | MSG_DONTWAIT) <= 0)
			break;
	for (int i = 0; i < DROP_READS_MOST && mosquitto_socket(c->client) >= 0; i++)
		(void)mosquitto_loop_read(c->client, 1); /* it is over either way */
}

static void check_deadlines(struct connection *c, int64_t now_ms)
{
	int64_t silence_ms = now_ms - c->heard_ms;
	double most_s = (double)link_pace.answer_ms / 1000;
	if (!c->answered && now_ms >= c->deadline_ms)
		set_cause(c, "%sno answer within %g s", c->reached ? "" : "unreachable, ",
			most_s);
	else if (c->answered && !c->subscribed && now_ms >= c->deadline_ms)
		set_cause(c, "no answer to %zu of %zu subscriptions within %g s",
			c->waiting, c->filter_count, most_s);
	else if (c->silence_ms > 0 && silence_ms >= c->silence_ms)
		set_cause(c, "nothing received for %g s, three keep-alives",
			(double)c->silence_ms / 1000);
}

static size_t packet_most(const struct connection *c)
{
	return c->broker->protocol == BROKER_MQTT_5 ? PACKET_MOST : PACKET_311_MOST;
}

static void name_verdict(struct connection *c, enum gate_verdict verdict)
{
	if (verdict == GATE_LARGE)
		set_cause(c, "the broker sends a packet of more than %zu kB%s",
			packet_most(c) >> 10,
			c->broker->protocol == BROKER_MQTT_5
				? ""
				: "; protocol = 5 keeps it away");
	else if (verdict == GATE_QOS)
		set_cause(c, "the broker sends at a quality of service that was not "
			     "asked for");
}

/* What poll(2) found on the socket; a code of the library, errno with MOSQ_ERR_ERRNO. */
static int serve_socket(struct connection *c, short events)
{
	/* The library continues TLS's handshake when it reads, and then only. */
	bool shakes_hands = c->tls && tls_shakes_hands(c->client);
	int code = 0;
	if (events & POLLOUT && !shakes_hands)
		code = mosquitto_loop_write(c->client, 1);
	if (code == 0 && shakes_hands)
		return mosquitto_loop_read(c->client, 1);
	if (code != 0 || !(events & (POLLIN | INTAKE_ENDS)))
		return code;
	enum gate_verdict verdict = GATE_PASS;
	c->advanced = false;
	code = intake_read(
		&c->intake, c->client, events & INTAKE_ENDS, c->cause, &verdict);
	int error = errno;
	if (code == 0)
		name_verdict(c, intake_swells(&c->intake, c->client, c->advanced)
					? GATE_LARGE
					: verdict);
	errno = error;
	return code;
}

/* The library takes a handshake of TLS for unwritten, whatever it waits for. */
static bool wants_write(const struct connection *c)
{
	if (!c->reached)
		return true;
	return mosquitto_want_write(c->client) &&
	       !(c->tls && tls_shakes_hands(c->client));
}

/* Our last words, and until the broker has got them: what comes meanwhile is taken. */
static void part(struct connection *c, int64_t until_ms)
{
	posting_leave(&c->posting, c->client);
	while (posting_waits(&c->posting) && !c->cause[0]) {
		short reads = intake_events(&c->intake);
		struct pollfd p = {.fd = mosquitto_socket(c->client),
			.events = (short)(wants_write(c) ? reads | POLLOUT : reads)};
		int64_t left_ms = until_ms - clock_mono_ms();
		if (p.fd < 0 || left_ms <= 0 || poll(&p, 1, (int)left_ms) <= 0 ||
			serve_socket(c, p.revents) != 0)
			break;
	}
}

/* In good order: our last words, then DISCONNECT, unless they were not acknowledged or
 * the socket does not take it. */
static int leave(struct connection *c)
{
	int64_t until_ms = clock_mono_ms() + LEAVE_MOST_MS;
	if (c->subscribed)
		part(c, until_ms);
	if (posting_lets_go(&c->posting))
		(void)mosquitto_disconnect(c->client); /* refused without a connection */
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

/* An end before CONNACK in words that TLS has, or guesses. With TLS 1.3 the verdict on
 * our certificate follows the handshake, and the reset of the connection may overtake it:
 * then the verdict of the connection before is repeated. */
static void name_refusal(struct connection *c, int code)
{
	char why[CAUSE_MOST];
	bool asked = c->tls && tls_asked(c->tls);
	if (c->tls && tls_words(c->tls, why)) {
		set_cause(c, "%s", why);
		(void)snprintf(c->verdict, sizeof(c->verdict), "%s", asked ? why : "");
	} else if (code == MOSQ_ERR_CONN_LOST && asked && c->verdict[0]) {
		set_cause(c, "%s", c->verdict);
	} else if (code == MOSQ_ERR_CONN_LOST) {
		set_cause(c, "closed by the broker before it answered; %s",
			asked    ? "it may refuse our certificate"
			: c->tls ? "there may be no TLS at this port"
				 : "it may expect TLS at this port");
	}
}

/* Puts into words that the library ended it. */
static void name_end(struct connection *c, int code, int error)
{
	if (c->tls && (code == MOSQ_ERR_TLS || error == EPROTO))
		code = MOSQ_ERR_CONN_LOST; /* TLS's name for an end without farewell */
	/* Which of these is chance; 0 is an end within a packet. */
	if (code == MOSQ_ERR_ERRNO &&
		(error == 0 || error == EPIPE || error == ECONNRESET))
		code = MOSQ_ERR_CONN_LOST;
	c->closed = code == MOSQ_ERR_CONN_LOST && !c->cause[0];
	if (!c->answered)
		name_refusal(c, code);
	set_cause(c, "%s", client_error_words(code, error));
}

/* The network's handshake is over, one way or the other. */
static void note_reached(struct connection *c)
{
	int error = 0;
	socklen_t size = sizeof(error);
	c->reached = true;
	if (getsockopt(mosquitto_socket(c->client), SOL_SOCKET, SO_ERROR, &error, &size) <
		0)
		error = errno;
	if (error == ECONNRESET || error == EPIPE) /* after the handshake */
		name_end(c, MOSQ_ERR_CONN_LOST, error);
	else if (error != 0)
		set_cause(c, "%s", strerror(error));
}

static void serve_turn(struct connection *c, short events, int64_t *misc_ms)
{
	int code = 0, error = 0;
	if (events && !c->reached)
		note_reached(c);
	if (events && !c->cause[0]) {
		errno = 0;
		code = serve_socket(c, events);
		error = errno;
	}
	int64_t now_ms = clock_mono_ms();
	if (events & POLLIN && !c->intake.starved)
		c->heard_ms = now_ms;
	if (code == 0 && now_ms >= *misc_ms) {
		*misc_ms = now_ms + link_pace.look_ms;
		code = mosquitto_loop_misc(c->client);
		error = errno;
		check_deadlines(c, now_ms);
	}
	if (code == 0 && !c->answered && events & (POLLERR | POLLHUP))
		code = MOSQ_ERR_CONN_LOST; /* the library would wait for TLS for ever */
	if (code != 0 || mosquitto_socket(c->client) < 0)
		name_end(c, code, error);
}

/* One wake-up. False when the connection is over, with the cause set, or to be left. */
static bool turn(struct connection *c, int64_t *misc_ms, bool *ret_stop)
{
	int64_t left_ms = *misc_ms - clock_mono_ms();
	short reads = intake_events(&c->intake);
	left_ms = intake_wait_ms(&c->intake, left_ms);
	struct pollfd p[3] = {
		{.fd = mosquitto_socket(c->client),
			.events = (short)(wants_write(c) ? reads | POLLOUT : reads)},
		{.fd = c->stop_fd, .events = POLLIN},
		{.fd = posting_fd(&c->posting), .events = POLLIN},
	};
	int n = poll(p, ARRAY_LEN(p), left_ms > 0 ? (int)left_ms : 0);
	if (n > 0 && p[1].revents) {
		*ret_stop = true;
		return false;
	}
	if (n > 0 && p[2].revents)
		posting_wake(&c->posting);
	serve_turn(c,
		n > 0 && p[0].revents       ? p[0].revents
		: intake_is_due(&c->intake) ? POLLIN
					    : 0,
		misc_ms);
	if (c->subscribed && !c->cause[0])
		posting_send(&c->posting, c->client);
	return c->cause[0] == '\0';
}

static int attend(struct connection *c)
{
	int64_t misc_ms = clock_mono_ms() + link_pace.look_ms;
	bool stop = false;
	while (turn(c, &misc_ms, &stop))
		;
	if (stop)
		return leave(c);
	drop(c);
	return c->closed ? CONNECTION_CLOSED : CONNECTION_LOST;
}

static void reset(struct connection *c)
{
	c->cause[0] = '\0';
	c->reached = c->answered = c->subscribed = c->closed = false;
	intake_reset(&c->intake, packet_most(c), c->tls);
	posting_reset(&c->posting);
	c->waiting = c->granted = 0;
	c->connack = 0;
	memset(c->pending, 0, c->filter_count * sizeof(*c->pending));
	c->silence_ms = 0; /* until CONNACK its own deadline counts */
	c->heard_ms = clock_mono_ms();
	c->deadline_ms = c->heard_ms + link_pace.answer_ms;
	if (c->tls)
		tls_forget(c->tls);
}

static int try_address(struct connection *c, const struct addrinfo *address)
{
	reset(c);
	errno = 0;
	int code = client_connect(c->client, address, c->broker->port, c->keepalive_s);
	if (code != 0) {
		name_end(c, code, errno);
		drop(c);
		return CONNECTION_LOST;
	}
	return attend(c);
}

int connection_run(struct connection *c, char ret_cause[static CAUSE_MOST])
{
	int r = CONNECTION_LOST;
	struct addrinfo *addresses = NULL;
	c->cause[0] = '\0';
	c->answered = c->closed = false;
	const char *why =
		open_client(c) ? client_resolve(c->broker->host, &addresses) : NULL;
	if (why)
		set_cause(c, "%s", why);
	for (struct addrinfo *a = addresses; a; a = a->ai_next) {
		r = try_address(c, a);
		if (r == CONNECTION_STOPPED || c->answered)
			break;
	}
	if (addresses)
		freeaddrinfo(addresses);
	close_client(c);
	if (r != CONNECTION_STOPPED)
		posting_judge(&c->posting, c->answered, c->closed, c->connack);
	memcpy(ret_cause, c->cause, CAUSE_MOST);
	return r;
}
