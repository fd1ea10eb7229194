/*
 * What heatbook publishes: today's figures and the findings at each interval, the mode as
 * soon as it is another, notices when one is raised or cleared, all of it by the plant's
 * zone. See publisher.h.
 *
 * What cannot be told is taken back (an empty word) and not left as it was: figures while
 * the clock is known to be wrong or the store cannot be read. With the first second of a
 * day the figures are those of the new day, of which nothing is known yet.
 */
#include "publisher.h"

#include <heatbook/clock.h>
#include <heatbook/http.h>
#include <heatbook/log.h>

#define FADES_INTERVALS   3 /* words are good for so many, where a broker can tell */
#define FINDINGS_LEAST_MS (5 * MS_PER_MIN) /* they cost some hundredths of a second */
#define FINDING_DAYS      7
#define LOOK_BUDGET       2 /* days that were not looked at yet: some ms each */
#define MODE_UNKNOWN      "unknown"

int publisher_begin(struct publisher *p, const struct config *config)
{
	*p = (struct publisher){.day_ms = -1, .notices_at = -1};
	if (!config->publish.prefix)
		return 0;
	log_info("publishes under %s/", config->publish.prefix);
	return outbox_new(config->publish.prefix,
		FADES_INTERVALS * config->publish.interval_ms, &p->outbox);
}

void publisher_forsake(struct publisher *p)
{
	if (p->outbox)
		outbox_forsake(p->outbox);
}

void publisher_end(struct publisher *p)
{
	outbox_free(p->outbox);
	*p = (struct publisher){0};
}

/* Takes the text over. One that is too long would not be taken by others either. */
static void put(struct publisher *p, enum post post, struct buffer *word, bool again)
{
	bool fits = word->length <= POST_BYTES_MOST;
	outbox_put(p->outbox, post, fits ? buffer_text(word) : "", again);
	buffer_release(word);
}

/* The sums of [from, to), which may be empty: then nothing is known. */
static int ask_day(struct store *store, const struct boundary *boundary, int64_t from_ms,
	int64_t to_ms, struct energy_answer *ret)
{
	const int64_t edges_ms[] = {from_ms, to_ms};
	if (to_ms > from_ms)
		return query_energy(store, edges_ms, 1, boundary, ret);
	*ret = (struct energy_answer){.total = {.t_ms = from_ms, .t_end_ms = from_ms}};
	return 0;
}

static void put_today(struct publisher *p, const struct config *config,
	struct store *store, const struct live_state *live)
{
	struct question q = {.config = config};
	struct energy_answer day;
	struct buffer word = {0};
	char why[256];
	int64_t until_ms = live->derived_until_ms < live->now_ms ? live->derived_until_ms
								 : live->now_ms;
	if (boundary_find(config, NULL, &q.boundary, why) != 0)
		q.boundary = (struct boundary){0};
	if (!live->clock_broken &&
		ask_day(store, &q.boundary, p->day_ms, until_ms, &day) == 0) {
		http_today_body(&q, &day.total, live->now_ms, &word);
		energy_answer_release(&day);
	}
	put(p, POST_TODAY, &word, true);
}

static void put_mode(struct publisher *p, const struct live_state *live, bool again)
{
	bool known = live->mode >= 0 && !live->clock_broken;
	outbox_put(p->outbox, POST_MODE,
		known ? mode_name((enum mode)live->mode) : MODE_UNKNOWN, again);
}

/* Of the last days, and what lasts. */
static void put_findings(struct publisher *p, const struct config *config,
	struct store *store, const struct live_state *live)
{
	struct date first =
		calendar_add(calendar_date(live->now_ms), 0, 0, 1 - FINDING_DAYS);
	struct findings findings;
	struct buffer word = {0};
	if (!live->clock_broken && findings_ask(store, calendar_day_start(first),
					   live->now_ms, LOOK_BUDGET, &findings) == 0) {
		http_findings_body(config, &findings, live->now_ms, &word);
		findings_ask_release(&findings);
	}
	put(p, POST_FINDINGS, &word, true);
}

/* Never again without a change: whoever reads it to a person would do so again. Where
 * nobody knows how they stand, they are left as they were. */
static void put_notices(struct publisher *p, const struct config *config,
	const struct notices *notices, const struct live_state *live)
{
	struct buffer word = {0};
	if (!notices || live->clock_broken || notices_at(notices) == p->notices_at)
		return;
	p->notices_at = notices_at(notices);
	http_notices_body(config, notices, &word);
	put(p, POST_NOTICES, &word, false);
}

void publisher_tick(struct publisher *p, const struct config *config, struct store *store,
	const struct notices *notices, publisher_state *state, void *context)
{
	struct live_state live = {0};
	int64_t now_ms = clock_mono_ms(), interval_ms = config->publish.interval_ms;
	if (!p->outbox)
		return;
	state(&live, context);
	bool again = now_ms >= p->again_at_ms;
	int64_t day_ms = calendar_day_start(calendar_date(live.now_ms));
	bool turned = day_ms != p->day_ms;
	p->day_ms = day_ms;
	if (again || turned)
		put_today(p, config, store, &live);
	put_mode(p, &live, again);
	put_notices(p, config, notices, &live);
	if (again && now_ms >= p->findings_at_ms) {
		put_findings(p, config, store, &live);
		p->findings_at_ms = now_ms + FINDINGS_LEAST_MS;
	}
	if (again)
		p->again_at_ms = now_ms + interval_ms;
}
