/*
 * EN 14825: hours of a reference heating season by outdoor temperature, and a season's
 * efficiency by the standard's bin method from declared part-load points. Pure.
 */
#ifndef HEATBOOK_EN14825_H
#define HEATBOOK_EN14825_H

#include <heatbook/base.h>

enum en14825_climate {
	EN14825_AVERAGE,
	EN14825_WARMER,
	EN14825_COLDER,
	EN14825_CLIMATES
};
/* "average" */
const char *en14825_climate_name(enum en14825_climate climate);

#define EN14825_BINS_MOST 38
/* Load falls to nothing at this temperature, °C. */
#define EN14825_NO_LOAD_C 16.0

struct en14825_bin {
	int outdoor_c;
	int hours;
};
struct en14825_season {
	const struct en14825_bin *bins; /* the coldest first */
	size_t count;
	int design_c;
};
const struct en14825_season *en14825_season(enum en14825_climate climate);
/* Load at a temperature as a part of the design load, 1 at the design temperature. */
double en14825_load(const struct en14825_season *season, double outdoor_c);

/* Sums over a season's bins. Electricity holds that of a supplementary heater, which is
 * electric. */
struct en14825_sums {
	double heat_kwh, supplementary_kwh, electricity_kwh;
};
/* A bin: so many hours of a load, of which the unit gives its capacity at most, at this
 * COP. */
void en14825_add(struct en14825_sums *sums, double hours, double load_kw,
	double capacity_kw, double cop);

/* A declared point: capacity and efficiency at full capacity there. */
struct en14825_point {
	double outdoor_c;
	double capacity_kw;
	double cop;
};

/* A unit at one regime of flow temperatures. */
struct en14825_unit {
	double design_kw;                   /* load at the design temperature */
	const struct en14825_point *points; /* the coldest first */
	size_t count;                       /* 2 at least */
	double limit_c;                     /* TOL: below it, it does not run */
	double bivalent_c; /* from here on its capacity covers the load */
	/* Cd, 0.9 unless it was measured; 1: quotients hold what cycling loses. */
	double cycling;
	double off_w, thermostat_off_w, standby_w, crankcase_w;
};

struct en14825_result {
	struct en14825_sums sums;
	double scop_on;
	double scop_net; /* without what a supplementary heater gives and takes */
	double scop;     /* with what it draws when it does not run */
};
/* Quotients at part load and capacities go straight from point to point and on beyond the
 * outer ones, as the standard lays them. */
struct en14825_result en14825_scop(
	const struct en14825_unit *unit, enum en14825_climate climate);

/* A quotient less the loss by cycling: COP · CR/(Cd·CR + 1 − Cd), where CR is the load
 * over the capacity, 1 at most. */
double en14825_part_load_cop(
	double cop, double load_kw, double capacity_kw, double cycling);

#endif
