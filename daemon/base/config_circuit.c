/*
 * What the circuit holds: water, or how much antifreeze, and the limits of its tables;
 * and what is taken to flow where nothing meters it.
 *
 * A mixture that the tables do not know, or that would be ice where the owner expects it
 * to flow, is refused with the limit: heat worked out beyond a limit would be a guess.
 */
#include "config_load.h"

#include <heatbook/instrument.h>
#include <heatbook/mixture.h>

#include <math.h>
#include <string.h>

static const char *fluid_words(enum fluid fluid)
{
	return fluid == FLUID_PROPYLENE_GLYCOL ? "propylene glycol" : "ethylene glycol";
}

/* What is less is a fraction that was meant as percent: nobody mixes so little. */
#define PERCENT_LEAST 1.0

/* A fluid and its share, as two options say them. */
struct said_fluid {
	const char *fluid_key, *percent_key;
	enum fluid fluid;
	double percent;
};

/* Is there a percentage that makes sense with the fluid? */
static bool percent_fits(
	struct loader *l, const struct section *s, const struct said_fluid *said)
{
	const struct entry *fluid = section_entry(s, said->fluid_key);
	const struct entry *percent = section_entry(s, said->percent_key);
	if (said->fluid == FLUID_WATER) {
		if (percent && said->percent > 0)
			entry_fault(l, s, percent,
				"water holds no antifreeze; must be 0 with %s = water",
				said->fluid_key);
		return false;
	}
	if (said->percent > 0 && said->percent < PERCENT_LEAST) {
		entry_fault(l, s, percent,
			"must be in percent by volume, 1 %% at least: a quarter is 25 "
			"%%, "
			"not 0.25");
		return false;
	}
	if (said->percent > 0)
		return true;
	double value = 0;
	char why[WHY_SIZE];
	if (percent &&
		value_quantity(percent->value, DIMENSION_RATIO, NULL, &value, why) &&
		value == 0)
		entry_fault(l, s, percent,
			"must be more than 0 with antifreeze; without any, %s = water",
			said->fluid_key);
	else if (!percent) /* another value was told already */
		entry_fault(l, s, fluid,
			"needs %s, its share by volume; booked as water it would "
			"over-read heat by 0.5 to 17 %%",
			said->percent_key);
	return false;
}

/* Temperatures that a channel of the circuit is to believe. */
static void check_range(struct loader *l, enum role role)
{
	const struct plant_config *p = &l->config->plant;
	int at = config_role(l->config, role);
	if (at < 0)
		return;
	const struct channel_config *c = &l->config->channels[at];
	double least_c = mixture_least_c(p->fluid, p->fluid_percent);
	if (c->valid_least > -VALUE_MOST && c->valid_least < least_c)
		remark(&l->faults, c->line,
			"[channel %s] valid_least is %.1f °C: heat of %.4g %% %s is "
			"known from %.1f °C, where it %s; must be at least that",
			c->name, c->valid_least, p->fluid_percent, fluid_words(p->fluid),
			least_c,
			least_c == mixture_freezes_c(p->fluid, p->fluid_percent)
				? "freezes"
				: "leaves the tables");
	if (c->valid_most < VALUE_MOST && c->valid_most > MIXTURE_MOST_C)
		remark(&l->faults, c->line,
			"[channel %s] valid_most is %.1f °C: the tables of %s end at "
			"%.0f °C; must be at most that",
			c->name, c->valid_most, fluid_words(p->fluid), MIXTURE_MOST_C);
}

/* "CHANNEL:STATE" or "CHANNEL". */
static void load_condition(struct loader *l, const struct section *s,
	const struct entry *e, const char *text)
{
	struct plant_config *p = &l->config->plant;
	_cleanup_(freep) char *name = xstrndup(text, strcspn(text, ":"));
	const char *state = strchr(text, ':') ? strchr(text, ':') + 1 : NULL;
	p->assumed_channel = config_channel(l->config, name);
	if (p->assumed_channel < 0) {
		entry_fault(l, s, e,
			"assumed while %s, but there is no [channel %s]; assumed_while "
			"names a channel and, where it has states, one of them",
			text, name);
		return;
	}
	const struct channel_config *c = &l->config->channels[p->assumed_channel];
	for (size_t i = 0; state && i < c->state_count; i++)
		if (strcmp(c->states[i], state) == 0)
			p->assumed_state = (int)i;
	if (c->state_count && p->assumed_state < 0)
		entry_fault(l, s, e,
			"assumed while %s, but channel %s has no such state; must be "
			"one of its states, such as %s:%s",
			text, name, name, c->states[c->state_count - 1]);
	if (!c->state_count && state)
		entry_fault(l, s, e,
			"assumed while %s, but channel %s has numbers; must be %s "
			"alone, which is then above 0",
			text, name, name);
}

/* The unit's own word tells whether it is volume or mass. */
static bool is_mass(const char *quantity)
{
	const char *symbol = quantity + strspn(quantity, " +-.0123456789");
	const struct unit *unit = unit_find(symbol, strlen(symbol));
	return unit && unit->mass;
}

static void load_assumed(struct loader *l, const struct section *s)
{
	struct plant_config *p = &l->config->plant;
	const struct entry *e = section_entry(s, "assumed_flow");
	const struct entry *condition = section_entry(s, "assumed_while");
	const struct entry *limit = section_entry(s, "flow_limit");
	p->assumed_channel = p->assumed_state = -1;
	if (!e && condition)
		remark(&l->notes, condition->line,
			"[plant] assumed_while says nothing without assumed_flow");
	if (!e || p->assumed_flow_lpm <= 0)
		return; /* a value that could not be read was told */
	p->assumed_mass = is_mass(e->value);
	load_condition(l, s, condition ? condition : e,
		condition ? condition->value
			  : option_find(SECTION_PLANT, "assumed_while")->fallback);
	int metered = config_role(l->config, ROLE_FLOW_RATE);
	if (metered >= 0)
		entry_fault(l, s, e,
			"the flow is metered by channel %s; leave one of them out",
			l->config->channels[metered].name);
	if (p->heat_source != HEAT_COMPUTED)
		entry_fault(l, s, e,
			"heat is not worked out from a flow; must be left out, or "
			"heat_source = computed");
	if (p->assumed_flow_lpm <= p->least_flow_lpm)
		entry_fault(
			l, s, e, "is not above least_flow, below which the water stands");
	double least_percent = sensor_limit_percent(SENSOR_PUMP_SPEED, 1.0);
	if (limit && p->flow_limit_percent < least_percent)
		entry_fault(l, s, limit,
			"a flow that is assumed is known to %g %% at best",
			least_percent);
	p->flow_limit_percent = fmax(p->flow_limit_percent, least_percent);
}

void load_circuit(struct loader *l, const struct section *s)
{
	const struct plant_config *p = &l->config->plant;
	const struct entry *coldest = section_entry(s, "fluid_coldest");
	const struct said_fluid house = {
		"fluid", "fluid_percent", p->fluid, p->fluid_percent};
	const struct said_fluid source = {"source_fluid", "source_fluid_percent",
		p->source.fluid, p->source.fluid_percent};
	bool mixed = percent_fits(l, s, &house);
	(void)percent_fits(l, s, &source);
	load_assumed(l, s);
	if (coldest && (mixed || p->fluid == FLUID_WATER)) {
		double least_c = mixture_least_c(p->fluid, p->fluid_percent);
		double freezes_c = mixture_freezes_c(p->fluid, p->fluid_percent);
		if (p->fluid_coldest_c < least_c)
			entry_fault(l, s, coldest,
				"the fluid %s at %.1f °C; must be at least that, or hold "
				"more antifreeze",
				least_c == freezes_c ? "freezes" : "is known no further",
				least_c);
	}
	if (!mixed)
		return;
	check_range(l, ROLE_FLOW_TEMPERATURE);
	check_range(l, ROLE_RETURN_TEMPERATURE);
}
