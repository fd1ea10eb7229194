/*
 * Limits of error of instruments by kind and class, for the uncertainty budget: what a
 * standard permits, or what is common where none applies. Sources stand in instrument.c.
 *
 * Limits are ±, rectangular. A class speaks of one instrument: two of one class are off
 * independently of each other.
 */
#ifndef HEATBOOK_INSTRUMENT_H
#define HEATBOOK_INSTRUMENT_H

#include <heatbook/base.h>

/* Where a limit depends on it: temperature of the water, permanent flow over flow, the
 * difference of the pair where heat comes without one. Chosen for a heat pump's circuit:
 * flow and return lie around it, a meter is not chosen more than ten times too large. */
#define INSTRUMENT_WATER_C      40.0
#define INSTRUMENT_FLOW_RATIO   10.0
#define INSTRUMENT_DIFFERENCE_K 5.0

/* Of temperature and flow sensors, in the order of the option's words. */
enum sensor_class {
	SENSOR_PLATINUM_AA,
	SENSOR_PLATINUM_A,
	SENSOR_PLATINUM_B,
	SENSOR_PLATINUM_C,
	SENSOR_THERMISTOR,
	SENSOR_DIGITAL,
	SENSOR_STRAPPED,      /* on the pipe, insulated */
	SENSOR_STRAPPED_BARE, /* on the pipe, not insulated */
	SENSOR_FLOW_1,
	SENSOR_FLOW_2,
	SENSOR_FLOW_3,
	SENSOR_VORTEX,
	SENSOR_PUMP_SPEED,
	SENSOR_CLASS_COUNT
};

bool sensor_is_flow(enum sensor_class class);
/* As people write it, with the standard that has the class: "IEC 60751 class B". */
const char *sensor_class_name(enum sensor_class class);
/* Limit of a temperature sensor in K at a temperature, °C. */
double sensor_limit_k(enum sensor_class class, double at_c);
/* Limit of a flow sensor in percent of reading at permanent flow over flow. */
double sensor_limit_percent(enum sensor_class class, double flow_ratio);

/* A limit that is percent of a difference and kelvins beside. */
struct difference_limit {
	double percent;
	double k;
};
/* Of the matched pair and of the calculator of a thermal energy meter, by the least
 * difference that it is made for, K. */
struct difference_limit pair_limit(double least_difference_k);
struct difference_limit calculator_limit(double least_difference_k);
/* In the order of the words of pair_class. */
enum pair_class { PAIR_MATCHED_3, PAIR_MATCHED_5, PAIR_MATCHED_10, PAIR_CLASS_COUNT };
double pair_least_difference_k(enum pair_class class);
const char *pair_class_name(enum pair_class class);

/* Electricity meters, in the order of the option's words. */
enum meter_class {
	METER_CLASS_1,
	METER_CLASS_2,
	METER_CLASS_A,
	METER_CLASS_B,
	METER_CLASS_C,
	METER_CLAMP, /* clamps around the conductors */
	METER_CLASS_COUNT
};
double meter_limit_percent(enum meter_class class);
const char *meter_class_name(enum meter_class class);
/* ±, percent: volts times amperes without power factor, of a unit that runs. The voltage
 * may be assumed, too. */
double apparent_limit_percent(void);
/* Error of active power, percent, by a clamp's phase displacement in minutes of arc: the
 * worse of leading and lagging. */
double phase_error_percent(double power_factor, double minutes);

#endif
