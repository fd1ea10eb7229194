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

#define JUMP_LEAST_K 10.0

void doubt_reset(struct doubt *d)
{
	*d = (struct doubt){NEVER_MS, NEVER_MS, 0};
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

enum reading_kind doubt_judge_odd(
	struct doubt *d, bool known, double said, const struct reading *r)
{
	if (r->kind == READING_BAD)
		return r->reason == BAD_RANGE ? judge_beyond(d, r) : READING_BAD;
	d->beyond = 0;
	d->beyond_ms = NEVER_MS;
	return judge_code(d, known, said, r);
}
