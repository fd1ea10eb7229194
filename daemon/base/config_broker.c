/*
 * The section [broker]: its files, and what follows from them. See config.h.
 *
 * TLS is on when it is asked for or when an authority is given; there is no way to have
 * it without checking the broker. Files are only looked for here, since whoever checks a
 * configuration need not be allowed to read them.
 */
#include "config_load.h"

#include <string.h>

#define PORT_WITH_TLS 8883 /* IANA: secure-mqtt */

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
