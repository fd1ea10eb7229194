/*
 * The energy balance: what minutes say of it, and the days that do not close.
 *
 * Outside: heat of a mixture by its own density and capacity, 20 L/min of 30 % propylene
 * glycol that leave at -2 °C, 4 K colder: 1036.9 kg/m³ and, at 0 °C, 3793 J/(kg K)
 * (ASHRAE Handbook - Fundamentals, 2001; second-hand, glycol_ashrae_table.csv). Limits by
 * JCGM 100:2008, worked out by hand.
 */
#include "made_days.h"
#include "made_minutes.h"

#include <math.h>

enum {
	AT_FLOW,
	AT_RETURN,
	AT_RATE,
	AT_HZ,
	AT_W,
	AT_HEATER,
	AT_IN,
	AT_OUT,
	AT_BRINE,
	AT_SAID
};

#define HOUSE                                                                            \
	"[channel flow_temperature]\ntopic = a/1\n"                                      \
	"[channel return_temperature]\ntopic = a/2\n"                                    \
	"[channel flow_rate]\ntopic = a/3\n"                                             \
	"[channel compressor_frequency]\ntopic = a/4\n"                                  \
	"[channel unit_power]\ntopic = a/5\nunit = W\n[channel heater_power]\ntopic = "  \
	"a/6\nunit = W\n"
#define BRINE_SIDE                                                                       \
	"[channel source_entering_temperature]\ntopic = b/1\n"                           \
	"[channel source_leaving_temperature]\ntopic = b/2\n"                            \
	"[channel source_flow_rate]\ntopic = b/3\n"
#define METERS                                                                           \
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"                         \
	"[meter heater]\nfeeds = backup_heater\npower = heater_power\n"
#define PLANT  "[plant]\nzone = Europe/Berlin\n"
#define GLYCOL "source_fluid = propylene_glycol\nsource_fluid_percent = 30 %\n"

/* ---- what minutes say ---- */

/* Runs from 100 to 400: 6 kW of heat, 1.5 kW of electricity, 4 K of brine. */
static struct sample *sample_of(const char *text)
{
	struct sample *s = sample_new(text);
	for (int c = 0; c < (int)s->config->channel_count; c++)
		set(s, c, 0, DAY, 0.0);
	set(s, AT_FLOW, 0, DAY, 35.0);
	set(s, AT_RETURN, 0, DAY, 30.0);
	set(s, AT_HZ, 100, 400, 50.0);
	set(s, AT_W, 100, 400, 1500.0);
	if ((int)s->config->channel_count > AT_BRINE) {
		set(s, AT_IN, 0, DAY, 2.0);
		set(s, AT_OUT, 0, DAY, -2.0);
		set(s, AT_BRINE, 100, 400, 20.0);
	}
	for (int i = 0; i < DAY; i++)
		s->day.booked[i] =
			(struct day_booked){.heat_j = i >= 100 && i < 400 ? 360e3 : 0.0,
				.heat_ms = 60000,
				.mode = i >= 100 && i < 400 ? MODE_HEATING : MODE_STANDBY,
				.mode_ms = 60000};
	return s;
}

static const struct evidence *look(struct sample *s)
{
	for (size_t m = 0; m < s->config->meter_count; m++)
		for (int i = 0; i < DAY; i++)
			meter(s, m, i, of(s, m == 0 ? AT_W : AT_HEATER)[i]);
	evidence_of(&s->day, NULL, &s->list);
	return find(s, EVIDENCE_BALANCE, -1);
}

TEST(heat_of_the_source_is_that_of_its_mixture)
{
	struct sample *s = sample_of(PLANT GLYCOL HOUSE BRINE_SIDE METERS);
	const struct evidence *e = look(s);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, 310);
	ck_assert_double_eq_tol(e->values[0], 300 * 360e3, 1e-3);
	ck_assert_double_eq_tol(e->values[1], 300 * 90e3, 1e-3);
	double wanted = 300 * 0.020 * 1036.9 * 3793.0 * 4.0;
	ck_assert_double_eq_tol(e->values[2], wanted, 0.001 * wanted);
	ck_assert_double_eq_tol(e->values[3], 300 * 360e3 / 5.0, 1e-3);
	ck_assert_double_eq_tol(e->values[4], wanted / 4.0, 0.001 * wanted / 4.0);
	sample_free(s);
	s = sample_of(PLANT HOUSE BRINE_SIDE METERS); /* below 0 °C water is ice */
	e = look(s);
	ck_assert_int_eq(e->minutes, 10); /* after the stop, when nothing flows */
	ck_assert_double_eq(e->values[0], 0.0);
	sample_free(s);
}
END

/* What a meter says is believed; a heater in line is in the heat. */
TEST(a_heat_meter_may_say_it_and_a_heater_drives_as_well)
{
	struct sample *s =
		sample_of(PLANT HOUSE BRINE_SIDE "[channel source_heat_power]\ntopic = "
						 "b/4\n" METERS);
	set(s, AT_SAID, 100, 400, 4500.0);
	set(s, AT_HEATER, 200, 300, 1000.0);
	const struct evidence *e = look(s);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq_tol(e->values[1], 300 * 90e3 + 100 * 60e3, 1e-3);
	ck_assert_double_eq_tol(e->values[2], 300 * 270e3, 1e-3);
	ck_assert(isnan(e->values[4]));
	sample_free(s);
}
END

/* An immersion heater's heat passes no meter: behind one meter, nothing balances. */
TEST(where_there_is_nothing_to_balance_nothing_is_said)
{
	static const char *const plants[] = {PLANT HOUSE METERS,
		PLANT GLYCOL HOUSE BRINE_SIDE
		"[meter unit]\nfeeds = compressor, immersion\npower = unit_power\n",
		PLANT GLYCOL HOUSE BRINE_SIDE
		"[meter heater]\nfeeds = backup_heater\npower = heater_power\n"};
	for (size_t i = 0; i < ARRAY_LEN(plants); i++) {
		struct sample *s = sample_of(plants[i]);
		ck_assert_msg(look(s) == NULL, "%s", plants[i]);
		sample_free(s);
	}
}
END

#define UNIT    "[meter unit]\nfeeds = compressor\npower = unit_power\n"
#define COUNTED "[channel e]\ntopic = c/1\nunit = kWh\n"

/* A register alone spreads what it counts over minutes of rest; so does that of the heat,
 * where nothing shapes it. */
TEST(what_is_spread_over_rest_is_held_against_nothing)
{
	static const char *const plants[] = {PLANT GLYCOL HOUSE BRINE_SIDE COUNTED
		"[meter unit]\nfeeds = compressor\nregister = e\n",
		PLANT GLYCOL HOUSE BRINE_SIDE COUNTED UNIT
		"[meter heater]\nfeeds = backup_heater\nregister = e\n",
		PLANT GLYCOL HOUSE BRINE_SIDE COUNTED
		"[meter unit]\nfeeds = compressor, backup_heater\npower = unit_power\n"
		"less = heater\n[meter heater]\nfeeds = backup_heater\nregister = e\n"};
	for (size_t i = 0; i < ARRAY_LEN(plants); i++) {
		struct sample *s = sample_of(plants[i]);
		ck_assert_msg(look(s) == NULL, "%s", plants[i]);
		sample_free(s);
	}
	struct sample *s = sample_of(PLANT GLYCOL HOUSE BRINE_SIDE COUNTED
		"[meter unit]\nfeeds = compressor\npower = unit_power\nregister = e\n");
	ck_assert_ptr_nonnull(look(s)); /* shaped by power */
	sample_free(s);
}
END

TEST(heat_of_a_register_needs_a_shape)
{
	static const char register_alone[] =
		PLANT "heat_source = register\n" GLYCOL
		      "[channel x]\ntopic = a/1\n[channel y]\ntopic = a/2\n"
		      "[channel z]\ntopic = a/3\n"
		      "[channel compressor_frequency]\ntopic = a/4\n"
		      "[channel unit_power]\ntopic = a/5\nunit = W\n"
		      "[channel heater_power]\ntopic = a/6\nunit = W\n" BRINE_SIDE UNIT
		      "[channel heat_register]\ntopic = c/2\n";
	struct sample *s = sample_of(register_alone);
	ck_assert_ptr_null(look(s));
	sample_free(s);
	s = sample_of(PLANT "heat_source = register\n" GLYCOL HOUSE BRINE_SIDE UNIT
			    "[channel heat_register]\ntopic = c/2\n");
	ck_assert_ptr_nonnull(look(s)); /* shaped by flow and temperatures */
	sample_free(s);
	_cleanup_(freep) char *shaped =
		xasprintf("%s[channel heat_power]\ntopic = c/3\n", register_alone);
	s = sample_of(shaped);
	ck_assert_ptr_nonnull(look(s));
	sample_free(s);
}
END

/* Its warmth is in the heat, its electricity in nothing. */
TEST(a_heater_without_a_meter_lets_nothing_balance)
{
	struct sample *s = sample_of(PLANT
		"devices = compressor, backup_heater\n" GLYCOL HOUSE BRINE_SIDE UNIT);
	ck_assert_ptr_null(look(s));
	sample_free(s);
	s = sample_of(PLANT "devices = compressor\n" GLYCOL HOUSE BRINE_SIDE UNIT);
	ck_assert_ptr_nonnull(look(s));
	sample_free(s);
	s = sample_of(PLANT
		"devices = compressor, backup_heater\n" GLYCOL HOUSE BRINE_SIDE METERS);
	ck_assert_ptr_nonnull(look(s));
	sample_free(s);
}
END

TEST(minutes_of_which_one_side_is_unknown_are_left_out)
{
	static const int channels[] = {AT_W, AT_HEATER, AT_IN, AT_BRINE, AT_HZ};
	for (size_t c = 0; c < ARRAY_LEN(channels); c++) {
		struct sample *s = sample_of(PLANT GLYCOL HOUSE BRINE_SIDE METERS);
		set(s, channels[c], 150, 160, (double)NAN);
		ck_assert_int_eq(look(s)->minutes, 300);
		sample_free(s);
	}
	struct sample *s = sample_of(PLANT GLYCOL HOUSE BRINE_SIDE METERS);
	for (int i = 150; i < 160; i++)
		s->day.booked[i].heat_ms = 30000;
	for (int i = 200; i < 220; i++)
		s->day.booked[i].mode = MODE_COOLING;
	ck_assert_int_eq(look(s)->minutes, 280);
	sample_free(s);
}
END

	/* ---- days that do not close ---- */

	/* MJ; a kelvin of either pair is a fifth of the heat and a quarter of what is
	   taken. */
	static void
	day_says(struct made_days *m, int day, double heat_mj, double power_mj,
		double taken_mj)
{
	struct evidence *e = add(m, (size_t)day, EVIDENCE_BALANCE, -1, 0, 600);
	e->values[0] = heat_mj * 1e6;
	e->values[1] = power_mj * 1e6;
	e->values[2] = taken_mj * 1e6;
	e->values[3] = heat_mj * 1e6 / 5.0;
	e->values[4] = taken_mj * 1e6 / 4.0;
}

#define PAIRS                                                                            \
	PLANT "pair_limit = 0.1 K\nflow_limit = 2 %\n" GLYCOL HOUSE                      \
	      "[channel source_entering_temperature]\ntopic = b/1\nlimit = 0.1 K\n"      \
	      "[channel source_leaving_temperature]\ntopic = b/2\nlimit = 0.1 K\n"       \
	      "[channel source_flow_rate]\ntopic = b/3\nlimit = 2 %\n" METERS

static void days_say(struct made_days *m, int first, int end, double heat_mj)
{
	for (int d = first; d < end; d++)
		day_says(m, d, heat_mj, 10.0, 30.0);
}

/* 40 MJ go in, 32 come out; ten days of 8 MJ too little among forty of 36 MJ by 10. */
TEST(a_balance_that_does_not_close_is_told_with_its_days_and_what_it_may_cost)
{
	struct made_days *m = days_of(PAIRS);
	days_say(m, 0, 12, 39.0);
	days_say(m, 12, 22, 32.0);
	days_say(m, 22, DAYS, 41.0);
	const struct finding *f = only(m, FINDING_BALANCE_OPEN);
	expect_days(f, 12, 22);
	ck_assert(!f->lasts);
	ck_assert_double_eq_tol(f->size, -20.0, 1e-9);
	ck_assert_double_eq_tol(f->effect, -10 * 8.0 / 400.0, 1e-9);
	ck_assert_ptr_null(f->correction);
	ck_assert_ptr_nonnull(strstr(f->evidence, "20 % less"));
	ck_assert_ptr_nonnull(strstr(f->remedy, "for a qualified person"));
	days_free(m);
	m = days_of(PAIRS);
	days_say(m, 30, DAYS, 50.0);
	f = only(m, FINDING_BALANCE_OPEN);
	ck_assert_double_eq_tol(f->size, 25.0, 1e-9);
	ck_assert_ptr_nonnull(strstr(f->evidence, "25 % more"));
	ck_assert(f->lasts);
	days_free(m);
}
END

TEST(days_that_close_or_prove_nothing_are_no_finding)
{
	struct made_days *m = days_of(PAIRS);
	days_say(m, 0, 20, 36.5); /* within a tenth */
	days_say(m, 20, DAYS, 43.5);
	none(m);
	days_free(m);
	m = days_of(PAIRS);
	days_say(m, 20, 21, 30.0); /* a day proves nothing */
	none(m);
	days_free(m);
	m = days_of(PAIRS);
	for (int d = 0; d < DAYS; d++) /* little heat */
		day_says(m, d, 2.0, 1.0, 3.0);
	none(m);
	days_free(m);
	m = days_of(PAIRS);
	days_say(m, 0, DAYS, 30.0); /* a clamp the wrong way round tells of itself */
	for (int d = 0; d < DAYS; d++)
		add(m, (size_t)d, EVIDENCE_POWER_NEGATIVE, AT_W, 0, 5);
	none(m);
	days_free(m);
}
END

/* Days without the compressor are silent; three that close are an end, two are not. */
TEST(it_lasts_over_days_of_rest_and_ends_with_three_that_close)
{
	for (int closing = 2; closing <= 3; closing++) {
		struct made_days *m = days_of(PAIRS);
		days_say(m, 3, 5, 32.0);
		days_say(m, 20, 20 + closing, 40.0);
		days_say(m, 30, 32, 32.0);
		findings_of(&m->input, &m->list);
		ck_assert_uint_eq(m->list.count, closing == 2 ? 1 : 2);
		const struct finding *last = &m->list.items[0];
		for (size_t i = 1; i < m->list.count; i++)
			if (m->list.items[i].since_ms > last->since_ms)
				last = &m->list.items[i];
		expect_days(last, closing == 2 ? 3 : 30, 32);
		ck_assert(last->lasts); /* nothing has said otherwise since */
		days_free(m);
	}
}
END

/* One fault that a season begins in is one finding; its effect is of the last season. */
TEST(a_season_that_begins_parts_nothing)
{
	struct made_days *m = days_of(PAIRS);
	m->config->plant.season_start = (struct month_day){1, 21};
	days_say(m, 12, 32, 32.0);
	const struct finding *f = only(m, FINDING_BALANCE_OPEN);
	expect_days(f, 12, 32);
	ck_assert_double_eq_tol(f->effect, -12 * 8.0 / 200.0, 1e-9);
	days_free(m);
}
END

/* Only where more comes out, and neither a meter nor `devices` tells of one. */
TEST(a_heater_that_nobody_speaks_of_is_named_where_heat_is_more)
{
	static const struct {
		const char *plant, *meters;
		double heat_mj;
		bool named;
	} cases[] = {{"", UNIT, 50.0, true}, {"", UNIT, 32.0, false},
		{"", METERS, 50.0, false}, {"devices = compressor\n", UNIT, 50.0, false}};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		_cleanup_(freep) char *text = xasprintf("%s%s%s%s", PLANT, cases[i].plant,
			GLYCOL HOUSE BRINE_SIDE, cases[i].meters);
		struct made_days *m = days_of(text);
		days_say(m, 20, DAYS, cases[i].heat_mj);
		const char *remedy = only(m, FINDING_BALANCE_OPEN)->remedy;
		ck_assert_msg((strncmp(remedy, "If the unit has a back-up heater,", 33) ==
				      0) == cases[i].named,
			"%zu: %s", i, remedy);
		days_free(m);
	}
}
END

/* 0.1 K and 2 % of either side explain, by hand, for 32 of 40 MJ: heat √((6.4·0.1)² +
 * (32·0.02)²)/√3, taken √((7.5·0.1414)² + (30·0.02)² + (30·0.0064)²)/√3, power
 * 10·0.02/√3, together 0.89 MJ; twice that is 4 %. Pairs of 1 K and 2 K explain more than
 * 20 %. */
TEST(what_the_instruments_explain_is_no_finding)
{
	struct made_days *m = days_of(PAIRS);
	days_say(m, 0, DAYS, 32.0);
	ck_assert_ptr_nonnull(strstr(only(m, FINDING_BALANCE_OPEN)->evidence,
		"Instruments within their limits explain 4 %."));
	days_free(m);
	m = days_of(PAIRS);
	m->config->plant.pair_limit.k = 1.0;
	m->config->plant.source.pair_limit_k = 2.0;
	days_say(m, 0, DAYS, 32.0);
	none(m);
	days_free(m);
	m = days_of(PAIRS); /* a meter of the source that says it to 50 % */
	m->config->plant.source.heat_limit_percent = 50.0;
	days_say(m, 0, DAYS, 32.0);
	for (int d = 0; d < DAYS; d++)
		m->items[d][0].values[4] = (double)NAN;
	none(m);
	days_free(m);
}
END

TESTS(heat_of_the_source_is_that_of_its_mixture,
	a_heat_meter_may_say_it_and_a_heater_drives_as_well,
	where_there_is_nothing_to_balance_nothing_is_said,
	what_is_spread_over_rest_is_held_against_nothing,
	heat_of_a_register_needs_a_shape, a_heater_without_a_meter_lets_nothing_balance,
	minutes_of_which_one_side_is_unknown_are_left_out,
	a_balance_that_does_not_close_is_told_with_its_days_and_what_it_may_cost,
	days_that_close_or_prove_nothing_are_no_finding,
	it_lasts_over_days_of_rest_and_ends_with_three_that_close,
	a_season_that_begins_parts_nothing,
	a_heater_that_nobody_speaks_of_is_named_where_heat_is_more, what_the_instruments_explain_is_no_finding)
