/*
 * What efficiency temperatures let expect: of an ideal machine, and of published fits to
 * units of the kind. Yardsticks that move with the conditions, never limits.
 */
#ifndef HEATBOOK_COP_CURVE_H
#define HEATBOOK_COP_CURVE_H

/* Below this lift, K, neither is asked: fits were not made for less, and a Carnot
 * quotient grows without bound. */
#define COP_LEAST_LIFT_K 15.0

/* Carnot's quotient of heating, T/(T − T₀) in kelvin, between the air outside and the
 * water that leaves; NaN unless that is the warmer one. */
double cop_carnot(double flow_c, double outdoor_c);

/* Of units that take heat from air: by Scientific Data 6 (2019) 189, and by Energy
 * Environ. Sci. 5 (2012) 9291. `lift_k` is the flow temperature less the outdoor one, as
 * COP_LEAST_LIFT_K where it is less (so do the former's authors). */
double cop_of_2019(double lift_k);
double cop_of_2012(double lift_k);

/* Between which quotients both of them lie, also when the former is taken by the 0.85
 * that its authors allow for units in the field. */
struct cop_band {
	double least, most;
};
struct cop_band cop_band(double lift_k);

#endif
