/*
 * Kinds of findings one by one, out of evidence made by hand: there with dates, size and
 * effect that follow from it, and gone where it is a little less.
 */
#include "made_days.h"

#include <heatbook/reading.h>

#include <math.h>

enum {
	T_FLOW,
	T_RETURN,
	T_RATE,
	T_OUTDOOR,
	T_VALVE,
	T_DEFROST,
	T_POWER,
	T_CLAMP,
	T_COUNT
};
enum { M_UNIT, M_CLAMP };

static const char plant[] =
	"[plant]\nzone = Europe/Berlin\n"
	"[channel flow_temperature]\ntopic = a/1\n"
	"[channel return_temperature]\ntopic = a/2\n[channel flow_rate]\ntopic = a/3\n"
	"[channel outdoor_temperature]\ntopic = a/4\n[channel valve]\ntopic = a/5\n"
	"[channel defrost]\ntopic = a/6\n[channel unit_power]\ntopic = a/7\nunit = W\n"
	"[channel volt_amperes]\ntopic = a/8\nunit = W\n"
	"[channel count]\ntopic = a/9\nunit = kWh\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\nregister = count\n"
	"[meter clamp]\nfeeds = compressor\npower = volt_amperes\napparent = yes\n";

static void has_words(const struct finding *f, const char *words)
{
	ck_assert_msg(
		strstr(f->evidence, words), "'%s' is not in: %s", words, f->evidence);
}

/* ---- the pair ---- */

static struct evidence *above(struct made_days *m, int day, int at, int minutes, double k,
	double heat_mj, bool standing)
{
	struct evidence *e = add(m, (size_t)day, EVIDENCE_RETURN_ABOVE, -1, at, minutes);
	e->values[0] = k;
	e->values[1] = heat_mj * 1e6;
	e->values[2] = standing;
	return e;
}

/* 2 MJ of two days were taken off where they were to be added: 8 MJ by 400. */
TEST(crossed_pipes_took_off_twice_what_they_gave)
{
	struct made_days *m = days_of(plant);
	(void)above(m, 10, 300, 60, 4.0, -2.0, false);
	(void)above(m, 12, 100, 20, 8.0, -2.0, false);
	const struct finding *f = only(m, FINDING_RETURN_ABOVE_FLOW);
	ck_assert_int_eq(f->since_ms, (START + 10 * MIN_PER_DAY + 300) * MS_PER_MIN);
	ck_assert_int_eq(f->until_ms, (START + 12 * MIN_PER_DAY + 120) * MS_PER_MIN);
	ck_assert_double_eq_tol(f->size, 5.0, 1e-9);
	ck_assert_double_eq_tol(f->effect, 2.0 * -4.0 / 400.0, 1e-9);
	has_words(f, "For 80 minutes outside of defrost");
	expect_advice(f, "crossed");
	days_free(m);
}
END

TEST(repeated_values_without_flow_cost_nothing_and_are_told_apart)
{
	struct made_days *m = days_of(plant);
	(void)above(m, 10, 0, 300, 1.4, 0.0, true);
	(void)above(m, 10, 600, 30, 2.0, -1.0, false);
	findings_of(&m->input, &m->list);
	ck_assert_uint_eq(m->list.count, 2);
	const struct finding *running = &m->list.items[0], *standing = &m->list.items[1];
	ck_assert(!isnan(running->effect) && isnan(standing->effect));
	ck_assert_double_eq_tol(standing->size, 1.4, 1e-9);
	expect_advice(standing, "no heat is booked");
	days_free(m);
}
END

/* ---- channels ---- */

/* A day that lacks it entirely at its begin was never there. */
TEST(a_channel_that_falls_silent_is_told_and_one_that_came_later_is_not)
{
	struct made_days *m = days_of(plant);
	for (size_t d = 0; d < 5; d++)
		add(m, d, EVIDENCE_SILENT, T_OUTDOOR, 0, 1440);
	for (size_t d = 10; d < 13; d++)
		add(m, d, EVIDENCE_SILENT, T_RATE, 0, d == 11 ? 59 : 120);
	const struct finding *f = only(m, FINDING_CHANNEL_SILENT);
	expect_days(f, 10, 13);
	ck_assert_str_eq(f->subject, "flow_rate");
	ck_assert_double_ge(f->size, 240.0);
	expect_advice(f, "every 15 min");
	days_free(m);
	m = days_of(plant);
	add(m, 10, EVIDENCE_SILENT, T_RATE, 0, 59);
	none(m);
	days_free(m);
}
END

TEST(coarse_values_say_how_coarse)
{
	struct made_days *m = days_of(plant);
	for (size_t d = 8; d < 15; d++)
		add(m, d, EVIDENCE_COARSE, T_FLOW, 0, 0)->values[0] = d == 9 ? 1.0 : 0.5;
	const struct finding *f = only(m, FINDING_RESOLUTION_COARSE);
	expect_days(f, 8, 15);
	ck_assert_str_eq(f->subject, "flow_temperature");
	ck_assert_double_eq(f->size, 1.0);
	has_words(f, "On 7 days");
	days_free(m);
}
END

/* What is slow stands still in between, is late, and is neither frozen nor skewed. */
TEST(a_slow_source_is_one_finding)
{
	struct made_days *m = days_of(plant);
	for (size_t d = 8; d < 12; d++) {
		add(m, d, EVIDENCE_SLOW, T_FLOW, 0, 0)->values[0] = 5.0;
		add(m, d, EVIDENCE_SLOW, T_RETURN, 0, 0)->values[0] = 6.0;
		add(m, d, EVIDENCE_FROZEN, T_FLOW, 100, 30)->values[1] = 2.0;
		struct evidence *e = add(m, d, EVIDENCE_FLAG, MODE_HOT_WATER, 0, 7);
		e->values[0] = e->values[1] = 3.0;
	}
	const struct finding *f = only(m, FINDING_SOURCE_SLOW);
	expect_days(f, 8, 12);
	ck_assert_double_eq(f->size, 6.0);
	has_words(f, "flow_temperature, return_temperature");
	days_free(m);
}
END

TEST(a_word_without_a_name_is_told_with_its_channel)
{
	struct made_days *m = days_of(plant);
	add(m, 20, EVIDENCE_STATE_UNKNOWN, T_VALVE, 300, 40);
	add(m, 22, EVIDENCE_STATE_UNKNOWN, T_VALVE, 300, 50);
	const struct finding *f = only(m, FINDING_STATE_UNKNOWN);
	expect_days(f, 20, 23);
	ck_assert_str_eq(f->subject, "valve");
	ck_assert_double_eq(f->size, 90.0);
	expect_advice(f, "map of [channel valve]");
	days_free(m);
}
END

	/* ---- flags ---- */

	static void
	flags(struct made_days *m, int day, int mode, int late, int pairs, int by_rule)
{
	struct evidence *e = add(m, (size_t)day, EVIDENCE_FLAG, mode, 0, late);
	e->values[0] = pairs;
	e->values[1] = by_rule;
	e->values[2] = late + 1;
}

TEST(a_flag_is_late_from_two_minutes_on_and_two_days)
{
	struct made_days *m = days_of(plant);
	for (int d = 0; d < DAYS; d++) {
		flags(m, d, MODE_HOT_WATER, d >= 10 && d < 20 ? 4 : 1, 2, 2);
		flags(m, d, MODE_DEFROST, -3, 8, 8);
	}
	const struct finding *f = only(m, FINDING_FLAG_LATE);
	expect_days(f, 10, 20);
	ck_assert_str_eq(f->subject, "valve");
	ck_assert_double_eq(f->size, 4.0);
	has_words(f, "of hot water 4 min after");
	has_words(f, "20 beginnings; up to 5 min");
	ck_assert(isnan(f->effect));
	days_free(m);
	m = days_of(plant); /* one day; or few beginnings of those that rules saw */
	flags(m, 10, MODE_HOT_WATER, 6, 5, 5);
	for (int d = 20; d < 30; d++)
		flags(m, d, MODE_DEFROST, 6, 1, 3);
	none(m);
	days_free(m);
	m = days_of(plant);
	for (int d = 0; d < 3; d++)
		flags(m, d, MODE_DEFROST, 2, 4, 4);
	ck_assert_str_eq(only(m, FINDING_FLAG_LATE)->subject, "defrost");
	days_free(m);
}
END

	/* ---- meters ---- */

	/* 2.2 for 2 kWh running, 0.6 for 0.2 at rest, a day. */
	static void
	says_more(struct made_days *m, int day, double running, double resting)
{
	struct evidence *e = add(m, (size_t)day, EVIDENCE_APPARENT, M_CLAMP, 0, 1440);
	e->values[0] = running * J_PER_KWH;
	e->values[1] = 2.0 * J_PER_KWH;
	e->values[2] = resting * J_PER_KWH;
	e->values[3] = 0.2 * J_PER_KWH;
}

TEST(an_apparent_meter_is_compared_running_and_at_rest)
{
	struct made_days *m = days_of(plant);
	for (int d = 5; d < 15; d++)
		says_more(m, d, 2.2, 0.6);
	const struct finding *f = only(m, FINDING_APPARENT_AGAINST_TRUE);
	expect_days(f, 5, 15);
	ck_assert_str_eq(f->subject, "clamp");
	ck_assert_double_eq_tol(f->size, 100.0 * (2.8 / 2.2 - 1.0), 1e-9);
	has_words(f, "running 22.00 kWh for 20.00 kWh (+10 %), at rest 6.00 kWh for 2.00 "
		     "kWh (+200 %)");
	days_free(m);
	m = days_of(plant); /* within a twentieth */
	for (int d = 5; d < 15; d++)
		says_more(m, d, 2.05, 0.25);
	none(m);
	days_free(m);
}
END

/* No product of volts and amperes is less than true power. */
TEST(an_apparent_meter_that_says_too_little_is_told_that_one_is_wrong)
{
	struct made_days *m = days_of(plant);
	for (int d = 5; d < 15; d++)
		says_more(m, d, 1.8, 0.18);
	const struct finding *f = only(m, FINDING_APPARENT_AGAINST_TRUE);
	expect_days(f, 5, 15);
	ck_assert_double_eq_tol(f->size, -10.0, 1e-9);
	expect_advice(f, "one of the two is wrong");
	expect_advice(f, "all phases");
	expect_advice(f, "qualified electrician");
	ck_assert_ptr_null(strstr(f->remedy, "Nothing is to be done"));
	days_free(m);
	m = days_of(plant); /* too little, and after that was mended too much */
	for (int d = 5; d < 15; d++)
		says_more(m, d, d < 10 ? 1.8 : 2.4, 0.2);
	findings_of(&m->input, &m->list);
	ck_assert_uint_eq(m->list.count, 2);
	for (size_t i = 0; i < 2; i++)
		expect_advice(&m->list.items[i], m->list.items[i].size < 0.0
							 ? "one of the two is wrong"
							 : "more than true power");
	days_free(m);
}
END

/* Its register is true: a power that says less is not apparent alone. */
TEST(apparent_power_below_its_own_register_is_not_explained_by_amperes)
{
	static const char own[] =
		"[plant]\nzone = Europe/Berlin\n[channel power]\ntopic = a/1\nunit = W\n"
		"[channel count]\ntopic = a/2\nunit = kWh\n"
		"[meter unit]\nfeeds = compressor\npower = power\nregister = count\n"
		"apparent = yes\n";
	for (int less = 0; less < 2; less++) {
		struct made_days *m = days_of(own);
		counted(m, 5, 15, less ? 8.0 : 13.0);
		const struct finding *f = only(m, FINDING_APPARENT_AGAINST_TRUE);
		expect_advice(f, less ? "all phases" : "more than true power");
		expect_advice(f, "qualified electrician");
		ck_assert(!less || !strstr(f->remedy, "more than true power"));
		days_free(m);
	}
}
END

/* That it sits the wrong way round is all that is to be told. */
TEST(a_reversed_apparent_meter_is_told_once)
{
	struct made_days *m = days_of(plant);
	for (int d = 5; d < 15; d++) {
		struct evidence *e =
			add(m, (size_t)d, EVIDENCE_POWER_NEGATIVE, T_CLAMP, 0, 600);
		e->values[0] = -500.0;
		e->values[1] = -500.0 * 600 * 60;
		says_more(m, d, -2.2, -0.2);
	}
	ck_assert_str_eq(only(m, FINDING_POWER_REVERSED)->subject, "volt_amperes");
	days_free(m);
}
END

TEST(a_compressor_without_flow_is_told_from_ten_minutes_on)
{
	struct made_days *m = days_of(plant);
	add(m, 5, EVIDENCE_FLOW_ZERO, -1, 600, 30)->values[0] = 3e6;
	add(m, 7, EVIDENCE_FLOW_ZERO, -1, 600, 12)->values[0] = 1e6;
	add(m, 20, EVIDENCE_FLOW_ZERO, -1, 600, 9);
	const struct finding *f = only(m, FINDING_FLOW_ZERO_RUNNING);
	expect_days(f, 5, 8);
	ck_assert_double_eq(f->size, 42.0);
	ck_assert_double_eq_tol(f->effect, 1440.0 / 400.0 - 1440.0 / 396.0, 1e-9);
	ck_assert_str_eq(f->subject, "flow_rate");
	days_free(m);
}
END

	/* ---- the sun ---- */

	static void
	hump(struct made_days *m, int day, int at, double k)
{
	add(m, (size_t)day, EVIDENCE_OUTDOOR, -1, at, 1440)->values[0] = k;
}

TEST(the_sun_comes_round_at_its_time_and_the_weather_does_not)
{
	struct made_days *m = days_of(plant);
	for (int d = 10; d < 20; d += 2)
		hump(m, d, 11 * 60 + d, 5.0 + 0.1 * d);
	const struct finding *f = only(m, FINDING_OUTDOOR_IN_SUN);
	expect_days(f, 10, 19);
	ck_assert_double_eq_tol(f->size, 6.8, 1e-9);
	has_words(f, "On 5 days, about 11:14");
	days_free(m);
	m = days_of(plant); /* at night; too little; at any time */
	for (int d = 0; d < 10; d++)
		hump(m, d, 60, 8.0);
	for (int d = 10; d < 20; d++)
		hump(m, d, 11 * 60, 2.9);
	for (int d = 24; d < DAYS; d += 2)
		hump(m, d, d % 4 ? 7 * 60 : 18 * 60, 8.0);
	none(m);
	days_free(m);
}
END

/* ---- outages, registers, words ---- */

/* Three hours without a word; the unit draws 12 W when idle: 36 Wh of a register that
 * shows 10 Wh. */
TEST(a_register_that_stood_still_tells_a_power_cut_from_silence)
{
	for (int bridged = 0; bridged < 2; bridged++) {
		struct made_days *m = days_of(plant);
		struct evidence *e = add(m, 7, EVIDENCE_MISSING, -1, 600, 180);
		e->values[0] = MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL;
		e->values[1] = bridged * 36e3 * 3.6;
		e->values[2] = 12.0;
		const struct finding *f =
			only(m, bridged ? FINDING_MISSING_MINUTES : FINDING_POWER_CUT);
		ck_assert_int_eq(f->since_ms, e->at_min * MS_PER_MIN);
		ck_assert_double_eq(f->size, 180.0);
		has_words(f, bridged ? "bridged by the register" : "12 W when idle");
		days_free(m);
	}
}
END

TEST(a_register_that_began_anew_or_went_round_is_told_as_that)
{
	static const struct {
		enum event_kind event;
		enum finding_kind finding;
		double before, after;
		const char *words, *remedy;
	} rows[] = {{EVENT_REGISTER_RESET, FINDING_REGISTER_RESET, 812.5, 0.25,
			    "812.500 kWh and began anew at 0.250", "set modulus"},
		{EVENT_REGISTER_WRAPPED, FINDING_REGISTER_WRAPPED, 65535.5, 0.25,
			"over its highest number", "did as it says"}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(plant);
		int64_t at = (START + 5 * MIN_PER_DAY + 620) * MS_PER_MIN;
		m->events[0] = (struct event){rows[i].event, at, at + MS_PER_MIN, M_UNIT,
			true, rows[i].before, rows[i].after};
		m->input.event_count = 1;
		const struct finding *f = only(m, rows[i].finding);
		ck_assert_str_eq(f->subject, "unit");
		ck_assert_int_eq(f->since_ms, at);
		has_words(f, rows[i].words);
		expect_advice(f, rows[i].remedy);
		days_free(m);
	}
}
END

/* What sealed minutes could not be given is told with its sign, once a meter. */
TEST(what_is_in_no_row_is_told_as_one)
{
	for (int sign = -1; sign <= 1; sign += 2) {
		struct made_days *m = days_of(plant);
		int64_t at = (START + 5 * MIN_PER_DAY + 620) * MS_PER_MIN;
		for (int i = 0; i < 2; i++)
			m->events[i] = (struct event){EVENT_REGISTER_UNPLACED,
				at + i * MS_PER_DAY, at + i * MS_PER_DAY, M_UNIT, true,
				(double)NAN, sign * 0.25};
		m->input.event_count = 2;
		const struct finding *f = only(m, FINDING_REGISTER_UNPLACED);
		ck_assert_str_eq(f->subject, "unit");
		ck_assert_int_eq(f->since_ms, at);
		ck_assert_int_eq(f->until_ms, at + MS_PER_DAY + MS_PER_MIN);
		ck_assert_double_eq(f->size, sign * 0.5);
		has_words(f, sign > 0 ? "0.500 kWh more in sealed minutes"
				      : "0.500 kWh less in sealed minutes");
		expect_advice(f, "--sealed");
		days_free(m);
	}
}
END

/* An hour is a slip; two are a finding, days apart they are two. */
TEST(words_that_were_not_understood_are_told_from_two_hours_on)
{
	for (size_t hours = 1; hours <= 3; hours++) {
		struct made_days *m = days_of(plant);
		for (size_t i = 0; i < hours; i++) {
			int64_t at =
				(START + 5 * MIN_PER_DAY + (int64_t)i * 60) * MS_PER_MIN;
			m->events[i] = (struct event){EVENT_PAYLOAD_BAD, at, at,
				i == 1 ? T_RATE : T_FLOW, false, 0.0, 1.0};
		}
		m->input.event_count = hours;
		if (hours == 1) {
			none(m);
		} else {
			const struct finding *f = only(m, FINDING_PAYLOAD_BAD);
			ck_assert_double_eq(f->size, (double)hours);
			has_words(f, "flow_temperature, flow_rate");
			has_words(f, bad_reason_text((enum bad_reason)1));
			expect_advice(f, "decimal mark");
		}
		days_free(m);
	}
}
END

TEST(times_that_are_ahead_are_no_words_but_a_clock)
{
	static const enum bad_reason seconds[] = {BAD_TIME_AHEAD, BAD_UNIT};
	for (size_t i = 0; i < ARRAY_LEN(seconds); i++) {
		struct made_days *m = days_of(plant);
		for (int k = 0; k < 2; k++) {
			int64_t at = (START + 5 * MIN_PER_DAY + 60 * k) * MS_PER_MIN;
			m->events[k] = (struct event){EVENT_PAYLOAD_BAD, at, at, T_FLOW,
				false, 0.0, k ? seconds[i] : BAD_TIME_AHEAD};
		}
		m->input.event_count = 2;
		const struct finding *f = only(m, FINDING_PAYLOAD_BAD);
		expect_advice(f, "but the clock's");
		ck_assert_int_eq(!strstr(f->remedy, "decimal mark"), i == 0);
		days_free(m);
	}
}
END

TESTS(what_is_in_no_row_is_told_as_one, crossed_pipes_took_off_twice_what_they_gave,
	repeated_values_without_flow_cost_nothing_and_are_told_apart,
	a_channel_that_falls_silent_is_told_and_one_that_came_later_is_not,
	times_that_are_ahead_are_no_words_but_a_clock,
	coarse_values_say_how_coarse, a_slow_source_is_one_finding,
	a_word_without_a_name_is_told_with_its_channel,
	a_flag_is_late_from_two_minutes_on_and_two_days,
	an_apparent_meter_is_compared_running_and_at_rest,
	an_apparent_meter_that_says_too_little_is_told_that_one_is_wrong,
	apparent_power_below_its_own_register_is_not_explained_by_amperes,
	a_reversed_apparent_meter_is_told_once,
	a_compressor_without_flow_is_told_from_ten_minutes_on,
	the_sun_comes_round_at_its_time_and_the_weather_does_not,
	a_register_that_stood_still_tells_a_power_cut_from_silence,
	a_register_that_began_anew_or_went_round_is_told_as_that,
	words_that_were_not_understood_are_told_from_two_hours_on)
