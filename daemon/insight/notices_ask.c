/*
 * See notices_ask.h. A walk begins at the midnight before its span (and looks back from
 * there); so spans that begin on one day, as those of `last=P1M` do all day, share one.
 *
 * A walk holds what rows before its minute say. Rows that were written anew before it end
 * it; those that follow are still to be read. Where it came to the end of a span it goes
 * back some midnights before it is asked again, since the last days are revised all day.
 */
#include <heatbook/notices_ask.h>

#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/query.h>

#include <string.h>

struct notice_walk {
	int64_t from; /* a local midnight */
	struct notices *notices;
	bool arrived; /* at the end of a span */
	struct notice_time *items;
	size_t count;
};

/* ---- one walk ---- */

static void take_change(size_t notice, enum notice_change change,
	const struct notice_state *state, void *context)
{
	struct notice_walk *w = context;
	int64_t at = notices_at(w->notices);
	if (change == NOTICE_RAISED) {
		w->items = xrealloc(w->items, w->count + 1, sizeof(*w->items));
		w->items[w->count++] = (struct notice_time){.notice = notice,
			.since = state->since,
			.until = INT64_MAX,
			.before = notices_before(w->notices, notice),
			.raised_at = at,
			.cleared_at = INT64_MAX};
		return;
	}
	for (size_t i = w->count; i-- > 0;)
		if (w->items[i].notice == notice) {
			w->items[i].until = state->since;
			w->items[i].cleared_at = at;
			return;
		}
}

static struct notice_walk *walk_new(const struct config *config, int64_t from)
{
	struct notice_walk *w = xcalloc(1, sizeof(*w));
	w->from = from;
	w->notices = notices_new(config, from, take_change, w);
	return w;
}

static void walk_free(struct notice_walk *w)
{
	if (!w)
		return;
	notices_free(w->notices);
	free(w->items);
	free(w);
}

/* Back to a midnight, if it arrived. */
static void walk_back(struct notice_walk *w)
{
	if (!w->arrived)
		return;
	w->arrived = false;
	notices_back(w->notices);
	int64_t at = notices_at(w->notices);
	while (w->count > 0 && w->items[w->count - 1].raised_at >= at)
		w->count--;
	for (size_t i = 0; i < w->count; i++)
		if (w->items[i].cleared_at >= at)
			w->items[i].until = w->items[i].cleared_at = INT64_MAX;
}

static int walk_on(struct notice_walk *w, struct store *store, int64_t to, size_t days,
	int64_t patience_ms)
{
	int64_t deadline_ms = clock_mono_ms() + patience_ms;
	int r;
	do
		r = notices_turn(w->notices, store, to, days);
	while (r == NOTICES_MORE && clock_mono_ms() < deadline_ms);
	w->arrived = r == 0;
	if (r != 0)
		notices_rest(w->notices);
	return r == NOTICES_MORE ? QUERY_TOO_SLOW : r;
}

/* ---- those that are kept ---- */

static void drop(struct notice_walks *walks, size_t i)
{
	walk_free(walks->walks[i]);
	memmove(&walks->walks[i], &walks->walks[i + 1],
		(NOTICE_WALKS - 1 - i) * sizeof(struct notice_walk *));
	walks->walks[NOTICE_WALKS - 1] = NULL;
}

void notice_walks_drop(struct notice_walks *walks)
{
	while (walks->walks[0])
		drop(walks, 0);
}

static void drop_revised(struct notice_walks *walks, int64_t minute)
{
	for (size_t i = NOTICE_WALKS; i-- > 0;)
		if (walks->walks[i] && minute < notices_at(walks->walks[i]->notices))
			drop(walks, i);
}

/* The clock may have gone back, too: then minutes close again, which is a revision. */
static void heed(struct notice_walks *walks, const struct news *news)
{
	uint64_t since = walks->revisions;
	if (!news || news->revision_count - since > NEWS_REVISIONS_MOST) {
		notice_walks_drop(walks);
		since = news ? news->revision_count : 0;
	}
	for (size_t i = 0; i < NOTICE_WALKS && walks->walks[i]; i++)
		walk_back(walks->walks[i]);
	for (; news && since < news->revision_count; since++)
		drop_revised(walks, news->revisions[since % NEWS_REVISIONS_MOST].from);
	walks->revisions = since;
}

static size_t place_of(const struct notice_walks *walks, int64_t from)
{
	size_t i = 0;
	while (i < NOTICE_WALKS && walks->walks[i] && walks->walks[i]->from != from)
		i++;
	return i < NOTICE_WALKS && walks->walks[i] ? i : NOTICE_WALKS;
}

/* The walk from there, put in front; where it is new, the one in the rear goes. */
static struct notice_walk *find(
	struct notice_walks *walks, const struct config *config, int64_t from, int64_t to)
{
	size_t i = place_of(walks, from);
	if (i < NOTICE_WALKS && notices_at(walks->walks[i]->notices) > to) {
		drop(walks, i);
		i = NOTICE_WALKS;
	}
	struct notice_walk *w =
		i < NOTICE_WALKS ? walks->walks[i] : walk_new(config, from);
	if (i == NOTICE_WALKS)
		walk_free(walks->walks[--i]);
	memmove(&walks->walks[1], &walks->walks[0], i * sizeof(struct notice_walk *));
	walks->walks[0] = w;
	return w;
}

static void take_times(const struct notice_walk *w, struct notice_times *ret)
{
	ret->notices = w->notices;
	ret->items = xcalloc(w->count + 1, sizeof(*ret->items));
	for (size_t i = 0; i < w->count; i++) {
		const struct notice_time *time = &w->items[i];
		if (time->until <= ret->from || time->since >= ret->to)
			continue;
		ret->counts[time->notice]++;
		ret->items[ret->count++] = *time;
	}
}

int notice_times_ask(struct notice_walks *walks, const struct news *news,
	struct store *store, const struct config *config, int64_t from_ms, int64_t to_ms,
	size_t days, int64_t patience_ms, struct notice_times *ret)
{
	*ret = (struct notice_times){.to = floor_div(to_ms, MS_PER_MIN)};
	ret->from = floor_div(from_ms, MS_PER_MIN);
	ret->from = ret->from < ret->to ? ret->from : ret->to;
	heed(walks, news);
	int64_t midnight_ms = calendar_day_start(calendar_date(ret->from * MS_PER_MIN));
	struct notice_walk *w = find(walks, config, midnight_ms / MS_PER_MIN, ret->to);
	int r = walk_on(w, store, ret->to, days, patience_ms);
	if (r == 0)
		take_times(w, ret);
	return r;
}

void notice_times_release(struct notice_times *times)
{
	free(times->items);
	*times = (struct notice_times){0};
}
