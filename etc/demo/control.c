/*
 * The unit's control: when to run, for whom, when to defrost, when to stop.
 *
 * Idle → the pump first (1 min) → compressor → overrun (3 min) → idle. While the rooms
 * call and the compressor rests, the pump turns eight minutes in thirty to feel the
 * return. A call for tap water takes the running compressor over without a stop, and so
 * does a cool heating circuit afterwards. A defrost never interrupts tap water. While the
 * compressor is locked the pump turns as often to keep frost out of cold pipes.
 */
#include "plant.h"
#include "streams.h"

#define PUMP_FIRST_S    60
#define OVERRUN_S       180
#define REST_LEAST_S    300
#define RUN_LEAST_S     240
#define FEEL_EVERY_S    1800
#define FEEL_AFTER_S    1320
#define DEFROST_AFTER_S 1200
#define BELOW_TARGET_K  4.5
#define ABOVE_TARGET_K  3.5
#define TAP_START_C     42.5
#define TAP_STOP_C      48.0
#define IMMERSION_C     60.0
#define FROST_OUTDOOR_C 3.0
#define FROST_LOOP_C    14.0
#define HOUR_S          INT64_C(3600)
#define EXTRA_BEGIN_S   (6 * HOUR_S)
#define EXTRA_END_S     (6 * HOUR_S + 45 * INT64_C(60))

static void room_call(struct plant *p)
{
	if (p->room_call)
		p->room_call = p->room_c < 21.35 && p->damped_c < 16.5;
	else
		p->room_call = p->room_c < 20.75 && p->damped_c < 15.5;
}

static void tap_call(struct plant *p, const struct control_view *view)
{
	int64_t hour = view->day_s / HOUR_S;
	bool window = (hour >= 3 && hour < 6) || (hour >= 13 && hour < 16);
	if (p->tap_call)
		p->tap_call = p->cylinder_c < TAP_STOP_C;
	else
		p->tap_call = window && p->cylinder_c < TAP_START_C;
}

static void immersion(struct plant *p, const struct control_view *view)
{
	int64_t begin = INT64_C(14) * HOUR_S + INT64_C(12) * 60;
	if (view->weekday == 7 && view->day_s >= begin &&
		view->day_s < begin + PLANT_STEP_S)
		p->immersion_on = true;
	if (p->cylinder_c >= IMMERSION_C)
		p->immersion_on = false;
	p->immersion_extra = plant_rule_holds(p, RULE_IMMERSION_DAILY) &&
			     view->day_s >= EXTRA_BEGIN_S && view->day_s < EXTRA_END_S &&
			     p->cylinder_c < IMMERSION_C;
}

static void enter(struct plant *p, enum plant_phase phase)
{
	p->phase = phase;
	p->phase_s = 0;
}

static void stop(struct plant *p)
{
	enter(p, PHASE_OVERRUN);
	p->since_stop_s = 0;
	p->defrost_left_s = 0;
}

static void idle(struct plant *p, const struct control_view *view)
{
	bool rooms = p->room_call && p->loop_c < view->target_c - BELOW_TARGET_K;
	if (p->phase_s < REST_LEAST_S || !(p->tap_call || rooms))
		return;
	p->service = p->tap_call ? SERVICE_TAP : SERVICE_ROOMS;
	enter(p, PHASE_PUMP_FIRST);
}

static void pump_first(struct plant *p, struct control_view *view)
{
	if (p->phase_s < PUMP_FIRST_S)
		return;
	enter(p, PHASE_RUN);
	p->run_s = 0;
	view->start = true;
	view->tap_start = p->service == SERVICE_TAP;
}

/* Answers whether a defrost holds the unit now. */
static bool defrost(struct plant *p, struct control_view *view)
{
	if (p->defrost_left_s > 0) {
		p->defrost_left_s -= PLANT_STEP_S;
		if (p->defrost_left_s > 0)
			return true;
		p->frost = 0.0;
		p->run_s = 0; /* counts towards the next defrost */
		return false;
	}
	if (p->frost < 1.0 || p->run_s < DEFROST_AFTER_S || p->service == SERVICE_TAP)
		return false;
	double even =
		stream_even(p->settings.seed, STREAM_DEFROST, p->t_s / PLANT_STEP_S);
	p->defrost_left_s =
		PLANT_STEP_S * (33 + (int64_t)(13.0 * even)); /* 5.5..7.5 min */
	view->defrost_start = true;
	return true;
}

static void run(struct plant *p, struct control_view *view)
{
	if (defrost(p, view))
		return;
	if (p->service == SERVICE_ROOMS && p->tap_call) {
		p->service = SERVICE_TAP;
		view->tap_start = true;
		return;
	}
	if (p->service == SERVICE_TAP) {
		if (p->tap_call)
			return;
		if (p->room_call && p->loop_c < view->target_c - BELOW_TARGET_K / 2.0)
			p->service = SERVICE_ROOMS;
		else
			stop(p);
		return;
	}
	bool warm = p->flow_c > view->target_c + ABOVE_TARGET_K;
	if (p->phase_s >= RUN_LEAST_S && (warm || !p->room_call))
		stop(p);
}

/* A compressor that is locked heeds no call; what it began ends as it always does. */
static void lock(struct plant *p, const struct control_view *view)
{
	p->room_call = p->tap_call = false;
	p->frost_call = view->outdoor_c < FROST_OUTDOOR_C && p->loop_c < FROST_LOOP_C;
	if (p->phase == PHASE_PUMP_FIRST)
		enter(p, PHASE_IDLE);
	else if (p->phase == PHASE_RUN)
		stop(p);
}

/* Without electricity all stands, and begins again from rest. */
static void stand_still(struct plant *p)
{
	if (p->phase != PHASE_IDLE)
		p->since_stop_s = 0;
	enter(p, PHASE_IDLE);
	p->service = SERVICE_ROOMS;
	p->defrost_left_s = 0;
	p->immersion_on = p->immersion_extra = false;
	p->since_stop_s += PLANT_STEP_S;
}

void control_turn(struct plant *plant, struct control_view *view)
{
	if (plant_rule_holds(plant, RULE_POWER_CUT)) {
		stand_still(plant);
		return;
	}
	room_call(plant);
	tap_call(plant, view);
	immersion(plant, view);
	plant->frost_call = false;
	if (plant_rule_holds(plant, RULE_STANDSTILL))
		lock(plant, view);
	plant->phase_s += PLANT_STEP_S;
	plant->run_s += PLANT_STEP_S;
	plant->since_stop_s += PLANT_STEP_S;
	switch (plant->phase) {
	case PHASE_IDLE:
		idle(plant, view);
		break;
	case PHASE_PUMP_FIRST:
		pump_first(plant, view);
		break;
	case PHASE_RUN:
		run(plant, view);
		break;
	case PHASE_OVERRUN:
		if (plant->phase_s >= OVERRUN_S) {
			enter(plant, PHASE_IDLE);
			plant->service = SERVICE_ROOMS;
		}
		break;
	}
}

bool control_pump(const struct plant *plant)
{
	if (plant->phase != PHASE_IDLE)
		return true;
	return (plant->room_call || plant->frost_call) &&
	       plant->phase_s % FEEL_EVERY_S >= FEEL_AFTER_S;
}
