/*
 * The circuit's pressure: top-ups, and what it would be with cold water between them.
 *
 * A top-up is a step upward that the water's temperature does not explain: three days
 * behind it stand higher than three before it, by a tenth of a bar at least (own
 * judgement; days of the demo plant scatter by some hundredths). Within a stretch the
 * pressure is a line in the water's temperature, and from some day on in time: a leak
 * begins. That day is the one with the least squares, and counts as one if an F test says
 * so at 99.9 %, since it was looked for; else the line goes through all of the stretch.
 */
#include "circuit.h"

#include "evidence_days.h"

#include <heatbook/fit.h>

#include <math.h>

enum { AROUND = 3, HINGE_BEFORE_END = 7, COLUMNS_MOST = 3 };
#define TOP_UP_BAR 0.1
#define MONTH_DAYS 30.4375
#define VARIED_K   0.5 /* standard deviation below which temperature tells nothing */
#define CONFIDENCE 0.95
#define HINGE_SURE 0.999

/* Days that have a pressure and a temperature: places among the points. */
struct course {
	const struct circuit *circuit;
	size_t *at;
	double *bar; /* as with cold water, by neighbours' slope */
	size_t count;
};

/* Of three. */
static double middle(const double v[static AROUND])
{
	return fmax(fmin(v[0], v[1]), fmin(fmax(v[0], v[1]), v[2]));
}

static void course_init(struct course *c, const struct circuit *circuit)
{
	double *bar = xcalloc(2 * circuit->count + 1, sizeof(*bar));
	double *water_c = bar + circuit->count;
	*c = (struct course){.circuit = circuit};
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

/* By how much the days behind `i` stand higher than those before it; 0 at the ends. */
static double step_at(const struct course *c, size_t i)
{
	if (i < AROUND || i + AROUND >= c->count)
		return 0.0;
	return middle(c->bar + i + 1) - middle(c->bar + i - AROUND);
}

/* The greatest near it, and steep where it is. */
static bool is_top_up(const struct course *c, size_t i)
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

/* ---- the line of a stretch ---- */

struct line {
	const struct course *course;
	size_t first, count; /* in the course */
	bool by_water;
	size_t hinge; /* from this day of it on time counts */
};

static double month_of(const struct line *line, size_t i)
{
	const struct course *c = line->course;
	const struct circuit_point *points = c->circuit->points;
	int64_t ms = points[c->at[line->first + i]].start_ms -
		     points[c->at[line->first + line->hinge]].start_ms;
	return ms > 0 ? (double)ms / (double)MS_PER_DAY / MONTH_DAYS : 0.0;
}

static size_t row_of(const struct line *line, size_t i, double ret[static COLUMNS_MOST])
{
	const struct course *c = line->course;
	size_t p = 0;
	ret[p++] = 1.0;
	ret[p++] = month_of(line, i);
	if (line->by_water)
		ret[p++] = c->circuit->points[c->at[line->first + i]].water_c -
			   CIRCUIT_COLD_C;
	return p;
}

static int solve(const struct line *line, struct fit *ret, double *ret_residuals)
{
	double *x = xcalloc(line->count, (COLUMNS_MOST + 1) * sizeof(*x));
	double *y = x + COLUMNS_MOST * line->count;
	size_t p = 0;
	for (size_t i = 0; i < line->count; i++) {
		double row[COLUMNS_MOST];
		p = row_of(line, i, row);
		for (size_t k = 0; k < p; k++)
			x[i * p + k] = row[k];
		y[i] = line->course->circuit->points[line->course->at[line->first + i]]
			       .bar;
	}
	const struct fit_rows rows = {.n = line->count, .p = p, .x = x, .y = y};
	int r = fit_least_squares(&rows, ret, ret_residuals);
	free(x);
	return r;
}

static bool water_varies(const struct line *line)
{
	double sum = 0.0, squares = 0.0, n = (double)line->count;
	for (size_t i = 0; i < line->count; i++) {
		const struct course *c = line->course;
		double k = c->circuit->points[c->at[line->first + i]].water_c;
		sum += k - CIRCUIT_COLD_C;
		squares += (k - CIRCUIT_COLD_C) * (k - CIRCUIT_COLD_C);
	}
	return squares / n - sum / n * (sum / n) > VARIED_K * VARIED_K;
}

/* Looks for the day on which it begins to go otherwise; steps of a hundredth of a long
 * stretch are enough. */
static bool find_hinge(struct line *line, struct fit *ret)
{
	struct line best = *line, at = *line;
	struct fit fit, least;
	size_t step = line->count / 100 + 1;
	if (solve(line, &fit, NULL) != 0)
		return false;
	least = *ret = fit;
	for (at.hinge = step; at.hinge + HINGE_BEFORE_END < line->count; at.hinge += step)
		if (solve(&at, &fit, NULL) == 0 && fit.sse < least.sse) {
			least = fit;
			best = at;
		}
	double df = (double)line->count - (double)least.p - 1.0;
	double f = (ret->sse - least.sse) / (least.sse / df);
	if (best.hinge > 0 &&
		(!(least.sse > 0.0) || fisher_f_probability(1.0, df, f) > HINGE_SURE)) {
		*line = best;
		*ret = least;
	}
	return true;
}

static struct circuit_value interval(double value, double pm)
{
	return (struct circuit_value){value, value - pm, value + pm};
}

static void put_line(const struct line *line, const struct fit *fit, double inflation,
	struct circuit_stretch *s)
{
	double row[COLUMNS_MOST];
	double t = student_t((double)(fit->n - fit->p), CONFIDENCE) * inflation;
	(void)row_of(line, line->count - 1, row);
	if (line->by_water)
		row[2] = 0.0;
	struct fit_prediction end = fit_predict(fit, row);
	s->told = true;
	s->cold_bar = interval(end.value, t * sqrt(end.of_model));
	s->bar_a_month = interval(fit->b[1], t * fit_sd(fit, 1));
	s->bar_a_kelvin = line->by_water ? interval(fit->b[2], t * fit_sd(fit, 2))
					 : (struct circuit_value){0.0, 0.0, 0.0};
	s->since_ms =
		line->course->circuit->points[line->course->at[line->first + line->hinge]]
			.start_ms;
}

/* Days as they would be with cold water. */
static void put_points(
	struct circuit *circuit, const struct line *line, double bar_a_kelvin)
{
	for (size_t i = 0; i < line->count; i++) {
		struct circuit_point *p =
			&circuit->points[line->course->at[line->first + i]];
		p->cold_bar = p->bar - bar_a_kelvin * (p->water_c - CIRCUIT_COLD_C);
	}
}

static void add_stretch(
	struct circuit *circuit, const struct course *c, size_t first, size_t end)
{
	struct line line = {.course = c, .first = first, .count = end - first};
	struct circuit_stretch s = {.days = end - first};
	struct fit fit;
	if (end <= first)
		return;
	s.from_ms = circuit->points[c->at[first]].start_ms;
	s.to_ms = circuit->points[c->at[end - 1]].end_ms;
	line.by_water = water_varies(&line);
	if (line.count >= CIRCUIT_DAYS_LEAST && find_hinge(&line, &fit)) {
		double *residuals = xcalloc(line.count, sizeof(*residuals));
		(void)solve(&line, &fit, residuals);
		double rho = fit_autocorrelation(residuals, NULL, line.count);
		put_line(&line, &fit, fit_inflation(rho), &s);
		put_points(circuit, &line, s.bar_a_kelvin.value);
		free(residuals);
	}
	circuit->stretches = xrealloc(circuit->stretches, circuit->stretch_count + 1,
		sizeof(*circuit->stretches));
	circuit->stretches[circuit->stretch_count++] = s;
}

static void add_top_up(struct circuit *circuit, const struct course *c, size_t i)
{
	circuit->top_ups = xrealloc(
		circuit->top_ups, circuit->top_up_count + 1, sizeof(*circuit->top_ups));
	circuit->top_ups[circuit->top_up_count++] = (struct circuit_top_up){
		circuit->points[c->at[i]].start_ms, step_at(c, i)};
}

void circuit_pressure(struct circuit *circuit)
{
	struct course c;
	size_t first = 0;
	course_init(&c, circuit);
	for (size_t i = 0; i < c.count; i++) {
		if (!is_top_up(&c, i))
			continue;
		add_top_up(circuit, &c, i);
		add_stretch(circuit, &c, first, i);
		first = i + 1; /* its day is of both */
	}
	add_stretch(circuit, &c, first, c.count);
	free(c.at);
	free(c.bar);
}
