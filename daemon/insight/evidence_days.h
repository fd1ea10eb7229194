/*
 * What is read out of many days' evidence in more than one place. Not for other rooms.
 */
#ifndef INSIGHT_EVIDENCE_DAYS_H
#define INSIGHT_EVIDENCE_DAYS_H

#include <heatbook/evidence.h>

/* Bar a kelvin by which a circuit's pressure follows its water's temperature, by days
 * (NaN: not known): the middle of what neighbours differ by, of which a leak or a top-up
 * moves few; 0 where that is not known, or below. */
double evidence_expansion(const double *bar, const double *water_c, size_t count);
/* Flow with the compressor running on a day, L/min, by what EVIDENCE_FLOW says: while the
 * rooms are heated, and while hot water is made; NaN of too few minutes. */
double evidence_heating_flow(const struct evidence *flow);
double evidence_tap_flow(const struct evidence *flow);

#endif
