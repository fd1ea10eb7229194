/*
 * A pump's flag that says off while water flows, and a heat meter that does not know the
 * sign of heat: what days show of it, and what is found.
 *
 * 17.5 L/min at 35 and 30 °C and 2 bar, the meter in the return: 6068.4 W (python3-iapws
 * 1.5.2, computed).
 */
#include "made_days.h"
#include "made_minutes.h"

#define CHANNELS                                                                         \
	"[channel flow_temperature]\ntopic = a/1\n"                                      \
	"[channel return_temperature]\ntopic = a/2\n[channel flow_rate]\ntopic = a/3\n"  \
	"[channel compressor_frequency]\ntopic = a/4\n"                                  \
	"[channel circulation_pump]\ntopic = a/5\n"                                      \
	"[channel watts]\ntopic = a/6\nunit = W\n"                                       \
	"[channel heat_power]\ntopic = a/7\nunit = W\n"                                  \
	"[meter unit]\nfeeds = compressor, circulation\npower = watts\n"                 \
	"[channel heat_register]\ntopic = a/8\nunit = kWh\n"
#define FALLS       "falls = yes\n" /* of the last section */
#define PLANT(more) "[plant]\nzone = Europe/Berlin\n" more CHANNELS

enum { C_FLOW, C_RETURN, C_RATE, C_HZ, C_PUMP, C_WATTS, C_POWER };

/* An hour of heating, then a rest without flow. */
static struct sample *day_with(const char *text, double pump)
{
	struct sample *s = sample_new(text);
	for (int i = 0; i < DAY; i++) {
		bool on = i < 60;
		of(s, C_FLOW)[i] = on ? 35.0 : 28.0;
		of(s, C_RETURN)[i] = on ? 30.0 : 28.0;
		of(s, C_RATE)[i] = on ? 17.5 : 0.0;
		of(s, C_HZ)[i] = on ? 45.0 : 0.0;
		of(s, C_PUMP)[i] = on ? pump : STATE_OFF;
		of(s, C_WATTS)[i] = on ? 1500.0 : 12.0;
		of(s, C_POWER)[i] = 0.0;
		s->day.booked[i] = (struct day_booked){.heat_ms = 60000,
			.mode = on ? MODE_HEATING : MODE_STANDBY,
			.mode_ms = 60000};
		meter(s, 0, i, of(s, C_WATTS)[i]);
	}
	return s;
}

TEST(a_pump_that_is_off_while_water_flows_is_seen)
{
	struct sample *s = day_with(PLANT(""), STATE_OFF);
	evidence_of(&s->day, NULL, &s->list);
	const struct evidence *e = find(s, EVIDENCE_PUMP_OFF, -1);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START);
	ck_assert_int_eq(e->minutes, 60);
	ck_assert_double_eq_tol(e->values[0], 60 * 60 * 1500.0, 1e-6);
	ck_assert_double_eq_tol(e->values[1], 60 * 60 * 6068.4, 60 * 60 * 0.1);
	sample_free(s);
	s = day_with(PLANT(""), STATE_ON);
	set(s, C_PUMP, 10, 14, STATE_OFF); /* four minutes late */
	evidence_of(&s->day, NULL, &s->list);
	ck_assert_ptr_null(find(s, EVIDENCE_PUMP_OFF, -1));
	sample_free(s);
}
END

/* 22.6 kWh a day that are not booked, of 40 days with 36 MJ by 10 MJ. */
TEST(a_pumps_flag_that_takes_all_heat_is_found)
{
	struct made_days *m = days_of(PLANT(""));
	for (size_t d = 10; d < 14; d++) {
		struct evidence *e = add(m, d, EVIDENCE_PUMP_OFF, -1, 0, 900);
		e->values[0] = 5.6 * J_PER_KWH;
		e->values[1] = 22.6 * J_PER_KWH;
	}
	const struct finding *f = only(m, FINDING_FLOW_ZERO_RUNNING);
	expect_days(f, 10, 14);
	ck_assert_str_eq(f->subject, "circulation_pump");
	ck_assert_double_eq(f->size, 3600.0);
	ck_assert_double_eq_tol(f->effect, -4 * 22.6 * 3.6 / 400.0, 1e-6);
	ck_assert_ptr_nonnull(strstr(f->evidence, "90.4 kWh"));
	expect_advice(f, "give the channel another name");
	days_free(m);
}
END

	/* ---- a heat meter's sign ---- */

	/* Ten minutes of a defrost that draws 4.5 kW, of a meter that says `said_w`. */
	static const struct evidence *
	thaw(struct sample *s, enum mode mode, double said_w, double power_w)
{
	for (int i = 60; i < 70; i++) {
		s->day.booked[i].mode = mode;
		s->day.booked[i].heat_j = said_w * 60.0;
		of(s, C_POWER)[i] = power_w;
	}
	evidence_of(&s->day, NULL, &s->list);
	return find(s, EVIDENCE_SIGN, (int)mode);
}

TEST(heat_in_modes_that_draw_it_is_held_against_what_stands_beside)
{
	struct sample *s = day_with(PLANT("heat_source = register\n"), STATE_ON);
	const struct evidence *e = thaw(s, MODE_DEFROST, 0.0, -4500.0);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, 10);
	ck_assert_double_eq(e->values[0], 0.0);
	ck_assert_double_eq_tol(e->values[1], -2.7e6, 1e-3);
	sample_free(s);
	s = day_with(PLANT("heat_source = power\n"), STATE_ON);
	set(s, C_RATE, 60, 70, 17.5);
	set(s, C_FLOW, 60, 70, 25.0);
	set(s, C_RETURN, 60, 70, 30.0);
	e = thaw(s, MODE_COOLING, 6000.0, 6000.0);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq_tol(e->values[0], 3.6e6, 1e-3);
	ck_assert_double_lt(e->values[1], -3.5e6); /* by the pipes, not by itself */
	sample_free(s);
	s = day_with(PLANT(""), STATE_ON); /* computed: its sign is its own */
	ck_assert_ptr_null(thaw(s, MODE_DEFROST, 0.0, -4500.0));
	sample_free(s);
}
END

	static void
	drawn(struct made_days *m, enum mode mode, double booked_kwh, double beside_kwh)
{
	for (size_t d = 10; d < 20; d++) {
		struct evidence *e = add(m, d, EVIDENCE_SIGN, (int)mode, 0, 72);
		e->values[0] = booked_kwh * J_PER_KWH;
		e->values[1] = beside_kwh * J_PER_KWH;
	}
}

/* 72 minutes of defrost at 4.5 kW a day are 5.4 kWh: too much by as much where nothing is
 * negative, by twice as much where the sign is lost. */
TEST(defrosts_that_draw_no_heat_are_found)
{
	static const struct {
		const char *source;
		double booked_kwh, beside_kwh, size_kwh;
	} rows[] = {
		{"heat_source = register\n", 0.0, -5.4, 54.0},
		{"heat_source = power\n", 5.4, -5.4, 108.0},
		{"heat_source = power\n", 5.4, NAN, 108.0},
		{"heat_source = register\n", 0.0, NAN, NAN},
		{"heat_source = register\n", 0.2, NAN, NAN}, /* of its steps */
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf(
			"[plant]\nzone = Europe/Berlin\n%s" CHANNELS, rows[i].source);
		struct made_days *m = days_of(text);
		drawn(m, MODE_DEFROST, rows[i].booked_kwh, rows[i].beside_kwh);
		const struct finding *f = only(m, FINDING_HEAT_SIGN);
		expect_days(f, 10, 20);
		if (isnan(rows[i].size_kwh)) {
			ck_assert(isnan(f->size) && isnan(f->effect));
		} else {
			ck_assert_double_eq_tol(f->size, rows[i].size_kwh, 1e-9);
			ck_assert_double_eq_tol(
				f->effect, rows[i].size_kwh * 3.6 / 400.0, 1e-6);
		}
		expect_advice(f, "hot gas");
		days_free(m);
	}
}
END

TEST(heat_that_is_negative_as_it_should_be_is_no_finding)
{
	static const struct {
		enum mode mode;
		double booked_kwh, beside_kwh;
	} rows[] = {
		{MODE_DEFROST, -5.4, -5.4}, {MODE_DEFROST, -4.0, -5.4}, /* it lags */
		{MODE_DEFROST, -0.5, NAN}, {MODE_DEFROST, 0.0, 0.0},    /* by hot gas */
		{MODE_COOLING, -72.0, NAN}, {MODE_COOLING, 0.2, NAN},
		{MODE_COOLING, 9.0, 9.0}, /* what stands beside says so, too */
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(PLANT("heat_source = power\n"));
		drawn(m, rows[i].mode, rows[i].booked_kwh, rows[i].beside_kwh);
		none(m);
		days_free(m);
	}
}
END

/* Its steps may lie over heating and defrost alike. */
TEST(a_register_that_falls_is_believed_alone)
{
	for (int falls = 0; falls < 2; falls++) {
		struct made_days *m =
			days_of(falls ? PLANT("heat_source = register\n") FALLS
				      : PLANT("heat_source = register\n"));
		drawn(m, MODE_DEFROST, 0.2, NAN);
		if (falls)
			none(m);
		else
			ck_assert_ptr_nonnull(only(m, FINDING_HEAT_SIGN));
		days_free(m);
	}
}
END

TEST(cold_that_is_counted_as_positive_is_found)
{
	struct made_days *m = days_of(PLANT("heat_source = power\n"));
	drawn(m, MODE_COOLING, 72.0, NAN);
	const struct finding *f = only(m, FINDING_HEAT_SIGN);
	ck_assert_str_eq(f->subject, "heat_power");
	ck_assert_double_eq_tol(f->size, 720.0, 1e-9);
	ck_assert(isnan(f->effect)); /* the season is without cooling */
	expect_advice(f, "scale = -1");
	days_free(m);
}
END

TESTS(a_pump_that_is_off_while_water_flows_is_seen,
	a_pumps_flag_that_takes_all_heat_is_found,
	heat_in_modes_that_draw_it_is_held_against_what_stands_beside,
	defrosts_that_draw_no_heat_are_found,
	heat_that_is_negative_as_it_should_be_is_no_finding,
	a_register_that_falls_is_believed_alone,
	cold_that_is_counted_as_positive_is_found)
