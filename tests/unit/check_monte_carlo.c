/*
 * The budget against drawing: a day's heat and electricity are worked out again and again
 * with instruments that are off by drawn amounts (JCGM 101:2008, 7; from memory), and the
 * spread of what comes out is compared with the law of propagation. Every term of the
 * budget is drawn: once alone, so that it cannot hide behind a larger one, and
 * once with all others. A register is read at a day's both ends, each time up to a step
 * late. Meters stand side by side, or behind each other in a line, where one instrument's
 * error is in several meters' electricity.
 *
 * How far both may differ. The standard deviation s of M draws has the relative standard
 * error ½·√((κ − 1)/M); sums of rectangular quantities have a kurtosis κ below 3, so it
 * is at most ½·√(2/M), of which four are allowed. The law leaves out the terms of second
 * order, Σ (½·f_ij² + f_i·f_ijj)·u_i²·u_j² (JCGM 100:2008, 5.1.2, note). Of quantities
 * that are products of factors (1 + x) and one quotient these are, relative, at most
 * 8·(Σ u_i²)²: ½·2² + 1·6 of the quotient's own square, less of all others. So s² differs
 * by at most 8·u² of itself for it, s by 4·u², u being the sum of all parts' squares.
 */
#include "unit.h"

#include <heatbook/heat.h>
#include <heatbook/uncertainty.h>

#define DRAWS 100000
#define BAR   2.0
#define KWH_J 3.6e6

enum { UNIT, HEATER, PUMP, METERS };

/* A plant's day in stretches of three hours: invented, with a hot-water run, a defrost
 * and rest. */
#define STRETCH_S (3 * 3600)
static const struct stretch {
	double flow_c, return_c, lpm;
	double w[METERS];
} stretches[] = {
	{34, 30, 15, {1140, 300, 40}},
	{27, 29, 16, {900, 0, 40}},
	{35, 31, 16, {1300, 300, 40}},
	{25, 25, 0, {12, 0, 0}},
	{51, 46, 18, {2400, 1500, 60}},
	{36, 31, 17, {1600, 300, 40}},
	{37, 32, 15, {1700, 300, 40}},
	{33, 29, 17, {1950, 300, 40}},
};

/* Limits ±, of all that the budget knows. */
struct limits {
	struct difference_limit pair, calculator;
	double flow_percent, fluid_percent, source_percent;
	double meter_percent[METERS];
	struct counter_limit heat, meter[METERS];
	double evenly_heat_j, evenly_electricity_j;
};

/* Which devices a meter's own reading is of, and how a joule of that reading counts. */
struct account {
	const char *name;
	double reads[METERS][METERS];
	double in_heat[METERS], in_electricity[METERS];
};

struct outcome {
	double measured_j, sensitivity_j_per_k;
	double reading_j[METERS];
	double heat_j, electricity_j;
};

/* What is drawn: of each limit a part between −1 and 1, of each counter what its two
 * readings are late by. */
struct errors {
	double pair, calculator, flow, fluid, source, meter[METERS];
	double heat_late, heat_across, late[METERS], across[METERS];
	double evenly_heat, evenly_electricity;
};

static double shifted(
	const struct difference_limit *limit, double part, double difference)
{
	return part * (limit->k + limit->percent / 100 * difference);
}

/* The day's heat as the temperatures are read, before anything else is off. */
static void temperatures_of(
	const struct limits *l, const struct errors *off, struct outcome *o)
{
	static const struct heat_setting setting = {.flow_sensor_pipe = PIPE_RETURN};
	for (size_t i = 0; i < ARRAY_LEN(stretches); i++) {
		const struct stretch *s = &stretches[i];
		double w, w_per_k, difference = s->flow_c - s->return_c;
		double flow_c = s->flow_c + shifted(&l->pair, off->pair, difference) +
				shifted(&l->calculator, off->calculator, difference);
		heat_flow(&setting, s->lpm, flow_c, s->return_c, BAR, &w, &w_per_k);
		o->measured_j += STRETCH_S * w;
		o->sensitivity_j_per_k += STRETCH_S * w_per_k;
	}
}

static bool may_be_off(const struct difference_limit *limit)
{
	return limit->k > 0 || limit->percent > 0;
}

/* Heat is in proportion to the flow, so the flow's factor may be taken after the sum. */
static void heat_of(const struct limits *l, const struct errors *off, struct outcome *o)
{
	static const struct errors none;
	static struct outcome exact;
	if (exact.measured_j == 0.0)
		temperatures_of(l, &none, &exact);
	if (may_be_off(&l->pair) || may_be_off(&l->calculator))
		temperatures_of(l, off, o);
	else
		*o = exact;
	o->measured_j *= (1 + off->flow * l->flow_percent / 100) *
			 (1 + off->fluid * l->fluid_percent / 100) *
			 (1 + off->source * l->source_percent / 100);
	o->measured_j +=
		off->heat_late * l->heat.step_j + off->heat_across * l->heat.across_j;
}

static double true_reading_j(const struct account *a, size_t meter)
{
	double w = 0;
	for (size_t i = 0; i < ARRAY_LEN(stretches); i++)
		for (size_t d = 0; d < METERS; d++)
			w += a->reads[meter][d] * stretches[i].w[d];
	return STRETCH_S * w;
}

static struct outcome day(
	const struct limits *l, const struct errors *off, const struct account *a)
{
	struct outcome o = {0};
	heat_of(l, off, &o);
	o.heat_j = o.measured_j + off->evenly_heat * l->evenly_heat_j;
	o.electricity_j = off->evenly_electricity * l->evenly_electricity_j;
	for (size_t m = 0; m < METERS; m++) {
		o.reading_j[m] = true_reading_j(a, m) *
					 (1 + off->meter[m] * l->meter_percent[m] / 100) +
				 off->late[m] * l->meter[m].step_j +
				 off->across[m] * l->meter[m].across_j;
		o.heat_j += a->in_heat[m] * o.reading_j[m];
		o.electricity_j += a->in_electricity[m] * o.reading_j[m];
	}
	return o;
}

static double part(uint64_t *random)
{
	return 2 * ((double)(unit_random(random) >> 11) * 0x1p-53) - 1;
}

/* How late two readings are, in steps, each anything from 0 to 1. */
static double late(uint64_t *random)
{
	return (part(random) - part(random)) / 2;
}

static struct errors draw(uint64_t *random)
{
	struct errors off = {.pair = part(random),
		.calculator = part(random),
		.flow = part(random),
		.fluid = part(random),
		.source = part(random),
		.heat_late = late(random),
		.heat_across = part(random),
		.evenly_heat = part(random),
		.evenly_electricity = part(random)};
	for (size_t m = 0; m < METERS; m++) {
		off.meter[m] = part(random);
		off.late[m] = late(random);
		off.across[m] = part(random);
	}
	return off;
}

static struct uncertainty foretold(
	const struct outcome *o, const struct limits *l, const struct account *a)
{
	struct metered meters[METERS];
	for (size_t m = 0; m < METERS; m++)
		meters[m] = (struct metered){o->reading_j[m], l->meter_percent[m],
			a->in_electricity[m], a->in_heat[m], l->meter[m]};
	const struct uncertainty_sums sums = {.heat_j = o->heat_j,
		.measured_j = o->measured_j,
		.sensitivity_j_per_k = o->sensitivity_j_per_k,
		.pair = l->pair,
		.calculator = l->calculator,
		.flow_limit_percent = l->flow_percent,
		.fluid_limit_percent = l->fluid_percent,
		.source_limit_percent = l->source_percent,
		.counter = l->heat,
		.evenly_heat_j = l->evenly_heat_j,
		.evenly_electricity_j = l->evenly_electricity_j,
		.electricity_j = o->electricity_j,
		.meters = meters,
		.meter_count = METERS};
	return uncertainty_of(&sums);
}

struct moments {
	double sum, squares;
	size_t inside; /* the expanded interval */
};

static void moments_add(struct moments *m, double difference, double half_width)
{
	m->sum += difference;
	m->squares += difference * difference;
	m->inside += fabs(difference) <= half_width;
}

static void expect_as_foretold(
	const char *what, const struct moments *m, double u, double value, double parts)
{
	double mean = m->sum / DRAWS;
	double s = sqrt((m->squares / DRAWS - mean * mean) * DRAWS / (DRAWS - 1));
	double most = 4 * 0.5 * sqrt(2.0 / DRAWS) + 4 * parts;
	if (u <= 1e-12 * fabs(value)) { /* nothing of it is drawn */
		ck_assert_double_le(s, 1e-9 * fabs(value));
		return;
	}
	printf("# %s: drawn %.6g, foretold %.6g, %.2f %% apart of %.2f %%\n", what, s, u,
		100 * (s / u - 1), 100 * most);
	ck_assert_msg(fabs(s / u - 1) <= most, "%s: drawn %g, foretold %g", what, s, u);
	/* Sums of rectangular quantities lie in ±2u at least as often as normal ones do
	 * in ±1.96: the fraction's own standard error is √(0.05·0.95/M). */
	ck_assert_double_ge(
		(double)m->inside / DRAWS, 0.95 - 4 * sqrt(0.05 * 0.95 / DRAWS));
}

static void check(
	const char *name, const struct limits *limits, const struct account *account)
{
	uint64_t random = unit_seed();
	static const struct errors none;
	const struct outcome exact = day(limits, &none, account);
	const struct uncertainty u = foretold(&exact, limits, account);
	const double parts = u.heat * u.heat + u.electricity * u.electricity;
	const double ratio = exact.heat_j / exact.electricity_j;
	struct moments heat = {0}, electricity = {0}, quotient = {0};
	for (int i = 0; i < DRAWS; i++) {
		const struct errors off = draw(&random);
		struct outcome o = day(limits, &off, account);
		moments_add(&heat, o.heat_j - exact.heat_j, u.heat_expanded_j);
		moments_add(&electricity, o.electricity_j - exact.electricity_j,
			u.electricity_expanded_j);
		moments_add(
			&quotient, o.heat_j / o.electricity_j - ratio, u.ratio_expanded);
	}
	printf("# %s, %s\n", name, account->name);
	expect_as_foretold("heat", &heat, u.heat_j, exact.heat_j, parts);
	expect_as_foretold(
		"electricity", &electricity, u.electricity_j, exact.electricity_j, parts);
	expect_as_foretold("ratio", &quotient, u.ratio_expanded / 2, ratio, parts);
}

/* Meters side by side. */
#define APART                                                                            \
	{                                                                                \
		{1, 0, 0}, {0, 1, 0},                                                    \
		{                                                                        \
			0, 0, 1                                                          \
		}                                                                        \
	}
/* The pump's before the unit's before the heater's: each reads what is behind, too. */
#define IN_LINE                                                                          \
	{                                                                                \
		{1, 1, 0}, {0, 1, 0},                                                    \
		{                                                                        \
			1, 1, 1                                                          \
		}                                                                        \
	}

static const struct account apart = {"side by side", APART, {0, 1, 0}, {1, 1, 0}};

/* One limit, and nothing else that is off. */
TEST(each_term_alone_is_as_foretold)
{
	static const struct {
		const char *name;
		struct limits limits;
	} rows[] = {
		{"temperature pair", {.pair = {0, 0.15}}},
		{"matched pair", {.pair = {1, 0.1}}},
		{"calculator", {.calculator = {1, 0.05}}},
		{"flow", {.flow_percent = 4}},
		{"fluid", {.fluid_percent = 2}},
		{"heat source", {.source_percent = 8}},
		{"heat register's step", {.heat.step_j = KWH_J}},
		{"heat register's timing", {.heat.across_j = 1.5 * KWH_J}},
		{"unit", {.meter_percent = {5, 0, 0}}},
		{"heater", {.meter_percent = {0, 10, 0}}},
		{"unit's register step", {.meter[UNIT].step_j = KWH_J}},
		{"heater's register step", {.meter[HEATER].step_j = KWH_J}},
		{"unit's register timing", {.meter[UNIT].across_j = KWH_J}},
		{"even spreading of heat", {.evenly_heat_j = 2 * KWH_J}},
		{"even spreading of electricity", {.evenly_electricity_j = KWH_J}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		check(rows[i].name, &rows[i].limits, &apart);
}
END

	static const struct limits all = {.pair = {0.5, 0.1},
		.calculator = {0.5, 0.03},
		.flow_percent = 3,
		.fluid_percent = 0.64,
		.meter_percent = {2, 5, 3},
		.heat = {0.3 * KWH_J, 0.4 * KWH_J},
		.meter = {{0.5 * KWH_J, 0.2 * KWH_J}, {0.2 * KWH_J, 0.1 * KWH_J}, {0, 0}},
		.evenly_electricity_j = 0.2 * KWH_J};

TEST(all_terms_together_are_as_foretold_however_the_heater_counts)
{
	static const struct account accounts[] = {
		{"heater as heat and electricity", APART, {0, 1, 0}, {1, 1, 0}},
		{"heater off the heat", APART, {0, -1, 0}, {1, 0, 0}},
		{"everything", APART, {0, 1, 0}, {1, 1, 1}},
	};
	for (size_t i = 0; i < ARRAY_LEN(accounts); i++)
		check("all terms", &all, &accounts[i]);
}
END

/* The unit's electricity is its meter's reading less the heater's, which counts as heat
 * besides: what the heater's meter is off by is in both, once with the other sign. */
TEST(meters_behind_each_other_are_as_foretold)
{
	static const struct account accounts[] = {
		{"the unit, of a line", IN_LINE, {0, 0, 0}, {1, -1, 0}},
		{"the unit, the heater off the heat", IN_LINE, {0, -1, 0}, {1, -1, 0}},
		{"unit and heater, of a line", IN_LINE, {0, 1, 0}, {1, 0, 0}},
		{"unit and pump without the heater", IN_LINE, {0, 0, 0}, {0, -1, 1}},
		{"the whole line", IN_LINE, {0, 1, 0}, {0, 0, 1}},
	};
	static const struct limits meters = {.meter_percent = {4, 10, 4},
		.meter = {{0.5 * KWH_J, 0}, {0.5 * KWH_J, 0.2 * KWH_J}, {0, 0}}};
	for (size_t i = 0; i < ARRAY_LEN(accounts); i++)
		check("meters alone", &meters, &accounts[i]);
	check("all terms", &all, &accounts[1]);
	check("all terms", &all, &accounts[ARRAY_LEN(accounts) - 1]);
}
END

TESTS(each_term_alone_is_as_foretold,
	all_terms_together_are_as_foretold_however_the_heater_counts,
	meters_behind_each_other_are_as_foretold)
