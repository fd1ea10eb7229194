/*
 * What a day's minutes cost: windows by the clock on the wall, price topics with gaps,
 * own generation, carbon, what registers bridged; and when facts are made anew.
 *
 * References: by hand. Days of 23 and 25 hours: tzdata, Europe/Berlin (29 March and 25
 * October 2026).
 */
#include "configured.h"

#include <heatbook/calendar.h>
#include <heatbook/cost.h>

#include <math.h>

#define HEAD "[plant]\nzone = Europe/Berlin\n"
#define METERS                                                                           \
	"[channel w]\ntopic = x/w\nunit = W\n[channel i]\ntopic = x/i\nunit = W\n"       \
	"[meter unit]\nfeeds = compressor\npower = w\n"                                  \
	"[meter immersion]\nfeeds = immersion\npower = i\n"
#define PRICE     "[channel p]\ntopic = x/p\nunit = ct/kWh\n"
#define KWH_A_MIN 60000 /* 1 kW for a minute, J */
#define MINUTE    (1.0 / 60.0)

static struct cost_day day;

static int64_t midnight(int year, int month, int number)
{
	return calendar_day_start((struct date){year, month, number}) / MS_PER_MIN;
}

static void begin(const struct config *config, int year, int month, int number)
{
	cost_day_begin(&day, config, midnight(year, month, number),
		midnight(year, month, number + 1));
}

/* Minutes [from, to) of the day: so much of each meter in heating, all known. */
static void draw(int64_t from, int64_t to, int64_t unit_j, int64_t immersion_j)
{
	const struct energy_sum sum = {.observed_ms = MS_PER_MIN,
		.heat_j = 4 * unit_j,
		.heat_ms = MS_PER_MIN,
		.meter_j = {unit_j, immersion_j},
		.meter_ms = {MS_PER_MIN, MS_PER_MIN}};
	for (int64_t m = from; m < to; m++)
		cost_day_take(day.start_min + m, MODE_HEATING, 7, &sum, &day);
}

static struct cost_sum end_of(int meter)
{
	struct cost_facts facts;
	struct cost_sum sum = {0};
	cost_day_end(&day, &facts);
	for (size_t i = 0; i < facts.count; i++)
		if (facts.items[i].meter == meter)
			cost_sum_add(&sum, &facts.items[i].sum);
	cost_facts_release(&facts);
	return sum;
}

/* A kilowatt all day long: what that costs. */
static double whole_day(const char *text, int year, int month, int number)
{
	struct config *config = configured(text);
	begin(config, year, month, number);
	draw(0, day.end_min - day.start_min, KWH_A_MIN, 0);
	double cost = end_of(0).cost;
	config_free(config);
	return cost;
}

TEST(windows_are_of_the_wall_clock_on_every_day)
{
	static const char early[] =
		HEAD METERS "[tariff t]\nprice = 1\nwindow.early = 02:00-03:00 100\n";
	static const char night[] =
		HEAD METERS "[tariff t]\nprice = 1\nwindow.night = 22:00-06:00 0\n";
	/* 24 h; 23 h: there is no 02:30; 25 h: it is there twice. */
	ck_assert_double_eq_tol(whole_day(early, 2026, 3, 28), 23 + 100, 1e-9);
	ck_assert_double_eq_tol(whole_day(early, 2026, 3, 29), 23, 1e-9);
	ck_assert_double_eq_tol(whole_day(early, 2026, 10, 25), 23 + 200, 1e-9);
	ck_assert_double_eq_tol(whole_day(night, 2026, 3, 28), 16, 1e-9);
	ck_assert_double_eq_tol(whole_day(night, 2026, 3, 29), 16, 1e-9);
	ck_assert_double_eq_tol(whole_day(night, 2026, 10, 25), 16, 1e-9);
}
END

TEST(a_window_over_midnight_is_of_the_day_on_which_it_begins)
{
	static const char text[] =
		HEAD METERS "[tariff t]\nprice = 1\nwindow.n = Mo-Fr 22:00-06:00 0\n";
	/* 2026-01-05 is a Monday: the night before began on a Sunday. */
	ck_assert_double_eq_tol(whole_day(text, 2026, 1, 5), 22, 1e-9);
	ck_assert_double_eq_tol(whole_day(text, 2026, 1, 6), 16, 1e-9);
	ck_assert_double_eq_tol(whole_day(text, 2026, 1, 9), 16, 1e-9);
	ck_assert_double_eq_tol(whole_day(text, 2026, 1, 10), 18, 1e-9);
	ck_assert_double_eq_tol(whole_day(text, 2026, 1, 11), 24, 1e-9);
}
END

TEST(windows_begin_and_end_at_their_minute)
{
	struct config *config = configured(HEAD METERS
		"[tariff t]\nwindow.a = 00:00-13:07 1\nwindow.b = 13:07-24:00 10\n");
	begin(config, 2026, 1, 5);
	draw(13 * 60 + 6, 13 * 60 + 8, KWH_A_MIN, 0);
	ck_assert_double_eq_tol(end_of(0).cost, 11 * MINUTE, 1e-12);
	config_free(config);
}
END

TEST(zones_of_a_quarter_of_an_hour_have_their_own_windows)
{
	/* Asia/Kathmandu is 5 h 45 min ahead. */
	static const char text[] = "[plant]\nzone = Asia/Kathmandu\n" METERS
				   "[tariff t]\nprice = 1\nwindow.w = 02:20-02:50 11\n";
	ck_assert_double_eq_tol(whole_day(text, 2026, 1, 5), 24 + 5, 1e-9);
}
END

TEST(energy_times_price_is_summed_by_minute)
{
	/* Dear while much is drawn: a mean of prices times a mean of powers is far off.
	 */
	struct config *config =
		configured(HEAD METERS PRICE "[tariff t]\nprice_channel = p\n");
	begin(config, 2026, 1, 5);
	for (int i = 0; i < 1440; i++)
		day.values[COST_PRICE][i] = i % 2 ? 0.1 : 0.5;
	for (int i = 0; i < 1440; i++)
		draw(i, i + 1, i % 2 ? 6000 : 60000, 3000);
	struct cost_facts facts;
	cost_day_end(&day, &facts);
	double unit = 0, immersion = 0;
	for (size_t i = 0; i < facts.count; i++) {
		unit += facts.items[i].meter == 0 ? facts.items[i].sum.cost : 0;
		immersion += facts.items[i].meter == 1 ? facts.items[i].sum.cost : 0;
	}
	ck_assert_double_eq_tol(unit, 12 * 0.5 + 1.2 * 0.1, 1e-9);
	ck_assert_double_eq_tol(immersion, 0.6 * 0.5 + 0.6 * 0.1, 1e-9);
	cost_facts_release(&facts);
	config_free(config);
}
END

TEST(what_has_no_price_is_in_no_sum)
{
	struct config *config =
		configured(HEAD METERS PRICE "[tariff t]\nprice_channel = p\n");
	begin(config, 2026, 1, 5);
	for (int i = 0; i < 600; i++)
		day.values[COST_PRICE][i] = -0.05;
	draw(540, 660, KWH_A_MIN, 0);
	struct cost_sum sum = end_of(0);
	ck_assert_double_eq_tol(sum.priced_j, 60.0 * KWH_A_MIN, 1e-6);
	ck_assert_double_eq_tol(sum.cost, -0.05, 1e-12);
	config_free(config);
}
END

TEST(heat_is_summed_where_its_minutes_have_a_price)
{
	struct config *config =
		configured(HEAD METERS PRICE "[tariff t]\nprice_channel = p\n");
	begin(config, 2026, 1, 5);
	for (int i = 0; i < 600; i++)
		day.values[COST_PRICE][i] = 0.2;
	draw(540, 660, KWH_A_MIN, 0);
	ck_assert_double_eq_tol(end_of(COST_HEAT).priced_j, 240.0 * KWH_A_MIN, 1e-6);
	config_free(config);
}
END

#define SITE(more)                                                                       \
	HEAD METERS "[channel grid]\ntopic = x/g\nunit = W\n"                            \
		    "[channel fed]\ntopic = x/f\nunit = W\n"                             \
		    "[channel roof]\ntopic = x/r\nunit = W\n"                            \
		    "[site]\nimport = grid\n" more                                       \
		    "[tariff t]\nprice = 0.3\nfeed_in = 0.1\n"                           \
		    "[carbon c]\nintensity = 400\nown_intensity = 40\n"

	/* A minute in which the plant takes 1.5 kW and 0.5 kW. */
	static struct cost_sum
	own_minute(
		const char *text, double import_w, double export_w, double generation_w)
{
	struct config *config = configured(text);
	begin(config, 2026, 1, 5);
	day.values[COST_IMPORT][60] = import_w;
	if (day.values[COST_EXPORT])
		day.values[COST_EXPORT][60] = export_w;
	if (day.values[COST_GENERATION])
		day.values[COST_GENERATION][60] = generation_w;
	draw(60, 61, 90000, 30000);
	struct cost_sum sum = end_of(0);
	config_free(config);
	return sum;
}

TEST(own_generation_is_shared_in_proportion)
{
	static const char text[] = SITE("export = fed\ngeneration = roof\n");
	/* Bought 1 kW, used of the roof's 4 kW all but 1: three quarters are own. */
	struct cost_sum sum = own_minute(text, 1000, 1000, 4000);
	ck_assert_double_eq_tol(sum.priced_j, 90000, 1e-9);
	ck_assert_double_eq_tol(sum.own_j, 67500, 1e-6);
	ck_assert_double_eq_tol(sum.cost, 0.025 * (0.25 * 0.3 + 0.75 * 0.1), 1e-12);
	ck_assert_double_eq_tol(sum.own_cost, 0.025 * 0.75 * 0.1, 1e-12);
	ck_assert_double_eq_tol(sum.carbon_g, 0.025 * (0.25 * 400 + 0.75 * 40), 1e-9);
	/* Night; and a roof that feeds all that the house leaves. */
	ck_assert_double_eq_tol(own_minute(text, 2500, 0, 0).cost, 0.025 * 0.3, 1e-12);
	ck_assert_double_eq_tol(own_minute(text, 0, 500, 4000).cost, 0.025 * 0.1, 1e-12);
}
END

TEST(a_signed_import_tells_export_too)
{
	static const char text[] = SITE("generation = roof\n");
	struct cost_sum sum = own_minute(text, -1000, NAN, 4000);
	ck_assert_double_eq_tol(sum.own_j, 90000, 1e-6);
	ck_assert_double_eq_tol(own_minute(text, 1000, NAN, 1000).own_j, 45000, 1e-6);
}
END

TEST(without_generation_the_plant_counts_as_switched_on_last)
{
	static const char text[] = SITE("");
	/* 2 kW are drawn in all: half of it is imported, then all, then nothing. */
	ck_assert_double_eq_tol(own_minute(text, 1000, NAN, NAN).own_j, 45000, 1e-6);
	ck_assert_double_eq_tol(own_minute(text, 2500, NAN, NAN).own_j, 0, 1e-6);
	ck_assert_double_eq_tol(own_minute(text, -300, NAN, NAN).own_j, 90000, 1e-6);
}
END

TEST(an_unknown_share_has_no_price)
{
	static const char text[] = SITE("export = fed\ngeneration = roof\n");
	ck_assert_double_eq(own_minute(text, NAN, 0, 0).priced_j, 0);
	ck_assert_double_eq(own_minute(text, 1000, NAN, 4000).priced_j, 0);
	ck_assert_double_eq(own_minute(text, 1000, 0, NAN).priced_j, 0);
	ck_assert_double_eq(own_minute(text, NAN, 0, 0).carbon_j, 0);
}
END

TEST(what_is_bridged_keeps_the_cheapest_and_the_dearest_price)
{
	struct config *config = configured(
		HEAD METERS "[tariff t]\nprice = 0.3\nwindow.n = 22:00-06:00 0.2\n");
	const struct energy_sum sum = {.meter_j = {6000},
		.meter_bridged_j = {6000},
		.meter_bridged_ms = {60000}};
	struct cost_facts facts;
	begin(config, 2026, 1, 5);
	for (int64_t m = 21 * 60; m < 1440; m++)
		cost_day_take(day.start_min + m, MODE_UNASSIGNED, 0, &sum, &day);
	cost_day_end(&day, &facts);
	const struct cost_bridge *b = &facts.bridges[0];
	ck_assert_double_eq_tol(b->j, 180 * 6000, 1e-6);
	ck_assert_double_eq_tol(b->cost, 0.1 * 0.3 + 0.2 * 0.2, 1e-12);
	ck_assert_double_eq_tol(b->least, 0.2, 1e-12);
	ck_assert_double_eq_tol(b->most, 0.3, 1e-12);
	ck_assert(!b->at_start && b->at_end);
	ck_assert_double_eq(facts.bridges[1].j, 0);
	cost_facts_release(&facts);
	config_free(config);
}
END

TEST(modes_and_what_was_known_stay_apart)
{
	struct config *config = configured(HEAD METERS "[tariff t]\nprice = 0.3\n");
	const struct energy_sum sum = {.heat_j = 100, .heat_ms = 30000, .meter_j = {60}};
	struct cost_facts facts;
	begin(config, 2026, 1, 5);
	cost_day_take(day.start_min, MODE_HEATING, 7, &sum, &day);
	cost_day_take(day.start_min, MODE_HOT_WATER, 7, &sum, &day);
	cost_day_take(day.start_min + 1, MODE_HEATING, 3, &sum, &day);
	cost_day_take(day.start_min + 2, MODE_HEATING, 7, &sum, &day);
	cost_day_end(&day, &facts);
	ck_assert_uint_eq(facts.count, 6); /* three of the meter, three of heat */
	for (size_t i = 0; i < facts.count; i++) {
		bool twice =
			facts.items[i].mode == MODE_HEATING && facts.items[i].known == 7;
		double j = facts.items[i].meter == COST_HEAT ? 100 : 60;
		ck_assert_double_eq(facts.items[i].sum.priced_j, twice ? 2 * j : j);
	}
	cost_facts_release(&facts);
	config_free(config);
}
END

	/* ---- digests ---- */

	static uint64_t
	digest_on(const char *more, int month, int number)
{
	char *text = xasprintf(HEAD METERS PRICE "%s", more);
	struct config *config = configured(text);
	uint64_t digest = cost_digest(
		config, calendar_day_start((struct date){2026, month, number}));
	config_free(config);
	free(text);
	return digest;
}

TEST(a_changed_tariff_is_another_on_its_own_days_alone)
{
	static const char one[] = "[tariff a]\nprice = 0.3\n";
	static const char two[] = "[tariff a]\nto = 2026-03-15\nprice = 0.3\n"
				  "[tariff b]\nfrom = 2026-03-15\nprice = 0.31\n";
	ck_assert_uint_eq(digest_on("", 3, 14), 0);
	ck_assert_uint_ne(digest_on(one, 3, 14), 0);
	ck_assert_uint_eq(digest_on(one, 3, 14), digest_on(two, 3, 14));
	ck_assert_uint_ne(digest_on(one, 3, 15), digest_on(two, 3, 15));
}
END

TEST(all_that_decides_facts_is_in_the_digest)
{
	static const char *const different[] = {
		"[tariff a]\nprice = 0.3\n",
		"[tariff a]\nprice = 0.3\nfeed_in = 0.1\n",
		"[tariff a]\nprice = 0.3\nwindow.x = Mo 10:00-11:00 0.2\n",
		"[tariff a]\nprice = 0.3\nwindow.x = Tu 10:00-11:00 0.2\n",
		"[tariff a]\nprice = 0.3\nwindow.x = Mo 10:00-11:01 0.2\n",
		"[tariff a]\nprice_channel = p\n",
		"[tariff a]\nprice = 0.3\n[site]\nimport = w\n",
		"[tariff a]\nprice = 0.3\n[site]\nimport = w\nexport = i\n",
		"[tariff a]\nprice = 0.3\n[site]\nimport = w\ngeneration = i\n",
		"[tariff a]\nprice = 0.3\n[carbon c]\nintensity = 300\n",
		"[carbon c]\nintensity = 300\n",
		"[carbon c]\nintensity = 300\nown_intensity = 30\n",
	};
	static const char *const alike[] = {
		"[tariff b]\nprice = 30 ct/kWh\n",
		"[tariff a]\nprice = 0.3\nstanding_day = 0.4\nstanding_year = 100\n",
		"[tariff a]\nprice = 0.4\nwindow.a = 00:00-24:00 0.3\n",
		"[tariff a]\nprice = 0.3\n[site]\ncurrency = EUR\n",
		"[tariff a]\nprice = 0.3\n"
		"[other_heat o]\nprice = 0.1\nefficiency = 90\n",
	};
	for (size_t a = 0; a < ARRAY_LEN(different); a++)
		for (size_t b = 0; b < a; b++)
			ck_assert_msg(digest_on(different[a], 1, 5) !=
					      digest_on(different[b], 1, 5),
				"%s\n%s", different[a], different[b]);
	for (size_t a = 0; a < ARRAY_LEN(alike); a++)
		ck_assert_msg(digest_on(alike[a], 1, 5) == digest_on(different[0], 1, 5),
			"%s", alike[a]);
}
END

/* Tariff and carbon come and go apart, with days of neither before and between. */
TEST(a_digest_after_another_is_its_own)
{
	struct config *config = configured(HEAD METERS PRICE
		"[tariff a]\nfrom = 2026-01-03\nto = 2026-01-09\nprice = 0.3\n"
		"[tariff b]\nfrom = 2026-01-12\nto = 2026-01-20\nprice = 0.4\n"
		"[carbon c]\nfrom = 2026-01-06\nto = 2026-01-10\nintensity = 300\n"
		"[carbon d]\nfrom = 2026-01-14\nintensity = 200\n");
	struct cost_in_force last = {0};
	uint64_t before = 0;
	int changes = 0;
	for (int number = 1; number <= 25; number++) {
		int64_t start_ms = calendar_day_start((struct date){2026, 1, number});
		uint64_t digest = cost_digest_after(&last, config, start_ms);
		ck_assert_uint_eq(digest, cost_digest(config, start_ms));
		changes += digest != before;
		before = digest;
	}
	ck_assert_int_eq(changes, 7);
	config_free(config);
}
END

TESTS(windows_are_of_the_wall_clock_on_every_day,
	a_window_over_midnight_is_of_the_day_on_which_it_begins,
	windows_begin_and_end_at_their_minute,
	zones_of_a_quarter_of_an_hour_have_their_own_windows,
	energy_times_price_is_summed_by_minute, what_has_no_price_is_in_no_sum,
	heat_is_summed_where_its_minutes_have_a_price,
	own_generation_is_shared_in_proportion, a_signed_import_tells_export_too,
	without_generation_the_plant_counts_as_switched_on_last,
	an_unknown_share_has_no_price,
	what_is_bridged_keeps_the_cheapest_and_the_dearest_price,
	modes_and_what_was_known_stay_apart,
	a_changed_tariff_is_another_on_its_own_days_alone,
	all_that_decides_facts_is_in_the_digest, a_digest_after_another_is_its_own)
