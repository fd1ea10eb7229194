/*
 * The one unit table: the spellings that owners and payloads use, the UCUM code, the
 * dimension and the linear way to heatbook's own unit of that dimension.
 *
 * Own units: temperature °C, temperature difference K, flow L/min, pressure bar, power W,
 * energy kWh, voltage V, current A, frequency Hz, ratio %, price currency/kWh, intensity
 * g/kWh, and plain numbers.
 */
#ifndef HEATBOOK_UNITS_H
#define HEATBOOK_UNITS_H

#include <heatbook/base.h>

enum dimension {
	DIMENSION_NUMBER,
	DIMENSION_TEMPERATURE,
	DIMENSION_TEMPERATURE_DIFFERENCE,
	DIMENSION_FLOW,
	DIMENSION_PRESSURE,
	DIMENSION_POWER,
	DIMENSION_ENERGY,
	DIMENSION_VOLTAGE,
	DIMENSION_CURRENT,
	DIMENSION_FREQUENCY,
	DIMENSION_RATIO,
	DIMENSION_STATE, /* a value map's code; no unit */
	/* Of electricity or fuel; whose currency it is, the configuration says. Mapping
	 * digests hold the numbers of dimensions: new ones go to the end. */
	DIMENSION_PRICE,
	DIMENSION_INTENSITY, /* carbon dioxide's, of electricity or fuel */
	DIMENSION_COUNT
};

struct unit {
	const char *symbol; /* as printed */
	const char *ucum;   /* UCUM case-sensitive code, as answered over HTTP */
	enum dimension dimension;
	double factor; /* own unit = value * factor / divisor + offset */
	double divisor;
	double offset;
	/* A flow of mass (kg/s): in L/min it is that of water at a nominal 1 kg/L, so its
	 * number is kg/min; heat_flow() takes it as mass and no density enters. */
	bool mass;
};

#define J_PER_KWH 3.6e6

/* The unit of a spelling ("°C", "degC", "Cel", "l/min"), or NULL. Latin-1 degree bytes
 * count as the degree sign. Case is significant only where it must be (mW against MW). */
const struct unit *unit_find(const char *text, size_t length);
/* Value in the own unit of its dimension. */
double unit_to_own(const struct unit *unit, double value);
/* Whether that leaves every value as it is. */
bool unit_is_own(const struct unit *unit);
/* heatbook's own unit of a dimension; never NULL (DIMENSION_NUMBER has symbol "", UCUM
 * "1"). */
const struct unit *unit_own(enum dimension dimension);
/* Stored integers a own unit: 0.01 K -> 100, 1 W -> 1, 0.01 L/min -> 100, 0.01 bar ->
 * 100, 0.1 Hz -> 10, 0.1 % -> 10, numbers and the rest 0.001 -> 1000 (kWh 0.001, V 0.1, A
 * 0.001); prices 1000000, intensities 10, states 1. */
int unit_scale(enum dimension dimension);
/* Decimals that show one stored step: 2 for a scale of 100. */
int unit_decimals(enum dimension dimension);

#endif
