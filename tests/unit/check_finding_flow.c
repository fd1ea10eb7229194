/*
 * Flow that falls, out of evidence made by hand over a winter and a spring: a pump that
 * follows the weather is no clogged strainer, and a strainer that clogs is one, be its
 * pump fixed or not.
 */
#include "made_days.h"

#include <math.h>

enum { SPAN_DAYS = 120 };

/* From -4 °C to 14 °C and back, with days that differ by some kelvins. */
static double air_c(size_t d)
{
	double season = 9.0 * (1.0 - cos((double)d * 3.14159265 / 60.0));
	return -4.0 + season + 3.0 * sin((double)d);
}

/* As pumps do: between a least and a most. */
static double follows_lpm(double c)
{
	return fmax(9.0, fmin(17.0, 18.0 - 0.5 * (c + 4.0)));
}

static double fixed_lpm(double c)
{
	(void)c;
	return 17.5;
}

enum weather { OUTDOORS, HEAT_ALONE, NO_WEATHER };

static struct made_days *year_of(double (*lpm)(double c), double clogs, enum weather how)
{
	struct made_days *m = days_new();
	m->input.day_count = SPAN_DAYS;
	for (size_t d = 0; d < SPAN_DAYS; d++) {
		double c = air_c(d);
		double part = d < 80 ? 0.0 : fmin(1.0, (double)(d - 80) / 30.0);
		struct evidence *e = add(m, d, EVIDENCE_FLOW, -1, 0, 600);
		e->values[0] =
			lpm(c) * (1.0 - clogs * part) + 0.05 * sin((double)d * 7.0);
		e->values[1] = (double)NAN;
		if (how == OUTDOORS)
			add(m, d, EVIDENCE_OUTDOOR, -1, 0, 1440)->values[1] = c;
		if (how == HEAT_ALONE) {
			m->days[d].paired_heat_j = llround(3.6e6 * (18.0 - c) * 4.0);
			m->days[d].paired_electricity_j = m->days[d].paired_heat_j / 3;
		}
	}
	return m;
}

TEST(a_pump_that_follows_the_weather_is_no_clogged_strainer)
{
	static const enum weather ways[] = {OUTDOORS, HEAT_ALONE};
	for (size_t i = 0; i < ARRAY_LEN(ways); i++) {
		struct made_days *m = year_of(follows_lpm, 0.0, ways[i]);
		none(m);
		days_free(m);
	}
}
END

TEST(a_strainer_that_clogs_is_told_whatever_the_pump_does)
{
	static const struct {
		double (*lpm)(double c);
		enum weather how;
	} rows[] = {{follows_lpm, OUTDOORS}, {follows_lpm, HEAT_ALONE},
		{fixed_lpm, OUTDOORS}, {fixed_lpm, HEAT_ALONE}, {fixed_lpm, NO_WEATHER}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = year_of(rows[i].lpm, 0.3, rows[i].how);
		const struct finding *f = only(m, FINDING_FLOW_FALLING);
		ck_assert_double_ge(f->size, 15.0);
		ck_assert_double_le(f->size, 31.0);
		ck_assert_int_ge(f->since_ms, (START + 80 * MIN_PER_DAY) * MS_PER_MIN);
		ck_assert(f->lasts);
		days_free(m);
	}
}
END

TESTS(a_pump_that_follows_the_weather_is_no_clogged_strainer,
	a_strainer_that_clogs_is_told_whatever_the_pump_does)
