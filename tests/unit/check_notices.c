/*
 * Notices along the minutes of a store: what each watches, that a walk begun at any
 * minute comes to what one from the first comes to, and what follows from rows written
 * anew.
 *
 * Reference: notices.h; figures by hand.
 */
#include "stored.h"

#include <heatbook/notices_ask.h>
#include <heatbook/query.h>

#include <math.h>

#define HOUSE                                                                            \
	"[plant]\nzone = Europe/Berlin\ndevices = compressor\n"                          \
	"[channel flow_temperature]\ntopic = a/f\n"                                      \
	"[channel return_temperature]\ntopic = a/r\n"                                    \
	"[channel flow_rate]\ntopic = a/q\n"                                             \
	"[channel water_pressure]\ntopic = a/b\nunit = bar\n"                            \
	"[channel unit_power]\ntopic = a/p\nunit = W\n"                                  \
	"[channel pump]\ntopic = a/z\nmap = 0:off, 1:on\n"                               \
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
#define LOW                                                                              \
	"[notice low]\nwatch = value water_pressure\nbelow = 1 bar\nclears = 2 bar\n"    \
	"for = 3 min\nclears_for = 5 min\n"
enum { PRESSURE = 3, PUMP = 5, DAYS = 6 };
#define LENGTH (DAYS * MIN_PER_DAY)

static double pressure[LENGTH];

/* The rows of [from, to), minutes on from START. */
static void put_rows(struct store *store, int64_t from, int64_t to)
{
	ck_assert_int_eq(store_begin(store), 0);
	ck_assert_int_eq(store_minutes_drop(store, START + from, START + to), 0);
	for (int64_t m = from; m < to; m++) {
		struct made made;
		made_at(&made, START + m);
		if (!isnan(pressure[m]))
			made_channel(&made, PRESSURE, pressure[m], MS_PER_MIN);
		made_heat(&made, MODE_HEATING, 240000);
		made_meter(&made, MODE_HEATING, 0, m % 2 ? 60000 : 120000);
		ck_assert_int_eq(store_minute_add(store, &made.minute), 0);
	}
	ck_assert_int_eq(
		store_rollup(store, START + from, START + to, START + LENGTH), 0);
	ck_assert_int_eq(store_set_fact(store, FACT_DERIVED_UNTIL_MS,
				 (START + LENGTH) * MS_PER_MIN),
		0);
	ck_assert_int_eq(store_commit(store), 0);
}

static void count_change(size_t notice, enum notice_change change,
	const struct notice_state *state, void *context)
{
	int *count = context;
	ck_assert_uint_eq(notice, 0);
	ck_assert_int_eq(state->raised, change == NOTICE_RAISED);
	(*count)++;
}

/* Up to a minute, in turns of a day; how many. */
static int walk(struct notices *n, struct store *store, int64_t minute)
{
	int r, turns = 1;
	while ((r = notices_turn(n, store, minute, 1)) == NOTICES_MORE)
		turns++;
	ck_assert_int_eq(r, 0);
	ck_assert_int_eq(notices_at(n), minute);
	return turns;
}

static void expect_same(const struct notices *a, const struct notices *b, int64_t minute)
{
	const struct notice_state *x = notices_state(a, 0), *y = notices_state(b, 0);
	ck_assert_msg(x->raised == y->raised && x->run == y->run &&
			      (!x->run || x->run_from == y->run_from) &&
			      (!x->raised || x->since == y->since) &&
			      x->unknown_since == y->unknown_since,
		"minute %lld: raised %d %d since %lld %lld run %lld %lld",
		(long long)(minute - START), x->raised, y->raised, (long long)x->since,
		(long long)y->since, (long long)x->run, (long long)y->run);
	ck_assert_int_eq(notices_before(a, 0), false);
	ck_assert_int_eq(notices_before(b, 0), false);
}

/* It wavers, rests for hours beside or between both levels, and is gone for a while. */
static void draw_pressure(uint64_t *random)
{
	static const double levels[] = {0.5, 1.5, 2.5, 1.5, 1.5, NAN};
	for (int64_t m = 0; m < LENGTH;) {
		double level = levels[unit_random(random) % ARRAY_LEN(levels)];
		bool brief = unit_random(random) % 4 > 0;
		int64_t end = m + unit_random_between(random, 1, brief ? 9 : 600);
		bool wavers = unit_random(random) % 3 == 0;
		for (; m < end && m < LENGTH; m++)
			pressure[m] = level + (wavers ? 0.7 * (double)unit_random_between(
								      random, -1, 1)
						      : 0.0);
	}
	pressure[0] = 2.5;
}

TEST(a_walk_that_begins_anywhere_comes_to_the_same)
{
	struct stored *s = stored_new(HOUSE LOW);
	int changes = 0;
	uint64_t random = unit_seed();
	draw_pressure(&random);
	put_rows(s->store, 0, LENGTH);
	struct notices *whole = notices_new(s->config, START, count_change, &changes);
	for (int64_t m = 1; m <= LENGTH; m += unit_random_between(&random, 1, 300)) {
		struct notices *begun = notices_new(s->config, START + m, NULL, NULL);
		walk(whole, s->store, START + m);
		walk(begun, s->store, START + m);
		expect_same(whole, begun, START + m);
		notices_free(begun);
	}
	ck_assert_int_gt(changes, 10);
	notices_free(whole);
	stored_free(s);
}
END

TEST(rows_that_are_written_anew_are_taken_again)
{
	struct stored *s = stored_new(HOUSE LOW);
	uint64_t random = unit_seed();
	draw_pressure(&random);
	put_rows(s->store, 0, LENGTH);
	struct notices *n = notices_new(s->config, START, NULL, NULL);
	for (int i = 0; i < 12; i++) {
		int64_t from = unit_random_between(
			&random, i < 6 ? LENGTH - 900 : 0, LENGTH - 1);
		walk(n, s->store, START + LENGTH);
		for (int64_t m = from; m < LENGTH && m < from + 40; m++)
			pressure[m] = i % 2 ? 0.5 : 2.5;
		put_rows(s->store, from, from + 40 < LENGTH ? from + 40 : LENGTH);
		notices_revised(n, START + from);
		walk(n, s->store, START + LENGTH);
		struct notices *anew = notices_new(s->config, START + LENGTH, NULL, NULL);
		walk(anew, s->store, START + LENGTH);
		expect_same(n, anew, START + LENGTH);
		notices_free(anew);
	}
	notices_free(n);
	stored_free(s);
}
END

/* One goes back to the first day, so that days before the other's are kept. */
TEST(what_settled_it_may_be_revised)
{
	struct stored *s = stored_new(HOUSE LOW "[notice never]\nwatch = value "
						"water_pressure\nbelow = 9\n");
	for (int64_t m = 0; m < LENGTH; m++)
		pressure[m] = m < LENGTH - MIN_PER_DAY ? 0.5 : 2.5;
	put_rows(s->store, 0, LENGTH);
	struct notices *n = notices_new(s->config, START + LENGTH, NULL, NULL);
	walk(n, s->store, START + LENGTH);
	ck_assert(!notices_state(n, 0)->raised);
	for (int64_t m = LENGTH - MIN_PER_DAY; m < LENGTH; m++)
		pressure[m] = 1.5; /* which neither raises nor clears */
	put_rows(s->store, LENGTH - MIN_PER_DAY, LENGTH);
	notices_revised(n, START + LENGTH - MIN_PER_DAY);
	walk(n, s->store, START + LENGTH);
	ck_assert(notices_state(n, 0)->raised);
	ck_assert_int_eq(notices_state(n, 0)->since, START);
	notices_free(n);
	stored_free(s);
}
END

/* Registers' spans write the last hours anew again and again. */
TEST(looking_back_once_is_enough_for_what_is_revised_often)
{
	struct stored *s = stored_new(HOUSE LOW);
	for (int64_t m = 0; m < LENGTH; m++)
		pressure[m] = m < LENGTH - 60 ? 0.5 : 2.5;
	put_rows(s->store, 0, LENGTH);
	struct notices *n = notices_new(s->config, START + LENGTH, NULL, NULL);
	walk(n, s->store, START + LENGTH);
	notices_revised(n, START + LENGTH - 30);
	ck_assert_int_gt(walk(n, s->store, START + LENGTH), DAYS);
	for (int64_t back = 1; back < 2 * MIN_PER_DAY; back += 500) {
		int64_t days = (back + MIN_PER_DAY - 1) / MIN_PER_DAY;
		notices_revised(n, START + LENGTH - back);
		ck_assert_int_le(walk(n, s->store, START + LENGTH), days);
		ck_assert(!notices_state(n, 0)->raised);
		ck_assert_int_eq(notices_state(n, 0)->since, START + LENGTH - 60);
	}
	notices_free(n);
	stored_free(s);
}
END

TEST(where_rows_begin_nothing_is_raised)
{
	struct stored *s = stored_new(HOUSE LOW);
	struct notices *n = notices_new(s->config, START + 10, NULL, NULL);
	walk(n, s->store, START + 10); /* a store without rows */
	ck_assert(!notices_state(n, 0)->raised);
	notices_free(n);
	for (int64_t m = 0; m < LENGTH; m++)
		pressure[m] = 0.5;
	put_rows(s->store, 0, LENGTH);
	n = notices_new(s->config, START + LENGTH, NULL, NULL);
	walk(n, s->store, START + LENGTH);
	ck_assert(notices_state(n, 0)->raised);
	ck_assert_int_eq(notices_state(n, 0)->since, START);
	ck_assert(!notices_before(n, 0));
	notices_free(n);
	stored_free(s);
}
END

#define ALL                                                                              \
	"[notice a]\nwatch = value water_pressure\nabove = 1\n"                          \
	"[notice b]\nwatch = missing water_pressure\n"                                   \
	"[notice c]\nwatch = power unit\nabove = 1 kW\n"                                 \
	"[notice d]\nwatch = day heat\nabove = 1\n"                                      \
	"[notice e]\nwatch = day electricity\nabove = 1\n"                               \
	"[notice f]\nwatch = day efficiency\nbelow = 3\n"                                \
	"[notice g]\nwatch = day known\nbelow = 50 %\n"                                  \
	"[notice h]\nwatch = state pump:on\n"

	static void
	same_times(const struct notice_times *a, const struct notice_times *b)
{
	ck_assert_uint_eq(a->count, b->count);
	ck_assert_uint_eq(a->counts[0], b->counts[0]);
	for (size_t i = 0; i < a->count; i++) {
		ck_assert_int_eq(a->items[i].since, b->items[i].since);
		ck_assert_int_eq(a->items[i].until, b->items[i].until);
		ck_assert_int_eq(a->items[i].before, b->items[i].before);
	}
	expect_same(a->notices, b->notices, a->to);
}

/* Turns of a day, and no patience: it goes on when asked again. */
static int ask_times(struct notice_walks *walks, const struct news *news,
	struct stored *s, int64_t from, int64_t to, struct notice_times *ret)
{
	int asked = 1;
	while (notice_times_ask(walks, news, s->store, s->config,
		       (START + from) * MS_PER_MIN, (START + to) * MS_PER_MIN, 1, 0,
		       ret) == QUERY_TOO_SLOW) {
		notice_times_release(ret);
		asked++;
	}
	return asked;
}

static void rewrite(struct stored *s, struct news *news, uint64_t *random)
{
	int64_t from = unit_random_between(random, 0, LENGTH - 40);
	double level = unit_random(random) % 2 ? 0.5 : 2.5;
	for (int64_t m = from; m < from + 40; m++)
		pressure[m] = level;
	put_rows(s->store, from, from + 40);
	news_revised(news, START + from, START + from + 40);
}

TEST(what_goes_on_from_a_former_question_is_as_if_it_were_the_first)
{
	struct stored *s = stored_new(HOUSE LOW);
	struct notice_walks walks = {0};
	struct news news;
	uint64_t random = unit_seed();
	news_begin(&news, 1, 0);
	news_closed(&news, START + LENGTH);
	draw_pressure(&random);
	put_rows(s->store, 0, LENGTH);
	for (int i = 0; i < 150; i++) {
		struct notice_walks none = {0};
		struct notice_times kept, anew;
		int64_t to =
			unit_random_between(&random, i % 3 ? LENGTH - 300 : 0, LENGTH);
		int64_t from = unit_random_between(&random, 0, to);
		if (i % 5 == 0)
			rewrite(s, &news, &random);
		ask_times(&walks, &news, s, from, to, &kept);
		ck_assert_int_eq(notice_times_ask(&none, NULL, s->store, s->config,
					 (START + from) * MS_PER_MIN,
					 (START + to) * MS_PER_MIN, 4, 1000000, &anew),
			0);
		same_times(&kept, &anew);
		notice_times_release(&kept);
		notice_times_release(&anew);
		notice_walks_drop(&none);
	}
	notice_walks_drop(&walks);
	stored_free(s);
}
END

TEST(a_long_span_is_walked_once)
{
	enum { TURNS = 1 + DAYS }; /* the first one sees that nothing lies before */
	struct stored *s = stored_new(HOUSE LOW);
	struct notice_walks walks = {0};
	struct notice_times times;
	struct news news;
	for (int64_t m = 0; m < LENGTH; m++)
		pressure[m] = 2.5;
	put_rows(s->store, 0, LENGTH);
	news_begin(&news, 1, 0);
	news_closed(&news, START + LENGTH);
	ck_assert_int_eq(ask_times(&walks, &news, s, 0, LENGTH - 50, &times), TURNS);
	notice_times_release(&times);
	for (int64_t m = 1; m < 50; m += 9) { /* the last hours are revised all day */
		news_revised(&news, START + LENGTH - 600, START + LENGTH - 500);
		ck_assert_int_le(
			ask_times(&walks, &news, s, m, LENGTH - 50 + m, &times), 3);
		notice_times_release(&times);
	}
	news_revised(&news, START + 7, START + 8);
	ck_assert_int_eq(ask_times(&walks, &news, s, 0, LENGTH, &times), TURNS);
	notice_times_release(&times);
	notice_walks_drop(&walks);
	stored_free(s);
}
END

/* It lasts at an end before that of the former question, which knew of its end. */
TEST(what_a_former_question_knew_of_later_minutes_is_forgotten)
{
	struct stored *s = stored_new(HOUSE LOW);
	struct notice_walks walks = {0};
	struct notice_times times;
	struct news news;
	for (int64_t m = 0; m < LENGTH; m++)
		pressure[m] = m >= MIN_PER_DAY && m < LENGTH - 100 ? 0.5 : 2.5;
	put_rows(s->store, 0, LENGTH);
	news_begin(&news, 1, 0);
	(void)ask_times(&walks, &news, s, 0, LENGTH, &times);
	ck_assert_uint_eq(times.count, 1);
	ck_assert_int_eq(times.items[0].until, START + LENGTH - 100);
	notice_times_release(&times);
	ck_assert_int_le(ask_times(&walks, &news, s, 0, LENGTH - 150, &times), 3);
	ck_assert_uint_eq(times.count, 1);
	ck_assert_int_eq(times.items[0].until, INT64_MAX);
	notice_times_release(&times);
	notice_walks_drop(&walks);
	stored_free(s);
}
END

TEST(each_watches_what_its_words_say)
{
	struct stored *s = stored_new(HOUSE ALL);
	struct boundary boundary;
	char why[256];
	static double values[8 * 5];
	ck_assert_int_eq(boundary_find(s->config, NULL, &boundary, why), 0);
	for (int64_t m = 0; m < LENGTH; m++)
		pressure[m] = m % 2 ? 1.5 : (double)NAN;
	put_rows(s->store, MIN_PER_DAY, 2 * MIN_PER_DAY);
	int64_t from = START + MIN_PER_DAY + 120; /* two hours of a local day */
	ck_assert_int_eq(notice_values(s->store, s->config, &boundary, NULL, NULL, from,
				 from + 5, values),
		0);
	for (int i = 0; i < 5; i++) {
		const double *v = values + i;
		double minutes = 121.0 + i; /* since midnight; the first has 120 kJ */
		double electricity_j =
			ceil(minutes / 2) * 120000 + floor(minutes / 2) * 60000;
		ck_assert_int_eq(isnan(v[0]), i % 2 == 0);
		ck_assert_double_eq(v[5], i % 2 == 0 ? 1.0 : 0.0);
		ck_assert_double_eq_tol(v[10], i % 2 ? 1000.0 : 2000.0, 1e-9);
		ck_assert_double_eq_tol(v[15], minutes * 240000 / 3.6e6, 1e-6);
		ck_assert_double_eq_tol(v[20], electricity_j / 3.6e6, 1e-6);
		ck_assert_double_eq_tol(v[25], minutes * 240000 / electricity_j, 1e-5);
		ck_assert_double_eq_tol(v[30], 100.0, 1e-9);
		ck_assert(isnan(v[35]));
	}
	ck_assert_int_eq(notice_values(s->store, s->config, &boundary, NULL, NULL,
				 START + 7, START + 12, values),
		0);
	for (size_t n = 0; n < 8; n++)
		ck_assert(n == 1 ? values[n * 5] == 1.0 : isnan(values[n * 5]));
	stored_free(s);
}
END

TESTS(a_walk_that_begins_anywhere_comes_to_the_same,
	rows_that_are_written_anew_are_taken_again, what_settled_it_may_be_revised, looking_back_once_is_enough_for_what_is_revised_often, where_rows_begin_nothing_is_raised,
	what_goes_on_from_a_former_question_is_as_if_it_were_the_first,
	a_long_span_is_walked_once,
	what_a_former_question_knew_of_later_minutes_is_forgotten, each_watches_what_its_words_say)
