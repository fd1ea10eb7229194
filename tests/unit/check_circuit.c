/*
 * The circuit's flow and pressure of days by hand: known lines are found again with their
 * intervals, top-ups by day and size, a leak from the day on which it begins; the last
 * minute at 60 °C; what is missing is named. Sets that were drawn, and what numpy makes
 * of them: circuit_rows.csv, circuit_answers.csv (circuit_reference.py).
 */
#include "emitting_days.h"

#include <heatbook/circuit.h>

#include <string.h>

enum { JUNE = 243 };
#define MONTH_DAYS 30.4375

static void put(struct emitting *e, enum evidence_kind kind, int64_t minutes, double v0,
	double v1, double v2)
{
	struct insight_day *day = &e->day[e->days.count - 1];
	struct evidence *row = emitting_row(day, kind, 0, minutes);
	row->values[0] = v0;
	row->values[1] = v1;
	row->values[2] = v2;
}

static double water_c(size_t i)
{
	return 26.0 + 4.0 * sin(0.9 * (double)i);
}

static double outdoor_c(size_t i)
{
	return 10.0 + 5.0 * sin(0.4 * (double)i);
}

static struct circuit judged(struct emitting *e)
{
	struct circuit c;
	circuit_of(&e->days, &c);
	return c;
}

static void done(struct emitting *e, struct circuit *c)
{
	circuit_release(c);
	emitting_free(e);
}

static bool lacks(const struct circuit *c, const char *words)
{
	for (size_t i = 0; i < c->answer.missing_count; i++)
		if (strstr(c->answer.missing[i], words))
			return true;
	return false;
}

static double value_of(const struct circuit *c, const char *name)
{
	const struct insight_value *v = insight_find(&c->answer, name);
	ck_assert_ptr_nonnull(v);
	return v ? v->value : (double)NAN;
}

/* ---- pressure ---- */

/* A day's mean, and what it was at least and at most. */
static void put_pressure(
	struct emitting *e, double bar, double water, double least, double most)
{
	(void)emitting_day(e, outdoor_c(e->days.count));
	put(e, EVIDENCE_PRESSURE, 1440, bar, water, least);
	e->day[e->days.count - 1].evidence.items[0].values[3] = most;
}

static struct emitting *pressure_days(size_t count, double (*bar)(size_t i))
{
	struct emitting *e = emitting_new(emitting_house, JUNE);
	for (size_t i = 0; i < count; i++)
		put_pressure(e, bar(i), water_c(i), bar(i) - 0.02, bar(i) + 0.05);
	return e;
}

static double cold(double bar, size_t i)
{
	return bar + 0.006 * (water_c(i) - 20.0) + 0.002 * sin(7.0 * (double)i);
}

static double even(size_t i)
{
	return cold(1.4, i);
}

TEST(an_even_pressure_has_a_cold_one_and_no_trend)
{
	struct emitting *e = pressure_days(60, even);
	struct circuit c = judged(e);
	ck_assert_uint_eq(c.top_up_count, 0);
	ck_assert_uint_eq(c.stretch_count, 1);
	const struct circuit_stretch *s = &c.stretches[0];
	ck_assert(s->told);
	ck_assert_double_eq_tol(s->bar_a_kelvin.value, 0.006, 2e-4);
	ck_assert_double_eq_tol(s->cold_bar.value, 1.4, 2e-3);
	ck_assert(s->cold_bar.low < 1.4 && 1.4 < s->cold_bar.high);
	ck_assert(s->bar_a_month.low < 0.0 && 0.0 < s->bar_a_month.high);
	ck_assert_double_eq_tol(c.points[7].cold_bar, 1.4, 0.01);
	done(e, &c);
}
END

	/* Half a bar in four weeks, then topped up at the begin of day 45; or amid it. */
	static double
	leaks(size_t i)
{
	double gone = i < 17 || i >= 45 ? 0.0 : 0.5 * (double)(i - 16) / 28.0;
	return cold(1.4 - gone, i);
}

static double leaks_to_noon(size_t i)
{
	return i == 45 ? cold(1.15, i) : leaks(i);
}

TEST(a_leak_is_told_from_its_first_day_and_the_top_up_by_day_and_size)
{
	static double (*const ways[])(size_t i) = {leaks, leaks_to_noon};
	for (size_t w = 0; w < ARRAY_LEN(ways); w++) {
		struct emitting *e = pressure_days(75, ways[w]);
		struct circuit c = judged(e);
		ck_assert_uint_eq(c.top_up_count, 1);
		int64_t off_ms = c.top_ups[0].start_ms - e->day[45].start_ms;
		ck_assert_int_le(llabs((long long)off_ms), MS_PER_DAY + MS_PER_HOUR);
		ck_assert_double_eq_tol(c.top_ups[0].bar, 0.48, 0.04);
		ck_assert_uint_eq(c.stretch_count, 2);
		const struct circuit_stretch *s = &c.stretches[0];
		double month = -0.5 / 28.0 * MONTH_DAYS;
		ck_assert_double_eq_tol(s->bar_a_month.value, month, 0.03);
		ck_assert(s->bar_a_month.low < month && month < s->bar_a_month.high);
		ck_assert_double_eq_tol(
			(double)(s->since_ms - e->day[16].start_ms) / (double)MS_PER_DAY,
			0.0, 2.1);
		ck_assert(c.stretches[1].told);
		ck_assert_double_eq_tol(c.stretches[1].cold_bar.value, 1.4, 0.004);
		ck_assert_double_eq_tol(value_of(&c, "cold_pressure"),
			c.stretches[1].cold_bar.value, 1e-9);
		ck_assert_double_eq(value_of(&c, "top_ups"), 1.0);
		done(e, &c);
	}
}
END

	static double
	small_step(size_t i)
{
	return cold(i < 30 ? 1.4 : 1.46, i);
}

static double outlier(size_t i)
{
	return cold(i == 30 ? 1.9 : 1.4, i);
}

TEST(what_is_small_or_short_is_no_top_up)
{
	static double (*const ways[])(size_t i) = {small_step, outlier};
	for (size_t w = 0; w < ARRAY_LEN(ways); w++) {
		struct emitting *e = pressure_days(60, ways[w]);
		struct circuit c = judged(e);
		ck_assert_uint_eq(c.top_up_count, 0);
		done(e, &c);
	}
}
END

	/* Half a bar in the four weeks to the end of day 59, topped up then or within
	   that day. */
	static double
	leaks_to_the_end(size_t i)
{
	double gone = i < 32 || i >= 60 ? 0.0 : 0.5 * ((double)i - 31.5) / 28.0;
	return cold(1.4 - gone, i);
}

static double leaks_to_noon_of_60(size_t i)
{
	return i == 60 ? cold(1.15, i) : leaks_to_the_end(i);
}

static void check_leak(const struct emitting *e, const struct circuit_stretch *s)
{
	double month = -0.5 / 28.0 * MONTH_DAYS;
	ck_assert(s->told);
	ck_assert_double_eq_tol(s->bar_a_month.value, month, 0.02);
	ck_assert(s->bar_a_month.low < month && month < s->bar_a_month.high);
	ck_assert_int_le(s->to_ms, e->day[60].start_ms);
}

/* So do one, two, or three days behind it: the leak is told, and the day is. */
TEST(a_top_up_at_the_end_is_one_and_leaves_the_leak_as_it_was)
{
	for (size_t behind = 1; behind <= 6; behind++) {
		struct emitting *e = pressure_days(60 + behind, leaks_to_the_end);
		struct circuit c = judged(e);
		ck_assert_uint_eq(c.top_up_count, 1);
		ck_assert_double_eq_tol(c.top_ups[0].bar, 0.48, 0.04);
		int64_t off_ms = c.top_ups[0].start_ms - e->day[60].start_ms;
		ck_assert_int_le(llabs((long long)off_ms), MS_PER_DAY);
		ck_assert_uint_eq(c.stretch_count, 2);
		check_leak(e, &c.stretches[0]);
		ck_assert_uint_ge(c.stretches[1].days, behind > 3 ? behind - 1 : behind);
		ck_assert(!c.stretches[1].told && lacks(&c, "since the last top-up"));
		done(e, &c);
	}
}
END

/* Topped up at noon: the last day alone does not tell it from a word that was false. */
TEST(a_day_within_which_it_was_topped_up_is_left_out)
{
	for (size_t behind = 0; behind <= 4; behind++) {
		struct emitting *e = pressure_days(61 + behind, leaks_to_noon_of_60);
		struct evidence *noon = &e->day[60].evidence.items[0];
		noon->values[2] = 0.88;
		noon->values[3] = 1.42;
		struct circuit c = judged(e);
		ck_assert_uint_eq(c.top_up_count, behind > 0);
		ck_assert_uint_eq(c.stretch_count, 1 + (behind > 0));
		check_leak(e, &c.stretches[0]);
		if (behind > 0)
			ck_assert_uint_eq(c.stretches[1].days, behind);
		done(e, &c);
	}
}
END

	/* Its last day before the top-up is the span's first. */
	static double
	leaked_before(size_t i)
{
	return cold(i < 2 ? 0.9 : 1.4 - 0.01 * (double)i, i);
}

TEST(a_top_up_at_the_begin_is_one_as_well)
{
	struct emitting *e = pressure_days(40, leaked_before);
	struct circuit c = judged(e);
	ck_assert_uint_eq(c.top_up_count, 1);
	ck_assert_int_eq(c.top_ups[0].start_ms, e->day[2].start_ms);
	ck_assert_uint_eq(c.stretch_count, 2);
	ck_assert_uint_eq(c.stretches[0].days, 2);
	ck_assert(c.stretches[1].told);
	ck_assert_double_eq_tol(
		c.stretches[1].bar_a_month.value, -0.01 * MONTH_DAYS, 0.01);
	done(e, &c);
}
END

	/* By Box and Muller (1958; from memory). */
	static double
	normal(uint64_t *seed)
{
	double a = ((double)(unit_random(seed) >> 11) + 0.5) / 9007199254740992.0;
	double b = (double)(unit_random(seed) >> 11) / 9007199254740992.0;
	return sqrt(-2.0 * log(a)) * cos(2.0 * 3.14159265358979 * b);
}

/* A leak of 28 days to the end of 70, with errors that hang on the one before. */
static bool drawn_leak_is_held(uint64_t *seed, double correlation)
{
	struct emitting *e = emitting_new(emitting_house, JUNE);
	double error = 0.0, month = -0.5 / 28.0 * MONTH_DAYS;
	for (size_t i = 0; i < 70; i++) {
		double water = water_c(i) + normal(seed);
		double gone = fmax(0.0, ((double)i + 0.5 - 42.0) * 0.5 / 28.0);
		error = correlation * error + 0.004 * normal(seed);
		double bar = 1.4 - gone + 0.006 * (water - 20.0) + error;
		put_pressure(e, bar, water, bar - 0.02, bar + 0.05);
	}
	struct circuit c = judged(e);
	ck_assert_uint_eq(c.stretch_count, 1);
	const struct circuit_value *rate = &c.stretches[0].bar_a_month;
	bool held = rate->low <= month && month <= rate->high;
	done(e, &c);
	return held;
}

/* Draws and judgement apart from circuit_coverage.py, which says the same of other
 * lengths; a share of 0.95 may be off by four of its standard deviations. */
TEST(a_leaks_interval_holds_it_as_often_as_it_says)
{
	static const double correlations[] = {0.0, 0.4, 0.7};
	uint64_t seed = unit_seed(), rounds = unit_rounds(60);
	for (size_t k = 0; k < ARRAY_LEN(correlations); k++) {
		uint64_t held = 0;
		for (uint64_t r = 0; r < rounds; r++)
			held += drawn_leak_is_held(&seed, correlations[k]);
		double share = (double)held / (double)rounds;
		double least = 0.95 - 4.0 * sqrt(0.95 * 0.05 / (double)rounds);
		ck_assert_msg(share > least, "correlation %g: %.3f of %d",
			correlations[k], share, (int)rounds);
	}
}
END

	/* ---- flow ---- */

	/* 17.5 L/min less 3 % a month, and a pump that gives 0.05 L/min a kelvin more. */
	static struct emitting *
	flow_days(size_t count)
{
	struct emitting *e = emitting_new(emitting_house, JUNE);
	for (size_t i = 0; i < count; i++) {
		double fall = 0.5 * (double)i / MONTH_DAYS;
		(void)emitting_day(e, outdoor_c(i));
		put(e, EVIDENCE_FLOW, 600,
			17.5 - fall - 0.05 * (outdoor_c(i) - 10.0) +
				0.03 * sin(5.0 * (double)i),
			19.0 + 0.03 * sin(3.0 * (double)i), 40.0);
	}
	return e;
}

TEST(flow_is_told_by_service_with_its_trend)
{
	struct emitting *e = flow_days(60);
	struct circuit c = judged(e);
	double end = 17.5 - 0.5 * 59.0 / MONTH_DAYS;
	ck_assert_double_eq_tol(c.heating.lpm_a_month.value, -0.5, 0.02);
	ck_assert(c.heating.lpm_a_month.low < -0.5 && -0.5 < c.heating.lpm_a_month.high);
	ck_assert_double_eq_tol(c.heating.lpm.value, end, 0.1);
	ck_assert_double_eq_tol(c.heating.percent_a_month.value,
		100.0 * c.heating.lpm_a_month.value / c.heating.lpm.value, 1e-9);
	ck_assert(
		c.hot_water.lpm_a_month.low < 0.0 && c.hot_water.lpm_a_month.high > 0.0);
	ck_assert_double_eq_tol(c.hot_water.lpm.value, 19.0, 0.05);
	done(e, &c);
}
END

	/* ---- drawn sets, against numpy ---- */

	struct drawn {
	struct emitting *pressure, *flow;
};

static void take_row(char **f, size_t count, void *context)
{
	struct drawn *d = context;
	ck_assert_uint_eq(count, 5);
	if (strcmp(f[0], "pressure") == 0) {
		double bar = strtod(f[3], NULL);
		put_pressure(d->pressure, bar, strtod(f[4], NULL), bar, bar);
	} else {
		(void)emitting_day(d->flow, strtod(f[2], NULL));
		put(d->flow, EVIDENCE_FLOW, 600, strtod(f[3], NULL), (double)NAN, 0.0);
	}
}

struct answers {
	struct circuit pressure, flow;
	int count;
};

static double figure_of(const struct answers *a, const char *what, double *ret_low)
{
	const struct circuit_stretch *s = &a->pressure.stretches[0];
	const struct circuit_value *v =
		strcmp(what, "cold_bar") == 0       ? &s->cold_bar
		: strcmp(what, "bar_a_month") == 0  ? &s->bar_a_month
		: strcmp(what, "bar_a_kelvin") == 0 ? &s->bar_a_kelvin
		: strcmp(what, "lpm") == 0          ? &a->flow.heating.lpm
						    : &a->flow.heating.lpm_a_month;
	*ret_low = v->low;
	return v->value;
}

static void check_answer(char **f, size_t count, void *context)
{
	struct answers *a = context;
	double low, value = figure_of(a, f[0], &low), wanted = strtod(f[1], NULL);
	ck_assert_uint_eq(count, 3);
	ck_assert_msg(fabs(value - wanted) < 1e-6 * fmax(1.0, fabs(wanted)),
		"%s: %.9g, %.9g", f[0], value, wanted);
	wanted = strtod(f[2], NULL);
	ck_assert_msg(fabs(low - wanted) < 1e-6 * fmax(1.0, fabs(wanted)),
		"%s, low: %.9g, %.9g", f[0], low, wanted);
	a->count++;
}

TEST(lines_and_intervals_are_those_of_numpy)
{
	struct drawn d = {emitting_new(emitting_house, JUNE), NULL};
	d.flow = emitting_new(emitting_house, JUNE);
	ck_assert_uint_eq(data_rows("circuit_rows.csv", take_row, &d), 140);
	struct answers a = {judged(d.pressure), judged(d.flow), 0};
	ck_assert_uint_eq(a.pressure.stretch_count, 1);
	ck_assert_uint_eq(data_rows("circuit_answers.csv", check_answer, &a), 5);
	ck_assert_int_eq(a.count, 5);
	circuit_release(&a.pressure);
	circuit_release(&a.flow);
	emitting_free(d.pressure);
	emitting_free(d.flow);
}
END

/* ---- the cylinder ---- */

TEST(hours_since_60_are_from_the_last_minute_to_the_end)
{
	struct emitting *e = emitting_new(emitting_house, JUNE);
	for (size_t i = 0; i < 10; i++) {
		(void)emitting_day(e, 15.0);
		bool hot = i == 2 || i == 5;
		put(e, EVIDENCE_CYLINDER, hot ? 12 : 0, hot ? 60.1 : 48.0, 1440.0,
			(double)NAN);
		if (hot)
			e->day[i].evidence.items[0].at_min += 15 * 60 + 29;
	}
	struct circuit c = judged(e);
	ck_assert_double_eq_tol(value_of(&c, "hours_since_60"), 4.0 * 24.0 + 8.5, 1e-9);
	ck_assert_double_eq(c.points[5].hot_min, 12.0);
	done(e, &c);
}
END

TEST(what_is_missing_is_named)
{
	struct emitting *e = emitting_new("[plant]\nzone = Europe/Berlin\n", JUNE);
	struct circuit c = judged(e);
	ck_assert(lacks(&c, "flow_rate") && lacks(&c, "water_pressure") &&
		  lacks(&c, "cylinder_temperature"));
	ck_assert_uint_eq(c.answer.count, 0);
	done(e, &c);
	e = pressure_days(13, even);
	c = judged(e);
	ck_assert(lacks(&c, "are known: 13, and it takes 14"));
	ck_assert(lacks(&c, "whose flow is known: 0 and 0"));
	ck_assert(lacks(&c, "never seen at 60 °C"));
	ck_assert_ptr_null(insight_find(&c.answer, "cold_pressure"));
	ck_assert(!c.stretches[0].told && isnan(c.points[3].cold_bar));
	done(e, &c);
}
END

TESTS(an_even_pressure_has_a_cold_one_and_no_trend,
	a_leak_is_told_from_its_first_day_and_the_top_up_by_day_and_size,
	a_top_up_at_the_end_is_one_and_leaves_the_leak_as_it_was,
	a_day_within_which_it_was_topped_up_is_left_out,
	a_top_up_at_the_begin_is_one_as_well,
	a_leaks_interval_holds_it_as_often_as_it_says, what_is_small_or_short_is_no_top_up, flow_is_told_by_service_with_its_trend,
	lines_and_intervals_are_those_of_numpy,
	hours_since_60_are_from_the_last_minute_to_the_end, what_is_missing_is_named)
