/*
 * What lies in spans of registers that are not over: how much of an answer that is, since
 * when, and how far power is beyond what a register can hide; that it is replaced when
 * the span closes, and that nothing is counted twice. And what a register counted that no
 * row holds.
 *
 * Reference: hand-computed whole joules; in houses that are drawn, the spans that closed,
 * and the register's last reading less its first.
 */
#include "sealed_house.h"

#include <heatbook/figures.h>

#include <string.h>

/* Answers are large: all of them share one place. */
static struct energy_answer answer;

static void ask_by(struct filed *f, const int64_t *edges_ms, size_t count)
{
	const struct boundary all = {.name = "all", .meters = ~0u, .needs = ~0u};
	energy_answer_release(&answer);
	ck_assert_int_eq(query_energy(f->store, edges_ms, count, &all, &answer), 0);
}

static void ask(struct filed *f, int64_t from, int64_t to)
{
	const int64_t edges[] = {AT(from), AT(to)};
	ask_by(f, edges, 1);
}

static struct energy_sum sum(const struct energy_bucket *bucket)
{
	return figures_sum(bucket);
}

/* Of the first meter. */
static int64_t provisional(struct filed *f, int64_t from, int64_t to)
{
	ask(f, from, to);
	return sum(&answer.total).meter_provisional_j[0];
}

static struct energy_open open_of(struct filed *f, size_t q)
{
	ask(f, 0, 1);
	return answer.open[q];
}

/* 1,200 W: 72,000 J a minute; 1 kWh in 50 minutes. */
static const struct said steady[] = {
	{0, "a/p", 1200}, {0, "a/r", 700}, {50, "a/r", 701}, {55, "a/r", 701.1}};

TEST(what_power_says_since_the_last_span_is_provisional)
{
	struct filed f = derived(SHAPED, steady, ARRAY_LEN(steady), 60);
	const int64_t edges[] = {AT(0), AT(30), AT(52), AT(60)};
	ask_by(&f, edges, 3);
	ck_assert_int_eq(sum(&answer.buckets[0]).meter_provisional_j[0], 0);
	ck_assert_int_eq(sum(&answer.buckets[1]).meter_provisional_j[0], 2 * 72000);
	ck_assert_int_eq(sum(&answer.buckets[2]).meter_provisional_j[0], 8 * 72000);
	ck_assert_int_eq(sum(&answer.total).meter_provisional_j[0], 10 * 72000);
	ck_assert_int_eq(sum(&answer.total).meter_j[0], KWH + 10 * 72000);
	const struct energy_open *open = &answer.open[0];
	ck_assert(open->open && open->compared);
	ck_assert_int_eq(open->begin_ms, AT(50));
	ck_assert_int_eq(open->span.last_ms, AT(55));
	ck_assert_int_eq(open->span.j, KWH / 10);
	ck_assert_int_eq(open->span.power_j, 5 * 72000);
	ck_assert_int_eq(open->step_j, 36000);
	ck_assert_int_eq(open->beyond_j, 0);
	ck_assert_double_eq(answer.total.open_j[0], 0.0);
	filed_free(&f);
}
END

TEST(it_is_replaced_when_the_span_closes)
{
	struct filed f = derived(SHAPED, steady, ARRAY_LEN(steady), 60);
	say(&f, 62, "a/r", 701.24);
	derive_until(&f, MINUTE(64));
	ck_assert_int_eq(booked(&f, 0, 62), KWH + KWH / 100 * 24);
	ck_assert_int_eq(provisional(&f, 0, 62), 0);
	ck_assert_int_eq(provisional(&f, 0, 64), 2 * 72000);
	derive_all_anew(&f, 0, 64);
	ck_assert_int_eq(booked(&f, 0, 62), KWH + KWH / 100 * 24);
	ck_assert_int_eq(provisional(&f, 0, 64), 2 * 72000);
	filed_free(&f);
}
END

/* A minute that the span begins amid is booked anew as well. */
TEST(a_minute_that_it_reaches_into_is_provisional)
{
	static const struct said said[] = {
		{0, "a/p", 1200}, {0, "a/r", 700}, {50.5, "a/r", 701.01}};
	struct filed f = derived(SHAPED, said, ARRAY_LEN(said), 60);
	ck_assert_int_eq(provisional(&f, 0, 60), booked(&f, 50, 60));
	ck_assert_int_eq(provisional(&f, 0, 50), 0);
	filed_free(&f);
}
END

/* Of the first span of all nothing but the engine knows when it began. */
TEST(the_first_span_begins_with_the_first_reading)
{
	static const struct said said[] = {
		{0, "a/p", 1200}, {7, "a/r", 700}, {12, "a/r", 700.05}};
	struct filed f = derived(SHAPED, said, ARRAY_LEN(said), 20);
	ck_assert_int_eq(provisional(&f, 0, 20), 13 * 72000);
	ck_assert_int_eq(open_of(&f, 0).begin_ms, AT(7));
	filed_free(&f);
}
END

/* The register counts 0.05 kWh in the ten minutes of which power says 1,800 kW, and
 * hides a hundredth at most. */
TEST(what_power_says_beyond_a_step_is_told)
{
	static const struct said said[] = {{0, "a/p", 1800e3}, {0, "a/r", 700},
		{10, "a/r", 700.3}, {20, "a/r", 700.35}};
	struct filed f = derived(SHAPED, said, ARRAY_LEN(said), 30);
	const int64_t beyond_j = INT64_C(1080000000) - 180000 - 36000;
	const int64_t edges[] = {AT(0), AT(10), AT(15), AT(30)};
	ask_by(&f, edges, 3);
	double timing_j[COUNTED_MOST];
	ck_assert(answer.open[0].compared);
	ck_assert_int_eq(answer.open[0].beyond_j, beyond_j);
	ck_assert_double_eq(answer.buckets[0].open_j[0], 0.0);
	/* Half of the time that register and power were told of. */
	ck_assert_double_eq_tol(answer.buckets[1].open_j[0], (double)beyond_j / 2, 1e-3);
	ck_assert_double_eq(answer.buckets[2].open_j[0], (double)beyond_j);
	ck_assert_double_eq(answer.total.open_j[0], (double)beyond_j);
	figures_timing(&answer.total, -1, true, timing_j);
	ck_assert_double_eq(timing_j[0], (double)beyond_j);
	figures_timing(&answer.total, MODE_UNASSIGNED, true, timing_j);
	ck_assert_double_eq(timing_j[0], (double)beyond_j);
	figures_timing(&answer.total, MODE_HEATING, true, timing_j);
	ck_assert_double_eq(timing_j[0], 0.0);
	filed_free(&f);
}
END

/* 12 W: 0.002 kWh, of which the register counts 0.15. */
TEST(what_power_lacks_is_told)
{
	static const struct said said[] = {
		{0, "a/p", 12}, {0, "a/r", 700}, {10, "a/r", 700.3}, {20, "a/r", 700.45}};
	struct filed f = derived(SHAPED, said, ARRAY_LEN(said), 30);
	struct energy_open open = open_of(&f, 0);
	ck_assert(open.compared);
	ck_assert_int_eq(open.beyond_j, 7200 - (15 * 36000 - 36000));
	filed_free(&f);
}
END

/* A register alone: its minutes are not known yet, and it is told what it counted. */
TEST(without_power_nothing_is_provisional)
{
	static const struct said said[] = {
		{0, "a/r", 700}, {60, "a/r", 701}, {70, "a/r", 701.1}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 80);
	struct energy_open open = open_of(&f, 0);
	ck_assert_int_eq(provisional(&f, 0, 80), 0);
	ck_assert(open.open && !open.compared);
	ck_assert_int_eq(open.begin_ms, AT(60));
	ck_assert_int_eq(open.span.j, KWH / 10);
	ck_assert_int_eq(open.beyond_j, 0);
	filed_free(&f);
}
END

/* Days and hours serve where they lie in it wholly; all steps agree to the joule. */
TEST(a_span_of_days_is_the_same_by_every_step)
{
	static const struct said said[] = {{0, "a/p", 1200}, {0, "a/r", 700},
		{90, "a/r", 701.8}, {4 * 1440, "a/p", 0}};
	static const int64_t steps[] = {7, 60, 1440};
	struct filed f = derived(SHAPED, said, ARRAY_LEN(said), 4 * 1440 + 30);
	const int64_t all_j = (4 * 1440 - 90) * INT64_C(72000);
	ck_assert_int_eq(provisional(&f, 0, 5 * 1440), all_j);
	ck_assert_int_eq(provisional(&f, 95, 5 * 1440), all_j - INT64_C(5) * 72000);
	ck_assert_int_eq(provisional(&f, 1440, 2 * 1440), INT64_C(1440) * 72000);
	for (size_t i = 0; i < ARRAY_LEN(steps); i++) {
		size_t count = (size_t)(5 * 1440 / steps[i]);
		int64_t *edges = xcalloc(count + 1, sizeof(*edges)), j = 0;
		for (size_t k = 0; k <= count; k++)
			edges[k] = AT((int64_t)k * steps[i]);
		ask_by(&f, edges, count);
		for (size_t k = 0; k < count; k++)
			j += sum(&answer.buckets[k]).meter_provisional_j[0];
		ck_assert_int_eq(j, all_j);
		ck_assert_int_eq(sum(&answer.total).meter_provisional_j[0], all_j);
		free(edges);
	}
	filed_free(&f);
}
END

/* Between the last reading and midnight nobody counts: what power says there stays. */
TEST(a_daily_register_begins_at_midnight)
{
	static const struct said said[] = {{0, "a/p", 1200}, {10, "a/r", 0.2},
		{70, "a/r", 1.4}, {1400, "a/r", 28}, {1450, "a/r", 0.1},
		{1455, "a/r", 0.15}};
	struct filed f = derived(SHAPED "kind = daily\n", said, ARRAY_LEN(said), 1460);
	ck_assert_int_eq(open_of(&f, 0).begin_ms, AT(1440));
	ck_assert_int_eq(provisional(&f, 0, 1460), 20 * 72000);
	ck_assert_int_eq(open_of(&f, 0).span.j, KWH / 100 * 15);
	filed_free(&f);
}
END

TEST(heat_is_provisional_likewise)
{
	static const struct said said[] = {{0, "a/heat", 50}, {0, "a/power", 6000},
		{60, "a/heat", 56}, {70, "a/power", 0}};
	struct filed f =
		derived("[plant]\nzone = UTC\nheat_source = register\n" HOLDS
			"[channel heat_register]\ntopic = a/heat\nunit = kWh\n" HELD
			"[channel heat_power]\ntopic = a/power\nunit = W\n" HELD,
			said, ARRAY_LEN(said), 90);
	ask(&f, 0, 90);
	ck_assert_int_eq(sum(&answer.total).heat_provisional_j, 10 * 360000);
	ck_assert_int_eq(answer.open[COUNTED_HEAT].begin_ms, AT(60));
	filed_free(&f);
}
END

#define BEHIND                                                                           \
	"[plant]\nzone = UTC\n" HOLDS "[channel p]\ntopic = a/p\nunit = W\n" HELD        \
	"[channel q]\ntopic = a/q\nunit = W\n" HELD                                      \
	"[channel r]\ntopic = a/r\nunit = kWh\n" HELD                                    \
	"[meter all]\nfeeds = compressor, immersion\npower = p\nless = heater\n"         \
	"[meter heater]\nfeeds = immersion\npower = q\nregister = r\n"

/* What is taken off is not over, so neither is the difference. */
TEST(a_meter_before_another_is_provisional_with_it)
{
	static const struct said said[] = {{0, "a/p", 3000}, {0, "a/q", 1200},
		{0, "a/r", 700}, {50, "a/r", 701}, {55, "a/r", 701.1}};
	struct filed f = derived(BEHIND, said, ARRAY_LEN(said), 60);
	ask(&f, 0, 60);
	struct energy_sum all = sum(&answer.total);
	ck_assert_int_eq(all.meter_provisional_j[0], 10 * 108000);
	ck_assert_int_eq(all.meter_provisional_j[1], 10 * 72000);
	filed_free(&f);
}
END

TEST(nothing_waits_for_a_register_that_is_configured_no_more)
{
	struct filed f = derived(SHAPED, steady, ARRAY_LEN(steady), 60);
	filed_reconfigure(&f,
		"[plant]\nzone = UTC\n" HOLDS "[channel p]\ntopic = a/p\nunit = W\n" HELD
		"[channel r]\ntopic = a/r\nunit = kWh\n" HELD
		"[meter unit]\nfeeds = compressor\npower = p\n");
	ck_assert(!open_of(&f, 0).open);
	ck_assert_int_eq(provisional(&f, 0, 60), 0);
	filed_free(&f);
}
END

/* 5 kWh were counted in sealed minutes, the last of which is the twelfth hour's. */
TEST(what_is_not_placed_is_a_figure_of_its_time)
{
	static const struct said said[] = {{660, "a/r", 700}};
	struct filed f = derived(ALONE, said, ARRAY_LEN(said), 720);
	const struct question q = {
		.config = f.stored->config, .boundary = {.meters = 1, .needs = 1}};
	const int64_t edges[] = {AT(0), AT(660), AT(720), AT(900)};
	seal(&f, 0, 720);
	say(&f, 715, "a/r", 705);
	say(&f, 780, "a/r", 706);
	derive_all_anew(&f, 720, 900);
	ask_by(&f, edges, 3);
	ck_assert_int_eq(answer.buckets[0].unplaced_j[0], 0);
	ck_assert_int_eq(answer.buckets[1].unplaced_j[0], 5 * KWH);
	ck_assert_int_eq(answer.buckets[2].unplaced_j[0], 0);
	ck_assert_int_eq(answer.total.unplaced_j[0], 5 * KWH);
	struct figures figures = figures_whole(&answer.total, &q);
	ck_assert_int_eq(figures.cells[UNPLACED_ELECTRICITY].value, 50000000);
	ck_assert_int_eq(figures.cells[UNPLACED_HEAT].value, 0);
	filed_free(&f);
}
END
/* ---- houses that are drawn ---- */

#define READINGS 400
#define DAYS     3

	/* Readings on whole minutes, so that each span's minutes are its own. */
	struct house {
	uint64_t random;
	double kwh[READINGS];
	int64_t minute[READINGS];
	int64_t watts[READINGS];
};

static void draw(struct house *h)
{
	int64_t minute = unit_random_between(&h->random, 0, 90);
	double kwh = 700;
	for (size_t i = 0; i < READINGS; i++) {
		bool last = i == READINGS - 1;
		h->minute[i] = minute;
		h->kwh[i] = kwh;
		h->watts[i] = unit_random_between(&h->random, 1, 3000);
		minute += unit_random_between(&h->random, 1, 18);
		kwh += i + 2 == READINGS
			       ? 0.25
			       : (double)unit_random_between(&h->random, 0, 8) / 100;
		ck_assert(last || minute < DAYS * 1440 * 2);
	}
}

static void hear(struct house *h, struct filed *f, int64_t from, int64_t to)
{
	struct sending s = begin_sending(f);
	for (size_t i = 0; i < READINGS; i++) {
		if (h->minute[i] < from || h->minute[i] >= to)
			continue;
		send_at(&s, AT(h->minute[i]), "a/p", (double)h->watts[i]);
		send_at(&s, AT(h->minute[i]), "a/r", h->kwh[i]);
	}
	end_sending(&s);
}

static void expect_same(const struct energy_open *a, const struct energy_open *b)
{
	ck_assert_int_eq(a->open, b->open);
	ck_assert_int_eq(a->begin_ms, b->begin_ms);
	ck_assert_int_eq(a->compared, b->compared);
	ck_assert_int_eq(a->beyond_j, b->beyond_j);
	ck_assert_int_eq(memcmp(&a->span, &b->span, sizeof(a->span)), 0);
}

/* Rows hold what closed spans counted, and what is provisional, and nothing else; a store
 * that has it all at once says the same. */
static void expect_whole(struct house *h, struct filed *f, int64_t now)
{
	struct filed anew = filed_new(SHAPED);
	int64_t closed_j =
		sql_number(f->store, "SELECT coalesce(sum(j), 0) FROM settlements");
	int64_t waits_j = provisional(f, 0, 6 * 1440);
	ck_assert_int_eq(booked(f, 0, 6 * 1440), closed_j + waits_j);
	hear(h, &anew, 0, now);
	derive_until(&anew, MINUTE(now));
	struct energy_open here = open_of(f, 0), there = open_of(&anew, 0);
	expect_same(&here, &there);
	ck_assert_int_eq(provisional(&anew, 0, 6 * 1440), waits_j);
	filed_free(&anew);
}

static void live_through(struct house *h)
{
	struct filed f = filed_new(SHAPED);
	int64_t at = 0, end = h->minute[READINGS - 1] + 1;
	while (at < end) {
		int64_t now = at + unit_random_between(&h->random, 200, 1500);
		now = now < end ? now : end;
		hear(h, &f, at, now);
		derive_until(&f, MINUTE(now));
		expect_checks(&f);
		expect_whole(h, &f, now);
		at = now;
	}
	int64_t last = h->minute[READINGS - 1];
	ck_assert_int_eq(booked(&f, 0, last),
		llround((h->kwh[READINGS - 1] - h->kwh[0]) * 3600000.0));
	ck_assert_int_eq(provisional(&f, 0, last), 0);
	filed_free(&f);
}

TEST(rows_are_closed_spans_and_what_is_provisional)
{
	uint64_t seed = unit_seed();
	for (uint64_t rounds = unit_rounds(3); rounds > 0; rounds--) {
		struct house *h = xcalloc(1, sizeof(*h));
		h->random = unit_random(&seed);
		draw(h);
		live_through(h);
		free(h);
	}
}
END

TESTS(what_power_says_since_the_last_span_is_provisional,
	it_is_replaced_when_the_span_closes, a_minute_that_it_reaches_into_is_provisional,
	the_first_span_begins_with_the_first_reading,
	what_power_says_beyond_a_step_is_told, what_power_lacks_is_told,
	without_power_nothing_is_provisional, a_span_of_days_is_the_same_by_every_step,
	a_daily_register_begins_at_midnight, heat_is_provisional_likewise,
	a_meter_before_another_is_provisional_with_it,
	nothing_waits_for_a_register_that_is_configured_no_more,
	what_is_not_placed_is_a_figure_of_its_time,
	rows_are_closed_spans_and_what_is_provisional)
