/*
 * Figures of /v1/cost: which sums make which figure. Unknown is NaN.
 */
#ifndef HEATBOOK_COST_FIGURES_H
#define HEATBOOK_COST_FIGURES_H

#include <heatbook/cost.h>
#include <heatbook/figures.h>

/* Money in the configuration's currency, energy in kWh, carbon dioxide in kg. Ends of
 * intervals are expanded (k = 2). */
enum cost_column {
	COST_ELECTRICITY, /* of the boundary's meters */
	COST_OBSERVED,    /* time for which it was known, s */
	COST_PRICED,      /* of it, what a price is known of, … */
	COST_UNPRICED,    /* … and the rest, which is in no cost */
	COST_COST,        /* of what is priced */
	/* By the meters' uncertainty, and by what registers bridged at no known time. */
	COST_LOW,
	COST_HIGH,
	COST_PRICE_PAID, /* cost over what is priced, a kWh */
	COST_OWN,        /* of what is priced, by own generation, … */
	COST_OWN_COST,   /* … and what that would have earned */
	/* Minutes in which heat and all meters were known, and the price. */
	COST_PAIRED_HEAT,
	COST_PAIRED_COST,
	COST_A_HEAT, /* a kWh of heat */
	COST_A_HEAT_LOW,
	COST_A_HEAT_HIGH,
	COST_CARBON_KNOWN, /* electricity of which it is known what it emitted */
	COST_CARBON,
	COST_CARBON_LOW,
	COST_CARBON_HIGH,
	COST_CARBON_A_HEAT, /* a kWh of heat */
	/* Of the whole alone: */
	COST_BRIDGED, /* of what is priced, drawn at no known time */
	COST_STANDING,
	COST_COOLING_ELECTRICITY, /* cooling is in none of the others */
	COST_COOLING,
	COST_COLUMNS
};

struct cost_figures {
	double values[COST_COLUMNS];
};
/* All modes but cooling. */
void cost_figures_whole(const struct energy_bucket *energy,
	const struct cost_bucket *cost, const struct question *q,
	struct cost_figures *ret);
/* Of one mode: the columns before COST_BRIDGED. */
void cost_figures_mode(const struct energy_bucket *energy, const struct cost_bucket *cost,
	int mode, const struct question *q, struct cost_figures *ret);

/* The same heat from another source. */
enum other_column {
	OTHER_HEAT, /* paired and priced, on days for which the other has a price */
	OTHER_COST, /* by the uncertainty of heat: */
	OTHER_COST_LOW,
	OTHER_COST_HIGH,
	OTHER_SAVED, /* the other's cost less the plant's of the same minutes */
	OTHER_SAVED_LOW,
	OTHER_SAVED_HIGH,
	OTHER_CARBON,
	OTHER_SAVED_CARBON,
	OTHER_COLUMNS
};
void cost_figures_other(const struct energy_bucket *energy,
	const struct cost_other *other, const struct question *q,
	double ret[static OTHER_COLUMNS]);

#endif
