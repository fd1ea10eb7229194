/*
 * One step of the demo plant, ten seconds: air → control → heat of the unit → water →
 * meters → house, circuit and cylinder. All parameters are invented, but for the
 * efficiency curve (a published fit for air-source units, Sci. Data 6 (2019) 189,
 * second-hand, lifted by 10 %).
 *
 * What a perfect heat meter would book is exactly what the unit gives: whenever water
 * flows, the difference of the two pipes is the unit's heat over the mass flow times the
 * enthalpy's slope. Without flow the two pipes cool apart, as real ones do.
 *
 * Holds no message and no file; calls the zone rules once an hour of plant time.
 */
#include "plant.h"

#include "streams.h"
#include "water97.h"
#include "zone.h"

#include <assert.h>

#define STEP_H          (PLANT_STEP_S / 3600.0)
#define LOSS_KW_PER_K   0.185
#define WINDOW_KW_PER_K 0.30 /* opened above 23.5 °C */
#define DEFROST_KW      (-4.6)
#define COIL_KW_PER_K   1.25
#define TAP_KWH_A_DAY   4.5
#define TAP_DRAW_KW     9.0
#define STANDING_KW     (1.5 / 24.0)
#define PUMP_W          42.0
#define IDLE_W          12.0
#define CRANKCASE_W     22.0
#define IMMERSION_W     3000.0
#define HEATING_LPM     17.5
#define TAP_LPM         19.0
#define FROST_A_MINUTE  (1.0 / 89.0)
#define WATER_BAR       2.0
#define BESIDE_PIPES_C  20.0
#define EMITTERS_OPEN   0.1
#define SECONDS_A_DAY   INT64_C(86400)

static double clamp(double x, double least, double most)
{
	return fmin(most, fmax(least, x));
}

const char *plant_mode_name(enum plant_mode mode)
{
	static const char *const names[PLANT_MODES] = {[PLANT_HEATING] = "heating",
		[PLANT_HOT_WATER] = "hot_water",
		[PLANT_DEFROST] = "defrost",
		[PLANT_OVERRUN] = "overrun",
		[PLANT_FREEZE_PROTECTION] = "freeze_protection",
		[PLANT_STANDBY] = "standby"};
	return names[mode];
}

/* The rule of a kind that is in force, or NULL. */
static const struct plant_rule *rule_of(const struct plant *p, enum plant_rule_kind kind)
{
	for (size_t i = 0; i < p->settings.rule_count; i++) {
		const struct plant_rule *rule = &p->settings.rules[i];
		if (rule->kind == kind && p->t_s >= rule->from_s && p->t_s < rule->to_s)
			return rule;
	}
	return NULL;
}

bool plant_rule_holds(const struct plant *plant, enum plant_rule_kind kind)
{
	return rule_of(plant, kind) != NULL;
}

/* ---- water: straight lines in a table of 1 K ---- */

static void water_fill(struct water_table *table)
{
	for (int t = 0; t <= 100; t++) {
		table->volume[t] = water97_volume(t, WATER_BAR);
		table->enthalpy[t] = water97_enthalpy(t, WATER_BAR);
	}
}

static double water_volume(const struct water_table *table, double t_c)
{
	int k = (int)clamp(t_c, 0.0, 99.0);
	return table->volume[k] + (t_c - k) * (table->volume[k + 1] - table->volume[k]);
}

static double water_heat_capacity(const struct water_table *table, double t_c)
{
	int k = (int)clamp(t_c, 0.0, 98.0);
	double part = t_c - k - 0.5; /* slopes belong to the middles */
	double low = table->enthalpy[k + 1] - table->enthalpy[k];
	double next = table->enthalpy[k + 2] - table->enthalpy[k + 1];
	return low + part * (next - low);
}

/* ---- the local clock and what people do by it ---- */

static void plan_draws(struct plant *p)
{
	static const struct {
		int64_t at_s;
		double share;
	} blocks[DRAWS] = {{24600, 0.32}, {50400, 0.16}, {67200, 0.29}, {78000, 0.23}};
	for (int i = 0; i < DRAWS; i++) {
		int64_t index = 2 * (p->day * DRAWS + i);
		double late =
			stream_even(p->settings.seed, STREAM_OCCUPANTS, index) - 0.5;
		double size =
			stream_even(p->settings.seed, STREAM_OCCUPANTS, index + 1) + 0.5;
		double hours = TAP_KWH_A_DAY * blocks[i].share * size / TAP_DRAW_KW;
		p->draws[i].from_s = blocks[i].at_s + (int64_t)(4800.0 * late);
		p->draws[i].to_s = p->draws[i].from_s + (int64_t)(3600.0 * hours);
	}
}

static struct control_view local_clock(struct plant *p)
{
	if (p->t_s >= p->ahead_until_s) {
		p->ahead_s = zone_ahead_s(p->t_s);
		p->ahead_until_s = (p->t_s / 3600 + 1) * 3600;
	}
	int64_t local_s = p->t_s + p->ahead_s;
	int64_t day = local_s / SECONDS_A_DAY;
	if (day != p->day) {
		p->day = day;
		plan_draws(p);
	}
	return (struct control_view){
		.day_s = local_s % SECONDS_A_DAY,
		.weekday = (int)((day + 3) % 7) + 1, /* 1 January 1970 was a Thursday */
	};
}

static bool drawing(const struct plant *p, int64_t day_s)
{
	for (int i = 0; i < DRAWS; i++)
		if (day_s >= p->draws[i].from_s && day_s < p->draws[i].to_s)
			return p->cylinder_c > 15.0;
	return false;
}

/* ---- the unit ---- */

static double most_kw(double outdoor_c)
{
	return clamp(7.0 + 0.13 * (outdoor_c - 2.0), 5.0, 9.0);
}

static double least_kw(double outdoor_c)
{
	return fmax(1.8, 2.2 + 0.05 * (outdoor_c - 2.0));
}

static double emission_kw(double loop_c, double room_c)
{
	double over_k = loop_c - room_c;
	double kw = 0.166 * pow(fabs(over_k), 1.2);
	return over_k < 0.0 ? -kw : kw;
}

/* Emitters that are shut give nothing off, and their water is not in the circuit. */
static double open_share(const struct plant *p)
{
	return plant_rule_holds(p, RULE_EMITTERS_SHUT) ? EMITTERS_OPEN : 1.0;
}

static double wanted_kw(const struct plant *p, double outdoor_c, double target_c)
{
	double most = most_kw(outdoor_c);
	if (p->service == SERVICE_TAP)
		return 0.85 * most;
	double kw = open_share(p) * emission_kw(p->loop_c, p->room_c) +
		    0.8 * (target_c - p->flow_c);
	return clamp(kw, least_kw(outdoor_c), most);
}

/* The heat given in this step: full power takes 150 s, a defrost half a minute. */
static void ramp(struct plant *p, double wanted, double outdoor_c)
{
	if (plant_rule_holds(p, RULE_POWER_CUT)) {
		p->heat_kw = 0.0; /* nothing carries it away */
		return;
	}
	if (p->phase != PHASE_RUN) {
		p->heat_kw *= 0.7; /* what the condenser still holds */
		if (fabs(p->heat_kw) < 0.02)
			p->heat_kw = 0.0;
		return;
	}
	double slow = most_kw(outdoor_c) * PLANT_STEP_S / 150.0;
	double fast = 0.2 * PLANT_STEP_S;
	if (p->defrost_left_s > 0)
		p->heat_kw = fmax(DEFROST_KW, p->heat_kw - fast);
	else if (p->heat_kw < 0.0)
		p->heat_kw = fmin(0.0, p->heat_kw + fast);
	else
		p->heat_kw += clamp(wanted - p->heat_kw, -slow, slow);
}

static double compressor_w(const struct plant *p, double outdoor_c)
{
	if (plant_rule_holds(p, RULE_POWER_CUT))
		return 0.0;
	if (p->phase != PHASE_RUN)
		return IDLE_W + (outdoor_c < 8.0 ? CRANKCASE_W : 0.0);
	if (p->defrost_left_s > 0)
		return 900.0;
	double d = fmax(15.0, p->flow_c - outdoor_c);
	double cop = 1.10 * (6.0801 - 0.0941 * d + 0.000464 * d * d);
	double least = least_kw(outdoor_c), most = most_kw(outdoor_c);
	double load = clamp((p->heat_kw - least) / (most - least), 0.0, 1.0);
	/* −8 % at the minimum, +6 % in the middle, as given at full load. */
	cop *= 1.0 + (-0.08 + 0.48 * load - 0.40 * load * load);
	cop *= 1.0 - 0.10 * fmin(1.0, p->frost);
	if (plant_rule_holds(p, RULE_EFFICIENCY_LOW))
		cop *= 0.92;
	return fmax(300.0, 1000.0 * p->heat_kw / cop);
}

static void grow_frost(struct plant *p, const struct air *air)
{
	if (p->phase != PHASE_RUN) {
		if (air->outdoor_c > 2.0)
			p->frost = fmax(0.0, p->frost - STEP_H);
		return;
	}
	if (p->defrost_left_s > 0 || air->humidity_pct <= 62.0)
		return;
	double off = (air->outdoor_c - 1.0) / 4.8;
	double wet = (air->humidity_pct - 62.0) / 37.0;
	double a_minute = FROST_A_MINUTE * wet * exp(-0.5 * off * off);
	p->frost = fmin(1.3, p->frost + a_minute * PLANT_STEP_S / 60.0);
}

/* ---- water in the pipes ---- */

static void pump(struct plant *p)
{
	if (plant_rule_holds(p, RULE_POWER_CUT)) {
		p->rate_lpm = 0.0;
		return;
	}
	double full = p->service == SERVICE_TAP ? TAP_LPM : HEATING_LPM;
	/* Warm water is thinner: the same pump moves a little more. */
	full += 0.02 * (p->pipe_c - 35.0);
	const struct plant_rule *falling = rule_of(p, RULE_FLOW_FALLING);
	if (falling)
		full *= 1.0 - 0.20 * (double)(p->t_s - falling->from_s) /
				      (double)(falling->to_s - falling->from_s);
	double wanted = control_pump(p) ? full : 0.0;
	p->rate_lpm += clamp(wanted - p->rate_lpm, -10.0, 10.0);
}

/* The unit stands in the house, and is no warmer than that when it gives no heat. */
static double beside_pipes_c(const struct plant *p)
{
	return plant_rule_holds(p, RULE_STANDSTILL) ? fmin(BESIDE_PIPES_C, p->room_c)
						    : BESIDE_PIPES_C;
}

static void pipes(struct plant *p, struct plant_step *s)
{
	double toward = p->loop_c;
	if (p->service == SERVICE_TAP)
		toward = p->cylinder_c + fmax(0.0, p->heat_kw) / COIL_KW_PER_K;
	if (p->rate_lpm > 0.0) {
		p->pipe_c += 0.2 * (toward - p->pipe_c);
		p->apart_k = 0.0;
	} else {
		p->pipe_c += 0.004 * (beside_pipes_c(p) - p->pipe_c);
		p->apart_k += 0.004 * (0.15 * (p->pipe_c - 14.0) - p->apart_k);
	}
	double half = 0.5 * p->apart_k;
	if (p->rate_lpm > 0.0) {
		/* v is that of the return pipe, which depends on the difference: two
		 * rounds. */
		double slope = water_heat_capacity(&p->water, p->pipe_c);
		for (int round = 0; round < 2; round++) {
			double v = water_volume(&p->water, p->pipe_c - half);
			half = 500.0 * p->heat_kw * v * 60000.0 / (p->rate_lpm * slope);
		}
	}
	p->flow_c = p->pipe_c + half;
	s->flow_c = p->flow_c;
	s->return_c = p->pipe_c - half;
	s->rate_lpm = p->rate_lpm;
	s->pressure_bar = 1.45 + 0.006 * (p->loop_c - 30.0);
}

/* ---- the step ---- */

static enum plant_mode true_mode(const struct plant *p)
{
	if (p->phase == PHASE_RUN && p->defrost_left_s > 0)
		return PLANT_DEFROST;
	if (p->phase == PHASE_RUN)
		return p->service == SERVICE_TAP ? PLANT_HOT_WATER : PLANT_HEATING;
	if (p->rate_lpm > 0.0 && p->since_stop_s < 600)
		return PLANT_OVERRUN;
	if (p->rate_lpm > 0.0 && p->frost_call)
		return PLANT_FREEZE_PROTECTION;
	return PLANT_STANDBY;
}

static void meters(struct plant *p, struct plant_step *s)
{
	s->compressor_w = compressor_w(p, s->outdoor_c);
	s->pump_w = p->rate_lpm > 0.0 ? PUMP_W : 0.0;
	s->immersion_w = p->immersion_on || p->immersion_extra ? IMMERSION_W : 0.0;
	s->unit_j = p->unit_j;
	s->immersion_j = p->immersion_j;
	p->unit_j += (s->compressor_w + s->pump_w) * PLANT_STEP_S;
	p->immersion_j += s->immersion_w * PLANT_STEP_S;
}

static void house(
	struct plant *p, struct plant_step *s, const struct air *air, int64_t day_s)
{
	double emission = open_share(p) * emission_kw(p->loop_c, p->room_c);
	bool day = day_s >= INT64_C(7) * 3600 && day_s < INT64_C(22) * 3600;
	double gain = 0.42 + (day ? 0.18 : 0.0) + air->sun_kw;
	double loss = LOSS_KW_PER_K * (p->room_c - air->outdoor_c);
	if (p->room_c > 23.5 && air->outdoor_c < p->room_c)
		loss += WINDOW_KW_PER_K * (p->room_c - air->outdoor_c) *
			fmin(1.0, p->room_c - 23.5);
	double draw = drawing(p, day_s) ? TAP_DRAW_KW : 0.0;
	double to_loop = p->service == SERVICE_TAP ? 0.0 : p->heat_kw;
	double to_tap = p->heat_kw - to_loop + s->immersion_w / 1000.0;
	p->room_c += (emission + gain - loss) * STEP_H / ROOM_KWH_PER_K;
	p->loop_c += (to_loop - emission) * STEP_H / (open_share(p) * LOOP_KWH_PER_K);
	p->cylinder_c += (to_tap - draw - STANDING_KW) * STEP_H / CYLINDER_KWH_PER_K;
	s->emission_w = 1000.0 * emission;
	s->gain_w = 1000.0 * gain;
	s->sun_w = 1000.0 * air->sun_kw;
	s->loss_w = 1000.0 * loss;
	s->draw_w = 1000.0 * draw;
	s->standing_w = 1000.0 * STANDING_KW;
}

static double target(const struct plant *p, double outdoor_c)
{
	bool steep = plant_rule_holds(p, RULE_STEEP_CURVE);
	double c =
		steep ? 48.0 - 0.90 * (outdoor_c + 9.0) : 42.0 - 0.72 * (outdoor_c + 9.0);
	return fmax(26.0, c - p->settings.lower_k);
}

static void observe(struct plant *p, struct plant_step *s,
	const struct control_view *view, double wanted)
{
	const struct plant_step *old = &p->step;
	double most = most_kw(s->outdoor_c);
	bool run = p->phase == PHASE_RUN;
	s->defrost = run && p->defrost_left_s > 0;
	s->compressor_on = run;
	s->demand_pct = run ? 100.0 * wanted / most : 0.0;
	if (s->defrost)
		s->frequency_hz = 62.0;
	else if (run)
		s->frequency_hz = 18.0 + 72.0 * clamp(p->heat_kw / most, 0.0, 1.0);
	s->valve = p->service;
	s->service = p->service;
	s->mode = true_mode(p);
	s->start = view->start;
	s->defrost_start = view->defrost_start;
	s->tap_start = view->tap_start;
	s->valve_changed = s->valve != old->valve;
	s->service_changed = s->service != old->service;
	s->defrost_changed = s->defrost != old->defrost;
}

const struct plant_step *plant_advance(struct plant *p)
{
	struct control_view view = local_clock(p);
	struct air air = weather_at(&p->weather, p->t_s);
	struct plant_step s = {.t_s = p->t_s,
		.outdoor_c = air.outdoor_c,
		.humidity_pct = air.humidity_pct,
		.room_c = p->room_c,
		.cylinder_c = p->cylinder_c,
		.loop_c = p->loop_c};
	view.outdoor_c = air.outdoor_c;
	view.target_c = target(p, air.outdoor_c);
	p->damped_c += (air.outdoor_c - p->damped_c) * STEP_H / 24.0;
	control_turn(p, &view);
	double wanted = wanted_kw(p, air.outdoor_c, view.target_c);
	ramp(p, wanted, air.outdoor_c);
	pump(p);
	pipes(p, &s);
	grow_frost(p, &air);
	s.target_c = view.target_c;
	s.heat_w = 1000.0 * p->heat_kw;
	meters(p, &s);
	observe(p, &s, &view, wanted);
	house(p, &s, &air, view.day_s);
	p->t_s += PLANT_STEP_S;
	p->step = s;
	return &p->step;
}

void plant_init(struct plant *plant, const struct plant_settings *settings)
{
	*plant = (struct plant){
		.settings = *settings,
		.t_s = PLANT_ORIGIN_S,
		.room_c = 22.0,
		.loop_c = 22.0,
		.pipe_c = 21.0,
		.cylinder_c = 46.0,
		.flow_c = 21.0,
		.damped_c = 17.0,
		.phase_s = 3600,
		.since_stop_s = 3600,
	};
	water_fill(&plant->water);
	weather_init(&plant->weather, settings->seed, PLANT_ORIGIN_S);
}

void plant_run_to(struct plant *plant, int64_t t_s)
{
	assert(t_s >= plant->t_s);
	while (plant->t_s + PLANT_STEP_S <= t_s)
		(void)plant_advance(plant); /* only the state matters */
}
