/*
 * from, to and step of a row resource, and the buckets that they make.
 *
 * Times are epoch seconds or RFC 3339 with offset, of the years 1970 to 2099; they are
 * cut to the minute before. Without `to` the span ends now, without `from` it holds the
 * last seven local days up to `to`; the step is a local day. `last` in place of `from`
 * goes back from `to` by the plant's calendar. A + that was decoded to a blank is taken
 * back and noted.
 */
#include "face.h"

#include <heatbook/clock.h>

#include <string.h>

#define DAYS_DEFAULT 7
#define DAY_VALUES   16                           /* of a step of whole days, at most */
#define TIME_MOST_MS (INT64_C(4102444800) * 1000) /* 2100-01-01T00:00:00Z */

static const char *const time_forms[] = {
	"epoch seconds, 1767222000",
	"RFC 3339 with offset, 2026-01-01T00:00:00+01:00 (in a URL: %2B01:00)",
	"RFC 3339 in UTC, 2025-12-31T23:00:00Z",
};
static const char *const step_forms[] = {
	"PT…M, PT…H or PT…H…M (multiples of a minute)", "P1D", "P1W", "P1M", "P1Y"};

static void note_add(struct span *span, const char *format, ...) PRINTF_LIKE(2, 3);
static void note_add(struct span *span, const char *format, ...)
{
	size_t used = strlen(span->note);
	if (used)
		used += (size_t)snprintf(span->note + used, 3, "; ");
	va_list args;
	va_start(args, format);
	(void)vsnprintf(span->note + used, sizeof(span->note) - used, format, args);
	va_end(args);
}

/* Undoes a + that became a blank: "…T10:00:00 01:00". Returns whether there was one. */
static bool restore_plus(char *text)
{
	size_t n = strlen(text);
	if (n < 20 || text[n - 6] != ' ' || text[n - 3] != ':')
		return false;
	text[n - 6] = '+';
	return true;
}

/* Whole seconds; false when it is no such number or beyond any sense. */
static bool epoch_parse(const char *text, int64_t *ret_ms)
{
	const char *digits = text + (*text == '-');
	size_t n = strlen(digits);
	if (n == 0 || n > 15 || strspn(digits, "0123456789") != n)
		return false;
	*ret_ms = strtoll(text, NULL, 10) * 1000;
	return true;
}

static bool time_read(const struct request *request, const char *name,
	struct reply *reply, struct span *span, int64_t *ret_ms)
{
	const char *given = request_value(request, name);
	const char *why = NULL;
	char text[64];
	if (strlen(given) >= sizeof(text)) {
		problem_with(reply, name, given, "%s is too long for a time", name);
		return false;
	}
	memcpy(text, given, strlen(given) + 1); /* fits, see above */
	if (restore_plus(text))
		note_add(span, "%s: a blank before the offset was read as + (write %%2B)",
			name);
	if (!epoch_parse(text, ret_ms) && time_parse_rfc3339(text, ret_ms, &why) < 0) {
		problem_with(reply, name, given, "%s is no time: %s", name, why);
		problem_allowed(reply, time_forms, ARRAY_LEN(time_forms));
		return false;
	}
	if (*ret_ms < 0 || *ret_ms > TIME_MOST_MS) {
		problem_with(reply, name, given,
			"%s must be of the years 1970 to 2099 (numbers are seconds)",
			name);
		problem_allowed(reply, time_forms, ARRAY_LEN(time_forms));
		return false;
	}
	if (*ret_ms % MS_PER_MIN)
		note_add(span, "%s was cut to the minute before", name);
	*ret_ms -= *ret_ms % MS_PER_MIN;
	return true;
}

static int64_t days_before(int64_t to_ms, int days)
{
	struct date last = calendar_date(to_ms - 1);
	int64_t from_ms = calendar_day_start(calendar_add(last, 0, 0, 1 - days));
	return from_ms < 0 ? 0 : from_ms;
}

static void note_clock(struct span *span, int64_t now_ms, bool given)
{
	/* A minute closes some time after its end. */
	int64_t closed_ms = span->to_ms + 10 * MS_PER_MIN;
	span->open = now_ms < closed_ms;
	span->clock_from_ms = span->open ? INT64_MIN : closed_ms;
	span->clock_until_ms = span->open ? closed_ms : INT64_MAX;
	if (given)
		return;
	span->clock_from_ms = span->to_ms;
	span->clock_until_ms = span->to_ms + MS_PER_MIN;
}

static const char *const last_forms[] = {"PT1H", "P7D", "P1M", "P1Y"};

/* The same time of day so many calendar days earlier, on the month's last day where it
 * has no such one. */
static bool calendar_back(int64_t to_ms, const struct duration *d, int64_t *ret_ms)
{
	struct date date = calendar_date(to_ms), month = {date.year, date.month, 1};
	char text[32], local[48], day_text[16];
	month = calendar_add(month, -d->years, -d->months, 0);
	int last =
		calendar_add((struct date){month.year, month.month + 1, 1}, 0, 0, -1).day;
	month.day = date.day < last ? date.day : last;
	calendar_date_text(calendar_add(month, 0, 0, -d->days), day_text);
	time_text_local(to_ms, text);
	(void)snprintf(local, sizeof(local), "%sT%.8s", day_text, text + 11);
	return time_parse_local(local, to_ms, ret_ms) == 0;
}

static bool last_sensible(const struct duration *d)
{
	bool any = d->years || d->months || d->days || d->exact_ms;
	return any && d->years <= 130 && d->months <= 1560 && d->days <= 47482 &&
	       d->exact_ms <= TIME_MOST_MS && d->exact_ms % MS_PER_MIN == 0;
}

bool http_last_parse(const char *text, int64_t to_ms, int64_t *ret_from_ms)
{
	struct duration last;
	int64_t from_ms;
	if (strlen(text) >= 32 || duration_parse(text, &last) != 0 ||
		!last_sensible(&last) || !calendar_back(to_ms, &last, &from_ms) ||
		from_ms < last.exact_ms)
		return false;
	*ret_from_ms = from_ms - last.exact_ms;
	return true;
}

static bool last_read(
	const struct request *request, struct reply *reply, struct span *span)
{
	const char *given = request_value(request, "last");
	if (!given)
		return true;
	if (request_value(request, "from")) {
		problem_with(reply, "last", given,
			"last and from are two beginnings of one span: give one of them");
		return false;
	}
	if (http_last_parse(given, span->to_ms, &span->from_ms))
		return true;
	problem_with(reply, "last", given,
		"last is no span of whole minutes, as an ISO 8601 duration, that begins "
		"in 1970 or later");
	problem_allowed(reply, last_forms, ARRAY_LEN(last_forms));
	return false;
}

bool span_times(
	const struct request *request, int days, struct reply *reply, struct span *span)
{
	int64_t now_ms = clock_now_ms();
	bool given = request_value(request, "to");
	span->to_ms = now_ms - now_ms % MS_PER_MIN;
	if (given && !time_read(request, "to", reply, span, &span->to_ms))
		return false;
	span->from_ms = days_before(span->to_ms, days);
	if (request_value(request, "from") &&
		!time_read(request, "from", reply, span, &span->from_ms))
		return false;
	static const char *const rows[] = {"no", "yes"};
	if (!last_read(request, reply, span) ||
		!choice_read(request, reply, "rows", rows, &span->by_rows))
		return false;
	note_clock(span, now_ms, given);
	if (span->from_ms < span->to_ms)
		return true;
	problem_with(reply, request_value(request, "from") ? "from" : "to",
		request_value(request, request_value(request, "from") ? "from" : "to"),
		"from must be before to; the span would be %lld to %lld (epoch seconds)",
		(long long)(span->from_ms / 1000), (long long)(span->to_ms / 1000));
	return false;
}

static bool step_allowed(const struct duration *step)
{
	if (step->exact_ms)
		return !step->years && !step->months && !step->days &&
		       step->exact_ms % MS_PER_MIN == 0;
	if (step->days)
		return !step->years && !step->months &&
		       (step->days == 1 || step->days == 7);
	return step->years + step->months == 1;
}

bool http_step_parse(const char *text, struct duration *ret)
{
	struct duration step;
	if (strlen(text) >= 32 || duration_parse(text, &step) != 0 ||
		!step_allowed(&step))
		return false;
	*ret = step;
	return true;
}

static bool step_read(
	const struct request *request, struct reply *reply, struct span *span)
{
	const char *given = request_value(request, "step");
	span->step_text = given ? given : "P1D";
	if (http_step_parse(span->step_text, &span->step))
		return true;
	problem_with(reply, "step", given, "step is none of those that are allowed");
	problem_allowed(reply, step_forms, ARRAY_LEN(step_forms));
	return false;
}

/* The finest usual step that fits, or NULL. */
static const char *step_that_fits(const struct span *span, size_t most)
{
	static const char *const usual[] = {"PT1M", "PT5M", "PT10M", "PT15M", "PT30M",
		"PT1H", "PT2H", "PT3H", "PT6H", "P1D", "P1W", "P1M", "P1Y"};
	for (size_t i = 0; i < ARRAY_LEN(usual); i++) {
		struct duration step;
		int64_t *edges;
		size_t count;
		if (duration_parse(usual[i], &step) < 0 ||
			query_buckets(span->from_ms, span->to_ms, &step, most, &edges,
				&count) != 0)
			continue;
		free(edges);
		return usual[i];
	}
	return NULL;
}

static bool buckets_lay(size_t values, struct reply *reply, struct span *span)
{
	size_t most = VALUES_MOST / values;
	int r = query_buckets(span->from_ms, span->to_ms, &span->step, most,
		&span->edges_ms, &span->count);
	if (r == 0)
		return true;
	if (r < 0) {
		problem_query(reply, r);
		return false;
	}
	const char *fits = step_that_fits(span, most);
	problem_with(reply, "step", span->step_text,
		"more than %d values (%zu a step): %s%s", VALUES_MOST, values,
		fits ? "the finest step that fits this span is "
		     : "ask for a shorter span",
		fits ? fits : "");
	if (fits)
		problem_allowed(reply, &fits, 1);
	return false;
}

bool span_read(const struct request *request, size_t values, struct reply *reply,
	struct span *ret)
{
	*ret = (struct span){0};
	return span_times(request, DAYS_DEFAULT, reply, ret) &&
	       step_read(request, reply, ret) && buckets_lay(values, reply, ret);
}

static const char *const day_steps[] = {"P1D", "P1W", "P1M", "P1Y"};

bool span_whole_days(
	const struct request *request, struct span *span, struct reply *reply)
{
	if (span->step.exact_ms) {
		problem_with(reply, "step", request_value(request, "step"),
			"only steps of whole local days are answered");
		problem_allowed(reply, day_steps, ARRAY_LEN(day_steps));
		return false;
	}
	int64_t from_ms = calendar_day_start(calendar_date(span->from_ms));
	int64_t to_ms = calendar_day_start(calendar_date(span->to_ms));
	if (to_ms < span->to_ms)
		to_ms = calendar_day_start(
			calendar_add(calendar_date(span->to_ms), 0, 0, 1));
	if (from_ms == span->from_ms && to_ms == span->to_ms)
		return true;
	note_add(span, "the span was widened to whole local days");
	span->from_ms = from_ms;
	span->to_ms = to_ms;
	free(span->edges_ms);
	span->edges_ms = NULL;
	return buckets_lay(DAY_VALUES, reply, span);
}

void span_release(struct span *span)
{
	free(span->edges_ms);
	*span = (struct span){0};
}

void span_write(const struct span *span, const struct config *config, struct json *json)
{
	json_text(json, "zone", config->plant.zone);
	json_seconds(json, "from", span->from_ms);
	json_seconds(json, "to", span->to_ms);
	if (span->step_text)
		json_text(json, "step", span->step_text);
	if (span->note[0])
		json_text(json, "note", span->note);
}

static int cache_s(const struct span *span)
{
	int64_t half_s = span->step.exact_ms ? span->step.exact_ms / 2000 : 3600;
	if (!span->open)
		return 60; /* late messages and imports may still change it */
	return half_s < 30 ? (int)half_s : 30;
}

void span_keep(const struct span *span, struct reply *reply)
{
	struct standing *standing = &reply->standing;
	reply->cache_s = cache_s(span);
	standing->stands = true;
	standing->from_ms = span->clock_from_ms;
	standing->until_ms = span->clock_until_ms;
	standing->before_minute = span->to_ms / MS_PER_MIN;
}
