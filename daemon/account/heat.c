/*
 * Heat flow of the circuit's liquid. See heat.h for what is computed.
 *
 * Invariants: heat is formed from the enthalpy difference itself, so nothing divides by
 * the temperature difference and equal temperatures give exactly 0; swapping the pipes'
 * two temperatures (and the sensor's pipe) changes the sign and nothing else. A negative
 * heat is kept: a reverse-cycle defrost draws it from the house.
 *
 * Water and mixtures with antifreeze go the same way. Nothing is kept between calls.
 */
#include <heatbook/heat.h>

#include <math.h>

/* Below this difference the slope of enthalpy is the mean of both ends' heat capacities:
 * there a quotient of differences loses digits, while the mean is off by cp''·Δθ²/12 <
 * 1e-9 of it. */
#define DIFFERENCE_TINY_K 0.01

#define M3_S_PER_LPM    (1.0 / 60000.0)
#define KG_S_PER_KG_MIN (1.0 / 60.0)

/* J/(kg K), between the two states */
static double enthalpy_slope(double flow_c, double return_c, const struct water *flow,
	const struct water *back)
{
	double difference_k = flow_c - return_c;
	if (fabs(difference_k) < DIFFERENCE_TINY_K)
		return 0.5 * (flow->capacity_j_kg_k + back->capacity_j_kg_k);
	return (flow->enthalpy_j_kg - back->enthalpy_j_kg) / difference_k;
}

void heat_flow(const struct heat_setting *setting, double flow_lpm, double flow_c,
	double return_c, double pressure_bar, double *ret_w,
	double *ret_sensitivity_w_per_k)
{
	if (flow_lpm <= setting->least_flow_lpm) {
		*ret_w = 0.0;
		*ret_sensitivity_w_per_k = 0.0;
		return;
	}
	if (!isfinite(flow_lpm)) {
		*ret_w = NAN;
		*ret_sensitivity_w_per_k = NAN;
		return;
	}
	struct water ends[2];
	mixture_pair(&setting->mixture, (const double[2]){flow_c, return_c}, pressure_bar,
		ends);
	const struct water flow = ends[0], back = ends[1];
	double volume_m3_kg = setting->flow_sensor_pipe == PIPE_FLOW ? flow.volume_m3_kg
								     : back.volume_m3_kg;
	double mass_kg_s = setting->mass_flow ? flow_lpm * KG_S_PER_KG_MIN
					      : flow_lpm * M3_S_PER_LPM / volume_m3_kg;
	double slope = enthalpy_slope(flow_c, return_c, &flow, &back);
	double w = mass_kg_s * (flow.enthalpy_j_kg - back.enthalpy_j_kg);
	/* A state outside the domain makes both NaN, also where a mass flow needs no
	 * volume. */
	*ret_w = w;
	*ret_sensitivity_w_per_k = mass_kg_s * slope;
}
