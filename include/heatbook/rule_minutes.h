/*
 * Stored minutes as the rules see them (rules.h): for findings that ask the rules
 * afterwards. Pure: from what the queries answer.
 */
#ifndef HEATBOOK_RULE_MINUTES_H
#define HEATBOOK_RULE_MINUTES_H

#include <heatbook/flag_lag.h>
#include <heatbook/query.h>

#define RULE_CHANNELS_MOST 10

/* The channels to ask query_series() for, at most RULE_CHANNELS_MOST. */
size_t rule_channels(const struct config *config, int ret[RULE_CHANNELS_MOST]);

/* What the minutes told. */
struct rule_minute {
	struct rules_row row;         /* running by the frequency, else by electricity */
	enum flag defrost, hot_water; /* by flags; ABSENT where none is configured */
};
/* The i-th minute of both answers, which are of the same minutes. */
struct rule_minute rule_minute_of(const struct config *config,
	const struct series_answer *series, const struct energy_answer *energy, size_t i);

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
