/*
 * Limits of instruments against the tables that they are taken from.
 *
 * References: tests/data/sensor_limits.csv, heat_meter_mpe.csv, pt1000_iec60751.csv,
 * ct_phase_error.csv; each row's or file's source and status stand in it.
 */
#include "unit.h"

#include <heatbook/uncertainty.h>

#include <ctype.h>

static double number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

/* ---- typical limits ---- */

enum { APPARENT = -1 };

/* Rows of which a limit is taken, by the beginning of both first fields; the limit's text
 * is what ours must be written as. */
static const struct {
	const char *instrument, *condition;
	bool meter;
	int class;        /* APPARENT: of a meter that has none */
	const char *form; /* of a sensor or a range: how its line reads */
} taken[] = {
	{"platinum sensor class AA", "", false, SENSOR_PLATINUM_AA, "0.1+0.0017|t|"},
	{"platinum sensor class A", "", false, SENSOR_PLATINUM_A, "0.15+0.002|t|"},
	{"platinum sensor class B", "", false, SENSOR_PLATINUM_B, "0.3+0.005|t|"},
	{"NTC thermistor", "", false, SENSOR_THERMISTOR, "0.2..1.0 (interchangeability)"},
	{"digital silicon sensor", "", false, SENSOR_DIGITAL, "0.5"},
	{"sensor strapped", "", false, SENSOR_STRAPPED, "0.3..1 / 1..3 low"},
	{"ultrasonic flow sensor class 2", "", false, SENSOR_FLOW_2, "2+0.02*qp/q max 5"},
	{"vortex flow sensor", "", false, SENSOR_VORTEX, "1.5..3"},
	{"flow inferred from pump speed", "", false, SENSOR_PUMP_SPEED, "10 or more"},
	{"electricity meter class 1", "0.1 Ib..Imax", true, METER_CLASS_1, NULL},
	{"electricity meter class 2", "0.1 Ib..Imax", true, METER_CLASS_2, NULL},
	{"electricity meter MID class A", "Imin..Itr at +5", true, METER_CLASS_A, NULL},
	{"electricity meter MID class B", "Imin..Itr at +5", true, METER_CLASS_B, NULL},
	{"electricity meter MID class C", "Imin..Itr at +5", true, METER_CLASS_C, NULL},
	{"clip-on current clamp without voltage", "-", true, APPARENT,
		"5..20 (assumed voltage and power factor)"},
};

static bool begins(const char *text, const char *with)
{
	return strncmp(text, with, strlen(with)) == 0;
}

/* The upper end of a range; lines at two points each. */
static void check_sensor(const char *form, enum sensor_class class)
{
	double fixed = 0, per = 0, low = 0, high = 0;
	if (sscanf(form, "%lf..%lf", &low, &high) == 2) {
		ck_assert_double_eq(sensor_is_flow(class) ? sensor_limit_percent(class, 7)
							  : sensor_limit_k(class, 33),
			high);
	} else if (sscanf(form, "%lf+%lf*qp/q max %lf", &fixed, &per, &high) == 3) {
		ck_assert_double_eq_tol(
			sensor_limit_percent(class, 10), fixed + per * 10, 1e-12);
		ck_assert_double_eq(sensor_limit_percent(class, 1e6), high);
	} else if (sscanf(form, "%lf+%lf|t|", &fixed, &per) == 2) {
		ck_assert_double_eq(sensor_limit_k(class, 0), fixed);
		ck_assert_double_eq_tol(
			sensor_limit_k(class, -100), fixed + per * 100, 1e-12);
	} else {
		ck_assert_int_eq(sscanf(form, "%lf", &fixed), 1);
		ck_assert_double_eq(sensor_is_flow(class) ? sensor_limit_percent(class, 7)
							  : sensor_limit_k(class, 33),
			fixed);
	}
}

static void check_limit(char **f, size_t count, void *context)
{
	ck_assert_uint_eq(count, 6);
	for (size_t i = 0; i < ARRAY_LEN(taken); i++) {
		const char *name = taken[i].instrument;
		if (!begins(f[0], name) || !begins(f[1], taken[i].condition) ||
			isupper((unsigned char)f[0][strlen(name)]))
			continue;
		if (taken[i].class == APPARENT) {
			int low = 0, high = 0;
			ck_assert_str_eq(f[2], taken[i].form);
			ck_assert_int_eq(sscanf(f[2], "%d..%d", &low, &high), 2);
			ck_assert_double_eq(apparent_limit_percent(), high);
		} else if (taken[i].meter) {
			ck_assert_double_eq(
				meter_limit_percent((enum meter_class)taken[i].class),
				number(f[2]));
		} else {
			ck_assert_str_eq(f[2], taken[i].form);
			check_sensor(f[2], (enum sensor_class)taken[i].class);
		}
		((bool *)context)[i] = true;
	}
}

TEST(limits_are_those_of_the_table)
{
	bool seen[ARRAY_LEN(taken)] = {0};
	ck_assert_uint_eq(data_rows("sensor_limits.csv", check_limit, seen), 34);
	for (size_t i = 0; i < ARRAY_LEN(taken); i++)
		ck_assert_msg(seen[i], "no row of %s", taken[i].instrument);
	/* "1..3 low", the other end of the row of strapped sensors. */
	ck_assert_double_eq(sensor_limit_k(SENSOR_STRAPPED_BARE, 33), 3);
}
END

	static void
	check_tolerance(char **f, size_t count, void *context)
{
	static const enum sensor_class classes[] = {SENSOR_PLATINUM_AA, SENSOR_PLATINUM_A,
		SENSOR_PLATINUM_B, SENSOR_PLATINUM_C};
	(void)context;
	ck_assert_uint_eq(count, 6);
	for (size_t i = 0; i < ARRAY_LEN(classes); i++)
		ck_assert_double_eq_tol(sensor_limit_k(classes[i], number(f[0])),
			number(f[2 + i]), 0.5001e-4);
}

TEST(platinum_sensors_have_the_tolerances_of_their_class)
{
	ck_assert_uint_eq(data_rows("pt1000_iec60751.csv", check_tolerance, NULL), 21);
}
END

	/* ---- thermal energy meters ---- */

	static double
	percent_at(struct difference_limit limit, double difference_k)
{
	return limit.percent + 100 * limit.k / difference_k;
}

/* Each part at the row's difference and flow, and the budget of a meter of these three.
 */
static void check_heat_meter(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 10);
	enum sensor_class flow = SENSOR_FLOW_1;
	if (number(f[0]) > 1)
		flow = number(f[0]) > 2 ? SENSOR_FLOW_3 : SENSOR_FLOW_2;
	double least_k = number(f[1]), k = number(f[2]), ratio = number(f[3]);
	const struct uncertainty_sums sums = {.heat_j = 1e9,
		.measured_j = 1e9,
		.sensitivity_j_per_k = 1e9 / k,
		.pair = pair_limit(least_k),
		.calculator = calculator_limit(least_k),
		.flow_limit_percent = sensor_limit_percent(flow, ratio)};
	ck_assert_double_eq_tol(sums.flow_limit_percent, number(f[4]), 0.5001e-3);
	ck_assert_double_eq_tol(percent_at(sums.pair, k), number(f[5]), 0.5001e-4);
	ck_assert_double_eq_tol(percent_at(sums.calculator, k), number(f[6]), 0.5001e-4);
	ck_assert_double_eq_tol(
		200 * uncertainty_of(&sums).heat, number(f[9]), 0.5001e-4);
}

TEST(a_thermal_energy_meter_is_as_sure_as_its_parts)
{
	ck_assert_uint_eq(data_rows("heat_meter_mpe.csv", check_heat_meter, NULL), 60);
}
END

	/* ---- clamps ---- */

	static void
	check_phase(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 5);
	double worse = fmax(fabs(number(f[2])), fabs(number(f[3])));
	ck_assert_double_eq_tol(
		phase_error_percent(number(f[0]), number(f[1])), worse, 0.5001e-5);
}

TEST(a_clamps_phase_costs_what_the_table_says)
{
	ck_assert_uint_eq(data_rows("ct_phase_error.csv", check_phase, NULL), 24);
	/* Ratio 1.5 %, 90 minutes at power factor 0.9: what its class is rounded up from.
	 */
	ck_assert_double_le(
		1.5 + phase_error_percent(0.9, 90), meter_limit_percent(METER_CLAMP));
	ck_assert_double_gt(
		1.75 + phase_error_percent(0.9, 90), meter_limit_percent(METER_CLAMP));
}
END

TESTS(limits_are_those_of_the_table, platinum_sensors_have_the_tolerances_of_their_class,
	a_thermal_energy_meter_is_as_sure_as_its_parts,
	a_clamps_phase_costs_what_the_table_says)
