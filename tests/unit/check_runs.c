/*
 * Runs, defrosts and hot-water runs from minutes by mode: beginnings and ends to the
 * millisecond by the time in modes, gaps of three minutes and longer ones, defrosts
 * within runs, energies.
 *
 * Reference: runs.h; expected runs are worked out by hand.
 */
#include "configured.h"

#include <heatbook/runs.h>

static const char plant[] =
	"[channel unit_power]\ntopic = a/u\nunit = W\n"
	"[channel rod_power]\ntopic = a/r\nunit = W\n"
	"[channel compressor_frequency]\ntopic = a/hz\n[channel defrost]\ntopic = a/d\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
	"[meter rod]\nfeeds = immersion\npower = rod_power\n";

static void write_run(const struct plant_run *run, void *context)
{
	struct buffer *out = context;
	buffer_addf(out, "%s%s %s%.3f-%.3f%s %lld ms %lld J %lld J\n",
		run_kind_name(run->kind), run->by_rule ? " by rule" : "",
		run->begin_truncated ? "<" : "", (double)run->begin_ms / MS_PER_MIN,
		(double)run->end_ms / MS_PER_MIN, run->end_truncated ? ">" : "",
		(long long)run->ms, (long long)run->heat_j,
		(long long)run->electricity_j);
}

/* Letters of minutes: h heating, w hot water, d defrost, c cooling, s standby, o overrun;
 * C cooling without the compressor; a digit after two letters: so many sixths of the
 * first, then the second; ' ' no row, '?' a row of unassigned time. Each full minute has
 * 600 J of heat and 60 J of electricity. */
static void take(struct runs *runs, const char *words)
{
	static const char letters[] = "?hwdcfos";
	for (int64_t minute = 0; *words; words++, minute++) {
		struct energy_bucket b = {.t_ms = minute * MS_PER_MIN,
			.t_end_ms = (minute + 1) * MS_PER_MIN};
		int sixths = 6;
		char letter = *words == 'C' ? 'c' : *words;
		if (letter == ' ')
			continue;
		if (words[1] >= 'a' && words[1] <= 'w' && words[2] >= '0' &&
			words[2] <= '9') {
			sixths = words[2] - '0';
			struct energy_sum *rest =
				&b.modes[strchr(letters, words[1]) - letters];
			rest->observed_ms = (6 - sixths) * 10000;
			rest->heat_j = (6 - sixths) * 100;
			rest->meter_j[0] = (6 - sixths) * 10;
		}
		struct energy_sum *sum = &b.modes[strchr(letters, letter) - letters];
		sum->observed_ms = sixths * 10000;
		sum->heat_j = sixths * 100;
		sum->meter_j[0] = sixths * 10;
		/* The immersion heater's joules are hot water without its time. */
		b.modes[MODE_HOT_WATER].meter_j[1] = 7;
		runs_take(runs, &b, *words == 'C' ? FLAG_OFF : FLAG_UNKNOWN);
		words += sixths < 6 ? 2 : 0;
	}
}

static void expect_runs(const char *words, const char *expected)
{
	_cleanup_(config_freep) struct config *config = configured(plant);
	struct buffer out = {0};
	struct runs *runs = runs_new(config, write_run, &out);
	take(runs, words);
	runs_end(runs);
	runs_free(runs);
	ck_assert_msg(strcmp(buffer_text(&out), expected) == 0, "%s:\n%sexpected\n%s",
		words, buffer_text(&out), expected);
	buffer_release(&out);
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
	expect_runs("shhddhhs", "defrost 3.000-5.000 120000 ms 1200 J 120 J\n"
				"compressor 1.000-7.000 360000 ms 3600 J 360 J\n");
	expect_runs("shwddwwhs", "defrost 3.000-5.000 120000 ms 1200 J 120 J\n"
				 "hot_water 2.000-7.000 180000 ms 1800 J 180 J\n"
				 "compressor 1.000-8.000 420000 ms 4200 J 420 J\n");
	/* Where none follows, hot water ended when the defrost began. */
	expect_runs("swwddhs", "defrost 3.000-5.000 120000 ms 1200 J 120 J\n"
			       "hot_water 1.000-3.000 120000 ms 1200 J 120 J\n"
			       "compressor 1.000-6.000 300000 ms 3000 J 300 J\n");
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
	struct buffer out = {0};
	struct runs *runs = runs_new(config, write_run, &out);
	take(runs, "swws");
	runs_free(runs);
	ck_assert_str_eq(buffer_text(&out),
		"compressor by rule 1.000-3.000 120000 ms 1200 J 120 J\n"
		"hot_water 1.000-3.000 120000 ms 1200 J 120 J\n");
	buffer_release(&out);
}
END

TESTS(a_run_begins_and_ends_within_its_minutes,
	cooling_without_the_compressor_is_no_run, a_defrost_ends_no_run,
	three_unknown_minutes_are_bridged_and_four_truncate,
	rules_and_flags_are_told_apart)
