/*
 * Modes by rule, row by row: how many rows confirm what, what ends it, what gaps do, and
 * for which configurations rules are needed at all.
 *
 * Reference: heatbook's own rules as written at the top of daemon/account/rules.c, with
 * the defaults of the option table. Expected words are worked out by hand.
 */
#include "configured.h"

#include <heatbook/mode.h>
#include <heatbook/rules.h>

#define ROWS_MOST 64

static const struct rules_needed all = {true, true, true};
static const struct rules_needed flagged = {false, true, true}; /* a frequency */

struct judged {
	char compressor[ROWS_MOST + 1], defrost[ROWS_MOST + 1], hot_water[ROWS_MOST + 1];
	char stopped[ROWS_MOST + 1];
};

/* A plant that heats: the unit runs, water moves, nothing else. */
static struct rules_row heats(void)
{
	return (struct rules_row){.running = 1,
		.power_w = 1500,
		.immersion_w = 0,
		.flow_c = 35,
		.return_c = 30,
		.flow_lpm = 17.5,
		.outdoor_c = 2,
		.target_c = 35,
		.cylinder_c = 45,
		.moved = 1};
}

static char letter(enum flag flag)
{
	return "-?.#"[flag];
}

/* Judges `count` rows, each as soon as RULES_LAG_MIN later ones are there; a row without
 * running and power is left out, as a minute in which nothing is known is. */
static struct judged judge_by(const char *rest, struct rules_needed needed,
	const struct rules_row *rows, int64_t count)
{
	_cleanup_(freep) char *text =
		xasprintf("[plant]\nnominal_flow = 17.5 L/min\n%s", rest);
	_cleanup_(config_freep) struct config *config = configured(text);
	struct judged out = {0};
	struct rules rules;
	ck_assert_int_le(count, ROWS_MOST);
	rules_init(&rules, config, needed);
	for (int64_t i = 0; i < count + RULES_LAG_MIN; i++) {
		struct rules_row row = i < count ? rows[i] : (struct rules_row){0};
		row.minute = 1000 + i;
		if (i < count && !(isnan(row.running) && isnan(row.power_w)))
			rules_add(&rules, &row);
		struct rules_verdict v = rules_judge(&rules, row.minute - RULES_LAG_MIN);
		int64_t at = i - RULES_LAG_MIN;
		if (at < 0)
			continue;
		out.compressor[at] = letter(v.compressor);
		out.defrost[at] = letter(v.defrost);
		out.hot_water[at] = letter(v.hot_water);
		out.stopped[at] = v.stopped ? '!' : ' ';
	}
	ck_assert(rules_idle(&rules));
	return out;
}

#define LEVEL "[modes]\nhot_water_flow = 19 L/min\n"
#define NONE  "devices = compressor, circulation\n"

static struct judged judge_all(
	struct rules_needed needed, const struct rules_row *rows, int64_t count)
{
	return judge_by(LEVEL, needed, rows, count);
}

/* One letter a row: '#' 1500 W, '~' 120 W (between both thresholds), '.' 12 W, '?'
 * nothing. */
static struct judged by_power(const char *words)
{
	struct rules_row rows[ROWS_MOST];
	int64_t n = 0;
	for (; words[n]; n++) {
		rows[n] = heats();
		rows[n].running = (double)NAN;
		rows[n].power_w = words[n] == '#'   ? 1500
				  : words[n] == '~' ? 120
				  : words[n] == '.' ? 12
						    : (double)NAN;
	}
	return judge_all(all, rows, n);
}

TEST(two_rows_confirm_that_the_compressor_runs_or_stands)
{
	static const char *const table[][2] = {
		{"....####....", "....####...."},
		{"....#....", "........."},   /* one row is none */
		{"####.####", "#########"},   /* nor one of rest */
		{"####..####", "####..####"}, /* two are */
		{"..##..", "..##.."},         /* backdated to the first */
		{"..##~~~~..", "..######.."}, /* between both it goes on … */
		{"..~~~~##..", "......##.."}, /* … running or standing */
		{"..#~..", "..##.."},         /* and confirms what was */
		{"...#.#.#..", ".........."}, /* never two */
		{"#", "?"},                   /* nothing confirms it */
		{".#.#.#", "??????"},         /* nor either of both */
		{"~~~~", "????"},             /* neither run nor rest was ever seen */
		{"~~####", "??####"},         /* nothing is said of what was before */
		{"~~....~~", "??......"},     /* rest is known from here on */
		{"~#.~", "??.."},             /* between both it confirms */
		{"~#.#.~.", "????..."},       /* the last that it follows */
	};
	for (size_t i = 0; i < ARRAY_LEN(table); i++) {
		struct judged j = by_power(table[i][0]);
		ck_assert_msg(strcmp(j.compressor, table[i][1]) == 0,
			"%s: %s, expected %s", table[i][0], j.compressor, table[i][1]);
	}
}
END

TEST(gaps_of_three_rows_are_bridged_and_longer_ones_are_not)
{
	static const char *const table[][2] = {
		{"..##???##..", "..##???##.."},
		{"..##???#..", "..##???#.."},   /* it ran on before it stood */
		{"..##????#..", "..##?????.."}, /* begun anew: one row is none */
		{"..##????##..", "..##????##.."},
		{"..##???.#..", "..##???##.."}, /* one row of rest is none */
		{"..##????.#..", "..##??????.."},
		{"##???~~..", "##???##.."},   /* between both: as it was … */
		{"##????~~..", "##??????.."}, /* … unless that is forgotten */
		{"..????~~##", "..??????##"},
		{"#?~~..", "????.."},     /* of one row nothing is known */
		{"..#?#...", "........"}, /* rows must follow each other */
		{"..#?##..", "....##.."},
	};
	for (size_t i = 0; i < ARRAY_LEN(table); i++) {
		struct judged j = by_power(table[i][0]);
		char expected[ROWS_MOST + 1];
		(void)snprintf(expected, sizeof(expected), "%s", table[i][1]);
		for (size_t k = 0; expected[k]; k++)
			if (table[i][0][k] == '?')
				expected[k] = '?';
		ck_assert_msg(strcmp(j.compressor, expected) == 0, "%s: %s, expected %s",
			table[i][0], j.compressor, expected);
	}
	/* Whether it stopped in a long gap nobody saw. */
	ck_assert_str_eq(by_power("##..##???..").stopped, "  !      ! ");
	ck_assert_str_eq(by_power("##..##????..").stopped, "  !         ");
}
END

	/* 'd' draws heat, 'h' heats. */
	static struct judged
	by_difference(const char *words, struct rules_row row, struct rules_needed needed)
{
	struct rules_row rows[ROWS_MOST];
	int64_t n = 0;
	for (; words[n]; n++) {
		rows[n] = row;
		if (words[n] == 'd') {
			rows[n].flow_c = 28;
			rows[n].return_c = 31;
		}
	}
	return judge_all(needed, rows, n);
}

TEST(a_defrost_is_two_rows_of_heat_drawn_while_it_is_cold)
{
	struct rules_row row = heats();
	ck_assert_str_eq(by_difference("hhdddddhhh", row, all).defrost, "..#####...");
	ck_assert_str_eq(by_difference("hhdhdhh", row, all).defrost, ".......");
	ck_assert_str_eq(by_difference("hhddhddh", row, all).defrost, "..##.##.");
	/* A defrost does not end a run. */
	ck_assert_str_eq(by_difference("hhdddddhhh", row, all).compressor, "##########");
	row.outdoor_c = 10; /* not below */
	ck_assert_str_eq(by_difference("hhdddhh", row, all).defrost, ".......");
	row.outdoor_c = (double)INFINITY; /* not measured: it may be cooling */
	ck_assert_str_eq(by_difference("hhdddhh", row, all).defrost, ".......");
	row.outdoor_c = (double)NAN; /* unknown */
	ck_assert_str_eq(by_difference("hhdddhh", row, all).defrost, "..???..");
	row = heats();
	row.flow_lpm = 8.7; /* under half of the nominal flow */
	ck_assert_str_eq(by_difference("hhdddhh", row, all).defrost, ".......");
	row = heats();
	row.running = 0;
	ck_assert_str_eq(by_difference("hhdddhh", row, flagged).defrost, ".......");
	row.running = (double)NAN;
	ck_assert_str_eq(by_difference("hhdddhh", row, flagged).defrost, "..???..");
}
END

	/* 'w' hot water, 'h' heating, 'd' defrost, '.' at rest, by what `how` changes. */
	static struct judged
	by_service(const char *words, const char *how)
{
	struct rules_row rows[ROWS_MOST];
	double cylinder_c = 45;
	int64_t n = 0;
	for (; words[n]; n++) {
		struct rules_row *r = &rows[n];
		*r = heats();
		if (words[n] == 'w' && *how == 'l')
			r->flow_lpm = 19;
		if (words[n] == 'w' && *how == 't')
			r->flow_c = 41.1;
		if (words[n] == 'w' && strchr("cinu", *how))
			cylinder_c += 0.35;
		if (words[n] == 'd')
			r->flow_c = 28;
		if (words[n] == '.') {
			r->running = 0;
			r->power_w = 12;
		}
		r->cylinder_c = cylinder_c;
		r->immersion_w = *how == 'i'          ? 3000
				 : strchr("nu", *how) ? (double)NAN
						      : 0;
		if (*how == 'l' && words[n] == 'h')
			r->flow_c = 60; /* pipes stay hot: the level tells alone */
	}
	return judge_by(*how == 'l' ? LEVEL : *how == 'n' ? NONE : "", all, rows, n);
}

TEST(hot_water_is_three_rows_of_one_of_its_signs)
{
	static const char *const hows[] = {"level", "target"};
	for (size_t i = 0; i < ARRAY_LEN(hows); i++) {
		const char *how = hows[i];
		ck_assert_str_eq(by_service("hhhwwwwhhhh", how).hot_water, "...####....");
		ck_assert_str_eq(by_service("hhhwwhhhh", how).hot_water, ".........");
		/* Fewer than three others do not end it, a stop does. */
		ck_assert_str_eq(
			by_service("hhhwwwhhwwwhhh", how).hot_water, "...########...");
		ck_assert_str_eq(
			by_service("hhhwwww....wwww", how).hot_water, "...####....####");
		/* A defrost leaves it as it was. */
		ck_assert_str_eq(by_service("hhhwwwwddddddwwwhhh", how).hot_water,
			"...#############...");
		ck_assert_str_eq(by_service("hhhwwwwddddddwwwhhh", how).defrost,
			".......######......");
	}
}
END

TEST(a_cylinder_tells_only_while_the_immersion_heater_is_off)
{
	/* Five minutes that end a row later: from a row before the first that rises to
	 * three after the last. */
	ck_assert_str_eq(by_service("hhhhhhwwwwwwwwhhhhhhhh", "cylinder").hot_water,
		".....############.....");
	/* While that heater is on nobody can tell by it; by the target it is not. */
	ck_assert_str_eq(by_service("hhhhhhwwwwwwwwhhhh", "immersion").hot_water,
		"..................");
	/* Nor where its meter says nothing; where there is none it is off for ever. */
	ck_assert_str_eq(by_service("hhhhhhwwwwwwwwhhhh", "unknown").hot_water,
		"..................");
	ck_assert_str_eq(by_service("hhhhhhwwwwwwwwhhhhhhhh", "none").hot_water,
		".....############.....");
}
END

	static void
	expect_needed(const char *channels, const char *rest, const char *expected)
{
	struct buffer text = {0};
	char got[4] = "---";
	_cleanup_(freep) char *names = xstrdup(channels);
	for (char *p = names, *name; (name = strsep(&p, " "));)
		if (*name)
			buffer_addf(&text, "[channel %s]\ntopic = a/%s\n%s", name, name,
				strstr(name, "power") ? "unit = W\n" : "");
	buffer_addf(&text, "%s", rest);
	_cleanup_(config_freep) struct config *config = configured(buffer_text(&text));
	struct rules_needed needed = rules_needed(config);
	got[0] = needed.compressor ? 'c' : '-';
	got[1] = needed.defrost ? 'd' : '-';
	got[2] = needed.service ? 'w' : '-';
	ck_assert_msg(strcmp(got, expected) == 0, "%s: %s, expected %s",
		buffer_text(&text), got, expected);
	buffer_release(&text);
}

#define WATER "flow_temperature return_temperature flow_rate outdoor_temperature "
#define UNIT  "[meter unit]\nfeeds = compressor\npower = unit_power\n"

TEST(rules_are_needed_flag_by_flag)
{
	expect_needed("", "", "---");
	expect_needed(WATER, "", "---"); /* nothing tells that it runs */
	expect_needed(WATER "unit_power", UNIT, "cd-");
	expect_needed(WATER "target_flow_temperature unit_power", UNIT, "cdw");
	expect_needed(WATER "target_flow_temperature compressor_frequency", "", "-dw");
	expect_needed(WATER "target_flow_temperature compressor_frequency defrost valve",
		"", "---");
	expect_needed(WATER "compressor_frequency valve", "", "-d-");
	expect_needed(WATER "compressor_frequency defrost",
		"[plant]\nnominal_flow = 14 L/min\n[modes]\nhot_water_flow = 9 L/min\n",
		"--w");
	/* An operating mode that has words for it is taken at its word. */
	expect_needed(WATER "unit_power operating_mode", UNIT, "---");
	expect_needed(WATER "unit_power",
		UNIT "[channel operating_mode]\ntopic = a/m\n"
		     "map = 1:heating, 2:hot_water\n",
		"cd-");
	/* Without an outdoor sensor no defrost; what is more than the unit tells nothing
	 * of it. */
	expect_needed(
		"flow_temperature return_temperature flow_rate unit_power", UNIT, "c--");
	expect_needed(WATER "unit_power",
		"[meter unit]\nfeeds = compressor, backup_heater\npower = unit_power\n",
		"---");
	/* The cylinder only beside an immersion heater that is metered, or without one.
	 */
	expect_needed("cylinder_temperature unit_power", UNIT, "c--");
	expect_needed("cylinder_temperature unit_power",
		UNIT "[plant]\ndevices = compressor, immersion\n", "c--");
	expect_needed("cylinder_temperature unit_power",
		UNIT "[plant]\ndevices = compressor, circulation\n", "c-w");
	expect_needed("cylinder_temperature unit_power rod_power",
		UNIT "[meter rod]\nfeeds = immersion\npower = rod_power\n", "c-w");
}
END

/* One letter a mode, in the order of enum mode: r by rule, . by flags. */
TEST(a_mode_is_told_by_the_rule_that_finds_it)
{
	static const struct {
		struct rules_needed needed;
		const char *told;
	} rows[] = {
		/* unassigned, heating, hot water, defrost, cooling, freeze, overrun,
		   standby */
		{{false, false, false}, "........"},
		{{false, true, false}, "...r...."},
		{{false, false, true}, ".rr....."},
		{{true, false, false}, ".rr.rrrr"},
		{{true, true, true}, ".rrrrrrr"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		for (int m = 0; m < MODE_COUNT; m++)
			ck_assert_msg(rules_tell(rows[i].needed, (enum mode)m) ==
					      (rows[i].told[m] == 'r'),
				"row %zu, %s", i, mode_name((enum mode)m));
}
END

#define SUPPLY "[meter supply]\nfeeds = compressor, immersion\npower = supply_power\n"
#define ROD    "[meter rod]\nfeeds = immersion\npower = rod_power\n"

/* A true register says nothing of an instant: the apparent power beside it does. */
TEST(an_apparent_power_tells_where_no_true_one_does)
{
	static const char va[] = "[meter va]\nfeeds = compressor\napparent = yes\n"
				 "power = va_power\n";
	static const char count[] = "[channel count]\ntopic = a/c\nunit = kWh\n"
				    "[meter unit]\nfeeds = compressor\n"
				    "register = count\n";
	_cleanup_(freep) char *beside_power = xasprintf("%s%s", UNIT, va);
	_cleanup_(freep) char *beside_count = xasprintf("%s%s", count, va);
	expect_needed(WATER "va_power", va, "cd-");
	expect_needed(WATER "va_power", beside_count, "cd-");
	expect_needed(WATER "va_power unit_power", beside_power, "cd-");
	_cleanup_(freep) char *text = xasprintf("[channel va_power]\ntopic = v\n"
						"unit = W\n[channel unit_power]\n"
						"topic = u\nunit = W\n%s",
		beside_power);
	_cleanup_(config_freep) struct config *config = configured(text);
	ck_assert(rules_reads_compressor(config, meter_named(config, "unit")));
	ck_assert(!rules_reads_compressor(config, meter_named(config, "va")));
}
END

/* A meter tells of what it feeds once the one behind it is taken off. */
TEST(what_is_taken_off_a_meter_is_none_of_its_words)
{
	expect_needed(WATER "supply_power", SUPPLY, "---");
	expect_needed(WATER "supply_power rod_power", SUPPLY "less = rod\n" ROD, "cd-");
	expect_needed(WATER "supply_power unit_power cylinder_temperature",
		SUPPLY "less = unit\n" UNIT, "cdw");
	/* By a register alone nothing can be taken off at an instant. */
	expect_needed(WATER "supply_power",
		SUPPLY "less = rod\n[channel count]\ntopic = a/c\nunit = kWh\n"
		       "[meter rod]\nfeeds = immersion\nregister = count\n",
		"---");
}
END

TESTS(two_rows_confirm_that_the_compressor_runs_or_stands,
	gaps_of_three_rows_are_bridged_and_longer_ones_are_not,
	a_defrost_is_two_rows_of_heat_drawn_while_it_is_cold,
	hot_water_is_three_rows_of_one_of_its_signs,
	a_cylinder_tells_only_while_the_immersion_heater_is_off,
	rules_are_needed_flag_by_flag, a_mode_is_told_by_the_rule_that_finds_it,
	an_apparent_power_tells_where_no_true_one_does, what_is_taken_off_a_meter_is_none_of_its_words)
