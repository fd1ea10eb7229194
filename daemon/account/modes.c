/*
 * The operating mode from flags.
 *
 * Precedence: defrost, hot water, cooling or heating, freeze protection, overrun,
 * standby. The defrost flag rules. While the compressor runs, the operating mode tells,
 * without one the valve. While it stands, an operating mode that names the state is taken
 * at its word (also where no compressor signal is configured); otherwise water that moves
 * within ten minutes after a stop is overrun, water that moves later while outdoors is
 * near freezing and the return cold is freeze protection, and everything else is standby:
 * one temperature that is too warm tells, a plant without one of the sensors never
 * freezes. A flag that is needed and unknown leaves the time unassigned: nothing is
 * guessed.
 *
 * Water that moves while the operating mode says cooling cools, also without the
 * compressor, and what goes round within the overrun window after that is cooling's, too,
 * by whatever name: what it draws from the house is in no heat of the season. Another run
 * ends that.
 *
 * What no flag is configured for may be left to rules, which see whole minutes: then such
 * time goes to a slot, which becomes a mode when its minute is judged.
 *
 * A stop is seen when the compressor was known to run at most three minutes before it is
 * known to stand (gaps beyond that are never bridged). A run has one stop: once seen, a
 * gap in the signal makes no second one.
 */
#include "modes.h"

#include <math.h>

#define GAP_BRIDGED_MS (3 * MS_PER_MIN)

static const enum mode operating_to_mode[OPERATING_COUNT] = {
	[OPERATING_OFF] = MODE_STANDBY,
	[OPERATING_STANDBY] = MODE_STANDBY,
	[OPERATING_HEATING] = MODE_HEATING,
	[OPERATING_HOT_WATER] = MODE_HOT_WATER,
	[OPERATING_COOLING] = MODE_COOLING,
	[OPERATING_DEFROST] = MODE_DEFROST,
	[OPERATING_OVERRUN] = MODE_OVERRUN,
	[OPERATING_FREEZE_PROTECTION] = MODE_FREEZE_PROTECTION,
};

void mode_compressor(
	struct mode_memory *memory, enum flag before, enum flag after, int64_t t_ms)
{
	if (before == FLAG_ON)
		memory->on_until_ms = t_ms;
	if (after == FLAG_UNKNOWN)
		return;
	if (after == FLAG_OFF && memory->on_until_ms != NEVER_MS &&
		t_ms - memory->on_until_ms <= GAP_BRIDGED_MS)
		memory->stop_ms = t_ms;
	memory->on_until_ms = NEVER_MS; /* a run has one stop */
}

/* Where nothing tells of the flow, the word is taken for it. */
static bool moves(const struct mode_inputs *in)
{
	return in->flow == FLAG_ON || in->flow == FLAG_ABSENT;
}

enum work mode_work(const struct mode_inputs *in)
{
	bool told = in->operating == FLAG_ON;
	bool cools = told && in->operating_mode == OPERATING_COOLING;
	bool heats = told && (in->operating_mode == OPERATING_HEATING ||
				     in->operating_mode == OPERATING_HOT_WATER ||
				     in->operating_mode == OPERATING_DEFROST);
	if (in->defrost == FLAG_ON)
		return WORK_OTHER;
	if (in->compressor == FLAG_UNKNOWN)
		return WORK_NONE;
	if (in->compressor == FLAG_OFF)
		return cools && moves(in) ? WORK_COOLING : WORK_NONE;
	if (cools)
		return WORK_COOLING;
	bool by_valve = in->compressor == FLAG_ON && in->operating == FLAG_ABSENT &&
			in->valve == FLAG_ON;
	return heats || by_valve ? WORK_OTHER : WORK_NONE;
}

void mode_worked(
	struct mode_memory *memory, enum work before, enum work after, int64_t t_ms)
{
	if (before == WORK_COOLING && after != WORK_COOLING)
		memory->cooled_ms = t_ms;
	if (after == WORK_OTHER)
		memory->cooled_ms = NEVER_MS;
}

/* Circulation is seen or named, as after heating: where nothing tells of it, a standing
 * unit stands. */
static bool goes_round(const struct mode_inputs *in)
{
	return in->flow == FLAG_ON ||
	       (in->flow == FLAG_ABSENT && in->operating == FLAG_ON &&
		       in->operating_mode == OPERATING_OVERRUN);
}

static bool follows_cooling(const struct modes_config *config,
	const struct mode_memory *memory, const struct mode_inputs *in, int64_t t_ms)
{
	return memory->cooled_ms != NEVER_MS && goes_round(in) &&
	       t_ms < memory->cooled_ms + config->overrun_ms;
}

static enum mode running(const struct mode_inputs *in)
{
	if (in->operating == FLAG_ON)
		return operating_to_mode[in->operating_mode];
	if (in->operating == FLAG_UNKNOWN || in->valve != FLAG_ON)
		return MODE_UNASSIGNED;
	return in->valve_position == VALVE_HOT_WATER ? MODE_HOT_WATER : MODE_HEATING;
}

/* Does the operating mode name a state that needs no running compressor? */
static bool names_standing_state(const struct mode_inputs *in)
{
	if (in->operating != FLAG_ON)
		return false;
	enum mode mode = operating_to_mode[in->operating_mode];
	return mode == MODE_STANDBY || mode == MODE_OVERRUN ||
	       mode == MODE_FREEZE_PROTECTION || mode == MODE_DEFROST ||
	       (mode == MODE_COOLING && moves(in));
}

/* The operating mode's word, but for what follows cooling. */
static enum mode by_word(const struct modes_config *config,
	const struct mode_memory *memory, const struct mode_inputs *in, int64_t t_ms,
	int64_t *ret_until_ms)
{
	enum mode mode = operating_to_mode[in->operating_mode];
	if ((mode != MODE_STANDBY && mode != MODE_OVERRUN) ||
		!follows_cooling(config, memory, in, t_ms))
		return mode;
	*ret_until_ms = memory->cooled_ms + config->overrun_ms;
	return MODE_COOLING;
}

enum mode mode_standing(const struct modes_config *config,
	const struct mode_memory *memory, const struct mode_inputs *in, int64_t t_ms,
	int64_t *ret_until_ms)
{
	if (names_standing_state(in))
		return by_word(config, memory, in, t_ms, ret_until_ms);
	if (in->flow == FLAG_UNKNOWN)
		return MODE_UNASSIGNED;
	if (follows_cooling(config, memory, in, t_ms)) {
		*ret_until_ms = memory->cooled_ms + config->overrun_ms;
		return MODE_COOLING;
	}
	if (in->flow != FLAG_ON)
		return MODE_STANDBY;
	if (memory->stop_ms != NEVER_MS && t_ms < memory->stop_ms + config->overrun_ms) {
		*ret_until_ms = memory->stop_ms + config->overrun_ms;
		return MODE_OVERRUN;
	}
	if (in->outdoor_c >= config->freeze_outdoor_c ||
		in->return_c >= config->freeze_return_c)
		return MODE_STANDBY;
	return isnan(in->outdoor_c) || isnan(in->return_c) ? MODE_UNASSIGNED
							   : MODE_FREEZE_PROTECTION;
}

enum mode mode_decide(const struct modes_config *config, const struct mode_memory *memory,
	const struct mode_inputs *in, int64_t t_ms, int64_t *ret_until_ms)
{
	*ret_until_ms = INT64_MAX;
	if (in->defrost == FLAG_ON)
		return MODE_DEFROST;
	if (in->defrost == FLAG_UNKNOWN)
		return MODE_UNASSIGNED;
	switch (in->compressor) {
	case FLAG_ON:
		return running(in);
	case FLAG_OFF:
		return mode_standing(config, memory, in, t_ms, ret_until_ms);
	case FLAG_ABSENT:
		return in->operating == FLAG_ON
			       ? by_word(config, memory, in, t_ms, ret_until_ms)
			       : MODE_UNASSIGNED;
	case FLAG_UNKNOWN:
	default:
		return MODE_UNASSIGNED;
	}
}

/* What is not of a running compressor is taken at its word. */
static int slot_of(enum mode mode)
{
	static const int slots[MODE_COUNT] = {
		[MODE_UNASSIGNED] = SLOT_UNTOLD,
		[MODE_HEATING] = SLOT_HEATING,
		[MODE_HOT_WATER] = SLOT_HOT_WATER,
		[MODE_COOLING] = SLOT_COOLING,
	};
	return slots[mode] ? slots[mode] : (int)mode;
}

/* The compressor runs, or perhaps does: rules will tell. */
static int running_slot(struct rules_needed needed, const struct mode_inputs *in)
{
	if (needed.service)
		return SLOT_SERVICE;
	return needed.defrost || needed.compressor ? slot_of(running(in))
						   : (int)running(in);
}

int mode_slot(const struct modes_config *config, struct rules_needed needed,
	const struct mode_memory *memory, const struct mode_inputs *in, int64_t t_ms,
	int64_t *ret_until_ms)
{
	*ret_until_ms = INT64_MAX;
	bool rests = in->defrost == FLAG_OFF || in->defrost == FLAG_ABSENT;
	if (rests && in->compressor == FLAG_ON)
		return running_slot(needed, in);
	bool told = rests && in->compressor == FLAG_ABSENT && in->operating == FLAG_ON;
	if (rests && in->compressor == FLAG_ABSENT && needed.compressor)
		return names_standing_state(in)
			       ? (int)by_word(config, memory, in, t_ms, ret_until_ms)
			       : running_slot(needed, in);
	enum mode mode = mode_decide(config, memory, in, t_ms, ret_until_ms);
	bool named = told && mode == operating_to_mode[in->operating_mode];
	return named && needed.defrost ? slot_of(mode) : (int)mode;
}
