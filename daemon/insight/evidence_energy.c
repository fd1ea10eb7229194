/*
 * What the day's energies say: efficiency against a published fit (cop_curve.h),
 * stretches of which something is unknown, registers against power.
 *
 * The fit is a yardstick that moves with the conditions, not a verdict: a unit's own
 * quotient to it is compared with itself over time.
 */
#include "evidence.h"

#include <heatbook/balance.h>
#include <heatbook/boundary.h>
#include <heatbook/cop_curve.h>
#include <heatbook/mixture.h>

#include <math.h>

enum { MISSING_MIN = 5 };

struct efficiency {
	int64_t minutes;
	double heat_j, unit_j, fit_j, ideal_j, lift, outdoor;
};

/* Heat's own minutes: sensors of both sides known, one mode for all of the minute. */
static void add_minute(const struct day_view *view, size_t i, struct efficiency *e)
{
	const struct day_booked *b = &view->day->booked[i];
	double lift = view->flow_c[i] - view->outdoor_c[i];
	double unit_j = view->unit_w[i] * 60.0;
	if (b->mode_ms < MS_PER_MIN || b->heat_ms < MS_PER_MIN || b->heat_j <= 0.0 ||
		isnan(lift) || isnan(unit_j))
		return;
	double ideal = cop_carnot(
		view->flow_c[i], view->flow_c[i] - fmax(lift, COP_LEAST_LIFT_K));
	e->minutes++;
	e->heat_j += b->heat_j;
	e->unit_j += unit_j;
	e->fit_j += b->heat_j / cop_of_2019(lift);
	e->ideal_j += b->heat_j / ideal;
	e->lift += b->heat_j * lift;
	e->outdoor += b->heat_j * view->outdoor_c[i];
}

static void look_mode(const struct day_view *view, enum mode mode)
{
	struct efficiency e = {0};
	for (size_t i = 0; i < view->count; i++)
		if (view->day->booked[i].mode == (int)mode)
			add_minute(view, i, &e);
	if (e.minutes == 0 || e.heat_j <= 0.0)
		return;
	struct evidence item = evidence_new(view, EVIDENCE_EFFICIENCY, (int)mode);
	item.minutes = e.minutes;
	item.values[0] = e.heat_j;
	item.values[1] = e.unit_j;
	item.values[2] = e.fit_j;
	item.values[3] = e.lift / e.heat_j;
	item.values[4] = e.ideal_j;
	item.values[5] = e.outdoor / e.heat_j;
	evidence_add(view->list, &item);
}

void look_at_efficiency(const struct day_view *view)
{
	if (!view->flow_c || !view->outdoor_c || !unit_is_told(view->day->config))
		return;
	look_mode(view, MODE_HEATING);
	look_mode(view, MODE_HOT_WATER);
}

/* ---- what is unknown ---- */

/* What the fluid has to do with it that heat is unknown. */
static int beyond_fluid(const struct day_view *view, size_t i)
{
	const struct plant_config *plant = &view->day->config->plant;
	if (plant->heat_source != HEAT_COMPUTED || !view->flow_c || !view->return_c ||
		(view->rate_lpm && isnan(view->rate_lpm[i])))
		return 0;
	double flow = view->flow_c[i], back = view->return_c[i];
	if (isnan(flow) || isnan(back))
		return 0;
	return fmin(flow, back) < mixture_least_c(plant->fluid, plant->fluid_percent)
		       ? MISSING_COLD
	       : fmax(flow, back) > MIXTURE_MOST_C ? MISSING_HOT
						   : 0;
}

static int missing_of(const struct day_view *view, size_t i)
{
	const struct config *config = view->day->config;
	int missing = view->day->booked[i].heat_ms < MS_PER_MIN / 2
			      ? MISSING_HEAT | beyond_fluid(view, i)
			      : 0;
	for (size_t m = 0; m < config->meter_count; m++)
		if (day_meter_ms(view->day, m)[i] < MS_PER_MIN / 2)
			missing |= MISSING_ELECTRICITY;
	if (view->known[i] == 0)
		missing |= MISSING_ALL;
	return missing;
}

/* What the unit draws in standby; NaN where it never drew anything. */
static double least_w(const struct day_view *view)
{
	double least = (double)NAN;
	for (size_t i = 0; i < view->count; i++)
		if (view->unit_w[i] >= 1.0)
			least = fmin(
				least, view->unit_w[i]); /* of NaN and a number this */
	return least;
}

/* What is booked to minutes of which a meter knew nothing is its register's. What it knew
 * for some seconds may be the edge of a span. */
static double bridged_j(const struct day_view *view, size_t m, size_t i)
{
	double booked = day_meter_j(view->day, m)[i];
	bool knew = day_meter_ms(view->day, m)[i] > 0;
	return knew || isnan(booked) ? 0.0 : booked;
}

static void add_missing(const struct day_view *view, size_t from, size_t to, int what)
{
	struct evidence item = evidence_new(view, EVIDENCE_MISSING, -1);
	double j = 0.0;
	if (what == 0 || to - from < MISSING_MIN)
		return;
	for (size_t m = 0; m < view->day->config->meter_count; m++)
		for (size_t i = from; i < to; i++)
			j += bridged_j(view, m, i);
	item.at_min += (int64_t)from;
	item.minutes = (int64_t)(to - from);
	item.values[0] = what;
	item.values[1] = j;
	item.values[2] = least_w(view);
	evidence_add(view->list, &item);
}

void look_at_missing(const struct day_view *view)
{
	size_t begin = 0;
	int before = 0;
	for (size_t i = 0; i <= view->count; i++) {
		int now = i < view->count ? missing_of(view, i) : -1;
		if (now == before)
			continue;
		add_missing(view, begin, i, before);
		begin = i;
		before = now;
	}
}

/* ---- registers ---- */

static void look_register(const struct day_view *view, enum evidence_kind kind,
	int subject, size_t quantity)
{
	const struct register_day *r = &view->registers[quantity];
	struct evidence item = evidence_new(view, kind, subject);
	if (r->minutes == 0)
		return;
	item.minutes = r->minutes;
	item.values[0] = r->register_j;
	item.values[1] = r->power_j;
	evidence_add(view->list, &item);
}

void look_at_registers(const struct day_view *view)
{
	if (!view->registers)
		return;
	for (size_t m = 0; m < view->day->config->meter_count; m++)
		look_register(view, EVIDENCE_REGISTER, (int)m, m);
	look_register(view, EVIDENCE_HEAT_REGISTER, -1, COUNTED_HEAT);
}

/* ---- apparent power ---- */

/* What true meters that feed the same drew, W; NaN where one of them is unknown. */
static double beside_w(const struct day_view *view, unsigned beside, size_t i)
{
	double w = 0.0;
	for (size_t m = 0; m < view->day->config->meter_count; m++) {
		int32_t ms = day_meter_ms(view->day, m)[i];
		if (beside & 1u << m)
			w += ms >= MS_PER_MIN / 2
				     ? 1000.0 * day_meter_j(view->day, m)[i] / ms
				     : (double)NAN;
	}
	return w;
}

static void look_apparent(const struct day_view *view, size_t m, unsigned beside)
{
	const double *j = day_meter_j(view->day, m);
	const int32_t *ms = day_meter_ms(view->day, m);
	struct evidence item = evidence_new(view, EVIDENCE_APPARENT, (int)m);
	for (int k = 0; k < 4; k++)
		item.values[k] = 0.0;
	for (size_t i = 0; i < view->count; i++) {
		double truly_w = beside_w(view, beside, i);
		if (ms[i] < MS_PER_MIN / 2 || isnan(truly_w) || view->running[i] < 0)
			continue;
		int at = view->running[i] ? 0 : 2;
		item.minutes++;
		item.values[at] += 60.0 * 1000.0 * j[i] / ms[i];
		item.values[at + 1] += 60.0 * truly_w;
	}
	if (item.minutes > 0)
		evidence_add(view->list, &item);
}

void look_at_apparent(const struct day_view *view)
{
	for (size_t m = 0; m < view->day->config->meter_count; m++) {
		unsigned beside = boundary_beside(view->day->config, m);
		if (beside)
			look_apparent(view, m, beside);
	}
}
