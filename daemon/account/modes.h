/*
 * Which mode a moment belongs to, from flags (see modes.c), and what flags leave to the
 * rules at minute resolution (rules.c).
 */
#ifndef ACCOUNT_MODES_H
#define ACCOUNT_MODES_H

#include <heatbook/config.h>
#include <heatbook/mode.h>
#include <heatbook/rules.h>

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

/* What the rules remember of the compressor: carried state. */
struct mode_memory {
	int64_t on_until_ms; /* it was known to run, unknown since; or NEVER_MS */
	int64_t stop_ms;     /* last stop that was seen, or NEVER_MS */
	int64_t cooled_ms;   /* last end of cooling, no other run since, or NEVER_MS */
};

/* What the unit does, by flags; NONE where it rests, or they do not tell. */
enum work { WORK_NONE, WORK_COOLING, WORK_OTHER };

/* Where time and energy are booked until the minute is judged: an enum mode, or one of
 * these, a mode that holds if the compressor runs and no defrost does, both of which
 * rules may have to tell. */
enum slot {
	SLOT_SERVICE = MODE_COUNT, /* heating or hot water */
	SLOT_HEATING,
	SLOT_HOT_WATER,
	SLOT_COOLING,
	SLOT_UNTOLD, /* a flag that is needed is unknown */
	SLOT_COUNT
};

/* Compressor flag changed at `t_ms` (was `before` until then). */
void mode_compressor(
	struct mode_memory *memory, enum flag before, enum flag after, int64_t t_ms);

enum work mode_work(const struct mode_inputs *inputs);
/* It does something else from `t_ms` on. */
void mode_worked(
	struct mode_memory *memory, enum work before, enum work after, int64_t t_ms);

/* The mode in force at `t_ms`; *ret_until is the instant at which it would change by time
 * alone (end of an overrun window), or INT64_MAX. */
enum mode mode_decide(const struct modes_config *config, const struct mode_memory *memory,
	const struct mode_inputs *inputs, int64_t t_ms, int64_t *ret_until_ms);

/* The same where rules are needed: an enum mode or enum slot. Without any need it is
 * mode_decide(). */
int mode_slot(const struct modes_config *config, struct rules_needed needed,
	const struct mode_memory *memory, const struct mode_inputs *inputs, int64_t t_ms,
	int64_t *ret_until_ms);

/* While the compressor is known to stand: by the operating mode's word, the flow and what
 * is remembered of the last stop; as mode_decide(). */
enum mode mode_standing(const struct modes_config *config,
	const struct mode_memory *memory, const struct mode_inputs *inputs, int64_t t_ms,
	int64_t *ret_until_ms);

#endif
