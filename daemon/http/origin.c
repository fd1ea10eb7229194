/*
 * Which pages may ask: those of this server, and those whose origin is configured. A
 * browser says in Origin whose page asks (Fetch standard, 3.2), where the answer could be
 * read by it; where it could not, as of an image, newer ones tell in Sec-Fetch-Site that
 * it is another's (Fetch Metadata). Such questions are refused as well, since they cost
 * as much. Both from memory.
 */
#include "face.h"

#include <string.h>
#include <strings.h>

static const char *header(struct MHD_Connection *connection, const char *name)
{
	return MHD_lookup_connection_value(connection, MHD_HEADER_KIND, name);
}

/* A proxy before this server may speak TLS: the scheme is not ours to know. */
static bool is_own(const char *origin, const char *host)
{
	const char *name = strstr(origin, "://");
	if (!name || (strncasecmp(origin, "http:", 5) != 0 &&
			     strncasecmp(origin, "https:", 6) != 0))
		return false;
	return strcasecmp(name + 3, host) == 0;
}

static const char *configured(const struct http_config *http, const char *origin)
{
	for (size_t i = 0; i < http->origin_count; i++)
		if (strcasecmp(http->origins[i], origin) == 0)
			return http->origins[i];
	return NULL;
}

/* A question of another's page whose answer it cannot read; a link that is followed, or
 * an address that is typed, is none. */
static bool is_blind(struct MHD_Connection *connection)
{
	const char *site = header(connection, "Sec-Fetch-Site");
	const char *mode = header(connection, "Sec-Fetch-Mode");
	const char *use = header(connection, "Sec-Fetch-Dest");
	if (!site || strcmp(site, "same-origin") == 0 || strcmp(site, "none") == 0)
		return false;
	return !mode || strcmp(mode, "navigate") != 0 ||
	       (use && strcmp(use, "document") != 0);
}

bool origin_admitted(struct http *http, struct MHD_Connection *connection,
	const char *host, struct reply *reply)
{
	const char *origin = header(connection, MHD_HTTP_HEADER_ORIGIN);
	if (origin && is_own(origin, host))
		return true;
	if (origin)
		reply->allow_origin = configured(&http->config->http, origin);
	if (reply->allow_origin || (!origin && !is_blind(connection)))
		return true;
	problem(reply, MHD_HTTP_FORBIDDEN,
		"pages of %.100s may not ask this server; [http] origins would allow it",
		origin ? origin : "another server");
	return false;
}
