/*
 * Rounds of a property: ROUNDS of the environment, else the test's own modest number; the
 * seeds go up from SEED.
 */
#ifndef ROUNDS_H
#define ROUNDS_H

#include "../unit/unit.h"

#define FOR_ROUNDS(seed, usual)                                                          \
	for (uint64_t first_ = unit_seed(), count_ = unit_rounds(usual), seed = first_;  \
		seed < first_ + count_; seed++)

#endif
