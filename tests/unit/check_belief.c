/*
 * A day's sums of all modes that are hard to believe, whatever else is known of the
 * plant: what is off by a thousand, or by the 3.6 of megajoules, is told; what weather,
 * rest, heaters, cooling or a register's long spans make of a healthy one is not.
 *
 * Sources: 0.65 of Carnot's quotient at 15 K of lift and 65 °C is 14.65 (computed);
 * bounds of healthy units are own judgement.
 */
#include "made_days.h"

#include <math.h>

#define CHANNELS                                                                         \
	"[channel flow_temperature]\ntopic = a/1\n"                                      \
	"[channel return_temperature]\ntopic = a/2\n"                                    \
	"[channel unit_power]\ntopic = a/3\nunit = W\n"                                  \
	"[channel heater_power]\ntopic = a/4\nunit = W\n"
#define PLANT(devices, feeds)                                                            \
	"[plant]\nzone = Europe/Berlin\ndevices = " devices "\n" CHANNELS                \
	"[meter unit]\nfeeds = " feeds "\npower = unit_power\n"

static const char plain[] = PLANT("compressor", "compressor");
static const char backed[] =
	PLANT("compressor, backup_heater", "compressor, backup_heater");
static const char immersed[] = PLANT("compressor, immersion", "compressor, immersion");

/* Two heaters on one meter of their own. */
static const char rods[] = PLANT("compressor, backup_heater, immersion",
	"compressor") "[meter rods]\nfeeds = backup_heater, immersion\npower = "
		      "heater_power\n";

struct sums {
	double heat_kwh, electricity_kwh, heating_kwh;
	double heaters_kwh, mistaken_heat_kwh, mistaken_electricity_kwh;
};

static int64_t joules(double kwh)
{
	return llround(kwh * J_PER_KWH);
}

static struct made_days *days_with(const char *text, size_t count, struct sums s)
{
	struct made_days *m = days_of(text);
	for (size_t d = 10; d < 10 + count; d++) {
		m->days[d].paired_heat_j = joules(s.heat_kwh);
		m->days[d].paired_electricity_j = joules(s.electricity_kwh);
		m->days[d].heating_j = joules(s.heating_kwh);
		m->days[d].paired_heaters_j = joules(s.heaters_kwh);
		m->days[d].mistaken_heat_j = s.mistaken_heat_kwh * J_PER_KWH;
		m->days[d].mistaken_electricity_j =
			s.mistaken_electricity_kwh * J_PER_KWH;
	}
	return m;
}

TEST(sums_beyond_every_unit_are_told_without_mode_or_thermometer)
{
	static const struct {
		const char *text;
		struct sums sums;
		const char *evidence, *remedy;
	} rows[] = {
		{plain, {115.6, 0.0288, 0, 0, 0, 0}, "346.8 kWh of heat",
			"a thousand times too much"},
		{plain, {115.6, 28900.0, 0, 0, 0, 0}, "less heat than",
			"a thousand times too little"},
		/* a heat meter in MWh that is taken for kWh */
		{plain, {0.1156, 28.9, 0.1156, 0, 0, 0}, "less heat than",
			"a thousand times too little"},
		/* MJ that are taken for kWh, in a heating season */
		{plain, {115.6, 104.0, 115.6, 0, 0, 0}, "in the worst of weather",
			"kWh or MJ"},
		{plain, {0.0, 22.6, 0.0, 0, 0, 0}, "less heat than",
			"see flow, and the pump"},
		{plain, {30.0, 2.0, 30.0, 0, 0, 0}, "than 14.7", "every heater"},
		{plain, {20.0, 0.0, 20.0, 0, 0, 0}, "came of 0.000 kWh. ",
			"every heater"},
		/* its own heat and its own electricity, beside those of a heater */
		{plain, {50.0, 30.8, 50.0, 30.0, 0, 0}, "60.0 kWh of heat",
			"every heater"},
		{backed, {20.0, 26.0, 20.0, 0, 0, 0}, "A plain electric heater",
			"every heater"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_with(rows[i].text, 3, rows[i].sums);
		const struct finding *f = only(m, FINDING_EFFICIENCY_IMPLAUSIBLE);
		double heat = rows[i].sums.heat_kwh - rows[i].sums.heaters_kwh;
		double taken = rows[i].sums.electricity_kwh - rows[i].sums.heaters_kwh;
		ck_assert(taken > 0.0 ? fabs(f->size * taken - heat) < 1e-3
				      : isnan(f->size));
		ck_assert_str_eq(f->subject, "");
		ck_assert(isnan(f->effect));
		expect_days(f, 10, 13);
		ck_assert_msg(strstr(f->evidence, rows[i].evidence), "%s", f->evidence);
		expect_advice(f, rows[i].remedy);
		days_free(m);
	}
}
END

TEST(what_a_healthy_plant_may_do_is_believed)
{
	static const struct {
		const char *text;
		struct sums sums;
	} rows[] = {
		{plain, {30.0, 2.1, 30.0, 0, 0, 0}}, /* 14.3 */
		{plain, {1.9, 0.0, 1.9, 0, 0, 0}},   /* too little to tell */
		{plain, {0.0, 2.4, 0, 0, 0, 0}},     /* a summer's day at rest, 100 W */
		{plain, {1.0, 4.4, 0.0, 0, 0, 0}}, /* the same with a little hot water */
		{plain, {12.0, 10.0, 0.0, 0, 0, 0}},   /* hot water alone, short of 1.3 */
		{plain, {60.0, 40.0, 60.0, 0, 0, 0}},  /* 1.5 in the worst frost */
		{backed, {24.0, 24.0, 24.0, 0, 0, 0}}, /* its heater alone */
		{immersed, {5.0, 20.0, 5.0, 0, 0, 0}}, /* whose heat nothing sees */
		{rods, {15.0, 19.0, 15.0, 10.0, 0, 0}}, /* likewise in part */
		{plain, {41.0, 40.9, 0.0, 40.0, 0, 0}}, /* run by its heater, metered */
		{plain, {-10.0, 12.0, 0.0, 0, 0, 0}},   /* cooling without a flag */
		/* a reading a month: what flowed when is not known */
		{plain, {40.0, 1.7, 40.0, 0, 0, 40.0}},
		{plain, {5.0, 12.0, 5.0, 0, 0, 40.0}},
		{plain, {40.0, 2.0, 40.0, 0, 30.0, 0}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_with(rows[i].text, 10, rows[i].sums);
		none(m);
		days_free(m);
	}
}
END

TEST(two_days_are_no_finding)
{
	struct made_days *m = days_with(plain, 2, (struct sums){115.6, 0.03, 0, 0, 0, 0});
	none(m);
	days_free(m);
}
END

/* Each days' fault is told once. */
TEST(days_that_a_mode_or_another_fault_explains_are_not_told_again)
{
	static const enum evidence_kind kinds[] = {EVIDENCE_POWER_NEGATIVE,
		EVIDENCE_RETURN_ABOVE, EVIDENCE_FLOW_ZERO, EVIDENCE_EFFICIENCY};
	for (size_t k = 0; k < ARRAY_LEN(kinds); k++) {
		struct made_days *m =
			days_with(plain, 4, (struct sums){115.6, 0.03, 115.6, 0, 0, 0});
		for (size_t d = 10; d < 14; d++) {
			int subject = kinds[k] == EVIDENCE_EFFICIENCY       ? MODE_HEATING
				      : kinds[k] == EVIDENCE_POWER_NEGATIVE ? POWER
									    : -1;
			struct evidence *e = add(m, d, kinds[k], subject, 0, 900);
			const double values[] = {4e8, 1e5, 1e8, 30.0, 4e7, 5.0};
			memcpy(e->values, values, sizeof(values));
		}
		findings_of(&m->input, &m->list);
		size_t told = 0;
		for (size_t i = 0; i < m->list.count; i++) {
			const struct finding *f = &m->list.items[i];
			if (f->kind != FINDING_EFFICIENCY_IMPLAUSIBLE)
				continue;
			ck_assert_str_eq(f->subject, "heating");
			told++;
		}
		ck_assert_uint_eq(told, kinds[k] == EVIDENCE_EFFICIENCY);
		days_free(m);
	}
}
END

/* A mode's own evidence is held to the same least. */
TEST(heating_that_gives_hardly_more_than_a_heater_is_told)
{
	static const struct {
		const char *text;
		enum mode mode;
		double factor;
		bool told;
	} rows[] = {{plain, MODE_HEATING, 1.2, true}, {plain, MODE_HEATING, 1.5, false},
		{plain, MODE_HOT_WATER, 1.2, false}, {plain, MODE_HOT_WATER, 0.9, true},
		{backed, MODE_HEATING, 1.2, false}, {backed, MODE_HEATING, 0.9, true},
		{immersed, MODE_HOT_WATER, 0.5, false}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(rows[i].text);
		for (size_t d = 10; d < 14; d++) {
			struct evidence *e =
				add(m, d, EVIDENCE_EFFICIENCY, (int)rows[i].mode, 0, 900);
			const double values[] = {
				1e8, 1e8 / rows[i].factor, 3e7, 40.0, 1.2e7, -5.0};
			memcpy(e->values, values, sizeof(values));
		}
		if (rows[i].told)
			ck_assert_double_eq_tol(
				only(m, FINDING_EFFICIENCY_IMPLAUSIBLE)->size,
				rows[i].factor, 1e-9);
		else
			none(m);
		days_free(m);
	}
}
END

TESTS(sums_beyond_every_unit_are_told_without_mode_or_thermometer,
	what_a_healthy_plant_may_do_is_believed, two_days_are_no_finding,
	days_that_a_mode_or_another_fault_explains_are_not_told_again,
	heating_that_gives_hardly_more_than_a_heater_is_told)
