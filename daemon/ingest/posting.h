/*
 * Publishing over one connection: the outbox's words as retained messages, our Will, and
 * the farewell. The only place where anything is published (law 9).
 */
#ifndef HEATBOOK_INGEST_POSTING_H
#define HEATBOOK_INGEST_POSTING_H

#include "connection.h"

#include <heatbook/outbox.h>

struct mosquitto;
struct mosquitto_message;

struct posting {
	struct outbox *outbox; /* NULL: nothing is ever published */
	const struct connection_events *events;
	void *context;
	bool five; /* MQTT 5 */

	bool with;  /* the run publishes: its CONNECT has our Will */
	int breaks; /* runs in a row that may have broken for that */
	int64_t without_until_ms;

	/* Of the connection. */
	bool due;      /* something may be there to send */
	bool present;  /* it was said, ... */
	bool accepted; /* ... and acknowledged, after all others */
	bool parted;   /* the farewell was said whole */
	bool heard;    /* what the broker holds of the word that stands */
	struct buffer held;
	uint64_t sent[POST_COUNT]; /* numbers of words */
	int waiting[POST_COUNT];   /* packets without PUBACK, 0 = none */
	struct buffer word;
};

void posting_init(struct posting *posting, struct outbox *outbox, bool five,
	const struct connection_events *events, void *context);
void posting_release(struct posting *posting);

/* Of a client before it connects: gives it our Will, or leaves it without. */
void posting_give(struct posting *posting, struct mosquitto *client);
/* At each connection that is tried. */
void posting_reset(struct posting *posting);
/* For poll(2), -1 = nothing to wait for. */
int posting_fd(const struct posting *posting);
/* Once connected: asks the broker for what it holds of the word that stands. */
void posting_ask(struct posting *posting, struct mosquitto *client);
/* A message came. */
void posting_hear(struct posting *posting, const struct mosquitto_message *message);
/* Something was put into the outbox. */
void posting_wake(struct posting *posting);
/* Sends what is due, as far as that goes without waiting. Once subscribed. */
void posting_send(struct posting *posting, struct mosquitto *client);
/* PUBACK, with its reason code or 0. */
void posting_acknowledged(struct posting *posting, int packet, int code);
/* Takes the words back, but for the one that stands, and says that heatbook has stopped.
 */
void posting_leave(struct posting *posting, struct mosquitto *client);
/* After the farewell: may the Will be dropped? Not while "present" stands at the broker,
 * or would come back to it. */
bool posting_lets_go(const struct posting *posting);
/* Is an acknowledgement waited for? */
bool posting_waits(const struct posting *posting);
/* A run has ended, by the other side: `connack` is its code, 0 if it never came or was
 * good. */
void posting_judge(struct posting *posting, bool answered, bool closed, int connack);

#endif
