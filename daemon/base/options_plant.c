/*
 * The options of the plant itself and its meters, of what its maker declares, of what is
 * corrected of its sensors and changed of it, and of its modes. See option_rows.h.
 *
 * Defaults of the error budget: pair_limit 0.3 K is two platinum sensors of class A near
 * 35 °C in quadrature, √2 · (0.15 + 0.002 · 35) K (IEC 60751); flow_limit 3 % is a class
 * 2 flow sensor at a fiftieth of its permanent flow, 2 + 0.02 · 50 (EN 1434-1), or a
 * vortex sensor. Classes: account/instrument.c. Thresholds of modes: heatbook's own
 * choice.
 */
#include "option_rows.h"

#define DEVICES "compressor | backup_heater | immersion | circulation | source"

const struct option plant_options[] = {
	{SECTION_PLANT, "name", OPTION_TEXT, "Plant", AT(plant, name),
		.sentence = "What the plant is called in reports."},
	{SECTION_PLANT, "zone", OPTION_TEXT, "UTC", AT(plant, zone), .fixed = true,
		.sentence = "IANA time zone that days are counted in, such as "
			    "Europe/Berlin."},
	{SECTION_PLANT, "fluid", OPTION_CHOICE, "water", AT(plant, fluid),
		.words = "water | propylene_glycol | ethylene_glycol",
		.sentence = "What flows through the flow sensor."},
	{SECTION_PLANT, "fluid_percent", OPTION_QUANTITY, "0", AT(plant, fluid_percent),
		.dimension = DIMENSION_RATIO, RANGE(0, 60),
		.sentence = "Antifreeze by volume. From 1 to 9 % its properties are "
			    "interpolated to water's."},
	{SECTION_PLANT, "fluid_coldest", OPTION_QUANTITY, "0 °C",
		AT(plant, fluid_coldest_c), .dimension = DIMENSION_TEMPERATURE,
		RANGE(-60, 30),
		.sentence = "Coldest that the fluid is to get: a mixture that freezes "
			    "before is refused."},
	{SECTION_PLANT, "flow_sensor_pipe", OPTION_CHOICE, "return",
		AT(plant, flow_sensor_pipe), .words = "return | flow",
		.sentence = "The pipe that carries the flow sensor: its water's density "
			    "counts."},
	{SECTION_PLANT, "source_fluid", OPTION_CHOICE, "water", AT(plant, source.fluid),
		.words = "water | propylene_glycol | ethylene_glycol",
		.sentence = "What flows through the source_flow_rate sensor, on the side "
			    "that heat is taken from."},
	{SECTION_PLANT, "source_fluid_percent", OPTION_QUANTITY, "0",
		AT(plant, source.fluid_percent), .dimension = DIMENSION_RATIO,
		RANGE(0, 60), .sentence = "Antifreeze in it by volume."},
	{SECTION_PLANT, "pressure", OPTION_PRESSURE, "2 bar", NOWHERE,
		.dimension = DIMENSION_PRESSURE, RANGE(1, 16),
		.sentence = "Absolute pressure of the water, or the name of a gauge "
			    "channel (1 "
			    "bar is added)."},
	{SECTION_PLANT, "heat_source", OPTION_CHOICE, "computed", AT(plant, heat_source),
		.words = "computed | power | register",
		.sentence = "Heat from flow and temperatures, from the heat_power "
			    "channel, or by the heat_register channel, whose minutes one "
			    "of the others gives their shape."},
	{SECTION_PLANT, "least_flow", OPTION_QUANTITY, "0 L/min",
		AT(plant, least_flow_lpm), .dimension = DIMENSION_FLOW, RANGE(0, 100),
		.sentence = "At and below this flow the water stands and heat is 0."},
	{SECTION_PLANT, "assumed_flow", OPTION_QUANTITY, .example = "17.5 L/min",
		AT(plant, assumed_flow_lpm), .dimension = DIMENSION_FLOW,
		RANGE(0.1, 1000),
		.sentence = "Where nothing meters the flow: what flows while "
			    "assumed_while holds. Heat is then called estimated, 10 % "
			    "at best."},
	{SECTION_PLANT, "assumed_while", OPTION_TEXT, "circulation_pump:on", NOWHERE,
		.sentence = "While what the assumed flow flows: CHANNEL:STATE, or a "
			    "channel of numbers, which is then above 0; else the water "
			    "stands."},
	{SECTION_PLANT, "nominal_flow", OPTION_QUANTITY, "0 L/min",
		AT(plant, nominal_lpm), .dimension = DIMENSION_FLOW, RANGE(0, 200),
		.sentence = "Flow while the rooms are heated, for the rules that tell "
			    "modes; 0: not said."},
	{SECTION_PLANT, "devices", OPTION_DEVICES, .example = "compressor, immersion",
		.words = DEVICES, NOWHERE,
		.sentence =
			"All that the plant has, metered or not: a heater that is not "
			"listed is none. Without it, what the meters feed, and perhaps "
			"heaters."},
	{SECTION_PLANT, "source_kind", OPTION_CHOICE, "unknown", AT(plant, source_kind),
		.words = "unknown | air | ground | water",
		.sentence = "What the unit takes its heat from. Efficiency is held "
			    "against the outdoor temperature where that is air."},
	{SECTION_PLANT, "degree_base", OPTION_QUANTITY, "15.5 °C",
		AT(plant, degree_base_c), .dimension = DIMENSION_TEMPERATURE,
		RANGE(-20, 40),
		.sentence = "Outdoor temperature below which degree days count, unless a "
			    "question names another."},
	{SECTION_PLANT, "season_start", OPTION_MONTH_DAY, "07-01",
		AT(plant, season_start),
		.sentence =
			"Month and day on which a heating season begins, after one "
			"winter's heating and before the next one's. What findings add "
			"is told of a season's factor."},
	{SECTION_PLANT, "design_temperature", OPTION_QUANTITY, .example = "-9 °C",
		AT(plant, design_temperature_c), .dimension = DIMENSION_TEMPERATURE,
		RANGE(-60, 25),
		.sentence = "Outdoor temperature that the heating is laid out for (EN "
			    "12831): what the house would need there is the design "
			    "load."},
	{SECTION_PLANT, "design_capacity", OPTION_QUANTITY, .example = "5.6 kW",
		AT(plant, design_capacity_w), .dimension = DIMENSION_POWER,
		RANGE(100, 1e6),
		.sentence = "Heat that the unit is declared to give at that temperature, "
			    "defrosts included; without it, what it was seen to give in "
			    "the cold."},
	{SECTION_PLANT, "emitter_exponent", OPTION_NUMBER, .example = "1.3",
		AT(plant, emitter_exponent), RANGE(1, 1.6),
		.sentence =
			"By which power of the water's excess over the room what "
			"radiators and floors give off grows: radiators about 1.3 (EN "
			"442), floor heating 1.1 (EN 1264). Without it 1.2, give or "
			"take 0.1."},
	{SECTION_PLANT, "pair_class", OPTION_CHOICE, .example = "matched_3",
		.words = "matched_3 | matched_5 | matched_10", NOWHERE,
		.sentence = "The temperature sensors are a matched pair of a thermal "
			    "energy meter (EN 1434) for differences from 3, 5 or 10 K."},
	{SECTION_PLANT, "pair_limit", OPTION_QUANTITY, "0.3 K", AT(plant, pair_limit.k),
		.dimension = DIMENSION_TEMPERATURE_DIFFERENCE, RANGE(0, 10),
		.sentence =
			"Limit of error of the temperature difference; without it that "
			"of pair_class, else of both temperatures' class or limit."},
	{SECTION_PLANT, "flow_limit", OPTION_QUANTITY, "3 %",
		AT(plant, flow_limit_percent), .dimension = DIMENSION_RATIO, RANGE(0, 50),
		.sentence = "Limit of error of the flow, percent of reading; without it "
			    "that of flow_rate's class or limit."},
	{SECTION_PLANT, "heat_class", OPTION_CHOICE, .example = "2", .words = "1 | 2 | 3",
		NOWHERE,
		.sentence = "With heat_source = power or register: the accuracy class of "
			    "the thermal energy meter (EN 1434) that says it."},
	{SECTION_PLANT, "heat_limit", OPTION_QUANTITY, .example = "10 %",
		AT(plant, source_limit_percent), .dimension = DIMENSION_RATIO,
		RANGE(0, 50),
		.sentence = "With heat_source = power or register: limit of error of "
			    "that heat, percent of reading; without it that of "
			    "heat_class, else 10 %."},
	OPTIONS_END,
};

const struct option meter_options[] = {
	{SECTION_METER, "feeds", OPTION_DEVICES, .example = "compressor",
		.words = DEVICES, NOWHERE,
		.sentence =
			"What it feeds: any of these. Controls count as compressor, so "
			"does the source's fan or pump where no meter feeds it apart."},
	{SECTION_METER, "power", OPTION_SUM, .example = "unit_power", NOWHERE,
		.sentence = "Its power: a channel or a sum such as phase_1 + phase_2 + "
			    "phase_3."},
	{SECTION_METER, "register", OPTION_SUM, .example = "unit_register", NOWHERE,
		.sentence = "Its energy register, likewise: it rules the totals, power "
			    "gives the minutes their shape."},
	{SECTION_METER, "less", OPTION_METER, .example = "immersion", NOWHERE,
		.sentence =
			"Another meter behind this one, whose electricity is taken off."},
	{SECTION_METER, "kind", OPTION_CHOICE, "register",
		.words = "register | daily | increment", AT(meter, kind),
		.sentence = "The register counts on, starts anew at midnight, or sends "
			    "increments."},
	{SECTION_METER, "step", OPTION_QUANTITY, "0.01 kWh",
		.dimension = DIMENSION_ENERGY, RANGE(1e-6, 1e3), AT(meter, step_kwh),
		.sentence = "The register's smallest step."},
	{SECTION_METER, "modulus", OPTION_QUANTITY, .example = "65536 kWh",
		.dimension = DIMENSION_ENERGY, RANGE(1e-3, 1e12), AT(meter, modulus_kwh),
		.sentence = "Where the register starts anew at 0."},
	{SECTION_METER, "most_power", OPTION_QUANTITY, "20 kW",
		.dimension = DIMENSION_POWER, RANGE(100, 1e6), AT(meter, most_w),
		.sentence = "Greatest power that is believed."},
	{SECTION_METER, "class", OPTION_CHOICE, .example = "B",
		.words = "1 | 2 | A | B | C | clamp", NOWHERE,
		.sentence =
			"Accuracy class: 1 or 2 (IEC 62053-21), A, B or C (2014/32/EU); "
			"clamp: clamps around the conductors."},
	{SECTION_METER, "limit", OPTION_QUANTITY, "2 %", AT(meter, limit_percent),
		.dimension = DIMENSION_RATIO, RANGE(0, 50),
		.sentence = "Limit of error of its energy, percent of reading; overrides "
			    "class."},
	{SECTION_METER, "apparent", OPTION_YES_NO, "no", AT(meter, apparent),
		.sentence = "Whether its power is volts times amperes, without power "
			    "factor: an estimate, 20 % off at most, unless limit says "
			    "otherwise."},
	OPTIONS_END,
};

const struct option declared_options[] = {
	{SECTION_DECLARED, "outdoor", OPTION_QUANTITY, .example = "7 °C",
		AT(declared, outdoor_c), .dimension = DIMENSION_TEMPERATURE,
		RANGE(-40, 45), .sentence = "Temperature of the air outside, dry bulb."},
	{SECTION_DECLARED, "flow_temperature", OPTION_QUANTITY, .example = "35 °C",
		AT(declared, flow_c), .dimension = DIMENSION_TEMPERATURE, RANGE(15, 90),
		.sentence = "Temperature of the water that leaves the unit."},
	{SECTION_DECLARED, "cop", OPTION_NUMBER, .example = "4.6", AT(declared, cop),
		RANGE(0.8, 15), .sentence = "Heat over electricity there."},
	{SECTION_DECLARED, "capacity", OPTION_QUANTITY, .example = "6.1 kW",
		AT(declared, capacity_w), .dimension = DIMENSION_POWER, RANGE(100, 200e3),
		.sentence = "Heat given there. Without it nothing tells whether the unit "
			    "ran at that load."},
	OPTIONS_END,
};

const struct option correction_options[] = {
	{SECTION_CORRECTION, "channel", OPTION_CHANNEL, .example = "flow_temperature",
		NOWHERE,
		.sentence = "The channel: one of numbers, no states and no register."},
	{SECTION_CORRECTION, "offset", OPTION_IN_UNIT, .example = "-0.4 K", NOWHERE,
		.sentence =
			"Is added: a difference in the channel's unit, or in one that "
			"is named; of temperatures in K as well."},
	{SECTION_CORRECTION, "factor", OPTION_NUMBER, "1", AT(correction, factor),
		RANGE(-1e3, 1e3),
		.sentence = "The value is multiplied by it before the offset is added, "
			    "both in heatbook's own unit."},
	{SECTION_CORRECTION, "from", OPTION_TEXT, .example = "2026-01-01", NOWHERE,
		.sentence = "Since when: a local date, or a time with its offset (RFC "
			    "3339)."},
	{SECTION_CORRECTION, "to", OPTION_TEXT, .example = "2026-03-15", NOWHERE,
		.sentence = "Until when, itself not included; without it the correction "
			    "holds on. Two of one channel must not overlap."},
	OPTIONS_END,
};

const struct option change_options[] = {
	{SECTION_CHANGE, "at", OPTION_TEXT, .example = "2026-01-15", NOWHERE,
		.sentence =
			"When: a local date, of which the day as a whole is after the "
			"change, or a time with its offset (RFC 3339), whose day is "
			"neither before nor after."},
	{SECTION_CHANGE, "what", OPTION_TEXT, .example = "heating curve lowered",
		AT(change, what), .sentence = "What was changed, in the owner's words."},
	OPTIONS_END,
};

const struct option modes_options[] = {
	{SECTION_MODES, "compressor_on", OPTION_QUANTITY, "150 W",
		AT(modes, compressor_on_w), .dimension = DIMENSION_POWER, RANGE(1, 20e3),
		.sentence = "Electricity above which the compressor runs."},
	{SECTION_MODES, "overrun", OPTION_SPAN, "10 min", AT(modes, overrun_ms),
		RANGE(0, 24 * HOUR),
		.sentence = "How long flow after a stop is overrun of the pump; after "
			    "cooling it "
			    "is cooling."},
	{SECTION_MODES, "freeze_outdoor", OPTION_QUANTITY, "5 °C",
		AT(modes, freeze_outdoor_c), .dimension = DIMENSION_TEMPERATURE,
		RANGE(-40, 40),
		.sentence = "Outdoor temperature below which flow at rest is freeze "
			    "protection."},
	{SECTION_MODES, "freeze_return", OPTION_QUANTITY, "15 °C",
		AT(modes, freeze_return_c), .dimension = DIMENSION_TEMPERATURE,
		RANGE(-40, 60), .sentence = "Return temperature below which it is."},
	{SECTION_MODES, "compressor_off", OPTION_QUANTITY, "60 %",
		AT(modes, compressor_off_percent), .dimension = DIMENSION_RATIO,
		RANGE(1, 100),
		.sentence = "Part of compressor_on below which the compressor stands; in "
			    "between it is as it was, or unassigned."},
	{SECTION_MODES, "defrost_difference", OPTION_QUANTITY, "0.8 K",
		AT(modes, defrost_difference_k),
		.dimension = DIMENSION_TEMPERATURE_DIFFERENCE, RANGE(0, 20),
		.sentence = "In a defrost the flow pipe is colder than the return by "
			    "more than this."},
	{SECTION_MODES, "defrost_outdoor", OPTION_QUANTITY, "10 °C",
		AT(modes, defrost_outdoor_c), .dimension = DIMENSION_TEMPERATURE,
		RANGE(-40, 40),
		.sentence = "Outdoor temperature below which there are defrosts."},
	{SECTION_MODES, "defrost_flow", OPTION_QUANTITY, "50 %",
		AT(modes, defrost_flow_percent), .dimension = DIMENSION_RATIO,
		RANGE(0, 100),
		.sentence = "Part of nominal_flow that moves in a defrost at least."},
	{SECTION_MODES, "hot_water_above", OPTION_QUANTITY, "6 K",
		AT(modes, hot_water_above_k),
		.dimension = DIMENSION_TEMPERATURE_DIFFERENCE, RANGE(0, 60),
		.sentence = "A flow that is hotter than its target by more than this "
			    "makes hot water."},
	{SECTION_MODES, "hot_water_flow", OPTION_QUANTITY, "0 L/min",
		AT(modes, hot_water_lpm), .dimension = DIMENSION_FLOW, RANGE(0, 200),
		.sentence = "Flow while hot water is made, where it is another than "
			    "nominal_flow; 0: it is not."},
	{SECTION_MODES, "cylinder_rise", OPTION_QUANTITY, "0.3 K",
		AT(modes, cylinder_rise_k), .dimension = DIMENSION_TEMPERATURE_DIFFERENCE,
		RANGE(0, 20),
		.sentence = "A cylinder that becomes warmer by more within five minutes, "
			    "the immersion heater off or not among devices, tells of hot "
			    "water."},
	OPTIONS_END,
};
