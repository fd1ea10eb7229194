/*
 * Rounds of a property: ROUNDS of the environment, else the test's own modest number; the
 * seeds go up from SEED. A round takes many times as long under a sanitizer, and etc/test
 * has a release run all of a law's as well: there laws go through half of them
 * (HALF_ROUNDS, tests/meson.build).
 */
#ifndef ROUNDS_H
#define ROUNDS_H

#include "../unit/unit.h"

#ifdef HALF_ROUNDS
#define ROUNDS_OF(usual) (((usual) + 1) / 2)
#else
#define ROUNDS_OF(usual) (usual)
#endif

#define FOR_ROUNDS(seed, usual)                                                          \
	for (uint64_t first_ = unit_seed(), count_ = unit_rounds(ROUNDS_OF(usual)),      \
		      seed = first_;                                                     \
		seed < first_ + count_; seed++)

#endif
