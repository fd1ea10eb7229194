/*
 * Questions about heat, electricity and efficiency: what they are worked out from, by
 * which limits of error, or what is missing.
 */
#include "answers.h"

#include <heatbook/balance.h>
#include <heatbook/boundary.h>

#include <string.h>

static void say_heat(struct answers *r)
{
	static const enum role computed[] = {
		ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE, ROLE_FLOW_RATE};
	static const enum role power[] = {ROLE_HEAT_POWER};
	static const enum role counted[] = {ROLE_HEAT_REGISTER};
	if (r->config->plant.heat_source == HEAT_REGISTER)
		answer_roles(r, "heat delivered",
			answer_has(r, ROLE_HEAT_POWER)
				? "by heat_register, minutes shaped by heat_power"
			: heat_is_told(r->config)
				? "by heat_register, minutes shaped by flow rate and "
				  "temperatures"
				: "by heat_register, spread over its steps",
			counted, ARRAY_LEN(counted));
	else if (r->config->plant.heat_source == HEAT_POWER)
		answer_roles(
			r, "heat delivered", "from heat_power", power, ARRAY_LEN(power));
	else if (r->config->plant.assumed_flow_lpm > 0)
		answer_roles(r, "heat delivered",
			"estimated, from an assumed flow and temperatures", computed, 2);
	else
		answer_roles(r, "heat delivered", "from flow rate and temperatures",
			computed, ARRAY_LEN(computed));
}

static void say_electricity(struct answers *r)
{
	const struct config *c = r->config;
	struct buffer known = {0}, unknown = {0};
	for (size_t i = 0; i < c->meter_count; i++) {
		const struct meter_config *m = &c->meters[i];
		struct buffer *b = answer_is_metered(m) ? &known : &unknown;
		buffer_addf(b, "%s%s%s%s", b->length ? ", " : "", m->name,
			m->apparent ? " (estimated: apparent power)" : "",
			!m->counted.counts ? ""
			: m->power_count   ? " (by its register, minutes shaped by power)"
					   : " (by its register)");
	}
	if (c->meter_count == 0)
		answer_say(r, "electricity used",
			"needs a [meter] with a power channel or a register");
	else if (!known.length)
		answer_say(r, "electricity used",
			"needs a power channel or a register for meter %s",
			buffer_text(&unknown));
	else if (unknown.length)
		answer_say(r, "electricity used",
			"answered for %s; needs a power channel or a register for "
			"%s",
			buffer_text(&known), buffer_text(&unknown));
	else
		answer_say(r, "electricity used", "answered for %s", buffer_text(&known));
	r->meter_wanted |= known.length == 0 || unknown.length > 0;
	buffer_release(&known);
	buffer_release(&unknown);
}

/* The meters of a boundary that measure nothing, as text; empty when all do. */
static const char *unmetered(
	const struct answers *r, const struct boundary *b, struct buffer *into)
{
	buffer_reset(into);
	for (size_t i = 0; i < r->config->meter_count; i++)
		if (b->needs & 1U << i && !answer_is_metered(&r->config->meters[i]))
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
static void say_devices(struct answers *r)
{
	struct plant_devices has = plant_devices(r->config);
	unsigned heaters = DEVICE_BACKUP_HEATER | DEVICE_IMMERSION;
	bool listed = r->config->plant.devices;
	struct buffer b = {0};
	add_devices(&b, has.sure, "");
	add_devices(&b, has.perhaps, "perhaps ");
	add_devices(&b, heaters & ~(has.sure | has.perhaps), "no ");
	answer_say(r, "devices of the plant", "%s%s", buffer_text(&b),
		listed ? "" : ", as meters tell; devices in [plant] says it for sure");
	buffer_release(&b);
}

static void say_efficiency_at(struct answers *r, const char *name)
{
	struct boundary b;
	struct buffer meters = {0};
	char why[256], question[48];
	(void)snprintf(question, sizeof(question), "efficiency at %s", name);
	if (boundary_find(r->config, name, &b, why) != 0)
		answer_say(r, question, "%s", why);
	else if (*unmetered(r, &b, &meters))
		answer_say(r, question,
			"needs a power channel or a register for meter %s",
			buffer_text(&meters));
	else if (!answer_heat_known(r))
		answer_say(r, question, "needs the heat delivered");
	else if (b.heat_lacks)
		answer_say(r, question,
			"answered without the heat of the immersion heater, which no "
			"meter tells apart: too low");
	else
		answer_say(r, question, "answered");
	buffer_release(&meters);
}

static void say_efficiency(struct answers *r)
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

/* The limits of error that the uncertainty of answers rests on. */
static void say_limits(struct answers *r)
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
	answer_say(r, "uncertainty", "from %s; class or limit say otherwise",
		buffer_text(&b));
	buffer_release(&b);
}

void answers_energy(struct answers *r)
{
	say_heat(r);
	say_electricity(r);
	say_devices(r);
	say_efficiency(r);
	say_limits(r);
}
