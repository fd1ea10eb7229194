/*
 * What is rest of the pair of temperature sensors, and what only looks like it: a heater
 * in line that nobody meters, a house that is cooled without the compressor, a control
 * that says what works. What sensors do not err by is no correction to paste.
 *
 * A heater of 3 kW at 17.5 L/min leaves the flow 3000 / (17.5 / 60 * 4170) = 2.47 K above
 * the return (by hand).
 */
#include "made_days.h"
#include "made_minutes.h"

#define CHANNELS                                                                         \
	"[channel flow_temperature]\ntopic = a/1\n"                                      \
	"[channel return_temperature]\ntopic = a/2\n[channel flow_rate]\ntopic = a/3\n"  \
	"[channel compressor_frequency]\ntopic = a/4\n"                                  \
	"[channel operating_mode]\ntopic = a/5\n"
#define UNIT_METER                                                                       \
	"[channel watts]\ntopic = a/6\nunit = W\n"                                       \
	"[meter unit]\nfeeds = compressor, circulation\npower = watts\n"
#define HEATER_METER                                                                     \
	"[channel rod]\ntopic = a/7\nunit = W\n"                                         \
	"[meter rod]\nfeeds = backup_heater\npower = rod\n"
#define PLANT(more) "[plant]\nzone = Europe/Berlin\n" more

enum { C_FLOW, C_RETURN, C_RATE, C_HZ, C_MODE, C_WATTS };

/* The unit rests all day, but for the first hour in which it heats; water goes round. */
static struct sample *resting_day(double resting_k, double says)
{
	struct sample *s = sample_new(PLANT("") CHANNELS UNIT_METER);
	for (int i = 0; i < DAY; i++) {
		bool on = i < 60;
		of(s, C_RETURN)[i] = 28.0 + 0.01 * (i % 7);
		of(s, C_FLOW)[i] = of(s, C_RETURN)[i] + (on ? 5.0 : resting_k);
		of(s, C_RATE)[i] = 17.5;
		of(s, C_HZ)[i] = on ? 45.0 : 0.0;
		of(s, C_MODE)[i] = on ? OPERATING_HEATING : says;
		of(s, C_WATTS)[i] = on ? 1500.0 : 70.0;
		s->day.booked[i] = (struct day_booked){.heat_ms = 60000,
			.mode = on ? MODE_HEATING : MODE_STANDBY,
			.mode_ms = 60000};
		meter(s, 0, i, of(s, C_WATTS)[i]);
	}
	return s;
}

static const struct evidence *rest_of_day(struct sample *s)
{
	evidence_of(&s->day, NULL, &s->list);
	return find(s, EVIDENCE_REST, -1);
}

TEST(rest_tells_its_mean_and_its_greatest_difference)
{
	struct sample *s = resting_day(0.3, OPERATING_STANDBY);
	of(s, C_FLOW)[700] += 1.0;
	const struct evidence *e = rest_of_day(s);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START + 70);
	ck_assert_double_eq_tol(e->values[0], 0.3 + 1.0 / 1370.0, 1e-9);
	ck_assert_double_eq_tol(e->values[1], 1.3, 1e-9);
	sample_free(s);
}
END

TEST(who_says_cooling_rests_at_no_time)
{
	struct sample *s = resting_day(-4.0, OPERATING_COOLING);
	ck_assert_ptr_null(rest_of_day(s));
	sample_free(s);
}
END

/* A control that knows standby means it when it says heating; one that never says so
 * tells what is asked for. */
TEST(heating_by_name_is_no_rest_where_the_control_knows_standby)
{
	static const double says[] = {OPERATING_HEATING, OPERATING_HOT_WATER};
	for (size_t k = 0; k < ARRAY_LEN(says); k++)
		for (int knows = 0; knows < 2; knows++) {
			struct sample *s = resting_day(2.47, says[k]);
			if (knows)
				of(s, C_MODE)[DAY - 1] = OPERATING_STANDBY;
			const struct evidence *e = rest_of_day(s);
			ck_assert_int_eq(e && e->minutes > 1, !knows);
			sample_free(s);
		}
}
END

	/* ---- what is found in it ---- */

	/* Days with four stretches of rest each. */
	static struct made_days *
	resting_days(const char *plant, double k)
{
	struct made_days *m = days_without_boundary(plant);
	for (size_t d = 0; d < DAYS; d++)
		for (int i = 0; i < 4; i++) {
			struct evidence *e = add(m, d, EVIDENCE_REST, -1, 100 * i, 3);
			e->values[0] = k + 0.01 * (i - 1.5);
			e->values[1] = e->values[0] + 0.05;
			e->values[2] = 17.5;
		}
	return m;
}

#define LISTED                                                                           \
	PLANT("devices = compressor, circulation, backup_heater\n") CHANNELS UNIT_METER
#define UNSAID PLANT("") CHANNELS UNIT_METER
#define LACKED PLANT("devices = compressor, circulation\n") CHANNELS UNIT_METER
#define METERED                                                                          \
	PLANT("devices = compressor, circulation, backup_heater\n")                      \
	CHANNELS UNIT_METER HEATER_METER
#define BARE                                                                             \
	PLANT("devices = compressor, circulation\npair_limit = 4 K\n")                   \
	CHANNELS UNIT_METER

enum says { NOTHING, DOUBT, SECTION };

TEST(a_difference_that_a_heater_makes_is_not_corrected)
{
	static const struct {
		const char *plant;
		double k;
		enum says says;
	} rows[] = {
		{LISTED, 2.47, NOTHING},
		{LISTED, 0.3, DOUBT}, /* 365 W of 17.5 L/min */
		{LISTED, 0.24, SECTION},
		{LISTED, -0.3, SECTION},
		{LISTED, -1.2, SECTION}, /* a heater cools nothing */
		{UNSAID, 2.47, DOUBT},
		{UNSAID, 1.2, DOUBT},
		{UNSAID, 0.3, DOUBT},
		{UNSAID, 0.24, SECTION},
		{UNSAID, -1.2, SECTION},
		{LACKED, 2.47, DOUBT},
		{LACKED, -4.08, DOUBT},
		{LACKED, 1.2, SECTION},
		{METERED, 1.2, SECTION},
		{METERED, 2.47, DOUBT},
		{BARE, 2.47, SECTION},
		{BARE, -4.08, DOUBT},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = resting_days(rows[i].plant, rows[i].k);
		if (rows[i].says == NOTHING) {
			none(m);
			days_free(m);
			continue;
		}
		const struct finding *f = only(m, FINDING_PAIR_OFFSET);
		bool section = rows[i].says == SECTION;
		ck_assert_double_eq_tol(f->size, rows[i].k, 0.001);
		ck_assert_msg((f->correction != NULL) == section, "row %zu", i);
		ck_assert_int_eq(isnan(f->effect), !section);
		ck_assert_int_eq(strstr(f->evidence, "is off by") != NULL, section);
		if (!section)
			expect_advice(f, rows[i].k > 0.0 ? "in devices of [plant]"
							 : "let operating_mode say");
		days_free(m);
	}
}
END

/* Of little water a heater makes much: where it is not metered, it is that of usual
 * circuits. */
TEST(what_a_heater_may_do_goes_by_the_water_that_went_round)
{
	static const struct {
		double k, lpm;
		bool section;
	} rows[] = {{0.3, 12.0, true}, {0.3, 17.5, false}, {0.2, 30.0, false},
		{0.2, 17.5, true}, {0.2, (double)NAN, true}, {0.3, (double)NAN, false}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = resting_days(UNSAID, rows[i].k);
		for (size_t d = 0; d < DAYS; d++)
			for (size_t n = 0; n < m->days[d].count; n++)
				m->items[d][n].values[2] = rows[i].lpm;
		const struct finding *f = only(m, FINDING_PAIR_OFFSET);
		ck_assert_msg((f->correction != NULL) == rows[i].section, "row %zu", i);
		if (!rows[i].section)
			expect_advice(f, "as likely as the sensors");
		days_free(m);
	}
}
END

/* Stretches that the heater warmed beside others that tell the pair's own error. */
TEST(an_offset_is_found_beside_a_heater)
{
	struct made_days *m = resting_days(LISTED, 0.2);
	for (size_t d = 0; d < DAYS; d++)
		for (int i = 0; i < 4; i++) {
			struct evidence *e =
				add(m, d, EVIDENCE_REST, -1, 600 + 100 * i, 3);
			e->values[0] = i < 2 ? 2.77 : 0.6; /* on for some of it */
			e->values[1] = 2.8;
		}
	const struct finding *f = only(m, FINDING_PAIR_OFFSET);
	ck_assert_double_eq_tol(f->size, 0.2, 0.001);
	ck_assert_ptr_nonnull(f->correction);
	expect_advice(f, "no heater in line was on");
	days_free(m);
}
END

/* What an earlier section put wrong is taken out, however much it is. */
TEST(a_correction_that_is_too_much_is_taken_back)
{
	struct made_days *m =
		resting_days(LACKED "[correction pair_offset_2026_01_01]\n"
				    "channel = return_temperature\noffset = +2.5 K\n"
				    "from = 2026-01-01\n",
			-2.5);
	const struct finding *f = only(m, FINDING_PAIR_OFFSET);
	expect_advice(f, "take [correction pair_offset_2026_01_01] out");
	ck_assert_ptr_null(f->correction);
	days_free(m);
}
END

TESTS(rest_tells_its_mean_and_its_greatest_difference, who_says_cooling_rests_at_no_time,
	heating_by_name_is_no_rest_where_the_control_knows_standby,
	a_difference_that_a_heater_makes_is_not_corrected,
	what_a_heater_may_do_goes_by_the_water_that_went_round,
	an_offset_is_found_beside_a_heater,
	a_correction_that_is_too_much_is_taken_back)
