/*
 * Resampler and accountant in one pass over time: readings in their canonical order
 * become signals (values held until the next reading or a limit), signals become minutes:
 * the time-weighted mean of every channel over its known part, and the heat, electricity
 * and time of every mode, integrated over the pieces in which all inputs are constant.
 *
 * A minute is a pure function of the configuration, the state carried into it and its
 * readings in order: pieces end only at readings, at ends of holds and at minutes' edges,
 * never where somebody happened to look, so that the same readings give the same bits
 * however they came. Corrections are of time, so that their edges are known before: a
 * value that holds across one changes there, which ends a piece.
 */
#ifndef HEATBOOK_ENGINE_H
#define HEATBOOK_ENGINE_H

#include <heatbook/config.h>
#include <heatbook/event.h>
#include <heatbook/mode.h>
#include <heatbook/reading.h>
#include <heatbook/settlement.h>

/* One channel over one minute. */
struct minute_channel {
	int64_t known_ms; /* 0: nothing known, the rest is meaningless */
	double mean;  /* over the known part; a state's code: the state held longest */
	double least; /* only where the channel keeps extremes */
	double most;
};

/* One mode over one minute. Energies in joules, not yet rounded. */
struct minute_mode {
	bool seen;
	int64_t ms; /* time in the mode */
	double heat_j;
	int64_t heat_ms; /* time for which heat was known */
	double sensitivity_j_per_k;
	double meter_j[METERS_MOST];
	int64_t meter_ms[METERS_MOST];
	unsigned meter_seen; /* bit i: meter i has joules or known time here */
	/* Of meters whose rows are differences: with what the meter behind takes. */
	double gross_j[METERS_MOST];
	int64_t gross_ms[METERS_MOST];
};

/* Beyond this an integer is no longer every double's neighbour, nor any quantity of a
 * house: such a mean is not stored. */
#define WHOLE_MOST 9e15
/* A mode's joules as a minute's row holds them. What no house can use stays at the end of
 * what is stored, so that it is seen in the sums and never turns round. */
int64_t whole_joules(double joules);

/* Bit 0: heat was known for all of the minute; bit 1 + i: meter i was. */
#define KNOWN_HEAT     1u
#define KNOWN_METER(i) (2u << (i))

struct minute {
	int64_t minute;                        /* since 1970 */
	const struct minute_channel *channels; /* config.channel_count */
	const struct minute_mode *modes;       /* MODE_COUNT */
	unsigned known;
};

/* Called once for every minute in which something is known, in order of time: when it
 * closes, or engine_lag_min() later. */
typedef void minute_sink(const struct minute *minute, void *context);

struct engine;

struct engine *engine_new(const struct config *config, minute_sink *sink, void *context);
/* The same, but every value holds, also of channels that go along lines: what is true
 * now, when nobody knows yet where lines lead. */
struct engine *engine_new_holding(
	const struct config *config, minute_sink *sink, void *context);
void engine_free(struct engine *engine);
/* Called when a span of a meter's register closes: at the reading that closes it, with
 * all minutes before that reading's given to the minutes' sink already, but for those
 * that wait (engine_lag_min()). Minutes hold what power says: the span's provisional
 * account. */
void engine_on_settlement(struct engine *engine, settlement_sink *sink, void *context);
/* Called for each event, at the reading that makes it certain, likewise. */
void engine_on_event(struct engine *engine, event_sink *sink, void *context);

/* Where modes must be told by rule since no flag is configured, a minute is known when
 * those have closed that confirm it; where channels go along lines, when the time is over
 * that a line may take: so many minutes later, both together. 0 where flags tell and all
 * channels hold. */
int64_t engine_lag_min(const struct config *config);

/* Empties the state and puts the engine at the beginning of a minute. */
void engine_start(struct engine *engine, int64_t minute);
/* Time up to which readings were taken, ms UTC. */
int64_t engine_now_ms(const struct engine *engine);

/* Takes a reading at or after engine_now_ms(). Of link facts two count: a clock's step
 * forward ends all holds and the life of all sources; after a subscription only the last
 * of several messages of a channel counts, for five seconds or up to the minute's end, so
 * that what was fed there is only seen behind it. */
void engine_feed(struct engine *engine, const struct reading *reading);
/* Lets time pass without readings: ends holds, closes every minute that ends by `t_ms`.
 */
void engine_advance(struct engine *engine, int64_t t_ms);
/* All minutes before this one that hold anything were given to the sink, but for those
 * before the minute at which the engine was put. */
int64_t engine_rows_end(const struct engine *engine);
/* True when no value is in force and no minute waits to be known: without readings no
 * further minute will hold anything.
 */
bool engine_quiet(const struct engine *engine);

/* The carried state, at a minute's edge: equal states give equal bytes. Channels and
 * sources are stored by name, so that a state survives a changed configuration. Where
 * channels go along lines, rows are behind what was fed, and so is this. */
void engine_save(const struct engine *engine, struct buffer *out);
/* For whoever tells what holds now: by all that was fed up to the minute's edge to which
 * the engine advanced. */
void engine_save_present(const struct engine *engine, struct buffer *out);
/* The state at the beginning of a UTC day up to which engine_advance() was let pass:
 * true once it is known, which is at once, or engine_lag_min() later where channels go
 * along lines, and until the next but one is told of. Appends it; *ret_quiet as
 * engine_quiet() was then. */
bool engine_midnight(
	struct engine *engine, int64_t day, struct buffer *out, bool *ret_quiet);
/* 0, or -EBADMSG when the bytes are not a state. The engine is then at `minute`. */
int engine_restore(
	struct engine *engine, int64_t minute, const void *bytes, size_t length);

/* What holds right now, and since which reading. */
bool engine_channel(const struct engine *engine, size_t channel, double *ret_value,
	int64_t *ret_t_ms);
/* NaN = unknown; electricity over all meters that are known. Returns MODE_UNASSIGNED when
 * the inputs don't tell. */
enum mode engine_instant(
	const struct engine *engine, double *ret_heat_w, double *ret_electricity_w);

/* Spans of registers that are not over where the engine stands, at most one of each
 * quantity; their count. */
size_t engine_open_spans(
	const struct engine *engine, struct open_span ret[static COUNTED_MOST]);

#endif
