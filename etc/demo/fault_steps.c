/*
 * What sensors and registers say of a step while they are at fault: the step as it is
 * said, from which messages are made. The plant's own step is not touched.
 */
#include "faults.h"

#include <math.h>

#define RETURN_LOW_K  0.3
#define LEAK_BAR      0.55
#define SUN_K         10.0
#define SUN_FULL_W    1200.0         /* through the windows, at its greatest */
#define SUN_BEGIN_S   INT64_C(32400) /* 9 h */
#define SUN_END_S     INT64_C(43200) /* 12 h */
#define SOLAR_AHEAD_S 3600           /* the sun keeps no daylight-saving time */
#define DAY_S         INT64_C(86400)

/* How far through its span a fault is, 0..1. */
static double part(const struct faults *faults, enum fault_name name, int64_t t_s)
{
	const struct fault *fault = &faults->fault[name];
	return (double)(t_s - fault->from_s) / (double)(fault->to_s - fault->from_s);
}

/* The sun comes round the corner of the house and goes behind a tree. */
static double sun_on_sensor_k(const struct plant_step *step)
{
	int64_t day_s = (step->t_s + SOLAR_AHEAD_S) % DAY_S;
	if (day_s < SUN_BEGIN_S || day_s >= SUN_END_S)
		return 0.0;
	double way = (double)(day_s - SUN_BEGIN_S) / (double)(SUN_END_S - SUN_BEGIN_S);
	double facing = sin(M_PI * way);
	return SUN_K * facing * facing * step->sun_w / SUN_FULL_W;
}

static double unit_register_j(const struct faults *faults, const struct plant_step *step)
{
	const struct fault *wrap = &faults->fault[FAULT_REGISTER_WRAP];
	const struct fault *reset = &faults->fault[FAULT_REGISTER_RESET];
	double j = step->unit_j;
	if (reset->on && step->t_s >= reset->from_s)
		return j + faults->after_reset_j;
	if (!wrap->on)
		return j;
	return j +
	       (step->t_s >= wrap->from_s ? faults->after_wrap_j : faults->before_wrap_j);
}

static void water(
	const struct faults *faults, struct fault_memory *memory, struct plant_step *said)
{
	if (fault_holds(faults, FAULT_RETURN_LOW, said->t_s))
		said->return_c -= RETURN_LOW_K;
	if (!fault_holds(faults, FAULT_SENSOR_FROZEN, said->t_s)) {
		memory->frozen = false;
	} else if (!memory->frozen) {
		memory->frozen = true;
		memory->frozen_c = said->flow_c;
	}
	if (memory->frozen)
		said->flow_c = memory->frozen_c;
	if (fault_holds(faults, FAULT_INTEGER_TEMPERATURES, said->t_s)) {
		said->flow_c = round(said->flow_c);
		said->return_c = round(said->return_c);
	}
	if (fault_holds(faults, FAULT_PRESSURE_LEAK, said->t_s))
		said->pressure_bar -=
			LEAK_BAR * part(faults, FAULT_PRESSURE_LEAK, said->t_s);
}

struct plant_step faults_say(const struct faults *faults, struct fault_memory *memory,
	const struct plant_step *step)
{
	struct plant_step said = *step;
	water(faults, memory, &said);
	if (fault_holds(faults, FAULT_OUTDOOR_SUN, step->t_s))
		said.outdoor_c += sun_on_sensor_k(step);
	said.unit_j = unit_register_j(faults, step);
	return said;
}
