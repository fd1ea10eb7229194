/*
 * The spans that a register's readings close: when, with which energy, gaps between them,
 * registers that count a day or a part, and what holds of all of them.
 *
 * Reference: heatbook's own rules as written at the top of daemon/account/register.c.
 * Energies are sums of whole joules: every expected value is exact.
 */
#include "register_run.h"

/* ---- when spans close ---- */

TEST(a_span_closes_at_a_change)
{
	static const struct {
		const char *what;
		int64_t steps;
		double at_s;
		double w; /* of power, negative: unknown */
		bool closes;
	} rows[] = {
		{"19 steps", 19, 3600, 900, false},
		{"20 steps", 20, 3600, 900, true},
		{"a step just before three hours", 1, 10799.999, 900, false},
		{"a step at three hours", 1, 10800, 900, true},
		{"nothing at three hours", 0, 10800, 900, false},
		{"nothing for a week, by power", 0, 7 * 86400.0, 1, false},
		{"nothing for a day, without power", 0, 86400, -1, true},
		{"nothing for less", 0, 86399.999, -1, false},
		{"a step at three hours, without power", 1, 10800, -1, true},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		int64_t at_ms = llround(rows[i].at_s * 1000);
		struct run run;
		start(&run, &counts_on);
		says(&run, 0, 100 * KWH);
		passes(&run, ZERO_MS, ZERO_MS + at_ms, rows[i].w);
		says(&run, rows[i].at_s, 100 * KWH + rows[i].steps * STEP);
		ck_assert_msg(run.count == rows[i].closes, "%s: %zu spans", rows[i].what,
			run.count);
		if (!rows[i].closes)
			continue;
		ck_assert_int_eq(run.spans[0].begin_ms, ZERO_MS);
		ck_assert_int_eq(run.spans[0].end_ms, ZERO_MS + at_ms);
		ck_assert_int_eq(run.spans[0].j, rows[i].steps * STEP);
		ck_assert_int_eq(run.spans[0].kind,
			rows[i].w < 0 ? SETTLEMENT_SPREAD : SETTLEMENT_SHAPED);
		ck_assert_int_eq(run.spans[0].first, 1);
	}
}
END

/* The last reading of one span is the first of the next, and only the first span begins
 * amid a step. */
TEST(spans_follow_each_other)
{
	struct run run;
	start(&run, &counts_on);
	for (int64_t i = 0; i <= 100; i++)
		says(&run, (double)i * 90.5, 100 * KWH + i * 7 * STEP);
	ck_assert_uint_gt(run.count, 10);
	for (size_t i = 1; i < run.count; i++) {
		ck_assert_int_eq(run.spans[i].begin_ms, run.spans[i - 1].end_ms);
		ck_assert_int_eq(run.spans[i].from_j, run.spans[i - 1].to_j);
		ck_assert_int_eq(run.spans[i].first, 0);
	}
	ck_assert_int_eq(counted(&run), 99 * 7 * STEP);
}
END

TEST(power_for_half_of_the_span_gives_it_a_shape)
{
	static const struct {
		int64_t known_ms;
		int64_t kind;
	} rows[] = {{1800000, SETTLEMENT_SHAPED}, {1799999, SETTLEMENT_SPREAD}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct run run;
		start(&run, &counts_on);
		says(&run, 0, 0);
		passes(&run, ZERO_MS, ZERO_MS + rows[i].known_ms, 1000);
		passes(&run, ZERO_MS + rows[i].known_ms, ZERO_MS + 3600000, -1);
		says(&run, 3600, KWH);
		ck_assert_uint_eq(run.count, 1);
		ck_assert_int_eq(run.spans[0].kind, rows[i].kind);
	}
}
END

/* Parts of the first and the last minute, by power. */
TEST(a_span_knows_its_edges)
{
	struct run run;
	start(&run, &counts_on);
	passes(&run, ZERO_MS, ZERO_MS + 20000, 600);
	says(&run, 20, 0);
	passes(&run, ZERO_MS + 20000, ZERO_MS + 30000, 1200);
	passes(&run, ZERO_MS + 30000, ZERO_MS + 40000, -1);
	passes(&run, ZERO_MS + 40000, ZERO_MS + 610000, 600);
	says(&run, 610, KWH);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].head_j, 12000 + 12000);
	ck_assert_int_eq(run.spans[0].head_ms, 30000);
	ck_assert_int_eq(run.spans[0].tail_j, 6000);
	ck_assert_int_eq(run.spans[0].tail_ms, 10000);
	/* A span within one minute has but a head. */
	passes(&run, ZERO_MS + 610000, ZERO_MS + 650000, 300);
	says(&run, 650, KWH + 20 * STEP);
	passes(&run, ZERO_MS + 650000, ZERO_MS + 720000, 300);
	ck_assert_uint_eq(run.count, 2);
	ck_assert_int_eq(run.spans[1].head_j, 12000);
	ck_assert_int_eq(run.spans[1].head_ms, 40000);
	ck_assert_int_eq(run.spans[1].tail_j, 0);
}
END

/* ---- gaps ---- */

TEST(a_gap_without_power_is_bridged_apart)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 0);
	passes(&run, ZERO_MS, ZERO_MS + 600000, 720);
	says(&run, 600, 12 * STEP);
	register_lapse(&run.account, ZERO_MS + 1500000);
	passes(&run, ZERO_MS + 600000, ZERO_MS + 87000000, -1);
	says(&run, 87000, 12 * STEP + 5 * KWH);
	ck_assert_uint_eq(run.count, 2);
	ck_assert_int_eq(run.spans[0].kind, SETTLEMENT_SHAPED);
	ck_assert_int_eq(run.spans[0].j, 12 * STEP);
	ck_assert_int_eq(run.spans[1].kind, SETTLEMENT_BRIDGED);
	ck_assert_int_eq(run.spans[1].j, 5 * KWH);
	ck_assert_int_eq(run.spans[1].begin_ms, ZERO_MS + 600000);
	ck_assert_int_eq(run.spans[1].end_ms, ZERO_MS + 87000000);
	ck_assert_int_eq(run.spans[1].first, 0);
}
END

TEST(power_alone_makes_no_bridge)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 0);
	register_lapse(&run.account, ZERO_MS + 900000);
	passes(&run, ZERO_MS, ZERO_MS + 7200000, 500);
	says(&run, 7200, KWH);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].kind, SETTLEMENT_SHAPED);
}
END

TEST(a_report_at_the_very_limit_leaves_no_gap)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 0);
	register_lapse(&run.account, ZERO_MS + 900000);
	says(&run, 900, 20 * STEP);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].kind, SETTLEMENT_SPREAD);
}
END

/* A notebook: a reading a month, each a bridge of its own; the meter was changed in
 * spring, and what the new one counted since its first reading is there. */
TEST(a_notebook_is_bridged_month_by_month)
{
	static const double days[] = {0, 31, 59, 90, 120, 151};
	static const int64_t kwh[] = {12000, 12500, 12900, 3, 203, 303};
	struct run run;
	start(&run, &counts_on);
	for (size_t i = 0; i < ARRAY_LEN(days); i++) {
		says(&run, days[i] * 86400, kwh[i] * KWH);
		register_lapse(
			&run.account, ZERO_MS + llround(days[i] * 86400e3) + 900000);
	}
	ck_assert_uint_eq(run.count, 5);
	static const int64_t kinds[] = {SETTLEMENT_BRIDGED, SETTLEMENT_BRIDGED,
		SETTLEMENT_RESET, SETTLEMENT_BRIDGED, SETTLEMENT_BRIDGED};
	static const int64_t j[] = {500 * KWH, 400 * KWH, 0, 200 * KWH, 100 * KWH};
	for (size_t i = 0; i < 5; i++) {
		ck_assert_int_eq(run.spans[i].kind, kinds[i]);
		ck_assert_int_eq(run.spans[i].j, j[i]);
		ck_assert_int_eq(
			run.spans[i].begin_ms, ZERO_MS + llround(days[i] * 86400e3));
	}
}
END

/* ---- kinds ---- */

TEST(a_daily_register_begins_at_local_midnight)
{
	struct register_config config = counts_on;
	struct run run;
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	config.kind = REGISTER_DAILY;
	start(&run, &config);
	/* 23:00 UTC is midnight there. */
	says(&run, 22 * 3600.0, 3 * KWH);
	ck_assert_int_eq(says(&run, 22.9 * 3600, 3 * KWH + 10 * STEP), REGISTER_TAKEN);
	ck_assert_int_eq(says(&run, 23.1 * 3600, STEP), REGISTER_TURNED);
	ck_assert_int_eq(says(&run, 24.1 * 3600, KWH), REGISTER_TAKEN);
	ck_assert_uint_eq(run.count, 2);
	ck_assert_int_eq(run.spans[0].j, 10 * STEP);
	ck_assert_int_eq(run.spans[1].begin_ms, ZERO_MS + 23 * MS_PER_HOUR);
	ck_assert_int_eq(run.spans[1].j, KWH);
	/* After a gap of days it counted since this midnight, though it shows more. */
	register_lapse(&run.account, ZERO_MS + 25 * MS_PER_HOUR);
	ck_assert_int_eq(says(&run, 79 * 3600.0, 5 * KWH), REGISTER_TURNED);
	ck_assert_uint_eq(run.count, 3);
	ck_assert_int_eq(run.spans[2].kind, SETTLEMENT_BRIDGED);
	ck_assert_int_eq(run.spans[2].begin_ms, ZERO_MS + 71 * MS_PER_HOUR);
	ck_assert_int_eq(run.spans[2].j, 5 * KWH);
}
END

/* Asked each two hours, so that its turn is taken for granted: a reader that repeats
 * yesterday evening's reading counts nothing anew, day after day, until it says the
 * meter's own. A reading that a whole day makes twice is of that day. */
TEST(a_daily_register_that_repeats_itself_counts_nothing)
{
	struct register_config config = counts_on;
	struct run run;
	ck_assert_int_eq(calendar_set_zone("UTC"), 0);
	config.kind = REGISTER_DAILY;
	start(&run, &config);
	for (int hour = 1; hour <= 24 + 21; hour += 2)
		says(&run, hour * 3600.0, hour % 24 * KWH);
	int64_t counted_j = run.account.state.last.total_j;
	for (int hour = 24 + 23; hour <= 24 * 4 + 1; hour += 2)
		ck_assert_int_eq(says(&run, hour * 3600.0, 21 * KWH), REGISTER_TAKEN);
	ck_assert_int_eq(run.account.state.last.total_j, counted_j);
	ck_assert_int_eq(says(&run, (24 * 5 + 1) * 3600.0, KWH), REGISTER_TURNED);
	ck_assert_int_eq(run.account.state.last.total_j, counted_j + KWH);
	start(&run, &config);
	says(&run, 20 * 3600.0, 8 * KWH);
	ck_assert_int_eq(says(&run, 44 * 3600.0, 8 * KWH), REGISTER_TURNED);
}
END

/* Its clock is late: what it shows past midnight still is yesterday's. */
TEST(a_daily_register_may_turn_late)
{
	struct register_config config = counts_on;
	struct run run;
	ck_assert_int_eq(calendar_set_zone("UTC"), 0);
	config.kind = REGISTER_DAILY;
	start(&run, &config);
	says(&run, 23 * 3600.0, 5 * KWH);
	ck_assert_int_eq(says(&run, 24.1 * 3600, 5 * KWH + 5 * STEP), REGISTER_TAKEN);
	ck_assert_int_eq(says(&run, 24.2 * 3600, 2 * STEP + 1), REGISTER_TURNED);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].j, 5 * STEP);
	ck_assert_int_eq(run.spans[0].end_ms, ZERO_MS + llround(24.1 * 3600e3));
}
END

TEST(increments_add_up)
{
	struct register_config config = counts_on;
	struct run run;
	config.kind = REGISTER_INCREMENT;
	start(&run, &config);
	ck_assert_int_eq(says(&run, 0, 7 * STEP), REGISTER_FIRST); /* since when? */
	ck_assert_int_eq(says(&run, 60, 3 * STEP), REGISTER_TAKEN);
	ck_assert_int_eq(says(&run, 60, 3 * STEP), REGISTER_TAKEN); /* the same again */
	ck_assert_int_eq(says(&run, 120, 900 * KWH), REGISTER_REFUSED);
	ck_assert_int_eq(says(&run, 180, 17 * STEP), REGISTER_TAKEN);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].j, 20 * STEP);
}
END

/* ---- laws ---- */

/* The same reading twice changes nothing; what is carried is the same bytes. */
TEST(a_reading_twice_is_once)
{
	uint64_t random = 4711;
	for (int round = 0; round < 200; round++) {
		static struct run once, twice;
		int64_t at_ms = 0, raw = 500 * KWH;
		start(&once, &counts_on);
		start(&twice, &counts_on);
		for (int i = 0; i < 60; i++) {
			int64_t gap = unit_random_between(&random, 1, 400000);
			double w = (double)unit_random_between(&random, -1000, 4000);
			passes(&once, ZERO_MS + at_ms, ZERO_MS + at_ms + gap, w);
			passes(&twice, ZERO_MS + at_ms, ZERO_MS + at_ms + gap, w);
			at_ms += gap;
			raw += unit_random_between(&random, 0, 6) * STEP;
			if (unit_random_between(&random, 0, 9) == 0)
				raw = unit_random_between(&random, 0, 1000) * KWH;
			if (unit_random_between(&random, 0, 9) == 0) {
				register_lapse(&once.account, ZERO_MS + at_ms - 1);
				register_lapse(&twice.account, ZERO_MS + at_ms - 1);
			}
			says(&once, (double)at_ms / 1000, raw);
			says(&twice, (double)at_ms / 1000, raw);
			says(&twice, (double)at_ms / 1000, raw);
		}
		ck_assert_uint_eq(once.count, twice.count);
		ck_assert_mem_eq(once.spans, twice.spans, sizeof(once.spans));
		ck_assert_mem_eq(&once.account.state, &twice.account.state,
			sizeof(once.account.state));
	}
}
END

TEST(shares_add_up_to_the_joule)
{
	uint64_t random = 815;
	for (int round = 0; round < 1000; round++) {
		int64_t weights[50], whole = 0, at = 0, sum = 0;
		int64_t j = unit_random_between(&random, -1000000, 1000000000);
		for (size_t i = 0; i < ARRAY_LEN(weights); i++)
			whole += weights[i] = unit_random_between(&random, 0, 60000);
		for (size_t i = 0; i < ARRAY_LEN(weights); i++) {
			int64_t share = settlement_share(j, at + weights[i], whole) -
					settlement_share(j, at, whole);
			at += weights[i];
			sum += share;
			double fair = (double)j * (double)weights[i] / (double)whole;
			ck_assert_double_le(fabs((double)share - fair), 1.0);
		}
		ck_assert_int_eq(sum, j);
	}
}
END

TESTS(a_span_closes_at_a_change, spans_follow_each_other,
	power_for_half_of_the_span_gives_it_a_shape, a_span_knows_its_edges,
	a_gap_without_power_is_bridged_apart, power_alone_makes_no_bridge,
	a_report_at_the_very_limit_leaves_no_gap, a_notebook_is_bridged_month_by_month,
	a_daily_register_begins_at_local_midnight, a_daily_register_that_repeats_itself_counts_nothing,
	a_daily_register_may_turn_late,
	increments_add_up, a_reading_twice_is_once, shares_add_up_to_the_joule)
