/*
 * Whether sources agree about when something happened: a meter's power against the
 * compressor. Steps of both are compared at every shift; the shift at which most of them
 * meet is the delay. (Flags against what water does: evidence_flag.c.)
 *
 * Source: cross-correlation of steps, common practice. A day's steps are few, so that
 * pairs are counted rather than series multiplied.
 */
#include "evidence.h"

#include <math.h>

enum { SHIFT_MOST = 200, STEPS_MOST = 400, STEPS_LEAST = 4 };

/* Rising and falling edges of a condition (1, 0, -1 = unknown), in minutes. */
struct steps {
	int at[STEPS_MOST];
	signed char up[STEPS_MOST];
	size_t count;
};

static void steps_of(const signed char *is, size_t count, struct steps *ret)
{
	ret->count = 0;
	for (size_t i = 1; i < count && ret->count < STEPS_MOST; i++)
		if (is[i] >= 0 && is[i - 1] >= 0 && is[i] != is[i - 1]) {
			ret->up[ret->count] = is[i];
			ret->at[ret->count++] = (int)i;
		}
}

struct match {
	int shift; /* minutes by which `later` comes after `earlier` */
	double share, share_now;
	size_t steps;
};

/* Steps count as met within a minute either way. */
static bool match_steps(
	const struct steps *earlier, const struct steps *later, struct match *ret)
{
	unsigned pairs[2 * SHIFT_MOST + 3] = {0};
	size_t most = earlier->count > later->count ? earlier->count : later->count;
	if (earlier->count < STEPS_LEAST || later->count < STEPS_LEAST)
		return false;
	for (size_t i = 0; i < earlier->count; i++)
		for (size_t k = 0; k < later->count; k++) {
			int d = later->at[k] - earlier->at[i];
			if (earlier->up[i] == later->up[k] && d >= -SHIFT_MOST &&
				d <= SHIFT_MOST)
				pairs[d + SHIFT_MOST + 1]++;
		}
	unsigned best = 0;
	for (int s = -SHIFT_MOST; s <= SHIFT_MOST; s++) {
		const unsigned *at = &pairs[s + SHIFT_MOST + 1];
		unsigned met = at[-1] + at[0] + at[1];
		if (met > best || (met == best && abs(s) < abs(ret->shift))) {
			best = met;
			ret->shift = s;
		}
		if (s == 0)
			ret->share_now = met / (double)most;
	}
	ret->share = best / (double)most;
	ret->steps = most;
	return true;
}

/* Of shifts whose neighbours make them equal the one with most exact meetings. */
static void centre(
	const struct steps *earlier, const struct steps *later, struct match *match)
{
	unsigned exact[3] = {0};
	for (size_t i = 0; i < earlier->count; i++)
		for (size_t k = 0; k < later->count; k++) {
			int d = later->at[k] - earlier->at[i] - match->shift;
			if (earlier->up[i] == later->up[k] && d >= -1 && d <= 1)
				exact[d + 1]++;
		}
	if (exact[0] > exact[1])
		match->shift--;
	else if (exact[2] > exact[1])
		match->shift++;
}

static void add_match(const struct day_view *view, int meter, const struct match *match)
{
	struct evidence item = evidence_new(view, EVIDENCE_SKEW, meter);
	item.minutes = match->shift;
	item.values[0] = match->share;
	item.values[1] = match->share_now;
	item.values[2] = (double)match->steps;
	evidence_add(view->list, &item);
}

static void compare(const struct day_view *view, const signed char *earlier,
	const signed char *later, int meter)
{
	struct steps a, b;
	struct match match = {0};
	steps_of(earlier, view->count, &a);
	steps_of(later, view->count, &b);
	if (!match_steps(&a, &b, &match))
		return;
	centre(&a, &b, &match);
	add_match(view, meter, &match);
}

/* By a channel that is not the meter's own: frequency, else the water's flow. */
void look_at_skew(const struct day_view *view)
{
	const struct config *config = view->day->config;
	const signed char *reference = view->frequency_hz ? view->running : view->flowing;
	signed char *drawing;

	if (view->power_meter < 0)
		return;
	drawing = xmalloc(view->count + 1);
	for (size_t i = 0; i < view->count; i++) {
		double w = fabs(view->power_w[i]);
		drawing[i] = isnan(w) ? -1 : w > config->modes.compressor_on_w;
	}
	compare(view, reference, drawing, view->power_meter);
	free(drawing);
}
