/*
 * How late flags come: the beginnings of defrosts and of hot water by flag beside the
 * same by rule, from minutes. Pure.
 *
 * Physics does not wait for a flag: the flow pipe turns cold, the flow rate or
 * temperature steps, when the unit does it. A flag that is read seldom, or that stands
 * for what was asked and not for what is, follows later, and time and energy until then
 * are booked to the mode before. Differences are whole minutes, of one at most in a plant
 * whose flags are in time.
 */
#ifndef HEATBOOK_FLAG_LAG_H
#define HEATBOOK_FLAG_LAG_H

#include <heatbook/rules.h>

enum lag_kind { LAG_DEFROST, LAG_HOT_WATER, LAG_KINDS };

/* A beginning by rule is compared with one by flag at most so far away. */
#define LAG_SOUGHT_MIN 15

struct flag_lag {
	int64_t pairs;     /* beginnings that both saw */
	int64_t by_flag;   /* all of them, by flag … */
	int64_t by_rule;   /* … and by rule */
	double median_min; /* of flag after rule; NaN without pairs. Negative: before. */
	double most_min;   /* the largest of the middle nine tenths */
	int64_t first_minute, last_minute; /* of the pairs */
};

struct flag_lags;
struct flag_lags *flag_lags_new(const struct config *config);
/* One minute in order of time: what rules look at, the running compressor by its flag or
 * mode included, and what the flags say (FLAG_ON where the minute is mostly of it). */
void flag_lags_take(struct flag_lags *lags, const struct rules_row *row,
	enum flag defrost, enum flag hot_water);
/* What has been seen so far; rules that the configuration has no channels for find
 * nothing. */
struct flag_lag flag_lags_answer(struct flag_lags *lags, enum lag_kind kind);
void flag_lags_free(struct flag_lags *lags);

#endif
