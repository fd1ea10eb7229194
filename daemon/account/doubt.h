/*
 * What a reading counts as, by the ones before it: words that thermometers say when they
 * fail, and readings out of the valid range. Used by the engine; the memory is carried
 * state, plain numbers, equal bytes for equal states.
 */
#ifndef ACCOUNT_DOUBT_H
#define ACCOUNT_DOUBT_H

#include <heatbook/config.h>
#include <heatbook/reading.h>
#include <heatbook/rules.h>

#include <math.h>

struct doubt {
	int64_t code_ms;   /* such a word waits for its successor since, or NEVER_MS */
	int64_t beyond_ms; /* the last reading out of range, or NEVER_MS */
	uint8_t beyond;    /* so many in a row, at most DOUBT_BEYOND */
};

/* So many out of range in a row, and nobody knows the quantity. */
#define DOUBT_BEYOND 10

/* Words that a thermometer also says when it fails (doubt.c). */
#define DOUBT_POWER_ON_C  85.0
#define DOUBT_ALL_BITS_C  (-0.0625)
#define DOUBT_CODE_WITHIN 1e-6 /* a unit's conversion may cost its last digits */

void doubt_reset(struct doubt *d);
/* Whether the reading is such a word. */
static inline bool doubt_is_code(
	const struct channel_config *channel, const struct reading *reading)
{
	return channel->dimension == DIMENSION_TEMPERATURE &&
	       reading->kind == READING_VALUE &&
	       (fabs(reading->value - DOUBT_POWER_ON_C) < DOUBT_CODE_WITHIN ||
		       fabs(reading->value - DOUBT_ALL_BITS_C) < DOUBT_CODE_WITHIN);
}
/* Of a reading that is BAD or such a word. */
enum reading_kind doubt_judge_odd(
	struct doubt *d, bool known, double said, const struct reading *reading);
/* READING_VALUE, READING_NOVALUE or, where the hold goes on, READING_BAD. `known` and
 * `said` are what the channel says so far. */
static inline enum reading_kind doubt_judge(struct doubt *d,
	const struct channel_config *channel, bool known, double said,
	const struct reading *reading)
{
	if (reading->kind == READING_BAD || doubt_is_code(channel, reading))
		return doubt_judge_odd(d, known, said, reading);
	d->beyond = 0;
	d->beyond_ms = d->code_ms = NEVER_MS;
	return (enum reading_kind)reading->kind;
}

#endif
