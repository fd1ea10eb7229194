/*
 * The signature out of days: which of them count, what it answers, what it refuses.
 *
 * References: houses by construction (200 W/K below 15 °C, by hand); the fit itself is
 * held against scipy and statsmodels in check_change_point.c.
 */
#include "house_days.h"
#include "stored.h"

#include <heatbook/signature.h>

#define PLANT "[plant]\nzone = Europe/Berlin\ndevices = compressor\n"
#define REST                                                                             \
	"[channel heat_power]\ntopic = a/h\n"                                            \
	"[channel outdoor_temperature]\ntopic = a/o\n"
#define BARE PLANT "heat_source = power\n" REST
#define DESIGN                                                                           \
	PLANT "heat_source = power\ndesign_temperature = -9 °C\n"                       \
	      "design_capacity = 6 kW\n" REST

struct asked {
	struct config *config;
	struct house *house;
	struct signature s;
};

static struct asked *asked_new(const char *text)
{
	struct asked *a = xcalloc(1, sizeof(*a));
	a->config = configured(text);
	a->house = house_new(a->config);
	return a;
}

static void tell(struct asked *a)
{
	signature_fit(&a->house->days, &a->s);
	signature_tell(a->config, &a->s);
}

static void asked_free(struct asked *a)
{
	signature_release(&a->s);
	config_free(a->config);
	free(a->house);
	free(a);
}

static const struct insight_value *value(const struct asked *a, const char *name)
{
	const struct insight_value *v = insight_find(&a->s.answer, name);
	ck_assert_msg(v != NULL, "no %s; %s", name,
		a->s.answer.missing_count ? a->s.answer.missing[0] : "nothing missing");
	return v;
}

static void lacks(const struct asked *a, const char *words)
{
	for (size_t i = 0; i < a->s.answer.missing_count; i++)
		if (strstr(a->s.answer.missing[i], words))
			return;
	ck_abort_msg("'%s' is not missing; %s", words,
		a->s.answer.missing_count ? a->s.answer.missing[0] : "nothing is");
}

static void refused(struct asked *a, const char *words)
{
	tell(a);
	ck_assert_uint_eq(a->s.answer.count, 0);
	lacks(a, words);
}

/* ---- what is answered ---- */

TEST(a_house_is_told_with_its_loads)
{
	struct asked *a = asked_new(DESIGN);
	house_fill(a->house, 200);
	tell(a);
	ck_assert_uint_eq(a->s.count, 200);
	ck_assert_uint_eq(a->s.answer.missing_count, 0);
	const struct insight_value *loss = value(a, "heat_loss_w_per_k");
	const struct insight_value *base = value(a, "base_temperature_c");
	const struct insight_value *load = value(a, "design_load_kw");
	const struct insight_value *margin = value(a, "margin_kw");
	ck_assert_double_eq_tol(loss->value, 200, 3);
	ck_assert(loss->low < 200 && 200 < loss->high);
	ck_assert(base->low < 15 && 15 < base->high && base->high - base->low < 1);
	/* By hand: 200 W/K · 24 K; 6 kW − 4.8 kW − 20 W. */
	ck_assert_double_eq_tol(load->value, 4.8, 0.05);
	ck_assert_double_eq_tol(
		load->value, loss->value * (base->value + 9) / 1000, 1e-9);
	ck_assert_double_eq_tol(value(a, "base_load_kwh_per_day")->value, 0.48, 0.01);
	ck_assert_double_eq(value(a, "capacity_kw")->value, 6);
	ck_assert_double_eq_tol(margin->value,
		6 - load->value - value(a, "base_load_kwh_per_day")->value / 24, 1e-9);
	ck_assert(load->low < 4.8 && 4.8 < load->high);
	/* A day has what warmer ones take as well, and scatters itself. */
	const struct insight_value *day = value(a, "design_day_kw");
	ck_assert_double_eq_tol(day->value, 6 - margin->value, 1e-9);
	ck_assert_double_gt(day->high - day->low, 2 * (load->high - load->low));
	ck_assert(margin->low < 1.18 && 1.18 < margin->high);
	asked_free(a);
}
END

/* Slope and end hang on each other: their own intervals, added up, would be far wider. */
TEST(the_load_is_surer_than_its_parts)
{
	struct asked *a = asked_new(DESIGN);
	house_fill(a->house, 60);
	tell(a);
	const struct insight_value *loss = value(a, "heat_loss_w_per_k");
	const struct insight_value *base = value(a, "base_temperature_c");
	const struct insight_value *load = value(a, "design_load_kw");
	double apart = (loss->high - loss->low) * (base->value + 9) / 1000 +
		       loss->value * (base->high - base->low) / 1000;
	ck_assert_double_lt(load->high - load->low, apart / 2);
	asked_free(a);
}
END

TEST(days_that_are_all_heated_give_no_base)
{
	struct asked *a = asked_new(DESIGN);
	for (size_t i = 0; i < 60; i++)
		house_put(a->house, house_outdoor_c(i) - 12,
			200 * (27 - house_outdoor_c(i)) + house_scatter_w(i));
	tell(a);
	ck_assert(!a->s.fit.ends);
	ck_assert_double_eq_tol(value(a, "heat_loss_w_per_k")->value, 200, 3);
	ck_assert_double_eq_tol(value(a, "base_temperature_c")->value, 15, 0.5);
	ck_assert_ptr_null(insight_find(&a->s.answer, "base_load_kwh_per_day"));
	ck_assert_double_eq_tol(value(a, "design_load_kw")->value, 4.8, 0.05);
	lacks(a, "days warm enough to do without heating, 3 at least");
	asked_free(a);
}
END

/* A day of 25 hours holds more heat at the same power. */
TEST(days_count_by_their_power)
{
	struct asked *a = asked_new(BARE);
	house_fill(a->house, 40); /* 26 October 2025 has 25 hours */
	ck_assert_int_eq(
		a->house->day[25].end_ms - a->house->day[25].start_ms, 25 * MS_PER_HOUR);
	tell(a);
	double below_k = fmax(0.0, 15.0 - house_outdoor_c(25));
	double w = 20 + 200 * below_k + (below_k > 0 ? house_scatter_w(25) : 0);
	ck_assert_double_eq_tol(a->s.points[25].space_w, w, 1e-3);
	asked_free(a);
}
END

/* Of what is known of a day, the rest is taken to be like it. */
TEST(gaps_within_a_twentieth_scale_the_day)
{
	struct asked *a = asked_new(BARE);
	house_fill(a->house, 40);
	double whole_w = 0;
	tell(a);
	whole_w = a->s.points[3].space_w;
	struct insight_day *day = &a->house->day[3];
	for (int m = 0; m < MODE_COUNT; m++) {
		day->modes[m].heat_j = day->modes[m].heat_j * 96 / 100;
		day->modes[m].heat_ms = day->modes[m].heat_ms * 96 / 100;
	}
	day->whole.heat_ms = day->whole.heat_ms * 96 / 100;
	signature_release(&a->s);
	tell(a);
	ck_assert_uint_eq(a->s.count, 40);
	ck_assert_double_eq_tol(a->s.points[3].space_w, whole_w, 0.01);
	asked_free(a);
}
END

TEST(other_heat_of_the_day_is_beside_it)
{
	struct asked *a = asked_new(BARE);
	house_fill(a->house, 40);
	a->house->day[5].modes[MODE_COOLING].heat_j = -7200000;
	a->house->day[6].modes[MODE_UNASSIGNED].heat_j = 3600000;
	tell(a);
	ck_assert_uint_eq(a->s.count, 40);
	ck_assert_uint_eq(a->s.cooling_days, 1);
	ck_assert_int_eq(a->s.unassigned_j, 3600000);
	ck_assert_int_eq(a->s.hot_water_j, 40 * HOUSE_HOT_J);
	ck_assert(a->s.heat_uncertain > 0.05 && a->s.heat_uncertain < 0.2);
	asked_free(a);
}
END

/* ---- which days count ---- */

TEST(each_day_that_does_not_count_has_its_reason)
{
	struct asked *a = asked_new(BARE);
	house_fill(a->house, 46);
	struct insight_day *day = a->house->day;
	day[0].whole.heat_ms = day[0].whole.heat_ms * 94 / 100;
	day[1].whole.heat_ms = 0;
	day[2].modes[MODE_UNASSIGNED].heat_ms = 80 * MS_PER_MIN;
	day[3].outdoor_ms = day[3].outdoor_ms * 94 / 100;
	day[4].whole.heat_spread_j = day[4].whole.heat_j / 9;
	day[45].end_ms -= MS_PER_HOUR;
	a->house->days.to_ms = day[45].end_ms;
	tell(a);
	ck_assert_uint_eq(a->s.days, 46);
	ck_assert_uint_eq(a->s.count, 40);
	ck_assert_uint_eq(a->s.left[LEFT_HEAT], 2);
	ck_assert_uint_eq(a->s.left[LEFT_MODE], 1);
	ck_assert_uint_eq(a->s.left[LEFT_OUTDOOR], 1);
	ck_assert_uint_eq(a->s.left[LEFT_SPREAD], 1);
	ck_assert_uint_eq(a->s.left[LEFT_OPEN], 1);
	ck_assert_int_eq(a->s.points[0].number, 5);
	asked_free(a);
}
END

/* ---- what is refused ---- */

TEST(thirteen_days_are_too_few)
{
	struct asked *a = asked_new(DESIGN);
	house_fill(a->house, 15);
	a->house->day[4].outdoor_ms = 0;
	a->house->day[5].whole.heat_ms = 0;
	refused(a, "1 more day: 14 whole ones are needed, 13 of the span's 15 count, 1 "
		   "whose heat is not known for 95 %, 1 whose outdoor temperature");
	asked_free(a);
	a = asked_new(DESIGN);
	house_fill(a->house, 14);
	tell(a);
	(void)value(a, "heat_loss_w_per_k");
	asked_free(a);
}
END

TEST(days_of_one_weather_are_no_evidence)
{
	struct asked *a = asked_new(DESIGN);
	for (size_t i = 0; i < 60; i++)
		house_put(a->house, 2 + 7.9 * (double)(i % 11) / 10,
			200 * (13 - 0.79 * (double)(i % 11)));
	refused(a, "lie between 2.0 and 9.9 °C, 7.9 K");
	asked_free(a);
}
END

TEST(what_is_not_measured_is_named)
{
	struct asked *a = asked_new(PLANT "heat_source = power\n");
	house_fill(a->house, 30);
	for (size_t i = 0; i < 30; i++)
		a->house->day[i].outdoor_ms = 0;
	refused(a, "a channel with the role outdoor_temperature");
	asked_free(a);
	a = asked_new(DESIGN);
	house_fill(a->house, 30);
	for (size_t i = 0; i < 30; i++)
		a->house->day[i].whole.heat_ms = 0;
	refused(a, "heat delivered, which is known of no day");
	asked_free(a);
	a = asked_new(DESIGN);
	refused(a, "14 more days: 14 whole ones are needed, 0 of the span's 0 count");
	asked_free(a);
}
END

TEST(a_summer_is_no_evidence)
{
	struct asked *a = asked_new(DESIGN);
	for (size_t i = 0; i < 60; i++)
		house_put(a->house, 25 + house_outdoor_c(i) / 2, 10 + (double)(i % 5));
	tell(a);
	ck_assert_uint_eq(a->s.answer.count, 0);
	ck_assert_uint_eq(a->s.answer.missing_count, 1);
	asked_free(a);
}
END

TEST(heat_that_does_not_follow_the_cold_is_refused)
{
	struct asked *a = asked_new(DESIGN);
	for (size_t i = 0; i < 60; i++)
		house_put(a->house, house_outdoor_c(i), 2000 + 30 * house_outdoor_c(i));
	refused(a,
		"space heat that follows the cold: over these 60 days it does not rise");
	ck_assert_uint_eq(a->s.answer.missing_count, 1);
	asked_free(a);
	a = asked_new(DESIGN);
	for (size_t i = 0; i < 60; i++)
		house_put(a->house, 20 + (double)i / 6,
			i < 4 ? 2000 - 400.0 * (double)i : 30);
	refused(a, "days on which the rooms were heated: 7 are needed, of the 60 days");
	asked_free(a);
}
END

/* Where the line meets nothing only beyond any room it is no base temperature. */
TEST(a_line_that_is_nearly_flat_has_no_base_temperature)
{
	struct asked *a = asked_new(DESIGN);
	for (size_t i = 0; i < 60; i++)
		house_put(a->house, house_outdoor_c(i),
			2000 - 20 * house_outdoor_c(i) + house_scatter_w(i));
	tell(a);
	(void)value(a, "heat_loss_w_per_k");
	ck_assert_ptr_null(insight_find(&a->s.answer, "base_temperature_c"));
	ck_assert_double_eq_tol(value(a, "design_load_kw")->value, 2.18, 0.1);
	lacks(a, "the base temperature is not determined");
	asked_free(a);
}
END

TEST(loads_want_a_design_temperature_below_the_base)
{
	struct asked *a = asked_new(BARE);
	house_fill(a->house, 60);
	tell(a);
	(void)value(a, "heat_loss_w_per_k");
	ck_assert_ptr_null(insight_find(&a->s.answer, "design_load_kw"));
	lacks(a, "design_temperature in [plant], for the design load");
	asked_free(a);
	a = asked_new(PLANT "heat_source = power\ndesign_temperature = 20 °C\n" REST);
	house_fill(a->house, 60);
	tell(a);
	ck_assert_ptr_null(insight_find(&a->s.answer, "design_load_kw"));
	lacks(a, "a design_temperature in [plant] below the base temperature");
	asked_free(a);
}
END

TEST(a_line_that_is_drawn_on_far_says_so)
{
	struct asked *a = asked_new(
		PLANT "heat_source = power\ndesign_temperature = -20 °C\n" REST);
	house_fill(a->house, 60);
	tell(a);
	(void)value(a, "design_load_kw");
	ck_assert_ptr_null(insight_find(&a->s.answer, "margin_kw"));
	lacks(a, "colder days: the coldest that counts has");
	lacks(a, "design_capacity in [plant], for the margin: no day within 5 K");
	asked_free(a);
}
END

/* ---- out of a store ---- */

#define STORED_DAYS 16

	/* Heating in the first half of each hour, at 6 kW in the cold of the second day
	 * from 3 to 10, hot water at 9 kW for an hour a day; a kelvin a day warmer. */
	static double
	minute_w(int64_t day, int64_t minute)
{
	if (day == 1 && minute >= 180 && minute < 600)
		return 6000;
	if (day == 8 && minute >= 180 && minute < 600)
		return 8000;
	if (minute >= 840 && minute < 900)
		return 9000;
	return minute % 60 < 30 ? 400.0 * (double)(14 - day) : 0.0;
}

static void put_store(struct stored *s)
{
	int64_t from = house_day_ms(0) / MS_PER_MIN;
	int64_t to = from + STORED_DAYS * MIN_PER_DAY;
	ck_assert_int_eq(store_begin(s->store), 0);
	for (int64_t m = from; m < to; m++) {
		int64_t day = (m - from) / MIN_PER_DAY, minute = (m - from) % MIN_PER_DAY;
		double w = fmax(0, minute_w(day, minute));
		struct made made;
		made_at(&made, m);
		made_channel(&made, 1, (double)day - 6, MS_PER_MIN);
		made_heat(&made,
			minute >= 840 && minute < 900 ? MODE_HOT_WATER
			: w > 0                       ? MODE_HEATING
						      : MODE_STANDBY,
			w * 60);
		ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
	}
	ck_assert_int_eq(store_rollup(s->store, from, to, to), 0);
	ck_assert_int_eq(
		store_set_fact(s->store, FACT_DERIVED_UNTIL_MS, to * MS_PER_MIN), 0);
	ck_assert_int_eq(store_commit(s->store), 0);
}

TEST(a_store_is_asked_for_days_and_for_the_most_that_was_seen)
{
	struct stored *s = stored_new(
		PLANT "heat_source = power\ndesign_temperature = -9 °C\n" REST);
	struct signature signature;
	put_store(s);
	ck_assert_int_eq(signature_ask(s->store, house_day_ms(0),
				 house_day_ms(STORED_DAYS), &signature),
		0);
	const struct signature_capacity *c = &signature.capacity;
	ck_assert_uint_eq(signature.count, STORED_DAYS);
	ck_assert_double_eq_tol(signature.points[2].outdoor_c, -4, 1e-9);
	ck_assert(!c->declared);
	ck_assert_double_eq_tol(c->w, 6000, 1e-6);
	ck_assert_int_eq(c->from_ms, house_day_ms(1) + 3 * MS_PER_HOUR);
	ck_assert_int_eq(c->to_ms, house_day_ms(1) + 9 * MS_PER_HOUR);
	ck_assert_double_eq_tol(c->outdoor_c, -5, 1e-9);
	ck_assert_ptr_nonnull(insight_find(&signature.answer, "margin_kw"));
	signature_release(&signature);
	stored_free(s);
}
END

TEST(without_rows_it_is_refused)
{
	struct stored *s = stored_new(DESIGN);
	struct signature signature;
	ck_assert_int_eq(
		signature_ask(s->store, house_day_ms(0), house_day_ms(20), &signature),
		0);
	ck_assert_uint_eq(signature.answer.count, 0);
	ck_assert_uint_eq(signature.answer.missing_count, 1);
	signature_release(&signature);
	stored_free(s);
}
END

TESTS(a_house_is_told_with_its_loads, the_load_is_surer_than_its_parts,
	days_that_are_all_heated_give_no_base, days_count_by_their_power,
	gaps_within_a_twentieth_scale_the_day, other_heat_of_the_day_is_beside_it,
	each_day_that_does_not_count_has_its_reason, thirteen_days_are_too_few,
	days_of_one_weather_are_no_evidence, what_is_not_measured_is_named,
	a_summer_is_no_evidence, heat_that_does_not_follow_the_cold_is_refused,
	a_line_that_is_nearly_flat_has_no_base_temperature, loads_want_a_design_temperature_below_the_base,
	a_line_that_is_drawn_on_far_says_so,
	a_store_is_asked_for_days_and_for_the_most_that_was_seen,
	without_rows_it_is_refused)
