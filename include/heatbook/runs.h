/*
 * Runs: what the plant does for a while, from minutes by mode. Runs of the compressor,
 * defrosts, hot water being made, an immersion heater in use, freeze protection. Pure.
 *
 * A run is a row of minutes with time in its modes; what lies between two minutes of it
 * is seen only where a whole minute has none. A defrost does not end a run of the
 * compressor, nor one that makes hot water before and after it. Up to three minutes of
 * which no mode is known are bridged; a longer gap ends a run, or hides its beginning: it
 * is truncated there, and is no start or end that was seen.
 *
 * Cooling goes on without the compressor, too: cold water goes round after a stop, or
 * passes it by all along. Such time is cooling's, and of no run. An immersion heater is
 * in use in minutes in which its meter knows more than 200 W, whatever the plant does.
 *
 * A run may last for weeks, and a day's rows may be made anew. So runs are worked out day
 * by day, a local day's *pieces* each: those that begin in it, and what comes over from
 * the day before, up to the day's end. A day's pieces lean on its own minutes, on the
 * RUN_BACK_MIN before and on the RUN_AHEAD_MIN after it, on nothing else; whoever asks
 * puts them together (run_ask.h). They are the same whether they were kept or are made
 * when they are asked for.
 */
#ifndef HEATBOOK_RUNS_H
#define HEATBOOK_RUNS_H

#include <heatbook/energy_row.h>
#include <heatbook/rules.h>

/* Numbers are stored, for ever. */
enum run_kind {
	RUN_COMPRESSOR = 0,
	RUN_DEFROST = 1,
	RUN_HOT_WATER = 2,
	RUN_IMMERSION = 3,
	RUN_FREEZE_PROTECTION = 4,
	RUN_KINDS
};
/* "compressor", "defrost", "hot_water", "immersion", "freeze_protection". */
const char *run_kind_name(enum run_kind kind);

/* Why a run ended; numbers are stored, for ever. */
enum run_end {
	/* It stopped, and nothing tells why. */
	RUN_STOPPED = 0,
	/* The compressor stopped when the flow temperature exceeded its target, in one of
	 * the last two minutes; not while it made hot water, whose target that is not. */
	RUN_AT_TARGET = 1,
	/* Another service took over at once, and of the compressor's runs: within
	 * RUN_FOLLOWED_MIN of a stop hot water is made, or it stopped out of a defrost.
	 */
	RUN_BY_HOT_WATER = 2,
	RUN_BY_HEATING = 3,
	RUN_BY_COOLING = 4,
	RUN_BY_DEFROST = 5,
	/* It was lost sight of. */
	RUN_BY_GAP = 6,
	/* It goes on: rows end amid it. */
	RUN_GOING_ON = 7,
	RUN_ENDS
};
/* "stopped", "target", "hot_water", "heating", "cooling", "defrost", "gap", "going_on".
 */
extern const char *const run_end_words[RUN_ENDS];

/* Channels whose minutes are told beside those of energy. */
enum run_channel {
	RUN_FLOW,
	RUN_RETURN,
	RUN_FREQUENCY,
	RUN_OUTDOOR,
	RUN_MEANS, /* of the above means are kept */
	RUN_TARGET = RUN_MEANS,
	RUN_CYLINDER,
	RUN_CHANNELS
};
/* The channel of the configuration, or -1. */
int run_channel(const struct config *config, enum run_channel channel);

struct run_minute {
	int64_t minute;
	const struct energy_row *rows;
	size_t count;
	double values[RUN_CHANNELS]; /* NaN: unknown */
};

/* Over minutes in which the channel was known. */
struct run_mean {
	double sum;
	int64_t minutes;
};

/* What compressor time is counted from. */
enum run_since {
	RUN_SINCE_DAY = 0, /* the day's begin: what was before, the day before tells */
	RUN_SINCE_DEFROST = 1,
	RUN_SINCE_GAP = 2 /* nobody knows what was before */
};
struct run_interval {
	enum run_since since;
	int64_t ms;
};

struct plant_run {
	enum run_kind kind;
	int meter;    /* of immersion, else -1 */
	bool by_rule; /* found by a rule, not by a flag (rules.h) */
	bool begin_truncated, end_truncated;
	/* Of a day's piece: it began the day before, it goes on the day after. */
	bool came_over, goes_on;
	enum run_end ended;
	/* Within the first and the last minute by the time in its modes: exact by flags,
	 * a minute's edge by rule. */
	int64_t begin_ms, end_ms;
	int64_t ms; /* time in its modes; of a hot-water run without defrosts within */
	struct run_mean means[RUN_MEANS];
	double cylinder_begin_c, cylinder_end_c; /* first and last that is known */
	/* Of a defrost: the compressor's time since the one before, without defrosts. */
	struct run_interval interval;
	/* Of its minutes in its modes; of immersion its meter's alone. */
	struct energy_rows rows;
};
/* Does an immersion heater's meter know a minute's heater to be on, by more than 200 W?
 */
static inline bool immersion_is_on(double j, double ms)
{
	return ms > 0.0 && 1000.0 * j / ms > 200.0;
}
/* NaN where no minute was known. */
double run_mean_of(const struct run_mean *mean);
/* Over all of its modes; electricity of meters that serve the compressor, of immersion
 * its own. */
int64_t run_heat_j(const struct plant_run *run);
int64_t run_electricity_j(const struct plant_run *run, const struct config *config);

#define RUN_BACK_MIN     60
#define RUN_AHEAD_MIN    15
#define RUN_FOLLOWED_MIN 10

struct run_list {
	struct plant_run *items;
	size_t count, room;
};
void run_list_release(struct run_list *list);

/* A local day's runs. */
struct run_day {
	int64_t start_min, end_min;
	struct run_list pieces;   /* in the order of kinds, meters, begins */
	struct run_interval tail; /* the compressor's time at the day's end */
};
void run_day_release(struct run_day *day);

/* What of the configuration pieces hang on besides their minutes, and of this program. */
uint64_t runs_form(const struct config *config);

struct runs;
struct runs *runs_new(const struct config *config, int64_t start_min, int64_t end_min);
/* A run goes on at the day's begin, as the day before tells whose minutes are gone. */
void runs_come_over(struct runs *runs, enum run_kind kind, int meter);
/* Minutes in order of time, from RUN_BACK_MIN before the day to RUN_AHEAD_MIN after it;
 * those without a row may be left out. */
void runs_take(struct runs *runs, const struct run_minute *minute);
/* Nothing follows: rows end at a minute, or RUN_AHEAD_MIN after the day. The pieces are
 * the caller's. */
void runs_end(struct runs *runs, int64_t until_min, struct run_day *ret);
void runs_free(struct runs *runs);

#endif
