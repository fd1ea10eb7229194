/*
 * Dated corrections: what they do to minutes, at which millisecond, and what they leave
 * alone. References: correction.h, configuration's option table; the sensitivity of heat
 * to the pair's difference is JCGM 100:2008, 5.1.3 (from memory) applied to EN 1434-1's
 * energy balance, see heat.h.
 */
#include "engine_run.h"

#include <heatbook/calendar.h>
#include <heatbook/correction.h>

#define PLAIN                                                                            \
	"[plant]\nzone = UTC\n[channel warmth]\ntopic = x/w\nunit = °F\n"               \
	"stale_after = none\nextremes = yes\n"                                           \
	"[source x]\nsilent_after = none\n"

#define HEAT                                                                             \
	"[plant]\nzone = UTC\n[source x]\nsilent_after = none\n"                         \
	"[channel flow_temperature]\ntopic = x/f\nstale_after = none\n"                  \
	"[channel return_temperature]\ntopic = x/r\nstale_after = none\n"                \
	"[channel flow_rate]\ntopic = x/q\nstale_after = none\n"

/* ---- what the file says ---- */

TEST(offsets_are_differences_in_the_channels_unit_or_a_named_one)
{
	static const struct {
		const char *offset;
		double k;
	} rows[] = {{"-0.4 K", -0.4}, {"-0.4 °C", -0.4}, {"0.9", 0.5}, {"0.9 °F", 0.5},
		{"+18", 10.0}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text =
			xasprintf("%s[correction c]\nchannel = warmth\nfrom = "
				  "2026-01-01\noffset = %s\n",
				PLAIN, rows[i].offset);
		_cleanup_(config_freep) struct config *config = configured(text);
		ck_assert_uint_eq(config->correction_count, 1);
		expect_near(config->corrections[0].offset, rows[i].k, 1e-15);
		ck_assert_double_eq(config->corrections[0].factor, 1.0);
	}
}
END

TEST(edges_are_local_days_or_instants)
{
	static const char text[] =
		"[plant]\nzone = Europe/Berlin\n[channel a]\ntopic = x/a\n"
		"[correction c]\nchannel = a\noffset = 1\nfrom = 2026-03-29\n"
		"to = 2026-03-30T14:30:00.5+02:00\n";
	_cleanup_(config_freep) struct config *config = configured(text);
	const struct correction_config *c = &config->corrections[0];
	char from[32], to[32];
	time_text_utc(c->from_ms, from);
	time_text_utc(c->to_ms, to);
	ck_assert_str_eq(from, "2026-03-28T23:00:00Z");
	ck_assert_str_eq(to, "2026-03-30T12:30:00.500Z");
	ck_assert(correction_touches(c, c->to_ms - 1, INT64_MAX));
	ck_assert(!correction_touches(c, c->to_ms, INT64_MAX));
	ck_assert(!correction_touches(c, 0, c->from_ms));
}
END

	static uint64_t
	digest_of(const char *more)
{
	_cleanup_(freep) char *text = xasprintf("%s%s", PLAIN, more);
	_cleanup_(config_freep) struct config *config = configured(text);
	return config->mapping_digest;
}

#define SECTION(name, from, to, offset)                                                  \
	"[correction " name "]\nchannel = warmth\nfrom = " from "\nto = " to             \
	"\noffset = " offset "\n"

TEST(the_mapping_knows_what_is_corrected_and_not_what_it_is_called)
{
	uint64_t one = digest_of(SECTION("a", "2026-01-01", "2026-02-01", "1 K")
			SECTION("b", "2026-02-01", "2026-03-01", "2 K"));
	ck_assert_uint_eq(
		one, digest_of(SECTION("x", "2026-02-01", "2026-03-01", "2 K")
				     SECTION("y", "2026-01-01", "2026-02-01", "1.8")));
	ck_assert_uint_ne(one, digest_of(""));
	ck_assert_uint_ne(
		one, digest_of(SECTION("a", "2026-01-01", "2026-02-01", "1 K")
				     SECTION("b", "2026-02-01", "2026-03-02", "2 K")));
	ck_assert_uint_ne(
		one, digest_of(SECTION("a", "2026-01-01", "2026-02-01", "1 K")
				     SECTION("b", "2026-02-01", "2026-03-01", "3 K")));
}
END

/* ---- what becomes of minutes ---- */

TEST(a_value_that_holds_across_an_edge_changes_at_that_millisecond)
{
	struct run *run =
		run_new(PLAIN "[correction c]\nchannel = warmth\noffset = -0.4 K\n"
			      "factor = 1.01\nfrom = 2026-01-01T00:00:30.250Z\n"
			      "to = 2026-01-01T00:03:00Z\n");
	double said = 35.0, meant = 35.0 * 1.01 - 0.4;
	says(run, 0, "warmth", said);
	passes(run, 300);
	struct minute_channel first = channel_of(run, 0, "warmth");
	expect_near(first.mean, (said * 30250 + meant * 29750) / 60000, 1e-14);
	ck_assert_double_eq(first.least, meant < said ? meant : said);
	ck_assert_double_eq(first.most, meant < said ? said : meant);
	ck_assert_int_eq(first.known_ms, 60000);
	ck_assert_double_eq(channel_of(run, 1, "warmth").mean, meant);
	ck_assert_double_eq(channel_of(run, 2, "warmth").mean, meant);
	ck_assert_double_eq(channel_of(run, 3, "warmth").mean, said);
	run_free(run);
}
END

TEST(what_is_unknown_stays_unknown)
{
	struct run *run = run_new(PLAIN "[correction c]\nchannel = warmth\noffset = 5 K\n"
					"from = 2026-01-01T00:00:30Z\n");
	says(run, 0, "warmth", 20);
	says_nothing(run, 20, "warmth");
	passes(run, 300);
	ck_assert_int_eq(known_ms(run, 0, "warmth"), 20000);
	ck_assert_double_eq(channel_of(run, 0, "warmth").mean, 20.0);
	ck_assert_ptr_null(minute_of(run, 1));
	run_free(run);
}
END

TEST(what_a_correction_makes_too_large_is_the_largest)
{
	const struct correction_config c = {.factor = -1000.0, .offset = 0.0};
	ck_assert_double_eq(correction_apply(&c, VALUE_MOST), -VALUE_MOST);
	ck_assert_double_eq(correction_apply(&c, -VALUE_MOST), VALUE_MOST);
	ck_assert_double_eq(correction_apply(NULL, 7.0), 7.0);
}
END

/* Heat of the same readings as if the channel had said at the edges what is meant. */
TEST(heat_is_that_of_readings_that_are_right)
{
	struct run *corrected = run_new(
		HEAT "[correction c]\nchannel = flow_temperature\noffset = -0.4 K\n"
		     "from = 2026-01-01T00:01:07.003Z\nto = 2026-01-01T00:02:59.999Z\n");
	struct run *right = run_new(HEAT);
	struct run *const runs[] = {corrected, right};
	for (size_t i = 0; i < 2; i++) {
		says(runs[i], 0, "flow_temperature", 35);
		says(runs[i], 1, "return_temperature", 30);
		says(runs[i], 2, "flow_rate", 17);
		if (i)
			says(runs[i], 67.003, "flow_temperature", 35 + -0.4);
		says(runs[i], 90, "flow_temperature", i ? 36 + -0.4 : 36);
		if (i)
			says(runs[i], 179.999, "flow_temperature", 36);
		passes(runs[i], 600);
	}
	ck_assert_uint_eq(corrected->count, 10);
	expect_same_minutes(corrected, right);
	run_free(corrected);
	run_free(right);
}
END

TEST(carried_state_is_what_was_said_under_any_correction)
{
	struct run *with =
		run_new(PLAIN "[correction c]\nchannel = warmth\noffset = 5 K\n"
			      "from = 2026-01-01\nto = 2026-01-01T00:10:00Z\n");
	struct run *without = run_new(PLAIN);
	struct buffer a = {0}, b = {0};
	says(with, 10, "warmth", 20);
	says(without, 10, "warmth", 20);
	passes(with, 300);
	passes(without, 300);
	engine_save(with->engine, &a);
	engine_save(without->engine, &b);
	ck_assert(buffer_equal(&a, &b));
	/* Taken up again under a correction it is corrected, whichever made it. */
	ck_assert_int_eq(engine_restore(with->engine, ZERO_MIN + 5, b.data, b.length), 0);
	passes(with, 900);
	ck_assert_double_eq(channel_of(with, 5, "warmth").mean, 25.0);
	ck_assert_double_eq(channel_of(with, 10, "warmth").mean, 20.0);
	buffer_release(&a);
	buffer_release(&b);
	run_free(with);
	run_free(without);
}
END

	/* ---- the preview on sums ---- */

	/* A day of a plant that cycles, at readings every 20 s. */
	static void
	run_day(struct run *run, double *ret_heat_j, double *ret_j_per_k)
{
	uint64_t seed = 7;
	*ret_heat_j = *ret_j_per_k = 0.0;
	for (int t = 0; t < 86400; t += 20) {
		bool runs = t % 2700 < 1800;
		double back = 28.0 + (double)unit_random_between(&seed, 0, 300) / 100;
		double lift =
			runs ? 5.0 + (double)unit_random_between(&seed, -50, 50) / 100
			     : 0.3;
		says(run, t, "return_temperature", back);
		says(run, t, "flow_temperature", back + lift);
		says(run, t, "flow_rate", runs ? 17.5 : 0.0);
	}
	passes(run, 86400);
	for (size_t i = 0; i < run->count; i++)
		for (int m = 0; m < MODE_COUNT; m++) {
			*ret_heat_j += run->minutes[i].modes[m].heat_j;
			*ret_j_per_k += run->minutes[i].modes[m].sensitivity_j_per_k;
		}
}

/* Q + S * offset, within 0.02 % of Q for offsets up to 0.3 K. */
TEST(the_sensitivity_foretells_what_an_offset_of_the_pair_does)
{
	static const double offsets[] = {0.1, -0.1, 0.3, -0.3};
	struct run *plain = run_new(HEAT);
	double heat, sensitivity;
	run_day(plain, &heat, &sensitivity);
	ck_assert_double_gt(heat, 2e8);
	for (size_t i = 0; i < ARRAY_LEN(offsets); i++) {
		_cleanup_(freep) char *text = xasprintf(
			"%s[correction c]\nchannel = flow_temperature\noffset = %g K\n"
			"from = 2026-01-01\n",
			HEAT, offsets[i]);
		struct run *run = run_new(text);
		double moved, its_own;
		run_day(run, &moved, &its_own);
		ck_assert_msg(
			fabs(moved - (heat + sensitivity * offsets[i])) <= 0.0002 * heat,
			"%g K: %.17g J, foretold %.17g J", offsets[i], moved,
			heat + sensitivity * offsets[i]);
		ck_assert_double_gt(fabs(moved - heat), 0.01 * heat);
		run_free(run);
	}
	run_free(plain);
}
END

TESTS(offsets_are_differences_in_the_channels_unit_or_a_named_one,
	edges_are_local_days_or_instants,
	the_mapping_knows_what_is_corrected_and_not_what_it_is_called,
	a_value_that_holds_across_an_edge_changes_at_that_millisecond,
	what_is_unknown_stays_unknown, what_a_correction_makes_too_large_is_the_largest,
	heat_is_that_of_readings_that_are_right,
	carried_state_is_what_was_said_under_any_correction,
	the_sensitivity_foretells_what_an_offset_of_the_pair_does)
