/*
 * See present.h. The engine is the same code as the one that makes the rows; only the
 * order in which it takes readings differs, so its answers are provisional.
 */
#include "present.h"

#include <heatbook/correction.h>

#include <math.h>

/* A reading later than this says nothing about the present. */
#define PRESENT_LATE_MS (30 * MS_PER_MIN)
/* So much the clock goes back at most while it is being smoothed out. */
#define PRESENT_BACK_MS (2 * MS_PER_MIN)

struct present {
	const struct config *config;
	struct engine *engine;
	struct latest *latest; /* by channel */
	int64_t *previous_ms;
	uint64_t bad;
};

struct present *present_new(const struct config *config, int64_t now_ms)
{
	struct present *p = xcalloc(1, sizeof(*p));

	p->config = config;
	p->engine = engine_new_holding(config, NULL, NULL);
	p->latest = xcalloc(config->channel_count, sizeof(*p->latest));
	p->previous_ms = xcalloc(config->channel_count, sizeof(*p->previous_ms));
	for (size_t c = 0; c < config->channel_count; c++)
		p->latest[c] = (struct latest){.value = (double)NAN, .interval_ms = -1};
	engine_start(p->engine, floor_div(now_ms, MS_PER_MIN) - 1);
	return p;
}

void present_free(struct present *p)
{
	if (!p)
		return;
	engine_free(p->engine);
	free(p->latest);
	free(p->previous_ms);
	free(p);
}

/* Half old, half new: settles on the usual spacing and shrugs off single gaps. */
static void note_interval(struct present *p, size_t c, int64_t t_ms)
{
	int64_t gap = t_ms - p->previous_ms[c];
	int64_t *interval = &p->latest[c].interval_ms;
	if (p->previous_ms[c] && gap > 0)
		*interval = *interval < 0 ? gap : (*interval + gap) / 2;
	p->previous_ms[c] = t_ms;
}

static double corrected(const struct present *p, const struct reading *r)
{
	return correction_apply(correction_at(p->config, r->channel, r->t_ms), r->value);
}

static void note_latest(struct present *p, const struct reading *r)
{
	if (r->kind == READING_BAD)
		p->bad++;
	if (r->kind != READING_VALUE && r->kind != READING_NOVALUE)
		return;
	struct latest *latest = &p->latest[r->channel];
	if (latest->state != LATEST_NEVER && r->t_ms < latest->t_ms)
		return;
	if (!r->retained)
		note_interval(p, r->channel, r->t_ms);
	latest->state = LATEST_STALE; /* fresh is what the engine still holds */
	latest->value = r->kind == READING_VALUE ? corrected(p, r) : (double)NAN;
	latest->t_ms = r->t_ms;
}

/* The present takes readings as they come: one that is late by its own time counts from
 * now, if it still would hold; one from ahead counts from its stamp. */
static void feed(struct present *p, const struct reading *reading, int64_t stamp_ms)
{
	struct reading r = *reading;
	int64_t now_ms = engine_now_ms(p->engine);
	if (r.kind == READING_FACT && r.channel == RECORD_SUBSCRIBED)
		return; /* it would hold back what is to be seen now */
	if (r.t_ms > stamp_ms)
		r.t_ms = stamp_ms;
	if (r.t_ms < now_ms - PRESENT_LATE_MS)
		return;
	if (r.t_ms < now_ms)
		r.t_ms = now_ms;
	engine_feed(p->engine, &r);
}

void present_take(struct present *p, const struct reading *reading, int64_t stamp_ms)
{
	note_latest(p, reading);
	feed(p, reading, stamp_ms);
}

static void restore_latest(struct present *p)
{
	for (size_t c = 0; c < p->config->channel_count; c++) {
		struct latest *latest = &p->latest[c];
		double value;
		int64_t t_ms;
		if (!engine_channel(p->engine, c, &value, &t_ms))
			continue;
		if (latest->state == LATEST_NEVER || latest->t_ms < t_ms) {
			latest->state = LATEST_STALE;
			latest->value = value;
			latest->t_ms = t_ms;
		}
	}
}

void present_restore(struct present *p, const struct engine *rows, int64_t minute,
	const struct readings *later, int64_t now_ms)
{
	struct buffer state = {0};

	engine_save_present(rows, &state);
	if (engine_restore(p->engine, minute, state.data, state.length) == 0)
		restore_latest(p);
	buffer_release(&state);
	for (size_t i = 0; i < later->count; i++) {
		int64_t t_ms = later->items[i].t_ms;
		present_take(p, &later->items[i], t_ms < now_ms ? t_ms : now_ms);
	}
}

/* A clock that was set back: nobody knows what holds at an instant that was before. */
static void follow_back(struct present *p, int64_t now_ms)
{
	if (engine_now_ms(p->engine) - now_ms > PRESENT_BACK_MS)
		engine_start(p->engine, floor_div(now_ms, MS_PER_MIN));
}

void present_answer(struct present *p, int64_t now_ms, struct live_state *ret)
{
	double value;
	int64_t t_ms;

	follow_back(p, now_ms);
	if (now_ms > engine_now_ms(p->engine))
		engine_advance(p->engine, now_ms);
	for (size_t c = 0; c < p->config->channel_count; c++) {
		if (p->latest[c].state == LATEST_NEVER)
			continue;
		bool holds = engine_channel(p->engine, c, &value, &t_ms);
		p->latest[c].state = holds ? LATEST_FRESH : LATEST_STALE;
		if (holds && t_ms == p->latest[c].t_ms)
			p->latest[c].value = value; /* corrected as it is by now */
	}
	ret->channels = p->latest;
	enum mode mode = engine_instant(p->engine, &ret->heat_w, &ret->electricity_w);
	ret->mode = engine_quiet(p->engine) ? -1 : (int)mode;
	ret->bad = p->bad;
}
