/*
 * Cost and carbon of the plant's electricity: the energy of each minute times that
 * minute's price, never a mean times a mean.
 *
 * What a local day's minutes cost is worked out once and kept as facts, by meter, mode
 * and what was known, as rows of energy are, so that years are asked without their
 * minutes. Facts go with the day's rows, and by a digest of what was in force on the day:
 * a tariff that is changed makes the facts of its own days anew and nothing else.
 */
#ifndef HEATBOOK_COST_H
#define HEATBOOK_COST_H

#include <heatbook/boundary.h>
#include <heatbook/query.h>
#include <heatbook/tariff.h>

/* ---- a day's facts: pure ---- */

/* Sums over minutes. Of what `priced_j` counts the price was known; `cost` is what that
 * cost. Of it `own_j` was own generation, at `own_cost`. Of `carbon_j` it is known what
 * it emitted: `carbon_g`. Energy that no price is known of is in none of them. */
struct cost_sum {
	double priced_j, cost; /* the currency's */
	double own_j, own_cost;
	double carbon_j, carbon_g;
};
void cost_sum_add(struct cost_sum *sum, const struct cost_sum *part);
/* All modes but cooling. */
struct cost_sum cost_whole(const struct cost_sum modes[static MODE_COUNT]);

/* Of a meter, or of COST_HEAT: heat as the heat source says it, of the minutes whose
 * price (carbon_j: intensity) is known; it costs nothing by itself. */
#define COST_HEAT METERS_MOST
struct cost_fact {
	int meter;
	int mode;
	int64_t known; /* the store's bits */
	struct cost_sum sum;
};

/* Of a meter: priced energy that its register bridged. It was drawn at no known time, so
 * that it cost between `least` and `most` a kWh. The span may go on in the next day. */
struct cost_bridge {
	double j, cost;
	double least, most;
	bool at_start, at_end; /* it reaches into the day's first minute, and its last */
};

struct cost_facts {
	struct cost_fact *items;
	size_t count, room;
	struct cost_bridge bridges[METERS_MOST]; /* j 0 and at_start false: none */
};
void cost_facts_release(struct cost_facts *facts);

/* The channels that a day's price and carbon hang on; -1 where they hang on none. */
enum cost_channel {
	COST_PRICE,
	COST_INTENSITY,
	COST_IMPORT,
	COST_EXPORT,
	COST_GENERATION,
	COST_CHANNELS
};

/* A day, or what there is of it, on its way into facts. */
struct cost_day {
	const struct config *config;
	const struct tariff_config *tariff; /* NULL: there is none in force */
	const struct carbon_config *carbon;
	int64_t start_min, end_min;
	int channels[COST_CHANNELS];
	/* Means of its minutes in own units, NaN where unknown; NULL without a channel.
	 */
	double *values[COST_CHANNELS];
	int16_t *week_min;
	struct cost_facts facts;
	struct cost_minute *minute; /* the one whose rows come */
	size_t last;                /* of the facts: most rows are like the one before */
};

/* Is anything in force on the day that begins then, and which, as a number that changes
 * with it (0: nothing is)? */
uint64_t cost_digest(const struct config *config, int64_t start_ms);
/* The same of days one after the other of one configuration: a week of minutes is gone
 * through only where what is in force is not that of the day before. Begins with {0}. */
struct cost_in_force {
	const struct tariff_config *tariff;
	const struct carbon_config *carbon;
	uint64_t digest;
};
uint64_t cost_digest_after(
	struct cost_in_force *last, const struct config *config, int64_t start_ms);
void cost_day_begin(struct cost_day *day, const struct config *config, int64_t start_min,
	int64_t end_min);
/* One row of the account, in the order of minutes: energy in a mode, and which of it was
 * known for all of the minute. A cost_row_visit. */
void cost_day_take(
	int64_t minute, int mode, int64_t known, const struct energy_sum *sum, void *day);
/* The facts are the caller's now. */
void cost_day_end(struct cost_day *day, struct cost_facts *ret);

/* ---- kept in the store (daemon/store/cost.c) ---- */

typedef void cost_row_visit(int64_t minute, int mode, int64_t known,
	const struct energy_sum *sum, void *context);
/* Minutes of a day, with what its channels were in `values` as struct cost_day has them;
 * 0, -errno or a code of the store. */
int store_cost_minutes(struct store *store, int64_t start_min, int64_t end_min,
	const int channels[static COST_CHANNELS],
	double *const values[static COST_CHANNELS], cost_row_visit *visit, void *context);
/* In place of what there was of the day; within the caller's transaction. */
int store_cost_put(struct store *store, int64_t start_min, uint64_t digest,
	const struct cost_facts *facts);
/* The facts of days that begin in [from, to), one after the other. */
typedef void cost_facts_visit(int64_t start_min, uint64_t digest,
	const struct cost_facts *facts, void *context);
int store_cost_facts(struct store *store, int64_t from_min, int64_t to_min,
	cost_facts_visit *visit, void *context);
/* Closed days of [from, to): by which digest they have facts (0: they have none), and
 * whether their minutes are gone. */
typedef void cost_day_visit(
	int64_t start_min, int64_t end_min, uint64_t digest, bool gone, void *context);
int store_cost_days(struct store *store, int64_t from_min, int64_t to_min,
	cost_day_visit *visit, void *context);
/* The bits of `known` that heat and these meters have. */
int64_t store_known_bits(const struct store *store, unsigned meters);

/* ---- asked (daemon/insight/cost_ask.c) ---- */

/* The same heat from another source: of the paired minutes whose price is known, on days
 * for which that source has one. */
struct cost_other {
	double heat_j, cost, carbon_g;
	double own_cost;      /* what the plant's electricity cost for it */
	double carbon_heat_j; /* heat of which both emissions are known, … */
	double own_carbon_g;  /* … and the plant's for it */
};

struct cost_bucket {
	struct cost_sum modes[MODE_COUNT];  /* of the boundary's meters */
	struct cost_sum paired[MODE_COUNT]; /* where heat and they were known as well */
	double paired_heat_j[MODE_COUNT]; /* of priced minutes, at the boundary, and … */
	double carbon_heat_j[MODE_COUNT];    /* … of those whose emission is known */
	struct cost_sum meters[METERS_MOST]; /* all modes but cooling */
	struct cost_bridge bridged;       /* of the boundary's: j, cost; least, most: */
	double bridged_low, bridged_high; /* what it cost at least and at most */
	double standing;
	struct cost_other others[OTHERS_MOST];
};

struct cost_answer {
	struct energy_answer energy;
	struct cost_bucket *buckets; /* as those of energy */
	struct cost_bucket total;
	size_t other_count; /* sources, in the order of cost_config.others */
	/* Days of the span that have rows; without a tariff; not worked out yet; never to
	 * be, since their minutes are gone. */
	int64_t days, days_unpriced, days_left, days_gone;
};

/* The sums of [edges[0], edges[count]), whole local days; what has no facts yet is worked
 * out now, the last days first and as many as `budget` of them. The codes of
 * query_energy(). */
int cost_ask(struct store *store, const int64_t *edges_ms, size_t count,
	const struct boundary *boundary, size_t budget, struct cost_answer *ret);
void cost_answer_release(struct cost_answer *answer);
/* Works out days that have no facts by what is in force now, the last ones first, at most
 * `most`; how many were done. */
int cost_catch_up(struct store *store, size_t most, size_t *ret_done);
/* Works out one day anew, where a price or an intensity is in force on it. */
int cost_make(struct store *store, int64_t start_min, int64_t end_min);

#endif
