/*
 * What is booked against what else says: a pump's flag that says off while metered water
 * flows through a running unit, so that no heat is booked; and a heat meter's sign in the
 * modes that draw heat from the house, defrost and cooling.
 *
 * Heat as flow and temperatures make it is of the minute's means: of whole minutes of a
 * steady run within 0.1 % of what instants make (heatbook's own measurement).
 */
#include "evidence.h"

#include <heatbook/heat.h>

#include <math.h>

enum { STRETCH_MIN = 5 };

/* W; NaN where flow and temperatures do not tell. */
static double pair_w(const struct day_view *view, size_t i)
{
	const struct plant_config *plant = &view->day->config->plant;
	int rate = config_role(view->day->config, ROLE_FLOW_RATE);
	const struct heat_setting setting = {
		.mixture = mixture_of(plant->fluid, plant->fluid_percent),
		.flow_sensor_pipe = plant->flow_sensor_pipe,
		.least_flow_lpm = plant->least_flow_lpm,
		.mass_flow = rate >= 0 && view->day->config->channels[rate].unit->mass};
	double w = (double)NAN, sensitivity;
	if (!view->rate_lpm || !view->flow_c || !view->return_c)
		return w;
	heat_flow(&setting, view->rate_lpm[i], view->flow_c[i], view->return_c[i],
		plant->pressure_bar, &w, &sensitivity);
	return w;
}

/* ---- the pump's flag ---- */

struct pump_off {
	struct evidence item;
	size_t stretch;
	double unit_j, heat_j; /* of the stretch */
};

static void end_stretch(struct pump_off *p, size_t end)
{
	if (p->stretch >= STRETCH_MIN) {
		if (p->item.minutes == 0)
			p->item.at_min += (int64_t)(end - p->stretch);
		p->item.minutes += (int64_t)p->stretch;
		p->item.values[0] += p->unit_j;
		p->item.values[1] += p->heat_j;
	}
	p->stretch = 0;
	p->unit_j = p->heat_j = 0.0;
}

/* Starts and stops are left out: pump, flow and compressor need not be of one minute. */
void look_at_pump(const struct day_view *view)
{
	const double *pump = day_values(
		view->day, config_role(view->day->config, ROLE_CIRCULATION_PUMP));
	struct pump_off p = {.item = evidence_new(view, EVIDENCE_PUMP_OFF, -1)};
	if (!pump || !view->rate_lpm)
		return;
	p.item.values[0] = p.item.values[1] = 0.0;
	for (size_t i = 0; i < view->count; i++) {
		if (view->running[i] != 1 || view->flowing[i] != 1 || pump[i] != 0.0) {
			end_stretch(&p, i);
			continue;
		}
		double w = pair_w(view, i), unit_w = view->unit_w[i];
		p.stretch++;
		p.heat_j += isnan(w) ? 0.0 : 60.0 * w;
		p.unit_j += isnan(unit_w) ? 0.0 : 60.0 * unit_w;
	}
	end_stretch(&p, view->count);
	if (p.item.minutes > 0)
		evidence_add(view->list, &p.item);
}

/* ---- a heat meter's sign ---- */

/* W by what stands beside the meter that says the heat: heat's power beside a register,
 * else flow and temperatures. */
static double beside_w(const struct day_view *view, size_t i)
{
	const struct config *config = view->day->config;
	const double *power = day_values(view->day, config_role(config, ROLE_HEAT_POWER));
	double w = (double)NAN;
	if (config->plant.heat_source == HEAT_REGISTER && power)
		w = power[i];
	return isnan(w) ? pair_w(view, i) : w;
}

static void look_at_sign(const struct day_view *view, enum mode mode)
{
	struct evidence item = evidence_new(view, EVIDENCE_SIGN, (int)mode);
	double told_min = 0.0, beside_j = 0.0;
	item.values[0] = 0.0;
	for (size_t i = 0; i < view->count; i++) {
		const struct day_booked *b = &view->day->booked[i];
		if (b->mode != (int)mode || b->mode_ms < MS_PER_MIN ||
			b->heat_ms < MS_PER_MIN)
			continue;
		double w = beside_w(view, i);
		item.minutes++;
		item.values[0] += b->heat_j;
		told_min += !isnan(w);
		beside_j += isnan(w) ? 0.0 : 60.0 * w;
	}
	if (item.minutes < STRETCH_MIN)
		return;
	if (told_min > 0.9 * (double)item.minutes)
		item.values[1] = beside_j;
	evidence_add(view->list, &item);
}

void look_at_signs(const struct day_view *view)
{
	if (view->day->config->plant.heat_source == HEAT_COMPUTED)
		return;
	look_at_sign(view, MODE_DEFROST);
	look_at_sign(view, MODE_COOLING);
}
