/*
 * The budget against drawing: a day's heat and electricity are worked out again and again
 * with instruments that are off by drawn amounts (JCGM 101:2008, 7; from memory), and the
 * spread of what comes out is compared with the law of propagation.
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
#define HOURS 24
#define BAR   2.0

/* A plant's day by the hour: invented, with a hot-water run, a defrost and rest. */
struct hour {
	double flow_c, return_c, lpm;
	double unit_w, heater_w;
};

static struct hour hour(int h)
{
	if (h % 6 == 5)
		return (struct hour){25, 25, 0, 12, 0};
	if (h == 13)
		return (struct hour){51, 46, 18, 2400, 1500};
	if (h == 3)
		return (struct hour){27, 29, 16, 900, 0};
	return (struct hour){33 + h % 5, 29 + h % 4, 15 + h % 3, 1100 + 40 * h, 300};
}

/* What instruments are off by. */
struct errors {
	double pair_k, flow, unit, heater;
};

/* How the heater counts. */
struct account {
	double in_heat, in_electricity;
};

struct outcome {
	double measured_j, sensitivity_j_per_k;
	double unit_j, heater_j;
	double heat_j, electricity_j;
};

static struct outcome day(const struct errors *off, const struct account *account)
{
	static const struct heat_setting setting = {.flow_sensor_pipe = PIPE_RETURN};
	struct outcome o = {0};
	for (int i = 0; i < HOURS; i++) {
		struct hour h = hour(i);
		double w, w_per_k;
		heat_flow(&setting, h.lpm * (1 + off->flow), h.flow_c + off->pair_k,
			h.return_c, BAR, &w, &w_per_k);
		o.measured_j += 3600 * w;
		o.sensitivity_j_per_k += 3600 * w_per_k;
		o.unit_j += 3600 * h.unit_w * (1 + off->unit);
		o.heater_j += 3600 * h.heater_w * (1 + off->heater);
	}
	o.heat_j = o.measured_j + account->in_heat * o.heater_j;
	o.electricity_j = o.unit_j + account->in_electricity * o.heater_j;
	return o;
}

/* Limits ±: K, percent. */
static const double pair_k = 0.15, flow_percent = 3, unit_percent = 2, heater_percent = 5;

static double drawn(uint64_t *random, double limit)
{
	return limit * (2 * ((double)(unit_random(random) >> 11) * 0x1p-53) - 1);
}

static struct uncertainty foretold(const struct outcome *o, const struct account *account)
{
	const struct metered meters[] = {{o->unit_j, unit_percent, 1, 0, {0, 0}},
		{o->heater_j, heater_percent, account->in_electricity, account->in_heat,
			{0, 0}}};
	const struct uncertainty_sums sums = {.heat_j = o->heat_j,
		.measured_j = o->measured_j,
		.sensitivity_j_per_k = o->sensitivity_j_per_k,
		.pair.k = pair_k,
		.flow_limit_percent = flow_percent,
		.electricity_j = o->electricity_j,
		.meters = meters,
		.meter_count = 2};
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
	const char *what, const struct moments *m, double u, double parts)
{
	double mean = m->sum / DRAWS;
	double s = sqrt((m->squares / DRAWS - mean * mean) * DRAWS / (DRAWS - 1));
	double most = 4 * 0.5 * sqrt(2.0 / DRAWS) + 4 * parts;
	printf("# %s: drawn %.6g, foretold %.6g, %.2f %% apart of %.2f %%\n", what, s, u,
		100 * (s / u - 1), 100 * most);
	ck_assert_msg(fabs(s / u - 1) <= most, "%s: drawn %g, foretold %g", what, s, u);
	/* Sums of rectangular quantities lie in ±2u at least as often as normal ones do
	 * in ±1.96: the fraction's own standard error is √(0.05·0.95/M). */
	ck_assert_double_ge(
		(double)m->inside / DRAWS, 0.95 - 4 * sqrt(0.05 * 0.95 / DRAWS));
}

static void check_account(const struct account *account)
{
	uint64_t random = unit_seed();
	static const struct errors none;
	const struct outcome exact = day(&none, account);
	const struct uncertainty u = foretold(&exact, account);
	const double parts = u.heat * u.heat + u.electricity * u.electricity;
	const double ratio = exact.heat_j / exact.electricity_j;
	struct moments heat = {0}, electricity = {0}, quotient = {0};
	for (int i = 0; i < DRAWS; i++) {
		const struct errors off = {drawn(&random, pair_k),
			drawn(&random, flow_percent / 100),
			drawn(&random, unit_percent / 100),
			drawn(&random, heater_percent / 100)};
		struct outcome o = day(&off, account);
		moments_add(&heat, o.heat_j - exact.heat_j, u.heat_expanded_j);
		moments_add(&electricity, o.electricity_j - exact.electricity_j,
			u.electricity_expanded_j);
		moments_add(
			&quotient, o.heat_j / o.electricity_j - ratio, u.ratio_expanded);
	}
	expect_as_foretold("heat", &heat, u.heat_j, parts);
	expect_as_foretold("electricity", &electricity, u.electricity_j, parts);
	expect_as_foretold("ratio", &quotient, u.ratio_expanded / 2, parts);
}

TEST(a_heater_that_counts_as_heat_and_as_electricity)
{
	check_account(&(struct account){1, 1});
}
END

TEST(a_heater_that_is_taken_off_the_heat)
{
	check_account(&(struct account){-1, 0});
}
END

TEST(a_heater_that_is_in_the_electricity_alone)
{
	check_account(&(struct account){0, 1});
}
END

TESTS(a_heater_that_counts_as_heat_and_as_electricity, a_heater_that_is_taken_off_the_heat,
	a_heater_that_is_in_the_electricity_alone)
