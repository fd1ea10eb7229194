/*
 * Questions about what the plant does when: which flags tell it, or that it goes by rule,
 * which is a help, not the plant's own word.
 */
#include "answers.h"

static bool compressor_known(const struct answers *r)
{
	return answer_has(r, ROLE_COMPRESSOR_FREQUENCY) ||
	       answer_has(r, ROLE_OPERATING_MODE) || r->rules.compressor;
}

static void want_compressor(struct answers *r)
{
	answer_want(r, ROLE_COMPRESSOR_FREQUENCY);
	r->meter_wanted = true;
}

/* What rules tell, as words; empty when flags tell all. */
static void by_rule(struct rules_needed rules, struct buffer *into)
{
	const char *between = "; by rule, three minutes later: ";
	const struct {
		bool needed;
		const char *what;
	} found[] = {{rules.compressor, "whether the compressor runs"},
		{rules.defrost, "defrosts"}, {rules.service, "hot water"}};
	for (size_t i = 0; i < ARRAY_LEN(found); i++) {
		if (!found[i].needed)
			continue;
		buffer_addf(into, "%s%s", between, found[i].what);
		between = ", ";
	}
}

static void say_modes(struct answers *r)
{
	bool place = answer_has(r, ROLE_OPERATING_MODE) || answer_has(r, ROLE_VALVE) ||
		     r->rules.service;
	bool ends = answer_has(r, ROLE_DEFROST) ||
		    config_names_mode(r->config, OPERATING_DEFROST) || r->rules.defrost;
	struct buffer told = {0};
	by_rule(r->rules, &told);
	const char *rest = buffer_text(&told);
	if (!compressor_known(r)) {
		answer_say(r, "split by mode",
			"needs compressor_frequency, or a meter with power that "
			"feeds the compressor");
		want_compressor(r);
	} else if (!place) {
		answer_say(r, "split by mode",
			"needs operating_mode or valve to tell heating from hot "
			"water%s",
			rest);
		answer_want(r, ROLE_OPERATING_MODE);
		answer_want(r, ROLE_VALVE);
	} else if (!ends) {
		answer_say(r, "split by mode",
			"answered for heating and hot water; needs defrost or "
			"operating_mode to tell defrosts%s",
			rest);
		answer_want(r, ROLE_DEFROST);
	} else
		answer_say(r, "split by mode", "answered%s", rest);
	buffer_release(&told);
}

/* By a meter of its own, or by what others leave of one. */
static bool is_metered_alone(const struct answers *r, unsigned device)
{
	for (size_t i = 0; i < r->config->meter_count; i++)
		if (r->config->meters[i].serves == device &&
			answer_is_metered(&r->config->meters[i]))
			return true;
	return false;
}

static void say_hot_water(struct answers *r)
{
	bool immersion = r->config->plant.devices & DEVICE_IMMERSION;
	for (size_t i = 0; i < r->config->meter_count; i++)
		immersion = immersion || r->config->meters[i].feeds & DEVICE_IMMERSION;
	const char *rule = r->rules.service ? ", by rule" : "";
	if (!answer_has(r, ROLE_VALVE) && !answer_has(r, ROLE_OPERATING_MODE) &&
		!r->rules.service) {
		answer_say(r, "hot water", "needs valve or operating_mode");
		answer_want(r, ROLE_VALVE);
	} else if (!answer_heat_known(r))
		answer_say(r, "hot water", "needs the heat delivered");
	else if (immersion && !is_metered_alone(r, DEVICE_IMMERSION))
		answer_say(r, "hot water",
			"answered%s without the immersion heater: needs a meter with "
			"power or register that feeds it alone",
			rule);
	else if (!answer_has(r, ROLE_CYLINDER_TEMPERATURE)) {
		answer_say(r, "hot water",
			"answered%s; cylinder_temperature would show the cylinder too",
			rule);
		answer_want(r, ROLE_CYLINDER_TEMPERATURE);
	} else
		answer_say(r, "hot water", "answered%s", rule);
}

static void say_defrosts(struct answers *r)
{
	const char *from = answer_has(r, ROLE_DEFROST) ? "from defrost"
			   : config_names_mode(r->config, OPERATING_DEFROST)
				   ? "from operating_mode"
			   : r->rules.defrost ? "by rule"
					      : NULL;
	if (!from) {
		answer_say(r, "defrosts",
			"needs defrost, or a word for it in operating_mode's map");
		answer_want(r, ROLE_DEFROST);
	} else if (!answer_heat_known(r))
		answer_say(r, "defrosts",
			"answered, %s; what they take from the house needs the heat "
			"delivered",
			from);
	else
		answer_say(r, "defrosts", "answered, %s, with the heat that they take",
			from);
}

static void say_cycling(struct answers *r)
{
	const char *question = "cycling of the compressor";
	size_t told = 0;
	while (told < r->config->meter_count && !rules_reads_compressor(r->config, told))
		told++;
	if (answer_has(r, ROLE_COMPRESSOR_FREQUENCY))
		answer_say(r, question, "answered, from compressor_frequency");
	else if (r->rules.compressor)
		answer_say(r, question, "answered, from the power of meter %s",
			r->config->meters[told].name);
	else if (answer_has(r, ROLE_OPERATING_MODE))
		answer_say(r, question, "answered, from operating_mode");
	else {
		answer_say(r, question,
			"needs compressor_frequency, or a meter with "
			"power that feeds the compressor");
		want_compressor(r);
	}
}

/* The first meter with power that feeds one of the devices, or NULL. */
static const struct meter_config *fed_by(const struct answers *r, unsigned devices)
{
	for (size_t i = 0; i < r->config->meter_count; i++)
		if (r->config->meters[i].serves & devices &&
			r->config->meters[i].power_count)
			return &r->config->meters[i];
	return NULL;
}

/* Electricity while nothing runs, and the pump's time beside the compressor's. */
static void say_rest(struct answers *r)
{
	static const enum role freeze[] = {
		ROLE_FLOW_RATE, ROLE_RETURN_TEMPERATURE, ROLE_OUTDOOR_TEMPERATURE};
	bool states = answer_has(r, ROLE_COMPRESSOR_FREQUENCY) ||
		      answer_has(r, ROLE_OPERATING_MODE) ||
		      rules_needed(r->config).compressor;
	if (!fed_by(r, DEVICE_COMPRESSOR)) {
		answer_say(r, "electricity at rest",
			"needs a meter with power that feeds the compressor");
		r->meter_wanted = true;
	} else if (!states && !r->rules.compressor) {
		answer_say(r, "electricity at rest",
			"needs compressor_frequency or operating_mode to tell rest");
		answer_want(r, ROLE_COMPRESSOR_FREQUENCY);
	} else
		answer_say(r, "electricity at rest", "answered, as mode standby%s",
			r->rules.compressor ? ", by rule" : "");
	if (config_names_mode(r->config, OPERATING_FREEZE_PROTECTION))
		answer_say(
			r, "overrun, freeze protection", "answered, from operating_mode");
	else
		answer_roles(r, "overrun, freeze protection",
			"from flow, return and outdoor temperature", freeze,
			ARRAY_LEN(freeze));
}

void answers_modes(struct answers *r)
{
	say_modes(r);
	say_hot_water(r);
	say_defrosts(r);
	say_cycling(r);
	say_rest(r);
}
