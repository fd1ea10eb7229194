/*
 * What can be found (finding.h), by name: for answers, for the report and for who watches
 * a kind by the configuration.
 */
#ifndef HEATBOOK_FINDING_KIND_H
#define HEATBOOK_FINDING_KIND_H

#include <stdbool.h>

enum finding_kind {
	FINDING_PAIR_OFFSET,
	FINDING_RETURN_ABOVE_FLOW,
	FINDING_POWER_REVERSED,
	FINDING_POWER_AGAINST_REGISTER,
	FINDING_HEAT_AGAINST_REGISTER,
	FINDING_APPARENT_AGAINST_TRUE,
	FINDING_FLOW_ZERO_RUNNING,
	FINDING_HEAT_SIGN,
	FINDING_FLOW_FALLING,
	FINDING_PRESSURE_FALLING,
	FINDING_EFFICIENCY_FELL,
	FINDING_EFFICIENCY_IMPLAUSIBLE,
	FINDING_BALANCE_OPEN,
	FINDING_IMMERSION_UNPLANNED,
	FINDING_CHANNEL_FROZEN,
	FINDING_CHANNEL_SILENT,
	FINDING_RESOLUTION_COARSE,
	FINDING_SOURCE_SLOW,
	FINDING_SOURCE_SKEWED,
	FINDING_SOURCE_REPEATS,
	FINDING_FLAG_LATE,
	FINDING_CLOCK_OFF,
	FINDING_CLOCK_STUCK,
	FINDING_STATE_UNKNOWN,
	FINDING_OUTDOOR_IN_SUN,
	FINDING_MISSING_MINUTES,
	FINDING_POWER_CUT,
	FINDING_REGISTER_STILL,
	FINDING_REGISTER_RESET,
	FINDING_REGISTER_REPLACED,
	FINDING_REGISTER_WRAPPED,
	FINDING_REGISTER_REFUSED,
	FINDING_PAYLOAD_BAD,
	FINDING_REBUILD_WANTED,
	FINDING_DAYS_SEALED,
	FINDING_REGISTER_UNPLACED,
	FINDING_STATE_CONTRADICTED,
	FINDING_PHASE_MISSING,
	FINDING_KINDS
};
/* "pair_offset", as answered. */
const char *finding_name(enum finding_kind kind);
/* "the pair of temperature sensors disagrees at rest": for a reader. */
const char *finding_title(enum finding_kind kind);
/* Does it begin and end with days of the house? Others are of the store, or of days long
 * past, and no day of its own shows them. */
bool finding_has_days(enum finding_kind kind);
/* The kind of that name, or -1. */
int finding_of_name(const char *name);

#endif
