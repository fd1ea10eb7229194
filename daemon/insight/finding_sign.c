/*
 * Heat that is not booked as it was: a pump's flag that says off while water flows
 * through a running unit takes all heat away; a heat meter without negative heat makes a
 * defrost look free of charge, and one that counts cold as positive makes cooling look
 * like warmth.
 *
 * A defrost by the reversed circuit draws heat from the house (physics); one by hot gas
 * does not, and says so by what stands beside the meter.
 */
#include "finding.h"

#include <math.h>

enum { PUMP_LEAST_MIN = 10, PUMP_GAP_DAYS = 3, SIGN_GAP_DAYS = 14 };
#define COOLING_LEAST_J (0.5 * J_PER_KWH)
#define SPREAD_LEAST_J                                                                   \
	(3.0 * J_PER_KWH)               /* a register's steps lie over other modes, too */
#define DRAWN_LEAST_J (0.1 * J_PER_KWH) /* a defrost takes some 0.3 to 0.6 kWh */

/* ---- the pump's flag ---- */

static int says_off(const struct finding_day *day, const void *context)
{
	const struct evidence *e = finding_item(day, EVIDENCE_PUMP_OFF, -1);
	(void)context;
	if (e && e->minutes >= PUMP_LEAST_MIN)
		return 1;
	return day->looked ? 0 : -1;
}

static double heat_of(const struct finding_input *in, struct run run, double *ret_minutes)
{
	double j = 0.0;
	*ret_minutes = 0.0;
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_PUMP_OFF, -1);
		*ret_minutes += e ? (double)e->minutes : 0.0;
		j += e ? e->values[1] : 0.0;
	}
	return j;
}

static void add_pump_off(
	const struct finding_input *in, struct run run, struct finding_list *list)
{
	struct finding f = finding_new(
		in, FINDING_FLOW_ZERO_RUNNING, role_name(ROLE_CIRCULATION_PUMP), run);
	double minutes, now_min, heat_j = heat_of(in, run, &minutes);
	double now_j = heat_of(in, finding_in_season(in, run), &now_min);
	_cleanup_(freep) char *cost = NULL;
	f.size = minutes;
	f.unit = "min";
	if (finding_heat_is_computed(in)) {
		f.effect = finding_effect(in, run, -now_j, 0.0);
		cost = xasprintf("flow and temperatures make %.1f kWh of heat of that, "
				 "of which nothing is booked, since a pump that stands "
				 "moves no water",
			heat_j / J_PER_KWH);
	} else
		cost = xstrdup("a heat meter says the heat; the mode at rest alone goes "
			       "by the pump");
	f.evidence = xasprintf("For %.0f minutes of %zu days the compressor ran, metered "
			       "water flowed, and circulation_pump said off; %s.",
		minutes, run.hits, cost);
	f.remedy = xstrdup("Either the flag stands still or its map is turned round, or "
			   "it is of another pump than the one through the unit, one "
			   "behind a buffer, say. See its topic and map; if it is "
			   "another pump, give the channel another name, so that flow "
			   "goes by flow_rate alone, and rebuild.");
	finding_add(list, &f);
}

void find_pump_off(const struct finding_input *in, struct finding_list *list)
{
	struct run run;
	size_t at = 0;
	while (finding_run(in, says_off, NULL, PUMP_GAP_DAYS, &at, &run))
		add_pump_off(in, run, list);
}

/* ---- a heat meter's sign ---- */

struct sign {
	enum mode mode;
	bool power; /* says the heat; else a register does */
	bool falls; /* which counts down, too: its steps lie evenly over other modes */
};

/* Does it count as given what was drawn? Without anything beside it, none of it negative
 * is enough. */
static int counts_drawn(const struct finding_day *day, const void *context)
{
	const struct sign *sign = context;
	const struct evidence *e = finding_item(day, EVIDENCE_SIGN, (int)sign->mode);
	if (!e)
		return day->looked ? 0 : -1;
	double booked_j = e->values[0], beside_j = e->values[1];
	bool alone = isnan(beside_j);
	if (sign->mode == MODE_COOLING)
		return !(beside_j > 0.0) &&
		       booked_j >=
			       (alone && !sign->power ? SPREAD_LEAST_J : COOLING_LEAST_J);
	if (alone)
		return booked_j >= 0.0 && !sign->falls;
	return beside_j <= -DRAWN_LEAST_J && booked_j > 0.5 * beside_j;
}

struct drawn {
	double minutes, booked_j, beside_j; /* NaN: on some day nothing stands beside */
};

static struct drawn drawn_in(
	const struct finding_input *in, struct run run, const struct sign *sign)
{
	struct drawn sum = {0};
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_SIGN, (int)sign->mode);
		if (!e || counts_drawn(&in->days[d], sign) != 1)
			continue;
		sum.minutes += (double)e->minutes;
		sum.booked_j += e->values[0];
		sum.beside_j += e->values[1];
	}
	return sum;
}

/* How much too much is booked at least; NaN: that cannot be told, as of a register, whose
 * steps lie evenly over heating and defrost. */
static double too_much_j(const struct drawn *sum, const struct sign *sign)
{
	if (!isnan(sum->beside_j))
		return sum->booked_j - sum->beside_j;
	return sign->power && sum->booked_j >= DRAWN_LEAST_J ? 2.0 * sum->booked_j
							     : (double)NAN;
}

static const char *meter_name(const struct sign *sign)
{
	return role_name(sign->power ? ROLE_HEAT_POWER : ROLE_HEAT_REGISTER);
}

static char *defrost_text(const struct drawn *sum, double much_j)
{
	const double booked_kwh = sum->booked_j / J_PER_KWH;
	if (!isnan(sum->beside_j))
		return xasprintf(
			"In %.0f minutes of defrost %.2f kWh of heat are booked, "
			"while what stands beside the meter says %.2f kWh: heat "
			"is booked too high by %.2f kWh.",
			sum->minutes, booked_kwh, sum->beside_j / J_PER_KWH,
			much_j / J_PER_KWH);
	if (!isnan(much_j))
		return xasprintf("In %.0f minutes of defrost the meter counted %.2f kWh "
				 "as given. If it says heat that is drawn without its "
				 "sign, heat is booked too high by %.2f kWh.",
			sum->minutes, booked_kwh, much_j / J_PER_KWH);
	return xasprintf(
		"In %.0f minutes of defrost the meter counted nothing as drawn "
		"from the house, and nothing else tells what was: heat, and with "
		"it the factor, is too high by as much.",
		sum->minutes);
}

static void add_defrost(const struct finding_input *in, struct run run,
	const struct sign *sign, struct finding_list *list)
{
	struct finding f = finding_new(in, FINDING_HEAT_SIGN, meter_name(sign), run);
	struct drawn sum = drawn_in(in, run, sign);
	struct drawn now = drawn_in(in, finding_in_season(in, run), sign);
	double much_j = too_much_j(&sum, sign);
	f.size = much_j / J_PER_KWH;
	f.unit = "kW.h";
	f.effect = finding_effect(in, run, too_much_j(&now, sign), 0.0);
	f.evidence = defrost_text(&sum, much_j);
	f.remedy = xasprintf("%s If the meter has no such place, have heat computed of "
			     "flow and both temperatures (heat_source = computed). Where "
			     "the unit thaws without the house's heat, by hot gas, say, "
			     "nothing is to be done.",
		sign->power
			? "Map a place of heat_power that bears its sign, and rebuild."
			: "If its register also counts down, set falls = yes; if drawn "
			  "heat has a register of its own, take power for the heat "
			  "(heat_source = power), and rebuild.");
	finding_add(list, &f);
}

/* A register with scale = -1 would be below 0, which none is. */
static void add_cooling(const struct finding_input *in, struct run run,
	const struct sign *sign, struct finding_list *list)
{
	struct finding f = finding_new(in, FINDING_HEAT_SIGN, meter_name(sign), run);
	struct drawn sum = drawn_in(in, run, sign);
	f.size = sum.booked_j / J_PER_KWH;
	f.unit = "kW.h";
	f.evidence = xasprintf("In %.0f minutes of cooling the meter counted %.1f kWh as "
			       "given to the house: it counts cold as positive, so that "
			       "cooling is answered with the wrong sign.%s",
		sum.minutes, f.size,
		sign->power ? " The season's factor is without cooling and not touched."
			    : "");
	f.remedy = xasprintf("%s or have heat computed of flow and both temperatures "
			     "(heat_source = computed), and rebuild.",
		sign->power ? "If the channel says cold alone, give it scale = -1. If it "
			      "says heat and cold alike, map a place that bears the sign,"
			    : "Take power that bears its sign for the heat (heat_source "
			      "= power),");
	finding_add(list, &f);
}

void find_signs(const struct finding_input *in, struct finding_list *list)
{
	static const enum mode modes[] = {MODE_DEFROST, MODE_COOLING};
	int counter = config_role(in->config, ROLE_HEAT_REGISTER);
	struct sign sign = {.power = in->config->plant.heat_source == HEAT_POWER};
	sign.falls = !sign.power && counter >= 0 && in->config->channels[counter].falls;
	for (size_t i = 0; i < ARRAY_LEN(modes); i++) {
		struct run run;
		size_t at = 0;
		sign.mode = modes[i];
		while (finding_run(in, counts_drawn, &sign, SIGN_GAP_DAYS, &at, &run)) {
			if (modes[i] == MODE_DEFROST)
				add_defrost(in, run, &sign, list);
			else
				add_cooling(in, run, &sign, list);
		}
	}
}
