/*
 * Making the library's client. See client.h.
 *
 * Clean session, TCP_NODELAY (or Nagle's algorithm delays what we send). The
 * password is read for each connection, so that a new one needs no restart; it is never
 * logged, and our own copies of it are wiped. The library keeps one.
 */
#include "client.h"

#include <errno.h>
#include <mosquitto.h>
#include <mqtt_protocol.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <pthread.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#define PASSWORD_MOST 1024 /* bytes, with line end and NUL */

static void init_library(void)
{
	(void)mosquitto_lib_init(); /* what fails in it, mosquitto_new() reports */
}

/* The library takes properties of CONNECT only in its call that waits for the handshake.
 * Without a host that call keeps them, and ends. */
static int announce_limit(struct mosquitto *client, int keepalive_s)
{
	mosquitto_property *limit = NULL;
	if (mosquitto_property_add_int32(
		    &limit, MQTT_PROP_MAXIMUM_PACKET_SIZE, PACKET_MOST) != 0)
		return -ENOMEM;
	int code = mosquitto_connect_bind_v5(client, NULL, 1, keepalive_s, NULL, limit);
	mosquitto_property_free_all(&limit);
	return code == MOSQ_ERR_INVAL ? 0 : -ENOMEM;
}

int client_new(const struct broker_config *broker, void *context, struct mosquitto **ret)
{
	static pthread_once_t once = PTHREAD_ONCE_INIT;
	char host[256] = "";
	(void)pthread_once(&once, init_library);   /* fails only when misused */
	(void)gethostname(host, sizeof(host) - 1); /* a name cut short is a name too */
	_cleanup_(freep) char *id = broker->client_id ? xstrdup(broker->client_id)
						      : xasprintf("heatbook-%s", host);
	errno = 0;
	struct mosquitto *client = mosquitto_new(id, true, context);
	if (!client)
		return errno ? -errno : -ENOMEM;
	bool five = broker->protocol == BROKER_MQTT_5;
	(void)mosquitto_int_option(client, MOSQ_OPT_PROTOCOL_VERSION,
		five ? MQTT_PROTOCOL_V5 : MQTT_PROTOCOL_V311);
	(void)mosquitto_int_option(client, MOSQ_OPT_TCP_NODELAY, 1); /* known options */
	int r = five ? announce_limit(client, broker->keepalive_s) : 0;
	if (r < 0)
		mosquitto_destroy(client);
	else
		*ret = client;
	return r;
}

static int read_password(const char *path, char password[static PASSWORD_MOST])
{
	_cleanup_(fclosep) FILE *f = fopen(path, "re");
	if (!f)
		return -errno;
	(void)setvbuf(f, NULL, _IONBF, 0); /* no second copy of it in a buffer */
	if (!fgets(password, PASSWORD_MOST, f))
		return ferror(f) ? -EIO : -ENODATA;
	password[strcspn(password, "\r\n")] = '\0';
	return 0;
}

int client_set_credentials(struct mosquitto *client, const struct broker_config *broker)
{
	char password[PASSWORD_MOST] = "";
	bool has_password = broker->user && broker->password_file;
	int r = has_password ? read_password(broker->password_file, password) : 0;
	if (r == 0 && mosquitto_username_pw_set(client, broker->user,
			      has_password ? password : NULL) != MOSQ_ERR_SUCCESS)
		r = -EINVAL; /* not UTF-8, or too long for a string of MQTT */
	explicit_bzero(password, sizeof(password));
	return r;
}

const char *client_resolve(const char *host, struct addrinfo **ret)
{
	struct addrinfo hints = {.ai_socktype = SOCK_STREAM, .ai_family = AF_UNSPEC};
	int r = getaddrinfo(host, NULL, &hints, ret);
	if (r == 0)
		return NULL;
	return r == EAI_SYSTEM ? strerror(errno) : gai_strerror(r);
}

int client_connect(struct mosquitto *client, const struct addrinfo *address, int port,
	int keepalive_s)
{
	char host[NI_MAXHOST];
	if (getnameinfo(address->ai_addr, address->ai_addrlen, host, sizeof(host), NULL,
		    0, NI_NUMERICHOST) != 0)
		return MOSQ_ERR_EAI;
	return mosquitto_connect_async(client, host, port, keepalive_s);
}

/* MQTT 5.0, 3.2.2.3.14. With none at all there is no ping whose answer could be missed:
 * then TCP has to notice that the peer is gone. */
int client_agree_keepalive(
	struct mosquitto *client, const mosquitto_property *properties, int asked_s)
{
	uint16_t keepalive_s = (uint16_t)asked_s;
	(void)mosquitto_property_read_int16(
		properties, MQTT_PROP_SERVER_KEEP_ALIVE, &keepalive_s, false);
	if (keepalive_s > 0)
		return keepalive_s;
	int fd = mosquitto_socket(client), on = 1;
	/* It helps where it can. */
	(void)setsockopt(fd, SOL_SOCKET, SO_KEEPALIVE, &on, sizeof(on));
	(void)setsockopt(fd, IPPROTO_TCP, TCP_KEEPIDLE, &asked_s, sizeof(asked_s));
	(void)setsockopt(fd, IPPROTO_TCP, TCP_KEEPINTVL, &asked_s, sizeof(asked_s));
	return 0;
}

const char *client_error_words(int code, int error)
{
	if (code == MOSQ_ERR_ERRNO && error != 0)
		return strerror(error);
	if (code == MOSQ_ERR_CONN_LOST || code == MOSQ_ERR_SUCCESS)
		return "closed by the broker";
	if (code == MOSQ_ERR_KEEPALIVE)
		return "no answer to a ping";
	if (code == MOSQ_ERR_PROTOCOL || code == MOSQ_ERR_MALFORMED_PACKET)
		return "the broker sent what MQTT does not allow";
	if (code == MOSQ_ERR_MALFORMED_UTF8)
		return "the broker sent a topic that is not UTF-8";
	return mosquitto_strerror(code);
}
