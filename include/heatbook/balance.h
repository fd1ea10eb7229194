/*
 * What a configuration tells minute by minute: the unit's electricity, the heat, and both
 * with all that an energy balance needs of them. A register alone says how much, not
 * when: what it counts is spread evenly, over minutes of rest as well, so that no share
 * of it is that of the time in which the compressor ran. Pure.
 */
#ifndef HEATBOOK_BALANCE_H
#define HEATBOOK_BALANCE_H

#include <heatbook/config.h>

/* Some meter feeds the compressor, and each that does has power and feeds no immersion
 * heater, whose warmth is in no heat that flow and temperatures measure. */
bool unit_is_told(const struct config *config);
/* Minutes of heat are measured, or shaped by what is: by heat_power, or by flow and both
 * temperatures. */
bool heat_is_told(const struct config *config);

/* Why what comes out cannot be held against what goes in; of the heat given and of the
 * electricity alone, without the source's side. */
enum balance_lack {
	BALANCE_LACKS_NOTHING,
	BALANCE_LACKS_UNIT,    /* power of a meter that feeds the compressor */
	BALANCE_HAS_IMMERSION, /* behind a meter that it counts: heat nobody measures */
	BALANCE_LACKS_HEATER,  /* power of a back-up heater that the plant has: its warmth
				  is in the heat */
	BALANCE_LACKS_HEAT     /* minutes of heat */
};
/* The first of these that is so; `ret_meter` is the meter that it is about, -1 where
 * there is none. */
enum balance_lack balance_lacks(const struct config *config, int *ret_meter);
/* Nobody says that the plant has no back-up heater, and no meter serves one: warmth of it
 * would be in the heat and its electricity in nothing. */
bool balance_heater_open(const struct config *config);

#endif
