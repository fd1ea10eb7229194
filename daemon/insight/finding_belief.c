/*
 * Efficiency that is hard to believe: where it is beyond any unit, a sensor or a unit of
 * measure is wrong.
 *
 * By mode where outdoor air, flow and electricity of each minute are known
 * (evidence_energy.c). Air is a yardstick where it is the source ([plant] source_kind);
 * of other sources only what no temperature of a source would give is beyond any unit.
 *
 * By the day's sums of all modes, whatever is known beside: those of any plant, also
 * where nothing tells modes, no thermometer is there, or a register alone counts. From
 * heat and electricity heaters' own is taken off, from electricity all that a unit at
 * rest may draw, and what spans of registers may have brought from other days or from
 * cooling never makes a day hard to believe. Less than a heater gives is believed of no
 * plant, of a day of heating not even a little more.
 */
#include "finding.h"

#include "evidence.h"

#include <math.h>
#include <string.h>

enum { UNBELIEVED_DAYS = 3, UNBELIEVED_GAP = 7 };
#define UNBELIEVED_J     (2.0 * J_PER_KWH)
#define IDEAL_SHARE_MOST 0.65 /* of Carnot's quotient: own judgement */
#define LEAST_LIFT_K     15.0 /* no source is nearer to what warms a house */
#define FLOW_MOST_C      65.0 /* of a day's sums, of which it is not known */
#define ZERO_C_K         273.15
#define HEATER_GIVES     1.0
/* Of units that heat a house in the worst weather, defrosts and all: own judgement. */
#define HEATING_GIVES 1.3

/* Devices within the electricity of what meters the unit. */
static unsigned within_unit(const struct finding_input *in)
{
	unsigned devices = 0;
	for (size_t m = 0; m < in->config->meter_count; m++)
		if (in->config->meters[m].serves & DEVICE_COMPRESSOR)
			devices |= in->config->meters[m].serves;
	return devices;
}

/* The least that is believed; an immersion heater's heat is nowhere in what is measured,
 * so that beside it anything is. */
static double least_of(const struct finding_input *in, bool heating)
{
	unsigned devices = within_unit(in);
	if ((devices | in->boundary.heat_lacks) & DEVICE_IMMERSION)
		return 0.0;
	return heating && !(devices & DEVICE_BACKUP_HEATER) ? HEATING_GIVES
							    : HEATER_GIVES;
}

/* ---- a mode ---- */

struct belief {
	const struct finding_input *in;
	int mode;
};

/* The greatest that is believed. Only of air is the temperature of the source known:
 * brine and ground water may be warmer than the air by any amount. */
static double most_of(const struct finding_input *in, const struct evidence *e)
{
	double flow_k = e->values[3] + e->values[5] + ZERO_C_K;
	double ideal = in->config->plant.source_kind == SOURCE_AIR
			       ? e->values[0] / e->values[4]
			       : flow_k / LEAST_LIFT_K;
	return IDEAL_SHARE_MOST * ideal;
}

static int is_unbelieved(const struct finding_day *day, const void *context)
{
	const struct belief *b = context;
	const struct evidence *e = finding_item(day, EVIDENCE_EFFICIENCY, b->mode);
	if (!e || fmax(e->values[0], e->values[1]) < UNBELIEVED_J ||
		e->values[1] <= 0.0 || finding_any_stands(b->in, day))
		return -1;
	return e->values[0] > e->values[1] * most_of(b->in, e) ||
	       e->values[0] < e->values[1] * least_of(b->in, b->mode == MODE_HEATING);
}

struct unbelieved {
	double heat_j, unit_j, fit_j, ideal_j, most_j; /* heat times what is believed */
};

static struct unbelieved unbelieved_of(const struct belief *b, struct run run)
{
	struct unbelieved sum = {0};
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&b->in->days[d], EVIDENCE_EFFICIENCY, b->mode);
		if (!e || is_unbelieved(&b->in->days[d], b) != 1)
			continue;
		sum.heat_j += e->values[0];
		sum.unit_j += e->values[1];
		sum.fit_j += e->values[2];
		sum.ideal_j += e->values[4];
		sum.most_j += e->values[0] * most_of(b->in, e);
	}
	return sum;
}

static char *too_little_text(double factor)
{
	return xasprintf("A plain electric heater gives 1%s",
		factor < HEATER_GIVES ? ""
				      : ", and a unit in the worst of weather more than "
					"that");
}

static char *yardstick(const struct belief *b, const struct unbelieved *sum)
{
	if (b->in->config->plant.source_kind == SOURCE_AIR)
		return xasprintf("Air-source units give about %.1f at these temperatures "
				 "(a published fit), an ideal machine between air and "
				 "flow %.1f",
			sum->heat_j / sum->fit_j, sum->heat_j / sum->ideal_j);
	if (sum->heat_j < sum->unit_j * HEATING_GIVES)
		return too_little_text(sum->heat_j / sum->unit_j);
	return xasprintf("At these flow temperatures no source is warm enough for more "
			 "than %.1f; where it is air, source_kind = air in [plant] holds "
			 "efficiency against its temperature",
		sum->most_j / sum->heat_j);
}

/* A unit that is exchanged is off by a thousand, a believable quotient is one to ten. */
static const char *unit_hint(double factor)
{
	if (factor > 200.0)
		return "That is about a thousand times too much, as where electricity in "
		       "kW or kWh is taken for W or Wh, or heat the other way round. ";
	if (factor <= 0.0)
		return "No heat at all was booked: see flow, and the pump's state where "
		       "there is one. ";
	if (factor < 0.03)
		return "That is about a thousand times too little, as where electricity "
		       "in W or Wh is taken for kW or kWh, or heat the other way round. ";
	return "";
}

static char *quotient_text(double factor)
{
	int decimals = factor < 0.1 ? 4 : factor < 100.0 ? 2 : 0;
	if (!isfinite(factor))
		return xstrdup("");
	return xasprintf(": %.*f%s", factor <= 0.0 ? 0 : decimals, factor,
		factor < HEATER_GIVES ? ", less heat than electricity" : "");
}

static int decimals_of(double j)
{
	return j < J_PER_KWH ? 3 : 1;
}

static void tell(const struct finding_input *in, struct run run, const char *subject,
	double heat_j, double electricity_j, const char *than, struct finding_list *list)
{
	double factor = heat_j / electricity_j;
	_cleanup_(freep) char *quotient = quotient_text(factor);
	struct finding f = finding_new(in, FINDING_EFFICIENCY_IMPLAUSIBLE, subject, run);
	f.size = isfinite(factor) ? factor : (double)NAN;
	f.evidence = xasprintf("On %zu days %.*f kWh of heat came of %.*f kWh%s. %s.",
		run.hits, decimals_of(heat_j), heat_j / J_PER_KWH,
		decimals_of(electricity_j), electricity_j / J_PER_KWH, quotient, than);
	f.remedy = xasprintf(
		"%sThe band is a yardstick, no limit; but look at what heat and "
		"electricity rest on: unit and scale of flow, power and registers (W, "
		"kW, Wh, kWh or MJ), whether the meter covers all phases and every "
		"heater, the rest check of the pair, the fluid. What is behind the "
		"covers of a switchboard is for a qualified electrician.",
		unit_hint(factor));
	finding_add(list, &f);
}

static void add_unbelieved(
	const struct belief *b, struct run run, struct finding_list *list)
{
	struct unbelieved sum = unbelieved_of(b, run);
	_cleanup_(freep) char *than = yardstick(b, &sum);
	tell(b->in, run, mode_name((enum mode)b->mode), sum.heat_j, sum.unit_j, than,
		list);
}

/* ---- all modes ---- */

static const int told_modes[] = {MODE_HEATING, MODE_HOT_WATER};

/* What a finding of its own says of a day, by the mode or by what is wrong. */
static bool is_told(const struct finding_input *in, const struct finding_day *day)
{
	for (size_t i = 0; i < ARRAY_LEN(told_modes); i++) {
		const struct belief belief = {in, told_modes[i]};
		if (is_unbelieved(day, &belief) == 1)
			return true;
	}
	return finding_any_stands(in, day) ||
	       finding_item(day, EVIDENCE_POWER_NEGATIVE, -1) ||
	       finding_item(day, EVIDENCE_RETURN_ABOVE, -1) ||
	       finding_item(day, EVIDENCE_FLOW_ZERO, -1) ||
	       finding_item(day, EVIDENCE_PUMP_OFF, -1);
}

static double most_of_day(void)
{
	return IDEAL_SHARE_MOST * (FLOW_MOST_C + ZERO_C_K) / LEAST_LIFT_K;
}

/* Less than `least` times what the unit took beyond rest, whatever is mistaken. */
static bool is_too_little(const struct finding_input *in, const struct finding_day *day,
	double heat_j, double electricity_j)
{
	double rest_j =
		in->config->modes.compressor_on_w * (double)day->paired_ms / 1000.0;
	double taken_j = electricity_j - rest_j - day->mistaken_electricity_j;
	bool heating = (double)day->heating_j >= heat_j / 2.0;
	return taken_j > UNBELIEVED_J &&
	       heat_j + day->mistaken_heat_j < taken_j * least_of(in, heating);
}

static void unit_of_day(
	const struct finding_day *day, double *ret_heat_j, double *ret_electricity_j)
{
	*ret_heat_j = (double)(day->paired_heat_j - day->paired_heaters_j);
	*ret_electricity_j = (double)(day->paired_electricity_j - day->paired_heaters_j);
}

/* Heat that is negative in sum, or electricity, is a matter of its own. */
static int is_day_unbelieved(const struct finding_day *day, const void *context)
{
	const struct finding_input *in = context;
	double heat_j, electricity_j;
	unit_of_day(day, &heat_j, &electricity_j);
	if (fmax(heat_j, electricity_j) < UNBELIEVED_J || heat_j < 0.0 ||
		electricity_j < 0.0 || is_told(in, day))
		return -1;
	double most_j = most_of_day() * (electricity_j + day->mistaken_electricity_j);
	bool too_much = heat_j > UNBELIEVED_J && heat_j - day->mistaken_heat_j > most_j;
	return too_much || is_too_little(in, day, heat_j, electricity_j);
}

static void add_days(
	const struct finding_input *in, struct run run, struct finding_list *list)
{
	double heat_j = 0.0, electricity_j = 0.0;
	for (size_t d = run.first; d <= run.last; d++) {
		double heat, electricity;
		if (is_day_unbelieved(&in->days[d], in) != 1)
			continue;
		unit_of_day(&in->days[d], &heat, &electricity);
		heat_j += heat;
		electricity_j += electricity;
	}
	_cleanup_(freep) char *than =
		heat_j > most_of_day() * electricity_j
			? xasprintf(
				  "No source is warm enough for more than %.1f, even at "
				  "%.0f °C of flow",
				  most_of_day(), FLOW_MOST_C)
			: too_little_text(heat_j / electricity_j);
	tell(in, run, "", heat_j, electricity_j, than, list);
}

void find_belief(const struct finding_input *in, struct finding_list *list)
{
	struct run run;
	size_t at = 0;
	for (size_t i = 0; i < ARRAY_LEN(told_modes); i++) {
		const struct belief belief = {in, told_modes[i]};
		at = 0;
		while (finding_run(in, is_unbelieved, &belief, UNBELIEVED_GAP, &at, &run))
			if (run.hits >= UNBELIEVED_DAYS)
				add_unbelieved(&belief, run, list);
	}
	at = 0;
	while (finding_run(in, is_day_unbelieved, in, UNBELIEVED_GAP, &at, &run))
		if (run.hits >= UNBELIEVED_DAYS)
			add_days(in, run, list);
}
