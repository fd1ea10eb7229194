/*
 * The table of instruments' limits. See instrument.h.
 *
 * Platinum sensors: IEC 60751 (tolerances read second-hand). Flow sensors of classes 1 to
 * 3, matched pair and calculator: EN 1434-1 and Directive 2014/32/EU, Annex VI (class 2,
 * pair, calculator and that limits add: read second-hand; class 1 and 3: from memory).
 * Electricity meters: IEC 62053-21 at reference conditions (from memory); 2014/32/EU,
 * Annex V, Table 2 at rated operating conditions, the smaller currents (read); meters of
 * these classes A to C bear them as of EN 50470-3 (from memory).
 *
 * Common practice of the trade (from memory), each the upper end of what is said of it:
 * thermistors 0.2 to 1 K, digital sensors 0.5 K, sensors strapped on a pipe 0.3 to 1 K,
 * without insulation 1 to 3 K, vortex sensors 1.5 to 3 %, flow from a pump's speed 10 %
 * and more. Strap-on sensors are outside of EN 1434.
 *
 * A clamp: ratio 1.5 % and 90 minutes of arc at a fifth of its current (class 1 of
 * IEC 61869-2, from memory), at power factor 0.9 together 2.8 %, rounded up. Apparent
 * power: 5 to 20 % of a clamp where voltage and power factor are assumed, the upper end
 * as above; that is of a unit that runs. At rest it reads two or three times too much,
 * where little is used.
 */
#include <heatbook/instrument.h>

#include <assert.h>
#include <math.h>

struct line {
	const char *name;
	double fixed;
	double per; /* a degree, or a flow ratio */
	double most;
};

static const struct line sensors[SENSOR_CLASS_COUNT] = {
	[SENSOR_PLATINUM_AA] = {"IEC 60751 class AA", 0.1, 0.0017, INFINITY},
	[SENSOR_PLATINUM_A] = {"IEC 60751 class A", 0.15, 0.002, INFINITY},
	[SENSOR_PLATINUM_B] = {"IEC 60751 class B", 0.3, 0.005, INFINITY},
	[SENSOR_PLATINUM_C] = {"IEC 60751 class C", 0.6, 0.01, INFINITY},
	[SENSOR_THERMISTOR] = {"thermistor", 1.0, 0.0, INFINITY},
	[SENSOR_DIGITAL] = {"digital sensor", 0.5, 0.0, INFINITY},
	[SENSOR_STRAPPED] = {"strapped to the pipe, insulated", 1.0, 0.0, INFINITY},
	[SENSOR_STRAPPED_BARE] = {"strapped to the pipe, not insulated", 3.0, 0.0,
		INFINITY},
	[SENSOR_FLOW_1] = {"EN 1434 class 1", 1.0, 0.01, 5.0},
	[SENSOR_FLOW_2] = {"EN 1434 class 2", 2.0, 0.02, 5.0},
	[SENSOR_FLOW_3] = {"EN 1434 class 3", 3.0, 0.05, 5.0},
	[SENSOR_VORTEX] = {"vortex sensor", 3.0, 0.0, INFINITY},
	[SENSOR_PUMP_SPEED] = {"worked out by the pump", 10.0, 0.0, INFINITY},
};

static const struct {
	const char *name;
	double percent;
} meters[METER_CLASS_COUNT] = {
	[METER_CLASS_1] = {"IEC 62053-21 class 1", 1.0},
	[METER_CLASS_2] = {"IEC 62053-21 class 2", 2.0},
	[METER_CLASS_A] = {"EN 50470-3 class A", 3.5},
	[METER_CLASS_B] = {"EN 50470-3 class B", 2.0},
	[METER_CLASS_C] = {"EN 50470-3 class C", 1.0},
	[METER_CLAMP] = {"clamps around the conductors", 3.0},
};

static const struct {
	const char *name;
	double least_k;
} pairs[PAIR_CLASS_COUNT] = {
	[PAIR_MATCHED_3] = {"EN 1434 matched pair from 3 K", 3.0},
	[PAIR_MATCHED_5] = {"EN 1434 matched pair from 5 K", 5.0},
	[PAIR_MATCHED_10] = {"EN 1434 matched pair from 10 K", 10.0},
};

static double line_at(const struct line *line, double x)
{
	return fmin(line->fixed + line->per * fabs(x), line->most);
}

bool sensor_is_flow(enum sensor_class class)
{
	return class >= SENSOR_FLOW_1;
}

const char *sensor_class_name(enum sensor_class class)
{
	assert((unsigned)class < SENSOR_CLASS_COUNT);
	return sensors[class].name;
}

double sensor_limit_k(enum sensor_class class, double at_c)
{
	assert((unsigned)class < SENSOR_CLASS_COUNT && !sensor_is_flow(class));
	return line_at(&sensors[class], at_c);
}

double sensor_limit_percent(enum sensor_class class, double flow_ratio)
{
	assert((unsigned)class < SENSOR_CLASS_COUNT && sensor_is_flow(class));
	return line_at(&sensors[class], flow_ratio);
}

/* Et = 0.5 + 3·Δmin/Δ and Ec = 0.5 + Δmin/Δ, percent of Δ. */
struct difference_limit pair_limit(double least_difference_k)
{
	return (struct difference_limit){.percent = 0.5, .k = 0.03 * least_difference_k};
}

struct difference_limit calculator_limit(double least_difference_k)
{
	return (struct difference_limit){.percent = 0.5, .k = 0.01 * least_difference_k};
}

double pair_least_difference_k(enum pair_class class)
{
	assert((unsigned)class < PAIR_CLASS_COUNT);
	return pairs[class].least_k;
}

const char *pair_class_name(enum pair_class class)
{
	assert((unsigned)class < PAIR_CLASS_COUNT);
	return pairs[class].name;
}

double meter_limit_percent(enum meter_class class)
{
	assert((unsigned)class < METER_CLASS_COUNT);
	return meters[class].percent;
}

const char *meter_class_name(enum meter_class class)
{
	assert((unsigned)class < METER_CLASS_COUNT);
	return meters[class].name;
}

double apparent_limit_percent(void)
{
	return 20.0;
}

/* cos(φ ± δ)/cos φ − 1 */
double phase_error_percent(double power_factor, double minutes)
{
	double phase = acos(power_factor), off = minutes / 60.0 * M_PI / 180.0;
	return 100.0 * fmax(fabs(cos(phase - off) / power_factor - 1.0),
			       fabs(cos(phase + off) / power_factor - 1.0));
}
