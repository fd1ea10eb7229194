/*
 * Where a circuit was topped up: a step upward that the water's temperature does not
 * explain. Three days behind it stand higher than three before it, by a tenth of a bar at
 * least (own judgement; days of the demo plant scatter by some hundredths).
 *
 * At either end of the days there are not three of them beyond a step. It is a top-up
 * there if the outermost day, from its least to its most, stands apart from the days on
 * the other side by as much: water's warmth cannot do that, nor a pump. What stands apart
 * in part of the day alone may be either, and is left out: one such day at the end turns
 * the line of a leak of a month by a fifth.
 */
#include "circuit.h"

#include "evidence_days.h"

#include <math.h>

enum { AROUND = 3 };
#define TOP_UP_BAR 0.1

/* Of three. */
static double middle(const double v[static AROUND])
{
	return fmax(fmin(v[0], v[1]), fmin(fmax(v[0], v[1]), v[2]));
}

void pressure_course_init(struct pressure_course *c, const struct circuit *circuit)
{
	double *bar = xcalloc(2 * circuit->count + 1, sizeof(*bar));
	double *water_c = bar + circuit->count;
	*c = (struct pressure_course){.circuit = circuit};
	c->at = xcalloc(circuit->count + 1, sizeof(*c->at));
	c->bar = xcalloc(circuit->count + 1, sizeof(*c->bar));
	for (size_t i = 0; i < circuit->count; i++) {
		const struct circuit_point *p = &circuit->points[i];
		if (isnan(p->bar + p->water_c))
			continue;
		bar[c->count] = p->bar;
		water_c[c->count] = p->water_c;
		c->at[c->count++] = i;
	}
	double slope = evidence_expansion(bar, water_c, c->count);
	for (size_t i = 0; i < c->count; i++)
		c->bar[i] = bar[i] - slope * (water_c[i] - CIRCUIT_COLD_C);
	free(bar);
}

void pressure_course_release(struct pressure_course *c)
{
	free(c->at);
	free(c->bar);
}

/* ---- amid the days ---- */

/* By how much the days behind `i` stand higher than those before it; 0 at the ends. */
static double step_at(const struct pressure_course *c, size_t i)
{
	if (i < AROUND || i + AROUND >= c->count)
		return 0.0;
	return middle(c->bar + i + 1) - middle(c->bar + i - AROUND);
}

/* The greatest near it, and steep where it is. */
static bool is_top_up(const struct pressure_course *c, size_t i)
{
	double step = step_at(c, i);
	if (step < TOP_UP_BAR || c->bar[i + 1] - c->bar[i - 1] < TOP_UP_BAR)
		return false;
	for (size_t k = i - 1; k <= i + 1; k++)
		if (k != i &&
			(c->bar[k + 1] - c->bar[k - 1] > c->bar[i + 1] - c->bar[i - 1] ||
				(k < i && step_at(c, k) >= TOP_UP_BAR &&
					c->bar[k + 1] - c->bar[k - 1] ==
						c->bar[i + 1] - c->bar[i - 1])))
			return false;
	return true;
}

/* ---- at the ends ---- */

static const struct circuit_point *point_of(const struct pressure_course *c, size_t i)
{
	return &c->circuit->points[c->at[i]];
}

/* Of days [first, end): as with cold water the least and the most, and of all of it the
 * least and the most that was seen. */
struct band {
	double low, high, least, most;
};

static struct band band_of(const struct pressure_course *c, size_t first, size_t end)
{
	struct band band = {INFINITY, -INFINITY, INFINITY, -INFINITY};
	for (size_t i = first; i < end && i < c->count; i++) {
		band.low = fmin(band.low, c->bar[i]);
		band.high = fmax(band.high, c->bar[i]);
		band.least = fmin(band.least, point_of(c, i)->least_bar);
		band.most = fmax(band.most, point_of(c, i)->most_bar);
	}
	return band;
}

/* The first of the days behind a step with three days behind it and three at most before;
 * 0: none. */
static size_t step_at_begin(const struct pressure_course *c)
{
	for (size_t k = AROUND; k > 0; k--)
		if (k + AROUND <= c->count &&
			band_of(c, k, k + AROUND).low - band_of(c, 0, k).high >=
				TOP_UP_BAR)
			return k;
	return 0;
}

/* The same with three before it and three at most behind, the last of which may have it
 * within; `count`: none. */
static size_t step_at_end(const struct pressure_course *c, size_t first)
{
	size_t k =
		c->count > first + AROUND + AROUND ? c->count - AROUND : first + AROUND;
	for (; k < c->count; k++) {
		struct band before = band_of(c, k - AROUND, k);
		struct band behind = band_of(c, k, c->count);
		if (behind.low - before.high >= TOP_UP_BAR)
			return k;
	}
	if (c->count < first + AROUND + 1)
		return c->count;
	k = c->count - 1;
	return band_of(c, k, k + 1).most - band_of(c, k - AROUND, k).most >= TOP_UP_BAR
		       ? k
		       : c->count;
}

/* The part before a step near the begin; false: it is not sure, and left out. */
static bool part_at_begin(
	const struct pressure_course *c, size_t step, struct pressure_part *ret)
{
	struct band outermost = band_of(c, 0, 1),
		    behind = band_of(c, step, step + AROUND);
	*ret = (struct pressure_part){.end = step,
		.next = step,
		.topped_up = behind.least - outermost.most >= TOP_UP_BAR,
		.step = step,
		.bar = middle(c->bar + step) - c->bar[0]};
	return ret->topped_up;
}

static void end_part(const struct pressure_course *c, struct pressure_part *ret)
{
	size_t step = step_at_end(c, ret->first);
	*ret = (struct pressure_part){
		.first = ret->first, .end = step, .next = c->count, .step = step};
	if (step >= c->count)
		return;
	double most = band_of(c, step - AROUND, step).most;
	if (band_of(c, c->count - 1, c->count).least - most < TOP_UP_BAR)
		return;
	ret->topped_up = true;
	ret->bar = c->bar[c->count - 1] - middle(c->bar + step - AROUND);
	/* A day within which it was is of neither. */
	ret->next =
		band_of(c, step, step + 1).least - most < TOP_UP_BAR ? step + 1 : step;
}

/* ---- from part to part ---- */

bool pressure_part_next(
	const struct pressure_course *c, size_t *at, struct pressure_part *ret)
{
	size_t begin = step_at_begin(c), quiet = begin ? begin + AROUND : 0;
	if (*at >= c->count)
		return false;
	if (*at == 0 && begin) {
		*at = begin;
		if (part_at_begin(c, begin, ret))
			return true;
	}
	*ret = (struct pressure_part){.first = *at};
	for (size_t i = *at > quiet ? *at : quiet; i < c->count; i++) {
		if (!is_top_up(c, i))
			continue;
		ret->end = ret->step = i;
		ret->next = i + 1; /* its day is of both */
		ret->topped_up = true;
		ret->bar = step_at(c, i);
		*at = ret->next;
		return true;
	}
	end_part(c, ret);
	*at = ret->next;
	return true;
}
