/*
 * What the engine is made of, for the two files that know: its pass over time (engine.c)
 * and its state's bytes (engine_state.c).
 */
#ifndef HEATBOOK_ACCOUNT_ENGINE_CORE_H
#define HEATBOOK_ACCOUNT_ENGINE_CORE_H

#include <heatbook/engine.h>

#include "accountant.h"
#include "between.h"
#include "burst.h"
#include "corrector.h"
#include "doubt.h"
#include "own_clock.h"
#include "signal.h"

struct source_life {
	int64_t last_ms; /* last sign of life, or NEVER_MS */
	bool gone;       /* its Will said so; the next sign of life revives it */
};

/* A minute that waits for its judgement. */
struct waiting_minute {
	int64_t minute;
	unsigned known;
	struct minute_channel *channels;
	struct open_minute accounts;
};

struct engine {
	const struct config *config;
	minute_sink *sink;
	void *context;

	int64_t now_ms;
	int64_t minute; /* the open one */
	int64_t bound_ms;
	struct signal *signals;
	struct held *held;    /* corrected */
	struct doubt *doubts; /* by channel */
	struct burst burst;
	struct corrector corrector;
	struct source_life *sources;
	struct minute_channel *out;
	/* Of each channel: the hour of which bad words were told. No carried state: both
	 * begin anew at a UTC midnight. */
	int64_t *told_hour;
	struct own_clocks clocks; /* likewise, by the hour */
	struct accountant accountant;
	/* Where rules are needed: minutes that are closed but not judged, oldest first.
	 */
	struct waiting_minute *
		*waiting; /* RULES_LAG_MIN + 1 of them, in order; or NULL */
	size_t waiting_count;
	int64_t began; /* minute at which it was put */
	/* Where channels go along lines: what it goes behind with. NULL: all hold. */
	struct between *between;
	struct between *scouts; /* whose scout it is, or NULL */
};

/* What engine_feed() and engine_advance() do where readings stand. */
void engine_take_on(struct engine *e, const struct reading *reading);
void engine_pass(struct engine *e, int64_t t_ms);
/* Up to where time was let pass: engine_now_ms(), asked of each reading. */
static inline int64_t engine_told_ms(const struct engine *e)
{
	if (e->between)
		e = between_scout(e->between);
	return e->burst.told_ms > e->now_ms ? e->burst.told_ms : e->now_ms;
}
/* Of this engine alone, see engine_quiet(). */
bool engine_holds_nothing(const struct engine *e);

#endif
