/*
 * /v1/notices: what the owner wants to be told of, where it stands at the end of a span,
 * and each time that it was so within it. What is published of it has the same words.
 *
 * All of it is worked out of rows when asked, as far as minutes are closed: what a
 * rebuild puts right is told otherwise afterwards.
 */
#include "face.h"
#include "sheet.h"

#include <heatbook/calendar.h>
#include <heatbook/notices_ask.h>

#include <math.h>
#include <string.h>

enum { DAYS_BACK = 7, DAYS_A_TURN = 4, VALUE_DECIMALS = 4 };
#define ASKED_MS_MOST 2000 /* the loop that answers also stores minutes */

struct asked {
	const struct config *config;
	struct span span;
	struct notice_times times;
};

/* As far as minutes are closed. */
static int notices_ask(struct http *http, struct asked *a)
{
	struct live_state live = {0};
	http->live(LIVE_PRESENT, &live, http->context);
	int64_t closed_ms = live.derived_until_ms;
	return notice_times_ask(&http->walks, http->news, http->store, a->config,
		a->span.from_ms, a->span.to_ms < closed_ms ? a->span.to_ms : closed_ms,
		DAYS_A_TURN, ASKED_MS_MOST, &a->times);
}

static void asked_release(struct asked *a)
{
	notice_times_release(&a->times);
	span_release(&a->span);
}

/* ---- the answer ---- */

static void json_minute(struct json *json, const char *key, int64_t minute)
{
	if (minute < 0)
		json_null(json, key);
	else
		json_seconds(json, key, minute * MS_PER_MIN);
}

/* A level, where there is one. */
static void json_level(struct json *json, const char *key, const struct notice_config *n,
	bool is, double value)
{
	json_number(json, key, n->compares && is ? value : (double)NAN, VALUE_DECIMALS);
}

static void write_rule(struct json *json, const struct notice_config *n)
{
	json_text(json, "name", n->name);
	json_text(json, "text", n->text);
	json_text(json, "watch", n->watches);
	json_text(json, "unit", n->compares ? unit_own(n->dimension)->ucum : NULL);
	json_level(json, "above", n, n->above, n->raises);
	json_level(json, "below", n, !n->above, n->raises);
	json_level(json, "clears", n, true, n->clears);
}

/* Since when it is raised. */
static void write_since(struct json *json, const struct notices *notices, size_t i)
{
	const struct notice_state *s = notices_state(notices, i);
	json_minute(json, "since", s->raised ? s->since : -1);
	json_bool(json, "since_before", notices_before(notices, i));
}

static void write_notice(struct json *json, const struct asked *a, size_t i)
{
	const struct notice_config *n = &a->config->notices[i];
	const struct notice_state *s = notices_state(a->times.notices, i);
	json_object(json, NULL);
	write_rule(json, n);
	json_seconds(json, "for_s", n->for_ms);
	json_seconds(json, "clears_for_s", n->clears_for_ms);
	json_bool(json, "raised", s->raised);
	write_since(json, a->times.notices, i);
	json_number(json, "value", s->value, VALUE_DECIMALS);
	json_minute(json, "unknown_since", s->unknown_since);
	json_integer(json, "count", (int64_t)a->times.counts[i]);
	json_object_end(json);
}

static int64_t raised_count(const struct config *config, const struct notices *notices)
{
	int64_t count = 0;
	for (size_t i = 0; i < config->notice_count; i++)
		count += notices_state(notices, i)->raised;
	return count;
}

static struct cell *add_words(
	struct sheet *sheet, const char *name, const char *const *words)
{
	struct sheet_column column = {.words = words};
	(void)snprintf(column.name, sizeof(column.name), "%s", name);
	return sheet_add(sheet, &column);
}

static struct cell *add_instant(
	struct sheet *sheet, const struct config *config, enum column which)
{
	const struct question question = {.config = config};
	struct sheet_column column = energy_column(&question, which);
	return sheet_add(sheet, &column);
}

/* `names` must last as long as the sheet. */
static void lay_episodes(
	const struct asked *a, const char *const *names, struct sheet *sheet)
{
	static const char *const cuts[] = {"no", "begin"};
	*sheet = (struct sheet){.rows = a->times.count};
	struct cell *begins = add_instant(sheet, a->config, T);
	struct cell *ends = add_instant(sheet, a->config, T_END);
	struct cell *which = add_words(sheet, "notice", names);
	struct cell *cut = add_words(sheet, "truncated", cuts);
	for (size_t i = 0; i < a->times.count; i++) {
		const struct notice_time *e = &a->times.items[i];
		begins[i] = (struct cell){true, e->since * MS_PER_MIN};
		if (e->until != INT64_MAX)
			ends[i] = (struct cell){true, e->until * MS_PER_MIN};
		which[i] = (struct cell){true, (int64_t)e->notice};
		cut[i] = (struct cell){true, e->before};
	}
}

static void write_body(
	struct json *json, const struct asked *a, const struct sheet *sheet)
{
	json_object(json, NULL);
	span_write(&a->span, a->config, json);
	json_minute(json, "closed_until", a->times.to > 0 ? a->times.to : -1);
	json_integer(json, "raised", raised_count(a->config, a->times.notices));
	json_array(json, "notices");
	for (size_t i = 0; i < a->config->notice_count; i++)
		write_notice(json, a, i);
	json_array_end(json);
	sheet_json(sheet, SHEET_WHOLE, a->span.by_rows, json);
}

static void write_answer(const struct asked *a, struct reply *reply)
{
	const char *names[NOTICES_MOST];
	struct sheet sheet;
	for (size_t i = 0; i < a->config->notice_count; i++)
		names[i] = a->config->notices[i].name;
	lay_episodes(a, names, &sheet);
	if (reply->type)
		sheet_csv(&sheet, &reply->form, &reply->body.out);
	else
		write_body(&reply->body, a, &sheet);
	reply->cache_s = CACHE_ASK;
	sheet_release(&sheet);
}

static void problem_goes_on(struct reply *reply)
{
	problem(reply, MHD_HTTP_SERVICE_UNAVAILABLE,
		"that takes more than 2 s; ask again, and it goes on where it stopped");
	reply->retry_after_s = 1;
}

static void problem_waits(struct reply *reply)
{
	problem(reply, MHD_HTTP_SERVICE_UNAVAILABLE,
		"days are still to be looked at for what is found; /v1/findings says how "
		"many were (days_looked_at); ask again later");
	reply->retry_after_s = 30;
}

void answer_notices(struct http *http, const struct request *request, struct reply *reply)
{
	struct asked a = {.config = http->config};
	if (form_read(request, reply) && span_times(request, DAYS_BACK, reply, &a.span)) {
		int r = notices_ask(http, &a);
		if (r == FOUND_DAYS_WAIT)
			problem_waits(reply);
		else if (r == QUERY_TOO_SLOW)
			problem_goes_on(reply);
		else if (r != 0)
			problem_query(reply, r);
		else
			write_answer(&a, reply);
	}
	asked_release(&a);
}

void http_tell_notices(struct http *http, const struct notices *notices)
{
	bool known = http->notices_digest != 0;
	if (!notices || (known && notices_at(notices) == http->notices_at))
		return;
	http->notices_at = notices_at(notices);
	buffer_reset(&http->notices);
	http_notices_body(http->config, notices, &http->notices);
	uint64_t digest = digest64(0, http->notices.data, http->notices.length);
	http->notices_digest = digest ? digest : 1;
}

/* No word of it says when it was written: what did not change is the same text. */
void http_notices_body(
	const struct config *config, const struct notices *notices, struct buffer *out)
{
	struct json json = {0};
	json_object(&json, NULL);
	json_text(&json, "plant", config->plant.name);
	json_text(&json, "zone", config->plant.zone);
	json_integer(&json, "raised", raised_count(config, notices));
	json_array(&json, "notices");
	for (size_t i = 0; i < config->notice_count; i++) {
		if (!notices_state(notices, i)->raised)
			continue;
		json_object(&json, NULL);
		write_rule(&json, &config->notices[i]);
		write_since(&json, notices, i);
		json_object_end(&json);
	}
	json_array_end(&json);
	json_object_end(&json);
	buffer_add(out, json.out.data, json.out.length);
	buffer_release(&json.out);
}
