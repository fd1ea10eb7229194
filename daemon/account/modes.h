/*
 * Which mode a moment belongs to, from flags (see modes.c for the rules).
 */
#ifndef ACCOUNT_MODES_H
#define ACCOUNT_MODES_H

#include <heatbook/config.h>
#include <heatbook/mode.h>

/* A flag that is not configured, not known, or has a value. */
enum flag { FLAG_ABSENT, FLAG_UNKNOWN, FLAG_OFF, FLAG_ON };

struct mode_inputs {
	enum flag defrost;
	enum flag compressor;
	enum flag operating; /* ON = `operating_mode` holds */
	int operating_mode;  /* enum operating_mode */
	enum flag valve;     /* ON = `valve_position` holds */
	int valve_position;
	enum flag flow;
	double outdoor_c; /* NaN = unknown, INFINITY = not measured at all */
	double return_c;
};

#define NEVER_MS INT64_MIN

/* What the rules remember of the compressor: carried state. */
struct mode_memory {
	int64_t on_until_ms; /* it was known to run, unknown since; or NEVER_MS */
	int64_t stop_ms;     /* last stop that was seen, or NEVER_MS */
};

/* Compressor flag changed at `t_ms` (was `before` until then). */
void mode_compressor(
	struct mode_memory *memory, enum flag before, enum flag after, int64_t t_ms);

/* The mode in force at `t_ms`; *ret_until is the instant at which it would change by time
 * alone (end of the overrun window), or INT64_MAX. */
enum mode mode_decide(const struct modes_config *config, const struct mode_memory *memory,
	const struct mode_inputs *inputs, int64_t t_ms, int64_t *ret_until_ms);

#endif
