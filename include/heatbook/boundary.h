/*
 * System boundaries of efficiency (SEPEMO-Build, "Concept for evaluation of SPF", 2012):
 * which heat and which meters belong to H1 … H4.
 *
 * The devices that a boundary needs are those of its definition that the plant has. It is
 * offered when the union of some configured meters' device sets is exactly that; when a
 * meter that is needed feeds more, what is offered bears the difference in its name
 * ("H2+circulation"). A heater in line that is left out must be metered alone, since its
 * heat is in what the heat source measures, and so must an immersion heater that H3 or H4
 * includes, since its heat is not. H1 (without the source's fan or pump) is for
 * plants in which a meter of its own feeds `source`: in most air-source units the fan is
 * inside the metered supply, and H1 is refused.
 */
#ifndef HEATBOOK_BOUNDARY_H
#define HEATBOOK_BOUNDARY_H

#include <heatbook/config.h>

/* What a plant has: what `devices` of [plant] lists and meters feed; without it,
 * compressor, circulation and whatever a meter feeds. `perhaps`: heaters that nobody
 * speaks of, so that no boundary may claim to include them. */
struct plant_devices {
	unsigned sure;    /* enum device bits */
	unsigned perhaps; /* none of those */
};
struct plant_devices plant_devices(const struct config *config);
/* The owner says that the plant has no such device. */
bool plant_lacks(const struct config *config, enum device device);

struct boundary {
	char name[64];
	unsigned meters; /* bit i = config.meters[i] is in the denominator */
	/* Bits of meters whose electricity is taken off the measured heat (in-line
	 * back-up heater at H1 and H2) … */
	unsigned heat_less;
	/* … and added to it (immersion at H3 and H4: heat = electricity), whether they
	 * are in the denominator or another meter is that measures the same. */
	unsigned heat_plus;
	/* Devices whose electricity is in the denominator while no meter tells their
	 * heat, which is not in it: the ratio is too low. Never at H1 … H4 themselves. */
	unsigned heat_lacks;
	/* Everything that must be known for a minute to count: the three above together.
	 */
	unsigned needs;
};

#define BOUNDARIES_MOST 8

/* The devices whose electricity is the meter's own: what it feeds without what the meters
 * behind it feed (`less`, to the end of the line); all that it feeds where that leaves
 * none, as with two supplies of one unit. The configuration keeps it as `serves`. */
unsigned meter_serves(const struct config *config, size_t meter);

/* Resolves "H2", "H4", "H2+circulation"; NULL = the widest that the meters allow. 0, or
 * BOUNDARY_REFUSED with a sentence in `why` that names what is missing and what is
 * offered. */
enum { BOUNDARY_REFUSED = 1 };
int boundary_find(const struct config *config, const char *name, struct boundary *ret,
	char why[static 256]);
/* The true meters that feed just what an apparent one feeds, beside which it is left
 * out; 0 where there is none, and of a true meter. */
unsigned boundary_beside(const struct config *config, size_t meter);
/* All that are offered, narrowest first; returns the count (0: no meter at all). */
size_t boundary_list(
	const struct config *config, struct boundary ret[static BOUNDARIES_MOST]);

#endif
