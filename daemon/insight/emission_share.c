/*
 * The unit's share of Carnot's quotient, by least squares over the minutes of many days.
 *
 * Days keep sums of products about their own means, so that a season, a meter's error, a
 * fault that all of a day shares falls out; they add up. Minutes follow each other, so
 * that the textbook's errors would be far too small: weeks are left out in turn instead
 * (jackknife; common practice of statistics, from memory), which asks nothing of how
 * minutes hang together. What columns cannot be told apart is told by fit.h: the sums'
 * triangular factor is as good as all rows.
 *
 * Rejected: Carnot's quotient with a share that stays (units lose some of it at lower
 * lifts and at low output, and that doubled the saving of an invented plant whose truth
 * is known); and days' means as rows, in which flow, output and air move together by the
 * heating curve.
 */
#include "emission.h"

#include <heatbook/fit.h>

#include <math.h>

enum { TERMS = SHARE_TERMS + 1, PRODUCTS = TERMS * (TERMS + 1) / 2 };
enum { DAYS_A_WEEK = 7 };

const struct evidence *emission_row(const struct insight_day *day, int row)
{
	for (size_t i = 0; i < day->evidence.count; i++) {
		const struct evidence *e = &day->evidence.items[i];
		if (e->kind == EVIDENCE_EMISSION &&
			e->at_min == day->start_ms / MS_PER_MIN + row)
			return e;
	}
	return NULL;
}

struct products {
	double sums[PRODUCTS];
};

static bool products_of(const struct insight_day *day, struct products *ret)
{
	for (int at = 0; at < PRODUCTS; at++) {
		const struct evidence *e =
			emission_row(day, EMISSION_PRODUCTS + at / EVIDENCE_VALUES);
		if (!e || !isfinite(e->values[at % EVIDENCE_VALUES]))
			return false;
		ret->sums[at] = e->values[at % EVIDENCE_VALUES];
	}
	return true;
}

/* The triangular factor R of the sums, RᵀR: its rows have the same least squares as all
 * minutes' together. A column that others tell gets a row of next to nothing. */
static void factor(const struct products *p, double ret[static TERMS * TERMS])
{
	for (int i = 0, at = 0; i < TERMS; i++)
		for (int k = i; k < TERMS; k++, at++) {
			double rest = p->sums[at];
			for (int j = 0; j < i; j++)
				rest -= ret[j * TERMS + i] * ret[j * TERMS + k];
			double head = ret[i * TERMS + i];
			ret[k * TERMS + i] = 0.0;
			ret[i * TERMS + k] = k == i       ? sqrt(fmax(rest, 0.0))
					     : head > 0.0 ? rest / head
							  : 0.0;
		}
}

static int solve(const struct products *p, double ret[static SHARE_TERMS])
{
	double r[TERMS * TERMS] = {0}, x[TERMS * SHARE_TERMS], y[TERMS];
	struct fit fit;
	factor(p, r);
	for (int i = 0; i < TERMS; i++) {
		for (int k = 0; k < SHARE_TERMS; k++)
			x[i * SHARE_TERMS + k] = r[i * TERMS + k];
		y[i] = r[i * TERMS + SHARE_TERMS];
	}
	const struct fit_rows rows = {.n = TERMS, .p = SHARE_TERMS, .x = x, .y = y};
	if (fit_least_squares(&rows, &fit, NULL) != 0)
		return SHARE_DEPENDENT;
	for (int k = 0; k < SHARE_TERMS; k++)
		ret[k] = fit.b[k];
	return 0;
}

/* ---- weeks ---- */

struct weeks {
	struct products *items;
	size_t count;
	int64_t last; /* the number of the last one */
};

static void add_day(struct weeks *w, int64_t week, const struct products *p)
{
	if (w->count == 0 || w->last != week) {
		w->items = xrealloc(w->items, w->count + 1, sizeof(*w->items));
		w->items[w->count++] = (struct products){0};
		w->last = week;
	}
	for (int at = 0; at < PRODUCTS; at++)
		w->items[w->count - 1].sums[at] += p->sums[at];
}

static struct products sum_without(const struct weeks *w, size_t left_out)
{
	struct products sum = {0};
	for (size_t i = 0; i < w->count; i++)
		for (int at = 0; at < PRODUCTS && i != left_out; at++)
			sum.sums[at] += w->items[i].sums[at];
	return sum;
}

/* (g − 1)/g · Σ (b₋ᵢ − b̄)(b₋ᵢ − b̄)ᵀ over g weeks. */
static int jackknife(const struct weeks *w, struct share_law *law)
{
	double(*b)[SHARE_TERMS] = xcalloc(w->count, sizeof(*b));
	double mean[SHARE_TERMS] = {0}, g = (double)w->count;
	int r = 0;
	for (size_t i = 0; r == 0 && i < w->count; i++) {
		struct products sum = sum_without(w, i);
		r = solve(&sum, b[i]);
		for (int k = 0; r == 0 && k < SHARE_TERMS; k++)
			mean[k] += b[i][k] / g;
	}
	for (int j = 0; r == 0 && j < SHARE_TERMS; j++)
		for (int k = 0; k < SHARE_TERMS; k++) {
			double sum = 0.0;
			for (size_t i = 0; i < w->count; i++)
				sum += (b[i][j] - mean[j]) * (b[i][k] - mean[k]);
			law->covariance[j][k] = (g - 1.0) / g * sum;
		}
	free(b);
	return r;
}

int share_law_of(const struct insight_days *days, struct share_law *ret)
{
	struct weeks weeks = {0};
	struct products p;
	int r = SHARE_FEW;
	*ret = (struct share_law){0};
	for (size_t i = 0; i < days->count; i++) {
		const struct insight_day *day = &days->days[i];
		if (!products_of(day, &p))
			continue;
		ret->days++;
		add_day(&weeks, floor_div(day->start_ms, DAYS_A_WEEK * MS_PER_DAY), &p);
	}
	ret->weeks = weeks.count;
	if (weeks.count >= SHARE_WEEKS_LEAST) {
		p = sum_without(&weeks, weeks.count);
		r = solve(&p, ret->b);
		if (r == 0)
			r = jackknife(&weeks, ret);
	}
	free(weeks.items);
	return r;
}

double share_variance(const struct share_law *law, const double g[static SHARE_TERMS])
{
	double sum = 0.0;
	for (int j = 0; j < SHARE_TERMS; j++)
		for (int k = 0; k < SHARE_TERMS; k++)
			sum += g[j] * g[k] * law->covariance[j][k];
	return fmax(sum, 0.0);
}
