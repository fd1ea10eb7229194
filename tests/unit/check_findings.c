/*
 * Findings out of evidence made by hand: there where it is, and not where it is not; with
 * dates, sizes, and effects that follow from the sums.
 */
#include "made_days.h"

TEST(days_without_evidence_of_faults_have_none)
{
	struct made_days *m = days_new();
	none(m);
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
	m = days_new();
	for (int d = 3; d < DAYS; d += 7)
		heats(m, d, 852);
	for (int d = 22; d < 27; d++) /* one of them upon a weekly run's day, 24 */
		heats(m, d, 360);
	f = only(m, FINDING_IMMERSION_UNPLANNED);
	expect_days(f, 22, 27);
	ck_assert_double_eq_tol(f->size, 5 * 2.25, 1e-9);
	ck_assert_ptr_nonnull(strstr(f->evidence, "On 3 days it ran though"));
	ck_assert_ptr_nonnull(strstr(f->evidence, "On 2 days it ran at a time of day"));
	days_free(m);
}
END

/* Two runs of 8.1 MJ; hot water took a third of its heat on these days, half on others. */
TEST(the_unit_would_have_made_an_immersion_heaters_heat)
{
	struct made_days *m = days_new();
	for (int d = 3; d < DAYS; d += 7)
		heats(m, d, 852);
	for (int d = 0; d < DAYS; d++) {
		struct evidence *e =
			add(m, (size_t)d, EVIDENCE_EFFICIENCY, MODE_HOT_WATER, 0, 30);
		e->values[0] = 6e6;
		e->values[1] = d >= 23 && d < 27 ? 2e6 : 3e6;
	}
	heats(m, 23, 360);
	heats(m, 26, 360);
	findings_of(&m->input, &m->list);
	const struct finding *f = NULL;
	for (size_t i = 0; i < m->list.count; i++)
		if (m->list.items[i].kind == FINDING_IMMERSION_UNPLANNED)
			f = &m->list.items[i];
	ck_assert_ptr_nonnull(f);
	ck_assert_double_eq_tol(
		f->effect, 3.6 - 1440.0 / (400.0 - 16.2 * 2.0 / 3.0), 1e-9);
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

TESTS(days_without_evidence_of_faults_have_none,
	a_reversed_clamp_took_off_twice_what_it_measured,
	power_that_disagrees_with_its_register_ends_with_its_cause,
	a_coarse_register_agrees_over_a_fortnight,
	an_immersion_heater_is_unplanned_at_another_time_or_too_often,
	only_unplanned_runs_count_as_such_and_say_what_they_are,
	the_unit_would_have_made_an_immersion_heaters_heat,
	a_skew_of_whole_quarters_is_named_a_zone,
	flow_and_pressure_that_fall_are_told_and_what_stays_is_not,
	a_fall_of_efficiency_is_told_from_the_day_on,
	days_of_an_earlier_mapping_and_sealed_ones_are_findings)
