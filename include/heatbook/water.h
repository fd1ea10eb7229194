/*
 * Liquid water: IAPWS Industrial Formulation 1997, region 1 (IAPWS R7-97(2012)).
 *
 * Domain: 0 … 350 °C, from the saturation pressure to 1000 bar, absolute. Outside it, and
 * for a NaN, every property is NaN. Enthalpy counts from the liquid at the triple point;
 * only differences mean anything here.
 */
#ifndef HEATBOOK_WATER_H
#define HEATBOOK_WATER_H

struct water {
	double volume_m3_kg;  /* specific volume v */
	double enthalpy_j_kg; /* specific enthalpy h */
	double capacity_j_kg_k; /* isobaric heat capacity cp = ∂h/∂T at constant pressure
				 */
};

/* The state at a temperature and an absolute pressure. */
struct water water_at(double t_c, double pressure_bar);
/* Two states at one pressure, as flow and return are: what water_at() says of each, to
 * the bit, for little more than the price of one. */
void water_pair(
	const double t_c[static 2], double pressure_bar, struct water ret[static 2]);
/* Saturation pressure, bar absolute (region 4); NaN outside 0 … 350 °C. */
double water_saturation_bar(double t_c);

#endif
