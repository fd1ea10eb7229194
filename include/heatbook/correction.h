/*
 * Dated corrections: what a channel says is corrected by factor and offset while one is
 * in force. A correction is a function of time, not of readings: a value that holds
 * across the edge of one changes at that very millisecond.
 *
 * At most one is in force of a channel; those of a configuration stand by channel and
 * beginning.
 */
#ifndef HEATBOOK_CORRECTION_H
#define HEATBOOK_CORRECTION_H

#include <heatbook/config.h>

/* The one in force at an instant, or NULL. */
const struct correction_config *correction_at(
	const struct config *config, size_t channel, int64_t t_ms);
/* value * factor + offset, kept within ±VALUE_MOST; `correction` may be NULL. */
double correction_apply(const struct correction_config *correction, double value);
/* Is it in force at any time of [from, to)? */
bool correction_touches(
	const struct correction_config *correction, int64_t from_ms, int64_t to_ms);
/* "strap_on: flow_temperature - 0.4 K", `between`, "from … to …" in local time. */
void correction_describe(const struct config *config,
	const struct correction_config *correction, struct buffer *out,
	const char *between);
/* Does its channel decide heat, electricity or modes, or is it a plain series? */
bool correction_accounts(
	const struct config *config, const struct correction_config *correction);

#endif
