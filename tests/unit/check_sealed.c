/*
 * Registers and days that are sealed in part or whole: what a sealed minute holds stays,
 * the minutes beside it get what the register counted besides, no joule is booked twice
 * and none is lost; making it again gives the same rows.
 *
 * Reference: hand-computed whole joules.
 */
#include "sealed_house.h"

/* 4 kWh over midnight, two hours on each side; the first day is sealed with its half. */
TEST(a_span_from_a_sealed_day_keeps_both_its_parts)
{
	static const struct said said[] = {{1320, "a/r", 700}, {1560, "a/r", 704}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 2 * 1440);
	ck_assert_int_eq(booked(&f, 0, 1440), 2 * KWH);
	ck_assert_int_eq(booked(&f, 1440, 2880), 2 * KWH);
	seal(&f, 0, 1440);
	derive_all_anew(&f, 0, 2 * 1440);
	ck_assert_int_eq(booked(&f, 0, 1440), 2 * KWH);
	ck_assert_int_eq(booked(&f, 1440, 2880), 2 * KWH);
	expect_verified(&f, 2880, 1);
	filed_free(&f);
}
END

/* The register alone; the span is open when the day is sealed at noon: nothing is booked
 * of it yet. What it counted is in the minutes after it. */
TEST(a_span_that_was_open_is_booked_where_it_may)
{
	static const struct said said[] = {{660, "a/r", 700}, {710, "a/r", 700.1}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 720);
	ck_assert_int_eq(booked(&f, 0, 720), 0);
	seal(&f, 0, 720);
	say(&f, 780, "a/r", 704);
	derive_all_anew(&f, 720, 900);
	expect_checks(&f);
	ck_assert_int_eq(booked(&f, 0, 720), 0);
	ck_assert_int_eq(booked(&f, 720, 780), 4 * KWH);
	derive_all_anew(&f, 0, 900);
	ck_assert_int_eq(booked(&f, 0, 780), 4 * KWH);
	filed_free(&f);
}
END

/* Power said 2 kWh of the sealed hour; the register 5 kWh of that and the next one. */
TEST(what_power_said_in_sealed_minutes_is_taken_off)
{
	static const struct said said[] = {
		{660, "a/r", 700}, {660, "a/p", 2000}, {719, "a/r", 700.1}};
	struct filed f = derived(SHAPED, said, ARRAY_LEN(said), 720);
	ck_assert_int_eq(booked(&f, 660, 720), 2 * KWH);
	seal(&f, 0, 720);
	say(&f, 780, "a/r", 705);
	derive_all_anew(&f, 720, 790);
	expect_checks(&f);
	ck_assert_int_eq(booked(&f, 660, 720), 2 * KWH);
	ck_assert_int_eq(booked(&f, 720, 780), 3 * KWH);
	ck_assert_int_eq(
		booked(&f, 780, 790), 1200000); /* by power, up to its register */
	filed_free(&f);
}
END

/* A reading comes late and parts the span in two; the first of them has less than the
 * sealed day holds of it, so the next one makes up for it. Nothing is ever negative. */
TEST(what_a_sealed_day_has_too_much_is_taken_off_what_follows)
{
	static const struct said said[] = {{1320, "a/r", 700}, {1560, "a/r", 704}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 2 * 1440);
	seal(&f, 0, 1440);
	say(&f, 1500, "a/r", 701);
	derive_until(&f, MINUTE(2 * 1440));
	expect_checks(&f);
	ck_assert_int_eq(booked(&f, 0, 1440), 2 * KWH);
	ck_assert_int_eq(booked(&f, 1440, 1500), 0);
	ck_assert_int_eq(booked(&f, 1500, 1560), 2 * KWH);
	ck_assert_int_ge(rows(&f, "min(e_unit_j)", 0, 2880), 0);
	expect_verified(&f, 2880, 1);
	filed_free(&f);
}
END

/* The span of the sealed day was closed by a reading there, which nothing reads again: a
 * reading that comes late for the day before takes its beginning, and it keeps the rest.
 * Power is 2000 W on day 0 and 1000 W on day 1; the late reading cuts a minute. */
TEST(a_span_made_in_a_sealed_day_keeps_what_is_left_of_it)
{
	static const struct said said[] = {{1320, "a/r", 700}, {1320, "a/p", 2000},
		{1440, "a/p", 1000}, {1560, "a/r", 706}, {1620, "a/p", 0},
		{1620, "a/r", 707}};
	struct filed f = derived(SHAPED, said, ARRAY_LEN(said), 2 * 1440);
	ck_assert_int_eq(booked(&f, 1320, 1440), 4 * KWH);
	seal(&f, 1, 2880);
	say(&f, 1380.5, "a/r", 702.5);
	derive_until(&f, MINUTE(2 * 1440));
	expect_checks(&f);
	ck_assert_int_eq(sql_number(f.store, "SELECT sum(j) FROM settlements"), 7 * KWH);
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM settlements"), 3);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT head_j FROM settlements WHERE j = 12600000"),
		60000);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT head_ms FROM settlements WHERE j = 12600000"),
		30000);
	ck_assert_int_eq(booked(&f, 0, 1440), 4 * KWH);
	ck_assert_int_eq(booked(&f, 1440, 1560), 2 * KWH);
	ck_assert_int_eq(booked(&f, 0, 2880), 7 * KWH);
	filed_free(&f);
}
END

	/* What is laid again where rows of so many minutes were written. */
	static void
	expect_laid(struct filed *f, int64_t from, int64_t to, int64_t laid_from,
		int64_t laid_to)
{
	int64_t from_minute = MINUTE(from), to_minute = MINUTE(to);
	ck_assert_int_eq(store_begin(f->store), 0);
	ck_assert_int_eq(
		store_settle(f->store, NULL, 0, AT(to), AT(to), &from_minute, &to_minute),
		0);
	ck_assert_int_eq(store_commit(f->store), 0);
	ck_assert_int_eq(from_minute, MINUTE(laid_from));
	ck_assert_int_eq(to_minute, MINUTE(laid_to));
}

/* A span over midnight of day 0, which is sealed with its half of it; it is parted there.
 * The second part makes up for the first: within a week of the seal it is laid again,
 * too.
 */
TEST(what_makes_up_for_a_sealed_day_is_laid_with_what_is_near_it)
{
	static const struct said said[] = {{1320, "a/r", 700}, {1560, "a/r", 704},
		{1600, "a/r", 704}, {3000, "a/r", 705}, {30000, "a/r", 706}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 21 * 1440);
	seal(&f, 0, 1440);
	expect_laid(&f, 1440, 1705, 1440, 1705);
	say(&f, 1500, "a/r", 701);
	derive_until(&f, MINUTE(21 * 1440));
	expect_laid(&f, 1700, 1705, 1500, 1705);
	expect_laid(&f, 1445, 1450, 1445, 1560);
	expect_laid(&f, 29000, 29001, 1500, 29001); /* of a span from near the seal */
	expect_laid(&f, 30001, 30002, 30001, 30002);
	filed_free(&f);
}
END

/* A month by notebook, its first ten days sealed without anything booked in them. */
TEST(a_notebooks_month_has_its_amount)
{
	static const struct said said[] = {{0, "a/r", 700}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 10 * 1440);
	for (int64_t day = 0; day < 10; day++)
		seal(&f, day, (day + 1) * 1440);
	say(&f, 31 * 1440.0, "a/r", 1010);
	derive_until(&f, MINUTE(32 * 1440));
	expect_checks(&f);
	ck_assert_int_eq(booked(&f, 0, 10 * 1440), 0);
	ck_assert_int_eq(booked(&f, 0, 32 * 1440), 310 * KWH);
	expect_verified(&f, 32 * 1440, 22);
	filed_free(&f);
}
END

	/* As if runs had been worked out. */
	static void
	mark_runs(struct store *store)
{
	sql_run(store, "INSERT INTO run_days SELECT start_minute, end_minute, 0, 0, 0 "
		       "FROM days WHERE start_minute NOT IN (SELECT start_minute FROM "
		       "run_days)");
}

/* The minutes of the first day went for their age; its hours and days hold its half. */
TEST(minutes_that_are_gone_keep_their_part)
{
	static const struct said said[] = {{1320, "a/r", 700}, {1320, "a/p", 1000},
		{1560, "a/r", 704}, {1560, "a/p", 0}};
	struct filed f = derived(SHAPED, said, ARRAY_LEN(said), 2 * 1440);
	struct aged aged = {0};
	ck_assert_int_eq(store_set_fact(f.store, FACT_DERIVED_UNTIL_MS, AT(2880)), 0);
	ck_assert_int_eq(booked(&f, 1440, 1560), 2 * KWH);
	mark_runs(f.store);
	ck_assert_int_eq(store_age_minutes(f.store, AT(1440), &aged), 0);
	ck_assert_int_eq(booked(&f, 0, 1440), 0);
	derive_all_anew(&f, 1440, 2 * 1440);
	ck_assert_int_eq(booked(&f, 1440, 1560), 2 * KWH);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT sum(e_unit_j) FROM energy_hours"), 4 * KWH);
	filed_free(&f);
}
END

/* Power that changes each minute, so that shares are rounded otherwise beside what is
   gone. */
TEST(a_day_beside_minutes_that_are_gone_is_not_held_against_the_store)
{
	struct said said[254];
	size_t n = 0;
	said[n++] = (struct said){1320, "a/r", 700};
	for (int i = 0; i < 250; i++)
		said[n++] = (struct said){1320 + i, "a/p", 500 + 37 * (i * i % 101)};
	said[n++] = (struct said){1560, "a/r", 704.37};
	said[n++] = (struct said){1571, "a/p", 0};
	struct filed f = derived(SHAPED, said, n, 2 * 1440);
	struct aged aged = {0};
	expect_verified(&f, 2880, 2);
	mark_runs(f.store);
	ck_assert_int_eq(store_age_minutes(f.store, AT(1440), &aged), 0);
	expect_verified(&f, 2880, 0);
	filed_free(&f);
}
END

	/* ---- whatever is sealed, and whenever ---- */

	/* One house: a register that is told now and then, power that is off by up to a
	 * third or is not there at all, and days sealed up to where rows reach. */
	struct house {
	struct filed f;
	uint64_t random;
	double minute, kwh, sealed;
	bool power;
};

/* What has been used since goes to the register; power is told for a while after it. */
static void use(struct house *h, struct sending *s, double until)
{
	while (h->minute < until) {
		h->minute += (double)unit_random_between(&h->random, 3, 400) +
			     (double)unit_random_between(&h->random, 0, 59) / 60;
		h->kwh += (double)unit_random_between(&h->random, 0, 300) / 100;
		int64_t t_ms = AT(0) + llround(h->minute * MS_PER_MIN);
		send_at(s, t_ms, "a/r", h->kwh);
		if (h->power)
			send_at(s, t_ms, "a/p",
				(double)unit_random_between(&h->random, 0, 900));
	}
}

/* Rows up to some minute, and the day in which it lies is sealed up to there; so are
 * those before it, all or none. */
static void seal_somewhere(struct house *h, double from)
{
	int64_t until = (int64_t)from + unit_random_between(&h->random, 1, 1500);
	int64_t day = floor_div(until, MIN_PER_DAY);
	struct sending s = begin_sending(&h->f);
	use(h, &s, (double)until);
	end_sending(&s);
	derive_until(&h->f, MINUTE(until));
	if (unit_random_between(&h->random, 0, 1))
		for (int64_t d = 0; d < day; d++)
			sql_run(h->f.store,
				"INSERT OR REPLACE INTO aged "
				"SELECT day, day * 1440 + 1440, 0 FROM days_made "
				"WHERE day * 1440 + 1440 < (SELECT value / 60000 "
				"FROM facts WHERE name = 'derived_until_ms')");
	_cleanup_(freep) char *sql =
		xasprintf("INSERT OR REPLACE INTO aged VALUES (%lld, %lld, 0)",
			(long long)(DAY + day), (long long)MINUTE(until));
	sql_run(h->f.store, sql);
	h->sealed = (double)until;
}

static void live_through(struct house *h)
{
	seal_somewhere(h, 0);
	int64_t to = (int64_t)h->sealed, from = floor_div(to, MIN_PER_DAY) * MIN_PER_DAY;
	int64_t first = rows_hash(&h->f, from, to);
	int64_t until = (int64_t)h->sealed + 2000;
	struct sending s = begin_sending(&h->f);
	use(h, &s, (double)until);
	end_sending(&s);
	derive_all_anew(&h->f, (int64_t)h->sealed, until + 500);
	ck_assert_int_eq(rows_hash(&h->f, from, to), first);

	int64_t all = rows_hash(&h->f, 0, until + 500);
	derive_all_anew(&h->f, 0, until + 500);
	ck_assert_int_eq(rows_hash(&h->f, 0, until + 500), all);
	ck_assert_int_ge(rows(&h->f, "min(e_unit_j)", 0, until + 500), 0);
}

/* Without power all that is booked is the register's. */
TEST(whatever_is_sealed_the_register_is_booked_once)
{
	uint64_t seed = unit_seed();
	for (int round = 0; round < 16; round++) {
		struct house h = {.random = unit_random(&seed), .kwh = 700};
		h.power = round % 2;
		h.f = filed_new(h.power ? SHAPED : ALONE);
		live_through(&h);
		if (!h.power)
			ck_assert_int_eq(booked(&h.f, 0, 8 * 1440),
				sql_number(h.f.store, "SELECT sum(j) FROM settlements"));
		expect_verified(&h.f, (int64_t)h.sealed + 2500,
			(uint64_t)sql_number(h.f.store, "SELECT count(*) FROM days_made "
							"WHERE day NOT IN "
							"(SELECT day FROM aged)"));
		filed_free(&h.f);
	}
}
END

TESTS(a_day_beside_minutes_that_are_gone_is_not_held_against_the_store,
	a_span_from_a_sealed_day_keeps_both_its_parts,
	a_span_that_was_open_is_booked_where_it_may,
	what_power_said_in_sealed_minutes_is_taken_off,
	what_a_sealed_day_has_too_much_is_taken_off_what_follows,
	whatever_is_sealed_the_register_is_booked_once,
	a_span_made_in_a_sealed_day_keeps_what_is_left_of_it,
	what_makes_up_for_a_sealed_day_is_laid_with_what_is_near_it,
	a_notebooks_month_has_its_amount, minutes_that_are_gone_keep_their_part)
