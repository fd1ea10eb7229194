/*
 * Flow and pressure, power of the wrong sign, a compressor without flow, the outdoor
 * sensor, the immersion heater: one look each.
 */
#include "evidence.h"
#include "evidence_days.h"

#include <heatbook/habit.h>
#include <heatbook/runs.h>

#include <math.h>

enum { STRETCH_MIN = 5, SETTLE_MIN = 3 };
#define NEGATIVE_W (-20.0)

static void look_negative(const struct day_view *view, int channel)
{
	const double *w = day_values(view->day, channel);
	struct evidence item = evidence_new(view, EVIDENCE_POWER_NEGATIVE, channel);
	double sum = 0.0;
	for (size_t i = view->count; i-- > 0;)
		if (view->running[i] == 1 && w[i] < NEGATIVE_W) {
			sum += w[i];
			item.minutes++;
			item.at_min = view->day->start_min + (int64_t)i;
		}
	if (item.minutes < STRETCH_MIN)
		return;
	item.values[0] = sum / (double)item.minutes;
	item.values[1] = 60.0 * sum;
	evidence_add(view->list, &item);
}

void look_at_negative_power(const struct day_view *view)
{
	const struct config *config = view->day->config;
	for (size_t m = 0; m < config->meter_count; m++)
		for (size_t p = 0; p < config->meters[m].power_count; p++)
			if (config->meters[m].feeds & DEVICE_COMPRESSOR)
				look_negative(view, config->meters[m].power[p]);
}

/* What draws as little as at rest does not run, whatever its frequency says: that one is
 * at fault, then. The sign is a clamp's. */
static bool draws_little(const struct day_view *view, size_t i)
{
	return fabs(view->unit_w[i]) < view->day->config->modes.compressor_on_w;
}

/* Starts and stops are left out: pump and compressor need not be of one minute. */
void look_at_flow_zero(const struct day_view *view)
{
	struct evidence item = evidence_new(view, EVIDENCE_FLOW_ZERO, -1);
	size_t stretch = 0;
	double stretch_j = 0.0, sum_j = 0.0;
	for (size_t i = 0; i <= view->count; i++) {
		if (i < view->count && view->running[i] == 1 && view->flowing[i] == 0 &&
			!draws_little(view, i)) {
			stretch++;
			stretch_j +=
				isnan(view->unit_w[i]) ? 0.0 : view->unit_w[i] * 60.0;
			continue;
		}
		if (stretch >= STRETCH_MIN) {
			if (item.minutes == 0)
				item.at_min += (int64_t)(i - stretch);
			item.minutes += (int64_t)stretch;
			sum_j += stretch_j;
		}
		stretch = 0;
		stretch_j = 0.0;
	}
	item.values[0] = sum_j;
	if (item.minutes > 0)
		evidence_add(view->list, &item);
}

/* The service that water goes to: by the valve, else, where no flag tells one, by the
 * mode that rules booked. Else hot water, whose flow is its own, would be taken for
 * heating's, and most in summer. */
static bool serves_tap(const struct day_view *view, size_t i)
{
	if (view->tap[i] >= 0)
		return view->tap[i] == 1;
	return view->day->booked[i].mode == MODE_HOT_WATER;
}

void look_at_flow(const struct day_view *view)
{
	struct evidence item = evidence_new(view, EVIDENCE_FLOW, -1);
	double *heating = xcalloc(2 * view->count + 1, sizeof(*heating));
	double *hot_water = heating + view->count;
	size_t heating_count = 0, tap_count = 0, since = 0, changes = 0;
	for (size_t i = 0; i < view->count; i++) {
		bool settled = view->running[i] == 1 && view->flowing[i] == 1 &&
			       !view->frosty[i];
		bool tap = serves_tap(view, i);
		if (i > 0 && tap != serves_tap(view, i - 1))
			settled = false;
		since = settled ? since + 1 : 0;
		if (since <= SETTLE_MIN)
			continue;
		changes += view->rate_lpm[i] != view->rate_lpm[i - 1];
		if (tap)
			hot_water[tap_count++] = view->rate_lpm[i];
		else
			heating[heating_count++] = view->rate_lpm[i];
	}
	item.minutes = (int64_t)heating_count;
	item.values[0] = evidence_median(heating, heating_count);
	item.values[1] = evidence_median(hot_water, tap_count);
	item.values[2] = (double)tap_count;
	item.values[3] = (double)changes / (double)(heating_count + tap_count);
	if (heating_count + tap_count > 0)
		evidence_add(view->list, &item);
	free(heating);
}

enum { FLOW_LEAST_MIN = 30 };

double evidence_heating_flow(const struct evidence *flow)
{
	return flow->minutes >= FLOW_LEAST_MIN ? flow->values[0] : (double)NAN;
}

double evidence_tap_flow(const struct evidence *flow)
{
	return flow->values[2] >= FLOW_LEAST_MIN / 3.0 ? flow->values[1] : (double)NAN;
}

/* With its mean temperature, since warm water stands higher. */
void look_at_pressure(const struct day_view *view)
{
	const double *bar = day_values(
		view->day, config_role(view->day->config, ROLE_WATER_PRESSURE));
	struct evidence item = evidence_new(view, EVIDENCE_PRESSURE, -1);
	double sum = 0.0, sum_c = 0.0, least = INFINITY, most = -INFINITY;
	double coldest = INFINITY, warmest = -INFINITY;
	size_t warm = 0;
	if (!bar)
		return;
	for (size_t i = 0; i < view->count; i++) {
		double c = view->flow_c && view->return_c
				   ? (view->flow_c[i] + view->return_c[i]) / 2.0
				   : (double)NAN;
		if (isnan(bar[i]))
			continue;
		item.minutes++;
		sum += bar[i];
		least = fmin(least, bar[i]);
		most = fmax(most, bar[i]);
		if (!isnan(c)) {
			warm++;
			sum_c += c;
			coldest = fmin(coldest, c);
			warmest = fmax(warmest, c);
		}
	}
	if (item.minutes == 0)
		return;
	item.values[0] = sum / (double)item.minutes;
	item.values[1] = warm ? sum_c / (double)warm : (double)NAN;
	item.values[2] = least;
	item.values[3] = most;
	item.values[4] = warm ? warmest - coldest : (double)NAN;
	evidence_add(view->list, &item);
}

#define EXPANSION_LEAST_K 2.0 /* between neighbours that tell a slope */

double evidence_expansion(const double *bar, const double *water_c, size_t count)
{
	double *slopes = xcalloc(count + 1, sizeof(*slopes));
	size_t n = 0;
	for (size_t i = 1; i < count; i++) {
		double slope = (bar[i] - bar[i - 1]) / (water_c[i] - water_c[i - 1]);
		if (fabs(water_c[i] - water_c[i - 1]) >= EXPANSION_LEAST_K &&
			!isnan(slope))
			slopes[n++] = slope;
	}
	double slope = evidence_median(slopes, n);
	free(slopes);
	return isnan(slope) || slope < 0.0 ? 0.0 : slope;
}

enum { HUMP_MIN = 90, HALF_DAY_MIN = 720 };

/* The highest hump: what lies above both an hour and a half before and after. */
void look_at_outdoor(const struct day_view *view)
{
	const double *c = view->outdoor_c;
	struct evidence item = evidence_new(view, EVIDENCE_OUTDOOR, -1);
	double sum = 0.0, most = -INFINITY;
	for (size_t i = 0; c && i < view->count; i++) {
		if (isnan(c[i]))
			continue;
		item.minutes++;
		sum += c[i];
		if (i < HUMP_MIN || i + HUMP_MIN >= view->count ||
			isnan(c[i - HUMP_MIN] + c[i + HUMP_MIN]))
			continue;
		double hump = c[i] - fmax(c[i - HUMP_MIN], c[i + HUMP_MIN]);
		if (hump > most) {
			most = hump;
			item.at_min = view->day->start_min + (int64_t)i;
		}
	}
	if (item.minutes < HALF_DAY_MIN || !isfinite(most))
		return;
	item.values[0] = most;
	item.values[1] = sum / (double)item.minutes;
	evidence_add(view->list, &item);
}

static void look_immersion(const struct day_view *view, size_t m)
{
	const double *j = day_meter_j(view->day, m);
	const int32_t *ms = day_meter_ms(view->day, m);
	struct evidence use = evidence_new(view, EVIDENCE_IMMERSION, (int)m);
	size_t end = 0;
	for (size_t i = 0; i < view->count; i++) {
		if (!immersion_is_on(j[i], ms[i]))
			continue;
		if (use.minutes > 0 && i - end > HABIT_PAUSE_MIN) {
			evidence_add(view->list, &use);
			use = evidence_new(view, EVIDENCE_IMMERSION, (int)m);
		}
		if (use.minutes++ == 0) {
			use.at_min = view->day->start_min + (int64_t)i;
			use.values[0] = 0.0;
		}
		use.values[0] += j[i];
		use.values[1] =
			(double)(view->day->start_min + (int64_t)i + 1 - use.at_min);
		end = i + 1;
	}
	if (use.minutes > 0)
		evidence_add(view->list, &use);
}

void look_at_immersion(const struct day_view *view)
{
	const struct config *config = view->day->config;
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].serves == DEVICE_IMMERSION)
			look_immersion(view, m);
}
