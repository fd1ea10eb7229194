/*
 * The statement's figures, what is missing for others, and its anonymous form, by hand.
 *
 * References: tests/data/renewable_heat_2013_114.csv (Commission Decision 2013/114/EU;
 * status in the file); half-widths by JCGM 100:2008 5.1.2, worked out here again.
 */
#include <heatbook/statement.h>

#include "fake_store.h"
#include "unit.h"

#define BEGIN_MS (INT64_C(1735686000) * 1000) /* 2025-01-01T00:00:00+01:00 */
#define KWH      INT64_C(3600000)

static struct channel_config channels[] = {
	{.name = (char[]){"Secret_Flow"},
		.topic = (char[]){"villa/cellar"},
		.role = ROLE_FLOW_TEMPERATURE,
		.dimension = DIMENSION_TEMPERATURE,
		.limit = 0.5},
	{.name = (char[]){"Secret_Air"},
		.topic = (char[]){"villa/roof"},
		.role = ROLE_OUTDOOR_TEMPERATURE,
		.dimension = DIMENSION_TEMPERATURE,
		.limit = (double)NAN},
	{.name = (char[]){"Secret_Extra"}, .role = ROLE_PLAIN, .limit = (double)NAN},
};
static struct meter_config meters[] = {
	{.name = (char[]){"Secret_Unit"},
		.feeds = DEVICE_COMPRESSOR,
		.serves = DEVICE_COMPRESSOR,
		.power_count = 1,
		.limit_percent = 2,
		.less = -1},
	{.name = (char[]){"Secret_Rod"},
		.feeds = DEVICE_IMMERSION,
		.serves = DEVICE_IMMERSION,
		.power_count = 1,
		.limit_percent = 1,
		.less = -1},
};
static struct correction_config corrections[] = {
	{.name = (char[]){"Secret_Strap"},
		.channel = 0,
		.factor = 1,
		.offset = -0.4,
		.from_ms = BEGIN_MS + 3 * MS_PER_DAY,
		.to_ms = INT64_MAX},
};
static struct config plant = {
	.path = (char[]){"/etc/secret.conf"},
	.plant = {.name = (char[]){"Secret House"},
		.zone = (char[]){"Europe/Berlin"},
		.devices = DEVICE_COMPRESSOR | DEVICE_IMMERSION,
		.degree_base_c = 15.5,
		.pressure_channel = -1,
		.assumed_channel = -1,
		.pair_limit = {.k = 0.3},
		.flow_limit_percent = 3},
	.channels = channels,
	.channel_count = ARRAY_LEN(channels),
	.meters = meters,
	.meter_count = ARRAY_LEN(meters),
	.corrections = corrections,
	.correction_count = 1,
};

/* What all of the span holds: heating 70 kWh of 20, hot water 9 by the unit of 4, and 1
 * by the immersion heater. */
static int64_t known_percent = 100;
static int64_t times = 1;
static int64_t unassigned_kwh;
static void span_sums(size_t i, struct energy_bucket *bucket)
{
	struct energy_sum *heating = &bucket->modes[MODE_HEATING];
	struct energy_sum *water = &bucket->modes[MODE_HOT_WATER];
	int64_t half_ms = (bucket->t_end_ms - bucket->t_ms) / 200 * known_percent;
	struct energy_sum *both[] = {heating, water};
	(void)i;
	bucket->modes_seen = 1u << MODE_HEATING | 1u << MODE_HOT_WATER;
	for (size_t m = 0; m < ARRAY_LEN(both); m++) {
		both[m]->observed_ms = both[m]->heat_ms = both[m]->paired_ms = half_ms;
		both[m]->meter_ms[0] = both[m]->meter_ms[1] = half_ms;
	}
	bucket->modes_seen |= unassigned_kwh ? 1u << MODE_UNASSIGNED : 0;
	bucket->modes[MODE_UNASSIGNED].heat_j = unassigned_kwh * KWH;
	heating->heat_j = heating->paired_heat_j = times * 70 * KWH;
	heating->sensitivity_j_per_k = heating->paired_sensitivity_j_per_k =
		(double)(times * 14 * KWH);
	heating->meter_j[0] = heating->paired_meter_j[0] = heating->paired_electricity_j =
		times * 20 * KWH;
	water->heat_j = times * 9 * KWH;
	water->sensitivity_j_per_k = water->paired_sensitivity_j_per_k =
		(double)(times * KWH);
	water->meter_j[0] = water->paired_meter_j[0] = times * 4 * KWH;
	water->meter_j[1] = water->paired_meter_j[1] = times * KWH;
	water->paired_electricity_j = times * 5 * KWH;
	water->paired_heat_j = times * 10 * KWH;
}

static double cold(size_t i)
{
	(void)i;
	return 5.5;
}

static struct statement *stated(int64_t days, bool anonymous)
{
	struct statement *s = xcalloc(1, sizeof(*s));
	struct statement_asked asked = {.config = &plant,
		.from_ms = BEGIN_MS,
		.to_ms = calendar_day_start(
			calendar_add(calendar_date(BEGIN_MS), 0, 0, (int)days)),
		.anonymous = anonymous};
	char why[256];
	fake.energy = span_sums;
	fake.outdoor = cold;
	ck_assert_int_eq(boundary_find(&plant, NULL, &asked.boundary, why), 0);
	ck_assert_str_eq(asked.boundary.name, "H4");
	ck_assert_int_eq(statement_ask((struct store *)(void *)&plant, &asked, s), 0);
	return s;
}

static void release(struct statement *s)
{
	statement_release(s);
	free(s);
}

static void expect_value(
	const struct statement *s, const char *name, double value, double half_width)
{
	const struct insight_value *v = insight_find(&s->answer, name);
	ck_assert_msg(v != NULL, "there is no %s", name);
	ck_assert_double_eq_tol(v->value, value, 1e-6 * fabs(value));
	if (isnan(half_width))
		ck_assert(isnan(v->low) && isnan(v->high));
	else
		ck_assert_double_eq_tol(
			(v->high - v->low) / 2.0, half_width, 1e-4 * half_width);
}

static bool lacks(const struct statement *s, const char *part)
{
	for (size_t i = 0; i < s->answer.missing_count; i++)
		if (strstr(s->answer.missing[i], part))
			return true;
	return false;
}

static void check_renewable(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 4);
	double spf = strtod(f[1], NULL), heat = strtod(f[0], NULL);
	if (strcmp(f[0], "threshold") == 0) /* 1.15/η; the Decision rounds it */
		ck_assert_double_eq_tol(strtod(f[2], NULL), RENEWABLE_LEAST_SPF, 0.03);
	else {
		ck_assert_double_eq_tol(
			renewable_heat(heat, spf), strtod(f[2], NULL), 1e-6);
		ck_assert_int_eq(renewable_counts(spf), strcmp(f[3], "yes") == 0);
	}
}

TEST(renewable_heat_is_that_of_the_decision)
{
	data_rows("renewable_heat_2013_114.csv", check_renewable, NULL);
	ck_assert(!renewable_counts(2.5));
}
END

/* Pair 0.3 K of 15 kWh/K; flow 3 % of 79 kWh; immersion 1 % of 1 kWh. */
TEST(figures_have_their_intervals)
{
	const double k = 2.0 / sqrt(3.0);
	struct statement *s;
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	s = stated(31, false);
	double heat_u = k * sqrt(pow(0.3 * 15, 2) + pow(0.03 * 79, 2) + pow(0.01, 2));
	double electricity_u = k * hypot(0.02 * 24, 0.01 * 1);
	expect_value(s, "heat_kwh", 80, heat_u);
	expect_value(s, "electricity_kwh", 25, electricity_u);
	ck_assert_double_eq_tol(
		insight_find(&s->answer, "efficiency")->value, 80.0 / 25.0, 1e-6);
	/* 10 of 80: by the pair 0.3 K · (1 − 15/8), by flow 3 % · (9 − 79/8), by the
	 * rod's meter 1 % · (1 − 1/8). */
	double share_u =
		k *
		sqrt(pow(0.3 * (1 - 15.0 / 8), 2) + pow(0.03 * (9 - 79.0 / 8), 2) +
			pow(0.01 * (1 - 1.0 / 8), 2)) /
		80;
	expect_value(s, "hot_water_share", 10.0 / 80, share_u);
	expect_value(s, "degree_days_kd", 310, (double)NAN);
	expect_value(s, "outdoor_c", 5.5, (double)NAN);
	ck_assert_double_eq(statement_coverage(s, HEAT_OBSERVED_S), 1.0);
	release(s);
}
END

/* Weighted by heat: 3 kWh at 30 + 4 °C, 1 kWh at 40 + 6 °C; another 20 at hot water. */
TEST(flow_temperatures_are_weighted_by_heat)
{
	const struct evidence items[] = {
		{EVIDENCE_EFFICIENCY, MODE_HEATING, BEGIN_MS / MS_PER_MIN, 600,
			{30 * KWH, 1, 1, 30, 1, 4}},
		{EVIDENCE_EFFICIENCY, MODE_HOT_WATER, BEGIN_MS / MS_PER_MIN, 60,
			{(double)(8 * KWH), 1, 1, 44, 1, 5}},
		{EVIDENCE_EFFICIENCY, MODE_HEATING, BEGIN_MS / MS_PER_MIN, 600,
			{10 * KWH, 1, 1, 40, 1, 6}},
	};
	struct statement *s;
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	fake.first_row = BEGIN_MS / MS_PER_MIN;
	fake.evidence = items;
	fake.evidence_count = ARRAY_LEN(items);
	s = stated(31, false);
	expect_value(
		s, "flow_temperature_heating_c", (3 * 34 + 46) / 4.0, 2 * 0.5 / sqrt(3));
	expect_value(s, "flow_temperature_hot_water_c", 49, 2 * 0.5 / sqrt(3));
	release(s);
	/* 10 of 70 kWh are not enough. */
	fake.evidence = items + 1;
	fake.evidence_count = 2;
	s = stated(31, false);
	ck_assert_ptr_null(insight_find(&s->answer, "flow_temperature_heating_c"));
	ck_assert(lacks(s, "flow_temperature_heating_c: minutes of half of the heat"));
	release(s);
	fake.evidence_count = 0;
}
END

/* A seasonal factor is one of a whole year of which 95 % is known. */
TEST(renewable_heat_takes_a_year)
{
	static const struct {
		int64_t days, percent, times;
		const char *lacks;
	} cases[] = {{364, 100, 365, "there are 364 days, known for 100 %"},
		{365, 94, 365, "there are 365 days, known for 94 %"},
		{365, 100, 365, NULL}};
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		times = cases[i].times;
		known_percent = cases[i].percent;
		struct statement *s = stated(cases[i].days, false);
		/* Heat at H2, without the rod's; the store's quotient is of all. */
		if (!cases[i].lacks) {
			expect_value(s, "renewable_share", 1 - 25.0 / 80, (double)NAN);
			ck_assert_double_eq_tol(
				insight_find(&s->answer, "renewable_heat_kwh")->value,
				365 * 79 * (1 - 25.0 / 80), 1);
		} else {
			ck_assert_ptr_null(insight_find(&s->answer, "renewable_share"));
			ck_assert_msg(lacks(s, cases[i].lacks), "%s", cases[i].lacks);
		}
		release(s);
	}
	times = 1;
	known_percent = 100;
}
END

TEST(a_share_takes_half_of_the_time)
{
	struct statement *s;
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	known_percent = 49;
	s = stated(31, false);
	ck_assert_ptr_null(insight_find(&s->answer, "hot_water_share"));
	ck_assert(lacks(s, "hot_water_share: heat is known for 49 % of the span"));
	/* What was not seen may have had more. */
	const struct insight_value *starts = insight_find(&s->answer, "starts");
	ck_assert(starts && starts->low == starts->value && isnan(starts->high));
	release(s);
	known_percent = 100;
}
END

/* 5 of 85 kWh are more than a twentieth, 4 of 84 are not. */
TEST(a_share_takes_modes)
{
	struct statement *s;
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	for (unassigned_kwh = 4; unassigned_kwh <= 5; unassigned_kwh++) {
		s = stated(31, false);
		bool told = unassigned_kwh == 4;
		ck_assert_int_eq(
			insight_find(&s->answer, "hot_water_share") != NULL, told);
		ck_assert_int_eq(lacks(s, "of 6 % of the heat no mode is known"), !told);
		release(s);
	}
	unassigned_kwh = 0;
}
END

TEST(what_is_not_there_is_missing_and_never_zero)
{
	struct statement *s = xcalloc(1, sizeof(*s));
	struct statement_asked asked = {.config = &plant,
		.from_ms = BEGIN_MS,
		.to_ms = BEGIN_MS + MS_PER_DAY,
		.no_boundary = "no meter is configured"};
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	fake.energy = NULL;
	fake.outdoor = NULL;
	channels[1].role = ROLE_PLAIN;
	ck_assert_int_eq(statement_ask((struct store *)(void *)&plant, &asked, s), 0);
	ck_assert_uint_eq(s->answer.count, 0);
	ck_assert(lacks(s, "heat_kwh: it is known in no minute"));
	ck_assert(lacks(s, "efficiency: what the meters feed makes no boundary"));
	ck_assert(lacks(s, "no channel has the role outdoor_temperature"));
	ck_assert_str_eq(s->no_boundary, "no meter is configured");
	ck_assert(lacks(s, "starts: no mode is known in any minute"));
	channels[1].role = ROLE_OUTDOOR_TEMPERATURE;
	release(s);
}
END

/* No name is left in what may be written, and figures have three digits. */
TEST(an_anonymous_one_has_no_names)
{
	const struct finding found = {.kind = FINDING_CHANNEL_FROZEN,
		.subject = "Secret_Flow",
		.since_ms = BEGIN_MS + 9 * MS_PER_DAY,
		.until_ms = BEGIN_MS + 40 * MS_PER_DAY,
		.unit = "min",
		.size = 40,
		.effect = (double)NAN,
		.evidence = (char[]){"Secret_Flow stood still."},
		.remedy = (char[]){"See Secret_Flow."}};
	char when[32];
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	fake.findings = &found;
	fake.finding_count = 1;
	times = 12345;
	struct statement *s = stated(31, true);
	ck_assert_ptr_null(s->config.plant.name);
	ck_assert_ptr_null(s->config.plant.zone);
	ck_assert_ptr_null(s->config.path);
	ck_assert_ptr_null(s->sums);
	ck_assert_str_eq(s->zone, "UTC+01:00");
	ck_assert_str_eq(s->config.meters[0].name, "compressor");
	ck_assert_str_eq(s->config.channels[0].name, "flow_temperature");
	ck_assert_str_eq(s->config.channels[2].name, "channel");
	ck_assert_str_eq(s->config.corrections[0].name, "correction 1");
	const struct finding *f = &s->findings.list.items[0];
	ck_assert_str_eq(f->subject, "");
	ck_assert_ptr_null(f->evidence);
	ck_assert_ptr_null(f->remedy);
	statement_when(s, f->until_ms, when);
	ck_assert_str_eq(when, "2025-02");
	/* 12345 · 80 = 987600 kWh. */
	const struct insight_value *heat = insight_find(&s->answer, "heat_kwh");
	ck_assert_double_eq(heat->value, 988000);
	ck_assert_int_eq(heat->decimals, 0);
	ck_assert_double_eq(fmod(heat->low, 1000), 0);
	ck_assert_int_eq(s->whole.cells[HEAT].value, INT64_C(988000) * 10000000);
	ck_assert_int_eq(s->meters[1].value, INT64_C(12300) * 10000000);
	ck_assert_double_eq_tol(insight_find(&s->answer, "efficiency")->value, 3.2, 1e-9);
	/* The owner's own is as it was. */
	ck_assert_str_eq(meters[0].name, "Secret_Unit");
	ck_assert_str_eq(plant.plant.name, "Secret House");
	release(s);
	times = 1;
	fake.finding_count = 0;
}
END

TEST(queries_that_fail_fail_it)
{
	struct statement *s = xcalloc(1, sizeof(*s));
	struct statement_asked asked = {
		.config = &plant, .from_ms = BEGIN_MS, .to_ms = BEGIN_MS + MS_PER_DAY};
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	fake.result = -EIO;
	ck_assert_int_eq(statement_ask((struct store *)(void *)&plant, &asked, s), -EIO);
	fake.result = 0;
	release(s);
}
END

TESTS(renewable_heat_is_that_of_the_decision, figures_have_their_intervals,
	flow_temperatures_are_weighted_by_heat, renewable_heat_takes_a_year,
	a_share_takes_half_of_the_time, a_share_takes_modes, what_is_not_there_is_missing_and_never_zero,
	an_anonymous_one_has_no_names, queries_that_fail_fail_it)
