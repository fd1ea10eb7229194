/*
 * Runs, defrosts and hot-water runs from minutes by mode: beginnings and ends to the
 * millisecond by the time in modes, gaps of three minutes and longer ones, defrosts
 * within runs, energies.
 *
 * Reference: runs.h; expected runs are worked out by hand.
 */
#include "configured.h"

#include <heatbook/runs.h>

#include <math.h>

static const char plant[] =
	"[channel unit_power]\ntopic = a/u\nunit = W\n"
	"[channel rod_power]\ntopic = a/r\nunit = W\n"
	"[channel compressor_frequency]\ntopic = a/hz\n[channel defrost]\ntopic = a/d\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
	"[meter rod]\nfeeds = immersion\npower = rod_power\n";

static void write_run(
	struct buffer *out, const struct config *config, const struct plant_run *run)
{
	buffer_addf(out, "%s%s%s %s%.3f-%.3f%s %lld ms %lld J %lld J%s\n",
		run->came_over ? "..." : "", run_kind_name(run->kind),
		run->by_rule ? " by rule" : "", run->begin_truncated ? "<" : "",
		(double)run->begin_ms / MS_PER_MIN, (double)run->end_ms / MS_PER_MIN,
		run->end_truncated ? ">" : "", (long long)run->ms,
		(long long)run_heat_j(run), (long long)run_electricity_j(run, config),
		run->goes_on ? "..." : "");
}

static const char letters[] = "?hwdcfos"; /* in the order of modes */

/* Letters of minutes: h heating, w hot water, d defrost, c cooling, f freeze protection,
 * o overrun, s standby; C cooling without the compressor, H heating above the target,
 * i standby with the immersion heater on; a digit after two letters: so many sixths of
 * the first, then the second; ' ' no row, '?' a row of unassigned time. Each full minute
 * has 600 J of heat and 60 J of electricity. */
static const char *read_minute(const char *words, int64_t at, struct energy_bucket *b)
{
	static const char others[] = "Cc"
				     "Hh"
				     "is";
	const char *other = strchr(others, *words);
	char letter = other && (other - others) % 2 == 0 ? other[1] : *words;
	int sixths = 6;
	*b = (struct energy_bucket){.t_ms = at * MS_PER_MIN};
	if (letter == ' ')
		return words + 1;
	if (words[1] >= 'a' && words[1] <= 'w' && words[2] >= '0' && words[2] <= '9') {
		sixths = words[2] - '0';
		struct energy_sum *rest = &b->modes[strchr(letters, words[1]) - letters];
		rest->observed_ms = (6 - sixths) * 10000;
		rest->heat_j = (6 - sixths) * 100;
		rest->meter_j[0] = (6 - sixths) * 10;
	}
	struct energy_sum *sum = &b->modes[strchr(letters, letter) - letters];
	sum->observed_ms = sixths * 10000;
	sum->heat_j = sixths * 100;
	sum->meter_j[0] = sixths * 10;
	/* The immersion heater's joules are hot water without its time. */
	b->modes[MODE_HOT_WATER].meter_j[1] = *words == 'i' ? 60000 : 7;
	sum->meter_ms[1] = MS_PER_MIN;
	return words + (sixths < 6 ? 3 : 1);
}

static void take(struct runs *runs, const char *words, int64_t from_min)
{
	for (int64_t at = from_min; *words; at++) {
		static struct energy_bucket b; /* large */
		static struct energy_row rows[MODE_COUNT];
		struct run_minute minute = {.minute = at, .rows = rows};
		bool hot = *words == 'H', stands = *words == 'C', none = *words == ' ';
		words = read_minute(words, at, &b);
		for (int m = 0; m < MODE_COUNT; m++)
			rows[minute.count++] =
				(struct energy_row){.mode = m, .sum = b.modes[m]};
		for (int c = 0; c < RUN_CHANNELS; c++)
			minute.values[c] = (double)NAN;
		minute.values[RUN_FREQUENCY] = stands ? 0.0 : (double)NAN;
		minute.values[RUN_FLOW] = hot ? 36.0 : 34.0;
		minute.values[RUN_TARGET] = 35.0;
		minute.values[RUN_CYLINDER] = 40.0 + (double)at;
		if (!none)
			runs_take(runs, &minute);
	}
}

/* Pieces of a day of minutes [0, 1440) unless another is said; `words` begin at a minute
 * and rows end with them. */
static struct run_day day_of(const struct config *config, const char *words,
	int64_t from_min, int64_t start_min)
{
	struct runs *runs = runs_new(config, start_min, start_min + MIN_PER_DAY);
	struct run_day day;
	int64_t end = from_min;
	take(runs, words, from_min);
	for (const char *w = words; *w; end++) {
		static struct energy_bucket b;
		w = read_minute(w, 0, &b);
	}
	runs_end(runs, end, &day);
	runs_free(runs);
	return day;
}

static void expect_pieces(
	const char *words, int64_t from_min, int64_t start_min, const char *expected)
{
	_cleanup_(config_freep) struct config *config = configured(plant);
	struct run_day day = day_of(config, words, from_min, start_min);
	struct buffer out = {0};
	for (size_t i = 0; i < day.pieces.count; i++)
		write_run(&out, config, &day.pieces.items[i]);
	buffer_add_text(&out, "");
	ck_assert_msg(strcmp(buffer_text(&out), expected) == 0, "%s:\n%sexpected\n%s",
		words, buffer_text(&out), expected);
	buffer_release(&out);
	run_day_release(&day);
}

static void expect_runs(const char *words, const char *expected)
{
	expect_pieces(words, 0, 0, expected);
}

TEST(a_run_begins_and_ends_within_its_minutes)
{
	expect_runs("sshhhss", "compressor 2.000-5.000 180000 ms 1800 J 180 J\n");
	expect_runs("ssh"
		    "hs3ss",
		"compressor 2.000-3.500 90000 ms 900 J 90 J\n");
	expect_runs("s"
		    "sh3hhs",
		"compressor 1.500-4.000 150000 ms 1500 J 150 J\n");
	/* Two with a whole minute between, and one that lasts less than a minute. */
	expect_runs("shshhs", "compressor 1.000-2.000 60000 ms 600 J 60 J\n"
			      "compressor 3.000-5.000 120000 ms 1200 J 120 J\n");
	expect_runs("s"
		    "hs1ss",
		"compressor 1.833-2.000 10000 ms 100 J 10 J\n");
	expect_runs("sscccs", "compressor 2.000-5.000 180000 ms 1800 J 180 J\n");
	expect_runs("ssooss", "");
}
END

/* What goes round after a stop, or passes a resting compressor by, is of no run. */
TEST(cooling_without_the_compressor_is_no_run)
{
	expect_runs("sccCCCCs", "compressor 1.000-3.000 120000 ms 1200 J 120 J\n");
	expect_runs("CCCC", "");
	expect_runs("sccCCccs", "compressor 1.000-3.000 120000 ms 1200 J 120 J\n"
				"compressor 5.000-7.000 120000 ms 1200 J 120 J\n");
}
END

TEST(a_defrost_ends_no_run)
{
	expect_runs("shhddhhs", "compressor 1.000-7.000 360000 ms 3600 J 360 J\n"
				"defrost 3.000-5.000 120000 ms 1200 J 120 J\n");
	expect_runs("shwddwwhs", "compressor 1.000-8.000 420000 ms 4200 J 420 J\n"
				 "defrost 3.000-5.000 120000 ms 1200 J 120 J\n"
				 "hot_water 2.000-7.000 180000 ms 1800 J 180 J\n");
	/* Where none follows, hot water ended when the defrost began. */
	expect_runs("swwddhs", "compressor 1.000-6.000 300000 ms 3000 J 300 J\n"
			       "defrost 3.000-5.000 120000 ms 1200 J 120 J\n"
			       "hot_water 1.000-3.000 120000 ms 1200 J 120 J\n");
}
END

TEST(three_unknown_minutes_are_bridged_and_four_truncate)
{
	expect_runs("sh   hs", "compressor 1.000-6.000 120000 ms 1200 J 120 J\n");
	expect_runs("sh???hs", "compressor 1.000-6.000 120000 ms 1200 J 120 J\n");
	expect_runs("sh    hs", "compressor 1.000-2.000> 60000 ms 600 J 60 J\n"
				"compressor <6.000-7.000 60000 ms 600 J 60 J\n");
	expect_runs("s    hs", "compressor <5.000-6.000 60000 ms 600 J 60 J\n");
	expect_runs("s   hs", "compressor 4.000-5.000 60000 ms 600 J 60 J\n");
	expect_runs("hhs", "compressor <0.000-2.000 120000 ms 1200 J 120 J\n");
	expect_runs("shh", "compressor 1.000-3.000> 120000 ms 1200 J 120 J\n");
}
END

TEST(rules_and_flags_are_told_apart)
{
	_cleanup_(config_freep) struct config *config =
		configured("[channel unit_power]\ntopic = a/u\nunit = W\n"
			   "[channel valve]\ntopic = a/v\n"
			   "[meter unit]\nfeeds = compressor\npower = unit_power\n");
	struct run_day day = day_of(config, "swws", 0, 0);
	ck_assert_uint_eq(day.pieces.count, 2);
	ck_assert(day.pieces.items[0].by_rule);
	ck_assert(!day.pieces.items[1].by_rule);
	run_day_release(&day);
}
END

/* A day's pieces, from the hour before it on: those that begin before it are not its own,
 * what comes over is, and what goes on is told by the quarter after it. */
TEST(a_run_over_midnight_is_a_piece_of_each_day)
{
	char words[1700];
	memset(words, 's', sizeof(words));
	words[61 + 1440 + 15] = '\0';
	/* The hour before begins at minute 1380, the day at 1440. */
	memset(words + 10, 'h', 5);
	memset(words + 58, 'h', 4);
	memset(words + 60 + 1438, 'h', 6);
	expect_pieces(words, 1380, 1440,
		"...compressor 1440.000-1442.000 120000 ms 1200 J 120 J\n"
		"compressor 2878.000-2880.000 120000 ms 1200 J 120 J...\n");
	/* It ended with the day: the minute after it tells, be it three minutes late. */
	memset(words + 60 + 1440, 's', 4);
	expect_pieces(words, 1380, 1440,
		"...compressor 1440.000-1442.000 120000 ms 1200 J 120 J\n"
		"compressor 2878.000-2880.000 120000 ms 1200 J 120 J\n");
	memset(words + 60 + 1440, ' ', 3);
	words[60 + 1443] = 'h';
	expect_pieces(words, 1380, 1440,
		"...compressor 1440.000-1442.000 120000 ms 1200 J 120 J\n"
		"compressor 2878.000-2880.000 120000 ms 1200 J 120 J...\n");
	words[60 + 1443] = ' ';
	expect_pieces(words, 1380, 1440,
		"...compressor 1440.000-1442.000 120000 ms 1200 J 120 J\n"
		"compressor 2878.000-2880.000> 120000 ms 1200 J 120 J\n");
	/* What ended with the day before is none of this one. */
	memset(words + 60, 's', 2);
	memset(words + 60 + 1438, 's', 2);
	expect_pieces(words, 1380, 1440, "");
}
END

	static void
	expect_ends(const char *words, enum run_kind kind, const char *expected)
{
	_cleanup_(config_freep) struct config *config = configured(plant);
	struct run_day day = day_of(config, words, 0, 0);
	struct buffer out = {0};
	for (size_t i = 0; i < day.pieces.count; i++)
		if (day.pieces.items[i].kind == kind)
			buffer_addf(&out, "%s%s", out.length ? " " : "",
				run_end_words[day.pieces.items[i].ended]);
	buffer_add_text(&out, "");
	ck_assert_msg(strcmp(buffer_text(&out), expected) == 0, "%s: %s, expected %s",
		words, buffer_text(&out), expected);
	buffer_release(&out);
	run_day_release(&day);
}

TEST(a_run_says_why_it_ended)
{
	expect_ends("shhhssssssssssss", RUN_COMPRESSOR, "stopped");
	expect_ends("shhHssssssssssss", RUN_COMPRESSOR, "target");
	expect_ends("shHHhssssssssssss", RUN_COMPRESSOR, "target");
	expect_ends("shHhhssssssssssss", RUN_COMPRESSOR, "stopped");
	/* Within ten minutes hot water is made: that is why. */
	expect_ends("shhHsssssssssws", RUN_COMPRESSOR, "hot_water stopped");
	expect_ends("shhhssssssssssswss", RUN_COMPRESSOR, "stopped stopped");
	expect_ends("shhddss", RUN_COMPRESSOR, "defrost");
	expect_ends("shh    ss", RUN_COMPRESSOR, "gap");
	expect_ends("shhh", RUN_COMPRESSOR, "going_on");
	/* Of hot water its own target would be needed. */
	expect_ends("swwHwss", RUN_COMPRESSOR, "stopped");
	expect_ends("swwhhs", RUN_HOT_WATER, "heating");
	expect_ends("swwss", RUN_HOT_WATER, "stopped");
	expect_ends("swwddhs", RUN_HOT_WATER, "defrost");
	expect_ends("swwccs", RUN_HOT_WATER, "cooling");
	expect_ends("shddhs", RUN_DEFROST, "heating");
	expect_ends("shddss", RUN_DEFROST, "stopped");
	expect_ends("swddws", RUN_DEFROST, "hot_water");
	expect_ends("sffhhs", RUN_FREEZE_PROTECTION, "heating");
}
END

	static void
	expect_intervals(const char *words, const char *expected)
{
	static const char *const since[] = {"day+", "", "?+"};
	_cleanup_(config_freep) struct config *config = configured(plant);
	struct run_day day = day_of(config, words, -5, 0);
	struct buffer out = {0};
	for (size_t i = 0; i < day.pieces.count; i++) {
		const struct run_interval *interval = &day.pieces.items[i].interval;
		if (day.pieces.items[i].kind == RUN_DEFROST &&
			!day.pieces.items[i].came_over)
			buffer_addf(&out, "%s%lld ", since[interval->since],
				(long long)interval->ms / 10000);
	}
	buffer_addf(
		&out, "| %s%lld", since[day.tail.since], (long long)day.tail.ms / 10000);
	ck_assert_msg(strcmp(buffer_text(&out), expected) == 0, "%s: %s, expected %s",
		words, buffer_text(&out), expected);
	buffer_release(&out);
	run_day_release(&day);
}

/* The day begins at the sixth letter; intervals in tens of seconds. */
TEST(the_compressors_time_is_counted_from_defrost_to_defrost)
{
	expect_intervals("hhhhhhhddhhshhwdh", "day+12 30 | 6");
	/* The part of a minute before and behind. */
	expect_intervals("sssss"
			 "hhd2ddh2hhdd",
		"day+8 16 | 0");
	/* A gap hides whether there was one. */
	expect_intervals("sssss"
			 "hhddh    hhhdh",
		"day+12 ?+18 | 6");
	expect_intervals("     "
			 "hhdds",
		"?+12 | 0");
	/* A defrost that came over is counted from its end. */
	expect_intervals("hhhhd"
			 "dhhds",
		"12 | 0");
}
END

TEST(an_immersion_heater_is_in_use_whatever_the_plant_does)
{
	expect_runs("siiishhs", "compressor 5.000-7.000 120000 ms 1200 J 120 J\n"
				"immersion by rule 1.000-4.000 180000 ms 0 J 180000 J\n");
	expect_runs("sii    iis",
		"immersion by rule 1.000-3.000> 120000 ms 0 J 120000 J\n"
		"immersion by rule <7.000-9.000 120000 ms 0 J 120000 J\n");
	expect_runs(
		"sffs", "freeze_protection by rule 1.000-3.000 120000 ms 1200 J 120 J\n");
}
END

TEST(means_and_the_cylinder_are_of_its_minutes)
{
	_cleanup_(config_freep) struct config *config = configured(plant);
	struct run_day day = day_of(config, "sshHs", 0, 0);
	const struct plant_run *run = &day.pieces.items[0];
	ck_assert_uint_eq(day.pieces.count, 1);
	ck_assert_double_eq(run_mean_of(&run->means[RUN_FLOW]), 35.0);
	ck_assert(isnan(run_mean_of(&run->means[RUN_OUTDOOR])));
	ck_assert_double_eq(run->cylinder_begin_c, 42.0);
	ck_assert_double_eq(run->cylinder_end_c, 43.0);
	run_day_release(&day);
}
END

/* A day whose day before is gone begins as what was kept of that says. */
TEST(what_comes_over_may_be_told)
{
	_cleanup_(config_freep) struct config *config = configured(plant);
	struct runs *runs = runs_new(config, 0, MIN_PER_DAY);
	struct run_day day;
	runs_come_over(runs, RUN_COMPRESSOR, -1);
	take(runs, "hhs", 0);
	runs_end(runs, 3, &day);
	runs_free(runs);
	ck_assert_uint_eq(day.pieces.count, 1);
	ck_assert(day.pieces.items[0].came_over);
	ck_assert(!day.pieces.items[0].begin_truncated);
	run_day_release(&day);
}
END

/* Kept pieces are of another form once what they hang on is configured otherwise. */
TEST(the_form_is_of_what_the_configuration_lets_them_lean_on)
{
	_cleanup_(config_freep) struct config *config = configured(plant);
	uint64_t form = runs_form(config);
	_cleanup_(config_freep) struct config *same = configured(plant);
	ck_assert_uint_eq(runs_form(same), form);
	same->modes.compressor_on_w += 1.0;
	ck_assert_uint_ne(runs_form(same), form);
	config->meters[1].serves |= DEVICE_COMPRESSOR;
	ck_assert_uint_ne(runs_form(config), form);
}
END

TESTS(a_run_begins_and_ends_within_its_minutes,
	cooling_without_the_compressor_is_no_run, a_defrost_ends_no_run,
	three_unknown_minutes_are_bridged_and_four_truncate,
	rules_and_flags_are_told_apart, a_run_over_midnight_is_a_piece_of_each_day,
	a_run_says_why_it_ended,
	the_compressors_time_is_counted_from_defrost_to_defrost,
	an_immersion_heater_is_in_use_whatever_the_plant_does,
	means_and_the_cylinder_are_of_its_minutes, what_comes_over_may_be_told,
	the_form_is_of_what_the_configuration_lets_them_lean_on)
