/*
 * The section [broker]: its files, and what follows from them. See config.h.
 *
 * TLS is on when it is asked for or when an authority is given; there is no way to have
 * it without checking the broker. Files are only looked for here, since whoever checks a
 * configuration need not be allowed to read them.
 */
#include "config_load.h"

#include <errno.h>
#include <string.h>
#include <unistd.h>

#define PORT_WITH_TLS 8883 /* IANA: secure-mqtt */

/* The path of a file or of a credential (systemd.exec(5), LoadCredential=), NULL where
 * there is none. Verbs that are run by hand have no credentials and mostly need none: the
 * configuration is good for them, and whoever does connect is told what is not there. */
static char *load_file(struct loader *l, const struct section *s, const char *key)
{
	const struct entry *e = section_entry(s, key);
	if (!e || !*e->value)
		return NULL;
	const char *credentials = getenv("CREDENTIALS_DIRECTORY");
	bool is_path = strchr(e->value, '/');
	if (!is_path && !credentials) {
		remark(&l->notes, e->line,
			"[broker] %s = %s: has no /, so it names a credential, which the "
			"service has and this program, run by hand, has not",
			key, e->value);
		return xasprintf("$CREDENTIALS_DIRECTORY/%s", e->value);
	}
	char *path =
		is_path ? xstrdup(e->value) : xasprintf("%s/%s", credentials, e->value);
	if (access(path, F_OK) < 0)
		entry_fault(l, s, e, "%s", strerror(errno));
	return path;
}

static void check_password(
	struct loader *l, const struct section *s, const struct broker_config *b)
{
	const struct entry *e = section_entry(s, "password_file");
	if (!e)
		return;
	if (!b->user)
		entry_fault(l, s, e,
			"needs a user too; MQTT 3.1.1, 3.1.2.9, knows no password "
			"without");
	else if (!b->tls && b->host && !address_is_loopback(b->host) &&
		 strcmp(b->host, "localhost") != 0)
		remark(&l->notes, e->line,
			"[broker] the password goes to %s unencrypted; tls or ca_file "
			"would encrypt it",
			b->host);
}

static void check_tls(
	struct loader *l, const struct section *s, const struct broker_config *b)
{
	static const char *const keys[] = {"ca_file", "certificate_file", "key_file"};
	for (size_t i = 0; !b->tls && i < ARRAY_LEN(keys); i++) {
		const struct entry *e = section_entry(s, keys[i]);
		if (e)
			entry_fault(l, s, e, "has no use without TLS; %s",
				section_entry(s, "tls") ? "tls must be yes"
							: "needs tls = yes or a ca_file");
	}
	const struct entry *certificate = section_entry(s, "certificate_file");
	const struct entry *key = section_entry(s, "key_file");
	if (b->tls && !certificate != !key)
		entry_fault(l, s, key ? key : certificate, "needs a %s too",
			key ? "certificate_file" : "key_file");
}

void load_broker(struct loader *l)
{
	struct broker_config *b = &l->config->broker;
	const struct section *s = document_section(&l->document, SECTION_BROKER);
	load_fields(l, SECTION_BROKER, s, b);
	b->password_file = load_file(l, s, "password_file");
	b->ca_file = load_file(l, s, "ca_file");
	b->certificate_file = load_file(l, s, "certificate_file");
	b->key_file = load_file(l, s, "key_file");
	if (!section_entry(s, "tls"))
		b->tls = section_entry(s, "ca_file");
	if (b->tls && !section_entry(s, "port"))
		b->port = PORT_WITH_TLS;
	check_password(l, s, b);
	check_tls(l, s, b);
}
