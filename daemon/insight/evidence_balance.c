/*
 * The energy balance of a plant whose source is measured, too: what the compressor's side
 * gives is what it takes from the source and the electricity that it is driven by.
 *
 * Counted is the time in which the compressor runs and ten minutes after, while what it
 * has made is still carried away; standby and a source pump that goes on alone are left
 * out. Cooling is, too: it may go round the compressor. Heat is as booked, net of
 * defrosts; a heater in line is in the heat, so that its electricity is in the balance.
 * There is none where something of it is not told (balance.h): an immersion heater behind
 * one of its meters, a register that spreads what it counts over minutes of rest, a
 * heater in line that nothing meters. Products are of minutes' means, within 0.1 % of
 * those of each instant.
 *
 * Source: first law; the heat coefficient of the source's side as of heat.h, taken at the
 * pipe that leaves the unit.
 */
#include "evidence.h"

#include <heatbook/balance.h>
#include <heatbook/boundary.h>
#include <heatbook/heat.h>

#include <math.h>

enum { AFTER_MIN = 10 };
#define SOURCE_LEAST_LPM 0.5 /* a sensor's drift at rest is below; own judgement */
#define SOURCE_BAR       2.0 /* absolute; a bar moves heat by less than 0.01 % */
#define DIVIDED_LEAST_K  0.2 /* a smaller difference says little of its sensitivity */

struct source_view {
	const double *entering_c, *leaving_c, *rate_lpm, *said_w;
	struct heat_setting setting;
};

struct balance {
	int64_t minutes;
	double heat_j, electricity_j, taken_j;
	double heat_j_per_k, taken_j_per_k;
};

static void source_init(struct source_view *source, const struct day_view *view)
{
	const struct config *config = view->day->config;
	const struct source_side *side = &config->plant.source;
	int rate = config_role(config, ROLE_SOURCE_FLOW_RATE);
	*source = (struct source_view){
		.entering_c = day_values(
			view->day, config_role(config, ROLE_SOURCE_ENTERING_TEMPERATURE)),
		.leaving_c = day_values(
			view->day, config_role(config, ROLE_SOURCE_LEAVING_TEMPERATURE)),
		.rate_lpm = day_values(view->day, rate),
		.said_w = day_values(
			view->day, config_role(config, ROLE_SOURCE_HEAT_POWER)),
		.setting = {.mixture = mixture_of(side->fluid, side->fluid_percent),
			.flow_sensor_pipe = PIPE_RETURN,
			.least_flow_lpm = SOURCE_LEAST_LPM,
			.mass_flow = rate >= 0 && config->channels[rate].unit->mass}};
}

/* What enters is to what leaves as the flow is to the return; NaN where nothing tells. */
static double taken_w(
	const struct source_view *source, size_t i, double *ret_sensitivity_w_per_k)
{
	double w = (double)NAN;
	*ret_sensitivity_w_per_k = 0.0;
	if (source->said_w)
		return source->said_w[i];
	if (!source->rate_lpm || !source->entering_c || !source->leaving_c)
		return w;
	heat_flow(&source->setting, source->rate_lpm[i], source->entering_c[i],
		source->leaving_c[i], SOURCE_BAR, &w, ret_sensitivity_w_per_k);
	return w;
}

/* Electricity of all that ends up in the balance, W; NaN where some of it is unknown. */
static double driving_w(const struct day_view *view, size_t i)
{
	const struct config *config = view->day->config;
	double w = view->unit_w[i];
	for (size_t m = 0; m < config->meter_count; m++) {
		unsigned serves = config->meters[m].serves;
		int32_t ms = day_meter_ms(view->day, m)[i];
		if (!(serves & DEVICE_BACKUP_HEATER) || serves & DEVICE_COMPRESSOR ||
			boundary_beside(config, m))
			continue;
		w += ms >= MS_PER_MIN / 2 ? 1000.0 * day_meter_j(view->day, m)[i] / ms
					  : (double)NAN;
	}
	return w;
}

static void add_minute(const struct day_view *view, const struct source_view *source,
	size_t i, struct balance *b)
{
	const struct day_booked *booked = &view->day->booked[i];
	double per_k, taken = taken_w(source, i, &per_k), driving = driving_w(view, i);
	double apart_k = view->flow_c && view->return_c
				 ? view->flow_c[i] - view->return_c[i]
				 : INSTRUMENT_DIFFERENCE_K;
	if (booked->mode == MODE_COOLING || booked->heat_ms < MS_PER_MIN ||
		isnan(taken + driving))
		return;
	b->minutes++;
	b->heat_j += booked->heat_j;
	b->electricity_j += driving * 60.0;
	b->taken_j += taken * 60.0;
	b->taken_j_per_k += per_k * 60.0;
	if (fabs(apart_k) >= DIVIDED_LEAST_K)
		b->heat_j_per_k += fabs(booked->heat_j / apart_k);
}

void look_at_balance(const struct day_view *view)
{
	struct source_view source;
	struct balance b = {0};
	int after = AFTER_MIN;
	int meter;
	if (balance_lacks(view->day->config, &meter))
		return;
	source_init(&source, view);
	for (size_t i = 0; i < view->count; i++) {
		after = view->running[i] == 0 ? after + 1 : 0;
		if (view->running[i] >= 0 && after <= AFTER_MIN)
			add_minute(view, &source, i, &b);
	}
	if (b.minutes == 0)
		return;
	struct evidence item = evidence_new(view, EVIDENCE_BALANCE, -1);
	item.minutes = b.minutes;
	item.values[0] = b.heat_j;
	item.values[1] = b.electricity_j;
	item.values[2] = b.taken_j;
	item.values[3] = b.heat_j_per_k;
	item.values[4] = source.said_w ? (double)NAN : b.taken_j_per_k;
	evidence_add(view->list, &item);
}
