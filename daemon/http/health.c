/*
 * /v1/health: the daemon's own state, and 503 when one of its limits is broken, so that a
 * probe needs no knowledge of the fields.
 *
 * Limits are about what the owner must act upon: the broker is not subscribed, a commit
 * failed or is overdue, the tail is nearly full, derivation lags behind the messages, the
 * clock is so wrong that messages feed no row. While messages wait for the clock to be
 * set nothing is overdue. Counters that only tell (bad values, unmatched topics, long
 * turns) break none.
 */
#include "basis.h"
#include "face.h"

#include <heatbook/calendar.h>

#include <math.h>
#include <microhttpd.h>
#include <string.h>

#define START_GRACE_MS   (INT64_C(15) * 1000)
#define DERIVED_LAG_MS   (5 * MS_PER_MIN)
#define COMMITS_OVERDUE  3
#define TAIL_NEARLY_FULL 9 /* tenths of its bound */

struct limit {
	const char *name;
	/* Is it broken? Then `detail` says how. */
	bool (*broken)(const struct config *config, const struct live_state *live,
		char detail[static 256]);
};

static bool text_is(const char *text, const char *other)
{
	return text && strcmp(text, other) == 0;
}

static bool broker_broken(const struct config *config, const struct live_state *live,
	char detail[static 256])
{
	if (!config->broker.host || text_is(live->broker_state, "subscribed"))
		return false;
	if (live->now_ms - live->started_ms < START_GRACE_MS)
		return false;
	bool cause = live->broker_cause && live->broker_cause[0];
	(void)snprintf(detail, 256, "the broker's state is %s%s%s",
		live->broker_state ? live->broker_state : "unknown", cause ? ": " : "",
		cause ? live->broker_cause : "");
	return true;
}

static bool commit_broken(const struct config *config, const struct live_state *live,
	char detail[static 256])
{
	(void)config; /* the daemon knows why */
	if (!live->commit_fault || !live->commit_fault[0])
		return false;
	(void)snprintf(detail, 256, "the last commit failed: %s", live->commit_fault);
	return true;
}

static bool derivation_broken(const struct config *config, const struct live_state *live,
	char detail[static 256])
{
	(void)config; /* the daemon knows why */
	if (!live->derive_fault || !live->derive_fault[0])
		return false;
	(void)snprintf(detail, 256, "minutes are not derived: %s", live->derive_fault);
	return true;
}

static bool store_broken(const struct config *config, const struct live_state *live,
	char detail[static 256])
{
	if (!live->store_damage)
		return false;
	(void)snprintf(detail, 256,
		"%.70s is damaged (%.60s) and not written any more; stop heatbookd, keep "
		"a copy, put a backup in its place, start again",
		config->store.file, live->store_damage);
	return true;
}

/* Messages that wait longer than three commit intervals and a minute. */
static bool commit_overdue(const struct config *config, const struct live_state *live,
	char detail[static 256])
{
	int64_t most_ms = COMMITS_OVERDUE * config->store.commit_interval_ms + MS_PER_MIN;
	int64_t last_ms = live->last_commit_ms > live->started_ms ? live->last_commit_ms
								  : live->started_ms;
	if (live->clock_held > 0) /* they wait for the clock */
		return false;
	if (live->last_message_ms <= last_ms || live->now_ms - last_ms <= most_ms)
		return false;
	(void)snprintf(detail, 256, "no commit for %lld s, at most %lld s are due",
		(long long)((live->now_ms - last_ms) / 1000),
		(long long)(most_ms / 1000));
	return true;
}

static bool tail_full(const struct config *config, const struct live_state *live,
	char detail[static 256])
{
	(void)config; /* the bound is in the state */
	if (live->tail_bound_bytes <= 0 ||
		live->tail_bytes < live->tail_bound_bytes / 10 * TAIL_NEARLY_FULL)
		return false;
	(void)snprintf(detail, 256,
		"the tail holds %lld of %lld bytes; messages beyond are refused (%llu so "
		"far)",
		(long long)live->tail_bytes, (long long)live->tail_bound_bytes,
		(unsigned long long)live->refused);
	return true;
}

static int64_t lag_ms(const struct live_state *live)
{
	int64_t lag = live->last_message_ms - live->derived_until_ms;
	return lag > 0 && live->last_message_ms > 0 ? lag : 0;
}

static bool derivation_lags(const struct config *config, const struct live_state *live,
	char detail[static 256])
{
	(void)config; /* the limit is fixed */
	if (lag_ms(live) <= DERIVED_LAG_MS || live->clock_held > 0 ||
		live->now_ms - live->started_ms < DERIVED_LAG_MS)
		return false;
	(void)snprintf(detail, 256, "the minutes end %lld s before the last message",
		(long long)(lag_ms(live) / 1000));
	return true;
}

static bool clock_wrong(const struct config *config, const struct live_state *live,
	char detail[static 256])
{
	(void)config; /* the clock is the machine's */
	if (!live->clock_broken)
		return false;
	char until[32] = "it is set";
	if (live->clock_unsure_until_ms > 0)
		time_text_utc(live->clock_unsure_until_ms, until);
	(void)snprintf(detail, 256,
		"the machine's clock is %s: messages are kept and feed no row until %s",
		live->clock_state, until);
	return true;
}

static const struct limit limits[] = {
	{"broker", broker_broken},
	{"store", store_broken},
	{"commit", commit_broken},
	{"derivation", derivation_broken},
	{"commit_interval", commit_overdue},
	{"tail", tail_full},
	{"lag", derivation_lags},
	{"clock", clock_wrong},
};

const char *health_limit(size_t i, const struct config *config,
	const struct live_state *live, bool *ret_broken)
{
	char detail[256];
	if (i >= ARRAY_LEN(limits))
		return NULL;
	*ret_broken = limits[i].broken(config, live, detail);
	return limits[i].name;
}

/* The status and the list of what is broken; returns whether anything is. */
static bool write_status(
	struct json *json, const struct config *config, const struct live_state *live)
{
	char details[ARRAY_LEN(limits)][256];
	bool broken[ARRAY_LEN(limits)], any = false;
	for (size_t i = 0; i < ARRAY_LEN(limits); i++) {
		broken[i] = limits[i].broken(config, live, details[i]);
		any = any || broken[i];
	}
	json_text(json, "status", any ? "broken" : "ok");
	json_array(json, "broken");
	for (size_t i = 0; i < ARRAY_LEN(limits); i++) {
		if (!broken[i])
			continue;
		json_object(json, NULL);
		json_text(json, "limit", limits[i].name);
		json_text(json, "detail", details[i]);
		json_object_end(json);
	}
	json_array_end(json);
	return any;
}

/* An instant, null when it never was. */
static void write_instant(struct json *json, const char *key, int64_t t_ms)
{
	if (t_ms > 0)
		json_seconds(json, key, t_ms);
	else
		json_null(json, key);
}

static void write_broker(
	struct json *json, const struct config *config, const struct live_state *live)
{
	json_object(json, "broker");
	json_bool(json, "configured", config->broker.host != NULL);
	json_text(json, "state", live->broker_state);
	write_instant(json, "since", live->broker_since_ms);
	json_text(json, "cause", live->broker_cause ? live->broker_cause : "");
	json_object_end(json);
}

static void write_messages(struct json *json, const struct live_state *live)
{
	json_object(json, "messages");
	json_integer(json, "accepted", (int64_t)live->messages);
	json_integer(json, "refused", (int64_t)live->refused);
	json_integer(json, "unmatched", (int64_t)live->unmatched);
	json_integer(json, "bad", (int64_t)live->bad);
	json_integer(json, "repeated_keys", (int64_t)live->repeated_keys);
	write_instant(json, "last", live->last_message_ms);
	json_object_end(json);
}

static void write_clock(struct json *json, const struct live_state *live)
{
	json_object(json, "clock");
	json_text(json, "state", live->clock_state ? live->clock_state : "");
	write_instant(json, "since", live->clock_since_ms);
	write_instant(json, "unsure_until", live->clock_unsure_until_ms);
	json_integer(json, "held", (int64_t)live->clock_held);
	json_integer(json, "unsure", (int64_t)live->clock_unsure);
	if (live->clock_step_ms != 0) {
		json_object(json, "last_step");
		json_seconds(json, "by_s", live->clock_step_ms);
		write_instant(json, "t", live->clock_stepped_ms);
		json_object_end(json);
	} else {
		json_null(json, "last_step");
	}
	json_object_end(json);
}

/* What the journal lost; `heatbookd verify` has the remedies. */
static void write_damaged(struct json *json, const struct live_state *live)
{
	json_integer(json, "damaged_chunks", (int64_t)live->damaged_count);
	json_array(json, "damaged");
	for (size_t i = 0; i < live->damaged_shown; i++) {
		const struct damaged_chunk *c = &live->damaged[i];
		json_object(json, NULL);
		json_integer(json, "chunk", c->id);
		json_seconds(json, "from", c->first_ms);
		json_seconds(json, "to", c->last_ms);
		json_integer(json, "records", c->records);
		json_integer(json, "sealed_days", c->sealed_days);
		json_text(json, "import", c->import[0] ? c->import : NULL);
		json_seconds(json, "found", c->found_ms);
		json_object_end(json);
	}
	json_array_end(json);
}

/* Null is not known yet, or of `full` not within twenty years. */
static void write_growth(struct json *json, const struct growth *g)
{
	bool known = g->bytes > 0;
	json_object(json, "growth");
	json_number(json, "journal_bytes_a_day",
		known ? g->journal_bytes_a_day : (double)NAN, 0);
	json_number(
		json, "rows_bytes_a_day", known ? g->rows_bytes_a_day : (double)NAN, 0);
	json_number(json, "bytes_in_a_year", known ? g->year_bytes : (double)NAN, 0);
	if (known && g->device_free_bytes >= 0)
		json_integer(json, "device_free_bytes", g->device_free_bytes);
	else
		json_null(json, "device_free_bytes");
	write_instant(json, "device_full", g->full_ms);
	json_object_end(json);
}

static void write_store(struct json *json, const struct live_state *live)
{
	json_object(json, "store");
	json_integer(json, "schema", live->schema);
	json_integer(json, "bytes", live->store_bytes);
	write_instant(json, "first_minute", live->first_minute * MS_PER_MIN);
	write_instant(json, "last_minute", live->last_minute * MS_PER_MIN);
	write_instant(json, "last_commit", live->last_commit_ms);
	json_text(json, "commit_fault", live->commit_fault ? live->commit_fault : "");
	write_growth(json, &live->growth);
	json_object_end(json);
	json_object(json, "journal");
	json_integer(json, "bytes", live->journal_bytes);
	json_integer(json, "tail_bytes", live->tail_bytes);
	json_integer(json, "tail_bound_bytes", live->tail_bound_bytes);
	write_damaged(json, live);
	json_object_end(json);
}

void answer_health(struct http *http, const struct request *request, struct reply *reply)
{
	struct live_state live = {0};
	struct json *json = &reply->body;
	(void)request; /* it has no parameters */
	http->live(LIVE_ALL, &live, http->context);
	json_object(json, NULL);
	if (write_status(json, http->config, &live))
		reply->status = MHD_HTTP_SERVICE_UNAVAILABLE;
	json_text(json, "version", HEATBOOK_VERSION);
	json_seconds(json, "t", live.now_ms);
	json_seconds(json, "started", live.started_ms);
	json_seconds(json, "uptime_s", live.now_ms - live.started_ms);
	write_broker(json, http->config, &live);
	write_messages(json, &live);
	write_clock(json, &live);
	json_object(json, "derivation");
	write_instant(json, "until", live.derived_until_ms);
	json_seconds(json, "lag_s", lag_ms(&live));
	json_integer(json, "days_waiting", live.dirty_days);
	json_older_days(json, &live.older);
	json_object_end(json);
	json_object(json, "loop");
	json_number(json, "turn_ms_longest", live.turn_ms_longest, 1);
	json_object_end(json);
	write_store(json, &live);
	reply->cache_s = CACHE_NEVER;
}
