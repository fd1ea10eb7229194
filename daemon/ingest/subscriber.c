/*
 * The subscriber's thread: connections one after the other, their messages into the tail,
 * their begin and end as records, the pause between them. See subscriber.h.
 *
 * The thread blocks all signals: they are the main loop's, and a broken pipe (SIGPIPE) is
 * an error code here. It ends only when told to; every failure is a reason to try again.
 *
 * Pauses grow from 1 to 60 s, each varied by a fifth so that many clients of a broker
 * that restarts do not come back in step. They start anew after a connection that proved
 * itself, by a minute's life or by a message that was not a retained one: retained ones
 * come at once on every connection, also on one that is about to be evicted by its twin.
 * After a connection of a short life a live message is proof only to one that has lived
 * longer, after several of them a minute's life only: or twins in a chatty house would
 * evict each other each second, and so would a message that the library chokes on.
 *
 * A failure is logged when it is new; its repetitions are counted and the count is logged
 * when the failure changes or ends.
 */
#include <heatbook/subscriber.h>

#include "connection.h"
#include "pace.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>
#include <heatbook/outbox.h>

#include <assert.h>
#include <errno.h>
#include <mosquitto.h>
#include <pthread.h>
#include <signal.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/random.h>
#include <unistd.h>

#define SHORT_LIVES 3 /* in a row, closed: what evictions by a twin look like */

struct subscriber {
	const struct broker_config *broker;
	struct stamper *stamper;
	struct outbox *outbox; /* or NULL */
	struct connection *connection;
	char **filters;
	size_t filter_count;
	int stop_fd;
	pthread_t thread;

	pthread_mutex_t mutex;
	struct subscriber_state state; /* under the mutex */

	/* The thread's own. */
	bool *filter_named; /* its refusal was logged */
	bool unpublished_named;
	bool linked;          /* records depend on this connection: its end is one */
	int64_t connected_ms; /* monotonic, -1 before CONNACK */
	int64_t pause_ms;
	int short_lives;   /* of connections, since one that lived for long */
	int evictions;     /* what may have been some, in a row */
	uint64_t refused;  /* by the tail, in the present run of refusals */
	uint64_t failures; /* times that `failure` came in a row */
	char failure[CAUSE_MOST];
};

_Static_assert(sizeof(((struct subscriber_state *)0)->cause) == CAUSE_MOST, "one size");

static void set_state(struct subscriber *s, enum link_state state, const char *cause)
{
	(void)pthread_mutex_lock(&s->mutex); /* fails only when misused */
	s->state.state = state;
	s->state.since_ms = stamper_now_ms(s->stamper);
	s->state.connects += state == LINK_CONNECTED;
	if (cause)
		(void)snprintf(s->state.cause, sizeof(s->state.cause), "%s", cause);
	(void)pthread_mutex_unlock(&s->mutex);
}

static bool accept_record(struct subscriber *s, struct record *record)
{
	int r = stamper_append(s->stamper, record);
	if (r < 0) {
		if (s->refused++ == 0)
			log_errno(LOG_LEVEL_ERROR, r, "messages are not accepted");
		return false;
	}
	if (s->refused > 0)
		log_notice("messages are accepted again, %llu were not",
			(unsigned long long)s->refused);
	s->refused = 0;
	return true;
}

static void record_fact(struct subscriber *s, enum record_kind kind, const char *reason)
{
	struct record record = {.kind = kind,
		.topic = "",
		.payload = (const unsigned char *)reason,
		.payload_length = strlen(reason)};
	(void)accept_record(s, &record); /* the tail counts what it refuses */
}

/* The connection has proved itself. */
static void prove(struct subscriber *s)
{
	s->pause_ms = link_pace.pause_least_ms;
	if (s->failures > 0)
		log_notice("broker: connection is good again; failures: %llu, last %s",
			(unsigned long long)s->failures, s->failure);
	s->failures = 0;
	s->failure[0] = '\0';
}

static void note_failure(struct subscriber *s, const char *cause)
{
	if (s->failures > 0 && strcmp(s->failure, cause) == 0) {
		s->failures++;
		return;
	}
	if (s->failures > 1)
		log_warning("broker: %s (%llu times)", s->failure,
			(unsigned long long)s->failures);
	log_warning("broker: %s", cause);
	(void)snprintf(s->failure, sizeof(s->failure), "%s", cause);
	s->failures = 1;
}

static void on_connected(void *context)
{
	struct subscriber *s = context;
	s->connected_ms = clock_mono_ms();
	set_state(s, LINK_CONNECTED, NULL);
}

static void on_subscribed(void *context)
{
	struct subscriber *s = context;
	s->linked = true;
	record_fact(s, RECORD_SUBSCRIBED, "");
	set_state(s, LINK_SUBSCRIBED, NULL);
	if (s->failures == 0)
		log_info("subscribed at %s port %d", s->broker->host, s->broker->port);
}

static void on_refused(void *context, size_t filter, const char *why)
{
	struct subscriber *s = context;
	if (!s->filter_named[filter])
		log_warning("broker: subscription to %s is refused: %s",
			s->filters[filter], why);
	s->filter_named[filter] = true;
}

/* The first topic of them stands for all: what forbids one forbids mostly all. */
static void on_unpublished(void *context, const char *topic, const char *why)
{
	struct subscriber *s = context;
	if (!s->unpublished_named)
		log_warning("broker: %s is not published: %s", topic, why);
	s->unpublished_named = true;
}

/* A live message has come, and there are failures to forget. */
static void consider(struct subscriber *s)
{
	int64_t life_ms = clock_mono_ms() - s->connected_ms;
	int64_t least_ms = s->short_lives == 0            ? 0
			   : s->short_lives < SHORT_LIVES ? link_pace.short_life_ms
							  : link_pace.proven_ms;
	if (life_ms >= least_ms)
		prove(s);
	if (life_ms >= link_pace.proven_ms)
		s->short_lives = 0;
}

static void on_message(void *context, const struct mosquitto_message *message)
{
	struct record record = {.kind = RECORD_MESSAGE, .retained = message->retain};
	struct subscriber *s = context;
	if (s->outbox && outbox_owns(s->outbox, message->topic))
		return; /* our own word is no message of the house */
	size_t length = message->payloadlen > 0 ? (size_t)message->payloadlen : 0;
	record.topic = message->topic;
	record.topic_length = strlen(message->topic);
	record.payload = length > 0 ? message->payload : NULL;
	record.payload_length = length > PAYLOAD_MOST + 1 ? PAYLOAD_MOST + 1 : length;
	s->linked = true;
	if (accept_record(s, &record)) {
		(void)pthread_mutex_lock(&s->mutex); /* fails only when misused */
		s->state.messages++;
		s->state.last_message_ms = record.t_ms;
		(void)pthread_mutex_unlock(&s->mutex);
	}
	if (!message->retain &&
		s->pause_ms + (int64_t)s->failures > link_pace.pause_least_ms)
		consider(s);
}

/* The pause, varied by up to a fifth either way. */
static int64_t vary(int64_t span_ms)
{
	uint32_t random;
	if (getrandom(&random, sizeof(random), GRND_NONBLOCK) != sizeof(random))
		random = UINT32_MAX / 2; /* the middle does as well */
	int64_t varied_ms =
		span_ms * 4 / 5 + (int64_t)(random % 1000) * span_ms * 2 / 5 / 999;
	return varied_ms < link_pace.pause_most_ms ? varied_ms : link_pace.pause_most_ms;
}

static void note_life(struct subscriber *s, bool closed, char cause[static CAUSE_MOST])
{
	if (s->connected_ms < 0)
		return;
	int64_t life_ms = clock_mono_ms() - s->connected_ms;
	bool is_short = life_ms < link_pace.short_life_ms;
	s->evictions = closed && is_short ? s->evictions + 1 : 0;
	s->short_lives += is_short;
	if (life_ms >= link_pace.proven_ms) {
		s->short_lives = 0;
		prove(s);
	}
	size_t n = strlen(cause);
	if (s->evictions >= SHORT_LIVES)
		(void)snprintf(cause + n, CAUSE_MOST - n,
			"; perhaps another client has the same client_id");
}

/* What follows a loss, with the pause; true when it is time to end. */
static bool lose(struct subscriber *s, bool closed, char cause[static CAUSE_MOST])
{
	if (s->linked)
		record_fact(s, RECORD_LOST, cause);
	note_life(s, closed, cause);
	note_failure(s, cause);
	set_state(s, LINK_WAITING, cause);
	int64_t pause_ms = vary(s->pause_ms);
	s->pause_ms = s->pause_ms * 2 < link_pace.pause_most_ms ? s->pause_ms * 2
								: link_pace.pause_most_ms;
	return connection_wait(s->connection, pause_ms);
}

static void *run(void *context)
{
	struct subscriber *s = context;
	char cause[CAUSE_MOST];
	for (bool stop = false; !stop;) {
		s->linked = false;
		s->connected_ms = -1;
		set_state(s, LINK_CONNECTING, NULL);
		int end = connection_run(s->connection, cause);
		stop = end == CONNECTION_STOPPED ||
		       lose(s, end == CONNECTION_CLOSED, cause);
	}
	set_state(s, LINK_OFF, NULL);
	return NULL;
}

static int start_thread(struct subscriber *s)
{
	sigset_t all, before;
	(void)sigfillset(&all);
	(void)pthread_sigmask(
		SIG_SETMASK, &all, &before); /* neither fails on these sets */
	int r = pthread_create(&s->thread, NULL, run, s);
	(void)pthread_sigmask(SIG_SETMASK, &before, NULL);
	return -r;
}

static void release(struct subscriber *s)
{
	connection_free(s->connection);
	if (s->stop_fd >= 0)
		(void)close(s->stop_fd); /* an eventfd has nothing to report */
	for (size_t i = 0; i < s->filter_count; i++)
		free(s->filters[i]);
	free(s->filters);
	free(s->filter_named);
	(void)pthread_mutex_destroy(&s->mutex);
	free(s);
}

int subscriber_start(const struct broker_config *broker, const char *const *filters,
	size_t filter_count, struct stamper *stamper, struct outbox *outbox,
	struct subscriber **ret)
{
	static const struct connection_events events = {
		on_connected, on_subscribed, on_refused, on_message, on_unpublished};
	assert(broker->host);
	struct subscriber *s = xcalloc(1, sizeof(*s));
	s->broker = broker;
	s->stamper = stamper;
	s->outbox = outbox;
	s->filters = xcalloc(filter_count, sizeof(*s->filters));
	s->filter_named = xcalloc(filter_count, sizeof(*s->filter_named));
	for (size_t i = 0; i < filter_count; i++)
		s->filters[i] = xstrdup(filters[i]);
	s->filter_count = filter_count;
	s->pause_ms = link_pace.pause_least_ms;
	s->state.last_message_ms = -1;
	s->state.since_ms = stamper_now_ms(s->stamper);
	(void)pthread_mutex_init(&s->mutex, NULL); /* cannot fail without attributes */
	s->stop_fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	int r = s->stop_fd < 0 ? -errno
			       : connection_new(broker, (const char *const *)s->filters,
					 filter_count, outbox, s->stop_fd, &events, s,
					 &s->connection);
	if (r == 0)
		r = start_thread(s);
	if (r < 0) {
		release(s);
		return r;
	}
	*ret = s;
	return 0;
}

void subscriber_stop(struct subscriber *s)
{
	if (!s)
		return;
	(void)eventfd_write(s->stop_fd, 1);  /* fails at 2^64 only */
	(void)pthread_join(s->thread, NULL); /* it is ours and joined once */
	release(s);
}

void subscriber_state(struct subscriber *s, struct subscriber_state *ret)
{
	(void)pthread_mutex_lock(&s->mutex); /* fails only when misused */
	*ret = s->state;
	(void)pthread_mutex_unlock(&s->mutex);
}

const char *link_state_name(enum link_state state)
{
	static const char *const names[] = {
		[LINK_OFF] = "off",
		[LINK_CONNECTING] = "connecting",
		[LINK_CONNECTED] = "connected",
		[LINK_SUBSCRIBED] = "subscribed",
		[LINK_WAITING] = "waiting",
	};
	assert(state < ARRAY_LEN(names));
	return names[state];
}
