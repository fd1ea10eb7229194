/*
 * Modes by rule at minute resolution, where no flag tells (see rules.c). Pure.
 *
 * Each minute is summed up as a row; a row is judged RULES_LAG_MIN minutes later, since a
 * change counts only when the rows that follow confirm it. What is carried is the last
 * rows and what was judged last, in fixed bytes.
 */
#ifndef HEATBOOK_RULES_H
#define HEATBOOK_RULES_H

#include <heatbook/config.h>
#include <heatbook/mode.h>

/* A flag that is not configured, not known, or has a value. */
enum flag { FLAG_ABSENT, FLAG_UNKNOWN, FLAG_OFF, FLAG_ON };

#define NEVER_MS INT64_MIN

/* What is left to rules. */
struct rules_needed {
	bool compressor, defrost, service;
};

/* A row is judged by at most so many that follow it: the third of three rows that confirm
 * hot water, and the cylinder's temperature a row later. */
#define RULES_LAG_MIN 3
/* Rows that are kept: the judged one's, those that follow and the cylinder's past. */
#define RULES_ROWS 8

/* What rules must find by the configuration: no flag is configured for it, and what the
 * rule looks at is. */
struct rules_needed rules_needed(const struct config *config);
bool rules_any(struct rules_needed needed);
/* Is it a rule that finds time of the mode, or flags? Of overrun, freeze protection and
 * standby: that the compressor stands. */
bool rules_tell(struct rules_needed needed, enum mode mode);
/* What can be found by rule whether or not flags tell it, too: for comparing both. */
struct rules_needed rules_possible(const struct config *config);
/* Does the meter's power, less what is behind it, tell of what it feeds, of the
 * compressor, of the immersion heater alone? An apparent meter's does not beside a true
 * one of the same devices whose power is known. */
typedef bool rules_reads(const struct config *config, size_t meter);
rules_reads rules_reads_power, rules_reads_compressor, rules_reads_immersion;

/* One minute's means over its known part, NaN where less than half of it is known or the
 * channel is not configured. */
struct rules_row {
	int64_t minute;
	double running; /* by flags: 1 where it ran at all, 0; NaN where a rule tells */
	double power_w; /* electricity of what the compressor's meters feed */
	double immersion_w;
	double flow_c, return_c, flow_lpm;
	double outdoor_c; /* INFINITY: not measured */
	double target_c, cylinder_c;
	double moved; /* 1: water moved for most of it, 0: it stood */
};

/* One rule's last word. */
struct rules_word {
	int64_t minute; /* of the last row that told anything, or NEVER */
	int64_t on;     /* enum flag: UNKNOWN, OFF, ON */
};

/* Carried state: plain integers and doubles without padding, since its bytes are
 * compared. */
struct rules_memory {
	struct rules_row rows[RULES_ROWS]; /* oldest first */
	int64_t count;
	int64_t judged;   /* so many of them, the oldest */
	int64_t electric; /* enum flag: by power alone, at the last judged row */
	struct rules_word compressor, defrost, service;
};

struct rules {
	const struct modes_config *config;
	double nominal_lpm;
	bool no_immersion; /* the owner says so: nothing else warms the cylinder */
	struct rules_needed needed;
	struct rules_memory memory;
};

/* What rules say of a minute. UNKNOWN where the inputs don't tell. */
struct rules_verdict {
	enum flag compressor, defrost, hot_water;
	bool stopped; /* the compressor stood from this minute on */
	struct rules_row
		row; /* what was judged; of nothing but NaN where there is none */
};

void rules_init(
	struct rules *rules, const struct config *config, struct rules_needed needed);
void rules_reset(struct rules *rules);
/* The next minute's row; of a minute in which nothing is known there is none. */
void rules_add(struct rules *rules, const struct rules_row *row);
/* Judges every row up to `minute`, in order, and answers what is said of that minute
 * itself: all rows up to RULES_LAG_MIN later were given. Minutes never go back. */
struct rules_verdict rules_judge(struct rules *rules, int64_t minute);
/* No row waits for its judgement. */
bool rules_idle(const struct rules *rules);

#endif
