/*
 * The library's client as connection.c wants it: made with our options, given its user
 * and password, its codes put in words.
 */
#ifndef HEATBOOK_INGEST_CLIENT_H
#define HEATBOOK_INGEST_CLIENT_H

#include <heatbook/config.h>

struct mosquitto;
struct mqtt5__property; /* the library's mosquitto_property */

/* With MQTT 5 the greatest packet that the broker may send; with 3.1.1, which has no word
 * for it, connection.c looks at what comes. Payloads above PAYLOAD_MOST are not decoded
 * anyhow. */
#define PACKET_MOST (256 << 10)

/* A client with a clean session; `context` is what its callbacks get. -errno. */
int client_new(const struct broker_config *broker, void *context, struct mosquitto **ret);
/* User and password from the configuration, the password from the first line of its file.
 */
int client_set_credentials(struct mosquitto *client, const struct broker_config *broker);

/* Addresses of a host, for freeaddrinfo(3). NULL, or why there are none. */
struct addrinfo;
const char *client_resolve(const char *host, struct addrinfo **ret);
/* Begins to connect to one of them, without waiting: a library code. */
int client_connect(struct mosquitto *client, const struct addrinfo *address, int port,
	int keepalive_s);

/* The keep-alive of a connection that was answered, seconds: the one asked for, unless
 * the broker's properties set another. 0 = there is none. */
int client_agree_keepalive(
	struct mosquitto *client, const struct mqtt5__property *properties, int asked_s);

/* A library code; `error` is the errno that goes with MOSQ_ERR_ERRNO. Valid until the
 * thread's next call. */
const char *client_error_words(int code, int error);

#endif
