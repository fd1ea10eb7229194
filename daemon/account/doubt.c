/*
 * What a reading counts as, by the ones before it.
 *
 *  - A digital thermometer that lost its power says 85 °C once it is back, one whose bus
 *    was disturbed -0.0625 °C (all bits set): common practice of the trade, from memory.
 *    Both may be true. Beside what was said before, within 10 K, such a word is taken;
 *    else nothing is known until its successor comes, and a successor that says the same
 *    is believed.
 *  - Ten readings out of the valid range in a row are no slips: nothing is known.
 *
 * A reading that is told twice counts once: what is remembered goes by instants.
 */
#include "doubt.h"

#include "modes.h"

#include <math.h>

#define POWER_ON_C   85.0
#define ALL_BITS_C   (-0.0625)
#define CODE_WITHIN  1e-6 /* a unit's conversion may cost its last digits */
#define JUMP_LEAST_K 10.0

void doubt_reset(struct doubt *d)
{
	*d = (struct doubt){NEVER_MS, NEVER_MS, 0};
}

bool doubt_is_code(const struct channel_config *channel, const struct reading *r)
{
	return r->kind == READING_VALUE && channel->dimension == DIMENSION_TEMPERATURE &&
	       (fabs(r->value - POWER_ON_C) < CODE_WITHIN ||
		       fabs(r->value - ALL_BITS_C) < CODE_WITHIN);
}

static enum reading_kind judge_code(
	struct doubt *d, bool known, double said, const struct reading *r)
{
	bool waits = d->code_ms != NEVER_MS;
	if (waits && d->code_ms < r->t_ms) {
		d->code_ms = NEVER_MS;
		return READING_VALUE;
	}
	if (!waits && known && fabs(r->value - said) <= JUMP_LEAST_K)
		return READING_VALUE;
	d->code_ms = r->t_ms;
	return READING_NOVALUE;
}

static enum reading_kind judge_beyond(struct doubt *d, const struct reading *r)
{
	if (d->beyond < DOUBT_BEYOND && d->beyond_ms != r->t_ms)
		d->beyond++;
	d->beyond_ms = r->t_ms;
	return d->beyond == DOUBT_BEYOND ? READING_NOVALUE : READING_BAD;
}

enum reading_kind doubt_judge(struct doubt *d, const struct channel_config *channel,
	bool known, double said, const struct reading *r)
{
	if (r->kind == READING_BAD)
		return r->reason == BAD_RANGE ? judge_beyond(d, r) : READING_BAD;
	d->beyond = 0;
	d->beyond_ms = NEVER_MS;
	if (doubt_is_code(channel, r))
		return judge_code(d, known, said, r);
	d->code_ms = NEVER_MS;
	return (enum reading_kind)r->kind;
}
