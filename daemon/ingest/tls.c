/*
 * TLS of one connection. See tls.h.
 *
 * The context is our own and the library adds nothing to it: TLS 1.2 at least, the chain
 * checked up to a trusted authority, and the certificate's names compared with the
 * configured host (RFC 6125) whatever numeric address the library was given; the same
 * name goes into SNI (RFC 6066, section 3: never an address). There is no way to leave a
 * check out.
 *
 * The library keeps reasons to itself ("a TLS error"), so they are noted where OpenSSL
 * tells them: in the check of the chain, as alerts of the other side, and as the error
 * codes that the library logs. The first is nearest to the cause.
 */
#include "tls.h"

#include <errno.h>
#include <mosquitto.h>
#include <openssl/err.h>
#include <openssl/ssl.h>
#include <openssl/x509v3.h>
#include <string.h>

#define ALERT_CLOSE 0 /* RFC 8446, section 6 */
#define NO_ALERT    (-1)

struct tls {
	const struct broker_config *broker;
	SSL_CTX *context;
	bool is_address; /* the host */
	bool asked;      /* for our certificate */
	int fault;       /* X509_V_ERR_…, of the certificate at `depth` */
	int depth;
	int alert;           /* of the other side */
	unsigned long error; /* OpenSSL's code */
};

/* On the chain of the connection's other side. Never changes the verdict. */
static int note_verdict(int good, X509_STORE_CTX *store)
{
	const SSL *ssl =
		X509_STORE_CTX_get_ex_data(store, SSL_get_ex_data_X509_STORE_CTX_idx());
	struct tls *tls = SSL_CTX_get_app_data(SSL_get_SSL_CTX(ssl));
	if (!good && tls->fault == X509_V_OK) {
		tls->fault = X509_STORE_CTX_get_error(store);
		tls->depth = X509_STORE_CTX_get_error_depth(store);
	}
	return good;
}

static void note_event(const SSL *ssl, int where, int value)
{
	struct tls *tls = SSL_CTX_get_app_data(SSL_get_SSL_CTX(ssl));
	int alert = value & 0xff;
	if (where & SSL_CB_HANDSHAKE_START) /* the library has put the address there */
		(void)SSL_set_tlsext_host_name((SSL *)(uintptr_t)ssl,
			tls->is_address ? NULL : tls->broker->host);
	if ((where & SSL_CB_READ_ALERT) == SSL_CB_READ_ALERT && alert != ALERT_CLOSE &&
		tls->alert == NO_ALERT)
		tls->alert = alert;
}

static int note_request(SSL *ssl, void *context)
{
	struct tls *tls = context;
	(void)ssl;
	tls->asked = true;
	return 1;
}

void tls_note(struct tls *tls, const char *line)
{
	const char *code = strstr(line, "OpenSSL Error");
	if (code && (code = strstr(code, "error:")) && tls->error == 0)
		tls->error = strtoul(code + strlen("error:"), NULL, 16);
}

/* Nobody is there to type a passphrase. */
static int no_passphrase(char *text, int size, int writes, void *context)
{
	(void)text;
	(void)size;
	(void)writes;
	*(bool *)context = true;
	return -1;
}

PRINTF_LIKE(2, 3)
static int faulty(char why[static CAUSE_MOST], const char *format, ...)
{
	va_list args;
	va_start(args, format);
	(void)vsnprintf(why, CAUSE_MOST, format, args); /* cut is said as well */
	va_end(args);
	ERR_clear_error();
	return TLS_FAULTY;
}

/* OpenSSL would say less clearly that a file cannot be read. */
static int check_file(const char *option, const char *path, char why[static CAUSE_MOST])
{
	_cleanup_(fclosep) FILE *f = fopen(path, "re");
	if (f)
		return 0;
	return faulty(why, "%s %.80s: %s%s", option, path, strerror(errno),
		errno == EACCES ? "; let the user of the service read it" : "");
}

static int load_authorities(struct tls *tls, char why[static CAUSE_MOST])
{
	const char *path = tls->broker->ca_file;
	if (!path)
		return SSL_CTX_set_default_verify_paths(tls->context) == 1
			       ? 0
			       : faulty(why, "the system's authorities cannot be read; "
					     "set ca_file");
	if (check_file("ca_file", path, why) != 0)
		return TLS_FAULTY;
	return SSL_CTX_load_verify_file(tls->context, path) == 1
		       ? 0
		       : faulty(why, "ca_file %.80s holds no certificate in PEM", path);
}

static int load_certificate(struct tls *tls, char why[static CAUSE_MOST])
{
	const char *path = tls->broker->certificate_file;
	if (check_file("certificate_file", path, why) != 0)
		return TLS_FAULTY;
	if (SSL_CTX_use_certificate_chain_file(tls->context, path) != 1)
		return faulty(
			why, "certificate_file %.80s holds no certificate in PEM", path);
	const X509 *ours = SSL_CTX_get0_certificate(tls->context);
	if (X509_cmp_current_time(X509_get0_notAfter(ours)) < 0)
		return faulty(why,
			"the certificate in certificate_file %.80s has expired; renew it",
			path);
	return 0;
}

static int load_key(struct tls *tls, char why[static CAUSE_MOST])
{
	const char *path = tls->broker->key_file;
	bool asked = false;
	if (check_file("key_file", path, why) != 0)
		return TLS_FAULTY;
	SSL_CTX_set_default_passwd_cb(tls->context, no_passphrase);
	SSL_CTX_set_default_passwd_cb_userdata(tls->context, &asked);
	int loaded = SSL_CTX_use_PrivateKey_file(tls->context, path, SSL_FILETYPE_PEM);
	SSL_CTX_set_default_passwd_cb_userdata(tls->context, NULL);
	if (loaded == 1)
		return 0;
	int reason = ERR_GET_REASON(ERR_peek_last_error());
	if (asked)
		return faulty(why,
			"the key in key_file %.80s is encrypted; store it without "
			"passphrase, readable by the service only",
			path);
	if (reason == X509_R_KEY_VALUES_MISMATCH)
		return faulty(
			why, "key_file %.80s does not belong to certificate_file", path);
	return faulty(why, "key_file %.80s holds no private key in PEM", path);
}

/* The name, or the address, that the certificate must be for. */
static int expect_host(struct tls *tls, char why[static CAUSE_MOST])
{
	X509_VERIFY_PARAM *param = SSL_CTX_get0_param(tls->context);
	const char *host = tls->broker->host;
	X509_VERIFY_PARAM_set_hostflags(param, X509_CHECK_FLAG_NO_PARTIAL_WILDCARDS);
	tls->is_address = X509_VERIFY_PARAM_set1_ip_asc(param, host) == 1;
	ERR_clear_error();
	if (tls->is_address || X509_VERIFY_PARAM_set1_host(param, host, 0) == 1)
		return 0;
	return faulty(why, "TLS knows no such host name");
}

int tls_new(const struct broker_config *broker, struct tls **ret,
	char ret_why[static CAUSE_MOST])
{
	struct tls *tls = xcalloc(1, sizeof(*tls));
	*tls = (struct tls){.broker = broker, .alert = NO_ALERT};
	tls->context = SSL_CTX_new(TLS_client_method());
	int r = 0;
	if (!tls->context || SSL_CTX_set_app_data(tls->context, tls) != 1 ||
		SSL_CTX_set_min_proto_version(tls->context, TLS1_2_VERSION) != 1)
		r = faulty(ret_why, "TLS cannot be had: %s",
			ERR_reason_error_string(ERR_peek_error()));
	if (r == 0)
		r = expect_host(tls, ret_why);
	if (r == 0)
		r = load_authorities(tls, ret_why);
	if (r == 0 && broker->certificate_file)
		r = load_certificate(tls, ret_why);
	if (r == 0 && broker->key_file)
		r = load_key(tls, ret_why);
	if (r != 0) {
		tls_free(tls);
		return r;
	}
	SSL_CTX_set_verify(tls->context, SSL_VERIFY_PEER, note_verdict);
	SSL_CTX_set_info_callback(tls->context, note_event);
	SSL_CTX_set_cert_cb(tls->context, note_request, tls);
	(void)SSL_CTX_set_mode(tls->context, SSL_MODE_RELEASE_BUFFERS); /* returns all */
	*ret = tls;
	return 0;
}

void tls_free(struct tls *tls)
{
	if (!tls)
		return;
	SSL_CTX_free(tls->context);
	free(tls);
}

void tls_forget(struct tls *tls)
{
	tls->fault = X509_V_OK;
	tls->alert = NO_ALERT;
	tls->error = 0;
	tls->asked = false;
}

void tls_give(struct tls *tls, struct mosquitto *client)
{
	/* Known options; the library counts its reference. */
	(void)mosquitto_int_option(client, MOSQ_OPT_SSL_CTX_WITH_DEFAULTS, 0);
	(void)mosquitto_void_option(client, MOSQ_OPT_SSL_CTX, tls->context);
}

bool tls_shakes_hands(struct mosquitto *client)
{
	const SSL *ssl = mosquitto_ssl_get(client);
	return ssl && !SSL_is_init_finished(ssl);
}

bool tls_asked(const struct tls *tls)
{
	return tls->asked;
}

static const char *verdict_words(const struct tls *tls)
{
	switch (tls->fault) {
	case X509_V_ERR_CERT_HAS_EXPIRED:
		return tls->depth == 0 ? "the broker's certificate has expired; renew it"
				       : "an authority of the broker's certificate has "
					 "expired; renew it";
	case X509_V_ERR_CERT_NOT_YET_VALID:
		return "the broker's certificate is not valid yet; look at the clocks";
	case X509_V_ERR_HOSTNAME_MISMATCH:
	case X509_V_ERR_IP_ADDRESS_MISMATCH:
		return "the broker's certificate is for another host; set host to a name "
		       "in it";
	case X509_V_ERR_DEPTH_ZERO_SELF_SIGNED_CERT:
		return "the broker's certificate is signed by itself; set ca_file to a "
		       "copy of it";
	case X509_V_ERR_SELF_SIGNED_CERT_IN_CHAIN:
	case X509_V_ERR_UNABLE_TO_GET_ISSUER_CERT:
	case X509_V_ERR_UNABLE_TO_GET_ISSUER_CERT_LOCALLY:
	case X509_V_ERR_UNABLE_TO_VERIFY_LEAF_SIGNATURE:
	case X509_V_ERR_CERT_SIGNATURE_FAILURE:
		return tls->broker->ca_file
			       ? "the broker's certificate is not signed by an authority "
				 "in ca_file"
			       : "the system knows no authority that signed the broker's "
				 "certificate; set ca_file";
	default:
		return NULL;
	}
}

/* RFC 8446, section 6.2. */
static const char *alert_words(const struct tls *tls)
{
	switch (tls->alert) {
	case SSL_AD_UNKNOWN_CA:
		return "the broker does not know the authority that signed our "
		       "certificate";
	case SSL_AD_CERTIFICATE_EXPIRED:
		return "the broker says that our certificate has expired; renew it";
	case SSL_AD_PROTOCOL_VERSION:
		return "the broker offers no TLS 1.2 or later";
	default:
		return NULL;
	}
}

static const char *error_words(const struct tls *tls)
{
	switch (ERR_GET_REASON(tls->error)) {
	case SSL_R_WRONG_VERSION_NUMBER:
	case SSL_R_HTTP_REQUEST:
	case SSL_R_PACKET_LENGTH_TOO_LONG:
		return "there is no TLS at this port; set port, or tls = no";
	case SSL_R_UNSUPPORTED_PROTOCOL:
		return "the broker offers no TLS 1.2 or later";
	default:
		return NULL;
	}
}

static bool say(char why[static CAUSE_MOST], const char *words, const char *otherwise,
	const char *term)
{
	if (words)
		(void)snprintf(why, CAUSE_MOST, "%s", words);
	else
		(void)snprintf(why, CAUSE_MOST, "%s: %s", otherwise, term ? term : "?");
	return true;
}

bool tls_words(const struct tls *tls, char ret_why[static CAUSE_MOST])
{
	if (tls->fault != X509_V_OK)
		return say(ret_why, verdict_words(tls),
			"the broker's certificate is refused",
			X509_verify_cert_error_string(tls->fault));
	/* True with an alert and without. */
	if (tls->asked && !tls->broker->certificate_file)
		return say(ret_why,
			"closed by the broker, which asks for a certificate of ours; set "
			"certificate_file and key_file",
			NULL, NULL);
	if (tls->alert != NO_ALERT)
		return say(ret_why, alert_words(tls), "the broker refuses TLS",
			SSL_alert_desc_string_long(tls->alert));
	if (tls->error == 0 ||
		ERR_GET_REASON(tls->error) == SSL_R_UNEXPECTED_EOF_WHILE_READING)
		return false;
	return say(ret_why, error_words(tls), "TLS failed",
		ERR_reason_error_string(tls->error));
}
