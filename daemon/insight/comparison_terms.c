/*
 * The models of a comparison: their terms, and what they make of the days after. See
 * comparison.h.
 *
 * What is known of held terms without the days, as standard deviations. Of the season, of
 * heat: a kelvin of outdoor temperature to either side over the year, three tenths in its
 * second harmonic. (Sun through an ordinary house's windows gives some hundred watts more
 * in April than in December; over a heat loss of 200 W/K that is two to four kelvins from
 * winter to summer.) Of efficiency: 1 % to either side and half a percent. The bend of
 * heat over outdoor temperature: three tenths of a kelvin at 10 K from the mean; that of
 * electricity for a kilowatt-hour: 2 % at 10 K, and 5 % at twice the day's heat. They are
 * heatbook's own choice; drawn houses hold them to one false alarm in twenty
 * (check_comparison.c).
 */
#include "comparison_terms.h"

#include <math.h>
#include <string.h>

#define SEASON_K         1.0
#define SEASON_TWICE_K   0.3
#define BEND_K           0.3
#define EFFICIENCY       0.01
#define EFFICIENCY_TWICE 0.005
#define EFFICIENCY_BEND  0.02
#define EFFICIENCY_LOAD  0.05
#define ROOM_K           0.15
#define ROOM_TWICE_K     0.1
#define YEAR_D           365.2425

/* Change with outdoor temperature, without its sign. */
static double slope_of(const struct compared *c, bool whole)
{
	double y_mean = 0.0, xx = 0.0, xy = 0.0, n = (double)c->before;
	for (size_t i = 0; i < c->before; i++)
		y_mean += (whole ? c->days[i].whole_kwh : c->days[i].heat_kwh) / n;
	for (size_t i = 0; i < c->before; i++) {
		const struct comparison_day *day = &c->days[i];
		double x = day->outdoor_c - c->mean_c;
		xx += x * x;
		xy += x * ((whole ? day->whole_kwh : day->heat_kwh) - y_mean);
	}
	return xx > 0.0 ? fabs(xy / xx) : 0.0;
}

void compared_scale(struct compared *c)
{
	double n = (double)c->before, electricity = 0.0;
	for (size_t i = 0; i < c->before; i++) {
		c->mean_c += c->days[i].outdoor_c / n;
		c->heat_mean += c->days[i].heat_kwh / n;
		electricity += c->days[i].electricity_kwh / n;
	}
	c->per_heat = electricity / c->heat_mean;
	c->heat_slope = slope_of(c, false);
	c->whole_slope = slope_of(c, true);
}

static void add(struct terms *t, double x, double held)
{
	t->x[t->count] = x;
	t->held[t->count++] = held;
}

/* Each harmonic held to as much of `unit` as the two sizes say. */
static void add_season(struct terms *t, int64_t day, double by, double once, double twice)
{
	double turn = 2.0 * M_PI * (double)day / YEAR_D;
	add(t, by * cos(turn), once);
	add(t, by * sin(turn), once);
	add(t, by * cos(2.0 * turn), twice);
	add(t, by * sin(2.0 * turn), twice);
}

static void weather_terms(struct terms *t, const struct compared *c,
	const struct comparison_day *day, double slope)
{
	double off_k = day->outdoor_c - c->mean_c;
	add(t, 1.0, 0.0);
	add(t, off_k, 0.0);
	add(t, day->outdoor_before_c - day->outdoor_c, 0.0);
	add(t, off_k * off_k / 100.0, BEND_K * slope);
	add_season(t, day->day, 1.0, SEASON_K * slope, SEASON_TWICE_K * slope);
}

struct terms electricity_terms(
	const struct compared *c, const struct comparison_day *day, double heat_kwh)
{
	struct terms t = {0};
	double off_k = day->outdoor_c - c->mean_c, more = heat_kwh - c->heat_mean;
	add(&t, 1.0, 0.0);
	add(&t, heat_kwh, 0.0);
	add(&t, heat_kwh * off_k, 0.0);
	add(&t, heat_kwh * off_k * off_k / 100.0, EFFICIENCY_BEND * c->per_heat);
	add(&t, more * more / c->heat_mean, EFFICIENCY_LOAD * c->per_heat);
	add_season(&t, day->day, heat_kwh, EFFICIENCY * c->per_heat,
		EFFICIENCY_TWICE * c->per_heat);
	return t;
}

struct terms heat_terms(const struct compared *c, const struct comparison_day *day)
{
	struct terms t = {0};
	weather_terms(&t, c, day, c->heat_slope);
	return t;
}

struct terms whole_terms(const struct compared *c, const struct comparison_day *day)
{
	struct terms t = {0};
	weather_terms(&t, c, day, c->whole_slope);
	return t;
}

static void room_terms(
	struct terms *t, const struct compared *c, const struct comparison_day *day)
{
	add(t, 1.0, 0.0);
	add(t, day->outdoor_c - c->mean_c, 0.0);
	add_season(t, day->day, 1.0, ROOM_K, ROOM_TWICE_K);
}

/* Of the heat that was measured. */
static struct terms terms_of(const struct compared *c, enum comparison_model model,
	const struct comparison_day *day)
{
	struct terms t = {0};
	switch (model) {
	case COMPARISON_HEAT:
		return heat_terms(c, day);
	case COMPARISON_WHOLE:
		return whole_terms(c, day);
	case COMPARISON_ELECTRICITY:
		return electricity_terms(c, day, day->heat_kwh);
	case COMPARISON_ROOM:
	case COMPARISON_MODELS:
		room_terms(&t, c, day);
		break;
	}
	return t;
}

static double measured(const struct comparison_day *day, enum comparison_model model)
{
	switch (model) {
	case COMPARISON_HEAT:
		return day->heat_kwh;
	case COMPARISON_ELECTRICITY:
		/* It goes by the heat. */
		return isnan(day->heat_kwh) ? (double)NAN : day->electricity_kwh;
	case COMPARISON_WHOLE:
		return day->whole_kwh;
	case COMPARISON_ROOM:
	case COMPARISON_MODELS:
		break;
	}
	return day->room_c;
}

double terms_told(const struct fit *fit, const struct terms *t)
{
	double sum = 0.0;
	for (size_t i = 0; i < t->count; i++)
		sum += fit->b[i] * t->x[i];
	return sum;
}

static bool fit_before(
	const struct compared *c, enum comparison_model model, struct made *ret)
{
	_cleanup_(freep) double *x = xcalloc(c->before * FIT_COLUMNS_MOST, sizeof(*x));
	_cleanup_(freep) double *y = xcalloc(c->before, sizeof(*y));
	_cleanup_(freep) double *left = xcalloc(c->before, sizeof(*left));
	_cleanup_(freep) int64_t *when = xcalloc(c->before, sizeof(*when));
	struct terms t = {0};
	size_t n = 0;
	for (size_t i = 0; i < c->before; i++) {
		double value = measured(&c->days[i], model);
		if (isnan(value))
			continue;
		t = terms_of(c, model, &c->days[i]);
		memcpy(x + n * t.count, t.x, t.count * sizeof(*x));
		when[n] = c->days[i].day;
		y[n++] = value;
	}
	if (n < COMPARISON_DAYS_LEAST)
		return false;
	struct held_rows rows = {
		.rows = {n, t.count, x, y}, .when = when, .held = t.held};
	return held_fit_make(&rows, &ret->held, left) == 0;
}

/* Days after may scatter more than those before: then by as much as they do, about the
 * mean that they are off by. */
static double scatter_of(const struct made *m, const double *off)
{
	double before = m->held.fit.residual_sd, mean = 0.0, squares = 0.0;
	for (size_t i = 0; i < m->after; i++)
		mean += off[i] / (double)m->after;
	for (size_t i = 0; i < m->after; i++)
		squares += (off[i] - mean) * (off[i] - mean);
	return m->after < 2 ? before
			    : fmax(before, sqrt(squares / (double)(m->after - 1)));
}

static void sum_after(
	const struct compared *c, enum comparison_model model, struct made *m)
{
	_cleanup_(freep) double *off = xcalloc(c->after + 1, sizeof(*off));
	for (size_t i = c->before; i < c->before + c->after; i++) {
		double value = measured(&c->days[i], model);
		if (isnan(value))
			continue;
		struct terms t = terms_of(c, model, &c->days[i]);
		for (size_t k = 0; k < t.count; k++)
			m->sums[k] += t.x[k];
		m->measured += value;
		off[m->after++] = value - terms_told(&m->held.fit, &t);
	}
	struct fit_prediction foretold = fit_predict_sum(&m->held.fit, m->sums, m->after);
	m->scatter = scatter_of(m, off);
	foretold.of_rows = (double)m->after * m->scatter * m->scatter;
	m->off = foretold.value - m->measured;
	m->half = held_fit_half(&m->held, &foretold, m->sums);
}

void made_of(const struct compared *c, enum comparison_model model, struct made *ret)
{
	*ret = (struct made){0};
	if (!fit_before(c, model, ret))
		return;
	sum_after(c, model, ret);
	ret->known = ret->after >= COMPARISON_DAYS_LEAST;
}

struct comparison_fit made_fit(const struct made *m, enum comparison_model model)
{
	size_t slope = model == COMPARISON_ELECTRICITY ? 2 : 1;
	if (!m->known)
		return (struct comparison_fit){0};
	return (struct comparison_fit){.known = true,
		.days = m->held.days,
		.terms = m->held.fit.p,
		.held = m->held.fit.n - m->held.days,
		.r_squared = m->held.r_squared,
		.cv_rmse_percent = m->held.cv_rmse_percent,
		.rho = m->held.rho,
		.slope = m->held.fit.b[slope],
		.slope_sd = fit_sd(&m->held.fit, slope) * m->held.inflation};
}

/* Its errors are those of heat, day by day times what a kilowatt-hour takes. */
void made_by_heat(const struct compared *c, const struct made *heat,
	const struct made *electricity, double *ret_kwh, double *ret_half)
{
	const struct fit *fit = &electricity->held.fit;
	double weighted[FIT_COLUMNS_MOST] = {0}, squares = 0.0, sum = 0.0;
	for (size_t i = c->before; i < c->before + c->after; i++) {
		const struct comparison_day *day = &c->days[i];
		struct terms h = heat_terms(c, day);
		double heat_kwh = terms_told(&heat->held.fit, &h);
		struct terms foretold = electricity_terms(c, day, heat_kwh);
		struct terms delivered = electricity_terms(c, day, day->heat_kwh);
		double all = terms_told(fit, &foretold);
		double each = heat_kwh > 0.0 ? (all - fit->b[0]) / heat_kwh : c->per_heat;
		sum += all - terms_told(fit, &delivered);
		squares += each * each;
		for (size_t k = 0; k < h.count; k++)
			weighted[k] += each * h.x[k];
	}
	struct fit_prediction p = fit_predict_sum(&heat->held.fit, weighted, 0);
	p.of_rows = squares * heat->scatter * heat->scatter;
	*ret_kwh = sum;
	*ret_half = held_fit_half(&heat->held, &p, weighted);
}
