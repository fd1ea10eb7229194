/*
 * The circuit's pressure between top-ups (circuit_top_up.c): what it would be with cold
 * water.
 *
 * Within a stretch the pressure is a line in the water's temperature, and from some day
 * on in time: a leak begins. That day is the one with the least squares, and counts as
 * one if an F test says so at 99.9 %, since it was looked for; else the line goes through
 * all of the stretch. How fast it leaks is then told by the days behind alone: a line
 * that has to begin where the one before ends leans on the day that was found, and its
 * standard error does not know that this one is unsure (tests/data/circuit_coverage.py).
 */
#include "circuit.h"

#include <heatbook/fit.h>

#include <math.h>

enum { HINGE_BEFORE_END = 7, HINGES_TRIED = 100, COLUMNS_MOST = 4 };
#define MONTH_DAYS 30.4375
#define VARIED_K   0.5 /* standard deviation below which temperature tells nothing */
#define HINGE_SURE 0.999

/* ---- the line of a stretch ---- */

struct line {
	const struct pressure_course *course;
	size_t first, count; /* in the course */
	bool by_water;
	size_t hinge; /* from this day of it on time counts */
	bool parted;  /* and days behind it are free of those before */
};

static double month_of(const struct line *line, size_t i)
{
	const struct pressure_course *c = line->course;
	const struct circuit_point *points = c->circuit->points;
	int64_t ms = points[c->at[line->first + i]].start_ms -
		     points[c->at[line->first + line->hinge]].start_ms;
	return ms > 0 ? (double)ms / (double)MS_PER_DAY / MONTH_DAYS : 0.0;
}

static size_t row_of(const struct line *line, size_t i, double ret[static COLUMNS_MOST])
{
	const struct pressure_course *c = line->course;
	size_t p = 0;
	ret[p++] = 1.0;
	ret[p++] = month_of(line, i);
	if (line->by_water)
		ret[p++] = c->circuit->points[c->at[line->first + i]].water_c -
			   CIRCUIT_COLD_C;
	if (line->parted)
		ret[p++] = i > line->hinge ? 1.0 : 0.0;
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
		const struct pressure_course *c = line->course;
		double k = c->circuit->points[c->at[line->first + i]].water_c;
		sum += k - CIRCUIT_COLD_C;
		squares += (k - CIRCUIT_COLD_C) * (k - CIRCUIT_COLD_C);
	}
	return squares / n - sum / n * (sum / n) > VARIED_K * VARIED_K;
}

/* The better of both, or of hinges [from, to) each `step`; its least squares. */
static void try_hinges(
	struct line *best, struct fit *least, size_t from, size_t to, size_t step)
{
	struct line at = *best;
	struct fit fit;
	for (at.hinge = from; at.hinge < to; at.hinge += step)
		if (solve(&at, &fit, NULL) == 0 && fit.sse < least->sse) {
			*least = fit;
			*best = at;
		}
}

/* Looks for the day on which it begins to go otherwise, of a long stretch by steps first
 * and then about the best of them. */
static bool find_hinge(struct line *line, struct fit *ret)
{
	struct line best = *line;
	struct fit least;
	size_t step = line->count / HINGES_TRIED + 1,
	       end = line->count - HINGE_BEFORE_END;
	if (solve(line, ret, NULL) != 0)
		return false;
	least = *ret;
	try_hinges(&best, &least, step, end, step);
	if (best.hinge > 0 && step > 1)
		try_hinges(&best, &least, best.hinge - step + 1,
			best.hinge + step < end ? best.hinge + step : end, 1);
	double df = (double)line->count - (double)least.p - 1.0;
	double f = (ret->sse - least.sse) / (least.sse / df);
	if (best.hinge == 0 ||
		(least.sse > 0.0 && fisher_f_probability(1.0, df, f) <= HINGE_SURE))
		return true;
	*line = best;
	line->parted = true;
	return solve(line, ret, NULL) == 0;
}

static struct circuit_value interval(double value, double pm)
{
	return (struct circuit_value){value, value - pm, value + pm};
}

static void put_line(const struct line *line, const struct fit *fit, double rho,
	struct circuit_stretch *s)
{
	double row[COLUMNS_MOST];
	double t = circuit_confidence(fit->n, fit->p, rho);
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

static void add_stretch(struct circuit *circuit, const struct pressure_course *c,
	size_t first, size_t end)
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
		put_line(&line, &fit, rho, &s);
		put_points(circuit, &line, s.bar_a_kelvin.value);
		free(residuals);
	}
	circuit->stretches = xrealloc(circuit->stretches, circuit->stretch_count + 1,
		sizeof(*circuit->stretches));
	circuit->stretches[circuit->stretch_count++] = s;
}

static void add_top_up(struct circuit *circuit, const struct pressure_course *c,
	const struct pressure_part *part)
{
	circuit->top_ups = xrealloc(
		circuit->top_ups, circuit->top_up_count + 1, sizeof(*circuit->top_ups));
	circuit->top_ups[circuit->top_up_count++] = (struct circuit_top_up){
		circuit->points[c->at[part->step]].start_ms, part->bar};
}

void circuit_pressure(struct circuit *circuit)
{
	struct pressure_course c;
	struct pressure_part part;
	size_t at = 0;
	pressure_course_init(&c, circuit);
	while (pressure_part_next(&c, &at, &part)) {
		add_stretch(circuit, &c, part.first, part.end);
		if (part.topped_up)
			add_top_up(circuit, &c, &part);
	}
	pressure_course_release(&c);
}
