/*
 * Days of the outdoor temperature out of the store, and what registers' spans across the
 * ends of buckets may be mistaken by.
 *
 * Reference: hand-computed; 2026-03-29 has 23 hours in Berlin (tzdata).
 */
#include "stored.h"

#include <heatbook/query.h>
#include <heatbook/settlement.h>

#define OUTDOOR                                                                          \
	"[plant]\nzone = Europe/Berlin\n[channel outdoor_temperature]\ntopic = a/o\n"
#define BASE_C 15.5

static int64_t edges_ms[4]; /* 28, 29 and 30 March 2026 */

static void lay_edges(void)
{
	for (int i = 0; i < 4; i++)
		edges_ms[i] = calendar_day_start((struct date){2026, 3, 28 + i});
	ck_assert_int_eq(edges_ms[2] - edges_ms[1], 23 * MS_PER_HOUR);
}

/* 5.5 °C in the first half of each hour, 9.5 °C in the second; on the 30th, nine hours.
 */
static void put_days(struct store *store)
{
	int64_t from = edges_ms[0] / MS_PER_MIN, to = edges_ms[2] / MS_PER_MIN + 9 * 60;
	ck_assert_int_eq(store_begin(store), 0);
	for (int64_t m = from; m < to; m++) {
		struct made made;
		made_at(&made, m);
		made_channel(&made, 0, m % 60 < 30 ? 5.5 : 9.5, MS_PER_MIN);
		ck_assert_int_eq(store_minute_add(store, &made.minute), 0);
	}
	ck_assert_int_eq(store_rollup(store, from, to, to), 0);
	ck_assert_int_eq(
		store_set_fact(store, FACT_DERIVED_UNTIL_MS, to * MS_PER_MIN), 0);
	ck_assert_int_eq(store_commit(store), 0);
}

static struct outdoor_answer asked(struct stored *s)
{
	struct outdoor_answer answer;
	ck_assert_int_eq(query_outdoor(s->store, 0, BASE_C, edges_ms, 3, &answer), 0);
	ck_assert_uint_eq(answer.count, 3);
	return answer;
}

static void expect_day(const struct outdoor_day *day, int64_t hours, double least_c,
	double most_c, bool from_hours)
{
	ck_assert_int_eq(day->length_ms, hours * MS_PER_HOUR);
	ck_assert_int_eq(day->known_ms, hours * MS_PER_HOUR);
	ck_assert_double_eq_tol(day->mean_c, 7.5, 1e-9);
	ck_assert_double_eq_tol(day->least_c, least_c, 1e-9);
	ck_assert_double_eq_tol(day->most_c, most_c, 1e-9);
	ck_assert(day->from_hours == from_hours);
	ck_assert_double_eq_tol(degree_days_of(DEGREE_INTEGRAL, BASE_C, day),
		8.0 * (double)hours / 24, 1e-9);
}

TEST(minutes_make_days_as_long_as_they_are)
{
	struct stored *s = stored_new(OUTDOOR);
	lay_edges();
	put_days(s->store);
	struct outdoor_answer answer = asked(s);
	expect_day(&answer.days[0], 24, 5.5, 9.5, false);
	expect_day(&answer.days[1], 23, 5.5, 9.5, false);
	ck_assert_int_eq(answer.days[2].known_ms, 9 * MS_PER_HOUR);
	ck_assert(!outdoor_day_known(&answer.days[2]));
	ck_assert(!answer.days[2].from_hours);
	outdoor_answer_release(&answer);
	stored_free(s);
}
END

/* made_channel() puts the extremes a kelvin beside the mean. */
TEST(extremes_are_the_readings_where_they_are_kept)
{
	struct stored *s = stored_new(OUTDOOR "extremes = yes\n");
	lay_edges();
	put_days(s->store);
	struct outdoor_answer answer = asked(s);
	expect_day(&answer.days[0], 24, 4.5, 10.5, false);
	outdoor_answer_release(&answer);
	stored_free(s);
}
END

TEST(hours_stand_in_where_minutes_are_gone)
{
	struct stored *s = stored_new(OUTDOOR);
	lay_edges();
	put_days(s->store);
	_cleanup_(freep) char *sql = xasprintf("DELETE FROM minutes WHERE minute < %lld",
		(long long)(edges_ms[1] / MS_PER_MIN));
	sql_run(s->store, sql);
	struct outdoor_answer answer = asked(s);
	/* By hours' means nothing swings any more. */
	expect_day(&answer.days[0], 24, 7.5, 7.5, true);
	expect_day(&answer.days[1], 23, 5.5, 9.5, false);
	outdoor_answer_release(&answer);
	stored_free(s);
}
END

	/* The midnights of so many days, of which one is the first that is known. */
	static void
	lay_long(int64_t *edges, int count, int first)
{
	for (int i = 0; i <= count; i++)
		edges[i] = calendar_day_start(
			calendar_add((struct date){2026, 3, 28}, 0, 0, i - first));
}

/* Three days that are known, at the end of one day more than a query reads minutes of:
 * the last two lie in a second piece. */
TEST(a_long_span_is_told_by_hours_or_in_pieces)
{
	enum { COUNT = OUTDOOR_MINUTE_DAYS + 2, FIRST = COUNT - 3 };
	struct stored *s = stored_new(OUTDOOR);
	struct outdoor_answer answer;
	int64_t edges[COUNT + 1];
	lay_edges();
	put_days(s->store);
	lay_long(edges, COUNT, FIRST);
	ck_assert_int_eq(query_outdoor(s->store, 0, BASE_C, edges, COUNT, &answer), 0);
	expect_day(&answer.days[FIRST], 24, 7.5, 7.5, true);
	expect_day(&answer.days[FIRST + 1], 23, 7.5, 7.5, true);
	outdoor_answer_release(&answer);
	ck_assert_int_eq(
		query_outdoor_long(s->store, 0, BASE_C, edges, COUNT, &answer), 0);
	ck_assert_uint_eq(answer.count, COUNT);
	ck_assert(!outdoor_day_known(&answer.days[0]));
	expect_day(&answer.days[FIRST], 24, 5.5, 9.5, false);
	expect_day(&answer.days[FIRST + 1], 23, 5.5, 9.5, false);
	ck_assert_int_eq(answer.days[FIRST + 2].known_ms, 9 * MS_PER_HOUR);
	outdoor_answer_release(&answer);
	stored_free(s);
}
END

	static void
	keep(struct store *store, int days)
{
	ck_assert_int_eq(store_begin(store), 0);
	for (int i = 0; i < days; i++)
		ck_assert_int_eq(store_outdoor_keep(store, edges_ms[i] / MS_PER_MIN,
					 edges_ms[i + 1] / MS_PER_MIN),
			0);
	ck_assert_int_eq(store_commit(store), 0);
}

/* To the bit, with no minute left; of the days that are not kept minutes are read. */
TEST(what_is_kept_is_what_minutes_said)
{
	struct stored *s = stored_new(OUTDOOR);
	lay_edges();
	put_days(s->store);
	struct outdoor_answer before = asked(s);
	keep(s->store, 1);
	_cleanup_(freep) char *sql = xasprintf("DELETE FROM minutes WHERE minute < %lld",
		(long long)(edges_ms[1] / MS_PER_MIN));
	sql_run(s->store, sql);
	struct outdoor_answer answer = asked(s);
	for (int i = 0; i < 3; i++)
		ck_assert_mem_eq(
			&answer.days[i], &before.days[i], sizeof(answer.days[i]));
	outdoor_answer_release(&before);
	outdoor_answer_release(&answer);
	stored_free(s);
}
END

/* Another base, and the present day, are none of it. */
TEST(what_is_kept_is_of_its_base_and_of_whole_days)
{
	struct stored *s = stored_new(OUTDOOR);
	struct outdoor_answer answer;
	lay_edges();
	put_days(s->store);
	keep(s->store, 2);
	sql_run(s->store, "DELETE FROM minutes");
	ck_assert_int_eq(query_outdoor(s->store, 0, BASE_C + 1, edges_ms, 3, &answer), 0);
	ck_assert(answer.days[0].from_hours && answer.days[1].from_hours);
	outdoor_answer_release(&answer);
	const int64_t cut_ms[] = {edges_ms[0], edges_ms[1], edges_ms[2] - MS_PER_HOUR};
	ck_assert_int_eq(query_outdoor(s->store, 0, BASE_C, cut_ms, 2, &answer), 0);
	ck_assert(!answer.days[0].from_hours && answer.days[1].from_hours);
	ck_assert_int_eq(answer.days[1].known_ms, 22 * MS_PER_HOUR);
	outdoor_answer_release(&answer);
	stored_free(s);
}
END

TEST(what_is_kept_goes_when_the_day_is_summed_anew)
{
	struct stored *s = stored_new(OUTDOOR);
	lay_edges();
	put_days(s->store);
	keep(s->store, 2);
	int64_t from = edges_ms[0] / MS_PER_MIN, to = edges_ms[2] / MS_PER_MIN;
	sql_run(s->store, "UPDATE minutes SET c_outdoor_temperature = "
			  "c_outdoor_temperature + 100");
	ck_assert_int_eq(store_begin(s->store), 0);
	ck_assert_int_eq(store_rollup(s->store, from, to, to), 0);
	ck_assert_int_eq(store_commit(s->store), 0);
	struct outdoor_answer answer = asked(s);
	ck_assert_double_eq_tol(answer.days[0].mean_c, 8.5, 1e-9);
	ck_assert_double_eq_tol(answer.days[1].mean_c, 8.5, 1e-9);
	outdoor_answer_release(&answer);
	stored_free(s);
}
END

/* However many days: no minute has to be read of it. */
TEST(what_is_kept_tells_a_long_span)
{
	enum { COUNT = OUTDOOR_MINUTE_DAYS + 2, FIRST = COUNT - 3 };
	struct stored *s = stored_new(OUTDOOR);
	struct outdoor_answer answer;
	int64_t edges[COUNT + 1];
	lay_edges();
	put_days(s->store);
	keep(s->store, 1);
	lay_long(edges, COUNT, FIRST);
	ck_assert_int_eq(query_outdoor(s->store, 0, BASE_C, edges, COUNT, &answer), 0);
	expect_day(&answer.days[FIRST], 24, 5.5, 9.5, false);
	expect_day(&answer.days[FIRST + 1], 23, 7.5, 7.5, true);
	outdoor_answer_release(&answer);
	stored_free(s);
}
END

/* ---- spans of registers ---- */

#define METERED                                                                          \
	"[plant]\nzone = UTC\n[channel unit_register]\ntopic = a/r\nunit = kWh\n"        \
	"[meter unit]\nfeeds = compressor\nregister = unit_register\n"

#define NOON (INT64_C(20000) * MS_PER_DAY + 12 * MS_PER_HOUR)

	static void
	put_span(struct store *store, int64_t begin_ms, int64_t end_ms, int kind)
{
	struct settlement span = {.quantity = 0,
		.made_ms = end_ms,
		.kind = kind,
		.begin_ms = begin_ms,
		.end_ms = end_ms,
		.j = 8000,
		.to_j = 8000};
	int64_t from = begin_ms / MS_PER_MIN, to = end_ms / MS_PER_MIN;
	ck_assert_int_eq(store_begin(store), 0);
	ck_assert_int_eq(
		store_settle(store, &span, 1, end_ms, end_ms + 1, &from, &to), 0);
	ck_assert_int_eq(store_commit(store), 0);
}

/* A span from an hour before noon to three after: of the first hour's quarter nobody
 * knows whether it was all of it, and of the bucket from noon on neither. */
TEST(a_span_across_an_end_may_lie_on_either_side)
{
	static const struct {
		int kind;
		double all_j, known_j;
	} rows[] = {{SETTLEMENT_SPREAD, 6000, 6000}, {SETTLEMENT_BRIDGED, 6000, 0},
		{SETTLEMENT_SHAPED, 0, 0}};
	const int64_t edges[] = {NOON - 6 * MS_PER_HOUR, NOON, NOON + 3 * MS_PER_HOUR,
		NOON + 6 * MS_PER_HOUR};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct stored *s = stored_new(METERED);
		struct boundary boundary;
		struct energy_answer answer;
		char why[256];
		put_span(s->store, NOON - MS_PER_HOUR, NOON + 3 * MS_PER_HOUR,
			rows[i].kind);
		ck_assert_int_eq(boundary_find(s->config, NULL, &boundary, why), 0);
		ck_assert_int_eq(query_energy(s->store, edges, 3, &boundary, &answer), 0);
		for (size_t b = 0; b < 2; b++) {
			ck_assert_double_eq_tol(
				answer.buckets[b].across_j[0], rows[i].all_j, 1e-6);
			ck_assert_double_eq_tol(answer.buckets[b].across_known_j[0],
				rows[i].known_j, 1e-6);
		}
		/* It ends with the second bucket, and lies within the whole. */
		ck_assert_double_eq(answer.buckets[2].across_j[0], 0);
		ck_assert_double_eq(answer.total.across_j[0], 0);
		energy_answer_release(&answer);
		stored_free(s);
	}
}
END

	static int
	put_reset(struct store *store, int64_t at_ms, int64_t made_ms, int64_t from_ms)
{
	struct settlement reset = {.kind = SETTLEMENT_RESET,
		.begin_ms = at_ms,
		.end_ms = at_ms,
		.made_ms = made_ms};
	int64_t from = at_ms / MS_PER_MIN, to = made_ms / MS_PER_MIN + 1;
	ck_assert_int_eq(store_begin(store), 0);
	int r = store_settle(store, &reset, 1, from_ms, from_ms + MS_PER_DAY, &from, &to);
	ck_assert_int_eq(store_commit(store), 0);
	return r;
}

/* A reset is of an instant. A reading of the next day made it certain; then one of its
 * own day does, which came with a later file. */
TEST(a_reset_is_made_certain_by_an_earlier_reading)
{
	struct stored *s = stored_new(METERED);
	int64_t day = NOON - 12 * MS_PER_HOUR, next = day + MS_PER_DAY;
	ck_assert_int_eq(put_reset(s->store, NOON, next + MS_PER_HOUR, next), 0);
	ck_assert_int_eq(put_reset(s->store, NOON, NOON + MS_PER_HOUR, day), 0);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM settlements"), 1);
	ck_assert_int_eq(sql_number(s->store, "SELECT made_ms FROM settlements"),
		NOON + MS_PER_HOUR);
	stored_free(s);
}
END

TESTS(minutes_make_days_as_long_as_they_are,
	extremes_are_the_readings_where_they_are_kept,
	hours_stand_in_where_minutes_are_gone, a_long_span_is_told_by_hours_or_in_pieces,
	what_is_kept_is_what_minutes_said,
	what_is_kept_is_of_its_base_and_of_whole_days,
	what_is_kept_goes_when_the_day_is_summed_anew, what_is_kept_tells_a_long_span,
	a_span_across_an_end_may_lie_on_either_side,
	a_reset_is_made_certain_by_an_earlier_reading)
