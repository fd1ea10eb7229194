/*
 * Readings that come late for the time around sealed minutes: what these hold stays, no
 * joule is there twice, and none is gone without being named. Rows and what the event
 * `register_unplaced` names add up to what the register counted, to the joule.
 *
 * Reference: hand-computed whole joules; in houses that are drawn, the register's last
 * reading less its first.
 */
#include "sealed_house.h"

#include <string.h>

/* A reading in sealed minutes closes a span there, of which nothing was booked. */
TEST(what_a_register_counted_in_sealed_minutes_is_named)
{
	static const struct said said[] = {{660, "a/r", 700}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 720);
	seal(&f, 0, 720);
	say(&f, 715, "a/r", 705);
	say(&f, 780, "a/r", 706);
	derive_all_anew(&f, 720, 900);
	ck_assert_int_eq(booked(&f, 0, 720), 0);
	ck_assert_int_eq(booked(&f, 720, 900), KWH);
	ck_assert_int_eq(unplaced(&f), 5 * KWH);
	ck_assert_int_eq(sql_number(f.store, "SELECT t_ms FROM events"), AT(719));
	expect_verified(&f, 900, 0);
	filed_free(&f);
}
END

/* What is made without the seal is booked, and not named any more. */
TEST(nothing_is_named_of_days_that_are_opened_again)
{
	static const struct said said[] = {{660, "a/r", 700}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 720);
	seal(&f, 0, 720);
	say(&f, 715, "a/r", 705);
	derive_all_anew(&f, 720, 900);
	ck_assert_int_eq(unplaced(&f), 5 * KWH);
	sql_run(f.store, "DELETE FROM aged");
	derive_all_anew(&f, 0, 900);
	ck_assert_int_eq(booked(&f, 0, 900), 5 * KWH);
	ck_assert_int_eq(unplaced(&f), 0);
	filed_free(&f);
}
END

/* The register counted less in sealed minutes than they hold, and nothing else counted
 * what could make up for it: until something does, it is named. */
TEST(what_is_there_too_much_is_named_until_it_is_made_up_for)
{
	static const struct said said[] = {{600, "a/r", 700}, {660, "a/r", 704}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 661);
	seal(&f, 0, 661);
	sql_run(f.store, "UPDATE energy_minutes SET e_unit_j = e_unit_j + 60000");
	sql_run(f.store, "UPDATE energy_hours SET e_unit_j = e_unit_j + 3600000");
	derive_all_anew(&f, 661, 700);
	ck_assert_int_eq(booked(&f, 0, 660), 5 * KWH);
	ck_assert_int_eq(unplaced(&f), -KWH);
	say(&f, 780, "a/r", 704.75);
	derive_until(&f, MINUTE(900));
	ck_assert_int_eq(booked(&f, 660, 900), 0);
	ck_assert_int_eq(unplaced(&f), -KWH / 4);
	say(&f, 1500, "a/r", 705.75);
	derive_until(&f, MINUTE(1600));
	ck_assert_int_eq(booked(&f, 660, 1600), 3 * KWH / 4);
	ck_assert_int_eq(unplaced(&f), 0);
	filed_free(&f);
}
END

/* A day between is sealed as a whole, so that what was carried into the one behind it
 * never changes: its span begins before a reading that came late. */
TEST(a_span_over_a_sealed_day_is_cut_by_what_came_late_before_it)
{
	static const struct said said[] = {{1320, "a/r", 700}, {3000, "a/r", 707}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 3 * 1440);
	int64_t sealed_j = booked(&f, 1440, 2880);
	seal(&f, 1, 2880);
	say(&f, 1380, "a/r", 700.5);
	derive_until(&f, MINUTE(3 * 1440));
	expect_checks(&f);
	ck_assert_int_eq(sql_number(f.store, "SELECT sum(j) FROM settlements"), 7 * KWH);
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM settlements"), 2);
	ck_assert_int_eq(booked(&f, 1320, 1380), KWH / 2);
	ck_assert_int_eq(booked(&f, 1440, 2880), sealed_j);
	ck_assert_int_eq(booked(&f, 0, 3 * 1440), 7 * KWH);
	derive_all_anew(&f, 2880, 3 * 1440);
	ck_assert_int_eq(sql_number(f.store, "SELECT sum(j) FROM settlements"), 7 * KWH);
	ck_assert_int_eq(booked(&f, 0, 3 * 1440), 7 * KWH);
	ck_assert_int_eq(unplaced(&f), 0);
	filed_free(&f);
}
END

/* What came late tells of another register for a while, amid a span that a sealed day's
 * reading closed: it parts that, and what the register counted is what it was. */
TEST(a_span_that_is_parted_keeps_what_it_counted)
{
	static const struct said said[] = {{1320, "a/r", 700}, {1500, "a/r", 704}};
	static const struct said late[] = {{1325, "a/r", 700}, {1330, "a/r", 5},
		{1340, "a/r", 5.01}, {1350, "a/r", 5.02}, {1390, "a/r", 5.6}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 2 * 1440);
	int64_t sealed_j = booked(&f, 1440, 2880);
	seal(&f, 1, 2880);
	for (size_t i = 0; i < ARRAY_LEN(late); i++)
		say(&f, late[i].minute, late[i].topic, late[i].value);
	derive_until(&f, MINUTE(2 * 1440));
	expect_checks(&f);
	ck_assert_int_eq(sql_number(f.store, "SELECT sum(j) FROM settlements"), 4 * KWH);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT count(*) FROM settlements WHERE kind = 4"),
		1);
	ck_assert_int_eq(booked(&f, 1440, 2880), sealed_j);
	ck_assert_int_eq(booked(&f, 0, 2880) + unplaced(&f), 4 * KWH);
	filed_free(&f);
}
END

#define BEFORE                                                                           \
	"[plant]\nzone = UTC\n" HOLDS "[channel q]\ntopic = a/q\nunit = kWh\n" HELD      \
	"[channel r]\ntopic = a/r\nunit = kWh\n" HELD                                    \
	"[meter unit]\nfeeds = compressor, immersion\nregister = r\nless = heater\n"     \
	"[meter heater]\nfeeds = immersion\nregister = q\n"

/* Of 10 kWh 3 are the heater's, 6 and 4 kWh in spans of one and two hours. Where sealed
 * minutes lie over a part of a span, what the meter before counted there is in no row. */
TEST(a_meter_before_another_names_what_sealed_minutes_lack)
{
	static const struct said said[] = {
		{600, "a/r", 700}, {600, "a/q", 50}, {660, "a/r", 706}, {660, "a/q", 52}};
	static const struct {
		int64_t until;
		int64_t heater, unit, named;
	} cases[] = {
		{640, 3 * KWH, 7 * KWH, 0},
		{660, 3 * KWH, 7 * KWH, 0},
		/* Of both 2 kWh in either hour; the heater's lies in the second. */
		{720, 3 * KWH, 5 * KWH, 2 * KWH},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct filed f = derived(BEFORE, said, ARRAY_LEN(said), 720);
		seal(&f, 0, cases[i].until);
		say(&f, 780, "a/q", 53);
		say(&f, 780, "a/r", 710);
		for (int times = 0; times < 2; times++) {
			derive_all_anew(&f, cases[i].until, 900);
			ck_assert_int_eq(
				rows(&f, "sum(e_heater_j)", 0, 900), cases[i].heater);
			ck_assert_int_eq(booked(&f, 0, 900), cases[i].unit);
			ck_assert_int_eq(unplaced(&f), cases[i].named);
		}
		sql_run(f.store, "DELETE FROM aged");
		derive_all_anew(&f, 0, 900);
		ck_assert_int_eq(booked(&f, 0, 900), 7 * KWH);
		ck_assert_int_eq(unplaced(&f), 0);
		filed_free(&f);
	}
}
END

/* 5, 7 and 9 kWh, nine days each; some days after what was derived first is sealed, 2 kWh
 * come late for the ninth day and half a kWh for a day between. */
TEST(increments_that_are_weeks_apart_are_placed_or_named)
{
	static const struct said said[] = {{0, "a/r", 1}, {12960, "a/r", 5}};
	static const struct {
		int64_t day, until; /* sealed */
		double late_at;
		int64_t in_rows, named;
	} cases[] = {
		{9, 13020, -1, 21 * KWH + KWH / 2, 0},
		{3, 5760, -1, 21 * KWH + KWH / 2, 0},
		{9, 13020, 12990, 21 * KWH + KWH / 2, 2 * KWH},
		{9, 12980, 12990, 23 * KWH + KWH / 2, 0},
		{3, 5000, 5040, 23 * KWH + KWH / 2, 0},
		/* What comes for a day that is sealed as a whole is not read. */
		{3, 5760, 5040, 21 * KWH + KWH / 2, 0},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct filed f =
			derived(ALONE "kind = increment\n", said, ARRAY_LEN(said), 13020);
		seal(&f, cases[i].day, cases[i].until);
		if (cases[i].late_at >= 0)
			say(&f, cases[i].late_at, "a/r", 2);
		derive_all_anew(&f, 0, 13080);
		say(&f, 17280, "a/r", 0.5);
		say(&f, 25920, "a/r", 7);
		say(&f, 38880, "a/r", 9);
		derive_until(&f, MINUTE(40000));
		expect_checks(&f);
		ck_assert_int_eq(booked(&f, 0, 40000), cases[i].in_rows);
		ck_assert_int_eq(unplaced(&f), cases[i].named);
		filed_free(&f);
	}
}
END

/* ---- houses that are drawn ---- */

#define MOST "most_power = 1 MW\n" /* readings are seconds apart */
	enum { READINGS = 60,
		DAYS = 5,
		LATE_ONE_IN = 3 };

struct reading_said {
	double minute, kwh, watts;
	int turn; /* in which it comes: 0 in time, 1 and 2 late */
};

struct house {
	struct filed f;
	uint64_t random;
	bool power;
	struct reading_said said[READINGS];
	int64_t sealed[DAYS]; /* until which minute of the first day; 0: not */
};

static int by_minute(const void *left, const void *right)
{
	const struct reading_said *a = left, *b = right;
	return (a->minute > b->minute) - (a->minute < b->minute);
}

/* The last one closes its span, and no power follows it; power is never late. */
static void draw(struct house *h)
{
	double kwh = 700;
	for (size_t i = 0; i < READINGS; i++)
		h->said[i].minute =
			(double)unit_random_between(&h->random, 0, DAYS * 86400 - 60) /
			60;
	qsort(h->said, READINGS, sizeof(*h->said), by_minute);
	for (size_t i = 0; i < READINGS; i++) {
		bool last = i == READINGS - 1;
		if (i > 0 && h->said[i].minute < h->said[i - 1].minute + 0.1)
			h->said[i].minute = h->said[i - 1].minute + 0.1;
		kwh += last ? 1 : (double)unit_random_between(&h->random, 0, 90) / 100;
		h->said[i].kwh = kwh;
		h->said[i].watts =
			last ? 0 : (double)unit_random_between(&h->random, 0, 900);
		h->said[i].turn = (int)unit_random_between(&h->random, 0, LATE_ONE_IN);
		if (h->said[i].turn == LATE_ONE_IN || i == 0 || last)
			h->said[i].turn = 0;
	}
}

static void hear(struct house *h, int turn, double from, double to)
{
	struct sending s = begin_sending(&h->f);
	for (size_t i = 0; i < READINGS; i++) {
		const struct reading_said *r = &h->said[i];
		int64_t t_ms = AT(0) + llround(r->minute * MS_PER_MIN);
		if (r->minute < from || r->minute >= to)
			continue;
		if (r->turn == turn)
			send_at(&s, t_ms, "a/r", r->kwh);
		if (h->power && turn == 0)
			send_at(&s, t_ms, "a/p", r->watts);
	}
	end_sending(&s);
}

/* Some days as a whole, and the one in which `now` lies up to there. */
static void seal_some(struct house *h, int64_t now)
{
	for (int64_t day = 0; day < DAYS; day++) {
		int64_t end = (day + 1) * 1440;
		h->sealed[day] = end <= now && unit_random_between(&h->random, 0, 2) == 0
					 ? end
					 : 0;
		if (day == now / 1440 && unit_random_between(&h->random, 0, 3) > 0)
			h->sealed[day] = now;
		if (h->sealed[day] > day * 1440)
			seal(&h->f, day, h->sealed[day]);
	}
}

static int64_t sealed_hash(struct house *h)
{
	int64_t sum = 0;
	for (int64_t day = 0; day < DAYS; day++)
		sum = sum * 31 + rows_hash(&h->f, day * 1440, h->sealed[day]);
	return sum;
}

static void expect_placed(struct house *h, const char *when)
{
	int64_t truth = llround((h->said[READINGS - 1].kwh - h->said[0].kwh) * 3600000.0);
	int64_t is = booked(&h->f, 0, DAYS * 1440), named = unplaced(&h->f);
	expect_checks(&h->f);
	ck_assert_msg(is + named == truth,
		"%s: %lld J in rows, %lld J named, %lld J counted", when, (long long)is,
		(long long)named, (long long)truth);
	ck_assert_int_ge(rows(&h->f, "min(e_unit_j)", 0, DAYS * 1440), 0);
}

static void live_through(struct house *h)
{
	int64_t now = unit_random_between(&h->random, 720, DAYS * 1440),
		end = DAYS * 1440;
	draw(h);
	hear(h, 0, 0, (double)now);
	derive_until(&h->f, MINUTE(now));
	seal_some(h, now);
	int64_t first = sealed_hash(h);

	hear(h, 0, (double)now, (double)end);
	derive_all_anew(&h->f, now, end);
	expect_placed(h, "as it went on");
	hear(h, 1, 0, (double)end);
	derive_until(&h->f, MINUTE(end));
	expect_placed(h, "after what came late");
	hear(h, 2, 0, (double)end);
	derive_until(&h->f, MINUTE(end));
	expect_placed(h, "after what came later");

	int64_t all = rows_hash(&h->f, 0, end), named = unplaced(&h->f);
	derive_all_anew(&h->f, 0, end);
	expect_placed(h, "made again");
	ck_assert_int_eq(rows_hash(&h->f, 0, end), all);
	ck_assert_int_eq(unplaced(&h->f), named);
	ck_assert_int_eq(sealed_hash(h), first);
}

TEST(rows_and_what_is_named_are_what_the_register_counted)
{
	uint64_t seed = unit_seed();
	uint64_t count = unit_rounds(12);
	for (uint64_t round = 0; round < count; round++) {
		struct house *h = xcalloc(1, sizeof(*h));
		h->random = unit_random(&seed);
		h->power = round % 2;
		h->f = filed_new(h->power ? SHAPED MOST : ALONE MOST);
		live_through(h);
		filed_free(&h->f);
		free(h);
	}
}
END

TESTS(what_a_register_counted_in_sealed_minutes_is_named,
	nothing_is_named_of_days_that_are_opened_again,
	what_is_there_too_much_is_named_until_it_is_made_up_for,
	a_span_over_a_sealed_day_is_cut_by_what_came_late_before_it,
	a_span_that_is_parted_keeps_what_it_counted,
	a_meter_before_another_names_what_sealed_minutes_lack,
	increments_that_are_weeks_apart_are_placed_or_named,
	rows_and_what_is_named_are_what_the_register_counted)
