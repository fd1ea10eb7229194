/*
 * Findings out of evidence made by hand: there where it is, and not where it is not; with
 * dates, sizes, and effects that follow from the sums. And the way through the store:
 * evidence is made of closed days, kept, dropped with their sums.
 */
#include "made_days.h"
#include "stored.h"

#include <heatbook/age.h>

TEST(days_without_evidence_of_faults_have_none)
{
	struct made_days *m = days_new();
	none(m);
	days_free(m);
}
END

/* 10 days of 36 MJ at 7.2 MJ a kelvin and 0.3 K too much: 21.6 of 1440 MJ by 400. */
TEST(an_offset_is_told_with_its_days_its_effect_and_a_correction)
{
	struct made_days *m = days_new();
	rest(m, 0, 12, 0.01);
	rest(m, 12, 22, 0.3);
	rest(m, 22, DAYS, -0.01);
	const struct finding *f = only(m, FINDING_PAIR_OFFSET);
	expect_days(f, 12, 22);
	ck_assert(!f->lasts);
	ck_assert_str_eq(f->subject, "return_temperature");
	ck_assert_double_eq_tol(f->size, 0.3, 0.001);
	ck_assert_double_eq_tol(f->effect, 10 * 7.2 * 0.3 / 400.0, 0.0005);
	ck_assert_str_eq(f->correction, "[correction pair_offset_2026_01_13]\n"
					"channel = return_temperature\n"
					"offset = +0.30 K\nfrom = 2026-01-13\n"
					"to = 2026-01-23\n");
	days_free(m);
	m = days_new(); /* below a tenth of a kelvin nothing is said */
	rest(m, 0, DAYS, 0.09);
	none(m);
	days_free(m);
	m = days_new(); /* one day proves nothing */
	rest(m, 20, 21, 0.3);
	none(m);
	days_free(m);
}
END

	/* A day's own windows, so many. */
	static void
	rest_of(struct made_days *m, int day, int windows, double k)
{
	for (int i = 0; i < windows; i++)
		add(m, (size_t)day, EVIDENCE_REST, -1, 100 * i, 3)->values[0] = k;
}

/* Days with more stretches of rest than their neighbours weigh more in the median about
 * a day, so that it turns before the sensor does. */
TEST(an_offset_begins_and_ends_on_the_days_that_say_so)
{
	for (int known_after = 0; known_after < 2; known_after++) {
		struct made_days *m = days_new();
		for (int d = 0; d < 12; d++)
			rest_of(m, d, 1, 0.01 * (d % 3));
		for (int d = 12; d < 22; d++)
			rest_of(m, d, 10, 0.3 + 0.01 * (d % 3));
		for (int d = 22; d < (known_after ? DAYS : 25); d++)
			rest_of(m, d, 1, -0.01 * (d % 3));
		const struct finding *f = only(m, FINDING_PAIR_OFFSET);
		expect_days(f, 12, 22);
		ck_assert(!f->lasts);
		ck_assert_ptr_nonnull(strstr(f->evidence, "of 10 days from 2026-01-13"));
		days_free(m);
	}
}
END

/* A season's begin in the middle, or seventy days in which water never rested: as long as
 * nothing says otherwise it is one offset, with one correction. What it adds is told of
 * the season in which it ends. */
TEST(one_offset_has_one_correction_whatever_lies_between)
{
	struct made_days *m = days_new();
	m->config->plant.season_start = (struct month_day){1, 21};
	rest(m, 0, 12, 0.0);
	rest(m, 12, DAYS, 0.3);
	const struct finding *f = only(m, FINDING_PAIR_OFFSET);
	expect_days(f, 12, DAYS);
	ck_assert_double_eq_tol(f->effect, 20 * 7.2 * 0.3 / 200.0, 0.0005);
	ck_assert_ptr_nonnull(strstr(f->correction, "from = 2026-01-13\n"));
	days_free(m);
	m = days_new();
	m->input.day_count = DAYS_MOST;
	rest(m, 0, 30, 0.3);
	rest(m, 100, 130, 0.32);
	rest(m, 130, DAYS_MOST, 0.0);
	f = only(m, FINDING_PAIR_OFFSET);
	expect_days(f, 0, 130);
	ck_assert_double_eq_tol(f->size, 0.31, 0.011);
	days_free(m);
}
END

/* The sensor may have slipped on any of the days in which water never rested. */
TEST(days_without_rest_leave_open_when_an_offset_began)
{
	struct made_days *m = days_new();
	rest(m, 0, 8, 0.0);
	rest(m, 12, 22, 0.3);
	rest(m, 22, DAYS, 0.0);
	const struct finding *f = only(m, FINDING_PAIR_OFFSET);
	expect_days(f, 12, 22);
	ck_assert_ptr_nonnull(strstr(f->evidence,
		"It began between 2026-01-08 and 2026-01-13; no water rested between."));
	ck_assert_ptr_null(strstr(f->evidence, "It ended"));
	days_free(m);
}
END

/* Asked for days without rest, with rows behind them, nothing says otherwise. */
TEST(days_without_rest_are_in_the_midst_of_an_offset)
{
	struct made_days *m = days_new();
	m->input.rows_follow = true;
	rest(m, 0, 12, 0.0);
	rest(m, 12, 22, 0.3);
	const struct finding *f = only(m, FINDING_PAIR_OFFSET);
	expect_days(f, 12, DAYS);
	ck_assert(!f->lasts);
	ck_assert_double_eq_tol(f->effect, 28 * 7.2 * 0.3 / 400.0, 0.0005);
	ck_assert_ptr_nonnull(strstr(f->correction, "to = 2026-02-10\n"));
	days_free(m);
}
END

/* Another offset, or days between that have none, are two. */
TEST(offsets_that_differ_are_told_apart)
{
	static const struct {
		double after_k;
		int rest_from, rest_to; /* without an offset */
	} rows[] = {{0.6, 0, 0}, {-0.3, 0, 0}, {0.3, 60, 70}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_new();
		m->input.day_count = DAYS_MOST;
		rest(m, 0, 30, 0.3);
		rest(m, rows[i].rest_from, rows[i].rest_to, 0.0);
		rest(m, 100, DAYS_MOST, rows[i].after_k);
		findings_of(&m->input, &m->list);
		ck_assert_uint_eq(m->list.count, 2);
		for (size_t k = 0; k < 2; k++) {
			const struct finding *f = &m->list.items[k];
			ck_assert_int_eq(f->kind, FINDING_PAIR_OFFSET);
			bool first = f->since_ms == START * MS_PER_MIN;
			expect_days(f, first ? 0 : 100, first ? 30 : DAYS_MOST);
			ck_assert_double_eq_tol(
				f->size, first ? 0.3 : rows[i].after_k, 0.001);
		}
		days_free(m);
	}
}
END

/* What was so on the first day that was looked at may have begun at any time before. */
TEST(a_fault_that_is_older_than_the_days_looked_at_says_so)
{
	for (int precede = 0; precede < 2; precede++)
		for (int right = 0; right < 4; right += 3) {
			struct made_days *m = days_new();
			m->input.rows_precede = precede;
			rest(m, 0, right, 0.0);
			rest(m, right, DAYS, -0.25);
			const struct finding *f = only(m, FINDING_PAIR_OFFSET);
			bool before = precede && right == 0;
			ck_assert_int_eq(f->began_before, before);
			ck_assert_int_eq(
				strstr(f->remedy, "already on 2026-01-01") != NULL,
				before);
			days_free(m);
			m = days_new();
			m->input.rows_precede = precede;
			for (size_t d = (size_t)right; d < DAYS; d++)
				add(m, d, EVIDENCE_POWER_NEGATIVE, POWER, 0, 60)
					->values[1] = -1e6;
			ck_assert_int_eq(
				only(m, FINDING_POWER_REVERSED)->began_before, before);
			days_free(m);
		}
}
END

/* What the proposal corrects, the configuration takes. */
TEST(a_proposed_correction_is_one)
{
	struct made_days *m = days_new();
	rest(m, 0, DAYS, -0.25);
	const struct finding *f = only(m, FINDING_PAIR_OFFSET);
	ck_assert(f->lasts);
	char *text = xasprintf("%s%s", house, f->correction);
	struct config *config = configured(text);
	ck_assert_uint_eq(config->correction_count, 1);
	ck_assert_double_eq_tol(config->corrections[0].offset, -0.25, 1e-9);
	ck_assert_int_eq(config->corrections[0].from_ms, START * MS_PER_MIN);
	ck_assert_int_eq(config->corrections[0].to_ms, INT64_MAX);
	config_free(config);
	free(text);
	days_free(m);
}
END

/* Weeks without rest say nothing against it: heat of these weeks is off as well. */
TEST(an_offset_lasts_until_another_rest_says_otherwise)
{
	struct made_days *m = days_new();
	rest(m, 5, 20, 0.3);
	const struct finding *f = only(m, FINDING_PAIR_OFFSET);
	expect_days(f, 5, 20);
	ck_assert(f->lasts);
	ck_assert_ptr_null(strstr(f->correction, "to ="));
	days_free(m);
	m = days_new();
	rest(m, 5, 20, 0.3);
	rest(m, 35, DAYS, 0.0);
	f = only(m, FINDING_PAIR_OFFSET);
	ck_assert(!f->lasts);
	ck_assert_ptr_nonnull(strstr(f->correction, "to = 2026-01-21\n"));
	days_free(m);
}
END

/* The sensor may have been put right in the days that were not asked for. */
TEST(nothing_lasts_where_rows_follow_the_span)
{
	struct made_days *m = days_new();
	rest(m, 5, DAYS, 0.3);
	m->input.rows_follow = true;
	const struct finding *f = only(m, FINDING_PAIR_OFFSET);
	ck_assert(!f->lasts);
	ck_assert_ptr_nonnull(strstr(f->correction, "to = 2026-02-10\n"));
	days_free(m);
	m = days_new();
	m->input.rows_follow = true;
	m->days[DAYS - 1].looked = false;
	f = only(m, FINDING_MISSING_MINUTES);
	expect_days(f, DAYS - 1, DAYS);
	ck_assert(!f->lasts);
	days_free(m);
}
END

#define OPEN "[correction x]\nchannel = return_temperature\noffset = +0.38 K\n"

/* 0.2 K from day 12 to 22, or on, is what a correction left: their sum is proposed, and
 * the section that has to make room is named; what comes of it, a configuration takes. */
TEST(what_a_correction_left_is_proposed_as_a_sum_with_it)
{
	static const struct {
		const char *before; /* its from and to */
		int end;
		const char *remedy, *after;
	} rows[] = {
		{"from = 2026-01-01\n", DAYS, "end [correction x] with to = 2026-01-13,",
			OPEN "from = 2026-01-01\nto = 2026-01-13\n"},
		{"from = 2026-01-13\n", DAYS, "take [correction x] out", ""},
		{"from = 2026-01-13\n", 22,
			"let [correction x] begin with from = "
			"2026-01-23,",
			OPEN "from = 2026-01-23\n"},
		{"from = 2026-01-01\nto = 2026-02-01\n", 22,
			"with to = 2026-01-13 and copy it to a section that begins with "
			"from = 2026-01-23",
			OPEN "from = 2026-01-01\nto = 2026-01-13\n"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_new();
		config_free(m->config);
		_cleanup_(freep) char *before = xasprintf("%s%s", OPEN, rows[i].before);
		m->input.config = m->config = with(before);
		rest(m, 0, 12, 0.0);
		rest(m, 12, rows[i].end, 0.2);
		rest(m, rows[i].end, DAYS, 0.0);
		const struct finding *f = only(m, FINDING_PAIR_OFFSET);
		expect_advice(f, rows[i].remedy);
		_cleanup_(freep) char *after =
			xasprintf("%s%s", f->correction, rows[i].after);
		struct config *config = with(after);
		size_t last = config->correction_count - 1;
		const struct correction_config *c = &config->corrections[0];
		if (c->from_ms != f->since_ms)
			c = &config->corrections[last];
		ck_assert_int_eq(c->from_ms, f->since_ms);
		ck_assert_double_eq_tol(c->offset, 0.58, 1e-6);
		config_free(config);
		days_free(m);
	}
}
END

/* Rows that wait for a rebuild, or days of which some were corrected: no section does. */
TEST(no_section_is_proposed_that_would_be_refused_or_wrong)
{
	for (int older = 0; older < 2; older++) {
		struct made_days *m = days_new();
		config_free(m->config);
		m->input.config = m->config = with(
			older ? OPEN "from = 2026-01-01\n" : OPEN "from = 2026-01-15\n");
		m->input.older.count = older;
		rest(m, 12, DAYS, 0.38);
		findings_of(&m->input, &m->list);
		const struct finding *f = &m->list.items[0];
		ck_assert_int_eq(f->kind, FINDING_PAIR_OFFSET);
		ck_assert_ptr_null(f->correction);
		expect_advice(f, older ? "rebuild these days and ask again"
				       : "of some of these days only");
		days_free(m);
	}
}
END

/* A clamp that was turned while its correction went on: nothing is to be corrected. */
TEST(a_correction_that_its_cause_left_is_to_go)
{
	struct made_days *m = days_new();
	config_free(m->config);
	m->input.config = m->config =
		with("[correction c]\nchannel = unit_power\nfactor = -1\n"
		     "from = 2026-01-01\n");
	for (size_t d = 5; d < DAYS; d++)
		add(m, d, EVIDENCE_POWER_NEGATIVE, POWER, 0, 600)->values[0] = -500.0;
	const struct finding *f = only(m, FINDING_POWER_REVERSED);
	ck_assert_ptr_null(f->correction);
	expect_advice(f, "end [correction c] with to = 2026-01-06, as nothing is to be "
			 "corrected");
	days_free(m);
}
END

TEST(a_reversed_clamp_took_off_twice_what_it_measured)
{
	struct made_days *m = days_new();
	for (size_t d = 5; d < 12; d++) {
		struct evidence *e = add(m, d, EVIDENCE_POWER_NEGATIVE, POWER, 0, 600);
		e->values[0] = -500.0;
		e->values[1] = -500.0 * 600 * 60;
	}
	const struct finding *f = only(m, FINDING_POWER_REVERSED);
	expect_days(f, 5, 12);
	ck_assert_double_eq_tol(f->size, -500.0, 1e-9);
	double right = 1440.0 / (400.0 + 2 * 7 * 18.0);
	ck_assert_double_eq_tol(f->effect, 3.6 - right, 1e-6);
	ck_assert_ptr_nonnull(strstr(f->correction, "factor = -1"));
	days_free(m);
}
END

/* Days that are right are no part of it, neither of its end nor of its size. */
TEST(power_that_disagrees_with_its_register_ends_with_its_cause)
{
	struct made_days *m = days_new();
	counted(m, 0, DAYS, 9.6); /* within a twentieth */
	none(m);
	days_free(m);
	m = days_new();
	counted(m, 0, 12, 10.0);
	counted(m, 12, 17, 0.01); /* kW for W */
	counted(m, 17, DAYS, 10.0);
	const struct finding *f = only(m, FINDING_POWER_AGAINST_REGISTER);
	expect_days(f, 12, 17);
	ck_assert_double_eq_tol(f->size, 1000.0, 1e-6);
	ck_assert_str_eq(f->unit, "");
	ck_assert_ptr_nonnull(strstr(f->remedy, "kW where W is configured"));
	ck_assert_ptr_nonnull(strstr(f->evidence, "Over 5 days the register counted "
						  "50.00 kWh"));
	days_free(m);
	m = days_new();
	counted(m, 0, 12, 10.0);
	counted(m, 12, DAYS, 8.0);
	f = only(m, FINDING_POWER_AGAINST_REGISTER);
	ck_assert_int_eq(f->until_ms, (START + DAYS * MIN_PER_DAY) * MS_PER_MIN);
	ck_assert_double_eq_tol(f->size, -20.0, 1e-6);
	ck_assert(f->lasts);
	days_free(m);
}
END

/* By days a register that counts whole kWh is wrong all the time. */
TEST(a_coarse_register_agrees_over_a_fortnight)
{
	struct made_days *m = days_new();
	for (size_t d = 0; d < DAYS; d++) {
		struct evidence *e = add(m, d, EVIDENCE_REGISTER, UNIT, 0, MIN_PER_DAY);
		e->values[0] = (d % 2 ? 3.0 : 4.0) * J_PER_KWH;
		e->values[1] = 3.5 * J_PER_KWH;
	}
	none(m);
	days_free(m);
}
END

TEST(an_immersion_heater_is_unplanned_at_another_time_or_too_often)
{
	struct made_days *m = days_new();
	for (int d = 3; d < DAYS; d += 7)
		heats(m, d, 852); /* a weekly run against germs */
	none(m);
	for (int d = 25; d < 30; d++)
		heats(m, d, 360);
	const struct finding *f = only(m, FINDING_IMMERSION_UNPLANNED);
	expect_days(f, 25, 30);
	days_free(m);
	m = days_new();
	for (int d = 20; d < 30; d++)
		heats(m, d, 852);
	f = only(m, FINDING_IMMERSION_UNPLANNED);
	expect_days(f, 22, 30);
	ck_assert_ptr_nonnull(strstr(f->evidence, "On 8 days it ran though"));
	ck_assert_ptr_null(strstr(f->evidence, "time of day that"));
	days_free(m);
}
END

/* 8.1 MJ a run, of electricity and of heat; the weekly one between them goes on as it
   did. */
TEST(only_unplanned_runs_count_as_such_and_say_what_they_are)
{
	struct made_days *m = days_new();
	for (int d = 3; d < DAYS; d += 7)
		heats(m, d, 852);
	heats(m, 23, 360);
	heats(m, 26, 360);
	const struct finding *f = only(m, FINDING_IMMERSION_UNPLANNED);
	expect_days(f, 23, 27);
	ck_assert_double_eq_tol(f->size, 2 * 2.25, 1e-9);
	ck_assert_double_eq_tol(f->effect, 3.6 - (1440.0 - 16.2) / (400.0 - 16.2), 1e-9);
	ck_assert_ptr_nonnull(strstr(f->evidence, "On 2 days it ran at a time of day"));
	ck_assert_ptr_nonnull(strstr(f->evidence, "first at 2026-01-24 06:00"));
	ck_assert_ptr_null(strstr(f->evidence, "week"));
	days_free(m);
}
END

	static void
	skew(struct made_days *m, int first, int end, int shift)
{
	for (int d = first; d < end; d++) {
		struct evidence *e = add(m, (size_t)d, EVIDENCE_SKEW, UNIT, 0, shift);
		e->values[0] = shift ? 0.9 : 1.0;
		e->values[1] = shift ? 0.1 : 1.0;
		e->values[2] = 10.0;
	}
}

TEST(a_skew_of_whole_quarters_is_named_a_zone)
{
	struct made_days *m = days_new();
	skew(m, 0, 10, 0);
	skew(m, 10, 20, 60);
	const struct finding *f = only(m, FINDING_SOURCE_SKEWED);
	expect_days(f, 10, 20);
	ck_assert_double_eq(f->size, 60.0);
	ck_assert_ptr_nonnull(strstr(f->remedy, "zone"));
	days_free(m);
	m = days_new();
	skew(m, 10, 20, 12);
	ck_assert_ptr_null(strstr(only(m, FINDING_SOURCE_SKEWED)->remedy, "zone"));
	days_free(m);
	m = days_new();
	skew(m, 10, 20, 2);
	none(m);
	days_free(m);
}
END

TEST(flow_and_pressure_that_fall_are_told_and_what_stays_is_not)
{
	struct made_days *m = days_new();
	for (size_t d = 0; d < DAYS; d++) {
		double part = d < 10 ? 0.0 : (double)(d - 10) / 30.0;
		struct evidence *e = add(m, d, EVIDENCE_FLOW, -1, 0, 600);
		e->values[0] = 17.5 * (1.0 - 0.2 * part);
		e->values[1] = (double)NAN;
		e = add(m, d, EVIDENCE_PRESSURE, -1, 0, 1440);
		e->values[0] = 1.5 + 0.005 * ((double)(d % 4) * 3.0);
		e->values[1] = 30.0 + (double)(d % 4) * 3.0; /* warmer, higher */
	}
	const struct finding *f = only(m, FINDING_FLOW_FALLING);
	ck_assert_double_gt(f->size, 14.0);
	ck_assert(f->lasts);
	days_free(m);
	m = days_new();
	pressure_falls(m);
	ck_assert_double_gt(only(m, FINDING_PRESSURE_FALLING)->size, 0.3);
	days_free(m);
}
END

TEST(an_outage_has_the_reason_that_link_facts_give)
{
	struct made_days *m = days_new();
	struct evidence *e = add(m, 7, EVIDENCE_MISSING, -1, 600, 120);
	e->values[0] = MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL;
	m->events[0] = (struct event){.kind = EVENT_LINK_LOST,
		.t_ms = (e->at_min - 4) * MS_PER_MIN,
		.subject = EVENT_SUBJECT_GONE};
	m->input.event_count = 1;
	const struct finding *f = only(m, FINDING_MISSING_MINUTES);
	ck_assert_int_eq(f->since_ms, e->at_min * MS_PER_MIN);
	ck_assert_double_eq(f->size, 120.0);
	ck_assert_ptr_nonnull(strstr(f->evidence, "connection to the broker was lost"));
	days_free(m);
}
END

	static void
	missing(struct made_days *m, int at, int minutes, int what)
{
	struct evidence *e = add(m, 7, EVIDENCE_MISSING, -1, at, minutes);
	e->values[0] = what;
	e->values[1] = 0.0;
}

#define NOTHING (MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL)

/* Since the limits of holds differ, an outage has short edges in which less is missing:
 * they are a part of it. What lasts longer has a word of its own. */
TEST(a_stretch_is_told_by_what_was_missing_in_it)
{
	static const struct {
		struct {
			int at, minutes, what;
		} parts[4];
		struct {
			int from, to;
			double size;
			const char *words;
		} told[4];
	} rows[] = {
		{{{480, 120, MISSING_HEAT}, {600, 120, NOTHING}},
			{{480, 600, 120, "no heat is known."},
				{600, 720, 120, "nothing at all is known."}}},
		{{{480, 120, MISSING_HEAT}, {600, 120, NOTHING},
			 {720, 60, MISSING_ELECTRICITY | MISSING_HEAT},
			 {780, 30, MISSING_ELECTRICITY}},
			{{480, 600, 120, "no heat is"}, {600, 720, 120, "nothing at all"},
				{720, 780, 60, "neither heat nor electricity is"},
				{780, 810, 30, "no electricity is"}}},
		{{{595, 5, MISSING_ELECTRICITY}, {600, 120, NOTHING},
			 {720, 10, MISSING_HEAT}},
			{{595, 730, 120,
				"nothing at all is known for 120 of 135 minutes"}}},
		{{{600, 60, MISSING_HEAT}, {660, 8, NOTHING}, {668, 60, MISSING_HEAT}},
			{{600, 728, 128, "no heat is known."}}},
		{{{600, 60, MISSING_HEAT}, {665, 60, MISSING_HEAT}},
			{{600, 725, 120, "no heat is known for 120 of 125 minutes"}}},
		{{{600, 60, MISSING_HEAT}, {675, 60, MISSING_HEAT}},
			{{600, 660, 60, "no heat is"}, {675, 735, 60, "no heat is"}}},
		{{{600, 8, MISSING_HEAT}, {608, 8, NOTHING}},
			{{600, 616, 16, "no heat is known."}}},
		{{{600, 14, NOTHING}}, {{0}}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_new();
		for (size_t k = 0; k < 4 && rows[i].parts[k].minutes; k++)
			missing(m, rows[i].parts[k].at, rows[i].parts[k].minutes,
				rows[i].parts[k].what);
		findings_of(&m->input, &m->list);
		size_t told = 0;
		for (; told < 4 && rows[i].told[told].words; told++) {
			int64_t since =
				(START + 7 * MIN_PER_DAY + rows[i].told[told].from) *
				MS_PER_MIN;
			const struct finding *f = NULL;
			for (size_t k = 0; k < m->list.count; k++)
				if (m->list.items[k].since_ms == since)
					f = &m->list.items[k];
			ck_assert_msg(f != NULL, "row %zu: %zu", i, told);
			ck_assert_int_eq(f->kind, FINDING_MISSING_MINUTES);
			ck_assert_int_eq((f->until_ms - f->since_ms) / MS_PER_MIN,
				rows[i].told[told].to - rows[i].told[told].from);
			ck_assert_double_eq(f->size, rows[i].told[told].size);
			ck_assert_msg(strstr(f->evidence, rows[i].told[told].words), "%s",
				f->evidence);
		}
		ck_assert_uint_eq(m->list.count, told);
		days_free(m);
	}
}
END

#define COUNTS_ALONE                                                                     \
	"[plant]\nzone = Europe/Berlin\n[channel count]\ntopic = a/1\nunit = kWh\n"      \
	"[channel w]\ntopic = a/2\nunit = W\n[meter unit]\nfeeds = compressor\n"         \
	"register = count\n"
#define COUNTS_HEAT                                                                      \
	"[plant]\nzone = Europe/Berlin\nheat_source = register\n"                        \
	"[channel heat_register]\ntopic = a/1\nunit = kWh\n"                             \
	"[channel w]\ntopic = a/2\nunit = W\n[meter unit]\nfeeds = compressor\n"         \
	"power = w\n"

/* A register's span is open until it closes: what it counts is not missing before. */
TEST(what_an_open_span_of_a_register_will_tell_is_not_missing)
{
	enum { H = MISSING_HEAT, E = MISSING_ELECTRICITY, DAY = MIN_PER_DAY };
	static const struct {
		const char *text;
		struct {
			int day, at, minutes, what;
		} parts[3];
		bool follow;
		int from; /* what is told, of the last day; -1: nothing */
	} rows[] = {
		{COUNTS_ALONE, {{DAYS - 1, DAY - 187, 187, E}}, false, -1},
		{COUNTS_ALONE, {{DAYS - 1, DAY - 187, 187, E}}, true, DAY - 187},
		{COUNTS_ALONE, {{DAYS - 1, DAY - 187, 160, E}}, false, DAY - 187},
		{COUNTS_ALONE, {{DAYS - 1, DAY - 187, 187, H}}, false, DAY - 187},
		{COUNTS_ALONE "power = w\n", {{DAYS - 1, DAY - 187, 187, E}}, false,
			DAY - 187},
		{COUNTS_ALONE, /* over midnight, and what is known ends */
			{{DAYS - 2, DAY - 120, 120, E}, {DAYS - 1, 0, 9, NOTHING}}, true,
			-2},
		{COUNTS_ALONE,
			{{DAYS - 2, DAY - 120, 120, E}, {DAYS - 1, 0, 540, E},
				{DAYS - 1, 540, 900, NOTHING}},
			false, -1},
		{COUNTS_ALONE, /* for longer than any span */
			{{DAYS - 2, DAY - 70, 70, E}, {DAYS - 1, 0, 1440, E}}, false, -2},
		{COUNTS_ALONE, /* heat is missing of it all the same */
			{{DAYS - 1, DAY - 180, 120, E}, {DAYS - 1, DAY - 60, 60, H | E}},
			false, DAY - 60},
		{COUNTS_HEAT, {{DAYS - 1, DAY - 187, 187, H}}, false, -1},
		{COUNTS_HEAT, {{DAYS - 1, DAY - 187, 187, E}}, false, DAY - 187},
		{COUNTS_HEAT,
			{{DAYS - 1, DAY - 187, 60, H}, {DAYS - 1, DAY - 127, 127, H | E}},
			false, DAY - 127},
		{COUNTS_HEAT "[channel heat_power]\ntopic = a/3\nunit = W\n",
			{{DAYS - 1, DAY - 187, 187, H}}, false, DAY - 187},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(rows[i].text);
		m->input.rows_follow = rows[i].follow;
		for (size_t k = 0; k < 3 && rows[i].parts[k].minutes; k++) {
			struct evidence *e =
				add(m, (size_t)rows[i].parts[k].day, EVIDENCE_MISSING, -1,
					rows[i].parts[k].at, rows[i].parts[k].minutes);
			e->values[0] = rows[i].parts[k].what;
			e->values[1] = 0.0;
		}
		findings_of(&m->input, &m->list);
		ck_assert_msg(m->list.count == (rows[i].from != -1), "row %zu: %zu", i,
			m->list.count);
		if (rows[i].from >= 0)
			ck_assert_int_eq(m->list.items[0].since_ms,
				(START + (DAYS - 1) * MIN_PER_DAY + rows[i].from) *
					MS_PER_MIN);
		days_free(m);
	}
}
END

/* Where no heat can be known, that it is not is no word. */
TEST(of_a_plant_without_heat_electricity_alone_is_missing)
{
	struct made_days *m = days_new();
	for (size_t d = 0; d < DAYS; d++)
		m->days[d].heat_ms = 0;
	missing(m, 480, 120, MISSING_HEAT);
	missing(m, 600, 120, MISSING_HEAT | MISSING_ELECTRICITY);
	const struct finding *f = only(m, FINDING_MISSING_MINUTES);
	ck_assert_double_eq(f->size, 120.0);
	ck_assert_ptr_nonnull(strstr(f->evidence, " no electricity is known."));
	days_free(m);
}
END

/* 8 % less from a day on, at lifts and weather that wander. */
TEST(a_fall_of_efficiency_is_told_from_the_day_on)
{
	for (int fell = 0; fell < 2; fell++) {
		struct made_days *m = days_new();
		for (size_t d = 0; d < DAYS; d++) {
			double air = 4.0 * sin((double)d * 0.7), lift = 33.0 - air;
			double noise = 0.004 * sin((double)d * 2.3);
			struct evidence *e =
				add(m, d, EVIDENCE_EFFICIENCY, MODE_HEATING, 0, 900);
			e->values[0] = 40e6 + 3e6 * sin((double)d * 1.1);
			e->values[2] = e->values[0] / 3.4;
			e->values[1] =
				e->values[2] / ((1.0 + 0.01 * air + noise) *
						       (fell && d >= 22 ? 0.92 : 1.0));
			e->values[3] = lift;
			e->values[4] = e->values[0] / 9.0;
			e->values[5] = air;
		}
		if (!fell) {
			none(m);
			days_free(m);
			continue;
		}
		const struct finding *f = only(m, FINDING_EFFICIENCY_FELL);
		ck_assert_int_eq(f->since_ms, (START + 22 * MIN_PER_DAY) * MS_PER_MIN);
		ck_assert_double_eq_tol(f->size, -8.0, 0.7);
		ck_assert_double_lt(f->effect, 0.0);
		days_free(m);
	}
}
END

TEST(days_of_an_earlier_mapping_and_sealed_ones_are_findings)
{
	struct made_days *m = days_new();
	m->input.older = (struct older_days){.count = 3, .first = 20454, .last = 20460};
	ck_assert_double_eq(only(m, FINDING_REBUILD_WANTED)->size, 3.0);
	days_free(m);
	m = days_new(); /* sealed ones are named, and no reason to rebuild */
	m->input.older = (struct older_days){
		.count = 5, .sealed = 2, .first = 20454, .last = 20460};
	const struct finding *f = only(m, FINDING_REBUILD_WANTED);
	ck_assert_double_eq(f->size, 3.0);
	ck_assert_ptr_nonnull(strstr(f->evidence, "2 more are sealed"));
	days_free(m);
	m = days_new();
	m->input.sealed_days = 2;
	m->input.sealed_first = 20454;
	m->input.sealed_last = 20455;
	m->input.older = (struct older_days){.count = 2, .sealed = 2};
	f = only(m, FINDING_DAYS_SEALED);
	ck_assert_double_eq(f->size, 2.0);
	ck_assert_ptr_nonnull(strstr(f->evidence, "2 of them were made before"));
	days_free(m);
}
END

/* ---- through the store ---- */

TEST(each_kind_of_evidence_has_a_name_of_its_own)
{
	for (int a = 0; a < EVIDENCE_KINDS; a++) {
		const char *name = evidence_name((enum evidence_kind)a);
		ck_assert_msg(name && *name, "kind %d", a);
		for (int b = 0; b < a; b++)
			ck_assert_str_ne(name, evidence_name((enum evidence_kind)b));
	}
}
END

	static void
	fill(struct stored *s, int days)
{
	int64_t end = START + days * MIN_PER_DAY;
	ck_assert_int_eq(store_begin(s->store), 0);
	for (int64_t m = START; m < end; m++) {
		struct made made;
		made_at(&made, m);
		made_channel(&made, 0, 35.0, 60000);
		made_channel(&made, 1, 30.0, 60000);
		made_channel(
			&made, POWER, m < START + MIN_PER_DAY ? -900.0 : 900.0, 60000);
		made_heat(&made, MODE_HEATING, 200000);
		made_meter(&made, MODE_HEATING, 0, 54000);
		ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
	}
	ck_assert_int_eq(store_rollup(s->store, START, end, end), 0);
	ck_assert_int_eq(
		store_set_fact(s->store, FACT_DERIVED_UNTIL_MS, end * MS_PER_MIN), 0);
	ck_assert_int_eq(store_commit(s->store), 0);
}

#define COUNT_LOOKED "SELECT count(*) FROM evidence WHERE kind = 0"

TEST(evidence_is_made_once_and_goes_with_the_sums_of_its_day)
{
	struct stored *s = stored_new(house);
	size_t done = 0;
	fill(s, 3);
	ck_assert_int_eq(sql_number(s->store, COUNT_LOOKED), 0);
	ck_assert_int_eq(evidence_catch_up(s->store, 2, &done), 0);
	ck_assert_uint_eq(done, 2);
	ck_assert_int_eq(evidence_catch_up(s->store, 2, &done), 0);
	ck_assert_uint_eq(done, 1);
	ck_assert_int_eq(evidence_catch_up(s->store, 2, &done), 0);
	ck_assert_uint_eq(done, 0);
	ck_assert_int_eq(sql_number(s->store, COUNT_LOOKED), 3);
	ck_assert_int_eq(store_begin(s->store), 0);
	ck_assert_int_eq(store_rollup(s->store, START + 1500, START + 1501,
				 START + 3 * MIN_PER_DAY),
		0);
	ck_assert_int_eq(store_commit(s->store), 0);
	ck_assert_int_eq(sql_number(s->store, COUNT_LOOKED), 2);
	stored_free(s);
}
END

/* Days that were not looked at yet are looked at when they are asked for. */
TEST(findings_are_the_same_before_and_after_evidence_is_kept)
{
	struct stored *s = stored_new(house);
	size_t done;
	fill(s, 3);
	for (int kept = 0; kept < 2; kept++) {
		struct findings f;
		ck_assert_int_eq(findings_ask(s->store, START * MS_PER_MIN,
					 (START + 3 * MIN_PER_DAY) * MS_PER_MIN, 10, &f),
			0);
		ck_assert_int_eq(f.days, 3);
		ck_assert_int_eq(f.days_looked, 3);
		const struct finding *reversed = NULL;
		for (size_t i = 0; i < f.list.count; i++)
			if (f.list.items[i].kind == FINDING_POWER_REVERSED)
				reversed = &f.list.items[i];
		ck_assert_ptr_nonnull(reversed);
		expect_days(reversed, 0, 1);
		ck_assert_double_eq_tol(reversed->size, -900.0, 1e-6);
		findings_ask_release(&f);
		ck_assert_int_eq(evidence_catch_up(s->store, 10, &done), 0);
	}
	stored_free(s);
}
END

/* Asked for the reversed day alone: one day follows, which says little, or two do. */
TEST(a_correction_ends_with_a_span_that_ends_before_the_rows)
{
	for (int days = 2; days <= 3; days++) {
		struct stored *s = stored_new(house);
		struct findings f;
		const struct finding *reversed = NULL;
		fill(s, days);
		ck_assert_int_eq(findings_ask(s->store, START * MS_PER_MIN,
					 (START + MIN_PER_DAY) * MS_PER_MIN, 10, &f),
			0);
		for (size_t i = 0; i < f.list.count; i++)
			if (f.list.items[i].kind == FINDING_POWER_REVERSED)
				reversed = &f.list.items[i];
		ck_assert_ptr_nonnull(reversed);
		ck_assert_int_eq(reversed->lasts, days == 2);
		const char *to = strstr(reversed->correction, "to = 2026-01-02\n");
		ck_assert_int_eq(to != NULL, days == 3);
		findings_ask_release(&f);
		stored_free(s);
	}
}
END

	static int64_t
	day_back(int days)
{
	struct date date = calendar_date(START * MS_PER_MIN);
	return calendar_day_start(calendar_add(date, 0, 0, -days));
}

/* So many days of a clamp that was reversed, before days that were looked at as well. */
static void reversed_since(struct stored *s, int days)
{
	ck_assert_int_eq(store_begin(s->store), 0);
	for (int d = days + 30; d > 0; d--) {
		struct evidence_list list = {0};
		struct evidence e = {.kind = EVIDENCE_LOOKED,
			.subject = -1,
			.at_min = day_back(d) / MS_PER_MIN,
			.minutes = EVIDENCE_FORM};
		struct made made;
		evidence_add(&list, &e);
		e = (struct evidence){.kind = EVIDENCE_POWER_NEGATIVE,
			.subject = POWER,
			.at_min = e.at_min,
			.minutes = 100,
			.values = {-500.0, -500.0 * 6000}};
		if (d <= days)
			evidence_add(&list, &e);
		ck_assert_int_eq(store_evidence_put(s->store, e.at_min, &list), 0);
		made_at(&made, e.at_min);
		made_channel(&made, 0, 35.0, 60000);
		ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
		evidence_release(&list);
	}
	ck_assert_int_eq(store_commit(s->store), 0);
}

/* Asked for one day: the fault began months, or a year and a half, before; or with all
 * that there is. */
TEST(a_correction_begins_where_the_fault_does)
{
	static const int days[] = {0, 100, 550};
	for (size_t i = 0; i < ARRAY_LEN(days); i++) {
		struct stored *s = stored_new(house);
		struct findings f;
		char line[32];
		size_t reversed = 0;
		reversed_since(s, days[i]);
		fill(s, 1);
		ck_assert_int_eq(findings_ask(s->store, START * MS_PER_MIN,
					 (START + MIN_PER_DAY) * MS_PER_MIN, 10, &f),
			0);
		ck_assert_int_eq(f.days, 1);
		ck_assert_int_eq(f.days_looked, 1);
		ck_assert_int_eq(f.from_ms, START * MS_PER_MIN);
		for (; reversed < f.list.count; reversed++)
			if (f.list.items[reversed].kind == FINDING_POWER_REVERSED)
				break;
		ck_assert_uint_lt(reversed, f.list.count);
		const struct finding *found = &f.list.items[reversed];
		ck_assert_int_eq(found->since_ms, day_back(days[i]));
		ck_assert(!found->began_before);
		(void)snprintf(line, sizeof(line), "from = ");
		calendar_date_text(calendar_date(found->since_ms), line + 7);
		ck_assert_ptr_nonnull(strstr(found->correction, line));
		findings_ask_release(&f);
		/* What had ended before is none of it. */
		ck_assert_int_eq(findings_ask(s->store, day_back(days[i] + 10),
					 day_back(days[i] + 5), 10, &f),
			0);
		for (size_t k = 0; k < f.list.count; k++)
			ck_assert_int_ne(f.list.items[k].kind, FINDING_POWER_REVERSED);
		findings_ask_release(&f);
		stored_free(s);
	}
}
END

	TEST(days_of_an_earlier_mapping_are_named_and_not_the_span)
{
	struct stored *s = stored_new(house);
	struct findings f;
	const struct finding *wanted = NULL;
	fill(s, 5);
	sql_run(s->store, "INSERT INTO mappings (digest, since_ms) VALUES (1, 0);"
			  "INSERT INTO days_made SELECT day, max(id) FROM mappings, "
			  "(SELECT 20455 AS day UNION SELECT 20456) GROUP BY day");
	ck_assert_int_eq(findings_ask(s->store, START * MS_PER_MIN,
				 (START + 5 * MIN_PER_DAY) * MS_PER_MIN, 10, &f),
		0);
	for (size_t i = 0; i < f.list.count; i++)
		if (f.list.items[i].kind == FINDING_REBUILD_WANTED)
			wanted = &f.list.items[i];
	ck_assert_ptr_nonnull(wanted);
	ck_assert_double_eq(wanted->size, 2.0);
	ck_assert_ptr_nonnull(
		strstr(wanted->remedy, "--from 2026-01-02 --to 2026-01-03 "));
	findings_ask_release(&f);
	stored_free(s);
}
END

	static const char plain[] =
		"[plant]\nzone = Europe/Berlin\ndevices = compressor\n"
		"[channel flow_temperature]\ntopic = a/1\n[channel "
		"return_temperature]\ntopic = "
		"a/2\n"
		"[channel unit_power]\ntopic = a/3\nunit = W\n"
		"[meter unit]\nfeeds = compressor\npower = unit_power\n";

/* The flow sensor says nothing for two hours, power goes on, and no register is there. */
TEST(only_what_a_register_bridged_is_called_so)
{
	struct stored *s = stored_new(plain);
	struct findings f;
	const struct finding *missing = NULL;
	fill(s, 2);
	sql_run(s->store, "UPDATE energy_minutes SET heat_j = NULL, heat_ms = NULL "
			  "WHERE slot / 16 BETWEEN 29453760 AND 29453879");
	ck_assert_int_eq(findings_ask(s->store, START * MS_PER_MIN,
				 (START + 2 * MIN_PER_DAY) * MS_PER_MIN, 10, &f),
		0);
	for (size_t i = 0; i < f.list.count; i++)
		if (f.list.items[i].kind == FINDING_MISSING_MINUTES)
			missing = &f.list.items[i];
	ck_assert_ptr_nonnull(missing);
	ck_assert_ptr_nonnull(strstr(missing->evidence, "no heat is known"));
	ck_assert_ptr_null(strstr(missing->evidence, "bridged"));
	findings_ask_release(&f);
	stored_free(s);
}
END

/* A store of years whose minutes went before anyone looked, or looked in an earlier form:
 * what is gone is neither an outage, nor does it take the place of what was seen. */
TEST(days_whose_minutes_are_gone_are_not_looked_at)
{
	for (int seen = 0; seen < 2; seen++) {
		struct stored *s = stored_new(house);
		struct aged aged;
		struct findings f;
		size_t done = 0;
		fill(s, 3);
		if (seen)
			ck_assert_int_eq(evidence_catch_up(s->store, 10, &done), 0);
		int64_t rows = sql_number(s->store, "SELECT count(*) FROM evidence");
		sql_run(s->store, "UPDATE evidence SET minutes = 0 WHERE kind = 0");
		ck_assert_int_eq(store_age_minutes(s->store,
					 (START + MIN_PER_DAY) * MS_PER_MIN, &aged),
			0);
		ck_assert_int_eq(findings_ask(s->store, START * MS_PER_MIN,
					 (START + 3 * MIN_PER_DAY) * MS_PER_MIN, 10, &f),
			0);
		ck_assert_int_eq(f.days_looked, seen ? 3 : 2);
		for (size_t i = 0; i < f.list.count; i++)
			ck_assert_ptr_null(
				strstr(f.list.items[i].evidence, "nothing at all"));
		findings_ask_release(&f);
		ck_assert_int_eq(evidence_catch_up(s->store, 10, &done), 0);
		ck_assert_uint_eq(done, 2);
		ck_assert_int_eq(evidence_catch_up(s->store, 10, &done), 0);
		ck_assert_uint_eq(done, 0);
		if (seen)
			ck_assert_int_eq(
				sql_number(s->store, "SELECT count(*) FROM evidence"),
				rows);
		ck_assert_int_eq(sql_number(s->store,
					 "SELECT count(*) FROM evidence WHERE kind = 14 "
					 "AND v0 >= 4"),
			0);
		stored_free(s);
	}
}
END

/* More days than one answer looks at, of a plant whose heat nobody measures. */
TEST(a_day_that_was_not_looked_at_is_no_outage_when_a_meter_was_known)
{
	struct made_days *m = days_new();
	for (size_t d = 0; d < DAYS; d++) {
		m->days[d].heat_ms = m->days[d].paired_ms = 0;
		m->days[d].looked = d >= 10;
		m->days[d].known = true;
	}
	none(m);
	days_free(m);
	m = days_new();
	m->days[10].looked = false;
	m->days[10].heat_ms = m->days[10].paired_ms = 0;
	expect_days(only(m, FINDING_MISSING_MINUTES), 10, 11);
	days_free(m);
}
END

TEST(an_empty_store_has_no_finding)
{
	struct stored *s = stored_new(house);
	struct findings f;
	ck_assert_int_eq(findings_ask(s->store, 0, (START + 5) * MS_PER_MIN, 10, &f), 0);
	ck_assert_uint_eq(f.list.count, 0);
	findings_ask_release(&f);
	stored_free(s);
}
END

TESTS(days_without_evidence_of_faults_have_none,
	an_offset_is_told_with_its_days_its_effect_and_a_correction,
	an_offset_begins_and_ends_on_the_days_that_say_so,
	one_offset_has_one_correction_whatever_lies_between,
	days_without_rest_leave_open_when_an_offset_began,
	days_without_rest_are_in_the_midst_of_an_offset,
	offsets_that_differ_are_told_apart,
	a_fault_that_is_older_than_the_days_looked_at_says_so,
	a_proposed_correction_is_one, an_offset_lasts_until_another_rest_says_otherwise,
	nothing_lasts_where_rows_follow_the_span,
	what_a_correction_left_is_proposed_as_a_sum_with_it,
	no_section_is_proposed_that_would_be_refused_or_wrong,
	a_correction_that_its_cause_left_is_to_go,
	a_reversed_clamp_took_off_twice_what_it_measured,
	power_that_disagrees_with_its_register_ends_with_its_cause,
	a_coarse_register_agrees_over_a_fortnight,
	an_immersion_heater_is_unplanned_at_another_time_or_too_often,
	only_unplanned_runs_count_as_such_and_say_what_they_are,
	a_skew_of_whole_quarters_is_named_a_zone,
	flow_and_pressure_that_fall_are_told_and_what_stays_is_not,
	an_outage_has_the_reason_that_link_facts_give,
	a_stretch_is_told_by_what_was_missing_in_it,
	what_an_open_span_of_a_register_will_tell_is_not_missing,
	of_a_plant_without_heat_electricity_alone_is_missing,
	a_fall_of_efficiency_is_told_from_the_day_on,
	days_of_an_earlier_mapping_and_sealed_ones_are_findings,
	each_kind_of_evidence_has_a_name_of_its_own,
	evidence_is_made_once_and_goes_with_the_sums_of_its_day,
	findings_are_the_same_before_and_after_evidence_is_kept,
	a_correction_ends_with_a_span_that_ends_before_the_rows,
	a_correction_begins_where_the_fault_does,
	days_of_an_earlier_mapping_are_named_and_not_the_span,
	only_what_a_register_bridged_is_called_so,
	days_whose_minutes_are_gone_are_not_looked_at,
	a_day_that_was_not_looked_at_is_no_outage_when_a_meter_was_known,
	an_empty_store_has_no_finding)
