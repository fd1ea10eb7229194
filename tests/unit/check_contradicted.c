/*
 * States that say what the plant does not do, and flags that fell silent: what a day made
 * by hand is evidence of, and what is told of it.
 *
 * Reference: hand-counted minutes of days made by hand. The compressor runs for an hour
 * of each 80 minutes, 1080 minutes of a day.
 */
#include "made_days.h"
#include "made_minutes.h"

enum { FLOW, PIPE, RATE, HZ, WORD, VALVE, DEFROST, TANK, WATTS };

static const char plant[] =
	"[plant]\nzone = UTC\n"
	"[channel flow_temperature]\ntopic = a/1\n"
	"[channel return_temperature]\ntopic = a/2\n[channel flow_rate]\ntopic = a/3\n"
	"[channel compressor_frequency]\ntopic = a/4\n"
	"[channel operating_mode]\ntopic = a/5\n"
	"[channel valve]\ntopic = a/6\nmap = 0:heating, 1:hot_water\n"
	"[channel defrost]\ntopic = a/7\nmap = 0:off, 1:on\n"
	"[channel cylinder_temperature]\ntopic = a/8\n"
	"[channel watts]\ntopic = b/1\nunit = W\n"
	"[meter unit]\nfeeds = compressor, circulation\npower = watts\n";

static bool runs(int i)
{
	return i % 80 < 60;
}

/* Hot water in the fifth run and in the sixteenth. */
static bool taps(int i)
{
	return i / 80 == 4 || i / 80 == 15;
}

static struct sample *healthy(void)
{
	struct sample *s = sample_new(plant);
	for (int i = 0; i < DAY; i++) {
		bool on = runs(i), tap = taps(i);
		of(s, PIPE)[i] = tap ? 45.0 : 29.0;
		of(s, FLOW)[i] = of(s, PIPE)[i] + (on ? 5.0 : 0.0);
		of(s, RATE)[i] = on ? 17.5 : 0.0;
		of(s, HZ)[i] = on ? 45.0 : 0.0;
		of(s, WORD)[i] = !on   ? OPERATING_STANDBY
				 : tap ? OPERATING_HOT_WATER
				       : OPERATING_HEATING;
		of(s, VALVE)[i] = tap ? VALVE_HOT_WATER : VALVE_HEATING;
		of(s, DEFROST)[i] = STATE_OFF;
		of(s, TANK)[i] = 48.0;
		of(s, WATTS)[i] = on ? 1500.0 : 12.0;
	}
	return s;
}

static void look(struct sample *s)
{
	book_by(s, HZ, WATTS);
	evidence_of(&s->day, NULL, &s->list);
}

TEST(words_that_are_as_the_plant_does_are_no_evidence)
{
	struct sample *s = healthy();
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_CONTRADICTED, -1));
	sample_free(s);
}
END

/* From 80 on to 880: ten runs of an hour, one of hot water. */
TEST(a_word_that_stands_is_held_against_what_goes_on)
{
	static const struct {
		const char *what;
		int channel, subject;
		double value;
		enum contradicted_by by;
		int minutes;
	} rows[] = {
		{"standby", WORD, WORD, OPERATING_STANDBY, CONTRADICTED_BY_RUNNING, 600},
		{"off", WORD, WORD, OPERATING_OFF, CONTRADICTED_BY_RUNNING, 600},
		{"heating in hot water", WORD, WORD, OPERATING_HEATING,
			CONTRADICTED_BY_VALVE, 60},
		{"hot water in heating", WORD, WORD, OPERATING_HOT_WATER,
			CONTRADICTED_BY_VALVE, 540},
		{"cooling", WORD, WORD, OPERATING_COOLING, CONTRADICTED_BY_HEAT, 600},
		{"a cold tap", VALVE, VALVE, VALVE_HOT_WATER, CONTRADICTED_BY_FLOW, 540},
		{"a defrost", DEFROST, DEFROST, STATE_ON, CONTRADICTED_BY_LENGTH, 800},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct sample *s = healthy();
		const struct evidence *e = NULL;
		set(s, rows[i].channel, 80, 880, rows[i].value);
		look(s);
		for (size_t n = 0; n < s->list.count; n++)
			if (s->list.items[n].kind == EVIDENCE_CONTRADICTED &&
				s->list.items[n].values[1] == rows[i].by)
				e = &s->list.items[n];
		ck_assert_msg(e != NULL, "%s", rows[i].what);
		ck_assert_int_eq(e->subject, rows[i].subject);
		ck_assert_msg(e->minutes == rows[i].minutes, "%s: %lld", rows[i].what,
			(long long)e->minutes);
		ck_assert_double_eq(e->values[0], rows[i].value);
		sample_free(s);
	}
}
END

/* A valve that comes nine minutes late, a frequency that stands while nothing is drawn, a
 * cylinder warm at its top whose water is first warmed below. */
TEST(what_a_day_may_well_show_is_no_evidence)
{
	struct sample *s = healthy();
	set(s, VALVE, 320, 329, VALVE_HEATING);
	set(s, VALVE, 380, 389, VALVE_HOT_WATER);
	set(s, FLOW, 320, 350, 44.0);
	set(s, FLOW, 1200, 1230, 44.0);
	set(s, HZ, 400, 480, 45.0);
	set(s, WATTS, 400, 480, 12.0);
	set(s, WORD, 400, 480, OPERATING_STANDBY);
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_CONTRADICTED, -1));
	sample_free(s);
}
END

	/* ---- what is told ---- */

	static void
	contradicts(struct made_days *m, int day, int channel, double state,
		enum contradicted_by by)
{
	struct evidence *e = add(m, (size_t)day, EVIDENCE_CONTRADICTED, channel, 80, 600);
	e->values[0] = state;
	e->values[1] = by;
	e->values[2] = 60.0 * J_PER_KWH;
	e->values[3] = 15.0 * J_PER_KWH;
}

TEST(a_state_is_told_on_the_second_day)
{
	static const struct {
		int channel;
		double state;
		enum contradicted_by by;
		const char *words, *advice;
		bool effect;
	} rows[] = {
		{WORD, OPERATING_STANDBY, CONTRADICTED_BY_RUNNING,
			"said standby while the compressor ran", "stands still", false},
		{WORD, OPERATING_HOT_WATER, CONTRADICTED_BY_VALVE, "said hot_water",
			"One of both stands still", false},
		{WORD, OPERATING_COOLING, CONTRADICTED_BY_HEAT, "said cooling",
			"names the season", true},
		{VALVE, VALVE_HOT_WATER, CONTRADICTED_BY_FLOW, "colder than the cylinder",
			"map names another state", false},
		{DEFROST, STATE_ON, CONTRADICTED_BY_LENGTH, "as no defrost lasts",
			"stands still", false},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(plant);
		contradicts(m, 8, rows[i].channel, rows[i].state, rows[i].by);
		none(m);
		contradicts(m, 10, rows[i].channel, rows[i].state, rows[i].by);
		const struct finding *f = only(m, FINDING_STATE_CONTRADICTED);
		ck_assert_str_eq(f->subject, m->config->channels[rows[i].channel].name);
		expect_days(f, 8, 11);
		ck_assert_double_eq(f->size, 1200.0);
		ck_assert_msg(strstr(f->evidence, rows[i].words), "%s", f->evidence);
		expect_advice(f, rows[i].advice);
		ck_assert_int_eq(!isnan(f->effect), rows[i].effect);
		/* 400 MJ of 36 days and 432 MJ of cooling that was none. */
		if (rows[i].effect)
			ck_assert_double_eq_tol(f->effect,
				3.6 - (1440.0 + 432.0) / (400.0 + 108.0), 0.001);
		days_free(m);
	}
}
END

	static void
	begins(struct made_days *m, int first, int end, int pairs, int by_rule)
{
	for (int d = first; d < end; d++) {
		struct evidence *e =
			add(m, (size_t)d, EVIDENCE_FLAG, MODE_HOT_WATER, 0, 0);
		e->values[0] = pairs;
		e->values[1] = by_rule;
		e->values[3] = pairs;
	}
}

/* It may stand in heating for days, as far as anybody knows: but it used to tell. */
TEST(a_flag_that_fell_silent_is_told_after_three_days)
{
	static const struct {
		int before, silent, by_rule;
		bool told;
	} rows[] = {{10, 3, 2, true}, {10, 2, 2, false}, {10, 3, 1, false},
		{10, 4, 1, true}, {4, 5, 2, false}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(plant);
		int silent = 12, end = silent + rows[i].silent;
		begins(m, silent - rows[i].before, silent, 2, 2);
		begins(m, silent, end, 0, rows[i].by_rule);
		begins(m, end, end + 3, 2, 2);
		if (rows[i].told) {
			const struct finding *f = only(m, FINDING_STATE_CONTRADICTED);
			ck_assert_str_eq(f->subject, "valve");
			expect_days(f, silent, end);
			ck_assert_double_eq(f->size, rows[i].silent * rows[i].by_rule);
		} else
			none(m);
		days_free(m);
	}
}
END

TESTS(words_that_are_as_the_plant_does_are_no_evidence,
	a_word_that_stands_is_held_against_what_goes_on,
	what_a_day_may_well_show_is_no_evidence, a_state_is_told_on_the_second_day,
	a_flag_that_fell_silent_is_told_after_three_days)
