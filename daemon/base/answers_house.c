/*
 * Questions about weather, rooms, the circuit and the source, and of the house. One that
 * this version does not answer says so, that nobody looks for a channel in vain.
 */
#include "answers.h"

#include <heatbook/balance.h>
#include <heatbook/tariff.h>

#include <math.h>

static void say_series(struct answers *r)
{
	static const enum role outdoor[] = {ROLE_OUTDOOR_TEMPERATURE};
	static const enum role curve[] = {
		ROLE_FLOW_TEMPERATURE, ROLE_OUTDOOR_TEMPERATURE};
	static const enum role room[] = {ROLE_ROOM_TEMPERATURE};
	static const enum role flow[] = {ROLE_FLOW_RATE};
	static const enum role pressure[] = {ROLE_WATER_PRESSURE};
	bool humid = answer_has(r, ROLE_OUTDOOR_HUMIDITY);
	answer_roles(r, "weather",
		humid ? "temperature and humidity" : "temperature alone", outdoor,
		ARRAY_LEN(outdoor));
	answer_want(r, ROLE_OUTDOOR_HUMIDITY);
	answer_roles(r, "flow against outdoor",
		answer_has(r, ROLE_TARGET_FLOW_TEMPERATURE)
			? "beside its target"
			: "without target_flow_temperature",
		curve, ARRAY_LEN(curve));
	answer_want(r, ROLE_TARGET_FLOW_TEMPERATURE);
	answer_roles(
		r, "room temperature", "from room_temperature", room, ARRAY_LEN(room));
	answer_roles(r, "flow of the circuit", "from flow_rate", flow, ARRAY_LEN(flow));
	answer_roles(r, "pressure of the circuit", "from water_pressure", pressure,
		ARRAY_LEN(pressure));
}

static void say_degree_days(struct answers *r)
{
	static const enum role outdoor[] = {ROLE_OUTDOOR_TEMPERATURE};
	char base[64];
	(void)snprintf(base, sizeof(base), "by four methods, base %g °C",
		r->config->plant.degree_base_c);
	answer_roles(r, "degree days", base, outdoor, ARRAY_LEN(outdoor));
}

/* What of heat and electricity keeps both from being held against the source's side. */
static bool say_balance_lack(struct answers *r)
{
	const char *question = "energy balance";
	int meter = -1;
	enum balance_lack lack = balance_lacks(r->config, &meter);
	const char *name = meter >= 0 ? r->config->meters[meter].name : "";
	if (lack == BALANCE_HAS_IMMERSION)
		answer_say(r, question,
			"not worked out: meter %s feeds the immersion heater as well, "
			"whose warmth is in no heat that is measured",
			name);
	else if (lack == BALANCE_LACKS_HEAT)
		answer_say(r, question,
			"needs heat_power, or flow rate and temperatures: heat_register "
			"alone does not tell when the heat was made");
	else if (lack && meter >= 0)
		answer_say(r, question,
			"needs a power channel for meter %s: a register alone does not "
			"tell when it was drawn",
			name);
	else if (lack)
		answer_say(r, question, "needs a meter with power that feeds the %s",
			lack == BALANCE_LACKS_UNIT ? "compressor"
						   : "back-up heater, too: its warmth is "
						     "in the heat");
	return lack != BALANCE_LACKS_NOTHING;
}

/* Only who measures the source's side in part is asked for the rest of it. */
static void say_balance(struct answers *r)
{
	static const enum role computed[] = {ROLE_SOURCE_ENTERING_TEMPERATURE,
		ROLE_SOURCE_LEAVING_TEMPERATURE, ROLE_SOURCE_FLOW_RATE};
	bool begun = false;
	for (size_t i = 0; i < ARRAY_LEN(computed); i++)
		begun = begun || answer_has(r, computed[i]);
	if (config_source_heat(r->config) == SOURCE_UNKNOWN && !begun)
		answer_say(r, "energy balance",
			"not worked out: nothing says what is taken from the source "
			"(source_heat_power, or its flow and temperatures)");
	else if (!answer_heat_known(r))
		answer_say(r, "energy balance", "needs the heat delivered");
	else if (say_balance_lack(r))
		return;
	else if (config_source_heat(r->config) == SOURCE_SAID)
		answer_say(r, "energy balance", "answered, from source_heat_power");
	else
		answer_roles(r, "energy balance",
			"from the source's flow and temperatures", computed,
			ARRAY_LEN(computed));
}

/* Efficiency against conditions: heat and electricity of each minute, and where it lay.
 */
static void say_conditions(struct answers *r)
{
	static const char *const by_source[] = {
		[SOURCE_NOT_SAID] =
			"by outdoor and flow temperature; beside the ideal and "
			"a reference season if the source is air, as "
			"source_kind in [plant] would say",
		[SOURCE_AIR] = "by outdoor and flow temperature, beside the ideal and a "
			       "reference season",
		[SOURCE_GROUND] = "by outdoor and flow temperature",
		[SOURCE_WATER] = "by outdoor and flow temperature"};
	static const enum role roles[] = {
		ROLE_OUTDOOR_TEMPERATURE, ROLE_FLOW_TEMPERATURE};
	const char *question = "efficiency by conditions";
	if (!heat_is_told(r->config))
		answer_say(r, question, "needs the heat delivered, by the minute");
	else if (!unit_is_told(r->config))
		answer_say(r, question,
			"needs a meter with power that feeds the compressor and no "
			"immersion heater");
	else
		answer_roles(r, question, by_source[r->config->plant.source_kind], roles,
			ARRAY_LEN(roles));
}

static void say_declared(struct answers *r)
{
	size_t points = r->config->declared_count;
	enum source_kind kind = r->config->plant.source_kind;
	if (kind == SOURCE_GROUND || kind == SOURCE_WATER)
		answer_say(r, "declared efficiency",
			"not worked out: points are declared of the air outside, and "
			"source_kind in [plant] says another source");
	else if (points == 0)
		answer_say(r, "declared efficiency",
			"answered once a [declared NAME] says what the unit's maker "
			"declares");
	else
		answer_say(r, "declared efficiency",
			"answered, of %zu point%s, as far as efficiency by conditions is",
			points, points == 1 ? "" : "s");
}

/* What the house loses, and what that makes at the design temperature. */
static void say_house(struct answers *r)
{
	const char *question = "heat loss of the house";
	if (!answer_heat_known(r))
		answer_say(r, question, "needs the heat delivered");
	else if (!answer_has(r, ROLE_OUTDOOR_TEMPERATURE)) {
		answer_say(r, question, "needs a channel outdoor_temperature");
		answer_want(r, ROLE_OUTDOOR_TEMPERATURE);
	} else if (isnan(r->config->plant.design_temperature_c))
		answer_say(r, question,
			"answered, by days of heat and outdoor temperature; the design "
			"load with design_temperature in [plant]");
	else
		answer_say(r, question,
			"answered, by days of heat and outdoor temperature, with the "
			"design load at %g °C",
			r->config->plant.design_temperature_c);
}

/* Whether a change helped: days before and after it, compared by the weather. */
static void say_effect(struct answers *r)
{
	const char *question = "effect of a change";
	size_t noted = r->config->change_count;
	if (!answer_heat_known(r) && r->config->meter_count == 0)
		answer_say(r, question, "needs the heat delivered or a [meter]");
	else if (!answer_has(r, ROLE_OUTDOOR_TEMPERATURE)) {
		answer_say(r, question, "needs a channel outdoor_temperature");
		answer_want(r, ROLE_OUTDOOR_TEMPERATURE);
	} else if (noted == 0)
		answer_say(r, question, "answered once a [change NAME] notes one");
	else
		answer_say(r, question, "answered, of %zu that %s noted", noted,
			noted == 1 ? "is" : "are");
}

static void say_cost(struct answers *r)
{
	const struct cost_config *c = r->config->cost;
	bool metered = false;
	for (size_t m = 0; m < r->config->meter_count; m++)
		metered = metered || answer_is_metered(&r->config->meters[m]);
	if (!metered)
		answer_say(r, "cost", "needs the electricity");
	else if (c->tariff_count == 0)
		answer_say(r, "cost",
			"needs a section [tariff NAME]: what electricity costs");
	else
		answer_say(r, "cost", "answered, from %zu tariff%s%s", c->tariff_count,
			c->tariff_count == 1 ? "" : "s",
			site_splits(&c->site) ? ", own generation apart" : "");
	if (c->carbon_count == 0)
		answer_say(r, "carbon",
			"needs a section [carbon NAME]: what a kWh of electricity emits");
	else
		answer_say(r, "carbon", metered ? "answered" : "needs the electricity");
	if (c->other_count == 0)
		answer_say(r, "cost beside another source",
			"needs a section [other_heat NAME]: its fuel's price and its "
			"efficiency");
	else if (!answer_heat_known(r))
		answer_say(r, "cost beside another source", "needs the heat delivered");
	else
		answer_say(r, "cost beside another source", "answered");
}

void answers_house(struct answers *r)
{
	say_series(r);
	say_degree_days(r);
	say_balance(r);
	say_conditions(r);
	say_declared(r);
	say_house(r);
	say_effect(r);
	say_cost(r);
}
