/*
 * A request's target taken apart, and the Host field judged.
 *
 * The target is taken as it was sent (the library's own decoding ends a path at %00 and
 * turns + into a blank without a word). The path is compared as sent, so no spelling of
 * it with dots or escapes reaches anything; names and values are decoded. A control
 * character, plain or escaped, or a broken escape refuses the whole request.
 */
#include "face.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>

static int hex_digit(char c)
{
	if (c >= '0' && c <= '9')
		return c - '0';
	if (c >= 'a' && c <= 'f')
		return c - 'a' + 10;
	return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

/* The byte of an escape at `p` ("%41"), or -1. */
static int escaped_byte(const char *p)
{
	int high = hex_digit(p[1]);
	int low = high < 0 ? -1 : hex_digit(p[2]);
	return low < 0 ? -1 : high * 16 + low;
}

static bool is_control(int byte)
{
	return byte < 0x20 || byte == 0x7f;
}

static const char *target_fault(const char *target)
{
	if (target[0] != '/' && strcmp(target, "*") != 0)
		return "the request's target must be a path, or http:// with host and "
		       "path";
	for (const char *p = target; *p; p++) {
		if (is_control((unsigned char)*p))
			return "the request's target has a control character";
		if (*p != '%')
			continue;
		int byte = escaped_byte(p);
		if (byte < 0)
			return "a % in the request's target must be followed by two hex "
			       "digits";
		if (is_control(byte))
			return "the request's target has an escaped control character";
	}
	return NULL;
}

/* Decodes in place; the text only becomes shorter. */
static void decode(char *text)
{
	char *to = text;
	for (const char *p = text; *p; p++) {
		if (*p == '+') {
			*to++ = ' ';
		} else if (*p == '%') {
			*to++ = (char)escaped_byte(p);
			p += 2;
		} else {
			*to++ = *p;
		}
	}
	*to = '\0';
}

static const char *split_query(struct request *request, char *query)
{
	char *part;
	while ((part = strsep(&query, "&"))) {
		if (!*part)
			continue;
		if (request->parameter_count == PARAMETERS_MOST)
			return "the request has too many parameters";
		char *value = strchr(part, '=');
		if (value)
			*value++ = '\0';
		else
			value = part + strlen(part);
		decode(part);
		decode(value);
		request->parameters[request->parameter_count++] =
			(struct parameter){part, value};
	}
	return NULL;
}

/* Takes the host off a target in absolute form, which a server must accept (RFC
 * 9112, 3.2.2); returns the rest. */
static const char *take_authority(struct request *request, const char *target)
{
	static const char scheme[] = "http://";
	if (strncasecmp(target, scheme, sizeof(scheme) - 1) != 0)
		return target;
	target += sizeof(scheme) - 1;
	size_t length = strcspn(target, "/?");
	request->authority = xstrndup(target, length);
	return target[length] == '/' ? target + length : "/";
}

struct request *request_new(const char *target)
{
	struct request *request = xcalloc(1, sizeof(*request));
	bool fits = strlen(target) <= TARGET_MOST;
	target = fits ? take_authority(request, target) : "";
	request->target = xstrdup(target);
	request->text = xstrdup(target);
	request->path = request->text;
	request->fault = fits ? target_fault(target)
			      : "the request's target is longer than 8192 bytes";
	request->fault_status = fits ? MHD_HTTP_BAD_REQUEST : MHD_HTTP_URI_TOO_LONG;
	char *query = request->fault ? NULL : strchr(request->text, '?');
	if (query) {
		*query = '\0';
		request->fault = split_query(request, query + 1);
	}
	return request;
}

void request_free(struct request *request)
{
	if (!request)
		return;
	free(request->target);
	free(request->text);
	free(request->authority);
	free(request->accept);
	buffer_release(&request->key);
	free(request);
}

const char *request_value(const struct request *request, const char *name)
{
	for (size_t i = 0; i < request->parameter_count; i++)
		if (strcmp(request->parameters[i].name, name) == 0)
			return request->parameters[i].value;
	return NULL;
}

/* Host = uri-host [ ":" port ] (RFC 9110, 7.2); false when it is not of that form. */
static bool host_name(const char *host, char name[static 256])
{
	bool bracketed = host[0] == '[';
	size_t length = strcspn(bracketed ? ++host : host, bracketed ? "]" : ":");
	const char *rest = host + length;
	if (bracketed && *rest++ != ']')
		return false;
	if (length == 0 || length > 255)
		return false;
	if (*rest && (*rest != ':' || strspn(rest + 1, "0123456789") != strlen(rest + 1)))
		return false;
	memcpy(name, host, length);
	name[length] = '\0';
	return true;
}

static bool is_local_address(const char *name, const struct sockaddr *local)
{
	struct in_addr v4;
	struct in6_addr v6;
	if (!local)
		return false;
	if (local->sa_family == AF_INET && inet_pton(AF_INET, name, &v4) == 1) {
		struct sockaddr_in in;
		memcpy(&in, local, sizeof(in));
		return v4.s_addr == in.sin_addr.s_addr;
	}
	if (local->sa_family != AF_INET6)
		return false;
	struct sockaddr_in6 in6;
	memcpy(&in6, local, sizeof(in6));
	if (inet_pton(AF_INET6, name, &v6) == 1)
		return memcmp(&v6, &in6.sin6_addr, sizeof(v6)) == 0;
	return IN6_IS_ADDR_V4MAPPED(&in6.sin6_addr) &&
	       inet_pton(AF_INET, name, &v4) == 1 &&
	       memcmp(&v4, in6.sin6_addr.s6_addr + 12, sizeof(v4)) == 0;
}

static bool is_configured(const struct http_config *config, const char *name)
{
	bool found = strcasecmp(name, config->address) == 0;
	for (size_t i = 0; i < config->host_count; i++)
		found |= strcasecmp(name, config->hosts[i]) == 0;
	return found;
}

bool host_allowed(
	const char *host, const struct http_config *config, const struct sockaddr *local)
{
	char name[256];
	if (!host_name(host, name))
		return false;
	return strcasecmp(name, "localhost") == 0 || is_configured(config, name) ||
	       address_is_loopback(name) || is_local_address(name, local);
}
