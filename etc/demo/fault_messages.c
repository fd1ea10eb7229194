/*
 * The way of messages to whoever listens, and what goes wrong on it: some never arrive,
 * some arrive late, twice, out of order or garbled, and a broker hands over copies that
 * it kept.
 *
 * Copies: all states, and of every other topic the first message of each hour, so that
 * they are up to an hour old. After an outage the states come first: from the broker as
 * copies, from a house that has electricity again as news. Copies come in the last
 * milliseconds of a step, in which nothing else does.
 *
 * Chance is by the message's instant, which is no other message's.
 */
#include "faults.h"

#include "streams.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#define TOPICS_MOST   32
#define LATE_MS       (720 * INT64_C(1000))
#define LATE_MOST     256
#define SLOW_MS       (300 * INT64_C(1000))
#define HOUR_MS       (3600 * INT64_C(1000))
#define REPLAY_EACH_S 5400
#define WARM_UP_S     7200
#define STEP_END_MS   40
#define PAYLOAD_SIZE  168
#define CHANCE        0.004 /* of each kind of bad payload */

struct kept {
	struct message message;
	char payload[PAYLOAD_SIZE];
};

struct topic {
	const char *name; /* the publication's own text */
	struct kept copy;
	bool has_copy;
	int64_t hour;    /* of the copy */
	int64_t slow_at; /* which five minutes were served last */
};

struct fault_way {
	const struct faults *faults;
	struct fault_memory memory;
	uint64_t seed;
	message_sink *sink;
	void *context;
	struct topic topics[TOPICS_MOST];
	size_t topic_count;
	struct kept late[LATE_MOST]; /* a ring */
	size_t late_first, late_count;
	struct kept behind; /* comes after the next one */
	bool has_behind;
	bool was_away, was_dark;
};

struct fault_way *fault_way_new(
	const struct faults *faults, uint64_t seed, message_sink *sink, void *context)
{
	struct fault_way *way = calloc(1, sizeof(*way));
	if (!way)
		abort();
	way->faults = faults;
	way->seed = seed;
	way->sink = sink;
	way->context = context;
	return way;
}

void fault_way_free(struct fault_way *way)
{
	free(way);
}

int64_t fault_way_begin(const struct faults *faults, int64_t t_s)
{
	int64_t from_s = t_s - WARM_UP_S;
	if (fault_holds(faults, FAULT_SENSOR_FROZEN, from_s))
		from_s = faults->fault[FAULT_SENSOR_FROZEN].from_s;
	return from_s > PLANT_ORIGIN_S ? from_s : PLANT_ORIGIN_S;
}

static void keep(struct kept *kept, const struct message *m)
{
	kept->message = *m;
	(void)snprintf(kept->payload, sizeof(kept->payload), "%s", m->payload);
}

static void deliver(struct fault_way *way, const struct message *m)
{
	way->sink(m, way->context);
	if (!way->has_behind)
		return;
	way->has_behind = false;
	way->behind.message.payload = way->behind.payload;
	way->sink(&way->behind.message, way->context);
}

static struct topic *topic_of(struct fault_way *way, const struct message *m)
{
	for (size_t i = 0; i < way->topic_count; i++)
		if (!strcmp(way->topics[i].name, m->topic))
			return &way->topics[i];
	if (way->topic_count == TOPICS_MOST)
		abort();
	struct topic *topic = &way->topics[way->topic_count++];
	*topic = (struct topic){.name = m->topic, .hour = -1, .slow_at = -1};
	return topic;
}

static void keep_copy(struct topic *topic, const struct message *m)
{
	if (!m->retain && topic->hour == m->t_ms / HOUR_MS)
		return;
	topic->hour = m->t_ms / HOUR_MS;
	topic->has_copy = true;
	keep(&topic->copy, m);
	topic->copy.message.replayed = true;
}

/* ---- late ---- */

static void release_late(struct fault_way *way, int64_t until_ms)
{
	while (way->late_count > 0) {
		struct kept *first = &way->late[way->late_first];
		if (first->message.t_ms > until_ms)
			return;
		first->message.payload = first->payload;
		deliver(way, &first->message);
		way->late_first = (way->late_first + 1) % LATE_MOST;
		way->late_count--;
	}
}

/* What would come after the fault's end is lost. */
static void hold_back(struct fault_way *way, const struct message *m)
{
	int64_t to_ms = way->faults->fault[FAULT_POWER_LATE].to_s * 1000;
	if (m->t_ms + LATE_MS >= to_ms)
		return;
	if (way->late_count == LATE_MOST)
		abort();
	struct kept *last = &way->late[(way->late_first + way->late_count++) % LATE_MOST];
	keep(last, m);
	last->message.t_ms += LATE_MS;
}

/* ---- garbled ---- */

/* The first number of a payload: a JSON object's first member or the whole. */
static size_t find_number(const char *payload, size_t *ret_length)
{
	size_t at = payload[0] == '{' ? strcspn(payload, "-0123456789") : 0;
	*ret_length = strspn(payload + at, "-0123456789.");
	return at;
}

static void with_word(const char *payload, const char *word, char text[PAYLOAD_SIZE])
{
	size_t length, at = find_number(payload, &length);
	const char *quote = payload[0] == '{' ? "\"" : "";
	int size = snprintf(text, PAYLOAD_SIZE, "%.*s%s%s%s%s", (int)at, payload, quote,
		word, quote, payload + at + length);
	assert(size < PAYLOAD_SIZE); /* payloads are half as long at most */
	(void)size;
}

static void with_comma(const char *payload, char text[PAYLOAD_SIZE])
{
	char word[PAYLOAD_SIZE];
	size_t length, at = find_number(payload, &length);
	(void)snprintf(word, sizeof(word), "%.*s", (int)length, payload + at);
	char *point = strchr(word, '.');
	if (point)
		*point = ',';
	with_word(payload, word, text);
}

static void cut_short(const char *payload, char text[PAYLOAD_SIZE])
{
	(void)snprintf(text, PAYLOAD_SIZE, "%.*s%s", (int)(strlen(payload) + 1) / 2,
		payload, payload[0] == '{' ? "" : "#");
}

static void deliver_garbled(struct fault_way *way, struct message *m)
{
	double even = stream_even(way->seed, STREAM_FAULTS, m->t_ms);
	int kind = m->retain ? -1 : (int)(even / CHANCE);
	char text[PAYLOAD_SIZE];
	if (kind == 0)
		with_word(m->payload, "n/a", text);
	else if (kind == 1)
		with_comma(m->payload, text);
	else if (kind == 2)
		cut_short(m->payload, text);
	if (kind >= 0 && kind <= 2)
		m->payload = text;
	if (kind == 3 && !way->has_behind) {
		keep(&way->behind, m);
		way->has_behind = true;
		return;
	}
	deliver(way, m);
	if (kind != 4)
		return;
	deliver(way, m); /* the same again */
	m->t_ms++;
	deliver(way, m); /* and once more, a moment later */
}

/* ---- the way ---- */

static bool comes_slowly(
	const struct fault_way *way, struct topic *topic, const struct message *m)
{
	if (m->retain || strncmp(m->topic, "plant/", 6) != 0 ||
		!fault_holds(way->faults, FAULT_SLOW_SOURCE, m->t_ms / 1000))
		return false;
	if (topic->slow_at == m->t_ms / SLOW_MS)
		return true;
	topic->slow_at = m->t_ms / SLOW_MS;
	return false;
}

static void take(const struct message *message, void *context)
{
	struct fault_way *way = context;
	struct message m = *message;
	struct topic *topic = topic_of(way, &m);
	int64_t t_s = m.t_ms / 1000;
	bool phase = !strncmp(m.topic, "house/meter/unit/l", 18);
	char reversed[PAYLOAD_SIZE];

	release_late(way, m.t_ms);
	keep_copy(topic, &m);
	if (way->was_away || way->was_dark || comes_slowly(way, topic, &m))
		return;
	if (phase && fault_holds(way->faults, FAULT_CLAMP_REVERSED, t_s) &&
		m.topic[18] == '2' && strcmp(m.payload, "0") != 0) {
		(void)snprintf(reversed, sizeof(reversed), "-%s", m.payload);
		m.payload = reversed;
	}
	if (phase && fault_holds(way->faults, FAULT_POWER_LATE, t_s))
		hold_back(way, &m);
	else if (fault_holds(way->faults, FAULT_BAD_PAYLOADS, t_s))
		deliver_garbled(way, &m);
	else
		deliver(way, &m);
}

static void replay(struct fault_way *way, int64_t t_ms, bool states_only)
{
	for (size_t i = 0; i < way->topic_count; i++) {
		struct kept *copy = &way->topics[i].copy;
		if (!way->topics[i].has_copy || (states_only && !copy->message.retain))
			continue;
		copy->message.t_ms = t_ms++;
		copy->message.payload = copy->payload;
		deliver(way, &copy->message);
	}
}

static void deliver_state(const struct message *message, void *context)
{
	deliver(context, message);
}

void fault_way_step(struct fault_way *way, const struct plant_step *step)
{
	const struct faults *faults = way->faults;
	struct plant_step said = faults_say(faults, &way->memory, step);
	bool away = fault_holds(faults, FAULT_BROKER_AWAY, step->t_s);
	bool dark = fault_holds(faults, FAULT_POWER_CUT, step->t_s);
	bool back = way->was_away && !away, lit = way->was_dark && !dark;
	int64_t end_ms = (step->t_s + PLANT_STEP_S) * 1000 - STEP_END_MS;

	way->was_away = away;
	way->was_dark = dark;
	if (lit)
		messages_of_states(&said, step->t_s * 1000 + 1, deliver_state, way);
	messages_of_step(&said, take, way);
	release_late(way, end_ms);
	if (back)
		replay(way, end_ms, true);
	else if (fault_holds(faults, FAULT_RETAINED_REPLAYED, step->t_s) &&
		 (step->t_s - faults->fault[FAULT_RETAINED_REPLAYED].from_s) %
				 REPLAY_EACH_S ==
			 REPLAY_EACH_S - PLANT_STEP_S)
		replay(way, end_ms, false);
}
