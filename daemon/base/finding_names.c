/*
 * The kinds of findings: names, which are answered and configured and stay, and titles.
 * A pure table beside those of roles (names.c), so that the configuration can name what
 * is found above it.
 */
#include <heatbook/finding_kind.h>

#include <string.h>

static const struct {
	const char *name, *title;
	bool has_no_days;
} kinds[FINDING_KINDS] = {
	[FINDING_PAIR_OFFSET] = {"pair_offset",
		"the pair of temperature sensors disagrees at rest"},
	[FINDING_RETURN_ABOVE_FLOW] = {"return_above_flow",
		"the return is warmer than the flow"},
	[FINDING_POWER_REVERSED] = {"power_reversed",
		"power is negative while the compressor runs"},
	[FINDING_POWER_AGAINST_REGISTER] = {"power_against_register",
		"power and register of a meter disagree"},
	[FINDING_HEAT_AGAINST_REGISTER] = {"heat_against_register",
		"a heat meter's register and what else tells heat disagree"},
	[FINDING_APPARENT_AGAINST_TRUE] = {"apparent_against_true",
		"apparent power differs from true energy"},
	[FINDING_FLOW_ZERO_RUNNING] = {"flow_zero_running",
		"the compressor runs without any flow"},
	[FINDING_HEAT_SIGN] = {"heat_sign",
		"the heat meter counts heat that is drawn from the house as given"},
	[FINDING_FLOW_FALLING] = {"flow_falling", "the flow has become less"},
	[FINDING_PRESSURE_FALLING] = {"pressure_falling", "the circuit loses pressure"},
	[FINDING_EFFICIENCY_FELL] = {"efficiency_fell",
		"efficiency fell at unchanged conditions"},
	[FINDING_EFFICIENCY_IMPLAUSIBLE] = {"efficiency_implausible",
		"efficiency is hard to believe"},
	[FINDING_BALANCE_OPEN] = {"balance_open",
		"heat is not what source and electricity give together"},
	[FINDING_IMMERSION_UNPLANNED] = {"immersion_unplanned",
		"the immersion heater runs oftener than it used to, or at another "
		"time of day"},
	[FINDING_CHANNEL_FROZEN] = {"channel_frozen",
		"a sensor stood still while the plant moved"},
	[FINDING_CHANNEL_SILENT] = {"channel_silent",
		"a channel was silent while others were heard"},
	[FINDING_RESOLUTION_COARSE] = {"resolution_coarse",
		"a channel comes in coarse steps"},
	[FINDING_SOURCE_SLOW] = {"source_slow", "a source reports seldom"},
	[FINDING_SOURCE_SKEWED] = {"source_skewed", "a meter's clock or delivery is off"},
	[FINDING_SOURCE_REPEATS] = {"source_repeats",
		"a source repeats old values while the plant runs"},
	[FINDING_FLAG_LATE] = {"flag_late", "a flag comes late"},
	[FINDING_CLOCK_OFF] = {"clock_off", "the times in a source's messages are off"},
	[FINDING_CLOCK_STUCK] = {"clock_stuck",
		"the times in a source's messages stand still"},
	[FINDING_STATE_UNKNOWN] = {"state_unknown",
		"a channel says words that no map names"},
	[FINDING_OUTDOOR_IN_SUN] = {"outdoor_in_sun",
		"the outdoor sensor is warmed by the sun"},
	[FINDING_MISSING_MINUTES] = {"missing_minutes", "minutes are missing"},
	[FINDING_POWER_CUT] = {"power_cut", "a power cut"},
	[FINDING_REGISTER_STILL] = {"register_still",
		"a register stood still while energy flowed"},
	[FINDING_REGISTER_RESET] = {"register_reset", "a register began anew"},
	[FINDING_REGISTER_REPLACED] = {"register_replaced",
		"a register went on elsewhere"},
	[FINDING_REGISTER_WRAPPED] = {"register_wrapped",
		"a register went over its highest number"},
	[FINDING_REGISTER_REFUSED] = {"register_refused",
		"a register said what cannot be"},
	[FINDING_PAYLOAD_BAD] = {"payload_bad", "messages were not understood"},
	[FINDING_REBUILD_WANTED] = {"rebuild_wanted",
		"days were made by an earlier mapping", true},
	[FINDING_DAYS_SEALED] = {"days_sealed", "days cannot be made again", true},
	[FINDING_STATE_CONTRADICTED] = {"state_contradicted",
		"a state says what the plant does not do"},
	[FINDING_PHASE_MISSING] = {"phase_missing",
		"one phase of a meter follows the compressor no more"},
	[FINDING_REGISTER_UNPLACED] = {"register_unplaced",
		"sealed days do not hold what a register counted", true},
};

const char *finding_name(enum finding_kind kind)
{
	return kinds[kind].name;
}

const char *finding_title(enum finding_kind kind)
{
	return kinds[kind].title;
}

bool finding_has_days(enum finding_kind kind)
{
	return !kinds[kind].has_no_days;
}

int finding_of_name(const char *name)
{
	for (int kind = 0; kind < FINDING_KINDS; kind++)
		if (strcmp(kinds[kind].name, name) == 0)
			return kind;
	return -1;
}
