/*
 * The liquid of the circuit: water, or water with antifreeze by volume percent.
 *
 * Water is IAPWS-IF97 (water.h). Mixtures are own least-squares fits to published tables
 * of density and heat capacity at atmospheric pressure, from 10 to 60 % and from the
 * freezing point (at least -35 °C) to 100 °C; a few bar change them by less than the fit
 * is off (0.03 %). Between 0 and 10 %, where the tables have no line, density and
 * enthalpy are interpolated between water and the 10 % line, from 0 °C up.
 */
#ifndef HEATBOOK_MIXTURE_H
#define HEATBOOK_MIXTURE_H

#include <heatbook/config.h>
#include <heatbook/water.h>

#define MIXTURE_MOST_PERCENT 60.0
#define MIXTURE_MOST_C       100.0

/* What is worked out once for a plant. All zeros is water. */
struct mixture {
	enum fluid fluid;
	double share;       /* of the fit's line; the rest is water's; 1 from 10 % on */
	double density[3];  /* kg/m³ by powers of t/100 °C */
	double capacity[2]; /* J/(kg K), likewise */
	double least_c;     /* below it nothing is known */
};

/* `percent` in 0 … 60 by volume; 0, and any of FLUID_WATER, is water. */
struct mixture mixture_of(enum fluid fluid, double percent);

/* The state at a temperature and an absolute pressure, which counts where there is water
 * in it from water.h (below 10 %). NaN outside the limits above and for a NaN. Enthalpy
 * counts from 0 °C; only differences of one mixture mean anything. */
struct water mixture_at(const struct mixture *mixture, double t_c, double pressure_bar);
/* Two states at one pressure, each to the bit what mixture_at() says of it. */
void mixture_pair(const struct mixture *mixture, const double t_c[static 2],
	double pressure_bar, struct water ret[static 2]);

/* Where ice begins to form, °C; water's 0. */
double mixture_freezes_c(enum fluid fluid, double percent);
/* Least temperature that heat is worked out for, °C: the freezing point or the end of the
 * tables. */
double mixture_least_c(enum fluid fluid, double percent);

/* What published sources of density times heat capacity differ by, ± percent: the fluid's
 * term of an uncertainty budget. Water 0. */
double mixture_spread_percent(enum fluid fluid);

#endif
