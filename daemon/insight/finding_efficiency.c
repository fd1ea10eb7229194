/*
 * Efficiency against a published fit of such units (evidence_energy.c): the quotient of
 * the two moves with a unit's own build, with frost and part load, but not from one day
 * to the next at the same weather. Where it falls and stays below, something changed.
 *
 * Change: least squares of the day's quotient on lift, its square, outdoor temperature
 * and a step at a day that is chosen; the step with the greatest t, if it is beyond a
 * twentieth and plain (t > 10, since the day is chosen among many). Source: ordinary
 * least squares; thresholds are own judgement, by a year of an invented plant.
 */
#include "finding.h"

#include "evidence.h"

#include <math.h>
#include <string.h>

#define HEAT_LEAST_J (4.0 * J_PER_KWH)
enum { SIDE_DAYS = 12, TERMS = 6 };
#define STEP_LEAST 0.05
#define T_LEAST    10.0

struct point {
	size_t day;
	double y; /* the unit's quotient over the fit's */
	double lift_k, outdoor_c, load;
};

static size_t points_of(
	const struct finding_input *in, struct run span, int mode, struct point *points)
{
	size_t count = 0;
	for (size_t d = span.first; d <= span.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_EFFICIENCY, mode);
		if (!e || e->values[0] < HEAT_LEAST_J || e->values[1] <= 0.0)
			continue;
		points[count++] =
			(struct point){d, e->values[2] / e->values[1], e->values[3],
				e->values[5], e->values[0] / (double)e->minutes / 1e6};
	}
	return count;
}

/* Normal equations, solved by Gauss with pivots; false when they are singular. */
static bool solve(double a[TERMS][TERMS + 1], int n)
{
	for (int c = 0; c < n; c++) {
		int pivot = c;
		for (int r = c + 1; r < n; r++)
			if (fabs(a[r][c]) > fabs(a[pivot][c]))
				pivot = r;
		if (fabs(a[pivot][c]) < 1e-12)
			return false;
		for (int k = 0; k <= n; k++) {
			double swap = a[c][k];
			a[c][k] = a[pivot][k];
			a[pivot][k] = swap;
		}
		for (int r = 0; r < n; r++) {
			double factor = a[r][c] / a[c][c];
			for (int k = c; r != c && k <= n; k++)
				a[r][k] -= factor * a[c][k];
		}
	}
	return true;
}

/* About the means, so that squares stay small. */
static void terms_of(const struct point *p, bool after, double x[TERMS])
{
	double lift = (p->lift_k - 30.0) / 10.0, air = p->outdoor_c / 10.0;
	x[0] = 1.0;
	x[1] = lift;
	x[2] = air;
	x[3] = air * air;
	x[4] = p->load;
	x[5] = after ? 1.0 : 0.0;
}

/* Sum of squares that is left; *ret_step: the last term's coefficient. */
static bool fit(const struct point *points, size_t count, size_t step_at, int terms,
	double *ret_rest, double *ret_step)
{
	double a[TERMS][TERMS + 1] = {{0}}, x[TERMS];
	for (size_t i = 0; i < count; i++) {
		terms_of(&points[i], i >= step_at, x);
		for (int r = 0; r < terms; r++) {
			for (int c = 0; c < terms; c++)
				a[r][c] += x[r] * x[c];
			a[r][terms] += x[r] * points[i].y;
		}
	}
	/* Lift and air move together along a heating curve: a trace keeps them apart. */
	for (int r = 1; r < TERMS - 1; r++)
		a[r][r] += 1e-6 * (double)count;
	if (!solve(a, terms))
		return false;
	*ret_rest = 0.0;
	for (size_t i = 0; i < count; i++) {
		double y = 0.0;
		terms_of(&points[i], i >= step_at, x);
		for (int r = 0; r < terms; r++)
			y += x[r] * a[r][terms] / a[r][r];
		*ret_rest += (points[i].y - y) * (points[i].y - y);
	}
	*ret_step = a[terms - 1][terms] / a[terms - 1][terms - 1];
	return true;
}

struct step {
	size_t at;
	double step, t;
};

/* t² = (rest without - rest with) / (rest with / degrees of freedom), the F of one term.
 */
static struct step best_step(const struct point *points, size_t count)
{
	struct step best = {0};
	double plain, with, step;
	if (count < (size_t)SIDE_DAYS * 2 ||
		!fit(points, count, count, TERMS - 1, &plain, &step))
		return best;
	for (size_t at = SIDE_DAYS; at + SIDE_DAYS <= count; at++) {
		if (!fit(points, count, at, TERMS, &with, &step) || with <= 0.0)
			continue;
		double f = (plain - with) / (with / (double)(count - TERMS));
		double t = sqrt(fmax(f, 0.0));
		if (step < 0.0 && t > best.t)
			best = (struct step){at, step, t};
	}
	return best;
}

static double mean_before(const struct point *points, size_t at)
{
	double sum = 0.0;
	for (size_t i = 0; i < at; i++)
		sum += points[i].y;
	return sum / (double)at;
}

/* What the unit drew in a mode: other modes' efficiency is not known to have fallen. */
static double unit_of(const struct finding_input *in, struct run run, int mode)
{
	double j = 0.0;
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_EFFICIENCY, mode);
		j += e ? e->values[1] : 0.0;
	}
	return j;
}

static void find_fall(const struct finding_input *in, struct run season, int mode,
	struct finding_list *list)
{
	struct point *points = xcalloc(in->day_count + 1, sizeof(*points));
	size_t count = points_of(in, season, mode, points);
	struct step best = best_step(points, count);
	double share = best.at ? best.step / mean_before(points, best.at) : 0.0;
	if (best.t > T_LEAST && share < -STEP_LEAST) {
		struct run run = {
			points[best.at].day, points[count - 1].day, count - best.at};
		double unit_j = unit_of(in, run, mode);
		char from[16];
		struct finding f = finding_new(in, FINDING_EFFICIENCY_FELL, "", run);
		f.lasts =
			f.lasts || (!in->rows_follow && season.last + 1 == in->day_count);
		f.size = 100.0 * share;
		f.unit = "%";
		f.effect = finding_effect(in, run, 0.0, -unit_j * share);
		f.evidence =
			xasprintf("From %s on it is %.0f %% lower than before at the "
				  "same lift, air and load: %zu days before against "
				  "%zu after (t = %.0f).",
				finding_date(in->days[run.first].start_min, from),
				-f.size, best.at, run.hits, best.t);
		f.remedy = xstrdup(
			"First rule out a sensor: the rest check, flow, and "
			"power against the register. Then, switched off, see the outdoor "
			"unit's fins for leaves and ice and its air path. What "
			"remains is for a qualified refrigeration engineer; do "
			"not open the unit.");
		finding_add(list, &f);
	}
	free(points);
}

void find_efficiency(const struct finding_input *in, struct finding_list *list)
{
	for (size_t d = 0; d < in->day_count;) {
		struct run season = finding_season(in, d);
		find_fall(in, season, MODE_HEATING, list);
		d = season.last + 1;
	}
}
