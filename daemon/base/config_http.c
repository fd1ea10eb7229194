/*
 * The section [http]: who may ask, by which names, from which pages. See config.h.
 *
 * Beyond loopback nothing is served that is not guarded by a token, unless the owner says
 * that it is to be open. Names and origins are compared as texts, so they are refused in
 * a form that no client sends.
 */
#include "config_load.h"

#include <heatbook/tokens.h>

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <string.h>
#include <unistd.h>

#define HOST_MOST 253 /* of a name in the domain name system (RFC 1035, 2.3.4) */

static bool is_address(const char *text)
{
	struct in6_addr any;
	return inet_pton(AF_INET, text, &any) == 1 ||
	       inet_pton(AF_INET6, text, &any) == 1;
}

bool address_is_loopback(const char *address)
{
	struct in_addr v4;
	struct in6_addr v6;
	if (inet_pton(AF_INET, address, &v4) == 1)
		return (ntohl(v4.s_addr) >> 24) == 127;
	return inet_pton(AF_INET6, address, &v6) == 1 && IN6_IS_ADDR_LOOPBACK(&v6);
}

bool http_is_guarded(const struct http_config *http)
{
	return http->token_file || http->open ||
	       strcmp(http->address, "localhost") == 0 ||
	       address_is_loopback(http->address);
}

static bool is_name(const char *text, size_t length)
{
	return length > 0 && length <= HOST_MOST &&
	       strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789-._") >= length;
}

/* A host without its port: a name, or an address. */
static bool check_host(const char *item, char why[static WHY_SIZE])
{
	if (is_name(item, strlen(item)) || is_address(item))
		return true;
	(void)snprintf(why, WHY_SIZE,
		"must be a name such as cellar.example, or an address; without port, any "
		"port is meant");
	return false;
}

/* "https://wall.example:8443" as a browser writes it (RFC 6454, 6.2). */
static bool check_origin(const char *item, char why[static WHY_SIZE])
{
	bool secure = strncmp(item, "https://", 8) == 0;
	const char *host = item + (secure ? 8 : 7);
	bool good = secure || strncmp(item, "http://", 7) == 0;
	if (good) {
		bool bracketed = *host == '[';
		size_t length = strcspn(host, bracketed ? "]" : ":");
		const char *port = host + length + (bracketed && host[length] ? 1 : 0);
		good = bracketed ? length > 1 && port[-1] == ']' : is_name(host, length);
		if (*port) {
			const char *usual = secure ? ":443" : ":80";
			size_t digits = strspn(port + 1, "0123456789");
			good = good && *port == ':' && digits > 0 && digits <= 5 &&
			       !port[1 + digits] && strcmp(port, usual) != 0;
		}
	}
	if (!good)
		(void)snprintf(why, WHY_SIZE,
			"must be scheme and host, such as https://wall.example or "
			"http://wall.example:3000; no path, and no port where it is the "
			"scheme's own");
	return good;
}

static size_t load_names(struct loader *l, const struct section *s, const char *key,
	bool (*check)(const char *item, char why[static WHY_SIZE]), char ***ret)
{
	const struct entry *e = section_entry(s, key);
	char why[WHY_SIZE];
	if (!e || !*e->value)
		return 0;
	size_t count = load_list(l, s, e, NULL, ret);
	for (size_t i = 0; i < count; i++) {
		for (char *p = (*ret)[i]; *p; p++)
			if (*p >= 'A' && *p <= 'Z')
				*p = (char)(*p - 'A' + 'a');
		if (!check((*ret)[i], why))
			entry_fault(l, s, e, "'%s' %s", (*ret)[i], why);
	}
	return count;
}

/* Whoever checks a configuration need not be allowed to read the tokens. */
static void check_tokens(
	struct loader *l, const struct section *s, const struct http_config *h)
{
	const struct entry *e = section_entry(s, "token_file");
	struct tokens tokens;
	char why[WHY_SIZE];
	if (!h->token_file || access(h->token_file, F_OK) < 0)
		return; /* told already, or a credential */
	int r = tokens_read(h->token_file, &tokens, why);
	if (r == 0)
		explicit_bzero(&tokens, sizeof(tokens));
	else if (r == -EACCES)
		remark(&l->notes, e->line,
			"[http] token_file = %s: this account may not read it, so its "
			"tokens were not checked; the service's must",
			e->value);
	else
		entry_fault(l, s, e, "%s", why);
}

static void check_address(
	struct loader *l, const struct section *s, const struct http_config *h)
{
	const struct entry *e = section_entry(s, "address");
	if (!e || !*e->value)
		return;
	if (!is_address(h->address) && strcmp(h->address, "localhost") != 0)
		entry_fault(l, s, e,
			"must be an IP address of this host: 127.0.0.1, ::1, or one that "
			"others reach, such as 192.168.1.20; 0.0.0.0 and :: are all");
	else if (!http_is_guarded(h))
		entry_fault(l, s, e,
			"is reached from beyond this host: give a token_file, whose "
			"tokens clients must show, or say open = yes if whoever reaches "
			"it may read");
	else if (h->token_file && !address_is_loopback(h->address))
		remark(&l->notes, e->line,
			"[http] tokens and answers go through the network unencrypted; "
			"at 127.0.0.1 behind a TLS proxy they would not");
}

void load_http(struct loader *l)
{
	struct http_config *h = &l->config->http;
	const struct section *s = document_section(&l->document, SECTION_HTTP);
	load_fields(l, SECTION_HTTP, s, h);
	h->token_file = load_file(l, s, "token_file");
	h->host_count = load_names(l, s, "hosts", check_host, &h->hosts);
	h->origin_count = load_names(l, s, "origins", check_origin, &h->origins);
	check_tokens(l, s, h);
	check_address(l, s, h);
	const struct entry *e = section_entry(s, "open");
	if (e && h->open && h->token_file)
		entry_fault(l, s, e,
			"with a token_file nothing is open; leave one of both out");
	e = section_entry(s, "connections_per_client");
	if (e && h->connections_per_client > h->connections)
		entry_fault(
			l, s, e, "must not be more than connections, %d", h->connections);
	e = section_entry(s, "streams");
	if (e && h->streams >= h->connections)
		entry_fault(l, s, e,
			"must be less than connections, %d, or nothing else "
			"could be asked",
			h->connections);
	else if (h->streams >= h->connections)
		h->streams = h->connections - 1;
}
