/*
 * A register that stands still while energy flows: what a day made by hand is evidence
 * of, and what is told of days.
 *
 * Reference: hand-computed sums. A day of 1,500 W in an hour of each 80 minutes and 12 W
 * else takes 27.08 kWh (1080 minutes of 25 Wh and 360 of 0.2 Wh).
 */
#include "made_days.h"
#include "made_minutes.h"

enum { FLOW, PIPE, RATE, HZ, WATTS, COUNT, HEAT };

#define CHANNELS                                                                         \
	"[channel flow_temperature]\ntopic = a/1\n"                                      \
	"[channel return_temperature]\ntopic = a/2\n[channel flow_rate]\ntopic = a/3\n"  \
	"[channel compressor_frequency]\ntopic = a/4\n"                                  \
	"[channel watts]\ntopic = a/5\nunit = W\n"                                       \
	"[channel count]\ntopic = a/6\nunit = kWh\n"
#define HEAT_COUNT "[channel heat_register]\ntopic = a/7\nunit = kWh\n"

static const char both[] = "[plant]\nzone = UTC\n" CHANNELS
			   "[meter unit]\nfeeds = compressor\npower = watts\n"
			   "register = count\n";
static const char alone[] = "[plant]\nzone = UTC\n" CHANNELS
			    "[meter unit]\nfeeds = compressor\nregister = count\n";
static const char heat[] =
	"[plant]\nzone = UTC\nheat_source = register\n" CHANNELS HEAT_COUNT
	"[meter unit]\nfeeds = compressor\npower = watts\n";

/* 17.5 L/min and 5 K, four times the electricity, in an hour of each 80 minutes; what
 * registers say is rounded down to a step. */
static struct sample *day_of(const char *text, double step_kwh)
{
	struct sample *s = sample_new(text);
	double kwh = 500.0, heat_kwh = 900.0;
	bool registers = config_counted(s->config, COUNTED_HEAT) != NULL;
	for (int i = 0; i < DAY; i++) {
		bool on = i % 80 < 60;
		double w = on ? 1500.0 : 12.0, heat_w = on ? 6081.25 : 0.0;
		kwh += w / 60e3;
		heat_kwh += heat_w / 60e3;
		of(s, FLOW)[i] = on ? 35.0 : 30.0;
		of(s, PIPE)[i] = 30.0;
		of(s, RATE)[i] = on ? 17.5 : 0.0;
		of(s, HZ)[i] = on ? 45.0 : 0.0;
		of(s, WATTS)[i] = w;
		of(s, COUNT)[i] = floor(kwh / step_kwh) * step_kwh;
		if (registers)
			of(s, HEAT)[i] = floor(heat_kwh / step_kwh) * step_kwh;
		s->day.booked[i] = (struct day_booked){.heat_j = 60.0 * heat_w,
			.heat_ms = 60000,
			.mode = on ? MODE_HEATING : MODE_STANDBY,
			.mode_ms = 60000};
		meter(s, 0, i, w);
	}
	return s;
}

static const struct evidence *still(struct sample *s)
{
	evidence_of(&s->day, NULL, &s->list);
	return find(s, EVIDENCE_STILL, -1);
}

TEST(a_register_that_counts_is_none)
{
	static const char *const plants[] = {both, alone, heat};
	static const double steps[] = {0.001, 0.01, 0.1, 1.0, 10.0};
	for (size_t p = 0; p < ARRAY_LEN(plants); p++)
		for (size_t i = 0; i < ARRAY_LEN(steps); i++) {
			struct sample *s = day_of(plants[p], steps[i]);
			ck_assert_msg(!still(s), "plant %zu, step %g", p, steps[i]);
			sample_free(s);
		}
}
END

/* A thousandth of what it should: it moves, if by little. */
TEST(a_register_in_another_unit_is_none)
{
	struct sample *s = day_of(both, 0.001);
	for (int i = 0; i < DAY; i++)
		of(s, COUNT)[i] = floor(of(s, COUNT)[i]) / 1000.0;
	ck_assert_ptr_null(still(s));
	sample_free(s);
}
END

/* From minute 60 on, as it rests for 20 minutes first, 25.57 kWh of 27.07: told is what
 * power says, what was booked, and
 * what part of the day it is. */
TEST(a_reading_that_is_repeated_is_told_beside_power)
{
	struct sample *s = day_of(both, 0.01);
	set(s, COUNT, 80, DAY, 501.5);
	for (int i = 80; i < DAY; i++)
		s->day.meter_j[i] = 10.0;
	const struct evidence *e = still(s);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->subject, COUNT);
	ck_assert_int_eq(e->at_min, START + 60);
	ck_assert_int_eq(e->at_min + e->minutes, START + DAY);
	ck_assert_double_eq(e->values[0], 501.5);
	ck_assert_double_eq_tol(e->values[1] / J_PER_KWH, 25.57, 0.01);
	ck_assert_double_eq_tol(e->values[2] / J_PER_KWH, 103.4, 0.1);
	ck_assert_double_eq(e->values[3], 20 * 720.0 + 1360 * 10.0);
	ck_assert_double_eq_tol(e->values[4], 25.57 / 27.07, 0.01);
	sample_free(s);
}
END

TEST(without_power_the_heat_tells)
{
	struct sample *s = day_of(alone, 0.01);
	set(s, COUNT, 80, DAY, 501.5);
	const struct evidence *e = still(s);
	ck_assert_ptr_nonnull(e);
	ck_assert(isnan(e->values[1]));
	ck_assert_double_eq_tol(e->values[2] / J_PER_KWH, 103.4, 0.1);
	sample_free(s);
	s = day_of(alone, 0.01); /* at rest it stands by right */
	set(s, COUNT, 0, DAY, 501.5);
	for (int i = 0; i < DAY; i++)
		s->day.booked[i].heat_j = 0.0;
	ck_assert_ptr_null(still(s));
	sample_free(s);
}
END

TEST(a_heat_register_is_told_beside_the_pipes_or_electricity)
{
	struct sample *s = day_of(heat, 0.01);
	set(s, HEAT, 80, DAY, 906.0);
	const struct evidence *e = still(s);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->subject, HEAT);
	ck_assert_double_eq_tol(e->values[1] / J_PER_KWH, 103.4, 0.1);
	ck_assert_double_eq_tol(e->values[2] / J_PER_KWH, 25.57, 0.01);
	sample_free(s);
	s = day_of(heat, 0.01);
	set(s, HEAT, 80, DAY, 906.0);
	set(s, RATE, 0, DAY, (double)NAN);
	e = still(s);
	ck_assert_ptr_nonnull(e);
	ck_assert(isnan(e->values[1]));
	sample_free(s);
}
END

/* Half of the day, then it says what it missed: nothing is missing. */
TEST(a_reading_that_catches_up_within_the_day_is_none)
{
	struct sample *s = day_of(both, 0.01);
	set(s, COUNT, 80, 1000, 501.5);
	ck_assert_ptr_null(still(s));
	sample_free(s);
}
END

	/* ---- what is told ---- */

	static void
	stood(struct made_days *m, int day, int from, int to, double said_kwh,
		double heat_kwh, double booked_kwh, double share)
{
	struct evidence *e = add(m, (size_t)day, EVIDENCE_STILL, COUNT, from, to - from);
	e->values[0] = 501.5;
	e->values[1] = said_kwh * J_PER_KWH;
	e->values[2] = heat_kwh * J_PER_KWH;
	e->values[3] = booked_kwh * J_PER_KWH;
	e->values[4] = share;
}

/* From 18 h of day 10 to 6 h of day 13. Of 2.777 kWh of electricity a day that power
 * knew, 2.5 days are 6.94 kWh; 40 days of 10 and 2.778 kWh of heat and electricity. */
static void stood_for_two_days_and_a_half(struct made_days *m, bool power, bool open)
{
	static const int from[] = {1080, 0, 0, 0}, to[] = {1440, 1440, 1440, 360};
	static const double part[] = {0.25, 1.0, 1.0, 0.25};
	for (int i = 0; i < 4; i++) {
		double whole = 10.0 / 3.6;
		stood(m, 10 + i, from[i], to[i], power ? whole * part[i] : (double)NAN,
			10.0 * part[i], open ? whole * part[i] : 0.01 * part[i], part[i]);
		m->days[10 + i].paired_electricity_j -=
			open ? 0 : (int64_t)((whole - 0.01) * part[i] * J_PER_KWH);
	}
}

/* Heat 40 * 36 MJ; electricity 400 MJ less 24.91 MJ. */
TEST(what_is_missing_is_told_with_what_it_does_to_the_season)
{
	for (int power = 0; power < 2; power++) {
		struct made_days *m = days_of(both);
		stood_for_two_days_and_a_half(m, power, false);
		const struct finding *f = only(m, FINDING_REGISTER_STILL);
		ck_assert_str_eq(f->subject, "unit");
		ck_assert_int_eq(
			f->since_ms, (START + 10 * MIN_PER_DAY + 1080) * MS_PER_MIN);
		ck_assert_int_eq(
			f->until_ms, (START + 13 * MIN_PER_DAY + 360) * MS_PER_MIN);
		ck_assert_double_eq_tol(f->size, 2.5 * (10.0 / 3.6 - 0.01), 1e-3);
		ck_assert_str_eq(f->unit, "kW.h");
		ck_assert_double_eq_tol(
			f->effect, 1440.0 / 375.09 - 1440.0 / 400.0, 1e-3);
		expect_advice(f, "repeats an old reading");
		days_free(m);
	}
}
END

TEST(what_was_caught_up_is_none_unless_days_are_without)
{
	struct made_days *m = days_of(both);
	stood_for_two_days_and_a_half(m, true, true);
	none(m);
	days_free(m);
	m = days_of(both); /* a register alone, which said it all on the next day */
	stood_for_two_days_and_a_half(m, false, false);
	m->days[14].paired_electricity_j += 25000000;
	const struct finding *f = only(m, FINDING_REGISTER_STILL);
	ck_assert(isnan(f->effect));
	ck_assert_ptr_nonnull(strstr(f->evidence, "caught up: the sum is right"));
	days_free(m);
}
END

TEST(what_still_stands_is_told_before_it_is_decided)
{
	struct made_days *m = days_of(both);
	for (int day = 37; day < DAYS; day++)
		stood(m, day, 0, 1440, 2.778, 10.0, 2.778, 1.0);
	const struct finding *f = only(m, FINDING_REGISTER_STILL);
	ck_assert(f->lasts && isnan(f->effect));
	ck_assert_double_eq_tol(f->size, 3 * 2.778, 1e-6);
	ck_assert_ptr_nonnull(strstr(f->evidence, "So far"));
	days_free(m);
}
END

/* What power and register then differ by, and what factor comes of it, follows. */
TEST(what_follows_from_it_is_not_told_again)
{
	struct made_days *m = days_of(both);
	for (int day = 10; day < 14; day++) {
		stood(m, day, 0, 1440, 10.0, 40.0, 0.05, 1.0);
		struct evidence *e = add(m, (size_t)day, EVIDENCE_REGISTER, 0, 0, 1440);
		e->values[0] = 0.05 * J_PER_KWH;
		e->values[1] = 10.0 * J_PER_KWH;
		m->days[day].paired_heat_j = 144000000;
		m->days[day].paired_electricity_j = 180000;
	}
	(void)only(m, FINDING_REGISTER_STILL);
	days_free(m);
}
END

TESTS(a_register_that_counts_is_none, a_register_in_another_unit_is_none,
	a_reading_that_is_repeated_is_told_beside_power, without_power_the_heat_tells,
	a_heat_register_is_told_beside_the_pipes_or_electricity,
	a_reading_that_catches_up_within_the_day_is_none,
	what_is_missing_is_told_with_what_it_does_to_the_season,
	what_was_caught_up_is_none_unless_days_are_without,
	what_still_stands_is_told_before_it_is_decided,
	what_follows_from_it_is_not_told_again)
