/*
 * The minutes of a plant worked out a second time, slowly: for every piece of time
 * between two instants at which anything may change, every channel is asked anew, by
 * looking back over all readings, whether a word is in force; nothing is remembered from
 * one piece to the next. Written from the rules, in another form than the engine;
 * readings come from the decoder and heat from heat_flow(), which have tests of their own
 * against outside sources.
 */
#ifndef ORACLE_H
#define ORACLE_H

#include "doors.h"

#include <heatbook/mode.h>

#define ORACLE_STATES_MOST 10

struct oracle_channel {
	int64_t known_ms;
	double sum; /* value * ms */
	double least, most;
	int64_t state_ms[ORACLE_STATES_MOST]; /* by code + 1 */
};

struct oracle_mode {
	int64_t ms;
	bool row;
	double heat_j;
	int64_t heat_ms;
	double sensitivity;
	double meter_j[METERS_MOST];
	int64_t meter_ms[METERS_MOST];
	bool meter_seen[METERS_MOST];
};

struct oracle_minute {
	struct oracle_channel channels[PLANT_CHANNELS_MOST];
	struct oracle_mode modes[MODE_COUNT];
};

struct oracle {
	int64_t first; /* minute */
	size_t count;
	struct oracle_minute *minutes;
};

/* Minutes from the first reading's to `until_minute`. */
void oracle_make(struct oracle *oracle, const struct config *config,
	const struct plant *plant, int64_t until_minute);
void oracle_release(struct oracle *oracle);

#endif
