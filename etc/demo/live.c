/*
 * One loop: make the step that holds the present, let the broker's client work until the
 * next message's instant, publish. The plant follows the wall clock, so it is at each
 * instant the plant that an archive of that instant shows. After a pause (suspend, clock
 * set forward) the missed steps are run through silently.
 *
 * The Will of the connection says "offline", retained; connecting says "online" and all
 * states anew; a clean stop says "offline" itself.
 */
#include "live.h"

#include "messages.h"

#include <mosquitto.h>

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#define TURN_MS     200
#define RETRY_MS    2000
#define KEEPALIVE_S 30
#define MISSED_S    60

struct live {
	struct mosquitto *client;
	const char *host;
	int port;
	struct plant plant;
	int64_t retry_ms; /* not before this is the broker tried again */
	bool connected;
	bool greeted; /* presence and states said since connecting */
	bool complained;
};

static volatile sig_atomic_t stopping;

static void on_signal(int number)
{
	(void)number;
	stopping = 1;
}

static int64_t now_ms(void)
{
	struct timespec now;
	(void)clock_gettime(CLOCK_REALTIME, &now); /* cannot fail for this clock */
	return now.tv_sec * INT64_C(1000) + now.tv_nsec / 1000000;
}

static void on_connect(struct mosquitto *client, void *context, int code)
{
	(void)client;
	struct live *live = context;
	live->connected = code == 0;
	live->greeted = false;
}

static void on_disconnect(struct mosquitto *client, void *context, int code)
{
	(void)client;
	(void)code;
	struct live *live = context;
	live->connected = false;
}

static void say(struct live *live, const char *topic, const char *payload, bool retain)
{
	/* A lost message is lost: the next of its channel follows soon. */
	(void)mosquitto_publish(
		live->client, NULL, topic, (int)strlen(payload), payload, 0, retain);
}

static void pause_ms(int64_t ms)
{
	struct timespec span = {.tv_sec = ms / 1000, .tv_nsec = ms % 1000 * 1000000};
	(void)nanosleep(&span, NULL); /* a signal may cut it short */
}

static void broker_lost(struct live *live, int code)
{
	live->connected = false;
	live->retry_ms = now_ms() + RETRY_MS;
	if (!live->complained)
		(void)fprintf(stderr,
			"heatbook-demo-plant: broker %s:%d: %s; trying again\n",
			live->host, live->port,
			code == MOSQ_ERR_ERRNO ? strerror(errno)
					       : mosquitto_strerror(code));
	live->complained = true;
}

/* Lets the client work for at most `ms`. */
static void turn(struct live *live, int64_t ms)
{
	int code;
	if (mosquitto_socket(live->client) >= 0) {
		code = mosquitto_loop(live->client, (int)ms, 1);
		if (code != MOSQ_ERR_SUCCESS)
			broker_lost(live, code);
	} else if (now_ms() >= live->retry_ms) {
		code = mosquitto_connect(
			live->client, live->host, live->port, KEEPALIVE_S);
		if (code != MOSQ_ERR_SUCCESS)
			broker_lost(live, code);
	} else {
		pause_ms(ms);
	}
	if (live->connected)
		live->complained = false;
}

static void sink_now(const struct message *message, void *context)
{
	say(context, message->topic, message->payload, message->retain);
}

static void wait_until(struct live *live, int64_t t_ms)
{
	while (!stopping) {
		if (live->connected && !live->greeted) {
			messages_of_states(&live->plant.step, now_ms(), sink_now, live);
			live->greeted = true;
		}
		int64_t left_ms = t_ms - now_ms();
		if (left_ms <= 0)
			return;
		turn(live, left_ms < TURN_MS ? left_ms : TURN_MS);
	}
}

static void sink_due(const struct message *message, void *context)
{
	struct live *live = context;
	wait_until(live, message->t_ms);
	if (!stopping && live->connected)
		say(live, message->topic, message->payload, message->retain);
}

/* Messages of the first step that lie in the past already are not said. */
static void sink_from_now(const struct message *message, void *context)
{
	if (message->t_ms >= now_ms())
		sink_due(message, context);
}

static void follow_clock(struct live *live)
{
	message_sink *sink = sink_from_now;
	while (!stopping) {
		if (live->plant.t_s + MISSED_S < now_ms() / 1000) {
			plant_run_to(&live->plant, now_ms() / 1000);
			sink = sink_from_now;
		}
		const struct plant_step *step = plant_advance(&live->plant);
		wait_until(live, step->t_s * 1000);
		messages_of_step(step, sink, live);
		sink = sink_due;
	}
}

static void say_goodbye(struct live *live)
{
	if (!live->connected)
		return;
	say(live, GATEWAY_TOPIC, GATEWAY_GONE, true);
	(void)mosquitto_disconnect(live->client); /* leaving anyway */
	int64_t until_ms = now_ms() + RETRY_MS;
	while (mosquitto_socket(live->client) >= 0 && now_ms() < until_ms)
		if (mosquitto_loop(live->client, TURN_MS, 1) != MOSQ_ERR_SUCCESS)
			break;
}

static int open_client(struct live *live)
{
	live->client = mosquitto_new(NULL, true, live);
	if (!live->client)
		return -1;
	mosquitto_connect_callback_set(live->client, on_connect);
	mosquitto_disconnect_callback_set(live->client, on_disconnect);
	return mosquitto_will_set(live->client, GATEWAY_TOPIC, (int)strlen(GATEWAY_GONE),
		       GATEWAY_GONE, 0, true) == MOSQ_ERR_SUCCESS
		       ? 0
		       : -1;
}

static void catch_signals(void)
{
	struct sigaction action = {.sa_handler = on_signal};
	(void)sigaction(SIGTERM, &action, NULL); /* valid signals: cannot fail */
	(void)sigaction(SIGINT, &action, NULL);
	action.sa_handler = SIG_IGN;
	(void)sigaction(SIGPIPE, &action, NULL);
}

int live_run(const struct plant_settings *settings, const char *host, int port)
{
	struct live live = {.host = host, .port = port};
	if (now_ms() / 1000 < PLANT_ORIGIN_S) {
		(void)fprintf(
			stderr, "heatbook-demo-plant: the clock lies before the plant\n");
		return 1;
	}
	catch_signals();
	plant_init(&live.plant, settings);
	plant_run_to(&live.plant, now_ms() / 1000);
	(void)mosquitto_lib_init(); /* always succeeds */
	if (open_client(&live) == 0)
		follow_clock(&live);
	say_goodbye(&live);
	bool opened = live.client != NULL;
	mosquitto_destroy(live.client);
	(void)mosquitto_lib_cleanup();
	return opened ? 0 : 1;
}
