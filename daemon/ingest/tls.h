/*
 * TLS of one connection: what the library is given to speak it with, and why it failed.
 */
#ifndef HEATBOOK_INGEST_TLS_H
#define HEATBOOK_INGEST_TLS_H

#include "connection.h"

struct mosquitto;
struct tls;

/* Reads the certificates. `broker` must outlive it. 0, or TLS_FAULTY with the reason in
 * words. */
enum { TLS_FAULTY = 1 };
int tls_new(const struct broker_config *broker, struct tls **ret,
	char ret_why[static CAUSE_MOST]);
void tls_free(struct tls *tls);

/* Makes the client speak it. `tls` must outlive the client. */
void tls_give(struct tls *tls, struct mosquitto *client);
/* Whether the client's handshake is still to be done. */
bool tls_shakes_hands(struct mosquitto *client);

/* Whether the broker asked for our certificate. */
bool tls_asked(const struct tls *tls);

/* Before each connection that is tried. */
void tls_forget(struct tls *tls);
/* A line of the client's log: notes the errors that it tells of. */
void tls_note(struct tls *tls, const char *line);
/* Puts into words what ended a connection that the broker had not answered yet; false
 * when TLS knows no more than that it was closed. */
bool tls_words(const struct tls *tls, char ret_why[static CAUSE_MOST]);

#endif
