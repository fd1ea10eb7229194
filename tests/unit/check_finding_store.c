/*
 * The way of findings through the store: evidence is made of closed days, kept, and
 * dropped with their sums; what is asked of a span looks back beyond it.
 */
#include "made_days.h"
#include "stored.h"

#include <heatbook/age.h>

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
		sql_run(s->store, "INSERT INTO run_days SELECT start_minute, "
				  "end_minute, 0, 0, 0 FROM days");
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

TESTS(each_kind_of_evidence_has_a_name_of_its_own,
	evidence_is_made_once_and_goes_with_the_sums_of_its_day,
	findings_are_the_same_before_and_after_evidence_is_kept,
	a_correction_ends_with_a_span_that_ends_before_the_rows,
	a_correction_begins_where_the_fault_does,
	days_of_an_earlier_mapping_are_named_and_not_the_span,
	only_what_a_register_bridged_is_called_so,
	days_whose_minutes_are_gone_are_not_looked_at,
	a_day_that_was_not_looked_at_is_no_outage_when_a_meter_was_known,
	an_empty_store_has_no_finding)
