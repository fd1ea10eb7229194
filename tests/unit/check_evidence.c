/*
 * Evidence of days made by hand: each kind where it is and where it is not.
 *
 * Outside: the fit of COP for air, by cop_fit_coefficients.csv (Scientific Data 6 (2019)
 * 189, read in the authors' repository) and cop_fit_checkvalues.csv (computed); Carnot's
 * quotient by carnot_cop.csv (an encyclopaedia's table, read, and computed); both by
 * cop_plausibility_grid.csv (computed).
 */
#include "made_minutes.h"

#include <heatbook/calendar.h>

#include <math.h>

enum { FLOW, RETURN, RATE, PRESSURE, OUTDOOR, HZ, VALVE, DEFROST, L1, L2, HEATER };

static const char house[] =
	"[plant]\nzone = Europe/Berlin\n"
	"[channel flow_temperature]\ntopic = a/1\n[channel return_temperature]\ntopic = "
	"a/2\n"
	"[channel flow_rate]\ntopic = a/3\n[channel water_pressure]\ntopic = a/4\n"
	"[channel outdoor_temperature]\ntopic = a/5\n"
	"[channel compressor_frequency]\ntopic = a/6\n"
	"[channel valve]\ntopic = a/7\nmap = 0:heating, 1:hot_water\n"
	"[channel defrost]\ntopic = a/8\nmap = 0:off, 1:on\n"
	"[channel phase_1]\ntopic = b/1\nunit = W\n[channel phase_2]\ntopic = b/2\nunit "
	"= W\n"
	"[channel heater]\ntopic = b/3\nunit = W\n"
	"[meter unit]\nfeeds = compressor, circulation\npower = phase_1 + phase_2\n"
	"[meter heater]\nfeeds = immersion\npower = heater\n";

/* Booked as the channels say: 420 J a kelvin and minute a L/min, power by the phases. */
static void book(struct sample *s)
{
	for (int i = 0; i < DAY; i++) {
		struct day_booked *b = &s->day.booked[i];
		double dt = of(s, FLOW)[i] - of(s, RETURN)[i], rate = of(s, RATE)[i];
		double w = of(s, L1)[i] + of(s, L2)[i], heater_w = of(s, HEATER)[i];
		bool heat = !isnan(dt * rate);
		*b = (struct day_booked){.heat_j = heat ? 4170.0 * dt * rate : 0.0,
			.heat_ms = heat ? 60000 : 0,
			.mode = of(s, DEFROST)[i] == 1.0 ? MODE_DEFROST
				: of(s, HZ)[i] > 0.0
					? (of(s, VALVE)[i] == 1.0 ? MODE_HOT_WATER
								  : MODE_HEATING)
					: MODE_STANDBY,
			.mode_ms = 60000};
		meter(s, 0, i, w);
		meter(s, 1, i, heater_w);
	}
}

/* A healthy winter day: an hour of running, twenty minutes of rest with the pump on for
 * the last twelve of them, over and over; hot water from 13 h to 13:40. Values move like
 * measured ones, on a grid of 0.01. */
static struct sample *healthy_of(const char *text)
{
	struct sample *s = sample_new(text);
	for (int i = 0; i < DAY; i++) {
		int phase = i % 80;
		bool tap = i >= 780 && i < 820, on = phase < 60 || tap;
		double wave = sin(i * 0.37);
		double back = 28.0 + 0.02 * phase + 0.11 * wave + 3.0 * tap;
		of(s, HZ)[i] = on ? 45.0 + 2.0 * wave : 0.0;
		of(s, RATE)[i] = !on && phase < 68 ? 0.0 : tap ? 19.0 : 17.5;
		of(s, RETURN)[i] = round(back * 100.0) / 100.0;
		of(s, FLOW)[i] =
			on ? of(s, RETURN)[i] + round((5.0 + 0.3 * wave) * 100.0) / 100.0
			   : of(s, RETURN)[i];
		of(s, OUTDOOR)[i] =
			round((2.0 - 3.0 * cos(i * M_PI / 720.0) + 0.05 * wave) * 100.0) /
			100.0;
		of(s, PRESSURE)[i] = 1.5;
		of(s, VALVE)[i] = tap;
		of(s, DEFROST)[i] = 0.0;
		of(s, L1)[i] = on ? 800.0 + 40.0 * wave : 6.0;
		of(s, L2)[i] = on ? 700.0 + 40.0 * wave : 6.0;
		of(s, HEATER)[i] = 0.0;
	}
	return s;
}

static struct sample *healthy(void)
{
	return healthy_of(house);
}

static void look(struct sample *s)
{
	book(s);
	evidence_of(&s->day, NULL, &s->list);
}

TEST(a_healthy_day_says_only_what_every_day_says)
{
	static const bool usual[EVIDENCE_KINDS] = {[EVIDENCE_LOOKED] = true,
		[EVIDENCE_REST] = true,
		[EVIDENCE_FLOW] = true,
		[EVIDENCE_PRESSURE] = true,
		[EVIDENCE_SKEW] = true,
		[EVIDENCE_FLAG] = true,
		[EVIDENCE_OUTDOOR] = true,
		[EVIDENCE_EFFICIENCY] = true};
	struct sample *s = healthy();
	look(s);
	ck_assert_int_eq(s->list.items[0].kind, EVIDENCE_LOOKED);
	ck_assert_int_eq(s->list.items[0].minutes, EVIDENCE_FORM);
	for (size_t i = 0; i < s->list.count; i++)
		ck_assert_msg(usual[s->list.items[i].kind], "kind %d of %d, %g",
			s->list.items[i].kind, s->list.items[i].subject,
			s->list.items[i].values[0]);
	for (size_t k = 0; k < EVIDENCE_KINDS; k++)
		ck_assert_msg(!usual[k] || find(s, (enum evidence_kind)k, -1),
			"no evidence %zu", k);
	ck_assert_double_eq(find(s, EVIDENCE_REST, -1)->values[0], 0.0);
	ck_assert_int_eq(find(s, EVIDENCE_SKEW, 0)->minutes, 0);
	ck_assert_double_eq(find(s, EVIDENCE_SKEW, 0)->values[0], 1.0);
	ck_assert_double_eq_tol(find(s, EVIDENCE_FLOW, -1)->values[0], 17.5, 1e-9);
	ck_assert_double_eq_tol(find(s, EVIDENCE_FLOW, -1)->values[1], 19.0, 1e-9);
	sample_free(s);
}
END

TEST(rest_begins_ten_minutes_after_the_stop_and_five_after_the_pump)
{
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++)
		of(s, RETURN)[i] -= 0.3;
	look(s);
	const struct evidence *e = find(s, EVIDENCE_REST, -1);
	ck_assert_ptr_nonnull(e);
	/* Off from 60 on, water from 68 on: both long enough from 73 on. */
	ck_assert_int_eq(e->at_min, START + 73);
	ck_assert_int_eq(e->minutes, 7);
	ck_assert_double_eq_tol(e->values[0], 0.3, 1e-9);
	sample_free(s);
}
END

TEST(a_heater_or_a_moving_valve_is_no_rest)
{
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++) {
		if (of(s, HZ)[i] == 0.0)
			of(s, L1)[i] = 2000.0; /* a back-up heater within the unit */
	}
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_REST, -1));
	sample_free(s);
	s = healthy();
	for (int i = 0; i < DAY; i++)
		of(s, VALVE)[i] = i / 3 % 2;
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_REST, -1));
	sample_free(s);
}
END

TEST(one_reversed_phase_is_seen_beside_the_others)
{
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++)
		of(s, L2)[i] = -of(s, L2)[i];
	look(s);
	const struct evidence *e = find(s, EVIDENCE_POWER_NEGATIVE, L2);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq_tol(e->values[0], -700.0, 5.0);
	ck_assert_int_gt(e->minutes, 1000);
	ck_assert_ptr_null(find(s, EVIDENCE_POWER_NEGATIVE, L1));
	sample_free(s);
}
END

TEST(a_compressor_without_flow_is_seen_but_not_its_start)
{
	struct sample *s = healthy();
	set(s, RATE, 80, 84, 0.0); /* the pump is four minutes late */
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_FLOW_ZERO, -1));
	sample_free(s);
	s = healthy();
	set(s, RATE, 165, 195, 0.0);
	look(s);
	ck_assert_ptr_nonnull(find(s, EVIDENCE_FLOW_ZERO, -1));
	ck_assert_int_eq(find(s, EVIDENCE_FLOW_ZERO, -1)->minutes, 30);
	ck_assert_int_eq(find(s, EVIDENCE_FLOW_ZERO, -1)->at_min, START + 165);
	ck_assert_double_eq_tol(find(s, EVIDENCE_FLOW_ZERO, -1)->values[0],
		30 * 1500.0 * 60.0, 30 * 80.0 * 60.0);
	sample_free(s);
}
END

	static void
	cross_pipes(struct sample *s, int from, int to)
{
	for (int i = from; i < to; i++) {
		double flow = of(s, FLOW)[i];
		of(s, FLOW)[i] = of(s, RETURN)[i];
		of(s, RETURN)[i] = flow;
	}
}

TEST(a_return_above_the_flow_is_seen_outside_of_defrost)
{
	struct sample *s = healthy();
	cross_pipes(s, 160, 220);
	look(s);
	const struct evidence *e = find(s, EVIDENCE_RETURN_ABOVE, -1);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, 60);
	ck_assert_double_eq_tol(e->values[0], 5.0, 0.1);
	ck_assert_double_lt(e->values[1], 0.0);
	ck_assert_double_eq(e->values[2], 0.0);
	sample_free(s);
	s = healthy();
	cross_pipes(s, 170, 180);
	set(s, DEFROST, 170, 180, 1.0);
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
	sample_free(s);
}
END

	static struct sample *
	resting(double flow_c, double return_c)
{
	struct sample *s = healthy();
	set(s, HZ, 0, 300, 0.0);
	set(s, RATE, 0, 300, 0.0);
	set(s, L1, 0, 300, 6.0);
	set(s, L2, 0, 300, 6.0);
	set(s, FLOW, 0, 300, flow_c);
	set(s, RETURN, 0, 300, return_c);
	look(s);
	return s;
}

/* Where a rule tells defrosts, it takes crossed pipes for one as long as the unit runs.
 */
TEST(a_defrost_of_an_hour_is_none)
{
	for (int minutes = 30; minutes <= 31; minutes++) {
		struct sample *s = healthy();
		cross_pipes(s, 160, 160 + minutes);
		set(s, DEFROST, 160, 160 + minutes, 1.0);
		look(s);
		const struct evidence *e = find(s, EVIDENCE_RETURN_ABOVE, -1);
		ck_assert_int_eq(e ? e->minutes : 0, minutes == 31 ? 31 : 0);
		sample_free(s);
	}
}
END

TEST(both_pipes_standing_still_with_the_return_above_are_repeated_values)
{
	struct sample *s = resting(28.41, 29.59);
	const struct evidence *e = find(s, EVIDENCE_RETURN_ABOVE, -1);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[2], 1.0);
	ck_assert_int_ge(e->minutes, 298);
	sample_free(s);
}
END

TEST(both_pipes_standing_still_with_the_flow_above_are_frozen)
{
	struct sample *s = resting(32.16, 31.13);
	const struct evidence *e = find(s, EVIDENCE_FROZEN, FLOW);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[0], 32.16);
	ck_assert_double_eq(e->values[3], 31.13);
	ck_assert_int_ge(e->minutes, 298);
	ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
	sample_free(s);
}
END

/* In summer both pipes are as warm as the room, each at its own sensor's error; to tenths
 * of a kelvin that stands for hours, to hundredths it does not. */
TEST(pipes_as_warm_as_their_room_are_not_repeated_values)
{
	for (int up = 0; up < 2; up++) {
		struct sample *s = resting(20.5 - 0.9 * up, 19.6 + 0.9 * up);
		ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
		ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
		sample_free(s);
		s = resting(20.69 - 0.63 * up, 20.06 + 0.63 * up); /* sixteenths */
		ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
		ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
		sample_free(s);
		s = resting(21.17 - 0.61 * up, 20.56 + 0.61 * up); /* 70.1 and 69.0 °F */
		ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
		ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
		sample_free(s);
		s = resting(20.52 - 0.98 * up, 19.54 + 0.98 * up);
		ck_assert_ptr_nonnull(
			find(s, up ? EVIDENCE_RETURN_ABOVE : EVIDENCE_FROZEN, -1));
		sample_free(s);
	}
}
END

/* Whole kelvins on either side of a half are a step apart for as long as they like. */
TEST(coarse_pipes_a_step_apart_are_not_repeated_values)
{
	for (int up = 0; up < 2; up++) {
		struct sample *s = resting(21.0 + up, 22.0 - up);
		ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
		ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
		sample_free(s);
		s = resting(20.0 + 3 * up, 23.0 - 3 * up);
		ck_assert_ptr_nonnull(
			find(s, up ? EVIDENCE_FROZEN : EVIDENCE_RETURN_ABOVE, -1));
		sample_free(s);
	}
}
END

TEST(a_sensor_is_frozen_when_its_other_moves)
{
	struct sample *s = healthy();
	set(s, FLOW, 50, 90, 33.0);
	for (int i = 60; i < 80; i++)
		of(s, RETURN)[i] -= 2.0;
	look(s);
	const struct evidence *e = find(s, EVIDENCE_FROZEN, FLOW);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START + 50);
	ck_assert_int_eq(e->minutes, 40);
	ck_assert_double_eq(e->values[0], 33.0);
	ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, RETURN));
	sample_free(s);
	s = healthy(); /* both still: that may be */
	set(s, FLOW, 160, 215, 33.0);
	set(s, RETURN, 160, 215, 28.0);
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
	sample_free(s);
}
END

TEST(an_outdoor_sensor_is_frozen_after_three_hours_of_one_value)
{
	struct sample *s = healthy();
	set(s, OUTDOOR, 100, 270, 1.23);
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
	sample_free(s);
	s = healthy();
	set(s, OUTDOOR, 100, 290, 1.23);
	look(s);
	ck_assert_ptr_nonnull(find(s, EVIDENCE_FROZEN, OUTDOOR));
	sample_free(s);
}
END

TEST(grids_are_told_by_levels_that_held)
{
	static const double grids[] = {1.0, 0.5, 0.25};
	for (size_t g = 0; g < ARRAY_LEN(grids); g++) {
		struct sample *s = healthy();
		for (int i = 0; i < DAY; i++)
			of(s, FLOW)[i] = round(of(s, FLOW)[i] / grids[g]) * grids[g];
		look(s);
		const struct evidence *e = find(s, EVIDENCE_COARSE, FLOW);
		ck_assert_msg(e != NULL, "%g", grids[g]);
		ck_assert_double_eq(e->values[0], grids[g]);
		ck_assert_ptr_null(find(s, EVIDENCE_COARSE, RETURN));
		sample_free(s);
	}
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++)
		of(s, FLOW)[i] = round(of(s, FLOW)[i] * 10.0) / 10.0;
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_COARSE, -1));
	sample_free(s);
}
END

/* As a source of five minutes comes in, somewhere within a minute. */
TEST(a_source_of_five_minutes_is_slow)
{
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++)
		if (i % 5)
			of(s, FLOW)[i] = of(s, FLOW)[i - 1];
	for (int i = 5; i < DAY; i += 5)
		of(s, FLOW)[i] = (of(s, FLOW)[i] + of(s, FLOW)[i - 1]) / 2.0;
	look(s);
	const struct evidence *e = find(s, EVIDENCE_SLOW, FLOW);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq_tol(e->values[0], 5.0, 0.5);
	ck_assert_ptr_null(find(s, EVIDENCE_SLOW, RETURN));
	sample_free(s);
}
END

/* Of hours that changed seven times, and of a quick source that did so seldom. */
TEST(hours_are_slow_though_few_of_them_change)
{
	for (int quick = 0; quick < 2; quick++) {
		struct sample *s = healthy();
		set(s, FLOW, 0, DAY, 20.5);
		for (int k = 1; k < 8; k++)
			set(s, FLOW, 60 * k + (quick && k == 4), DAY, 20.5 + 0.1 * k);
		look(s);
		const struct evidence *e = find(s, EVIDENCE_SLOW, FLOW);
		ck_assert_int_eq(e != NULL, !quick);
		if (e)
			ck_assert_double_eq(e->values[0], 60.0);
		sample_free(s);
	}
}
END

TEST(a_meter_that_is_late_is_so_by_its_minutes)
{
	static const int shifts[] = {12, 60, -7, 3};
	for (size_t k = 0; k < ARRAY_LEN(shifts); k++) {
		struct sample *s = healthy();
		struct sample *plain = healthy();
		/* Runs of different lengths: a plain rhythm fits itself at each turn. */
		for (int i = 0; i < DAY; i++)
			if (i / 80 % 3 == 0 && i % 80 >= 25 + i / 80 && i % 80 < 60)
				for (int c = 0; c < 3; c++)
					of(c ? plain : s, c == 2 ? L2
							  : c    ? L1
								 : HZ)[i] = c ? 6.0 : 0.0;
		for (int i = 0; i < DAY; i++) {
			int from = i - shifts[k];
			bool in = from >= 0 && from < DAY;
			of(s, L1)[i] = in ? of(plain, L1)[from] : (double)NAN;
			of(s, L2)[i] = in ? of(plain, L2)[from] : (double)NAN;
		}
		look(s);
		const struct evidence *e = find(s, EVIDENCE_SKEW, 0);
		ck_assert_ptr_nonnull(e);
		ck_assert_msg(e->minutes == shifts[k], "%d: %lld", shifts[k],
			(long long)e->minutes);
		ck_assert_double_gt(e->values[0], 0.8);
		ck_assert_double_lt(e->values[1], 0.4);
		sample_free(s);
		sample_free(plain);
	}
}
END

TEST(a_hump_of_the_outdoor_temperature_is_measured_at_its_top)
{
	struct sample *s = healthy();
	for (int i = 480; i < 780; i++) {
		double facing = sin(M_PI * (i - 480) / 300.0);
		of(s, OUTDOOR)[i] += 7.0 * facing * facing;
	}
	look(s);
	const struct evidence *e = find(s, EVIDENCE_OUTDOOR, -1);
	ck_assert_double_gt(e->values[0], 3.0);
	ck_assert_int_ge(e->at_min, START + 600);
	ck_assert_int_le(e->at_min, START + 720);
	sample_free(s);
	s = healthy();
	look(s);
	ck_assert_double_lt(find(s, EVIDENCE_OUTDOOR, -1)->values[0], 1.0);
	sample_free(s);
}
END

	/* A day of one flow and one outdoor temperature: what the fit and Carnot make of
	   it. */
	static void
	expect_quotients(double flow_c, double outdoor_c, double fit, double fit_tol,
		double carnot, double carnot_tol)
{
	struct sample *s = healthy();
	set(s, OUTDOOR, 0, DAY, outdoor_c);
	set(s, FLOW, 0, DAY, flow_c);
	set(s, RETURN, 0, DAY, flow_c - 5.0);
	look(s);
	const struct evidence *e = find(s, EVIDENCE_EFFICIENCY, MODE_HEATING);
	ck_assert_ptr_nonnull(e);
	if (!isnan(fit))
		ck_assert_double_eq_tol(e->values[0] / e->values[2], fit, fit_tol);
	if (!isnan(carnot))
		ck_assert_double_eq_tol(e->values[0] / e->values[4], carnot, carnot_tol);
	ck_assert_double_eq_tol(e->values[3], flow_c - outdoor_c, 1e-9);
	ck_assert_double_eq_tol(e->values[5], outdoor_c, 1e-9);
	ck_assert_double_eq_tol(
		e->values[0], (double)e->minutes * 4170.0 * 5.0 * 17.5, 1.0);
	sample_free(s);
}

/* Clipped below the first K of its range, as the authors do. */
static void check_coefficients(char **f, size_t count, void *context)
{
	static const double lifts[] = {8.0, 15.0, 17.0, 28.5, 41.25, 63.0};
	ck_assert_uint_ge(count, 6);
	if (strcmp(f[0], "scidata2019") != 0 || strcmp(f[1], "air") != 0)
		return;
	(*(int *)context)++;
	double c0 = strtod(f[2], NULL), c1 = strtod(f[3], NULL), c2 = strtod(f[4], NULL);
	for (size_t i = 0; i < ARRAY_LEN(lifts); i++) {
		double d = fmax(lifts[i], strtod(f[5], NULL));
		expect_quotients(40.0, 40.0 - lifts[i], c0 + c1 * d + c2 * d * d, 1e-9,
			(double)NAN, 0.0);
	}
}

static void check_fit(char **f, size_t count, void *context)
{
	double d = strtod(f[0], NULL);
	(void)context;
	ck_assert_uint_eq(count, 9);
	expect_quotients(
		35.0, 35.0 - d, strtod(f[3], NULL), 1e-6, strtod(f[7], NULL), 1e-6);
}

static void check_carnot(char **f, size_t count, void *context)
{
	double source = strtod(f[0], NULL), sink = strtod(f[1], NULL);
	(void)context;
	ck_assert_uint_eq(count, 5);
	expect_quotients(sink, source, (double)NAN, 0.0, strtod(f[2], NULL), 0.05 + 1e-9);
	expect_quotients(sink, source, (double)NAN, 0.0, strtod(f[3], NULL), 1e-8);
}

static void check_grid(char **f, size_t count, void *context)
{
	double outdoor = strtod(f[0], NULL), flow = strtod(f[1], NULL);
	(void)context;
	ck_assert_uint_eq(count, 7);
	expect_quotients(
		flow, outdoor, strtod(f[3], NULL), 5.1e-5, strtod(f[5], NULL), 5.1e-5);
}

TEST(efficiency_is_measured_by_the_published_fit_and_by_carnot)
{
	int fits = 0;
	ck_assert_uint_eq(
		data_rows("cop_fit_coefficients.csv", check_coefficients, &fits), 5);
	ck_assert_int_eq(fits, 1);
	ck_assert_uint_eq(data_rows("cop_fit_checkvalues.csv", check_fit, NULL), 10);
	ck_assert_uint_eq(data_rows("carnot_cop.csv", check_carnot, NULL), 18);
	ck_assert_uint_eq(data_rows("cop_plausibility_grid.csv", check_grid, NULL), 56);
}
END

TEST(missing_minutes_say_what_is_missing)
{
	struct sample *s = healthy();
	set(s, RATE, 200, 230, (double)NAN);
	set(s, L1, 400, 440, (double)NAN);
	for (int c = 0; c < 11; c++)
		set(s, c, 600, 700, (double)NAN);
	book(s);
	for (int i = 400; i < 440; i++)
		s->day.meter_j[i] = 1000.0; /* a register's, bridged */
	evidence_of(&s->day, NULL, &s->list);
	static const struct {
		int at, minutes, what;
		double bridged_j;
	} wanted[] = {{200, 30, MISSING_HEAT, 0.0},
		{400, 40, MISSING_ELECTRICITY, 40000.0},
		{600, 100, MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL, 0.0}};
	size_t seen = 0;
	for (size_t i = 0; i < s->list.count; i++) {
		const struct evidence *e = &s->list.items[i];
		if (e->kind != EVIDENCE_MISSING)
			continue;
		ck_assert_uint_lt(seen, ARRAY_LEN(wanted));
		ck_assert_int_eq(e->at_min, START + wanted[seen].at);
		ck_assert_int_eq(e->minutes, wanted[seen].minutes);
		ck_assert_double_eq(e->values[0], wanted[seen].what);
		ck_assert_double_eq(e->values[1], wanted[seen].bridged_j);
		ck_assert_double_eq(e->values[2], 12.0);
		seen++;
	}
	ck_assert_uint_eq(seen, ARRAY_LEN(wanted));
	ck_assert_int_eq(find(s, EVIDENCE_SILENT, RATE)->minutes, 30);
	ck_assert_int_eq(find(s, EVIDENCE_SILENT, L1)->minutes, 40);
	sample_free(s);
}
END

/* Heat is unknown, and what it is worked out of is not: by IF97 water is ice below 0 °C,
 * and no circuit is above 100. */
TEST(what_the_fluid_does_not_allow_is_told_apart)
{
	struct sample *s = healthy();
	set(s, RETURN, 200, 230, -0.5);
	set(s, FLOW, 300, 330, 101.0);
	set(s, RETURN, 400, 430, -0.5);
	set(s, RATE, 400, 430, (double)NAN);
	set(s, RETURN, 500, 530, 0.5);
	book(s);
	for (int i = 200; i < 530; i++)
		if (i % 100 < 30)
			s->day.booked[i].heat_ms = 0;
	evidence_of(&s->day, NULL, &s->list);
	static const int wanted[][2] = {{200, MISSING_HEAT | MISSING_COLD},
		{300, MISSING_HEAT | MISSING_HOT}, {400, MISSING_HEAT},
		{500, MISSING_HEAT}};
	size_t seen = 0;
	for (size_t i = 0; i < s->list.count; i++) {
		const struct evidence *e = &s->list.items[i];
		if (e->kind != EVIDENCE_MISSING)
			continue;
		ck_assert_uint_lt(seen, ARRAY_LEN(wanted));
		ck_assert_int_eq(e->at_min, START + wanted[seen][0]);
		ck_assert_int_eq(e->minutes, 30);
		ck_assert_double_eq(e->values[0], wanted[seen][1]);
		seen++;
	}
	ck_assert_uint_eq(seen, ARRAY_LEN(wanted));
	sample_free(s);
}
END

TEST(words_without_a_name_are_counted_by_channel)
{
	struct sample *s = healthy();
	set(s, VALVE, 500, 520, -1.0);
	look(s);
	ck_assert_int_eq(find(s, EVIDENCE_STATE_UNKNOWN, VALVE)->minutes, 20);
	ck_assert_int_eq(find(s, EVIDENCE_STATE_UNKNOWN, VALVE)->at_min, START + 500);
	ck_assert_ptr_null(find(s, EVIDENCE_STATE_UNKNOWN, DEFROST));
	sample_free(s);
}
END

TEST(an_immersion_heater_is_told_with_its_longest_run)
{
	struct sample *s = healthy();
	set(s, HEATER, 360, 405, 3000.0);
	set(s, HEATER, 800, 810, 3000.0);
	look(s);
	const struct evidence *e = find(s, EVIDENCE_IMMERSION, 1);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START + 360);
	ck_assert_int_eq(e->minutes, 55);
	ck_assert_double_eq_tol(e->values[0], 55 * 180000.0, 1e-6);
	ck_assert_double_eq(e->values[1], 45.0);
	sample_free(s);
}
END

TEST(a_valve_that_is_told_late_is_late_against_the_flow)
{
	struct sample *s = healthy();
	/* Three hot-water runs, each within a run of the compressor. */
	set(s, VALVE, 0, DAY, 0.0);
	for (int run = 0; run < 3; run++) {
		int from = 165 + run * 160;
		set(s, RATE, from, from + 30, 19.5);
		set(s, VALVE, from + 6, from + 36, 1.0);
	}
	set(s, RATE, 780, 820, 17.5);
	look(s);
	const struct evidence *e = find(s, EVIDENCE_FLAG, MODE_HOT_WATER);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START + 165);
	ck_assert_int_eq(e->minutes, 6);
	ck_assert_double_eq(e->values[0], 3.0);
	ck_assert_double_eq(e->values[1], 3.0);
	ck_assert_double_eq(e->values[2], 6.0);
	ck_assert_ptr_null(find(s, EVIDENCE_FLAG, MODE_DEFROST));
	sample_free(s);
}
END

/* The flow turns colder than the return at once, the flag is read four minutes later. */
TEST(a_defrost_that_is_told_late_is_late_against_the_water)
{
	struct sample *s = healthy();
	for (int run = 0; run < 3; run++) {
		int from = 165 + run * 160;
		for (int i = from; i < from + 8; i++)
			of(s, FLOW)[i] = of(s, RETURN)[i] - 3.0;
		set(s, DEFROST, from + 4, from + 10, 1.0);
	}
	look(s);
	const struct evidence *e = find(s, EVIDENCE_FLAG, MODE_DEFROST);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, 4);
	ck_assert_double_eq(e->values[0], 3.0);
	ck_assert_int_eq(find(s, EVIDENCE_FLAG, MODE_HOT_WATER)->minutes, 0);
	sample_free(s);
}
END

TEST(a_register_is_set_against_power)
{
	struct register_day registers[COUNTED_MOST] = {
		{.minutes = 900, .register_j = 3.6e6, .power_j = 3.3e6}};
	registers[COUNTED_HEAT] =
		(struct register_day){.minutes = 800, .register_j = 9e6, .power_j = 8e6};
	struct sample *s = healthy();
	book(s);
	evidence_of(&s->day, registers, &s->list);
	const struct evidence *e = find(s, EVIDENCE_REGISTER, 0);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[0], 3.6e6);
	ck_assert_double_eq(e->values[1], 3.3e6);
	ck_assert_ptr_null(find(s, EVIDENCE_REGISTER, 1));
	const struct evidence *heat = find(s, EVIDENCE_HEAT_REGISTER, -1);
	ck_assert_ptr_nonnull(heat);
	ck_assert_double_eq(heat->values[0], 9e6);
	ck_assert_double_eq(heat->values[1], 8e6);
	ck_assert_int_eq(heat->minutes, 800);
	sample_free(s);
}
END

/* A tenth more while the unit runs, three times as much at rest, when it draws 12 W. */
TEST(an_apparent_meter_is_set_against_the_true_one_and_adds_to_nothing)
{
	_cleanup_(freep) char *text =
		xasprintf("%s[channel va]\ntopic = b/4\nunit = W\n[meter va]\n"
			  "feeds = compressor, circulation\npower = va\napparent = yes\n",
			house);
	struct sample *s = healthy_of(text), *alone = healthy();
	book(s);
	for (int i = 0; i < DAY; i++) {
		double j = s->day.meter_j[i], more = j > 10000.0 ? 1.1 : 3.0;
		s->day.meter_j[2 * DAY + i] = i < 100 ? (double)NAN : more * j;
		s->day.meter_ms[2 * DAY + i] = i < 100 ? 0 : 60000;
	}
	evidence_of(&s->day, NULL, &s->list);
	look(alone);
	const struct evidence *e = find(s, EVIDENCE_APPARENT, 2);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, DAY - 100);
	ck_assert_double_eq_tol(e->values[0] / e->values[1], 1.1, 1e-9);
	ck_assert_double_eq_tol(e->values[2] / e->values[3], 3.0, 1e-9);
	ck_assert_double_eq_tol(find(s, EVIDENCE_EFFICIENCY, MODE_HEATING)->values[1],
		find(alone, EVIDENCE_EFFICIENCY, MODE_HEATING)->values[1], 1e-3);
	sample_free(s);
	sample_free(alone);
}
END

TEST(a_day_of_which_nothing_is_known_is_one_gap)
{
	struct sample *s = xcalloc(1, sizeof(*s));
	s->config = configured(house);
	day_minutes_init(&s->day, s->config, START, START + DAY);
	evidence_of(&s->day, NULL, &s->list);
	ck_assert_uint_eq(s->list.count, 2);
	ck_assert_int_eq(s->list.items[1].kind, EVIDENCE_MISSING);
	ck_assert_int_eq(s->list.items[1].minutes, DAY);
	sample_free(s);
}
END

/* No channel, no meter: nothing is looked for, nothing is touched. */
TEST(a_plant_without_channels_has_no_evidence_but_the_look)
{
	struct sample *s = xcalloc(1, sizeof(*s));
	s->config = configured("[plant]\nzone = UTC\n");
	day_minutes_init(&s->day, s->config, START, START + 1500);
	evidence_of(&s->day, NULL, &s->list);
	for (size_t i = 0; i < s->list.count; i++)
		ck_assert(s->list.items[i].kind == EVIDENCE_LOOKED ||
			  s->list.items[i].kind == EVIDENCE_MISSING);
	sample_free(s);
}
END

TESTS(a_healthy_day_says_only_what_every_day_says,
	rest_begins_ten_minutes_after_the_stop_and_five_after_the_pump,
	a_heater_or_a_moving_valve_is_no_rest,
	one_reversed_phase_is_seen_beside_the_others,
	a_compressor_without_flow_is_seen_but_not_its_start,
	a_return_above_the_flow_is_seen_outside_of_defrost, a_defrost_of_an_hour_is_none,
	both_pipes_standing_still_with_the_return_above_are_repeated_values,
	both_pipes_standing_still_with_the_flow_above_are_frozen,
	pipes_as_warm_as_their_room_are_not_repeated_values,
	coarse_pipes_a_step_apart_are_not_repeated_values,
	a_sensor_is_frozen_when_its_other_moves,
	an_outdoor_sensor_is_frozen_after_three_hours_of_one_value,
	grids_are_told_by_levels_that_held, a_source_of_five_minutes_is_slow,
	hours_are_slow_though_few_of_them_change,
	a_meter_that_is_late_is_so_by_its_minutes,
	a_hump_of_the_outdoor_temperature_is_measured_at_its_top,
	efficiency_is_measured_by_the_published_fit_and_by_carnot, missing_minutes_say_what_is_missing,
	words_without_a_name_are_counted_by_channel,
	an_immersion_heater_is_told_with_its_longest_run,
	a_valve_that_is_told_late_is_late_against_the_flow,
	a_defrost_that_is_told_late_is_late_against_the_water,
	a_register_is_set_against_power,
	an_apparent_meter_is_set_against_the_true_one_and_adds_to_nothing, a_day_of_which_nothing_is_known_is_one_gap,
	a_plant_without_channels_has_no_evidence_but_the_look,
	what_the_fluid_does_not_allow_is_told_apart)
