/*
 * A careful outside observer of the demo plant: works out minutes of heat and electricity
 * by mode from the published messages alone. An oracle for heatbook's minute accounts
 * that shares no code with the daemon.
 */
#ifndef DEMO_OBSERVER_H
#define DEMO_OBSERVER_H

#include "messages.h"

#include <stdio.h>

enum observed {
	OBSERVED_FLOW_C,
	OBSERVED_RETURN_C,
	OBSERVED_RATE_LPM,
	OBSERVED_OUTDOOR_C,
	OBSERVED_L1_W,
	OBSERVED_L2_W,
	OBSERVED_L3_W,
	OBSERVED_IMMERSION_W,
	OBSERVED_FREQUENCY_HZ,
	OBSERVED_SERVICE, /* enum plant_service */
	OBSERVED_DEFROST, /* 0 or 1 */
	OBSERVED_COUNT
};

struct observed_account {
	int64_t ms;
	double heat_j, unit_j, immersion_j;
};

struct observer {
	FILE *out; /* borrowed; gets `minute_epoch_s,mode,ms,heat_j,unit_j,immersion_j` */
	double value[OBSERVED_COUNT]; /* NaN before the first */
	double heat_w;
	int64_t t_ms;     /* accounted up to here */
	int64_t first_ms; /* start of the first whole minute, INT64_MAX before it is known
			   */
	int64_t overrun_to_ms; /* end of the ten minutes after the last stop seen */
	struct observed_account account[PLANT_MODES]; /* of the open minute */
};

/* Writes the header. `from_ms`: where the messages begin. */
void observer_init(struct observer *observer, FILE *out, int64_t from_ms);
/* Messages in the order of their instants; unknown topics are passed over. */
void observer_take(struct observer *observer, const struct message *message);
/* The values in force last until `to_ms`; minutes not whole by then are not written. */
void observer_finish(struct observer *observer, int64_t to_ms);

#endif
