/*
 * Whether a change helped: what is recovered, what is not shown where nothing changed,
 * how often that errs, how the split closes, and what is refused.
 *
 * References: the drawn houses' own parameters; numpy, scipy and statsmodels on open data
 * (comparison_reference.py, computed).
 */
#include "compared_days.h"

#define NOTHING (&(struct house_change){0})

/* ---- where nothing changed ---- */

static const char *const figures[] = {"saving_kwh", "by_efficiency_kwh", "by_heat_kwh",
	"heat_saving_kwh", "saving_in_all_kwh", "room_shift_k"};

struct coverage {
	size_t compared;
	size_t out[ARRAY_LEN(figures)];
};

static const struct {
	size_t before, after;
} spans[] = {{21, 21}, {45, 45}, {90, 60}, {180, 90}, {365, 60}, {365, 200}};

/* An immersion heater, say, that somebody left on: not weather, and no season. */
#define ODD_KWH 3.0
struct odd_days {
	size_t count, end; /* the last of them so many days before the note */
};

/* One note a house, at a day by its seed, where nothing happened. */
static void count_false(size_t span, struct odd_days odd, struct coverage *ret)
{
	static struct drawn_days house;
	FOR_ROUNDS(seed, 30)
	{
		struct comparison c;
		struct insight_answer answer;
		size_t at = 485 + (size_t)(stream_mix(seed) % 180);
		house_draw_days(seed, at + spans[span].after, NOTHING, &house);
		for (size_t i = 1; i <= odd.count; i++)
			house.days[at - odd.end - i].whole_kwh += ODD_KWH;
		house_compare(&house, at - spans[span].before, at, at + spans[span].after,
			&c, &answer);
		bool judged = c.verdict != COMPARISON_NOT_KNOWN;
		ret->compared += judged;
		for (size_t i = 0; judged && i < ARRAY_LEN(figures); i++)
			ret->out[i] += !holds(value_of(&answer, figures[i]), 0.0);
		comparison_release(&c);
		insight_release(&answer);
	}
}

static void expect_few_false(const struct coverage *all)
{
	double compared = (double)all->compared;
	ck_assert_double_ge(compared, 150.0);
	for (size_t i = 0; i < ARRAY_LEN(figures); i++)
		ck_assert_msg((double)all->out[i] <= false_most(compared),
			"%s: %zu of %zu intervals do not hold 0", figures[i], all->out[i],
			all->compared);
}

TEST(one_in_twenty_notes_of_nothing_seems_to_have_done_something)
{
	struct coverage all = {0};
	for (size_t s = 0; s < ARRAY_LEN(spans); s++)
		count_false(s, (struct odd_days){0}, &all);
	expect_few_false(&all);
	/* Nor are they so wide that nothing could ever be shown. */
	ck_assert_uint_ge(all.out[0] + all.out[1] + all.out[2], 1);
}
END

TEST(two_odd_weeks_before_do_not_pass_for_a_change)
{
	struct coverage all = {0};
	for (size_t s = 1; s < ARRAY_LEN(spans); s++) {
		count_false(s, (struct odd_days){14, 0}, &all);
		count_false(s, (struct odd_days){14, 12}, &all);
	}
	expect_few_false(&all);
}
END

	/* ---- where something changed ---- */

	static const struct house_change better = {
		.efficiency = 0.10, .heat = 0.06, .room_k = -0.3};

struct truth {
	double saving, by_efficiency, heat, whole;
};

/* Over the days that were compared, what the same house would have taken. */
static struct truth truth_of(const struct drawn_days *without,
	const struct drawn_days *with, const struct comparison *c)
{
	struct truth truth = {0};
	for (size_t i = 0; i < c->point_count; i++) {
		size_t day = (size_t)(c->points[i].day - FIRST_DAY);
		const struct comparison_day *a = &without->days[day];
		const struct comparison_day *b = &with->days[day];
		if (!c->points[i].after)
			continue;
		truth.saving += a->electricity_kwh - b->electricity_kwh;
		truth.heat += a->heat_kwh - b->heat_kwh;
		truth.whole += a->whole_kwh - b->whole_kwh;
		truth.by_efficiency += (b->electricity_kwh - HOUSE_REST_KWH) *
				       better.efficiency / (1.0 - better.efficiency);
	}
	return truth;
}

struct recovery {
	size_t houses, shown;
	size_t out[5];
};

static void recover(uint64_t seed, struct recovery *ret)
{
	static struct drawn_days without, with;
	struct house_change change = better;
	struct comparison c;
	struct insight_answer answer;
	change.at = 500;
	house_draw_days(seed, 620, NOTHING, &without);
	house_draw_days(seed, 620, &change, &with);
	house_compare(&with, 135, 500, 620, &c, &answer);
	struct truth truth = truth_of(&without, &with, &c);
	ret->houses++;
	ret->shown += c.verdict == COMPARISON_LESS;
	ck_assert_int_ne(c.verdict, COMPARISON_MORE);
	ret->out[0] += !holds(value_of(&answer, "saving_kwh"), truth.saving);
	ret->out[1] +=
		!holds(value_of(&answer, "by_efficiency_kwh"), truth.by_efficiency);
	ret->out[2] += !holds(value_of(&answer, "heat_saving_kwh"), truth.heat);
	ret->out[3] += !holds(value_of(&answer, "saving_in_all_kwh"), truth.whole);
	ret->out[4] += !holds(value_of(&answer, "room_shift_k"), change.room_k);
	/* Rooms that are colder are part of what heat saved. */
	ck_assert_double_gt(value_of(&answer, "by_room_kwh")->value, 0.0);
	comparison_release(&c);
	insight_release(&answer);
}

TEST(what_a_change_saved_is_recovered_and_shown)
{
	struct recovery r = {0};
	FOR_ROUNDS(seed, 30)
	{
		recover(seed, &r);
	}
	for (size_t i = 0; i < ARRAY_LEN(r.out); i++)
		ck_assert_msg((double)r.out[i] <= false_most((double)r.houses),
			"figure %zu: %zu of %zu intervals do not hold the truth", i,
			r.out[i], r.houses);
	ck_assert_msg(10 * r.shown >= 9 * r.houses, "shown in %zu of %zu houses", r.shown,
		r.houses);
}
END

TEST(the_split_closes_exactly)
{
	static struct drawn_days house;
	struct house_change change = better;
	struct comparison c;
	struct insight_answer answer;
	change.at = 400;
	house_draw_days(7, 600, &change, &house);
	house_compare(&house, 40, 400, 600, &c, &answer);
	double saving = value_of(&answer, "saving_kwh")->value;
	double parts = value_of(&answer, "by_efficiency_kwh")->value +
		       value_of(&answer, "by_heat_kwh")->value;
	ck_assert_double_eq_tol(saving, parts, 1e-9);
	/* And the days' series ends with it. */
	double sum = 0.0, heat = 0.0;
	for (size_t i = 0; i < c.point_count; i++)
		if (c.points[i].after) {
			sum -= c.points[i].electricity_off_kwh;
			heat -= c.points[i].heat_off_kwh;
		}
	ck_assert_double_eq_tol(saving, sum, 1e-9 * fabs(saving) + 1e-9);
	ck_assert_double_eq_tol(value_of(&answer, "heat_saving_kwh")->value, heat, 1e-8);
	comparison_release(&c);
	insight_release(&answer);
}
END

	/* ---- independent computation ---- */

	struct rows {
	struct comparison_day days[600];
	size_t count;
};

static double number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

static void take_row(char **fields, size_t count, void *context)
{
	struct rows *rows = context;
	double v[7] = {0};
	for (size_t i = 0; i < count && i < ARRAY_LEN(v); i++)
		v[i] = number(fields[i]);
	ck_assert_uint_eq(count, ARRAY_LEN(v));
	rows->days[rows->count++] = (struct comparison_day){.day = (int64_t)v[0],
		.outdoor_c = v[1],
		.outdoor_before_c = v[2],
		.heat_kwh = v[3],
		.electricity_kwh = v[4],
		.whole_kwh = v[5],
		.room_c = v[6]};
}

struct judged {
	struct comparison comparison;
	struct insight_answer answer;
};

static double besides(const struct comparison *c, const char *what)
{
	for (int i = 0; i < COMPARISON_MODELS; i++)
		if (strcmp(what + strlen("rho of "),
			    comparison_model_name((enum comparison_model)i)) == 0)
			return c->fits[i].rho;
	if (strcmp(what, "compared_before") == 0)
		return (double)c->before.used;
	if (strcmp(what, "compared_after") == 0)
		return (double)c->after.used;
	ck_assert_str_eq(what, "heating_below_c");
	return c->heating_below_c;
}

static void near(const char *what, double got, double wanted)
{
	ck_assert_msg(fabs(got - wanted) <= 1e-6 * fabs(wanted) + 1e-9,
		"%s: %.12g, not %.12g", what, got, wanted);
}

static void compare_row(char **fields, size_t count, void *context)
{
	const struct judged *judged = context;
	double v[2] = {0};
	for (size_t i = 0; i < ARRAY_LEN(v) && i + 1 < count; i++)
		v[i] = number(fields[i + 1]);
	ck_assert_uint_eq(count, 3);
	const char *what = fields[0];
	const struct insight_value *given = insight_find(&judged->answer, what);
	if (!given) {
		near(what, besides(&judged->comparison, what), v[0]);
		return;
	}
	near(what, given->value, v[0]);
	near(what, (given->high - given->low) / 2.0, v[1]);
}

TEST(open_days_give_what_statsmodels_gives)
{
	static struct rows rows;
	struct judged judged = {0};
	size_t at = 0;
	ck_assert_uint_eq(data_rows("comparison_rows.csv", take_row, &rows), 472);
	while (rows.days[at].day < 17151)
		at++;
	comparison_judge((struct comparison_side){rows.days, at},
		(struct comparison_side){rows.days + at, rows.count - at},
		&judged.comparison, &judged.answer);
	ck_assert_uint_eq(data_rows("comparison_answers.csv", compare_row, &judged), 13);
	comparison_release(&judged.comparison);
	insight_release(&judged.answer);
}
END

	/* ---- what is refused ---- */

	static void
	spoil_after(struct drawn_days *house, size_t at, double add_c)
{
	for (size_t i = at; i < house->count; i++)
		house->days[i].outdoor_c += add_c;
}

static void refused(const struct drawn_days *house, size_t from, size_t at, size_t to,
	const char *first, const char *second)
{
	struct comparison c;
	struct insight_answer answer;
	house_compare(house, from, at, to, &c, &answer);
	ck_assert_int_eq(c.verdict, COMPARISON_NOT_KNOWN);
	ck_assert_uint_eq(answer.count, 0);
	ck_assert_uint_eq(c.point_count, 0);
	ck_assert_uint_eq(answer.missing_count, second ? 2 : 1);
	ck_assert_msg(strstr(answer.missing[0], first) != NULL, "'%s' lacks '%s'",
		answer.missing[0], first);
	if (second)
		ck_assert_msg(strstr(answer.missing[1], second) != NULL,
			"'%s' lacks '%s'", answer.missing[1], second);
	comparison_release(&c);
	insight_release(&answer);
}

TEST(too_little_is_refused_and_says_what_is_missing)
{
	static struct drawn_days house;
	house_draw_days(3, 620, NOTHING, &house);
	refused(&house, 190, 203, 260,
		"days before the change that can be compared: 13, it takes 14", NULL);
	refused(&house, 150, 203, 216,
		"days after the change that can be compared: ", NULL);
	refused(&house, 203, 203, 203, "days before the change that can be compared: 0",
		"days after the change that can be compared: 0");
	/* 30 K warmer: no day before was so warm. */
	spoil_after(&house, 203, 30.0);
	refused(&house, 150, 203, 260, "57 colder or warmer than any day before", NULL);
	/* Around midsummer the house is not heated. */
	house_draw_days(3, 620, NOTHING, &house);
	refused(&house, 0, 360, 400, "too warm for heating", NULL);
}
END

TEST(days_that_are_all_alike_make_no_model)
{
	static struct drawn_days house;
	house_draw_days(3, 260, NOTHING, &house);
	for (size_t i = 0; i < house.count; i++)
		house.days[i].outdoor_c = house.days[i].outdoor_before_c = 3.0;
	refused(&house, 150, 203, 260, "days before the change whose weather differs",
		NULL);
}
END

TEST(without_a_meter_or_a_heat_source_the_rest_is_compared)
{
	static struct drawn_days house;
	struct comparison c;
	struct insight_answer answer;
	struct house_change change = better;
	change.at = 500;
	house_draw_days(5, 620, &change, &house);
	for (size_t i = 0; i < house.count; i++)
		house.days[i].electricity_kwh = house.days[i].whole_kwh = (double)NAN;
	house_compare(&house, 135, 500, 620, &c, &answer);
	ck_assert_ptr_null(insight_find(&answer, "saving_kwh"));
	ck_assert_ptr_null(insight_find(&answer, "saving_in_all_kwh"));
	ck_assert_double_gt(value_of(&answer, "heat_saving_kwh")->low, 0.0);
	ck_assert_double_lt(value_of(&answer, "room_shift_k")->high, 0.0);
	ck_assert_int_eq(c.verdict, COMPARISON_LESS);
	comparison_release(&c);
	insight_release(&answer);
	house_draw_days(5, 620, &change, &house);
	for (size_t i = 0; i < house.count; i++)
		house.days[i].electricity_kwh = house.days[i].heat_kwh = (double)NAN;
	house_compare(&house, 135, 500, 620, &c, &answer);
	ck_assert_ptr_null(insight_find(&answer, "saving_kwh"));
	ck_assert_ptr_null(insight_find(&answer, "heat_saving_kwh"));
	ck_assert_double_gt(value_of(&answer, "saving_in_all_kwh")->low, 0.0);
	ck_assert_int_eq(c.verdict, COMPARISON_LESS);
	double sum = 0.0;
	for (size_t i = 0; i < c.point_count; i++)
		if (c.points[i].after)
			sum -= c.points[i].electricity_off_kwh;
	ck_assert_double_eq_tol(sum, value_of(&answer, "saving_in_all_kwh")->value, 1e-8);
	comparison_release(&c);
	insight_release(&answer);
}
END

TESTS(one_in_twenty_notes_of_nothing_seems_to_have_done_something,
	two_odd_weeks_before_do_not_pass_for_a_change,
	what_a_change_saved_is_recovered_and_shown, the_split_closes_exactly,
	open_days_give_what_statsmodels_gives,
	too_little_is_refused_and_says_what_is_missing,
	days_that_are_all_alike_make_no_model,
	without_a_meter_or_a_heat_source_the_rest_is_compared)
