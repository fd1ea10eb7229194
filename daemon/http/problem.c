/*
 * Faults as RFC 9457 problems. The type is always "about:blank" (the title is the
 * status's own phrase, as 4.2.1 asks); what a program needs to act is in `parameter`,
 * `given`, `allowed`.
 */
#include "face.h"

#include <errno.h>
#include <microhttpd.h>
#include <string.h>

#define GIVEN_MOST 200

static void problem_va(
	struct reply *reply, unsigned status, const char *format, va_list args)
{
	char detail[600];
	(void)vsnprintf(
		detail, sizeof(detail), format, args); /* cut where it is too long */
	buffer_reset(&reply->body.out);
	reply->body.comma = false;
	reply->status = status;
	reply->problem = true;
	reply->type = NULL;
	reply->cache_s = CACHE_NEVER;
	json_object(&reply->body, NULL);
	json_text(&reply->body, "type", "about:blank");
	json_text(&reply->body, "title", MHD_get_reason_phrase_for(status));
	json_integer(&reply->body, "status", status);
	json_text(&reply->body, "detail", detail);
}

void problem(struct reply *reply, unsigned status, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	problem_va(reply, status, format, args);
	va_end(args);
}

void problem_with(struct reply *reply, const char *parameter, const char *given,
	const char *format, ...)
{
	va_list args;
	va_start(args, format);
	problem_va(reply, MHD_HTTP_BAD_REQUEST, format, args);
	va_end(args);
	char cut[GIVEN_MOST + 1];
	(void)snprintf(cut, sizeof(cut), "%s", given ? given : "");
	json_text(&reply->body, "parameter", parameter);
	json_text(&reply->body, "given", given ? cut : NULL);
}

void problem_allowed(struct reply *reply, const char *const *allowed, size_t count)
{
	json_array(&reply->body, "allowed");
	for (size_t i = 0; i < count; i++)
		json_text(&reply->body, NULL, allowed[i]);
	json_array_end(&reply->body);
}

void problem_query(struct reply *reply, int error)
{
	if (error > 0) { /* QUERY_TOO_SLOW */
		problem(reply, MHD_HTTP_SERVICE_UNAVAILABLE,
			"the store took more than 2 s to answer; ask again later, for a "
			"shorter span or for a coarser step");
		reply->retry_after_s = 5;
		return;
	}
	if (error == -EUCLEAN) {
		problem(reply, MHD_HTTP_SERVICE_UNAVAILABLE,
			"the store's file is damaged; /v1/health says what is to be "
			"done");
		return;
	}
	problem(reply, MHD_HTTP_INTERNAL_SERVER_ERROR, "the store cannot be read: %s",
		strerror(-error));
}
