/*
 * What a configuration can answer: one line for each question of the owner, either
 * "answered" and from what, or what is missing; the corrections; and what to look for.
 * For the `check` verb.
 *
 * A question whose answer goes by rules where flags are missing says so: rules are a
 * help, not the plant's own word. One that this version does not answer says that too,
 * so that nobody looks for a channel in vain.
 */
#include <heatbook/balance.h>
#include <heatbook/boundary.h>
#include <heatbook/config.h>
#include <heatbook/correction.h>
#include <heatbook/rules.h>

#include <string.h>

struct report {
	const struct config *config;
	struct buffer *out;
	struct rules_needed rules; /* what they tell */
	unsigned wanted;           /* roles that some question lacks, a bit each */
	bool meter_wanted;
};

/* "question:", padded, and the answer. */
static void PRINTF_LIKE(3, 4)
	say(struct report *r, const char *question, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	_cleanup_(freep) char *answer = NULL;
	if (vasprintf(&answer, format, args) < 0)
		abort(); /* out of memory or a wrong format of our own */
	va_end(args);
	buffer_addf(r->out, "%-29s %s\n", question, answer);
}

static bool has(const struct report *r, enum role role)
{
	return config_role(r->config, role) >= 0;
}

/* Asks for what fills the role, if nothing does. */
static void want(struct report *r, enum role role)
{
	if (!has(r, role))
		r->wanted |= 1U << role;
}

/* Roles that are lacking of a list, as "a, b and c"; empty when none is. */
static const char *lacking(
	const struct report *r, const enum role *roles, size_t count, struct buffer *into)
{
	size_t lack = 0, told = 0;
	buffer_reset(into);
	for (size_t i = 0; i < count; i++)
		lack += !has(r, roles[i]);
	for (size_t i = 0; i < count; i++) {
		if (has(r, roles[i]))
			continue;
		told++;
		buffer_addf(into, "%s%s",
			told == 1      ? ""
			: told == lack ? " and "
				       : ", ",
			role_name(roles[i]));
	}
	return buffer_text(into);
}

static const char *needs_channel(const char *names)
{
	return strstr(names, " and ") ? "needs the channels" : "needs a channel";
}

/* A question that is answered once all roles are there. */
static void say_roles(struct report *r, const char *question, const char *answered,
	const enum role *roles, size_t count)
{
	struct buffer b = {0};
	const char *names = lacking(r, roles, count, &b);
	for (size_t i = 0; i < count; i++)
		want(r, roles[i]);
	if (*names)
		say(r, question, "%s %s", needs_channel(names), names);
	else
		say(r, question, "answered, %s", answered);
	buffer_release(&b);
}

static bool heat_known(const struct report *r)
{
	if (r->config->plant.heat_source == HEAT_POWER)
		return has(r, ROLE_HEAT_POWER);
	if (r->config->plant.heat_source == HEAT_REGISTER)
		return has(r, ROLE_HEAT_REGISTER);
	return has(r, ROLE_FLOW_TEMPERATURE) && has(r, ROLE_RETURN_TEMPERATURE) &&
	       (has(r, ROLE_FLOW_RATE) || r->config->plant.assumed_flow_lpm > 0);
}

static void say_heat(struct report *r)
{
	static const enum role computed[] = {
		ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE, ROLE_FLOW_RATE};
	static const enum role power[] = {ROLE_HEAT_POWER};
	static const enum role counted[] = {ROLE_HEAT_REGISTER};
	if (r->config->plant.heat_source == HEAT_REGISTER)
		say_roles(r, "heat delivered",
			has(r, ROLE_HEAT_POWER)
				? "by heat_register, minutes shaped by heat_power"
			: heat_is_told(r->config)
				? "by heat_register, minutes shaped by flow rate and "
				  "temperatures"
				: "by heat_register, spread over its steps",
			counted, ARRAY_LEN(counted));
	else if (r->config->plant.heat_source == HEAT_POWER)
		say_roles(
			r, "heat delivered", "from heat_power", power, ARRAY_LEN(power));
	else if (r->config->plant.assumed_flow_lpm > 0)
		say_roles(r, "heat delivered",
			"estimated, from an assumed flow and temperatures", computed, 2);
	else
		say_roles(r, "heat delivered", "from flow rate and temperatures",
			computed, ARRAY_LEN(computed));
}

/* The first meter with power that feeds one of the devices, or NULL. */
static const struct meter_config *fed_by(const struct report *r, unsigned devices)
{
	for (size_t i = 0; i < r->config->meter_count; i++)
		if (r->config->meters[i].serves & devices &&
			r->config->meters[i].power_count)
			return &r->config->meters[i];
	return NULL;
}

/* By power or by register. */
static bool is_metered(const struct meter_config *meter)
{
	return meter->power_count > 0 || meter->counted.counts;
}

static void say_electricity(struct report *r)
{
	const struct config *c = r->config;
	struct buffer known = {0}, unknown = {0};
	for (size_t i = 0; i < c->meter_count; i++) {
		const struct meter_config *m = &c->meters[i];
		struct buffer *b = is_metered(m) ? &known : &unknown;
		buffer_addf(b, "%s%s%s%s", b->length ? ", " : "", m->name,
			m->apparent ? " (estimated: apparent power)" : "",
			!m->counted.counts ? ""
			: m->power_count   ? " (by its register, minutes shaped by power)"
					   : " (by its register)");
	}
	if (c->meter_count == 0)
		say(r, "electricity used",
			"needs a [meter] with a power channel or a register");
	else if (!known.length)
		say(r, "electricity used",
			"needs a power channel or a register for meter %s",
			buffer_text(&unknown));
	else if (unknown.length)
		say(r, "electricity used",
			"answered for %s; needs a power channel or a register for "
			"%s",
			buffer_text(&known), buffer_text(&unknown));
	else
		say(r, "electricity used", "answered for %s", buffer_text(&known));
	r->meter_wanted |= known.length == 0 || unknown.length > 0;
	buffer_release(&known);
	buffer_release(&unknown);
}

/* The meters of a boundary that measure nothing, as text; empty when all do. */
static const char *unmetered(
	const struct report *r, const struct boundary *b, struct buffer *into)
{
	buffer_reset(into);
	for (size_t i = 0; i < r->config->meter_count; i++)
		if (b->needs & 1U << i && !is_metered(&r->config->meters[i]))
			buffer_addf(into, "%s%s", into->length ? ", " : "",
				r->config->meters[i].name);
	return buffer_text(into);
}

static void add_devices(struct buffer *out, unsigned set, const char *word)
{
	for (unsigned device = 1; device <= set; device <<= 1)
		if (set & device)
			buffer_addf(out, "%s%s%s", out->length ? ", " : "", word,
				device_name((enum device)device));
}

/* What efficiency takes for granted of the plant. */
static void say_devices(struct report *r)
{
	struct plant_devices has = plant_devices(r->config);
	unsigned heaters = DEVICE_BACKUP_HEATER | DEVICE_IMMERSION;
	bool listed = r->config->plant.devices;
	struct buffer b = {0};
	add_devices(&b, has.sure, "");
	add_devices(&b, has.perhaps, "perhaps ");
	add_devices(&b, heaters & ~(has.sure | has.perhaps), "no ");
	say(r, "devices of the plant", "%s%s", buffer_text(&b),
		listed ? "" : ", as meters tell; devices in [plant] says it for sure");
	buffer_release(&b);
}

static void say_efficiency_at(struct report *r, const char *name)
{
	struct boundary b;
	struct buffer meters = {0};
	char why[256], question[48];
	(void)snprintf(question, sizeof(question), "efficiency at %s", name);
	if (boundary_find(r->config, name, &b, why) != 0)
		say(r, question, "%s", why);
	else if (*unmetered(r, &b, &meters))
		say(r, question, "needs a power channel or a register for meter %s",
			buffer_text(&meters));
	else if (!heat_known(r))
		say(r, question, "needs the heat delivered");
	else if (b.heat_lacks)
		say(r, question,
			"answered without the heat of the immersion heater, which no "
			"meter tells apart: too low");
	else
		say(r, question, "answered");
	buffer_release(&meters);
}

static void say_efficiency(struct report *r)
{
	static const char *const plain[] = {"H2", "H3", "H4"};
	struct boundary offered[BOUNDARIES_MOST];
	size_t count = boundary_list(r->config, offered);
	for (size_t i = 0; i < count; i++)
		say_efficiency_at(r, offered[i].name);
	for (size_t k = 0; k < ARRAY_LEN(plain); k++) {
		bool told = false;
		for (size_t i = 0; i < count; i++)
			told = told || strncmp(offered[i].name, plain[k], 2) == 0;
		if (!told)
			say_efficiency_at(r, plain[k]);
	}
}

static bool compressor_known(const struct report *r)
{
	return has(r, ROLE_COMPRESSOR_FREQUENCY) || has(r, ROLE_OPERATING_MODE) ||
	       r->rules.compressor;
}

static void want_compressor(struct report *r)
{
	want(r, ROLE_COMPRESSOR_FREQUENCY);
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

static void say_modes(struct report *r)
{
	bool place =
		has(r, ROLE_OPERATING_MODE) || has(r, ROLE_VALVE) || r->rules.service;
	bool ends = has(r, ROLE_DEFROST) ||
		    config_names_mode(r->config, OPERATING_DEFROST) || r->rules.defrost;
	struct buffer told = {0};
	by_rule(r->rules, &told);
	const char *rest = buffer_text(&told);
	if (!compressor_known(r)) {
		say(r, "split by mode",
			"needs compressor_frequency, or a meter with power that "
			"feeds the compressor");
		want_compressor(r);
	} else if (!place) {
		say(r, "split by mode",
			"needs operating_mode or valve to tell heating from hot "
			"water%s",
			rest);
		want(r, ROLE_OPERATING_MODE);
		want(r, ROLE_VALVE);
	} else if (!ends) {
		say(r, "split by mode",
			"answered for heating and hot water; needs defrost or "
			"operating_mode to tell defrosts%s",
			rest);
		want(r, ROLE_DEFROST);
	} else
		say(r, "split by mode", "answered%s", rest);
	buffer_release(&told);
}

static void say_defrosts(struct report *r)
{
	const char *from = has(r, ROLE_DEFROST) ? "from defrost"
			   : config_names_mode(r->config, OPERATING_DEFROST)
				   ? "from operating_mode"
			   : r->rules.defrost ? "by rule"
					      : NULL;
	if (!from) {
		say(r, "defrosts",
			"needs defrost, or a word for it in operating_mode's map");
		want(r, ROLE_DEFROST);
	} else if (!heat_known(r))
		say(r, "defrosts",
			"answered, %s; what they take from the house needs the heat "
			"delivered",
			from);
	else
		say(r, "defrosts", "answered, %s, with the heat that they take", from);
}

/* Electricity while nothing runs, and the pump's time beside the compressor's. */
static void say_rest(struct report *r)
{
	static const enum role freeze[] = {
		ROLE_FLOW_RATE, ROLE_RETURN_TEMPERATURE, ROLE_OUTDOOR_TEMPERATURE};
	bool states = has(r, ROLE_COMPRESSOR_FREQUENCY) || has(r, ROLE_OPERATING_MODE) ||
		      rules_needed(r->config).compressor;
	if (!fed_by(r, DEVICE_COMPRESSOR)) {
		say(r, "electricity at rest",
			"needs a meter with power that feeds the compressor");
		r->meter_wanted = true;
	} else if (!states && !r->rules.compressor) {
		say(r, "electricity at rest",
			"needs compressor_frequency or operating_mode to tell rest");
		want(r, ROLE_COMPRESSOR_FREQUENCY);
	} else
		say(r, "electricity at rest", "answered, as mode standby%s",
			r->rules.compressor ? ", by rule" : "");
	if (config_names_mode(r->config, OPERATING_FREEZE_PROTECTION))
		say(r, "overrun, freeze protection", "answered, from operating_mode");
	else
		say_roles(r, "overrun, freeze protection",
			"from flow, return and outdoor temperature", freeze,
			ARRAY_LEN(freeze));
}

static void say_cycling(struct report *r)
{
	const char *question = "cycling of the compressor";
	size_t told = 0;
	while (told < r->config->meter_count && !rules_reads_compressor(r->config, told))
		told++;
	if (has(r, ROLE_COMPRESSOR_FREQUENCY))
		say(r, question, "answered, from compressor_frequency");
	else if (r->rules.compressor)
		say(r, question, "answered, from the power of meter %s",
			r->config->meters[told].name);
	else if (has(r, ROLE_OPERATING_MODE))
		say(r, question, "answered, from operating_mode");
	else {
		say(r, question,
			"needs compressor_frequency, or a meter with "
			"power that feeds the compressor");
		want_compressor(r);
	}
}

/* By a meter of its own, or by what others leave of one. */
static bool is_metered_alone(const struct report *r, unsigned device)
{
	for (size_t i = 0; i < r->config->meter_count; i++)
		if (r->config->meters[i].serves == device &&
			is_metered(&r->config->meters[i]))
			return true;
	return false;
}

static void say_hot_water(struct report *r)
{
	bool immersion = r->config->plant.devices & DEVICE_IMMERSION;
	for (size_t i = 0; i < r->config->meter_count; i++)
		immersion = immersion || r->config->meters[i].feeds & DEVICE_IMMERSION;
	const char *rule = r->rules.service ? ", by rule" : "";
	if (!has(r, ROLE_VALVE) && !has(r, ROLE_OPERATING_MODE) && !r->rules.service) {
		say(r, "hot water", "needs valve or operating_mode");
		want(r, ROLE_VALVE);
	} else if (!heat_known(r))
		say(r, "hot water", "needs the heat delivered");
	else if (immersion && !is_metered_alone(r, DEVICE_IMMERSION))
		say(r, "hot water",
			"answered%s without the immersion heater: needs a meter with "
			"power or register that feeds it alone",
			rule);
	else if (!has(r, ROLE_CYLINDER_TEMPERATURE)) {
		say(r, "hot water",
			"answered%s; cylinder_temperature would show the cylinder too",
			rule);
		want(r, ROLE_CYLINDER_TEMPERATURE);
	} else
		say(r, "hot water", "answered%s", rule);
}

static void say_series(struct report *r)
{
	static const enum role outdoor[] = {ROLE_OUTDOOR_TEMPERATURE};
	static const enum role curve[] = {
		ROLE_FLOW_TEMPERATURE, ROLE_OUTDOOR_TEMPERATURE};
	static const enum role room[] = {ROLE_ROOM_TEMPERATURE};
	static const enum role flow[] = {ROLE_FLOW_RATE};
	static const enum role pressure[] = {ROLE_WATER_PRESSURE};
	bool humid = has(r, ROLE_OUTDOOR_HUMIDITY);
	say_roles(r, "weather", humid ? "temperature and humidity" : "temperature alone",
		outdoor, ARRAY_LEN(outdoor));
	want(r, ROLE_OUTDOOR_HUMIDITY);
	say_roles(r, "flow against outdoor",
		has(r, ROLE_TARGET_FLOW_TEMPERATURE) ? "beside its target"
						     : "without target_flow_temperature",
		curve, ARRAY_LEN(curve));
	want(r, ROLE_TARGET_FLOW_TEMPERATURE);
	say_roles(r, "room temperature", "from room_temperature", room, ARRAY_LEN(room));
	say_roles(r, "flow of the circuit", "from flow_rate", flow, ARRAY_LEN(flow));
	say_roles(r, "pressure of the circuit", "from water_pressure", pressure,
		ARRAY_LEN(pressure));
}

/* What of heat and electricity keeps both from being held against the source's side. */
static bool say_balance_lack(struct report *r)
{
	const char *question = "energy balance";
	int meter = -1;
	enum balance_lack lack = balance_lacks(r->config, &meter);
	const char *name = meter >= 0 ? r->config->meters[meter].name : "";
	if (lack == BALANCE_HAS_IMMERSION)
		say(r, question,
			"not worked out: meter %s feeds the immersion heater as well, "
			"whose warmth is in no heat that is measured",
			name);
	else if (lack == BALANCE_LACKS_HEAT)
		say(r, question,
			"needs heat_power, or flow rate and temperatures: heat_register "
			"alone does not tell when the heat was made");
	else if (lack && meter >= 0)
		say(r, question,
			"needs a power channel for meter %s: a register alone does not "
			"tell when it was drawn",
			name);
	else if (lack)
		say(r, question, "needs a meter with power that feeds the %s",
			lack == BALANCE_LACKS_UNIT ? "compressor"
						   : "back-up heater, too: its warmth is "
						     "in the heat");
	return lack != BALANCE_LACKS_NOTHING;
}

/* Only who measures the source's side in part is asked for the rest of it. */
static void say_balance(struct report *r)
{
	static const enum role computed[] = {ROLE_SOURCE_ENTERING_TEMPERATURE,
		ROLE_SOURCE_LEAVING_TEMPERATURE, ROLE_SOURCE_FLOW_RATE};
	bool begun = false;
	for (size_t i = 0; i < ARRAY_LEN(computed); i++)
		begun = begun || has(r, computed[i]);
	if (config_source_heat(r->config) == SOURCE_UNKNOWN && !begun)
		say(r, "energy balance",
			"not worked out: nothing says what is taken from the source "
			"(source_heat_power, or its flow and temperatures)");
	else if (!heat_known(r))
		say(r, "energy balance", "needs the heat delivered");
	else if (say_balance_lack(r))
		return;
	else if (config_source_heat(r->config) == SOURCE_SAID)
		say(r, "energy balance", "answered, from source_heat_power");
	else
		say_roles(r, "energy balance", "from the source's flow and temperatures",
			computed, ARRAY_LEN(computed));
}

static void say_house(struct report *r)
{
	if (!heat_known(r))
		say(r, "heat loss of the house", "needs the heat delivered");
	else if (!has(r, ROLE_OUTDOOR_TEMPERATURE)) {
		say(r, "heat loss of the house", "needs a channel outdoor_temperature");
		want(r, ROLE_OUTDOOR_TEMPERATURE);
	} else
		say(r, "heat loss of the house",
			"can be worked out from heat and outdoor "
			"temperature, by day");
}

/* Prices are no part of a configuration yet; the sums that they multiply are there. */
static void say_cost(struct report *r)
{
	say(r, "cost",
		"not by this version: multiply the electricity of /v1/energy, by hour "
		"or day, by its price");
}

/* The limits of error that the uncertainty of answers rests on. */
static void say_limits(struct report *r)
{
	const struct plant_config *p = &r->config->plant;
	struct buffer b = {0};
	if (p->source_limit_percent > 0.0)
		buffer_addf(&b, "heat ± %g %%", p->source_limit_percent);
	else if (p->pair_limit.percent > 0.0)
		buffer_addf(&b, "pair ± %.3g K and %g %%, flow ± %.3g %%",
			p->pair_limit.k, p->pair_limit.percent, p->flow_limit_percent);
	else
		buffer_addf(&b, "pair ± %.3g K, flow ± %.3g %%", p->pair_limit.k,
			p->flow_limit_percent);
	for (size_t i = 0; i < r->config->meter_count; i++)
		buffer_addf(&b, ", %s ± %g %%", r->config->meters[i].name,
			r->config->meters[i].limit_percent);
	say(r, "uncertainty", "from %s; class or limit say otherwise", buffer_text(&b));
	buffer_release(&b);
}

static void say_degree_days(struct report *r)
{
	static const enum role outdoor[] = {ROLE_OUTDOOR_TEMPERATURE};
	char base[64];
	(void)snprintf(base, sizeof(base), "by four methods, base %g °C",
		r->config->plant.degree_base_c);
	say_roles(r, "degree days", base, outdoor, ARRAY_LEN(outdoor));
}

/* What is believed otherwise than it was said. */
static void say_corrections(struct report *r)
{
	for (size_t i = 0; i < r->config->correction_count; i++) {
		struct buffer b = {0};
		correction_describe(r->config, &r->config->corrections[i], &b, " ");
		say(r, "correction", "%s", buffer_text(&b));
		buffer_release(&b);
	}
}

static void say_hints(struct report *r)
{
	if (!r->wanted && !r->meter_wanted)
		return;
	buffer_add_text(r->out, "\nwhat to look for (`heatbookd listen` lists what the "
				"broker's messages hold):\n");
	for (int role = ROLE_PLAIN + 1; role < ROLE_COUNT; role++)
		if (r->wanted & 1U << role)
			say(r, role_name((enum role)role), "%s",
				role_hint((enum role)role));
	if (r->meter_wanted)
		say(r, "[meter] power",
			"true power of the supply of the unit, of the immersion heater, "
			"W; three phases make a sum");
}

void config_check_report(const struct config *config, struct buffer *out)
{
	struct report r = {.config = config, .out = out, .rules = rules_needed(config)};
	say_heat(&r);
	say_electricity(&r);
	say_devices(&r);
	say_efficiency(&r);
	say_limits(&r);
	say_modes(&r);
	say_hot_water(&r);
	say_defrosts(&r);
	say_cycling(&r);
	say_rest(&r);
	say_series(&r);
	say_degree_days(&r);
	say_balance(&r);
	say_house(&r);
	say_cost(&r);
	say_corrections(&r);
	say_hints(&r);
}
