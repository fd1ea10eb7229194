/*
 * What the files about the circuit share. Not for other rooms.
 */
#ifndef INSIGHT_CIRCUIT_H
#define INSIGHT_CIRCUIT_H

#include <heatbook/circuit.h>

enum { CIRCUIT_DAYS_LEAST = 14 };

/* Finds top-ups, and the line of each stretch between them. */
void circuit_pressure(struct circuit *circuit);

/* By what a standard error of so many rows and coefficients is multiplied to hold 95 %,
 * where residuals hang so on the one before: see circuit.c. */
double circuit_confidence(size_t n, size_t p, double rho);

/* Days that have a pressure and a temperature: places among the points. */
struct pressure_course {
	const struct circuit *circuit;
	size_t *at;
	double *bar; /* as with cold water, by neighbours' slope */
	size_t count;
};
void pressure_course_init(struct pressure_course *c, const struct circuit *circuit);
void pressure_course_release(struct pressure_course *c);

/* Days [first, end) of a course follow no top-up and precede none, as far as is known;
 * `step` is the day of the top-up behind them, of `bar`, `next` the first day behind it.
 * What was neither clearly one nor none lies between `end` and `next`. */
struct pressure_part {
	size_t first, end, next;
	bool topped_up;
	size_t step;
	double bar;
};
/* The part that begins at *at, which moves behind it; false: there is none. */
bool pressure_part_next(
	const struct pressure_course *c, size_t *at, struct pressure_part *ret);

#endif
