/*
 * What a lower flow temperature would save, of days by hand whose laws are known: the
 * laws are found again, the saving is that of the same laws worked out here by other
 * means, days that fall short are those whose emitters are too small, and what is missing
 * is named.
 *
 * Outside: the published fits' coefficients (held to their authors' by
 * check_cop_curve.c), Carnot's quotient T/(T − T₀).
 */
#include "emitting_days.h"

#include <heatbook/flow_temperature.h>

#include <string.h>

static struct flow_temperature judged(struct emitting *e, double by_k)
{
	struct flow_temperature result;
	flow_temperature_of(&e->days, &by_k, by_k > 0.0, &result);
	return result;
}

static bool lacks(const struct flow_temperature *result, const char *words)
{
	for (size_t i = 0; i < result->answer.missing_count; i++)
		if (strstr(result->answer.missing[i], words))
			return true;
	return false;
}

static void within(const struct flow_value *v, double truth)
{
	ck_assert_msg(v->low <= truth && truth <= v->high && v->low <= v->value &&
			      v->value <= v->high,
		"%g is not in %g … %g", truth, v->low, v->high);
}

TEST(laws_are_found_again)
{
	struct emitting *e = emitting_new(emitting_house, 0);
	emitting_fill(e, &emitting_usual, 40);
	struct flow_temperature r = judged(e, 0.0);
	ck_assert_uint_eq(r.days, 40);
	ck_assert_double_eq_tol(r.share_by_flow.value, 0.008, 1e-6);
	ck_assert_double_eq_tol(r.share_by_source.value, -0.015, 1e-6);
	ck_assert_double_eq_tol(r.emitters_w.value, 166.0, 1e-6);
	ck_assert_double_eq_tol(r.storage_kwh_per_k, 0.320, 1e-8);
	double p = log(r.heat_kwh * 60.0 / (40.0 * EMITTING_MINUTES));
	ck_assert_double_eq_tol(r.share_by_output.value, 0.15 - 0.1 * p, 1e-5);
	ck_assert(!r.room_assumed && !r.exponent_said);
	flow_temperature_release(&r);
	emitting_free(e);
}
END

	/* The output at which emitters, spread and heat agree, by going round until it
	   stays. */
	static double
	agreed_w(double heat_w, double flow_c, double by_k)
{
	double w = heat_w, excess = flow_c - EMITTING_SPREAD_K / 2.0 - 21.0;
	for (int i = 0; i < 200; i++) {
		double spread = EMITTING_SPREAD_K * w / heat_w;
		double now = flow_c - by_k - spread / 2.0 - 21.0;
		w = 0.5 * w + 0.5 * heat_w * pow(now / excess, 1.2);
	}
	return w;
}

static double truly_saved_kwh(const struct emitting *e, double by_k)
{
	double saved_j = 0.0;
	for (size_t i = 0; i < e->days.count; i++) {
		const double *v = e->day[i].evidence.items[0].values;
		double heat_w = v[0] / 60.0 / EMITTING_MINUTES, flow = v[2], out = v[4];
		double now_w = agreed_w(heat_w, flow, by_k);
		double share =
			emitting_share(&emitting_usual, flow - by_k, out, now_w / 1000.0);
		double quotient = share * (flow - by_k + 273.15) / (flow - by_k - out);
		saved_j += v[1] - v[0] / quotient;
	}
	return saved_j / J_PER_KWH;
}

TEST(the_saving_is_that_of_the_laws)
{
	static const double ways[] = {0.5, 1.0, 2.0, 3.5};
	struct emitting *e = emitting_new(emitting_house, 0);
	emitting_fill(e, &emitting_usual, 40);
	for (size_t i = 0; i < ARRAY_LEN(ways); i++) {
		struct flow_temperature r = judged(e, ways[i]);
		const struct insight_value *v = insight_find(&r.answer, "saving");
		double truth = truly_saved_kwh(e, ways[i]);
		ck_assert_uint_eq(r.count, 1);
		ck_assert_ptr_nonnull(v);
		ck_assert_double_eq_tol(
			v ? v->value : 0.0, truth, 1e-3 * fabs(truth) + 1e-3);
		within(&r.lowerings[0].saving_kwh, truth);
		ck_assert_double_eq_tol(r.lowerings[0].saving_percent.value,
			100.0 * truth / r.electricity_kwh, 1e-3);
		ck_assert_double_gt(
			r.lowerings[0].carnot_percent, r.lowerings[0].fit_2019_percent);
		flow_temperature_release(&r);
	}
	emitting_free(e);
}
END

/* Fits and Carnot by the day, with the coefficients that the table has. */
TEST(published_fits_and_an_unchanged_share_stand_beside_it)
{
	struct emitting *e = emitting_new(emitting_house, 0);
	double unit = 0.0, by_2019 = 0.0, by_2012 = 0.0, carnot = 0.0, k = 2.0;
	emitting_fill(e, &emitting_usual, 20);
	for (size_t i = 0; i < e->days.count; i++) {
		const double *v = e->day[i].evidence.items[0].values;
		double d = v[2] - v[4], c = d - k;
		double t = v[2] + 273.15;
		unit += v[1];
		by_2019 += v[1] * (6.0801 - 0.0941 * d + 0.0005 * d * d) /
			   (6.0801 - 0.0941 * c + 0.0005 * c * c);
		by_2012 += v[1] * (6.81 - 0.121 * d + 0.00063 * d * d) /
			   (6.81 - 0.121 * c + 0.00063 * c * c);
		carnot += v[1] * (t / d) / ((t - k) / c);
	}
	struct flow_temperature r = judged(e, k);
	const struct lowering *l = &r.lowerings[0];
	ck_assert_double_eq_tol(
		l->fit_2019_percent, 100.0 * (1.0 - by_2019 / unit), 1e-9);
	ck_assert_double_eq_tol(
		l->fit_2012_percent, 100.0 * (1.0 - by_2012 / unit), 1e-9);
	ck_assert_double_eq_tol(l->carnot_percent, 100.0 * (1.0 - carnot / unit), 1e-9);
	flow_temperature_release(&r);
	emitting_free(e);
}
END

/* A lift that is at its least gains nothing: of 12 °C outside and a flow of 26 °C. */
TEST(below_a_lift_of_15_kelvins_nothing_is_expected)
{
	static const struct emitting_law flat = {.k_w = 166.0,
		.exponent = 1.2,
		.storage_w_h_per_k = 320.0,
		.room_c = 18.0};
	struct emitting *e = emitting_new(emitting_house, 0);
	for (int i = 0; i < 30; i++)
		emitting_put(
			e, &flat, 12.0 + 0.1 * sin(i), 26.0, 0.5 * sin(1.3 * i), 0.5);
	struct flow_temperature r = judged(e, 1.0);
	ck_assert_double_eq_tol(r.lowerings[0].fit_2019_percent, 0.0, 1e-9);
	ck_assert_double_le(fabs(r.lowerings[0].carnot_percent), 0.4);
	flow_temperature_release(&r);
	emitting_free(e);
}
END

	/* Need is `share` of what emitters give at the flow that was; at k less they give
	 * (x'/x)^1.2 of it, with the spread that belongs to the need. */
	static size_t
	truly_short(const struct emitting *e, double by_k)
{
	size_t count = 0;
	for (size_t i = 0; i < e->days.count; i++) {
		const struct insight_day *day = &e->day[i];
		const double *v = day->evidence.items[0].values;
		double day_s = (double)(day->end_ms - day->start_ms) / 1000.0;
		double need_w = (double)day->modes[MODE_HEATING].heat_j / day_s;
		double run_w = v[0] / 60.0 / EMITTING_MINUTES;
		double spread = EMITTING_SPREAD_K * need_w / run_w;
		double excess = v[2] - by_k - spread / 2.0 - 21.0;
		count += !(excess > 0.0 && 166.0 * pow(excess, 1.2) >= need_w);
	}
	return count;
}

TEST(days_that_emitters_cannot_serve_fall_short)
{
	struct emitting *e = emitting_new(emitting_house, 0);
	size_t seen = 0;
	emitting_fill(e, &emitting_usual, 60);
	struct flow_temperature r = judged(e, 0.0);
	ck_assert_uint_eq(r.count, LOWERINGS_MOST);
	for (size_t i = 0; i < r.count; i++) {
		const struct lowering *l = &r.lowerings[i];
		size_t truth = truly_short(e, l->by_k);
		ck_assert_double_eq(l->days_short.value, (double)truth);
		within(&l->days_short, (double)truth);
		ck_assert_int_eq(truth == 0, l->by_k <= r.largest_lowering_k.value);
		seen += truth > 0 && truth < 60;
		if (truth > 0 && truth < 60) /* it is the cold ones that fall short */
			ck_assert_double_le(l->warmest_short_c, l->coldest_served_c);
	}
	ck_assert_uint_ge(seen, 2);
	ck_assert_double_le(r.largest_lowering_k.low, r.largest_lowering_k.value);
	const struct insight_value *of = insight_find(&r.answer, "lowering");
	ck_assert_double_eq(
		of ? of->value : 0.0, fmax(1.0, floor(r.largest_lowering_k.value)));
	flow_temperature_release(&r);
	emitting_free(e);
}
END

TEST(a_day_that_emitters_should_not_have_served_was_served_and_ends_every_lowering)
{
	struct emitting *e = emitting_new(emitting_house, 0);
	emitting_fill(e, &emitting_usual, 40);
	emitting_put(e, &emitting_usual, -9.0, 44.0, 1.0, 1.2);
	struct flow_temperature r = judged(e, 0.5);
	ck_assert_double_eq(r.lowerings[0].days_short.value, 1.0);
	ck_assert_double_eq(r.largest_lowering_k.value, 0.0);
	ck_assert_double_eq(r.lowerings[0].warmest_short_c, -9.0);
	flow_temperature_release(&r);
	emitting_free(e);
}
END

/* With an exponent that is said the interval is narrower than without. */
TEST(an_exponent_that_is_said_is_taken)
{
	static const char said[] = "[plant]\nemitter_exponent = 1.3\n";
	struct emitting *a = emitting_new(emitting_house, 0);
	emitting_fill(a, &emitting_usual, 40);
	struct flow_temperature without = judged(a, 3.0);
	a->config->plant.emitter_exponent = 1.2;
	struct flow_temperature with = judged(a, 3.0);
	ck_assert(with.exponent_said && !without.exponent_said);
	ck_assert_double_le(
		with.lowerings[0].days_short.high, without.lowerings[0].days_short.high);
	struct config *config = configured(said);
	ck_assert_double_eq(config->plant.emitter_exponent, 1.3);
	config_free(config);
	flow_temperature_release(&with);
	flow_temperature_release(&without);
	emitting_free(a);
}
END

TEST(without_a_room_20_degrees_are_assumed_and_said)
{
	struct emitting *e = emitting_new(emitting_house, 0);
	emitting_fill(e, &emitting_usual, 30);
	for (size_t i = 0; i < e->days.count; i++) {
		e->day[i].evidence.items[0].values[5] = (double)NAN;
		e->day[i].evidence.items[1].values[2] = (double)NAN;
	}
	struct flow_temperature r = judged(e, 1.0);
	ck_assert(r.room_assumed);
	ck_assert_double_eq(r.room_c, 20.0);
	ck_assert_double_lt(r.emitters_w.value, 166.0);
	flow_temperature_release(&r);
	emitting_free(e);
}
END

	/* ---- refusals ---- */

	static void
	expect_lack(const char *text, size_t days, const char *words)
{
	struct emitting *e = emitting_new(text, 0);
	emitting_fill(e, &emitting_usual, days);
	struct flow_temperature r = judged(e, 1.0);
	ck_assert_msg(lacks(&r, words), "'%s' is not missing", words);
	ck_assert_uint_eq(r.count, 0);
	ck_assert_uint_eq(r.answer.count, 0);
	flow_temperature_release(&r);
	emitting_free(e);
}

TEST(what_is_missing_is_named)
{
	expect_lack("[plant]\nsource_kind = air\n[channel outdoor_temperature]\n"
		    "topic = a/1\n",
		30, "flow_temperature");
	expect_lack("[channel flow_temperature]\ntopic = a/1\n", 30, "source_kind");
	expect_lack("[plant]\nsource_kind = air\n[channel flow_temperature]\n"
		    "topic = a/1\n",
		30, "outdoor_temperature");
	expect_lack("[plant]\nsource_kind = ground\n[channel flow_temperature]\n"
		    "topic = a/1\n[channel outdoor_temperature]\ntopic = a/2\n",
		30, "source_entering_temperature");
	expect_lack(emitting_house, 13, "13, and it takes 14");
	expect_lack(emitting_house, 0, "0, and it takes 14");
}
END

TEST(minutes_that_do_not_vary_apart_tell_nothing)
{
	struct emitting *e = emitting_new(emitting_house, 0);
	emitting_fill(e, &emitting_usual, 30);
	for (size_t i = 0; i < e->days.count; i++) { /* output goes by the flow alone */
		struct evidence *rows = e->day[i].evidence.items + EMISSION_PRODUCTS;
		double ff = rows[0].values[0], fs = rows[0].values[1];
		double fy = rows[0].values[4];
		rows[0].values[2] = 0.1 * ff;  /* fp */
		rows[0].values[3] = 0.3 * ff;  /* fq */
		rows[1].values[0] = 0.1 * fs;  /* sp */
		rows[1].values[1] = 0.3 * fs;  /* sq */
		rows[1].values[3] = 0.01 * ff; /* pp */
		rows[1].values[4] = 0.03 * ff; /* pq */
		rows[1].values[5] = 0.1 * fy;  /* py */
		rows[2].values[0] = 0.09 * ff; /* qq */
		rows[2].values[1] = 0.3 * fy;  /* qy */
	}
	struct flow_temperature r = judged(e, 1.0);
	ck_assert(lacks(&r, "did not vary apart"));
	ck_assert_uint_eq(r.answer.count, 0);
	flow_temperature_release(&r);
	emitting_free(e);
}
END

TEST(without_settled_days_the_saving_is_told_and_the_emitters_are_missing)
{
	struct emitting *e = emitting_new(emitting_house, 0);
	emitting_fill(e, &emitting_usual, 30);
	for (size_t i = 0; i < e->days.count; i++)
		e->day[i].evidence.items[1].minutes = 59;
	struct flow_temperature r = judged(e, 1.0);
	ck_assert(lacks(&r, "what the emitters give off"));
	ck_assert_ptr_nonnull(insight_find(&r.answer, "saving"));
	ck_assert_ptr_null(insight_find(&r.answer, "days_short"));
	flow_temperature_release(&r);
	emitting_free(e);
}
END

TESTS(laws_are_found_again, the_saving_is_that_of_the_laws,
	published_fits_and_an_unchanged_share_stand_beside_it,
	below_a_lift_of_15_kelvins_nothing_is_expected,
	days_that_emitters_cannot_serve_fall_short,
	a_day_that_emitters_should_not_have_served_was_served_and_ends_every_lowering,
	an_exponent_that_is_said_is_taken,
	without_a_room_20_degrees_are_assumed_and_said, what_is_missing_is_named,
	minutes_that_do_not_vary_apart_tell_nothing,
	without_settled_days_the_saving_is_told_and_the_emitters_are_missing)
