/*
 * The token that a client shows: "Authorization: Bearer TOKEN" (RFC 6750, 2.1), and the
 * challenge where it is missing or not one of ours (3; RFC 9110, 11.6.1). From memory.
 * It is taken from nowhere else: what stands in an address ends up in logs.
 */
#include "face.h"

#include <heatbook/tokens.h>

#include <string.h>
#include <strings.h>

#define REALM "Bearer realm=\"heatbook\""

static bool refuse(
	struct reply *reply, unsigned status, const char *challenge, const char *why)
{
	problem(reply, status,
		"%s; a client of this server sends the field Authorization: Bearer and "
		"one of the tokens of [http] token_file, never in the address",
		why);
	reply->challenge = challenge;
	return false;
}

bool token_admitted(
	struct http *http, struct MHD_Connection *connection, struct reply *reply)
{
	static const char scheme[] = "Bearer ";
	struct field field = {.name = MHD_HTTP_HEADER_AUTHORIZATION};
	if (!http->tokens)
		return true;
	field_find(connection, &field);
	if (field.count > 1)
		return refuse(reply, MHD_HTTP_BAD_REQUEST,
			REALM ", error=\"invalid_request\"",
			"the field Authorization is given more than once");
	if (!field.count || strncasecmp(field.value, scheme, sizeof(scheme) - 1) != 0)
		return refuse(reply, MHD_HTTP_UNAUTHORIZED, REALM, "this needs a token");
	const char *token = field.value + sizeof(scheme) - 1;
	token += strspn(token, " ");
	size_t length = strlen(token);
	if (!token_is_formed(token, length))
		return refuse(reply, MHD_HTTP_BAD_REQUEST,
			REALM ", error=\"invalid_request\"",
			"what the field Authorization has is no token");
	if (tokens_match(http->tokens, token, length))
		return true;
	return refuse(reply, MHD_HTTP_UNAUTHORIZED, REALM ", error=\"invalid_token\"",
		"the token is none of this server's");
}
