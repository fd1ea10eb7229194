/*
 * Flow and power in coarse steps: what a day's minutes say of them, and what is told.
 * Minutes are of an invented unit that runs 50 minutes of 80; its readings are rounded to
 * the steps in the table.
 */
#include "made_days.h"
#include "made_minutes.h"

#include <math.h>

enum { FLOW_RATE = 2, METERED = 3, BESIDE = 4 };

static const char small[] =
	"[plant]\nzone = Europe/Berlin\ndevices = compressor, circulation\n"
	"[channel flow_temperature]\ntopic = a/1\n[channel return_temperature]\ntopic = "
	"a/2\n[channel flow_rate]\ntopic = a/3\n[channel unit_power]\ntopic = a/4\n"
	"unit = W\n[channel other_power]\ntopic = a/5\nunit = W\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\n";

static double stepped(double value, double step)
{
	return step > 0.0 ? floor(value / step + 0.5) * step : value;
}

/* Flow wanders by some tenths about `lpm`, power by some ten watts about 1.5 kW. */
static struct sample *day_of(double lpm, double flow_step, double power_step)
{
	struct sample *s = sample_new(small);
	for (int i = 0; i < DAY; i++) {
		bool on = i % 80 < 50;
		double wander = sin(i * 1.7) + 0.5 * sin(i * 0.31);
		double w = on ? 1500.0 + 40.0 * wander : 12.0 + 0.3 * wander;
		of(s, FLOW_RATE)[i] = on ? stepped(lpm + 0.2 * wander, flow_step) : 0.0;
		of(s, METERED)[i] = of(s, BESIDE)[i] = stepped(w, power_step);
	}
	evidence_of(&s->day, NULL, &s->list);
	return s;
}

TEST(steps_beyond_what_instruments_are_off_by_are_evidence)
{
	static const struct {
		double lpm, flow_step, power_step; /* steps of the readings … */
		double flow, power;                /* … and what is told; 0 nothing */
	} rows[] = {
		{17.5, 0, 0, 0, 0},    /* fine */
		{17.5, 0.1, 10, 0, 0}, /* as most gateways publish */
		{17.5, 5, 500, 5, 500}, {17.0, 2, 1000, 2, 1000},
		{7.5, 5.0 / 3, 200, 5.0 / 3, 200}, /* 0.1 m³/h of 0.45 */
		{30.0, 1, 100, 0, 0},              /* of 30 no more than 2 % */
		{20.0, 5, 0, 0, 0},                /* one level: a pump of one speed */
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct sample *s =
			day_of(rows[i].lpm, rows[i].flow_step, rows[i].power_step);
		const struct evidence *flow = find(s, EVIDENCE_COARSE, FLOW_RATE);
		const struct evidence *power = find(s, EVIDENCE_COARSE, METERED);
		ck_assert_msg(!flow == (rows[i].flow == 0.0), "row %zu: flow", i);
		ck_assert_msg(!power == (rows[i].power == 0.0), "row %zu: power", i);
		ck_assert(!flow || flow->values[0] == rows[i].flow);
		ck_assert(!power || power->values[0] == rows[i].power);
		ck_assert(!flow || fabs(flow->values[2] - rows[i].lpm) <= rows[i].flow);
		ck_assert_ptr_null(find(s, EVIDENCE_COARSE, BESIDE)); /* of no meter */
		sample_free(s);
	}
}
END

TEST(coarse_amounts_say_what_a_reading_may_be_off_by)
{
	static const struct {
		int channel;
		double step, usual;
		const char *unit, *evidence, *remedy;
	} rows[] = {
		{FLOW_RATE, 5.0, 20.0, "L/min",
			"of 20 L/min, as is usual, a reading may "
			"be off by 12 %.",
			"state limit"},
		{METERED, 500.0, 1500.0, "W",
			"multiples of 500 W: of 1500 W, as is "
			"usual, a reading may be off by 17 %.",
			"qualified electrician"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(small);
		for (size_t d = 8; d < 10; d++) {
			struct evidence *e =
				add(m, d, EVIDENCE_COARSE, rows[i].channel, 0, 0);
			e->values[0] = rows[i].step;
			e->values[2] = rows[i].usual;
		}
		const struct finding *f = only(m, FINDING_RESOLUTION_COARSE);
		ck_assert_double_eq(f->size, rows[i].step);
		ck_assert_str_eq(f->unit, rows[i].unit);
		ck_assert_msg(strstr(f->evidence, rows[i].evidence), "%s", f->evidence);
		expect_advice(f, rows[i].remedy);
		expect_days(f, 8, 10);
		days_free(m);
	}
}
END

TESTS(steps_beyond_what_instruments_are_off_by_are_evidence,
	coarse_amounts_say_what_a_reading_may_be_off_by)
