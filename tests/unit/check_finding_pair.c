/*
 * Offsets of the pair out of evidence made by hand: when one begins and ends, its effect,
 * and the section that is proposed to correct it.
 */
#include "made_days.h"

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

/* A sensor that slips again within a season, without a day between that says otherwise:
 * each offset has its own days, and a section that is right for them. One that drifts by
 * a tenth of a kelvin is one. */
TEST(an_offset_that_grows_is_parted_where_it_does)
{
	static const struct {
		double k[3];
		int levels;
	} rows[] = {{{0.3, 0.6, 0.0}, 2}, {{0.3, 0.9, 0.5}, 3}, {{-0.9, -0.3, 0.0}, 2},
		{{0.30, 0.38, 0.33}, 1}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_new();
		double factors = 0.0;
		m->input.day_count = DAYS_MOST;
		for (int part = 0; part < 3; part++)
			rest(m, 10 + 30 * part, 40 + 30 * part, rows[i].k[part]);
		rest(m, 100, DAYS_MOST, 0.0);
		findings_of(&m->input, &m->list);
		ck_assert_msg(m->list.count == (size_t)rows[i].levels, "row %zu: %zu", i,
			m->list.count);
		for (size_t n = 0; n < m->list.count; n++) {
			const struct finding *f = &m->list.items[n];
			int day = (int)((f->since_ms / MS_PER_MIN - START) / MIN_PER_DAY);
			ck_assert_ptr_nonnull(f->correction);
			factors += f->effect;
			if (rows[i].levels == 1)
				continue;
			ck_assert_int_eq(day % 30, 10);
			expect_days(f, day, day + 30);
			ck_assert_double_eq_tol(
				f->size, rows[i].k[(day - 10) / 30], 0.006);
		}
		double sum_k = rows[i].k[0] + rows[i].k[1] + rows[i].k[2];
		ck_assert_double_eq_tol(factors, 7.2 * 30 * sum_k / 1500.0,
			rows[i].levels == 1 ? 0.01 : 0.001);
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

TESTS(an_offset_is_told_with_its_days_its_effect_and_a_correction,
	an_offset_begins_and_ends_on_the_days_that_say_so,
	one_offset_has_one_correction_whatever_lies_between,
	days_without_rest_leave_open_when_an_offset_began,
	days_without_rest_are_in_the_midst_of_an_offset,
	offsets_that_differ_are_told_apart,
	an_offset_that_grows_is_parted_where_it_does, a_fault_that_is_older_than_the_days_looked_at_says_so,
	a_proposed_correction_is_one, an_offset_lasts_until_another_rest_says_otherwise,
	nothing_lasts_where_rows_follow_the_span,
	what_a_correction_left_is_proposed_as_a_sum_with_it,
	no_section_is_proposed_that_would_be_refused_or_wrong,
	a_correction_that_its_cause_left_is_to_go)
