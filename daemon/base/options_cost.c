/*
 * The options of what electricity costs and emits, and of other sources of heat. See
 * option_rows.h, and tariff.h for what they mean.
 */
#include "option_rows.h"

/* Of what holds from one local day to another. */
#define FIRST_DAY                                                                        \
	OPTION_TEXT, .example = "2026-01-01", NOWHERE,                                   \
		     .sentence = "The first local day; without it since ever."
#define END_DAY                                                                          \
	OPTION_TEXT, .example = "2027-01-01", NOWHERE,                                   \
		     .sentence = "The local day on which it holds no more; without it "  \
				 "it holds on."

const struct option site_options[] = {
	{SECTION_SITE, "currency", OPTION_TEXT, .example = "EUR", AT(site, currency),
		.sentence = "What prices are in: a text for display, nothing is "
			    "converted."},
	{SECTION_SITE, "import", OPTION_CHANNEL, .example = "grid_power", NOWHERE,
		.sentence = "Channel of the power from the grid, of all the house; below "
			    "0 it is fed into it."},
	{SECTION_SITE, "export", OPTION_CHANNEL, .example = "fed_power", NOWHERE,
		.sentence = "Channel of the power that is fed into the grid, where the "
			    "one above does not tell it."},
	{SECTION_SITE, "generation", OPTION_CHANNEL, .example = "roof_power", NOWHERE,
		.sentence = "Channel of the power that the house generates. With it all "
			    "that is used is own and bought in one proportion; without "
			    "it the plant counts as what is switched on last."},
	OPTIONS_END,
};

const struct option tariff_options[] = {
	{SECTION_TARIFF, "from", FIRST_DAY},
	{SECTION_TARIFF, "to", END_DAY},
	{SECTION_TARIFF, "price", OPTION_QUANTITY, .example = "0.31", NOWHERE,
		.dimension = DIMENSION_PRICE, RANGE(-1e6, 1e6),
		.sentence = "Price of a kWh wherever no window has another."},
	{SECTION_TARIFF, "window.NAME", OPTION_WINDOW,
		.example = "Mo-Fr 22:00-06:00 0.22", NOWHERE,
		.sentence = "Days on which it begins (every day without), local times, "
			    "and the price of a kWh in between. Windows must not "
			    "overlap."},
	{SECTION_TARIFF, "price_channel", OPTION_CHANNEL, .example = "price_now", NOWHERE,
		.sentence = "Channel that tells the price, in place of price and "
			    "windows; its unit is a price such as EUR/kWh, ct/kWh or "
			    "EUR/MWh."},
	{SECTION_TARIFF, "feed_in", OPTION_QUANTITY, .example = "0.08", NOWHERE,
		.dimension = DIMENSION_PRICE, RANGE(-1e6, 1e6),
		.sentence = "What a kWh earns that is fed into the grid: what own "
			    "generation costs that is used instead."},
	{SECTION_TARIFF, "standing_day", OPTION_NUMBER, "0", AT(tariff, standing_day),
		RANGE(0, 1e6), .sentence = "Standing charge of a day."},
	{SECTION_TARIFF, "standing_year", OPTION_NUMBER, "0", AT(tariff, standing_year),
		RANGE(0, 1e6),
		.sentence = "Standing charge of a calendar year, shared by its days "
			    "alike."},
	OPTIONS_END,
};

const struct option carbon_options[] = {
	{SECTION_CARBON, "from", FIRST_DAY},
	{SECTION_CARBON, "to", END_DAY},
	{SECTION_CARBON, "intensity", OPTION_QUANTITY, .example = "380 g/kWh", NOWHERE,
		.dimension = DIMENSION_INTENSITY, RANGE(0, 1e5),
		.sentence = "Carbon dioxide that a kWh from the grid emits."},
	{SECTION_CARBON, "intensity_channel", OPTION_CHANNEL, .example = "grid_carbon",
		NOWHERE, .sentence = "Channel that tells it instead, such as in g/kWh."},
	{SECTION_CARBON, "own_intensity", OPTION_QUANTITY, "0 g/kWh", AT(carbon, own_g),
		.dimension = DIMENSION_INTENSITY, RANGE(0, 1e5),
		.sentence = "What a kWh of own generation emits."},
	OPTIONS_END,
};

const struct option other_heat_options[] = {
	{SECTION_OTHER_HEAT, "source", OPTION_TEXT, .example = "oil_boiler",
		AT(other_heat, source),
		.sentence = "The source's name, where several sections are one source "
			    "from one day to another; without it the section's."},
	{SECTION_OTHER_HEAT, "from", FIRST_DAY},
	{SECTION_OTHER_HEAT, "to", END_DAY},
	{SECTION_OTHER_HEAT, "price", OPTION_QUANTITY, .example = "0.11", NOWHERE,
		.dimension = DIMENSION_PRICE, RANGE(0, 1e6),
		.sentence = "Price of a kWh of its fuel."},
	{SECTION_OTHER_HEAT, "efficiency", OPTION_QUANTITY, .example = "88 %", NOWHERE,
		.dimension = DIMENSION_RATIO, RANGE(1, 1000),
		.sentence = "Heat that it delivers of a kWh of fuel, over a year; more "
			    "than 100 % where the fuel is electricity, or counted by its "
			    "lower heating value."},
	{SECTION_OTHER_HEAT, "intensity", OPTION_QUANTITY, .example = "266 g/kWh",
		NOWHERE, .dimension = DIMENSION_INTENSITY, RANGE(0, 1e5),
		.sentence = "Carbon dioxide that a kWh of its fuel emits."},
	OPTIONS_END,
};
