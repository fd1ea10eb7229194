/*
 * An engine with its configuration, fed by short words, and the minutes that it made.
 * Times are seconds after ZERO_MS, channels and sources go by name.
 */
#ifndef ENGINE_RUN_H
#define ENGINE_RUN_H

#include "configured.h"

#include <heatbook/engine.h>

#define ZERO_MS  INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */
#define ZERO_MIN (ZERO_MS / MS_PER_MIN)

struct kept_minute {
	int64_t minute;
	unsigned known;
	struct minute_channel *channels;
	struct minute_mode modes[MODE_COUNT];
};

struct run {
	struct config *config;
	struct engine *engine;
	struct kept_minute *minutes;
	size_t count, room;
};

static inline void run_keep(const struct minute *minute, void *context)
{
	struct run *run = context;
	size_t bytes = run->config->channel_count * sizeof(*minute->channels);

	if (run->count == run->room) {
		run->room = run->room ? 2 * run->room : 64;
		run->minutes = xrealloc(run->minutes, run->room, sizeof(*run->minutes));
	}
	struct kept_minute *kept = &run->minutes[run->count++];
	memset(kept, 0, sizeof(*kept));
	kept->minute = minute->minute;
	kept->known = minute->known;
	kept->channels = xmalloc(bytes);
	memcpy(kept->channels, minute->channels, bytes);
	memcpy(kept->modes, minute->modes, sizeof(kept->modes));
}

/* Begins at ZERO_MS with a configuration of its own. */
static inline struct run *run_new(const char *text)
{
	struct run *run = xcalloc(1, sizeof(*run));
	run->config = configured(text);
	run->engine = engine_new(run->config, run_keep, run);
	engine_start(run->engine, ZERO_MIN);
	return run;
}

static inline void run_free(struct run *run)
{
	for (size_t i = 0; i < run->count; i++)
		free(run->minutes[i].channels);
	free(run->minutes);
	engine_free(run->engine);
	config_free(run->config);
	free(run);
}

static inline int64_t at_ms(double at_s)
{
	return ZERO_MS + llround(at_s * 1000);
}

static inline void feed(struct run *run, enum reading_kind kind, size_t channel,
	bool retained, double at_s, double value)
{
	struct reading reading = {.t_ms = at_ms(at_s),
		.value = value,
		.channel = (uint16_t)channel,
		.kind = (uint8_t)kind,
		.retained = retained};
	engine_feed(run->engine, &reading);
}

static inline void says(struct run *run, double at_s, const char *channel, double value)
{
	feed(run, READING_VALUE, channel_named(run->config, channel), false, at_s, value);
}

static inline void says_nothing(struct run *run, double at_s, const char *channel)
{
	feed(run, READING_NOVALUE, channel_named(run->config, channel), false, at_s, 0);
}

static inline void says_badly(struct run *run, double at_s, const char *channel)
{
	feed(run, READING_BAD, channel_named(run->config, channel), false, at_s, 0);
}

static inline void retains(
	struct run *run, double at_s, const char *channel, double value)
{
	feed(run, READING_VALUE, channel_named(run->config, channel), true, at_s, value);
}

static inline void lives(struct run *run, double at_s, const char *source)
{
	feed(run, READING_ALIVE, source_named(run->config, source), false, at_s, 0);
}

static inline void goes(struct run *run, double at_s, const char *source)
{
	feed(run, READING_GONE, source_named(run->config, source), false, at_s, 0);
}

/* The clock is set by so many seconds. */
static inline void steps(struct run *run, double at_s, double by_s)
{
	feed(run, READING_FACT, RECORD_CLOCK_STEP, false, at_s, by_s * 1000);
}

static inline void passes(struct run *run, double at_s)
{
	engine_advance(run->engine, at_ms(at_s));
}

/* The n-th minute after ZERO, or NULL when there is none. */
static inline const struct kept_minute *minute_of(const struct run *run, int64_t n)
{
	for (size_t i = 0; i < run->count; i++)
		if (run->minutes[i].minute == ZERO_MIN + n)
			return &run->minutes[i];
	return NULL;
}

/* The same where there must be one. */
static inline const struct kept_minute *row_of(const struct run *run, int64_t n)
{
	const struct kept_minute *m = minute_of(run, n);
	ck_assert_msg(m != NULL, "minute %lld has no row", (long long)n);
	if (!m)
		abort(); /* the compiler does not know that the assertion ends the test */
	return m;
}

/* 0 where there is no such minute. */
static inline int64_t known_ms(const struct run *run, int64_t n, const char *channel)
{
	const struct kept_minute *m = minute_of(run, n);
	return m ? m->channels[channel_named(run->config, channel)].known_ms : 0;
}

static inline struct minute_channel channel_of(
	const struct run *run, int64_t n, const char *channel)
{
	return row_of(run, n)->channels[channel_named(run->config, channel)];
}

static inline struct minute_mode mode_of(const struct run *run, int64_t n, enum mode mode)
{
	return row_of(run, n)->modes[mode];
}

/* Within `relative` of it: sums of pieces may differ in their last bits. */
static inline void expect_near(double value, double expected, double relative)
{
	ck_assert_msg(fabs(value - expected) <= relative * fabs(expected),
		"%.17g, expected %.17g", value, expected);
}

/* Bit for bit. */
static inline void expect_same_minutes(const struct run *a, const struct run *b)
{
	ck_assert_uint_eq(a->count, b->count);
	size_t bytes = a->config->channel_count * sizeof(struct minute_channel);
	for (size_t i = 0; i < a->count; i++) {
		const struct kept_minute *x = &a->minutes[i], *y = &b->minutes[i];
		bool same = x->minute == y->minute && x->known == y->known &&
			    memcmp(x->channels, y->channels, bytes) == 0 &&
			    memcmp(x->modes, y->modes, sizeof(x->modes)) == 0;
		ck_assert_msg(same, "row %zu, minute %lld differs", i,
			(long long)(x->minute - ZERO_MIN));
	}
}

#endif
