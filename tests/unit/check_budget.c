/*
 * The budget of a plant's sums: which instruments count how often, by configuration.
 *
 * References: JCGM 100:2008 5.1.2 and 5.2.2 by hand; classes by instrument.h.
 */
#include "configured.h"

#include <heatbook/budget.h>

#define HEAT                                                                             \
	"[channel flow_temperature]\ntopic = x/f\n[channel return_temperature]\ntopic "  \
	"= "                                                                             \
	"x/r\n[channel flow_rate]\ntopic = x/q\n[channel a]\ntopic = x/a\nunit = W\n"    \
	"[channel b]\ntopic = x/b\nunit = W\n[channel n]\ntopic = x/n\nunit = kWh\n"

#define ROOT3 1.7320508075688772

static const struct boundary h4 = {.name = "H4", .meters = 3, .heat_plus = 2, .needs = 3};

/* A day: 30 MJ by the unit, 6 MJ by the heater, 90 MJ of heat beside. One at a
 * time: it is too large for a frame. */
static struct energy_bucket *a_day(int n)
{
	static struct energy_bucket bucket;
	memset(&bucket, 0, sizeof(bucket));
	struct energy_sum *sum = &bucket.modes[MODE_HEATING];
	*sum = (struct energy_sum){.observed_ms = MS_PER_DAY * n,
		.heat_j = n * INT64_C(90000000),
		.heat_ms = MS_PER_DAY * n,
		.sensitivity_j_per_k = n * 18e6,
		.paired_heat_j = n * INT64_C(96000000),
		.paired_electricity_j = n * INT64_C(36000000),
		.paired_sensitivity_j_per_k = n * 18e6,
		.paired_ms = MS_PER_DAY * n};
	sum->meter_j[0] = sum->paired_meter_j[0] = n * INT64_C(30000000);
	sum->meter_j[1] = sum->paired_meter_j[1] = n * INT64_C(6000000);
	sum->meter_ms[0] = sum->meter_ms[1] = MS_PER_DAY * n;
	return &bucket;
}

static struct uncertainty paired_of(
	const struct config *config, const struct energy_bucket *bucket)
{
	const struct question q = {.config = config, .boundary = h4};
	struct uncertainty u;
	struct energy_sum sum = figures_sum(bucket);
	ck_assert(budget_paired(&sum, bucket->across_known_j, NULL, &q, &u));
	return u;
}

static void days_keep_the_interval(
	const struct config *config, int n, const struct uncertainty *one)
{
	struct energy_bucket *season = a_day(n);
	struct uncertainty many = paired_of(config, season);
	ck_assert_double_eq_tol(many.ratio, one->ratio, 1e-12);
	ck_assert_double_eq_tol(many.heat, one->heat, 1e-12);
	ck_assert_double_eq_tol(many.electricity, one->electricity, 1e-12);
}

TEST(each_instrument_counts_with_what_it_measured)
{
	_cleanup_(config_freep) struct config *config = configured(
		"[plant]\nzone = UTC\npair_limit = 0.2 K\nflow_limit = 2 %\n" HEAT
		"[meter unit]\nfeeds = compressor\npower = a\nclass = 1\n"
		"[meter heater]\nfeeds = immersion\npower = b\nlimit = 5 %\n");
	struct energy_bucket *day = a_day(1);
	struct uncertainty u = paired_of(config, day);
	ck_assert_double_eq_tol(u.terms[TERM_PAIR].heat_j, 18e6 * 0.2 / ROOT3, 1e-3);
	/* Of what flowed, not of the heater's heat. */
	ck_assert_double_eq_tol(u.terms[TERM_FLOW].heat_j, 90e6 * 0.02 / ROOT3, 1e-3);
	ck_assert_double_eq_tol(u.terms[TERM_ELECTRICITY].electricity_j,
		hypot(30e6 * 0.01, 6e6 * 0.05) / ROOT3, 1e-3);
	ck_assert_double_eq_tol(
		u.terms[TERM_ELECTRICITY].heat_j, 6e6 * 0.05 / ROOT3, 1e-3);
	/* d(Q/E) = −Q/E² of the unit's joules, (1 − Q/E)/E of the heater's. */
	ck_assert_double_eq_tol(u.terms[TERM_ELECTRICITY].ratio,
		hypot(96.0 / 36 / 36 * 0.3, (96.0 / 36 - 1) / 36 * 0.3) / ROOT3, 1e-9);
}
END

/* The unit's meter read the heater's electricity as well, which is taken off: in the sum
 * of both it stands no more. */
TEST(a_meter_behind_another_cancels_out_in_their_sum)
{
	_cleanup_(config_freep) struct config *config =
		configured("[plant]\nzone = UTC\npair_limit = 0\nflow_limit = 0\n" HEAT
			   "[meter unit]\nfeeds = compressor\npower = a\nless = "
			   "heater\nlimit = 2 %\n"
			   "[meter heater]\nfeeds = immersion\npower = b\nlimit = 5 %\n");
	struct energy_bucket *day = a_day(1);
	struct uncertainty u = paired_of(config, day);
	ck_assert_double_eq_tol(u.electricity_j, 36e6 * 0.02 / ROOT3, 1e-3);
	ck_assert_double_eq_tol(u.heat_j, 6e6 * 0.05 / ROOT3, 1e-3);
	const struct question alone = {
		.config = config, .boundary = {.name = "H2", .meters = 1, .needs = 1}};
	struct energy_sum sum = figures_sum(day);
	sum.paired_electricity_j = 30000000;
	sum.paired_heat_j = 90000000;
	ck_assert(budget_paired(&sum, NULL, NULL, &alone, &u));
	ck_assert_double_eq_tol(
		u.electricity_j, hypot(36e6 * 0.02, 6e6 * 0.05) / ROOT3, 1e-3);
	ck_assert_double_eq(u.heat_j, 0);
}
END

TEST(equal_days_in_a_season_keep_the_interval_of_one)
{
	_cleanup_(config_freep) struct config *config =
		configured("[plant]\nzone = UTC\n" HEAT
			   "[meter unit]\nfeeds = compressor\npower = a\nclass = 1\n"
			   "[meter heater]\nfeeds = immersion\npower = b\n");
	struct energy_bucket *day = a_day(1);
	struct uncertainty one = paired_of(config, day);
	for (int n = 2; n < 400; n += 7)
		days_keep_the_interval(config, n, &one);
}
END

TEST(a_register_has_a_step_and_ends_that_cut_its_spans)
{
	_cleanup_(config_freep) struct config *config = configured(
		"[plant]\nzone = UTC\n" HEAT "[meter unit]\nfeeds = compressor\nregister "
		"= n\nstep = 1 kWh\nlimit = 0\n"
		"[meter heater]\nfeeds = immersion\npower = b\nlimit = 0\n");
	struct energy_bucket *day = a_day(1);
	day->across_known_j[0] = 5e6;
	struct uncertainty u = paired_of(config, day);
	ck_assert_double_eq_tol(
		u.terms[TERM_STEP].electricity_j, 3.6e6 / sqrt(6.0), 1e-3);
	ck_assert_double_eq_tol(u.terms[TERM_ACROSS].electricity_j, 5e6 / ROOT3, 1e-3);
	ck_assert_double_eq_tol(
		u.electricity_j, sqrt(3.6e6 * 3.6e6 / 6 + 25e12 / 3), 1e-3);
	ck_assert_int_eq(u.largest, TERM_ACROSS);
}
END

/* The same of a heat register, in the heat alone. */
TEST(a_heat_register_has_them_too)
{
	_cleanup_(config_freep) struct config *config = configured(
		"[plant]\nzone = UTC\nheat_source = register\nheat_limit = 0\n"
		"[channel heat_register]\ntopic = x/h\nunit = kWh\nstep = 1 kWh\n"
		"[channel a]\ntopic = x/a\nunit = W\n[channel b]\ntopic = x/b\nunit = W\n"
		"[meter unit]\nfeeds = compressor\npower = a\nlimit = 0\n"
		"[meter heater]\nfeeds = immersion\npower = b\nlimit = 0\n");
	struct energy_bucket *day = a_day(1);
	day->across_known_j[COUNTED_HEAT] = 7e6;
	struct uncertainty u = paired_of(config, day);
	ck_assert_double_eq_tol(u.heat_j, sqrt(3.6e6 * 3.6e6 / 6 + 49e12 / 3), 1e-3);
	ck_assert_double_eq(u.electricity_j, 0);
	ck_assert_double_eq_tol(u.ratio_expanded, 2 * u.heat_j / 36e6, 1e-9);
	ck_assert_int_eq(u.largest, TERM_ACROSS);
}
END

/* Heat by a power channel: of a meter's class, or of nothing that is known. */
TEST(heat_without_a_pair_has_its_own_limit)
{
	static const struct {
		const char *line;
		double percent; /* limits' root sum square */
		enum uncertainty_term largest;
	} rows[] = {{"", 10, TERM_SOURCE}, {"heat_limit = 4 %\n", 4, TERM_SOURCE},
		/* 2 + 0.02·10; 0.5 + 3·3/5; 0.5 + 3/5 */
		{"heat_class = 2\n", 3.36749164809655, TERM_PAIR}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text =
			xasprintf("[plant]\nzone = UTC\nheat_source = power\n%s"
				  "[channel heat_power]\ntopic = x/h\n[channel a]\ntopic "
				  "= x/a\nunit = W\n[channel b]\ntopic = x/b\nunit = W\n"
				  "[meter unit]\nfeeds = compressor\npower = a\nlimit = 0"
				  "\n[meter heater]\nfeeds = immersion\npower = b\nlimit "
				  "= 0\n",
				rows[i].line);
		_cleanup_(config_freep) struct config *config = configured(text);
		struct energy_bucket *day = a_day(1);
		day->modes[MODE_HEATING].paired_sensitivity_j_per_k = 0;
		struct uncertainty u = paired_of(config, day);
		ck_assert_double_eq_tol(u.heat_j, 90e4 * rows[i].percent / ROOT3, 1e-2);
		ck_assert_int_eq(u.largest, rows[i].largest);
	}
}
END

TESTS(each_instrument_counts_with_what_it_measured,
	a_meter_behind_another_cancels_out_in_their_sum,
	equal_days_in_a_season_keep_the_interval_of_one,
	a_register_has_a_step_and_ends_that_cut_its_spans, a_heat_register_has_them_too,
	heat_without_a_pair_has_its_own_limit)
