/*
 * What follows a subscription, by looking at all of it at once: readings that a later one
 * of the same window supersedes are taken out before anything else is asked. Written from
 * the rule in another form than daemon/account/burst.c, which sees one reading at a time.
 */
#include "oracle_work.h"

#define WINDOW_MS 5000

static bool subscribes(const struct reading *r)
{
	return r->kind == READING_FACT && r->channel == RECORD_SUBSCRIBED;
}

static int64_t window_end(const struct reading *subscription)
{
	int64_t t_ms = subscription->t_ms;
	int64_t edge_ms = t_ms - t_ms % MS_PER_MIN + MS_PER_MIN;
	return t_ms + WINDOW_MS < edge_ms ? t_ms + WINDOW_MS : edge_ms;
}

/* The end of the windows without a gap between them that begin by `t_ms`; `t_ms` lies
 * outside of them when that is not later. */
static int64_t covered_until(const struct work *w, int64_t t_ms)
{
	int64_t until_ms = INT64_MIN;
	for (size_t i = 0; i < w->readings.count; i++) {
		const struct reading *r = &w->readings.items[i];
		if (!subscribes(r) || r->t_ms > (until_ms > t_ms ? until_ms - 1 : t_ms))
			continue;
		if (window_end(r) > until_ms)
			until_ms = window_end(r);
	}
	return until_ms;
}

static bool may_supersede(const struct work *w, const struct reading *r)
{
	const struct channel_config *c = &w->config->channels[r->channel];
	return (r->kind == READING_VALUE || r->kind == READING_NOVALUE) && !r->retained &&
	       c->time == TIME_ARRIVAL && c->map_count == 0 &&
	       c->retained == RETAINED_IGNORE;
}

static bool is_superseded(const struct work *w, size_t at)
{
	const struct reading *r = &w->readings.items[at];
	if (r->kind < READING_VALUE || !may_supersede(w, r))
		return false;
	int64_t until_ms = covered_until(w, r->t_ms);
	for (size_t i = at + 1; i < w->readings.count; i++) {
		const struct reading *later = &w->readings.items[i];
		if (later->t_ms >= until_ms)
			return false;
		if (later->kind >= READING_VALUE && later->channel == r->channel &&
			may_supersede(w, later))
			return true;
	}
	return false;
}

void oracle_drop_superseded(struct work *w)
{
	bool *superseded = xcalloc(w->readings.count + 1, sizeof(*superseded));
	size_t kept = 0;
	for (size_t i = 0; i < w->readings.count; i++)
		superseded[i] = is_superseded(w, i);
	for (size_t i = 0; i < w->readings.count; i++)
		if (!superseded[i])
			w->readings.items[kept++] = w->readings.items[i];
	w->readings.count = kept;
	free(superseded);
}
