/*
 * The demo plant: an invented house, its weather, a generic variable-speed air-to-water
 * unit, its control, a hot-water cylinder and two electricity meters. Settings plus an
 * instant decide everything: the plant is always simulated from one origin, ten seconds a
 * step.
 *
 * Dated rules change the plant for a span: the steeper heating curve before the owner's
 * noted change, and what goes wrong with the plant itself.
 */
#ifndef DEMO_PLANT_H
#define DEMO_PLANT_H

#include "weather.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define PLANT_STEP_S   10
#define PLANT_ORIGIN_S INT64_C(1719784800) /* 1 July 2024, 0 h in Berlin */

#define ROOM_KWH_PER_K     9.0  /* effective capacity of the house */
#define LOOP_KWH_PER_K     0.32 /* water and metal of the heating circuit */
#define CYLINDER_KWH_PER_K (210.0 * 4.18 / 3600.0)

enum plant_rule_kind {
	RULE_STEEP_CURVE,     /* 48 − 0.9 (Ta + 9) instead of 42 − 0.72 (Ta + 9) */
	RULE_IMMERSION_DAILY, /* the immersion heater also runs 06:00–06:45 */
	RULE_FLOW_FALLING,    /* the flow falls evenly by 20 % over the span */
	RULE_EFFICIENCY_LOW,  /* 8 % less efficiency */
	RULE_POWER_CUT,       /* no electricity in the house */
	RULE_EMITTERS_SHUT,   /* valves leave a tenth of the emitters open */
	RULE_STANDSTILL       /* the compressor is locked */
};

/* In force on [from_s, to_s). */
struct plant_rule {
	enum plant_rule_kind kind;
	int64_t from_s;
	int64_t to_s;
};

struct plant_settings {
	uint64_t seed;
	const struct plant_rule *rules; /* borrowed for the plant's life */
	size_t rule_count;
	double lower_k; /* both heating curves lie lower by so much */
};

enum plant_service { SERVICE_ROOMS, SERVICE_TAP };
enum plant_phase { PHASE_IDLE, PHASE_PUMP_FIRST, PHASE_RUN, PHASE_OVERRUN };

enum plant_mode {
	PLANT_HEATING,
	PLANT_HOT_WATER,
	PLANT_DEFROST,
	PLANT_OVERRUN,
	PLANT_FREEZE_PROTECTION,
	PLANT_STANDBY,
	PLANT_MODES
};
/* "heating", "hot_water" … */
const char *plant_mode_name(enum plant_mode mode);

/* What is so during one step [t_s, t_s + 10 s): powers and flow are constant in it,
 * temperatures and registers are those of its start. */
struct plant_step {
	int64_t t_s;
	double outdoor_c, humidity_pct;
	double flow_c, return_c, rate_lpm, pressure_bar; /* gauge */
	double frequency_hz, demand_pct, target_c;
	double room_c, cylinder_c, loop_c;
	double heat_w; /* unit to water, negative in a defrost */
	double compressor_w, pump_w, immersion_w; /* compressor with fan and controls */
	double unit_j, immersion_j;               /* registers, J since the origin */
	/* Balance of house and cylinder, W. */
	double emission_w, gain_w, loss_w, draw_w, standing_w;
	double sun_w; /* part of the gain */
	enum plant_service valve, service;
	enum plant_mode mode;
	bool compressor_on, defrost, start, defrost_start, tap_start;
	bool valve_changed, service_changed, defrost_changed;
};

struct hot_water_draw {
	int64_t from_s, to_s; /* seconds of the local day */
};
#define DRAWS 4

struct water_table {
	double volume[101];   /* m³/kg at 0..100 °C */
	double enthalpy[101]; /* J/kg */
};

struct plant {
	struct plant_settings settings;
	struct weather weather;
	struct water_table water;
	int64_t t_s; /* start of the next step */
	/* local clock */
	int64_t ahead_s, ahead_until_s, day;
	struct hot_water_draw draws[DRAWS];
	/* house and circuits */
	double room_c, loop_c, pipe_c, cylinder_c, apart_k, damped_c;
	/* unit */
	double heat_kw, rate_lpm, frost, flow_c;
	int64_t run_s, phase_s, since_stop_s, defrost_left_s;
	enum plant_phase phase;
	enum plant_service service;
	bool room_call, tap_call, frost_call, immersion_on, immersion_extra;
	double unit_j, immersion_j;
	struct plant_step step; /* the last one made */
};

/* At the origin. zone_open() first. */
void plant_init(struct plant *plant, const struct plant_settings *settings);
/* Makes one step; the answer is overwritten by the next. */
const struct plant_step *plant_advance(struct plant *plant);
/* Whether a rule is in force in the next step. */
bool plant_rule_holds(const struct plant *plant, enum plant_rule_kind kind);
/* Runs on until the next step is the one that holds `t_s`. */
void plant_run_to(struct plant *plant, int64_t t_s);

/* The control's part of a step (control.c). */
struct control_view {
	int64_t day_s; /* second of the local day */
	int weekday;   /* Monday 1 .. Sunday 7 */
	double outdoor_c, target_c;
	bool start, defrost_start, tap_start; /* set where that happens */
};
void control_turn(struct plant *plant, struct control_view *view);
/* Whether the pump is to turn now. */
bool control_pump(const struct plant *plant);

#endif
