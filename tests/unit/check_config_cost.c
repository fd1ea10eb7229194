/*
 * What [site], [tariff], [carbon] and [other_heat] are read as, refused and noted for.
 */
#include "configured.h"

#include <heatbook/calendar.h>
#include <heatbook/tariff.h>

#include <math.h>

#define P "[plant]\nzone = Europe/Berlin\n"
#define CH                                                                               \
	P "[channel w]\ntopic = x/w\nunit = W\n[channel p]\ntopic = x/p\nunit = "        \
	  "EUR/MWh\n"
#define T     P "[tariff t]\n"
#define OTHER "[other_heat o]\nprice = 0.1\nefficiency = 90 %\n"

static const struct bad {
	const char *text;
	int line;
	const char *said;
} bad[] = {
	{T, 3, "[tariff t] has no price; give it price, windows or price_channel"},
	{T "price = 0.3 W\n", 4, "must be a price"},
	{T "price = 0.3\nfrom = 2026-01-31T10:00:00Z\n", 5,
		"must be a local date such as 2026-01-31: prices change at midnight"},
	{T "price = 0.3\nfrom = 2026-02-30\n", 5, "must be a local date"},
	{T "price = 0.3\nfrom = 2026-02-01\nto = 2026-02-01\n", 3,
		"[tariff t]: from must lie before to"},
	{T "price = 0.3\n[tariff u]\nprice = 0.4\n", 5,
		"[tariff u] and [tariff t] (line 3) hold on the same days; let one end "
		"(to)"},
	{P "[tariff u]\nfrom = 2026-01-01\nprice = 1\n[tariff t]\nto = 2026-01-02\nprice "
	   "= "
	   "1\n",
		6, "[tariff t] and [tariff u] (line 3) hold on the same days"},
	{T "price = 0.3\nwindow.a = 10:00 0.2\n", 5, "must be days (of Mo Tu We"},
	{T "price = 0.3\nwindow.a = 10:00-25:00 0.2\n", 5, "must be days"},
	{T "price = 0.3\nwindow.a = 10:00-10:00 0.2\n", 5, "must be days"},
	{T "price = 0.3\nwindow.a = 24:00-10:00 0.2\n", 5, "must be days"},
	{T "price = 0.3\nwindow.a = 10:0-11:00 0.2\n", 5, "must be days"},
	{T "price = 0.3\nwindow.a = Mi 10:00-11:00 0.2\n", 5, "must be days"},
	{T "price = 0.3\nwindow.a = Mo- 10:00-11:00 0.2\n", 5, "must be days"},
	{T "price = 0.3\nwindow.a = Mo, 10:00-11:00 0.2\n", 5, "must be days"},
	{T "price = 0.3\nwindow.a = Mo-Fr 10:00-11:00\n", 5, "number"},
	{T "price = 0.3\nwindow.a = 08:00-12:00 0.2\nwindow.b = 11:00-13:00 0.1\n", 6,
		"window.b and window.a (line 5) are both of Mo 11:00; let one end"},
	{T "price = 0.3\nwindow.a = Su 22:00-06:00 0.2\nwindow.b = Mo 05:30-07:00 0.1\n",
		6, "are both of Mo 05:30"},
	{T "window.a = 00:00-12:00 0.2\nwindow.b = Mo-Sa 12:00-24:00 0.1\n", 3,
		"[tariff t] has no price from Su 12:00 to Mo 00:00; give it price"},
	{T "price_channel = q\n", 4, "there is no [channel q]"},
	{CH "[tariff t]\nprice_channel = w\n", 10,
		"channel w is a power; must be a price, for example in currency/kWh"},
	{CH "[tariff t]\nprice = 1\nprice_channel = p\n", 11,
		"the channel tells the price of each minute; leave out price and "
		"windows"},
	{CH "[tariff t]\nprice_channel = p\nwindow.a = 10:00-11:00 1\n", 10,
		"the channel tells the price"},
	{P "[carbon c]\n", 3, "[carbon c] needs intensity = 380 g/kWh"},
	{P "[carbon c]\nintensity = 1 kWh\n", 4, "must be a carbon intensity"},
	{CH "[carbon c]\nintensity_channel = p\n", 10, "must be a carbon intensity"},
	{P "[carbon c]\nintensity = 1\n[carbon d]\nintensity = 2\n", 5,
		"[carbon d] and [carbon c] (line 3) hold on the same days"},
	{P "[other_heat o]\nefficiency = 90 %\n", 3, "[other_heat o] needs price"},
	{P "[other_heat o]\nprice = 0.1\n", 3, "[other_heat o] needs efficiency"},
	{P OTHER "[other_heat p]\nsource = o\nprice = 1\nefficiency = 90 %\n", 6,
		"[other_heat p] and [other_heat o] (line 3) hold on the same days"},
	{P "[other_heat o]\nsource = \"oil\"\nprice = 1\nefficiency = 90 %\n", 4,
		"name must be small letters"},
	{CH "[site]\ngeneration = w\n", 9, "[site] needs import"},
	{CH "[site]\nimport = p\n", 10, "must be a power"},
};

TEST(each_mistake_is_told_with_its_line_and_remedy)
{
	for (size_t i = 0; i < ARRAY_LEN(bad); i++) {
		struct faults faults = {0};
		struct config *config = NULL;
		char start[32];
		(void)snprintf(start, sizeof(start), "t.conf:%d: ", bad[i].line);
		int r = config_parse("t.conf", bad[i].text, strlen(bad[i].text), &config,
			&faults, NULL);
		ck_assert_msg(r == CONFIG_FAULTY, "taken:\n%s", bad[i].text);
		ck_assert_msg(faults.count == 1, "%zu faults (%s; %s) in\n%s",
			faults.count, faults.lines[0], faults.lines[faults.count - 1],
			bad[i].text);
		ck_assert_msg(strncmp(faults.lines[0], start, strlen(start)) == 0 &&
				      strstr(faults.lines[0], bad[i].said),
			"said '%s', not '%s%s', of\n%s", faults.lines[0], start,
			bad[i].said, bad[i].text);
		faults_release(&faults);
	}
}
END

TEST(days_between_two_tariffs_are_noted)
{
	struct faults notes = {0};
	struct config *config =
		configured_noting(P "[tariff a]\nto = 2026-01-01\nprice = 1\n"
				    "[tariff b]\nfrom = 2026-02-01\nprice = 1\n",
			&notes);
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_str_eq(notes.lines[0],
		"test.conf:6: [tariff a] ends (to) on 2026-01-01 and [tariff b] begins "
		"(from) on 2026-02-01: days in between have no price");
	ck_assert_ptr_null(
		tariff_at(config, calendar_day_start((struct date){2026, 1, 15})));
	ck_assert_str_eq(
		tariff_at(config, calendar_day_start((struct date){2026, 2, 1}))->name,
		"b");
	ck_assert_ptr_null(
		tariff_at(config, calendar_day_start((struct date){2026, 1, 1})));
	config_free(config);
	faults_release(&notes);
}
END

TEST(own_generation_without_its_price_is_noted)
{
	struct faults notes = {0};
	struct config *config = configured_noting(
		CH "[site]\nimport = w\n[tariff t]\nprice = 1\n", &notes);
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_ptr_nonnull(strstr(notes.lines[0], "[tariff t] has no feed_in"));
	config_free(config);
	faults_release(&notes);
}
END

TEST(prices_have_every_usual_unit)
{
	static const struct {
		const char *text;
		double price;
	} rows[] = {{"0.31", 0.31}, {"31 ct/kWh", 0.31}, {"310 EUR/MWh", 0.31},
		{"0.31 €/kWh", 0.31}, {"0.31 SEK/kWh", 0.31}, {"31 p/kWh", 0.31},
		{"0.31 currency/kWh", 0.31}, {"-0.02", -0.02}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		char *text = xasprintf(T "price = %s\n", rows[i].text);
		struct config *config = configured(text);
		ck_assert_double_eq_tol(
			config->cost->tariffs[0].price, rows[i].price, 1e-12);
		config_free(config);
		free(text);
	}
}
END

TEST(a_week_is_laid_out_by_its_windows)
{
	struct config *config = configured(T "price = 9\nwindow.a = Fr-Mo 22:00-06:00 1\n"
					     "window.b = Tu,Th 12:00-13:30 2 EUR/kWh\n");
	static const struct {
		int day, minute;
		double price;
	} rows[] = {{0, 0, 1}, {0, 359, 1}, {0, 360, 9}, {0, 1319, 9}, {0, 1320, 1},
		{1, 359, 1}, {1, 360, 9}, {1, 720, 2}, {1, 809, 2}, {1, 810, 9},
		{2, 720, 9}, {3, 720, 2}, {4, 0, 9}, {4, 1439, 1}, {6, 1439, 1}};
	const struct tariff_config *t = &config->cost->tariffs[0];
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		ck_assert_msg(tariff_price(t, rows[i].day * 1440 + rows[i].minute) ==
				      rows[i].price,
			"day %d, minute %d", rows[i].day, rows[i].minute);
	config_free(config);
}
END

TEST(sections_of_one_source_follow_each_other)
{
	struct config *config = configured(
		P "[other_heat late]\nsource = oil\nfrom = 2026-01-01\nprice = 0.12\n"
		  "efficiency = 90 %\n" OTHER "[other_heat early]\nsource = oil\n"
		  "to = 2026-01-01\nprice = 0.1\nefficiency = 88 %\nintensity = 0.266 "
		  "kg/kWh\n");
	const struct cost_config *c = config->cost;
	int64_t before = calendar_day_start((struct date){2025, 12, 31});
	int64_t after = calendar_day_start((struct date){2026, 1, 1});
	ck_assert_uint_eq(c->other_count, 3);
	ck_assert_str_eq(c->others[0].source, "o");
	ck_assert(other_heat_begins(c, 0) && other_heat_begins(c, 1) &&
		  !other_heat_begins(c, 2));
	ck_assert_str_eq(other_heat_at(c, 1, before)->name, "early");
	ck_assert_str_eq(other_heat_at(c, 1, after)->name, "late");
	ck_assert_str_eq(other_heat_at(c, 0, after)->name, "o");
	ck_assert_double_eq_tol(c->others[1].intensity_g, 266, 1e-9);
	ck_assert(isnan(c->others[0].intensity_g));
	config_free(config);
}
END

TEST(so_many_sources_and_no_more)
{
	struct buffer b = {0};
	struct config *config = NULL;
	struct faults faults = {0};
	buffer_add_text(&b, P);
	for (int i = 0; i <= OTHERS_MOST; i++) {
		int r = config_parse("t.conf", b.data, b.length, &config, &faults, NULL);
		ck_assert_int_eq(r, 0);
		config_free(config);
		buffer_addf(&b, "[other_heat o%d]\nprice = 0.1\nefficiency = 90\n", i);
	}
	ck_assert_int_eq(config_parse("t.conf", b.data, b.length, &config, &faults, NULL),
		CONFIG_FAULTY);
	ck_assert_str_eq(faults.lines[0],
		"t.conf:27: [other_heat o8]: at most 8 other sources of heat");
	faults_release(&faults);
	buffer_release(&b);
}
END

TEST(prices_decide_no_row)
{
	struct config *bare = configured(P), *priced = configured(T "price = 1\n" OTHER);
	ck_assert_uint_eq(bare->mapping_digest, priced->mapping_digest);
	config_free(bare);
	config_free(priced);
}
END

TESTS(each_mistake_is_told_with_its_line_and_remedy, days_between_two_tariffs_are_noted,
	own_generation_without_its_price_is_noted, prices_have_every_usual_unit,
	a_week_is_laid_out_by_its_windows, sections_of_one_source_follow_each_other,
	so_many_sources_and_no_more, prices_decide_no_row)
