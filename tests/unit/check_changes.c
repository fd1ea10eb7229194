/*
 * Noted changes and the days around them: which days are on which side, what leaves a day
 * out, and what a plant lacks. What is made of the days is held in check_comparison.c.
 *
 * References: days by hand; 29 March 2026 has 23 hours in Berlin (tzdata).
 */
#include "configured.h"
#include "house_days.h"

#include <heatbook/changes.h>

#define PLANT                                                                            \
	"[plant]\nzone = Europe/Berlin\n"                                                \
	"[channel flow_temperature]\ntopic = a\n"                                        \
	"[channel return_temperature]\ntopic = b\n[channel flow_rate]\ntopic = c\n"      \
	"[channel room_temperature]\ntopic = r\n"                                        \
	"[channel w]\ntopic = w\nunit = W\n[channel e]\ntopic = e\nunit = kWh\n"
#define OUTDOOR "[channel outdoor_temperature]\ntopic = d\n"
#define METER   "[meter unit]\nfeeds = compressor, circulation\npower = w\n"
#define CURVE   "[change curve]\nat = 2026-01-15\nwhat = heating curve lowered\n"

/* Heat takes a third of it, from `at` on less than that. */
static void pair_parts(struct insight_day *day, double per_heat)
{
	struct insight_part *parts[] = {&day->modes[MODE_HEATING],
		&day->modes[MODE_DEFROST], &day->modes[MODE_HOT_WATER], &day->whole};
	for (size_t i = 0; i < ARRAY_LEN(parts); i++) {
		struct insight_part *part = parts[i];
		part->paired_ms = part->ms;
		part->paired_heat_j = part->heat_j;
		part->paired_electricity_j = llround(per_heat * (double)part->heat_j);
	}
	day->meter_j[0] = day->whole.paired_electricity_j;
	day->meter_ms[0] = day->whole.ms;
}

struct case_of {
	struct config *config;
	struct house *house;
	struct changes changes;
};

static struct case_of made(const char *text, size_t days, size_t better_from)
{
	struct case_of c = {.config = configured(text)};
	char why[256];
	c.house = house_new(c.config);
	(void)boundary_find(c.config, NULL, &c.house->days.boundary, why); /* or none */
	for (size_t i = 0; i < days; i++) {
		double outdoor_c = 0.5 * house_outdoor_c(i);
		house_put(c.house, outdoor_c,
			200.0 * (17.0 - outdoor_c) + house_scatter_w(i));
		struct insight_day *day = &c.house->day[i];
		double per = 0.36 - 0.005 * outdoor_c + 1e-5 * house_scatter_w(i);
		pair_parts(day, i < better_from ? per : 0.9 * per);
		day->room_c = 21.0 + 0.001 * house_scatter_w(i);
		day->room_ms = day->end_ms - day->start_ms;
	}
	return c;
}

static const struct change_judged *judged(struct case_of *c, size_t now_day)
{
	changes_judge(&c->house->days, CHANGES_ALL, house_day_ms(now_day), &c->changes);
	ck_assert_uint_ge(c->changes.count, 1);
	return &c->changes.items[0];
}

static void done(struct case_of *c)
{
	changes_release(&c->changes);
	free(c->house);
	config_free(c->config);
}

static void lacks(const struct change_judged *j, const char *words)
{
	for (size_t i = 0; i < j->answer.missing_count; i++)
		if (strstr(j->answer.missing[i], words))
			return;
	ck_abort_msg("'%s' is not said to be missing", words);
}

/* 15 January is day 106 since 1 October. */
TEST(days_lie_before_and_after_and_a_better_machine_is_seen)
{
	struct case_of c = made(PLANT OUTDOOR METER CURVE, 200, 106);
	const struct change_judged *j = judged(&c, 200);
	const struct insight_value *v = insight_find(&j->answer, "by_efficiency_percent");
	ck_assert_str_eq(j->change->what, "heating curve lowered");
	/* The first day has none before it whose weather is known. */
	ck_assert_uint_eq(j->before.days, 105);
	ck_assert_uint_eq(j->after.days, 94);
	ck_assert_uint_eq(j->comparison.before.used, 105);
	ck_assert_int_eq(j->comparison.verdict, COMPARISON_LESS);
	ck_assert_int_eq(j->comparison.by_efficiency, COMPARISON_LESS);
	ck_assert_int_eq(j->comparison.by_heat, COMPARISON_NONE);
	ck_assert_ptr_nonnull(v);
	ck_assert_ptr_nonnull(insight_find(&j->answer, "room_shift_k"));
	ck_assert(v->low < 10.0 && 10.0 < v->high);
	ck_assert_double_lt(v->high - v->low, 4.0);
	ck_assert_int_eq(j->to_ms, house_day_ms(200));
	ck_assert_uint_eq(j->answer.missing_count, 0);
	/* Days of 23 hours are days: each has its start again. */
	for (size_t i = 0; i < j->comparison.point_count; i++) {
		int64_t start = change_day_start(j->comparison.points[i].day);
		ck_assert_int_eq(start % 3600000, 0);
		ck_assert_int_eq(calendar_day_start(calendar_date(start)), start);
	}
	done(&c);
}
END

TEST(windows_end_at_the_neighbouring_changes)
{
	struct case_of c = made(PLANT OUTDOOR METER CURVE
		"[change pump]\nat = 2026-02-10T12:00:00+01:00\n"
		"[change valve]\nat = 2025-11-20\n",
		200, 1000);
	(void)judged(&c, 200);
	ck_assert_uint_eq(c.changes.count, 3);
	const struct change_judged *items = c.changes.items;
	ck_assert_str_eq(items[1].change->name, "curve");
	ck_assert_uint_eq(items[0].before.days, 49);
	ck_assert_uint_eq(items[0].after.days, 56);
	ck_assert_uint_eq(items[1].before.days, 56);
	/* The day amid which the next one lies is neither. */
	ck_assert_uint_eq(items[1].after.days, 26);
	ck_assert_uint_eq(items[2].before.days, 26);
	ck_assert_uint_eq(items[2].after.days, 200 - 133);
	for (size_t i = 0; i < 3; i++)
		ck_assert_int_eq(items[i].comparison.verdict, COMPARISON_NONE);
	done(&c);
}
END

TEST(days_that_are_hardly_known_are_left_out_and_counted)
{
	struct case_of c = made(PLANT OUTDOOR METER CURVE, 130, 1000);
	c.house->day[50].whole.paired_ms = 90 * MS_PER_DAY / 100;
	c.house->day[60].outdoor_ms = 90 * MS_PER_DAY / 100; /* and the day after it */
	c.house->day[110].whole.paired_ms = 96 * MS_PER_DAY / 100;
	for (size_t i = 114; i < 120; i++)
		c.house->day[i].whole.paired_ms = 0;
	const struct change_judged *j = judged(&c, 130);
	ck_assert_uint_eq(j->before.little, 1);
	ck_assert_uint_eq(j->before.no_weather, 2);
	ck_assert_uint_eq(j->comparison.before.used, 102);
	ck_assert_uint_eq(j->after.little, 6);
	ck_assert_uint_eq(j->comparison.after.used, 18);
	ck_assert_int_eq(j->comparison.verdict, COMPARISON_NONE);
	changes_release(&c.changes);
	for (size_t i = 120; i < 127; i++)
		c.house->day[i].whole.paired_ms = 0;
	j = judged(&c, 130);
	ck_assert_int_eq(j->comparison.verdict, COMPARISON_NOT_KNOWN);
	ck_assert_uint_eq(j->answer.count, 0);
	lacks(j, "days after the change that can be compared: 11, it takes 14");
	lacks(j, "of 24 days after it 13 are known for less than 95 % of their heat");
	done(&c);
}
END

TEST(a_change_that_lies_ahead_waits)
{
	struct case_of c = made(PLANT OUTDOOR METER CURVE, 100, 1000);
	const struct change_judged *j = judged(&c, 100);
	lacks(j, "time: the change lies ahead");
	ck_assert_uint_eq(j->answer.count, 0);
	ck_assert_uint_eq(j->before.days, 99);
	ck_assert_uint_eq(j->after.days, 0);
	ck_assert_int_ge(j->to_ms, j->from_ms);
	done(&c);
}
END

TEST(what_a_plant_has_not_is_named)
{
	static const struct {
		const char *text, *missing, *answered;
	} cases[] = {
		{PLANT METER CURVE, "[channel outdoor_temperature]", NULL},
		{PLANT OUTDOOR CURVE, "[meter] of the unit", "heat_saving_kwh"},
		{PLANT OUTDOOR "[meter unit]\nfeeds = compressor, circulation\n"
			       "register = e\n" CURVE,
			"power of each [meter]", "saving_in_all_kwh"},
		{"[plant]\nzone = Europe/Berlin\nheat_source = register\n"
		 "[channel heat_register]\ntopic = h\n"
		 "[channel w]\ntopic = w\nunit = W\n" OUTDOOR METER CURVE,
			"heat by the minute", "saving_in_all_kwh"},
		{"[plant]\nzone = Europe/Berlin\nheat_source = register\n"
		 "[channel heat_register]\ntopic = h\n"
		 "[channel w]\ntopic = w\nunit = W\n" OUTDOOR METER CURVE,
			"[channel room_temperature]: whether heat was saved", NULL},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct case_of c = made(cases[i].text, 200, 1000);
		const struct change_judged *j = judged(&c, 200);
		lacks(j, cases[i].missing);
		ck_assert_ptr_null(insight_find(&j->answer, "saving_kwh"));
		if (cases[i].answered)
			ck_assert_ptr_nonnull(
				insight_find(&j->answer, cases[i].answered));
		ck_assert(i > 0 || j->answer.count == 0);
		done(&c);
	}
}
END

TESTS(days_lie_before_and_after_and_a_better_machine_is_seen,
	windows_end_at_the_neighbouring_changes,
	days_that_are_hardly_known_are_left_out_and_counted,
	a_change_that_lies_ahead_waits, what_a_plant_has_not_is_named)
