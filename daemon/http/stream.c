/*
 * /v1/stream: minutes as they close, and which older ones were written anew, as an event
 * stream (WHATWG, HTML standard, 9.2 "Server-sent events"; from memory).
 *
 * A follower is a place in what happened: the minute up to which it was told, and how
 * many revisions. What it is told next is worked out of the store and the news when the
 * library asks for more bytes, so that a slow reader holds one text at most, and delays
 * nobody. Its place is the id of each event, after the number of the run: who comes back
 * with an id gets each minute after it once. What it missed of revisions it is told; what
 * nobody knows any more, since it was another run's, or too many, it is told as one that
 * covers everything up to its place. Of notices its place knows by a digest in which
 * words it was told of them last, which any run can compare with its own.
 *
 * Between events the library lets the connection rest (it is suspended); http_turn()
 * wakes those that have something to say. Nobody else watches a resting connection, so it
 * is looked at here whether the reader has closed its end: then a comment finds out
 * whether it still listens, and one that does not gives its place free within a second.
 */
#include "stream.h"
#include "face.h"

#include <heatbook/clock.h>
#include <heatbook/news.h>

#include <inttypes.h>
#include <poll.h>
#include <string.h>

#define BLOCK_BYTES  ((size_t)16 * 1024) /* that the library takes at once */
#define MINUTES_ONCE 60                  /* in one text */
#define STUCK_S      60    /* a reader that takes nothing for so long is gone */
#define QUIET_MS     15000 /* a comment after it: a reader that left is noticed by it */
#define RETRY_MS     1000  /* the store did not answer */
#define LOOK_MS      500 /* at those that rest, and between comments to one that leaves */
#define FULL_S       30  /* after which those may ask again for whom there is no room */

struct follower {
	struct http *http;
	struct MHD_Connection *connection;
	struct follower *next;
	struct follow_place place;
	bool placed;    /* else it begins where minutes end once that is known */
	bool welcomed;  /* the first text was written */
	bool suspended; /* by the library, until it is resumed */
	bool ends;      /* when what was begun is sent */
	struct buffer text;
	size_t sent;
	int64_t spoke_ms; /* monotonic: when the last text was written */
	int64_t asks_ms;  /* monotonic: not before is the store asked again */
	int64_t looks_ms; /* monotonic: not before is looked whether it leaves */
	bool leaves;      /* the reader has closed its end */
};

/* How they stand is new to it. */
static bool hears_notices(const struct follower *f)
{
	uint64_t digest = f->http->notices_digest;
	return digest != 0 && digest != f->place.notices;
}

static bool has_news(const struct follower *f)
{
	const struct news *news = f->http->news;
	if (news->closed < 0)
		return false;
	return !f->placed || f->place.minute != news->closed ||
	       f->place.revisions != news->revision_count || f->place.run != news->run ||
	       hears_notices(f);
}

static int64_t quiet_ms(const struct follower *f)
{
	return f->leaves ? LOOK_MS : QUIET_MS;
}

static bool is_due(const struct follower *f, int64_t now_ms)
{
	if (f->ends || !f->welcomed || now_ms - f->spoke_ms >= quiet_ms(f))
		return true;
	return now_ms >= f->asks_ms && has_news(f);
}

static void write_id(struct follower *f)
{
	buffer_addf(&f->text, "id: %" PRId64 ".%016" PRIx64 ".%" PRIu64,
		f->place.minute * 60, f->place.run, f->place.revisions);
	if (f->place.notices)
		buffer_addf(&f->text, ".%016" PRIx64, f->place.notices);
	buffer_add_text(&f->text, "\n");
}

static void write_revised(struct follower *f, int64_t from, int64_t to)
{
	struct json json = {0};
	json_object(&json, NULL);
	json_integer(&json, "from", from * 60);
	json_integer(&json, "to", to * 60);
	json_object_end(&json);
	buffer_add_text(&f->text, "event: revised\n");
	write_id(f);
	buffer_addf(&f->text, "data: %s\n\n", buffer_text(&json.out));
	buffer_release(&json.out);
}

/* A place that nobody knows any more: all that was told before is told to be anew. */
static int revise_everything(struct follower *f)
{
	const struct news *news = f->http->news;
	int64_t from = f->place.minute, to;
	int r = store_row_span(f->http->store, &from, &to);
	if (r != 0 && r != STORE_NONE)
		return r;
	f->place.run = news->run;
	f->place.revisions = news->revision_count;
	if (from < f->place.minute)
		write_revised(f, from, f->place.minute);
	return 0;
}

/* Those that it was not told of, as far as they reach back behind its place: what lies
 * after it is still to be told. Those that touch each other are one. */
static void tell_revisions(struct follower *f)
{
	const struct news *news = f->http->news;
	struct minute_range open = {0, 0};
	while (f->place.revisions < news->revision_count) {
		size_t at = (size_t)(f->place.revisions % NEWS_REVISIONS_MOST);
		struct minute_range next = news->revisions[at];
		if (next.to > f->place.minute)
			next.to = f->place.minute;
		bool any = open.from < open.to,
		     touches = next.from <= open.to && next.to >= open.from;
		if (next.from < next.to && any && touches) {
			open.from = next.from < open.from ? next.from : open.from;
			open.to = next.to > open.to ? next.to : open.to;
		} else if (next.from < next.to) {
			if (any)
				write_revised(f, open.from, open.to);
			open = next;
		}
		f->place.revisions++;
	}
	if (open.from < open.to)
		write_revised(f, open.from, open.to);
}

static int catch_up(struct follower *f)
{
	const struct news *news = f->http->news;
	if (f->place.run != news->run || f->place.revisions > news->revision_count ||
		news->revision_count - f->place.revisions > NEWS_REVISIONS_MOST)
		return revise_everything(f);
	tell_revisions(f);
	return 0;
}

/* Minutes at the end are to be made again, or there are more than anybody wants one by
 * one. */
static void leap(struct follower *f, int64_t to)
{
	int64_t from = f->place.minute;
	f->place.minute = to;
	write_revised(f, from < to ? from : to, from < to ? to : from);
}

static int tell_minutes(struct follower *f)
{
	int64_t closed = f->http->news->closed, left = closed - f->place.minute;
	if (left < 0 || left > MIN_PER_DAY) {
		leap(f, closed);
		return 0;
	}
	struct buffer bodies[MINUTES_ONCE] = {0};
	size_t count = left < MINUTES_ONCE ? (size_t)left : MINUTES_ONCE;
	int r = count ? minute_bodies(f->http->config, f->http->store, f->place.minute,
				count, bodies)
		      : 0;
	for (size_t i = 0; r == 0 && i < count; i++) {
		f->place.minute++;
		buffer_add_text(&f->text, "event: minute\n");
		write_id(f);
		buffer_addf(&f->text, "data: %s\n\n", buffer_text(&bodies[i]));
	}
	for (size_t i = 0; i < count; i++)
		buffer_release(&bodies[i]);
	return r;
}

/* They stand so after the minutes that were told; whoever comes back to the same words
 * is not told again, since it may have told a person. */
static void tell_notices(struct follower *f)
{
	if (f->place.minute != f->http->news->closed || !hears_notices(f))
		return;
	f->place.notices = f->http->notices_digest;
	buffer_add_text(&f->text, "event: notices\n");
	write_id(f);
	buffer_addf(&f->text, "data: %s\n\n", buffer_text(&f->http->notices));
}

/* The first lines: how soon to come back, and where this begins, so that who loses the
 * stream before its first event can come back, too. */
static void welcome(struct follower *f)
{
	const struct news *news = f->http->news;
	if (!f->welcomed)
		buffer_add_text(&f->text, "retry: 3000\n");
	if (!f->placed && news->closed >= 0) {
		f->place = (struct follow_place){.minute = news->closed,
			.run = news->run,
			.revisions = news->revision_count};
		f->placed = true;
		write_id(f);
	}
	if (f->text.length)
		buffer_add_text(&f->text, "\n");
	f->welcomed = true;
}

/* Writes what is to be said next, if anything is. */
static void compose(struct follower *f)
{
	int64_t now_ms = clock_mono_ms();
	buffer_reset(&f->text);
	f->sent = 0;
	if (!is_due(f, now_ms))
		return;
	welcome(f);
	if (f->placed && f->http->news->closed >= 0 && now_ms >= f->asks_ms) {
		int r = catch_up(f);
		if (r == 0)
			r = tell_minutes(f);
		if (r == 0)
			tell_notices(f);
		f->asks_ms = r == 0 ? 0 : now_ms + RETRY_MS;
	}
	if (f->text.length == 0 && now_ms - f->spoke_ms >= quiet_ms(f))
		buffer_add_text(&f->text, ":\n\n");
	if (f->text.length)
		f->spoke_ms = now_ms;
}

static ssize_t more(void *context, uint64_t at, char *bytes, size_t most)
{
	struct follower *f = context;
	(void)at; /* the library reads from the beginning to the end */
	if (f->sent == f->text.length) {
		if (f->ends)
			return MHD_CONTENT_READER_END_OF_STREAM;
		compose(f);
	}
	if (f->sent == f->text.length) {
		f->suspended = true;
		MHD_suspend_connection(f->connection);
		return 0;
	}
	size_t left = f->text.length - f->sent, count = left < most ? left : most;
	memcpy(bytes, f->text.data + f->sent, count);
	f->sent += count;
	return (ssize_t)count;
}

static void leave(void *context)
{
	struct follower *f = context;
	struct follower **at = &f->http->followers;
	while (*at != f)
		at = &(*at)->next;
	*at = f->next;
	f->http->follower_count--;
	buffer_release(&f->text);
	free(f);
}

struct MHD_Response *stream_response(struct MHD_Connection *connection, struct http *http,
	const struct follow_place *place)
{
	struct follower *f = xcalloc(1, sizeof(*f));
	*f = (struct follower){.http = http,
		.connection = connection,
		.next = http->followers,
		.spoke_ms = clock_mono_ms()};
	if (place) {
		f->place = *place;
		f->placed = true;
	}
	http->followers = f;
	http->follower_count++;
	struct MHD_Response *response = MHD_create_response_from_callback(
		MHD_SIZE_UNKNOWN, BLOCK_BYTES, more, f, leave);
	if (!response) {
		leave(f);
		return NULL;
	}
	/* While it rests no time runs; a reader whose socket stays full has so long. */
	(void)MHD_set_connection_option(
		connection, MHD_CONNECTION_OPTION_TIMEOUT, STUCK_S);
	return response;
}

static void look_whether_it_leaves(struct follower *f, int64_t now_ms)
{
	struct pollfd p = {.fd = visit_of(f->connection)->fd, .events = POLLRDHUP};
	f->looks_ms = now_ms + LOOK_MS;
	f->leaves = poll(&p, 1, 0) > 0;
}

void stream_turn(struct http *http)
{
	int64_t now_ms = clock_mono_ms();
	for (struct follower *f = http->followers; f; f = f->next) {
		if (f->suspended && now_ms >= f->looks_ms)
			look_whether_it_leaves(f, now_ms);
		if (f->suspended && is_due(f, now_ms)) {
			f->suspended = false;
			MHD_resume_connection(f->connection);
		}
	}
}

int stream_wait_ms(const struct http *http)
{
	int64_t now_ms = clock_mono_ms(), least = -1;
	for (const struct follower *f = http->followers; f; f = f->next) {
		int64_t left = f->spoke_ms + quiet_ms(f) - now_ms;
		if (!f->suspended)
			continue;
		if (is_due(f, now_ms))
			return 0;
		if (has_news(f) && f->asks_ms - now_ms < left)
			left = f->asks_ms - now_ms;
		least = least < 0 || left < least ? left : least;
	}
	return (int)least;
}

void stream_end(struct http *http)
{
	for (struct follower *f = http->followers; f; f = f->next)
		f->ends = true;
	stream_turn(http);
}

/* A part of an id: digits alone, at most so many, up to `end`; NULL when it is none, else
 * what follows. */
static const char *part_read(
	const char *text, int base, size_t most, char end, uint64_t *ret)
{
	size_t count = strspn(text, base == 16 ? "0123456789abcdef" : "0123456789");
	if (count == 0 || count > most || text[count] != end)
		return NULL;
	*ret = strtoull(text, NULL, base);
	return text + count + (end ? 1 : 0);
}

/* "1769900400.0123456789abcdef.7", or with ".fedcba9876543210" behind it. */
static bool place_read(const char *text, struct follow_place *ret)
{
	uint64_t end_s = 0;
	text = part_read(text, 10, 12, '.', &end_s);
	text = text ? part_read(text, 16, 16, '.', &ret->run) : NULL;
	bool notices = text && strchr(text, '.');
	text = text ? part_read(text, 10, 18, notices ? '.' : '\0', &ret->revisions)
		    : NULL;
	if (text && notices)
		text = part_read(text, 16, 16, '\0', &ret->notices);
	ret->minute = (int64_t)(end_s / 60);
	return text && end_s % 60 == 0;
}

void answer_stream(struct http *http, const struct request *request, struct reply *reply)
{
	const char *id = request->last_event_id;
	if (!http->news) {
		problem(reply, MHD_HTTP_SERVICE_UNAVAILABLE, "no minutes are made here");
		return;
	}
	int most = http->config->http.streams;
	if (http->follower_count >= most) {
		problem(reply, MHD_HTTP_SERVICE_UNAVAILABLE,
			"there are %d streams already, as many as may be at once "
			"(streams "
			"of [http]); end one of them, or ask again later",
			most);
		reply->retry_after_s = FULL_S;
		return;
	}
	reply->resumes = id && *id;
	if (reply->resumes && !place_read(id, &reply->place)) {
		problem_with(reply, "Last-Event-ID", id,
			"the field Last-Event-ID must be the id of an event of this "
			"stream, as it was sent; leave it out to begin with the present");
		return;
	}
	reply->stream = true;
}
