/*
 * Rounds of a property: ROUNDS of the environment, else the test's own modest number; the
 * seeds go up from SEED.
 */
#ifndef ROUNDS_H
#define ROUNDS_H

#include "../unit/unit.h"

static inline uint64_t rounds(uint64_t usual)
{
	const char *text = getenv("ROUNDS");
	uint64_t count = text ? strtoull(text, NULL, 10) : 0;
	return count ? count : usual;
}

#define FOR_ROUNDS(seed, usual)                                                          \
	for (uint64_t first_ = unit_seed(), count_ = rounds(usual), seed = first_;       \
		seed < first_ + count_; seed++)

#endif
