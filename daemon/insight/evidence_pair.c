/*
 * The pair of temperature sensors: what it says at rest, when both hold the same water,
 * and whether the return is warmer than the flow while heat is made, or both stand still
 * apart from each other, as pipes do not that cool.
 *
 * Rest: compressor off for 10 min, water circulating for 5, valve settled for 5, no
 * heater in the water: then the difference is the pair's own error (physics: nothing
 * gives the water heat). A control that says standby or off when the unit rests says
 * heating because something heats, a heater that nobody meters perhaps; one that never
 * does tells what is asked for, be it at rest. Who says cooling cools, also without the
 * compressor. Source: heatbook's own rule, common practice of the trade.
 */
#include "evidence.h"

#include <math.h>

enum { OFF_MIN = 10, FLOW_MIN = 5, VALVE_MIN = 5, WINDOWS_MOST = 12 };
enum { ABOVE_MIN = 20, STANDING_MIN = 180 };
#define ABOVE_K           0.3
#define STANDING_K        0.5
#define STANDING_COARSE_K 1.5
#define STORED_K          0.01
#define HEATER_W          50.0
#define HOTTEST_REST_W    150.0 /* of the unit's own supply: a heater within it is off */

/* No electric heater warms the water between the sensors. */
static bool heaters_off(const struct day_view *view, size_t i)
{
	const struct config *config = view->day->config;
	if (view->power_w[i] > HOTTEST_REST_W)
		return false;
	for (size_t m = 0; m < config->meter_count; m++) {
		const int32_t *ms = day_meter_ms(view->day, m);
		if (!(config->meters[m].serves & DEVICE_BACKUP_HEATER))
			continue;
		if (ms[i] == 0 ||
			1000.0 * day_meter_j(view->day, m)[i] / ms[i] > HEATER_W)
			return false;
	}
	return true;
}

struct rest {
	int off, flowing, settled; /* minutes so far */
	bool names_rest;           /* the control says on that day that the unit does */
};

static bool names_rest(const struct day_view *view)
{
	const double *control = view->control;
	for (size_t i = 0; control && i < view->count; i++)
		if (view->running[i] == 0 &&
			(control[i] == OPERATING_STANDBY || control[i] == OPERATING_OFF))
			return true;
	return false;
}

static bool says_work(const struct day_view *view, const struct rest *rest, size_t i)
{
	double says = view->control ? view->control[i] : (double)NAN;
	bool heats = says == OPERATING_HEATING || says == OPERATING_HOT_WATER;
	return says == OPERATING_COOLING || (heats && rest->names_rest);
}

static bool rests(const struct day_view *view, size_t i, struct rest *rest)
{
	bool moved = i > 0 && view->tap[i] != view->tap[i - 1];
	rest->off = view->running[i] == 0 ? rest->off + 1 : 0;
	rest->flowing = view->flowing[i] == 1 ? rest->flowing + 1 : 0;
	rest->settled = moved ? 0 : rest->settled + 1;
	bool makes_heat = running_by_mode(view->day->booked[i].mode) == 1;
	return rest->off > OFF_MIN && rest->flowing > FLOW_MIN && !makes_heat &&
	       rest->settled > VALVE_MIN && !view->frosty[i] && heaters_off(view, i) &&
	       !says_work(view, rest, i) && !isnan(view->flow_c[i] - view->return_c[i]);
}

static void add_rest(const struct day_view *view, size_t from, size_t to)
{
	struct evidence item = evidence_new(view, EVIDENCE_REST, -1);
	double sum = 0.0, most = -INFINITY, lpm = 0.0;
	for (size_t i = from; i < to; i++) {
		double k = view->flow_c[i] - view->return_c[i];
		sum += k;
		most = fmax(most, k);
		lpm += view->rate_lpm ? view->rate_lpm[i] : (double)NAN;
	}
	item.at_min += (int64_t)from;
	item.minutes = (int64_t)(to - from);
	item.values[0] = sum / (double)(to - from);
	item.values[1] = most;
	item.values[2] = lpm / (double)(to - from);
	evidence_add(view->list, &item);
}

void look_at_rest(const struct day_view *view)
{
	struct rest rest = {0};
	size_t begin = 0, windows = 0;
	bool in = false;

	if (!view->flow_c || !view->return_c)
		return;
	rest.names_rest = names_rest(view);
	for (size_t i = 0; i <= view->count && windows < WINDOWS_MOST; i++) {
		bool now = i < view->count && rests(view, i, &rest);
		if (now && !in)
			begin = i;
		if (in && !now) {
			add_rest(view, begin, i);
			windows++;
		}
		in = now;
	}
}

static bool on_grid(double value, double grid, double stored)
{
	return fabs(value - grid * round(value / grid)) < 0.51 * stored;
}

/* The coarsest usual grid that a value lies on; sixteenths and tenths of a degree
 * Fahrenheit are as coarse as tenths. */
static double grid_of(double c)
{
	static const double grids[] = {1.0, 0.5, 0.25, 0.1};
	for (size_t g = 0; g < ARRAY_LEN(grids); g++)
		if (on_grid(c, grids[g], STORED_K))
			return grids[g];
	return on_grid(c, 1.0 / 16.0, STORED_K) ||
			       on_grid(c * 1.8 + 32.0, 0.1, STORED_K * 1.8)
		       ? 0.1
		       : STORED_K;
}

/* Of both pipes the finer one: two coarse sensors stand still by themselves, a step
 * apart. */
static double grid_at(const struct day_view *view, size_t i)
{
	return fmin(grid_of(view->flow_c[i]), grid_of(view->return_c[i]));
}

static bool stands(const struct day_view *view, size_t i)
{
	return i > 0 && view->flowing[i] == 0 && view->flow_c[i] == view->flow_c[i - 1] &&
	       view->return_c[i] == view->return_c[i - 1];
}

/* How far apart no pair of pipes stands still. On a fine grid no last digit does; on one
 * of a tenth and more pipes as warm as their room do, for hours, each at the error of its
 * own sensor: two that are off by 1 K at most. */
static double standing_k(double grid)
{
	return grid + (grid < 0.1 ? STANDING_K : STANDING_COARSE_K);
}

/* The return above the flow while heat is made; both standing still, as sensors do not,
 * with either above. */
enum apart { APART_NOT, ABOVE_MAKING, ABOVE_STANDING, BELOW_STANDING };

static enum apart apart(const struct day_view *view, size_t i)
{
	double k = view->return_c[i] - view->flow_c[i];
	if (isnan(k) || view_may_cool(view, i) || view->frosty[i])
		return APART_NOT;
	if (view->running[i] == 1 && view->flowing[i] == 1)
		return k > ABOVE_K ? ABOVE_MAKING : APART_NOT;
	if (!stands(view, i) || fabs(k) <= standing_k(grid_at(view, i)))
		return APART_NOT;
	return k > 0.0 ? ABOVE_STANDING : BELOW_STANDING;
}

static void add_apart(
	const struct day_view *view, size_t from, size_t to, enum apart what)
{
	int channel = config_role(view->day->config, ROLE_FLOW_TEMPERATURE);
	struct evidence item = evidence_new(view, EVIDENCE_RETURN_ABOVE, -1);
	double sum = 0.0, heat_j = 0.0;
	if ((int64_t)(to - from) < (what == ABOVE_MAKING ? ABOVE_MIN : STANDING_MIN))
		return;
	if (what == BELOW_STANDING) {
		evidence_add_frozen(view, channel, from, to, FROZEN_BY_STANDING,
			view->return_c[from], (double)NAN);
		return;
	}
	for (size_t i = from; i < to; i++) {
		sum += view->return_c[i] - view->flow_c[i];
		heat_j += view->day->booked[i].heat_j;
	}
	item.at_min += (int64_t)from;
	item.minutes = (int64_t)(to - from);
	item.values[0] = sum / (double)(to - from);
	item.values[1] = heat_j;
	item.values[2] = what == ABOVE_STANDING;
	evidence_add(view->list, &item);
}

void look_at_return_above(const struct day_view *view)
{
	size_t begin = 0;
	enum apart before = APART_NOT;

	if (!view->flow_c || !view->return_c)
		return;
	for (size_t i = 0; i <= view->count; i++) {
		enum apart now = i < view->count ? apart(view, i) : APART_NOT;
		if (now != before && before != APART_NOT)
			add_apart(view, begin, i, before);
		if (now != before)
			begin = i;
		before = now;
	}
}
