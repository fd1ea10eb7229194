/*
 * What the files about the circuit share. Not for other rooms.
 */
#ifndef INSIGHT_CIRCUIT_H
#define INSIGHT_CIRCUIT_H

#include <heatbook/circuit.h>

enum { CIRCUIT_DAYS_LEAST = 14 };

/* Finds top-ups, and the line of each stretch between them. */
void circuit_pressure(struct circuit *circuit);

#endif
