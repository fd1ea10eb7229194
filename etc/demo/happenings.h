/*
 * What the plant did, as it did it: each run of the compressor, defrost, hot-water run,
 * use of the immersion heater and turn of the pump against frost, by the plant's own
 * steps. Nothing of messages or sensors is in it.
 */
#ifndef DEMO_HAPPENINGS_H
#define DEMO_HAPPENINGS_H

#include "plant.h"

#include <stdio.h>

/* As CSV, of what began in [from_s, to_s) and to its end, in the order of the ends:
 * kind,from_epoch_s,to_epoch_s,hot_water_s,defrost_s,heat_kwh,unit_kwh,immersion_kwh.
 * Seconds and energies are of its time; heat is the unit's, electricity that of unit and
 * pump. zone_open() first. */
void happenings_list(
	const struct plant_settings *settings, int64_t from_s, int64_t to_s, FILE *out);

#endif
