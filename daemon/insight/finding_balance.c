/*
 * A balance that does not close: the heat that is given is not what is taken from the
 * source and the electricity together. One of the three is wrong, and which one the
 * balance alone does not say; a factor worked out of heat and electricity may be off by
 * as much.
 *
 * A day counts that has at least 2 kWh, and is open beyond a tenth and beyond what the
 * instruments' limits of error explain, taken together and expanded (k = 2; JCGM 100).
 * Casing and inverter lose some per cents of the electricity, which a tenth leaves room
 * for: open measurements of a machine that is in order lie between 0.95 and 1.03, those
 * of one that is not below 0.83 (tests/data/lab_two_machines). Two such days of one sign
 * are a finding, so that it is told after the second; three days in a row that close end
 * it, days without the compressor say nothing.
 */
#include "finding.h"

#include "evidence.h"

#include <heatbook/balance.h>
#include <heatbook/mixture.h>
#include <heatbook/uncertainty.h>

#include <math.h>

enum { OPEN_DAYS = 2, CLOSED_DAYS = 3 };
#define DAY_LEAST_J (2.0 * J_PER_KWH)
#define OPEN_LIMIT  0.1
#define HEATER_FIRST                                                                     \
	"If the unit has a back-up heater, its warmth is in the heat, while no meter "   \
	"here feeds it, and nothing need be wrong: list it with the others in devices "  \
	"of [plant], and give its power a meter if something measures it. "

struct balance {
	double heat_j, electricity_j, taken_j;
	double heat_j_per_k, taken_j_per_k; /* the latter NaN where a meter says it */
};

static double lack_j(const struct balance *b)
{
	return b->heat_j - b->taken_j - b->electricity_j;
}

static double given_j(const struct balance *b)
{
	return b->taken_j + b->electricity_j;
}

static bool add_day(struct balance *sum, const struct finding_day *day)
{
	const struct evidence *e = finding_item(day, EVIDENCE_BALANCE, -1);
	if (!e)
		return false;
	sum->heat_j += e->values[0];
	sum->electricity_j += e->values[1];
	sum->taken_j += e->values[2];
	sum->heat_j_per_k += e->values[3];
	sum->taken_j_per_k += e->values[4];
	return true;
}

/* ---- what instruments explain ---- */

/* The worst of the compressor's meters. */
static double worst_meter_percent(const struct config *config)
{
	double most = 0.0;
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].feeds & DEVICE_COMPRESSOR)
			most = fmax(most, config->meters[m].limit_percent);
	return most;
}

static double heat_u_j(const struct plant_config *plant, const struct balance *b)
{
	bool computed = plant->heat_source == HEAT_COMPUTED;
	const struct uncertainty_sums sums = {.heat_j = b->heat_j,
		.measured_j = b->heat_j,
		.sensitivity_j_per_k = b->heat_j_per_k,
		.pair = plant->pair_limit,
		.calculator = plant->calculator_limit,
		.flow_limit_percent = plant->flow_limit_percent,
		.fluid_limit_percent =
			computed ? mixture_spread_percent(plant->fluid) : 0.0,
		.source_limit_percent = plant->source_limit_percent};
	return uncertainty_of(&sums).heat_j;
}

static double taken_u_j(const struct source_side *side, const struct balance *b)
{
	bool said = isnan(b->taken_j_per_k);
	const struct uncertainty_sums sums = {.heat_j = b->taken_j,
		.measured_j = b->taken_j,
		.sensitivity_j_per_k = said ? 0.0 : b->taken_j_per_k,
		.pair = {.k = side->pair_limit_k},
		.flow_limit_percent = said ? 0.0 : side->flow_limit_percent,
		.fluid_limit_percent = said ? 0.0 : mixture_spread_percent(side->fluid),
		.source_limit_percent = said ? side->heat_limit_percent : 0.0};
	return uncertainty_of(&sums).heat_j;
}

/* What the balance may be open by with every instrument within its limits. */
static double explained_j(const struct config *config, const struct balance *b)
{
	double meter_u_j =
		b->electricity_j * worst_meter_percent(config) / 100.0 / sqrt(3.0);
	return COVERAGE_FACTOR * hypot(hypot(heat_u_j(&config->plant, b),
					       taken_u_j(&config->plant.source, b)),
					 meter_u_j);
}

/* ---- days ---- */

enum opening { SAYS_NOTHING, CLOSES, GIVES_LESS, GIVES_MORE };

/* A day of a reversed clamp is a finding of its own. */
static enum opening opening_of(const struct finding_input *in, size_t day)
{
	struct balance b = {0};
	const struct finding_day *d = &in->days[day];
	if (!add_day(&b, d) || given_j(&b) < DAY_LEAST_J ||
		finding_item(d, EVIDENCE_POWER_NEGATIVE, -1))
		return SAYS_NOTHING;
	double lack = lack_j(&b);
	if (fabs(lack) <= OPEN_LIMIT * given_j(&b) ||
		fabs(lack) <= explained_j(in->config, &b))
		return CLOSES;
	return lack < 0.0 ? GIVES_LESS : GIVES_MORE;
}

static bool says_otherwise_later(
	const struct finding_input *in, struct run run, enum opening sign)
{
	for (size_t d = run.last + 1; d < in->day_count; d++) {
		enum opening o = opening_of(in, d);
		if (o != SAYS_NOTHING && o != sign)
			return true;
	}
	return false;
}

static struct balance sum_of(
	const struct finding_input *in, struct run run, enum opening sign)
{
	struct balance b = {0};
	for (size_t d = run.first; d <= run.last; d++)
		if (opening_of(in, d) == sign)
			(void)add_day(&b, &in->days[d]);
	return b;
}

static void add_open(const struct finding_input *in, struct run run, enum opening sign,
	struct finding_list *list)
{
	if (run.hits < OPEN_DAYS)
		return;
	const struct balance b = sum_of(in, run, sign);
	const struct balance now = sum_of(in, finding_in_season(in, run), sign);
	struct finding f = finding_new(in, FINDING_BALANCE_OPEN, "", run);
	f.lasts = !in->rows_follow && !says_otherwise_later(in, run, sign);
	f.size = 100.0 * lack_j(&b) / given_j(&b);
	f.unit = "%";
	f.effect = finding_effect(in, run, lack_j(&now), 0.0);
	f.evidence = xasprintf(
		"On %zu days %.1f kWh of electricity and %.1f kWh from the source went "
		"in while the compressor ran, and %.1f kWh of heat came out: %.0f %% %s. "
		"Instruments within their limits explain %.0f %%. The season's factor "
		"is off by so much if it is the heat that is wrong.",
		run.hits, b.electricity_j / J_PER_KWH, b.taken_j / J_PER_KWH,
		b.heat_j / J_PER_KWH, fabs(f.size), sign == GIVES_LESS ? "less" : "more",
		100.0 * explained_j(in->config, &b) / given_j(&b));
	bool heater = sign == GIVES_MORE && balance_heater_open(in->config);
	f.remedy = xasprintf(
		"%s of heat, source and electricity is measured wrong; the balance does "
		"not tell which. %s See what is easiest first: fluid_percent and "
		"source_fluid_percent against the last service's refractometer; units of "
		"both flows; whether the meter feeds the compressor alone and all of it; "
		"the rest check of the pair. If sensors are your own, outside the unit, "
		"compare each pair in one cup of water. What is inside the unit or in "
		"the source's circuit is for a qualified person. Put right what was "
		"wrong and rebuild these days.",
		heater ? HEATER_FIRST "Otherwise one" : "One",
		finding_phases_hint((b.heat_j - b.taken_j) / b.electricity_j));
	finding_add(list, &f);
}

void find_balance(const struct finding_input *in, struct finding_list *list)
{
	struct run run = {0};
	enum opening sign = SAYS_NOTHING;
	size_t closed = 0;
	for (size_t d = 0; d < in->day_count; d++) {
		enum opening o = opening_of(in, d);
		if (o == SAYS_NOTHING)
			continue;
		closed = o == CLOSES ? closed + 1 : 0;
		bool turns = o != CLOSES && o != sign;
		if (sign != SAYS_NOTHING && (turns || closed >= CLOSED_DAYS)) {
			add_open(in, run, sign, list);
			sign = SAYS_NOTHING;
		}
		if (o == CLOSES)
			continue;
		if (sign == SAYS_NOTHING)
			run = (struct run){.first = d};
		sign = o;
		run.last = d;
		run.hits++;
	}
	if (sign != SAYS_NOTHING)
		add_open(in, run, sign, list);
}
