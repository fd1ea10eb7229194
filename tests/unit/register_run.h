/*
 * A register that is fed reading after reading, and what it tells, for tests of its
 * rules.
 */
#ifndef REGISTER_RUN_H
#define REGISTER_RUN_H

#include "../../daemon/account/register.h"
#include "unit.h"

#include <heatbook/calendar.h>

#define ZERO_MS INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */
#define KWH     INT64_C(3600000)
#define STEP    INT64_C(36000) /* 0.01 kWh */
#define SPANS   112
#define EVENTS  24

static const struct register_config counts_on = {
	.kind = REGISTER_COUNTS_ON, .step_j = STEP, .most_w = 20e3};

struct run {
	struct register_account account;
	struct settlement spans[SPANS];
	size_t count;
	struct event events[EVENTS];
	size_t event_count;
};

static inline void keep(const struct settlement *settlement, void *context)
{
	struct run *run = context;
	ck_assert_uint_lt(run->count, SPANS);
	run->spans[run->count++] = *settlement;
}

static inline void keep_event(const struct event *event, void *context)
{
	struct run *run = context;
	ck_assert_uint_lt(run->event_count, EVENTS);
	run->events[run->event_count++] = *event;
}

static inline void start(struct run *run, const struct register_config *config)
{
	memset(run, 0, sizeof(*run));
	register_init(&run->account, config);
	register_reset(&run->account, ZERO_MS / MS_PER_MIN);
}

/* Time passes from one instant to the next at a power, or an unknown one (negative). */
static inline void passes(struct run *run, int64_t from_ms, int64_t to_ms, double w)
{
	while (from_ms < to_ms) {
		int64_t edge = (floor_div(from_ms, MS_PER_MIN) + 1) * MS_PER_MIN;
		int64_t end = edge < to_ms ? edge : to_ms;
		if (w >= 0)
			register_power(&run->account, w * (double)(end - from_ms) / 1000,
				end - from_ms);
		if (end == edge)
			register_minute(&run->account, end / MS_PER_MIN);
		from_ms = end;
	}
}

static enum register_verdict says(struct run *run, double at_s, int64_t raw_j)
{
	const struct register_sinks sinks = {keep, keep_event, run};
	return register_report(
		&run->account, ZERO_MS + llround(at_s * 1000), raw_j, &sinks);
}

static inline int64_t counted(const struct run *run)
{
	int64_t sum = 0;
	for (size_t i = 0; i < run->count; i++)
		sum += run->spans[i].j;
	return sum;
}

#endif
