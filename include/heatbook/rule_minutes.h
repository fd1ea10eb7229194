/*
 * Minutes of a day (day.h) as the rules see them (rules.h): for findings that ask the
 * rules afterwards. Pure.
 */
#ifndef HEATBOOK_RULE_MINUTES_H
#define HEATBOOK_RULE_MINUTES_H

#include <heatbook/day.h>
#include <heatbook/flag_lag.h>

/* A day's channels that rules and flags look at; NULL where none has the role. They are
 * the day's own arrays. */
struct rule_channels {
	const double *frequency_hz, *flow_c, *return_c, *flow_lpm, *outdoor_c, *target_c,
		*cylinder_c;
	const double *defrost, *valve, *mode; /* states */
	bool mode_defrosts;                   /* the mode has a word for it */
};
struct rule_channels rule_channels_of(const struct day_minutes *day);

/* What a minute told. */
struct rule_minute {
	struct rules_row row;         /* running by the frequency, else by electricity */
	enum flag defrost, hot_water; /* by flags; ABSENT where none is configured */
};
/* The day's i-th minute. */
struct rule_minute rule_minute_of(
	const struct day_minutes *day, const struct rule_channels *channels, size_t i);

/* How coarse a source is: over minutes in which the compressor runs, for how many the
 * flow temperature stays bit for bit what it was, the median; 1 for a source that reports
 * each minute or more often. From three minutes on rules lose beginnings and ends: in
 * five minutes' means a defrost of six minutes may not be seen at all. */
#define GRAIN_COARSE_MIN 3
#define GRAIN_MOST       64
struct grain {
	double last_c;
	int64_t last_minute, length;
	int64_t counts[GRAIN_MOST]; /* of stretches, by length in minutes */
};
void grain_init(struct grain *grain);
void grain_take(struct grain *grain, const struct rules_row *row);
/* NaN before anything was seen. */
double grain_median_min(const struct grain *grain);

#endif
