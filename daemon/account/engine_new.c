/*
 * An engine from its configuration, and what it is where nothing was said yet. See
 * engine.h; the pass over time is engine.c's.
 */
#include "engine_core.h"

static void new_waiting(struct engine *e)
{
	/* NOLINTNEXTLINE(bugprone-sizeof-expression): an array of pointers */
	e->waiting = xcalloc(RULES_LAG_MIN + 1, sizeof(*e->waiting));
	for (size_t i = 0; i <= RULES_LAG_MIN; i++) {
		e->waiting[i] = xcalloc(1, sizeof(*e->waiting[i]));
		e->waiting[i]->channels =
			xcalloc(e->config->channel_count, sizeof(struct minute_channel));
	}
}

int64_t engine_lag_min(const struct config *config)
{
	return (rules_any(rules_needed(config)) ? RULES_LAG_MIN : 0) +
	       between_lag_min(config);
}

struct engine *engine_new(const struct config *config, minute_sink *sink, void *context)
{
	struct engine *e = engine_new_holding(config, sink, context);
	e->between = between_new(config);
	if (e->between)
		e->accountant.lines = between_lines(e->between);
	engine_start(e, 0);
	return e;
}

struct engine *engine_new_holding(
	const struct config *config, minute_sink *sink, void *context)
{
	struct engine *e = xcalloc(1, sizeof(*e));
	size_t n = config->channel_count;

	e->config = config;
	e->sink = sink;
	e->context = context;
	e->signals = xcalloc(n, sizeof(*e->signals));
	e->held = xcalloc(n, sizeof(*e->held));
	e->doubts = xcalloc(n, sizeof(*e->doubts));
	e->out = xcalloc(n, sizeof(*e->out));
	e->sources = xcalloc(config->source_count, sizeof(*e->sources));
	if (rules_any(rules_needed(config)))
		new_waiting(e);
	e->told_hour = xcalloc(n, sizeof(*e->told_hour));
	own_clocks_init(&e->clocks, config);
	for (size_t c = 0; c < n; c++)
		signal_init(&e->signals[c], &config->channels[c]);
	accountant_init(&e->accountant, config);
	corrector_init(&e->corrector, config);
	burst_init(&e->burst, config);
	engine_start(e, 0);
	return e;
}

void engine_on_settlement(struct engine *e, settlement_sink *sink, void *context)
{
	e->accountant.settled = sink;
	e->accountant.settled_context = context;
}

void engine_on_event(struct engine *e, event_sink *sink, void *context)
{
	e->accountant.happened = sink;
	e->accountant.happened_context = context;
}

void engine_free(struct engine *e)
{
	if (!e)
		return;
	for (size_t c = 0; c < e->config->channel_count; c++)
		signal_release(&e->signals[c]);
	between_free(e->between);
	accountant_release(&e->accountant);
	corrector_release(&e->corrector);
	burst_release(&e->burst);
	free(e->signals);
	free(e->held);
	free(e->doubts);
	free(e->out);
	free(e->sources);
	for (size_t i = 0; e->waiting && i <= RULES_LAG_MIN; i++) {
		free(e->waiting[i]->channels);
		free(e->waiting[i]);
	}
	free(e->waiting);
	free(e->told_hour);
	own_clocks_release(&e->clocks);
	free(e);
}

void engine_start(struct engine *e, int64_t minute)
{
	e->minute = minute;
	e->began = minute;
	e->waiting_count = 0;
	e->now_ms = minute * MS_PER_MIN;
	e->bound_ms = INT64_MAX;
	for (size_t c = 0; c < e->config->channel_count; c++) {
		signal_reset(&e->signals[c]);
		doubt_reset(&e->doubts[c]);
		e->held[c] = (struct held){false, 0.0};
		e->told_hour[c] = INT64_MIN;
	}
	for (size_t s = 0; s < e->config->source_count; s++)
		e->sources[s] = (struct source_life){NEVER_MS, false};
	own_clocks_reset(&e->clocks);
	accountant_reset(&e->accountant, e->now_ms);
	corrector_move(&e->corrector, e->now_ms);
	burst_reset(&e->burst);
	if (e->between)
		between_start(e, minute);
}
