/*
 * Publishing over one connection. See posting.h.
 *
 * Retained, since who asks later shall get the last word at once (OASIS MQTT 3.1.1 and
 * 5.0, 3.3.1.3). At QoS 1: of a retained message at QoS 0 a broker may let go at any time
 * (3.3.1.3, MQTT-3.3.1-7), at QoS 1 it must keep it (MQTT-3.3.1-5), and only PUBACK of
 * MQTT 5 tells that we may not publish there (3.4.2.1). A word is not sent while the one
 * before of its topic is unacknowledged, nor while the library has something unwritten:
 * so nothing piles up in it. A client begins each connection with a clean session: there
 * all is said anew.
 *
 * The Will (3.1.2.5 to 3.1.2.7) says "gone" when the connection breaks. It is one
 * message: the other words stay as they were, so the state is what tells whether they are
 * of the present; with MQTT 5 they also expire (3.3.2.3.3). In good order they are taken
 * back, by retained messages without payload (3.3.1.3), the state says "stopped", and
 * DISCONNECT drops the Will (MQTT-3.1.2-10). A broker that does not acknowledge "stopped"
 * in time, as where a whole machine goes down, gets no DISCONNECT: else "present" might
 * stay for good.
 *
 * The word that stands (outbox.h) is what a person may be told of, so it is not said
 * again to a broker that holds it: a subscription to its topic brings it back (3.3.1.3).
 * When nothing has come by the time that all other words were acknowledged, none is held:
 * that order is none of the standard's, and a broker that has another one gets the word
 * twice.
 *
 * Listening goes before publishing. A broker that keeps no retained messages refuses
 * CONNECT with such a Will (3.2.2.2 of 5.0; 3.1.1 may just close), one that does not
 * allow a publication may close the connection (MQTT-3.3.5-2): after three such ends in a
 * row runs go without, and what is published is tried again with a connection an hour
 * later.
 */
#include "posting.h"

#include "reasons.h"

#include <heatbook/clock.h>

#include <errno.h>
#include <mosquitto.h>
#include <mqtt_protocol.h>
#include <string.h>

#define QOS         1
#define BREAKS_MOST 3
#define WITHOUT_MS  MS_PER_HOUR

void posting_init(struct posting *p, struct outbox *outbox, bool five,
	const struct connection_events *events, void *context)
{
	*p = (struct posting){
		.outbox = outbox, .events = events, .context = context, .five = five};
}

void posting_release(struct posting *p)
{
	buffer_release(&p->word);
	buffer_release(&p->held);
}

static void say_unpublished(const struct posting *p, enum post post, const char *why)
{
	p->events->unpublished(p->context, outbox_topic(p->outbox, post), why);
}

void posting_give(struct posting *p, struct mosquitto *client)
{
	p->with = p->outbox && clock_mono_ms() >= p->without_until_ms;
	if (!p->with)
		return;
	int code = mosquitto_will_set(client, outbox_topic(p->outbox, POST_STATE),
		(int)strlen(POST_GONE), POST_GONE, QOS, true);
	if (code == 0)
		return;
	p->with = false;
	say_unpublished(p, POST_STATE, mosquitto_strerror(code));
}

void posting_reset(struct posting *p)
{
	p->due = true;
	p->present = p->accepted = p->parted = p->heard = false;
	memset(p->sent, 0, sizeof(p->sent));
	memset(p->waiting, 0, sizeof(p->waiting));
}

void posting_ask(struct posting *p, struct mosquitto *client)
{
	if (p->with) /* refused, it is told as if nothing were held */
		(void)mosquitto_subscribe(
			client, NULL, outbox_topic(p->outbox, POST_NOTICES), 0);
}

void posting_hear(struct posting *p, const struct mosquitto_message *message)
{
	if (!p->with || p->heard || !message->retain || message->payloadlen <= 0 ||
		message->payloadlen > POST_BYTES_MOST ||
		strcmp(message->topic, outbox_topic(p->outbox, POST_NOTICES)) != 0)
		return;
	buffer_reset(&p->held);
	buffer_add(&p->held, message->payload, (size_t)message->payloadlen);
	p->heard = p->due = true;
}

int posting_fd(const struct posting *p)
{
	return p->with ? outbox_fd(p->outbox) : -1;
}

void posting_wake(struct posting *p)
{
	outbox_calm(p->outbox);
	p->due = true;
}

/* Words of the present have an end; what is taken back has none to have. */
static int publish(struct posting *p, struct mosquitto *client, enum post post,
	const char *word, size_t length)
{
	mosquitto_property *properties = NULL;
	bool fades = post != POST_STATE && !post_stands(post);
	if (p->five && fades && length > 0 &&
		mosquitto_property_add_int32(&properties,
			MQTT_PROP_MESSAGE_EXPIRY_INTERVAL,
			outbox_fades_s(p->outbox)) != 0)
		return MOSQ_ERR_NOMEM;
	int code = mosquitto_publish_v5(client, &p->waiting[post],
		outbox_topic(p->outbox, post), (int)length, word, QOS, true, properties);
	mosquitto_property_free_all(&properties);
	if (code != 0)
		p->waiting[post] = 0;
	return code;
}

/* False when the connection is at its end, which the library meets next. */
static bool post_word(struct posting *p, struct mosquitto *client, enum post post,
	const char *word, size_t length)
{
	int code = publish(p, client, post, word, length);
	if (code == MOSQ_ERR_NO_CONN || code == MOSQ_ERR_CONN_LOST ||
		code == MOSQ_ERR_ERRNO)
		return false;
	if (code != 0)
		say_unpublished(p, post, mosquitto_strerror(code));
	return true;
}

bool posting_waits(const struct posting *p)
{
	for (size_t i = 0; i < POST_COUNT; i++)
		if (p->waiting[i])
			return true;
	return false;
}

/* Was everything of the present said at least once, and taken? What stands may take as
 * long as rows do to be made up to now, and was right when it was said. */
static bool is_all_said(const struct posting *p)
{
	for (int i = 0; i < POST_STATE; i++)
		if (!p->sent[i] && !post_stands((enum post)i))
			return false;
	return !posting_waits(p);
}

/* What the broker holds of the word that stands is known, as far as it will be. */
static bool is_held_known(const struct posting *p)
{
	return p->heard || is_all_said(p);
}

static bool is_held(const struct posting *p)
{
	return p->heard && p->held.length == p->word.length &&
	       memcmp(p->held.data, p->word.data, p->word.length) == 0;
}

void posting_send(struct posting *p, struct mosquitto *client)
{
	if (!p->with || !p->due)
		return;
	for (int i = 0; i < POST_STATE; i++) {
		enum post post = (enum post)i;
		if (p->waiting[post])
			continue; /* its acknowledgement makes it due again */
		bool first = post_stands(post) && !p->sent[post];
		if (first && !is_held_known(p))
			continue; /* it becomes due when it is */
		if (mosquitto_want_write(client))
			return;
		uint64_t number = outbox_take(p->outbox, post, p->sent[post], &p->word);
		if (number == p->sent[post])
			continue;
		if (!(first && is_held(p)) &&
			!post_word(p, client, post, p->word.data, p->word.length))
			return;
		p->sent[post] = number;
	}
	if (!p->present && is_all_said(p)) {
		if (mosquitto_want_write(client) ||
			!post_word(p, client, POST_STATE, POST_PRESENT,
				strlen(POST_PRESENT)))
			return;
		p->present = true;
	}
	p->due = false;
}

void posting_acknowledged(struct posting *p, int packet, int code)
{
	for (int i = 0; i < POST_COUNT; i++) {
		if (packet == 0 || p->waiting[i] != packet)
			continue;
		p->waiting[i] = 0;
		p->due = true;
		p->accepted = p->accepted || i == POST_STATE;
		if (code >= REASON_LEAST)
			say_unpublished(p, (enum post)i, reason_words(code));
		return;
	}
}

void posting_leave(struct posting *p, struct mosquitto *client)
{
	if (!p->with)
		return;
	const char *last = outbox_farewell(p->outbox);
	bool forsaken = !*last;
	for (int i = 0; i < POST_STATE; i++)
		if ((forsaken || !post_stands((enum post)i)) &&
			!post_word(p, client, (enum post)i, NULL, 0))
			return;
	p->parted = post_word(p, client, POST_STATE, last, strlen(last));
}

bool posting_lets_go(const struct posting *p)
{
	bool stands = p->with && p->present && *outbox_farewell(p->outbox);
	return !stands || (p->parted && p->waiting[POST_STATE] == 0);
}

void posting_judge(struct posting *p, bool answered, bool closed, int connack)
{
	bool before = closed && !answered;
	bool within = answered && !p->accepted && posting_waits(p);
	bool refused = connack == MQTT_RC_RETAIN_NOT_SUPPORTED ||
		       connack == MQTT_RC_QOS_NOT_SUPPORTED;
	if (!p->with)
		return;
	p->breaks = p->accepted ? 0 : p->breaks + (before || within);
	if (!refused && p->breaks < BREAKS_MOST)
		return;
	p->breaks = 0;
	p->without_until_ms = clock_mono_ms() + WITHOUT_MS;
	say_unpublished(p, POST_STATE,
		refused ? reason_words(connack)
			: "connections that publish break; heatbook goes on without");
}
