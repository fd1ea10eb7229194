/*
 * What the circuit holds: water, or how much antifreeze, and the limits of its tables.
 *
 * A mixture that the tables do not know, or that would be ice where the owner expects it
 * to flow, is refused with the limit: heat worked out beyond a limit would be a guess.
 */
#include "config_load.h"

#include <heatbook/mixture.h>

static const char *fluid_words(enum fluid fluid)
{
	return fluid == FLUID_PROPYLENE_GLYCOL ? "propylene glycol" : "ethylene glycol";
}

/* Is there a percentage that makes sense with the fluid? */
static bool percent_fits(struct loader *l, const struct section *s)
{
	const struct plant_config *p = &l->config->plant;
	const struct entry *fluid = section_entry(s, "fluid");
	const struct entry *percent = section_entry(s, "fluid_percent");
	if (p->fluid == FLUID_WATER) {
		if (percent && p->fluid_percent > 0)
			entry_fault(l, s, percent,
				"water holds no antifreeze; must be 0 with fluid = "
				"water");
		return false;
	}
	if (p->fluid_percent > 0)
		return true;
	double value = 0;
	char why[WHY_SIZE];
	if (percent &&
		value_quantity(percent->value, DIMENSION_RATIO, NULL, &value, why) &&
		value == 0)
		entry_fault(l, s, percent,
			"must be more than 0 with antifreeze; without any, fluid = "
			"water");
	else if (!percent) /* another value was told already */
		entry_fault(l, s, fluid,
			"needs fluid_percent, its share by volume; booked as water it "
			"would over-read heat by 2.5 to 12 %%");
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

void load_circuit(struct loader *l, const struct section *s)
{
	const struct plant_config *p = &l->config->plant;
	const struct entry *coldest = section_entry(s, "fluid_coldest");
	bool mixed = percent_fits(l, s);
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
