/*
 * Quotients that are not answered, and why: of modes whose electricity or heat a register
 * spread evenly, and the others.
 *
 * Reference: figures.h's contract; the limit of a little that is spread is rectangular
 * (JCGM 100:2008, 4.3.7), by hand.
 */
#include "http_energy.h"

#include <math.h>

enum { UNIT, IMMERSION };

/* The unit's register alone counts 4 MJ in an hour, half of which it heated: 2 MJ are
 * laid over either mode. The next hour of the same power knows all of it but 50 kJ each.
 * In a third the heating alone has some. */
static void spread_evenly(size_t i, struct energy_bucket *b)
{
	static const int modes[] = {MODE_HEATING, MODE_STANDBY};
	static const int64_t spread_j[][ARRAY_LEN(modes)] = {
		{2000000, 2000000}, {50000, 50000}, {2000000, 0}};
	for (size_t k = 0; k < ARRAY_LEN(modes); k++) {
		struct energy_sum *sum = &b->modes[modes[k]];
		*sum = (struct energy_sum){.observed_ms = 1800000,
			.heat_ms = 1800000,
			.heat_j = k == 0 ? 8000000 : 0,
			.paired_heat_j = k == 0 ? 8000000 : 0,
			.paired_electricity_j = 2000000,
			.paired_electricity_spread_j = spread_j[i][k],
			.paired_ms = 1800000};
		sum->meter_j[UNIT] = sum->paired_meter_j[UNIT] = 2000000;
		sum->meter_ms[UNIT] = 1800000;
		sum->meter_spread_j[UNIT] = spread_j[i][k];
	}
}

static void spread_in_one(size_t i, struct energy_bucket *b)
{
	(void)i;
	spread_evenly(2, b);
}

/* Heating with 0.25 of 2 MJ in a span that is not over, of which power says 50 kJ more
 * than the register can hide; 0.1 kWh too much in sealed minutes. */
static void not_over(size_t i, struct energy_bucket *b)
{
	struct energy_sum *sum = &b->modes[MODE_HEATING];
	*sum = (struct energy_sum){.observed_ms = 3600000,
		.heat_ms = 3600000,
		.heat_j = 8000000,
		.paired_heat_j = 8000000,
		.paired_electricity_j = 2000000,
		.paired_ms = 3600000};
	sum->meter_j[UNIT] = sum->paired_meter_j[UNIT] = 2000000;
	sum->meter_ms[UNIT] = 3600000;
	if (i == 0)
		return;
	sum->meter_provisional_j[UNIT] = 500000;
	sum->heat_provisional_j = 720000;
	b->open_j[UNIT] = 50000;
	b->unplaced_j[UNIT] = -360000;
	b->unplaced_j[COUNTED_HEAT] = 36;
}

TEST(what_is_provisional_says_so)
{
	static struct energy_open open[COUNTED_MOST] = {
		[UNIT] = {.open = true,
			.begin_ms = INT64_C(1767226500000),
			.compared = true,
			.span = {.last_ms = INT64_C(1767229000500),
				.j = 414000,
				.power_j = 500000},
			.step_j = 36000,
			.beyond_j = 50000},
		[COUNTED_HEAT] = {.open = true, .begin_ms = INT64_C(1767229200000)}};
	struct http *http = serve();
	fake.open = open;
	plant_meters[UNIT].counted.counts = true;
	cJSON *json = energy(http, "&by=mode&boundary=H2%2Bcirculation", not_over);
	check_kwh(json, "columns/provisional_electricity_kwh/0", 0);
	check_kwh(json, "columns/provisional_electricity_kwh/1", 500000);
	check_kwh(json, "columns/provisional_heat_kwh/1", 720000);
	check_kwh(json, "modes/heating/provisional_electricity_kwh/1", 500000);
	check_kwh(json, "meters/unit/provisional_electricity_kwh/1", 500000);
	check_kwh(json, "columns/unplaced_electricity_kwh/1", -360000);
	check_kwh(json, "columns/unplaced_heat_kwh/1", 36);
	check_kwh(json, "meters/unit/unplaced_electricity_kwh/1", -360000);
	ck_assert_ptr_null(at(json, "modes/heating/unplaced_electricity_kwh"));
	ck_assert_str_eq(text_at(json, "units/unplaced_electricity_kwh"), "kW.h");
	/* ±50 of 2000 kJ, rectangular, k = 2; of the whole and of the one mode. */
	ck_assert_double_eq(number_at(json, "columns/cop_uncertainty/0"), 0);
	ck_assert_double_eq_tol(number_at(json, "columns/cop_uncertainty/1"),
		2 * 4 * 0.025 / sqrt(3.0), 1e-6);
	ck_assert_double_eq_tol(number_at(json, "modes/heating/cop_uncertainty/1"),
		2 * 4 * 0.025 / sqrt(3.0), 1e-6);
	/* One begins where the answer ends. */
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "provisional")), 1);
	ck_assert_str_eq(text_at(json, "provisional/0/quantity"), "electricity");
	ck_assert_str_eq(text_at(json, "provisional/0/meter"), "unit");
	ck_assert_double_eq(number_at(json, "provisional/0/since"), 1767226500);
	ck_assert_double_eq(number_at(json, "provisional/0/until"), 1767229000.5);
	check_kwh(json, "provisional/0/register_kwh", 414000);
	check_kwh(json, "provisional/0/power_kwh", 500000);
	check_kwh(json, "provisional/0/step_kwh", 36000);
	check_kwh(json, "provisional/0/beyond_kwh", 50000);
	cJSON_Delete(json);
	open[UNIT].compared = false;
	json = energy(http, "", not_over);
	ck_assert(null_at(json, "provisional/0/until"));
	ck_assert(null_at(json, "provisional/0/beyond_kwh"));
	cJSON_Delete(json);
	fake.open = NULL;
	plant_meters[UNIT].counted.counts = false;
	http_close(http);
}
END

TEST(what_is_spread_between_modes_is_no_quotient_of_theirs)
{
	struct http *http = serve();
	cJSON *json = energy(http, "&by=mode&boundary=H2%2Bcirculation", spread_evenly);
	ck_assert(null_at(json, "modes/heating/cop/0"));
	ck_assert(null_at(json, "modes/heating/cop_uncertainty/0"));
	ck_assert_str_eq(text_at(json, "modes/heating/no_cop_because/0"),
		"electricity is spread evenly over the steps of a register");
	check_kwh(json, "modes/heating/spread_electricity_kwh/0", 2000000);
	check_kwh(json, "columns/spread_electricity_kwh/0", 4000000);
	check_kwh(json, "modes/heating/electricity_kwh/0", 2000000);
	/* The whole is none the worse. */
	ck_assert_double_eq(number_at(json, "columns/cop/0"), 2);
	ck_assert(null_at(json, "columns/no_cop_because/0"));
	/* A little is a term: ±50 of 2000 kJ, rectangular, k = 2. */
	ck_assert_double_eq(number_at(json, "modes/heating/cop/1"), 4);
	ck_assert(null_at(json, "modes/heating/no_cop_because/1"));
	ck_assert_double_eq_tol(number_at(json, "modes/heating/cop_uncertainty/1"),
		2 * 4 * 0.025 / sqrt(3.0), 1e-6);
	ck_assert_double_eq(number_at(json, "columns/cop_uncertainty/1"), 0);
	cJSON_Delete(json);
	/* In a span of one mode nothing is mistaken for another's. */
	json = energy(http, "&by=mode&boundary=H2%2Bcirculation", spread_in_one);
	ck_assert_double_eq(number_at(json, "modes/heating/cop/0"), 4);
	ck_assert_double_eq(number_at(json, "modes/heating/cop_uncertainty/0"), 0);
	cJSON_Delete(json);
	http_close(http);
}
END

	/* An hour of heating and a little rest, another of cooling. */
	static void
	heats_then_cools(size_t i, struct energy_bucket *b)
{
	struct energy_sum *sum = &b->modes[i == 0 ? MODE_HEATING : MODE_COOLING];
	*sum = (struct energy_sum){.observed_ms = 3000000,
		.heat_j = i == 0 ? 8000000 : -8000000,
		.heat_ms = 3000000};
	sum->meter_j[UNIT] = 2000000;
	sum->meter_ms[UNIT] = 3000000;
	if (i > 0)
		return;
	sum->paired_heat_j = sum->heat_j;
	sum->paired_electricity_j = sum->paired_meter_j[UNIT] = 2000000;
	sum->paired_ms = 3000000;
	b->modes[MODE_STANDBY] = (struct energy_sum){.observed_ms = 600000,
		.heat_ms = 600000,
		.paired_ms = 600000,
		.paired_electricity_j = 35999};
}

TEST(a_quotient_that_is_not_there_says_why)
{
	struct http *http = serve();
	cJSON *json =
		energy(http, "&by=mode&boundary=H2%2Bcirculation", heats_then_cools);
	ck_assert(null_at(json, "columns/no_cop_because/0"));
	ck_assert_str_eq(
		text_at(json, "columns/no_cop_because/1"), "never known together");
	ck_assert_str_eq(text_at(json, "modes/standby/no_cop_because/0"),
		"too little electricity");
	ck_assert_str_eq(text_at(json, "modes/cooling/no_cop_because/1"), "cooling");
	ck_assert_ptr_null(at(json, "units/no_cop_because"));
	cJSON_Delete(json);
	http_close(http);
}
END

	/* Each mode with 8 MJ of 2 MJ, in which a defrost takes what the others give. */
	static void
	each_mode(size_t i, struct energy_bucket *b)
{
	(void)i;
	for (int m = 0; m < MODE_COUNT; m++) {
		int64_t heat_j = m == MODE_DEFROST ? -8000000 : 8000000;
		b->modes[m] = (struct energy_sum){.observed_ms = 600000,
			.heat_ms = 600000,
			.heat_j = heat_j,
			.paired_ms = 600000,
			.paired_heat_j = heat_j,
			.paired_electricity_j = 2000000};
		b->modes[m].meter_ms[UNIT] = 600000;
		b->modes[m].meter_j[UNIT] = b->modes[m].paired_meter_j[UNIT] = 2000000;
	}
}

TEST(a_mode_that_makes_no_heat_has_no_quotient)
{
	static const char *const none[] = {
		"defrost", "overrun", "standby", "freeze_protection"};
	static const char *const some[] = {"heating", "hot_water", "unassigned"};
	struct http *http = serve();
	cJSON *json = energy(http, "&by=mode&boundary=H2%2Bcirculation", each_mode);
	for (size_t i = 0; i < ARRAY_LEN(none); i++) {
		_cleanup_(freep) char *cop = xasprintf("modes/%s/cop/0", none[i]);
		_cleanup_(freep) char *why =
			xasprintf("modes/%s/no_cop_because/0", none[i]);
		ck_assert(null_at(json, cop));
		ck_assert_str_eq(text_at(json, why), "the mode makes no heat");
	}
	for (size_t i = 0; i < ARRAY_LEN(some); i++) {
		_cleanup_(freep) char *cop = xasprintf("modes/%s/cop/0", some[i]);
		ck_assert_double_eq(number_at(json, cop), 4);
	}
	/* Of seven modes but cooling one takes: 5 times 8 over 7 times 2. */
	ck_assert_double_eq_tol(number_at(json, "columns/cop/0"), 40.0 / 14, 1e-6);
	cJSON_Delete(json);
	http_close(http);
}
END

/* Where no boundary is offered it is not that little electricity flowed. */
TEST(without_a_boundary_none_is_the_reason)
{
	const struct config config = {.meter_count = 1,
		.meters = (struct meter_config[]){{.feeds = DEVICE_IMMERSION}}};
	const struct question q = {.config = &config};
	struct energy_bucket *b = xcalloc(1, sizeof(*b));
	b->modes[MODE_HEATING] = (struct energy_sum){.observed_ms = 60000,
		.heat_j = 9000000,
		.heat_ms = 60000,
		.paired_heat_j = 9000000,
		.paired_ms = 60000};
	const struct figures whole = figures_whole(b, &q);
	const struct figures mode = figures_mode(b, MODE_HEATING, &q);
	ck_assert(!whole.cells[COP].known && !mode.cells[COP].known);
	ck_assert_str_eq(
		no_cop_words[whole.cells[NO_COP].value], "no boundary is offered");
	ck_assert_int_eq(mode.cells[NO_COP].value, NO_COP_BOUNDARY);
	free(b);
}
END

TESTS(what_is_provisional_says_so, what_is_spread_between_modes_is_no_quotient_of_theirs,
	a_quotient_that_is_not_there_says_why,
	a_mode_that_makes_no_heat_has_no_quotient,
	without_a_boundary_none_is_the_reason)
