/*
 * What is asked of the store and what it answers: plain data between the store, the HTTP
 * face and the report. Sums are exact integers; ratios, rounding and units are the face's
 * work.
 */
#ifndef HEATBOOK_QUERY_H
#define HEATBOOK_QUERY_H

#include <heatbook/boundary.h>
#include <heatbook/calendar.h>
#include <heatbook/config.h>
#include <heatbook/degree_days.h>
#include <heatbook/growth.h>
#include <heatbook/mode.h>
#include <heatbook/settlement.h>
#include <heatbook/store.h>

/* Sums over a span, of one mode or of all. Unknown is not zero: a sum whose known time is
 * 0 has no value. Cooling is in rows of its own mode, its heat negative. */
struct energy_sum {
	int64_t observed_ms; /* time in the mode */
	int64_t heat_j;      /* net, signed, as measured by the heat source */
	int64_t heat_ms;     /* time for which heat was known */
	/* Of heat_j, by a register: as of meters below. */
	int64_t heat_spread_j;
	int64_t heat_bridged_j;
	int64_t heat_bridged_ms;
	/* Of heat_j and meter_j, what lies in minutes that a register's span reaches into
	 * which is not over: power's, and booked anew when it closes. */
	int64_t heat_provisional_j;
	int64_t meter_provisional_j[METERS_MOST];
	double sensitivity_j_per_k;
	int64_t meter_j[METERS_MOST];
	int64_t meter_ms[METERS_MOST];
	/* Of meter_j, by a register: laid evenly over known time, and over time of which
	 * nothing else is known, and that time. */
	int64_t meter_spread_j[METERS_MOST];
	int64_t meter_bridged_j[METERS_MOST];
	int64_t meter_bridged_ms[METERS_MOST];
	/* Over the minutes in which heat and every meter of the boundary were known for
	 * all of it; heat with the boundary's additions and subtractions made. */
	int64_t paired_heat_j;
	int64_t paired_electricity_j;
	double paired_sensitivity_j_per_k;
	int64_t paired_meter_j[METERS_MOST];
	int64_t paired_ms;
	/* Of these, what a register laid evenly over time, so that nobody knows in which
	 * mode it flowed; without an immersion heater's electricity, of which that is
	 * known. */
	int64_t paired_heat_spread_j;
	int64_t paired_electricity_spread_j;
	/* Of heat and of the boundary's meters; the time in which any was bridged at
	 * least.
	 */
	int64_t bridged_heat_j;
	int64_t bridged_electricity_j;
	int64_t bridged_ms;
};
/* Adds all of a part. */
void energy_sum_add(struct energy_sum *sum, const struct energy_sum *part);

struct energy_bucket {
	int64_t t_ms, t_end_ms;
	struct energy_sum modes[MODE_COUNT];
	unsigned modes_seen; /* bit m = any row of mode m */
	/* What spans of registers that lie across its ends may be mistaken by: of energy
	 * that was laid evenly over them, be the time known or bridged; and of the former
	 * alone. ±, J, by what is counted (config_counted()). */
	double across_j[COUNTED_MOST];
	double across_known_j[COUNTED_MOST];
	/* What power says of spans that are not over beyond what their registers can hide
	 * (struct energy_open), as far as these lie in it. ±, J, likewise. */
	double open_j[COUNTED_MOST];
	/* What registers counted in sealed minutes and no row holds, below 0 what rows
	 * hold more than was counted (EVENT_REGISTER_UNPLACED). J, likewise. */
	int64_t unplaced_j[COUNTED_MOST];
};

/* A register's span that was not over when the last minute was derived. A register hides
 * a step of its own at most: what power says of the span may lie so far from what the
 * register counted in it, either way, and no further, or one of the two is wrong. */
struct energy_open {
	bool open;
	int64_t begin_ms;
	/* Of what was told of it since: the rest means nothing where nothing was, nor
	 * where power was known for less than half of the time. */
	bool compared;
	struct open_span span;
	int64_t step_j;   /* of all its registers together */
	int64_t beyond_j; /* what power says beyond that step, below 0: less; else 0 */
};

struct energy_answer {
	struct energy_bucket *buckets;
	size_t count;
	struct energy_bucket total;
	struct energy_open open[COUNTED_MOST]; /* by what is counted */
	int64_t version;                       /* of the data, grows with every change */
	struct older_days older;               /* of the span */
};

/* Names of states; which one a code is, is the store's to say. */
struct state_names {
	char **names;
	size_t count;
};
void state_names_release(struct state_names *names);

/* One channel's part of a series answer; arrays of `count`, NaN = unknown, own units. */
struct series_column {
	int channel;
	double *mean; /* a channel with a value map: the longest state's place in `states`
		       */
	struct state_names states; /* all that the channel ever had */
	double *least;             /* NULL unless the channel keeps extremes */
	double *most;
	double *observed_s;
};

struct series_answer {
	int64_t *t_ms, *t_end_ms;
	size_t count;
	struct series_column *columns;
	size_t column_count;
	int64_t version;
	struct older_days older; /* of the span */
};

/* Buckets of [from, to) at a step: exact steps are multiples of a minute aligned to 1970
 * UTC, calendar steps to the plant's zone; the first and last bucket are cut at from and
 * to. QUERY_TOO_MANY when more than `most` would be needed. Returned arrays are the
 * caller's. */
enum { QUERY_TOO_MANY = 1, QUERY_TOO_SLOW = 2 };
int query_buckets(int64_t from_ms, int64_t to_ms, const struct duration *step,
	size_t most, int64_t **ret_edges_ms,
	size_t *ret_count); /* count buckets have count + 1 edges */

/* The first of these buckets, at most `most` of them: for whoever goes through a long
 * span in pieces, each from the last edge of the one before. */
void query_buckets_some(int64_t from_ms, int64_t to_ms, const struct duration *step,
	size_t most, int64_t **ret_edges_ms, size_t *ret_count);

struct store;
/* What answers are made of, as numbers: an answer that was made at one generation of the
 * store is made alike, to the byte, at another that it holds to. Generations are those of
 * one opened store; by them an answer can be given again without asking for its rows. */
struct generation {
	int64_t written; /* rows that this process changed, but for pending ones */
	int64_t outside; /* changes with what other processes commit */
	int64_t pending; /* rows of minutes that were added to the pending ones … */
	int64_t pending_from; /* … and the first of these minutes since the last commit */
};
/* Asked before the rows of an answer. The codes of the store: without 0 nothing is known.
 */
int store_generation(struct store *store, struct generation *ret);
/* Whether all that is asked of rows before a minute (INT64_MAX: of any rows) is still as
 * it was. */
bool generation_holds(const struct generation *then, const struct generation *now,
	int64_t before_minute);

/* 0, -errno (-EUCLEAN: the store's file is damaged), or QUERY_TOO_SLOW (over 2 s, in
 * a store that was opened to be read or written alone 60 s; or locked: the client may ask
 * again). `edges` as from query_buckets(). */
int query_energy(struct store *store, const int64_t *edges_ms, size_t count,
	const struct boundary *boundary, struct energy_answer *ret);
void energy_answer_release(struct energy_answer *answer);
int query_series(struct store *store, const int64_t *edges_ms, size_t count,
	const int *channels, size_t channel_count, struct series_answer *ret);
void series_answer_release(struct series_answer *answer);

#define OUTDOOR_MINUTE_DAYS 400
/* The outdoor temperature by days, for degree days: `edges` are local midnights, as
 * query_buckets() lays them by P1D. Minutes count where they are kept, or what they said
 * is (store_outdoor_keep()), and no more than OUTDOOR_MINUTE_DAYS have to be read, else
 * hours. Least and greatest are those of the readings where the channel keeps extremes,
 * else of the minutes' (or hours') means. The same codes as query_energy(). */
struct outdoor_answer {
	struct outdoor_day *days;
	size_t count;
	int64_t version;
	struct older_days older; /* of the span */
};
int query_outdoor(struct store *store, int channel, double base_c,
	const int64_t *edges_ms, size_t count, struct outdoor_answer *ret);
/* By minutes however many days there are: in pieces, each in a snapshot and a time of its
 * own. For a verb; nothing that has to go on may wait for it. */
int query_outdoor_long(struct store *store, int channel, double base_c,
	const int64_t *edges_ms, size_t count, struct outdoor_answer *ret);
void outdoor_answer_release(struct outdoor_answer *answer);
/* Keeps what the minutes of a closed day, whose evidence was just put, say at the plant's
 * own base, until the day is summed anew; within the caller's transaction. 0, -errno or a
 * code of the store. */
int store_outdoor_keep(struct store *store, int64_t start_min, int64_t end_min);

/* A chunk of the journal that cannot be read and was set aside. */
struct damaged_chunk {
	int64_t id;
	int64_t first_ms, last_ms; /* of its readings */
	int64_t found_ms;
	int64_t records;
	int64_t sealed_days; /* that are sealed for its sake */
	char import[96];     /* name of its archive; "" when it was live */
};

#define DAMAGED_SHOWN 20

/* A channel's latest word, as the daemon saw it last. */
enum latest_state { LATEST_NEVER, LATEST_FRESH, LATEST_STALE };
struct latest {
	enum latest_state state;
	double value; /* NaN when it is unknown */
	int64_t t_ms;
	int64_t interval_ms; /* median-like spacing seen, or -1 */
};

/* The state of the running daemon that the face shows. The daemon fills it when asked. */
struct live_state {
	int64_t now_ms;
	struct latest
		*channels; /* config.channel_count of them; the face frees nothing */
	double heat_w;     /* NaN = unknown */
	double electricity_w;
	int mode; /* enum mode, or -1 when nothing is known */

	int64_t started_ms;
	const char *broker_state; /* link_state_name() */
	int64_t broker_since_ms;
	const char *broker_cause;
	uint64_t messages, unmatched, bad, refused;
	uint64_t repeated_keys;  /* messages with one key twice: the first one counts */
	const char *clock_state; /* clock_state_name() */
	int64_t clock_since_ms;
	int64_t clock_step_ms; /* the last step, 0 for none since start; … */
	int64_t clock_stepped_ms;
	int64_t clock_unsure_until_ms; /* records before it feed no row, or 0 */
	uint64_t clock_held;           /* records that wait for the clock */
	uint64_t clock_unsure; /* taken since start and marked as not to be trusted */
	bool clock_broken;     /* they feed no row, now */
	int64_t last_message_ms;
	int64_t derived_until_ms; /* end of the last derived minute */
	int64_t last_commit_ms;
	const char *commit_fault; /* "" or why the last commit failed */
	const char *derive_fault; /* "" or why minutes are not derived */
	const char *store_damage; /* NULL, or why the store is not written any more */
	struct damaged_chunk damaged[DAMAGED_SHOWN];
	size_t damaged_shown, damaged_count;
	int64_t store_bytes, tail_bytes, tail_bound_bytes, journal_bytes;
	int64_t first_minute, last_minute; /* stored; both 0 when there is none */
	struct growth growth;              /* bytes 0: not known */
	double turn_ms_longest; /* longest turn of the main loop in the last hour */
	int64_t dirty_days;     /* days waiting to be derived */
	struct older_days older;
	int schema;
};

#endif
