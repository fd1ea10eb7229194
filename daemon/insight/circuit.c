/*
 * See circuit.h. Pressure: circuit_pressure.c.
 */
#include "circuit.h"

#include "evidence_days.h"

#include <heatbook/fit.h>

#include <math.h>

enum { COLUMNS_MOST = 3 };
#define MONTH_DAYS      30.4375
#define CONFIDENCE      0.95
#define RHO_MOST        0.95
#define WORTH_LEAST     2.0
#define FLOW_SELDOM_MIN 10.0 /* a value for so long is of standing water in part */
#define VARIED_K        2.0  /* of the outdoor temperature, from which it may tell */

static const struct circuit_value unknown = {(double)NAN, (double)NAN, (double)NAN};

/* ---- the days ---- */

static const struct evidence *item_of(
	const struct insight_day *day, enum evidence_kind kind)
{
	for (size_t i = 0; i < day->evidence.count; i++)
		if (day->evidence.items[i].kind == kind)
			return &day->evidence.items[i];
	return NULL;
}

static bool is_seldom(const struct insight_day *day)
{
	for (size_t i = 0; i < day->evidence.count; i++)
		if (day->evidence.items[i].kind == EVIDENCE_SLOW &&
			day->evidence.items[i].values[0] >= FLOW_SELDOM_MIN)
			return true;
	return false;
}

static void take_cylinder(
	struct circuit *circuit, const struct evidence *e, struct circuit_point *p)
{
	p->cylinder_c = e->values[0];
	p->hot_min = (double)e->minutes;
	circuit->cylinder_days += 1.0;
	if (e->minutes > 0)
		circuit->last_hot_ms = (e->at_min + 1) * MS_PER_MIN;
}

static void take_day(
	struct circuit *circuit, const struct insight_day *day, struct circuit_point *p)
{
	const double nan = (double)NAN;
	const struct evidence *flow = item_of(day, EVIDENCE_FLOW);
	const struct evidence *pressure = item_of(day, EVIDENCE_PRESSURE);
	const struct evidence *cylinder = item_of(day, EVIDENCE_CYLINDER);
	bool flows = flow && !is_seldom(day);
	*p = (struct circuit_point){.start_ms = day->start_ms,
		.end_ms = day->end_ms,
		.heating_lpm = flows ? evidence_heating_flow(flow) : nan,
		.hot_water_lpm = flows ? evidence_tap_flow(flow) : nan,
		.outdoor_c = day->outdoor_c,
		.bar = pressure ? pressure->values[0] : nan,
		.water_c = pressure ? pressure->values[1] : nan,
		.least_bar = pressure ? pressure->values[2] : nan,
		.most_bar = pressure ? pressure->values[3] : nan,
		.cold_bar = nan,
		.cylinder_c = nan,
		.hot_min = nan};
	if (cylinder)
		take_cylinder(circuit, cylinder, p);
	circuit->days_looked += day->looked;
}

/* ---- flow ---- */

typedef double point_flow(const struct circuit_point *p);

static double heating_of(const struct circuit_point *p)
{
	return p->heating_lpm;
}

static double hot_water_of(const struct circuit_point *p)
{
	return p->hot_water_lpm;
}

/* Rows of days that tell, in months from the last of them. */
struct flow_rows {
	double *x, *y, *residuals;
	int64_t *when;
	size_t n, p;
};

static bool outdoor_tells(const struct circuit *c, point_flow *flow)
{
	double least = INFINITY, most = -INFINITY;
	for (size_t i = 0; i < c->count; i++) {
		if (isnan(flow(&c->points[i])))
			continue;
		if (isnan(c->points[i].outdoor_c))
			return false;
		least = fmin(least, c->points[i].outdoor_c);
		most = fmax(most, c->points[i].outdoor_c);
	}
	return most - least >= VARIED_K;
}

static double outdoor_mean(const struct circuit *c, point_flow *flow)
{
	double sum = 0.0, n = 0.0;
	for (size_t i = 0; i < c->count; i++)
		if (!isnan(flow(&c->points[i]))) {
			sum += c->points[i].outdoor_c;
			n += 1.0;
		}
	return sum / n;
}

static void lay_rows(const struct circuit *c, point_flow *flow, struct flow_rows *ret)
{
	bool outdoor = outdoor_tells(c, flow);
	double mean_c = outdoor ? outdoor_mean(c, flow) : 0.0;
	int64_t last_ms = 0;
	*ret = (struct flow_rows){.p = outdoor ? 3 : 2};
	ret->x = xcalloc(c->count + 1, (COLUMNS_MOST + 2) * sizeof(*ret->x));
	ret->y = ret->x + COLUMNS_MOST * c->count;
	ret->residuals = ret->y + c->count;
	ret->when = xcalloc(c->count + 1, sizeof(*ret->when));
	for (size_t i = 0; i < c->count; i++)
		if (!isnan(flow(&c->points[i])))
			last_ms = c->points[i].start_ms;
	for (size_t i = 0; i < c->count; i++) {
		const struct circuit_point *p = &c->points[i];
		double *row = ret->x + ret->n * ret->p;
		if (isnan(flow(p)))
			continue;
		row[0] = 1.0;
		row[1] =
			(double)(p->start_ms - last_ms) / (double)MS_PER_DAY / MONTH_DAYS;
		if (outdoor)
			row[2] = p->outdoor_c - mean_c;
		ret->y[ret->n] = flow(p);
		ret->when[ret->n++] = (int64_t)i;
	}
}

/* Residuals of p coefficients hang less on each other than errors do, by (p + 4·rho)/n on
 * average (of a mean, p = 1, Kendall 1954; from memory), and so many rows are worth fewer
 * independent ones in the quantile, too. Without both, of drawn lines with a correlation
 * of 0.7 over 40 days only 86 % held the truth (tests/data/circuit_coverage.py). */
double circuit_confidence(size_t n, size_t p, double rho)
{
	double rows = (double)n, columns = (double)p;
	double of_errors = isnan(rho) ? 0.0 : rho + (columns + 4.0 * rho) / rows;
	of_errors = fmin(fmax(of_errors, 0.0), RHO_MOST);
	double worth = (rows - columns) * (1.0 - of_errors) / (1.0 + of_errors);
	return student_t(fmax(worth, WORTH_LEAST), CONFIDENCE) * fit_inflation(of_errors);
}

static struct circuit_value interval(double value, double pm)
{
	return (struct circuit_value){value, value - pm, value + pm};
}

static void judge_flow(
	const struct circuit *c, point_flow *flow, struct circuit_flow *ret)
{
	struct flow_rows rows;
	struct fit fit;
	lay_rows(c, flow, &rows);
	*ret = (struct circuit_flow){unknown, unknown, unknown, rows.n};
	const struct fit_rows of = {.n = rows.n, .p = rows.p, .x = rows.x, .y = rows.y};
	if (rows.n >= CIRCUIT_DAYS_LEAST &&
		fit_least_squares(&of, &fit, rows.residuals) == 0) {
		double rho = fit_autocorrelation(rows.residuals, rows.when, rows.n);
		double t = circuit_confidence(fit.n, fit.p, rho);
		double percent = 100.0 / fit.b[0];
		ret->lpm = interval(fit.b[0], t * fit_sd(&fit, 0));
		ret->lpm_a_month = interval(fit.b[1], t * fit_sd(&fit, 1));
		ret->percent_a_month =
			interval(percent * fit.b[1], fabs(percent) * t * fit_sd(&fit, 1));
	}
	free(rows.x);
	free(rows.when);
}

/* ---- the answer ---- */

static void put(struct insight_answer *answer, const char *name, const char *ucum,
	int decimals, const struct circuit_value *v)
{
	insight_put(answer, name, ucum, decimals, v->value, v->low, v->high);
}

static void answer_flow(struct circuit *c)
{
	struct insight_answer *answer = &c->answer;
	if (config_role(c->frame.config, ROLE_FLOW_RATE) < 0) {
		insight_lacks(answer, "No channel has the role flow_rate.");
		return;
	}
	put(answer, "heating_flow", "L/min", 3, &c->heating.lpm);
	put(answer, "heating_flow_a_month", "%", 3, &c->heating.percent_a_month);
	put(answer, "hot_water_flow", "L/min", 3, &c->hot_water.lpm);
	put(answer, "hot_water_flow_a_month", "%", 3, &c->hot_water.percent_a_month);
	if (isnan(c->heating.lpm.value) && isnan(c->hot_water.lpm.value))
		insight_lacks(answer,
			"Days with half an hour of heating, or ten minutes of hot water, "
			"whose flow is known: %zu and %zu, and it takes %d.",
			c->heating.days, c->hot_water.days, CIRCUIT_DAYS_LEAST);
}

static void answer_pressure(struct circuit *c)
{
	struct insight_answer *answer = &c->answer;
	const struct circuit_stretch *s =
		c->stretch_count ? &c->stretches[c->stretch_count - 1] : NULL;
	if (config_role(c->frame.config, ROLE_WATER_PRESSURE) < 0) {
		insight_lacks(answer, "No channel has the role water_pressure.");
		return;
	}
	if (s)
		insight_put_seen(answer, "top_ups", "1", 0, (double)c->top_up_count);
	if (s && s->told) {
		put(answer, "cold_pressure", "bar", 4, &s->cold_bar);
		put(answer, "cold_pressure_a_month", "bar", 4, &s->bar_a_month);
		return;
	}
	insight_lacks(answer,
		"Days since the last top-up, or of the span, whose pressure and water "
		"temperature are known: %zu, and it takes %d.",
		s ? s->days : 0, CIRCUIT_DAYS_LEAST);
}

static void answer_cylinder(struct circuit *c)
{
	struct insight_answer *answer = &c->answer;
	if (config_role(c->frame.config, ROLE_CYLINDER_TEMPERATURE) < 0)
		insight_lacks(answer, "No channel has the role cylinder_temperature.");
	else if (c->last_hot_ms == INT64_MIN)
		insight_lacks(answer,
			"On %.0f days of the span the cylinder's temperature is known, "
			"and it was never seen at 60 °C.",
			c->cylinder_days);
	else
		insight_put_seen(answer, "hours_since_60", "h", 2,
			(double)(c->frame.to_ms - c->last_hot_ms) / (double)MS_PER_HOUR);
}

void circuit_of(const struct insight_days *days, struct circuit *ret)
{
	*ret = (struct circuit){.frame = *days,
		.span_days = days->count,
		.count = days->count,
		.last_hot_ms = INT64_MIN};
	ret->frame.days = NULL;
	ret->frame.count = 0;
	ret->points = xcalloc(days->count + 1, sizeof(*ret->points));
	for (size_t i = 0; i < days->count; i++)
		take_day(ret, &days->days[i], &ret->points[i]);
	judge_flow(ret, heating_of, &ret->heating);
	judge_flow(ret, hot_water_of, &ret->hot_water);
	circuit_pressure(ret);
	answer_flow(ret);
	answer_pressure(ret);
	answer_cylinder(ret);
}

void circuit_release(struct circuit *circuit)
{
	insight_release(&circuit->answer);
	free(circuit->points);
	free(circuit->stretches);
	free(circuit->top_ups);
}
