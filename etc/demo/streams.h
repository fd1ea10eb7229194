/*
 * Random numbers of the demo plant, by index instead of by order: number n of a stream
 * depends on the seed, the stream and n alone. So a setting that changes how often one
 * stream is asked never shifts another: the weather of a seed is the weather of that
 * seed.
 *
 * The mixing steps are those of the splitmix64 generator (Steele, Lea, Flood 2014; from
 * memory).
 */
#ifndef DEMO_STREAMS_H
#define DEMO_STREAMS_H

#include <math.h>
#include <stdint.h>

enum stream {
	STREAM_OUTDOOR = 1,
	STREAM_HUMIDITY,
	STREAM_CLOUDS,
	STREAM_OCCUPANTS,
	STREAM_DEFROST,
	STREAM_FAULTS /* reserved: a later fault draws from here only */
};

static inline uint64_t stream_mix(uint64_t z)
{
	z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
	z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
	return z ^ (z >> 31);
}

/* Evenly in [0, 1). */
static inline double stream_even(uint64_t seed, enum stream stream, int64_t index)
{
	uint64_t z = stream_mix(seed + UINT64_C(0x9E3779B97F4A7C15) * (uint64_t)stream);
	z = stream_mix(z + UINT64_C(0x9E3779B97F4A7C15) * (uint64_t)index);
	return (double)(z >> 11) * 0x1p-53;
}

/* Normal with mean 0 and standard deviation 1 (Box and Muller 1958). */
static inline double stream_normal(uint64_t seed, enum stream stream, int64_t index)
{
	double u = 1.0 - stream_even(seed, stream, 2 * index);
	double v = stream_even(seed, stream, 2 * index + 1);
	return sqrt(-2.0 * log(u)) * cos(2.0 * M_PI * v);
}

#endif
