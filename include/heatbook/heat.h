/*
 * Heat carried by the water, or its mixture with antifreeze, between two pipes, and its
 * sensitivity to their difference (energy balance of thermal energy meters, EN 1434-1 /
 * OIML R 75):
 *
 *     Q' = V' / v(θ of the flow sensor's pipe, p) · (h(θ_flow, p) − h(θ_return, p))
 */
#ifndef HEATBOOK_HEAT_H
#define HEATBOOK_HEAT_H

#include <heatbook/config.h>
#include <heatbook/mixture.h>

struct heat_setting {
	struct mixture mixture;
	enum pipe flow_sensor_pipe;
	double least_flow_lpm; /* at and below it there is no flow; >= 0 */
	bool mass_flow;        /* the flow's unit is one of mass (unit.mass): kg/min */
};

/* Heat flow in W, positive toward the house, and its sensitivity k·V' in W/K: how much it
 * changes a kelvin of error of the temperature difference; k is the heat coefficient, at
 * equal temperatures ρ·cp. Flow in L/min, temperatures in °C, absolute pressure in bar.
 *
 * Flow at or below the least: both 0, known, whatever the rest. Else both are NaN when
 * any input is NaN or infinite or outside the domain of mixture.h. To be called when an
 * input changes. */
void heat_flow(const struct heat_setting *setting, double flow_lpm, double flow_c,
	double return_c, double pressure_bar, double *ret_w,
	double *ret_sensitivity_w_per_k);

#endif
