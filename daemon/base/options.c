/*
 * The option table. See options.h.
 *
 * Order is the order of the printed reference. Ranges are in the own unit of the
 * dimension, milliseconds or bytes. A default is a text that goes through the same reader
 * as the owner's lines, so that what is printed is what happens.
 *
 * Defaults of the error budget: pair_limit 0.3 K is two platinum sensors of class A near
 * 35 °C in quadrature, √2 · (0.15 + 0.002 · 35) K (IEC 60751); flow_limit 3 % is a class
 * 2 flow sensor at a fiftieth of its permanent flow, 2 + 0.02 · 50 (EN 1434-1), or a
 * vortex sensor. Classes: account/instrument.c. Thresholds of modes: heatbook's own
 * choice.
 */
#include <heatbook/config.h>
#include <heatbook/notice.h>
#include <heatbook/options.h>
#include <heatbook/tariff.h>

#define SENSOR_CLASSES                                                                   \
	"platinum_aa | platinum_a | platinum_b | platinum_c | thermistor | digital | "   \
	"strapped | strapped_bare | flow_1 | flow_2 | flow_3 | vortex | pump_speed"
#define DEVICES "compressor | backup_heater | immersion | circulation | source"
#define ROLES                                                                            \
	"plain | flow_temperature | return_temperature | flow_rate | water_pressure | "  \
	"outdoor_temperature | outdoor_humidity | room_temperature | "                   \
	"cylinder_temperature "                                                          \
	"| target_flow_temperature | compressor_frequency | operating_mode | valve | "   \
	"defrost | heat_power | heat_register | circulation_pump | "                     \
	"source_entering_temperature | source_leaving_temperature | source_flow_rate "   \
	"| source_heat_power"

#define AT(section, field) .offset = (int)offsetof(struct section##_config, field)
#define NOWHERE            .offset = (-1)
#define RANGE(low, high)   .least = (low), .most = (high)
#define HOUR               3600e3
#define DAY                86400e3

static const struct option options[] = {
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

	{SECTION_BROKER, "host", OPTION_TEXT, .example = "127.0.0.1", AT(broker, host),
		.sentence = "Name or address."},
	{SECTION_BROKER, "port", OPTION_INTEGER, "1883", AT(broker, port),
		RANGE(1, 65535), .sentence = "TCP port; 8883 by default with TLS."},
	{SECTION_BROKER, "protocol", OPTION_CHOICE, "3.1.1", AT(broker, protocol),
		.words = "3.1.1 | 5",
		.sentence = "Version of MQTT. With 5 the broker gives reasons and keeps "
			    "oversized messages to itself."},
	{SECTION_BROKER, "user", OPTION_TEXT, .example = "heatbook", AT(broker, user),
		.sentence = "User name, where the broker asks for one."},
	{SECTION_BROKER, "password_file", OPTION_FILE,
		.example = "/etc/heatbook/password", NOWHERE,
		.sentence =
			"File whose first line is the password; a name without / is a "
			"credential of the service."},
	{SECTION_BROKER, "tls", OPTION_YES_NO, .example = "yes", AT(broker, tls),
		.sentence = "Whether the connection is encrypted (TLS 1.2 or later) and "
			    "the broker's certificate checked, host name included; "
			    "without it, whether there is a ca_file."},
	{SECTION_BROKER, "ca_file", OPTION_FILE, .example = "/etc/heatbook/authority.pem",
		NOWHERE,
		.sentence = "Certificates (PEM) of the authorities that may vouch for "
			    "the broker; "
			    "with tls = yes and without it the system's. Files may be "
			    "credentials of the service, as for password_file."},
	{SECTION_BROKER, "certificate_file", OPTION_FILE,
		.example = "/etc/heatbook/client.pem", NOWHERE,
		.sentence = "Our own certificate (PEM, with its chain), where the broker "
			    "asks for one."},
	{SECTION_BROKER, "key_file", OPTION_FILE, .example = "/etc/heatbook/client.key",
		NOWHERE, .sentence = "Its private key (PEM, not encrypted)."},
	{SECTION_BROKER, "client_id", OPTION_TEXT, .example = "heatbook-cellar",
		AT(broker, client_id),
		.sentence =
			"MQTT client identifier, unlike any other client's; without it "
			"heatbook- and the host's name."},
	{SECTION_BROKER, "keep_alive", OPTION_SECONDS, "60 s", AT(broker, keepalive_s),
		RANGE(5e3, 65535e3),
		.sentence = "Longest silence on the connection before it is probed."},

	{SECTION_CHANNEL, "role", OPTION_CHOICE, .example = "flow_temperature",
		.words = ROLES, NOWHERE,
		.sentence = "What the channel is to the accounting; without it the role "
			    "of that "
			    "name, else plain."},
	{SECTION_CHANNEL, "topic", OPTION_FILTER, .example = "plant/unit",
		AT(channel, topic), .sentence = "Topic filter; + and # are allowed."},
	{SECTION_CHANNEL, "pointer", OPTION_POINTER, .example = "/water/leaving",
		AT(channel, pointer),
		.sentence =
			"JSON Pointer (RFC 6901) to the value; without it the payload "
			"itself is the value."},
	{SECTION_CHANNEL, "each", OPTION_POINTER, .example = "/samples",
		AT(channel, each),
		.sentence = "JSON Pointer to an array of readings; pointers are then "
			    "relative "
			    "to each."},
	{SECTION_CHANNEL, "senml", OPTION_TEXT, .example = "cellar/flow_temperature",
		AT(channel, senml),
		.sentence = "Name of a record in a SenML pack (RFC 8428), base name "
			    "included."},
	{SECTION_CHANNEL, "unit", OPTION_UNIT, .example = "°C", NOWHERE,
		.sentence = "Unit of the number in the payload; without it heatbook's "
			    "own unit "
			    "of the role."},
	{SECTION_CHANNEL, "scale", OPTION_NUMBER, "1", AT(channel, scale),
		RANGE(-1e9, 1e9),
		.sentence = "value = number × scale + offset, in unit."},
	{SECTION_CHANNEL, "offset", OPTION_NUMBER, "0", AT(channel, offset),
		RANGE(-1e12, 1e12), .sentence = "See scale."},
	{SECTION_CHANNEL, "integer_bits", OPTION_INTEGER, "0", AT(channel, integer_bits),
		RANGE(0, 32),
		.sentence = "8, 16 or 32: the number is a signed integer of that width, "
			    "sent as "
			    "unsigned; 0: it is not."},
	{SECTION_CHANNEL, "decimal", OPTION_CHOICE, "detect", AT(channel, decimal),
		.words = "detect | point | comma",
		.sentence = "Decimal mark of text numbers."},
	{SECTION_CHANNEL, "thousands", OPTION_YES_NO, "no", AT(channel, thousands),
		.sentence = "Whether the other mark groups thousands."},
	{SECTION_CHANNEL, "map", OPTION_MAP, .example = "0:heating, 1:hot_water", NOWHERE,
		.sentence = "Words of a state channel; without it the names of the "
			    "role's states, "
			    "and yes, no, true, false, 1, 0 for on and off."},
	{SECTION_CHANNEL, "valid_least", OPTION_IN_UNIT, .example = "-30", NOWHERE,
		.sentence = "A smaller value is not believed; in unit."},
	{SECTION_CHANNEL, "valid_most", OPTION_IN_UNIT, .example = "95", NOWHERE,
		.sentence = "A larger value is not believed; in unit."},
	{SECTION_CHANNEL, "stale_after", OPTION_LIMIT, "15 min",
		AT(channel, stale_after_ms), RANGE(1e3, 400 * DAY),
		.sentence = "How long a value holds without a new one, or none; states: "
			    "none by "
			    "default."},
	{SECTION_CHANNEL, "between", OPTION_CHOICE, "hold", AT(channel, between),
		.words = "hold | line",
		.sentence = "What is true between two readings: hold, what the first "
			    "says; line, the straight line to the second, of a "
			    "temperature with a period. Across a gap of more than three "
			    "periods, or than stale_after, it holds; rows of minutes "
			    "come by three periods later."},
	{SECTION_CHANNEL, "period", OPTION_SPAN, .example = "20 s",
		AT(channel, period_ms), RANGE(1e3, 300e3),
		.sentence = "With between = line: how often the temperature is said, "
			    "changed or not."},
	{SECTION_CHANNEL, "time", OPTION_CHOICE, "arrival", AT(channel, time),
		.words = "arrival | payload",
		.sentence = "Whether the message's arrival or the payload says when."},
	{SECTION_CHANNEL, "time_pointer", OPTION_POINTER, .example = "/time",
		AT(channel, time_pointer),
		.sentence = "JSON Pointer to the payload's time."},
	{SECTION_CHANNEL, "time_form", OPTION_CHOICE, "detect", AT(channel, time_form),
		.words = "detect | s | ms | us | ns | iso",
		.sentence = "Form of the payload's time: since 1970, or ISO 8601."},
	{SECTION_CHANNEL, "retained", OPTION_CHOICE, "ignore", AT(channel, retained),
		.words = "ignore | state",
		.sentence = "Whether a retained message counts from the moment of "
			    "subscription; "
			    "state for states by default."},
	{SECTION_CHANNEL, "extremes", OPTION_YES_NO, "no", AT(channel, extremes),
		.sentence = "Whether each minute's least and greatest value are kept."},
	{SECTION_CHANNEL, "class", OPTION_CHOICE, .example = "platinum_b",
		.words = SENSOR_CLASSES, NOWHERE,
		.sentence = "Of flow_temperature, return_temperature and flow_rate, and "
			    "of the same on the source's side: what the sensor is. "
			    "platinum_…: IEC 60751; flow_…: EN 1434; "
			    "strapped: on the pipe and insulated, strapped_bare: without "
			    "insulation; pump_speed: worked out by the pump."},
	{SECTION_CHANNEL, "limit", OPTION_IN_UNIT, .example = "0.5 K", NOWHERE,
		.sentence = "Of the same and of source_heat_power: limit of its error, K "
			    "or percent of reading; overrides class."},
	{SECTION_CHANNEL, "kind", OPTION_CHOICE, "register", AT(channel, kind),
		.words = "register | daily | increment",
		.sentence = "heat_register only: counts on, starts anew at midnight, or "
			    "sends "
			    "increments."},
	{SECTION_CHANNEL, "step", OPTION_QUANTITY, "0.01 kWh",
		.dimension = DIMENSION_ENERGY, RANGE(1e-6, 1e3), AT(channel, step_kwh),
		.sentence = "heat_register only: its smallest step."},
	{SECTION_CHANNEL, "modulus", OPTION_QUANTITY, .example = "65536 kWh",
		.dimension = DIMENSION_ENERGY, RANGE(1e-3, 1e12),
		AT(channel, modulus_kwh),
		.sentence = "heat_register only: where it starts anew at 0."},
	{SECTION_CHANNEL, "most_power", OPTION_QUANTITY, "20 kW",
		.dimension = DIMENSION_POWER, RANGE(100, 1e6), AT(channel, most_w),
		.sentence = "heat_register only: greatest heat flow that is believed."},
	{SECTION_CHANNEL, "falls", OPTION_YES_NO, "no", AT(channel, falls),
		.sentence = "heat_register only: whether it counts down while heat is "
			    "drawn from the house, as in a defrost."},

	{SECTION_SOURCE, "topics", OPTION_FILTERS,
		.example = "plant/#, house/meter/+/power", NOWHERE,
		.sentence =
			"Topic filters; channels whose topic they cover belong to it. "
			"Without them, topics whose first level is its name."},
	{SECTION_SOURCE, "will_topic", OPTION_TOPIC, .example = "plant/state",
		AT(source, will_topic), .sentence = "Topic of its Will message."},
	{SECTION_SOURCE, "will_present", OPTION_TEXT, "online", AT(source, will_present),
		.sentence = "What the Will topic says while the source is there."},
	{SECTION_SOURCE, "will_gone", OPTION_TEXT, "offline", AT(source, will_gone),
		.sentence = "What it says once the source is gone."},
	{SECTION_SOURCE, "silent_after", OPTION_LIMIT, "10 min",
		AT(source, silent_after_ms), RANGE(1e3, 400 * DAY),
		.sentence = "Silence after which all its channels are unknown, or none."},

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

	{SECTION_CHANGE, "at", OPTION_TEXT, .example = "2026-01-15", NOWHERE,
		.sentence =
			"When: a local date, of which the day as a whole is after the "
			"change, or a time with its offset (RFC 3339), whose day is "
			"neither before nor after."},
	{SECTION_CHANGE, "what", OPTION_TEXT, .example = "heating curve lowered",
		AT(change, what), .sentence = "What was changed, in the owner's words."},

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

	{SECTION_TARIFF, "from", OPTION_TEXT, .example = "2026-01-01", NOWHERE,
		.sentence = "The first local day; without it since ever."},
	{SECTION_TARIFF, "to", OPTION_TEXT, .example = "2027-01-01", NOWHERE,
		.sentence = "The local day on which it holds no more; without it it "
			    "holds on."},
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

	{SECTION_CARBON, "from", OPTION_TEXT, .example = "2026-01-01", NOWHERE,
		.sentence = "The first local day; without it since ever."},
	{SECTION_CARBON, "to", OPTION_TEXT, .example = "2027-01-01", NOWHERE,
		.sentence = "The local day on which it holds no more; without it it "
			    "holds on."},
	{SECTION_CARBON, "intensity", OPTION_QUANTITY, .example = "380 g/kWh", NOWHERE,
		.dimension = DIMENSION_INTENSITY, RANGE(0, 1e5),
		.sentence = "Carbon dioxide that a kWh from the grid emits."},
	{SECTION_CARBON, "intensity_channel", OPTION_CHANNEL, .example = "grid_carbon",
		NOWHERE, .sentence = "Channel that tells it instead, such as in g/kWh."},
	{SECTION_CARBON, "own_intensity", OPTION_QUANTITY, "0 g/kWh", AT(carbon, own_g),
		.dimension = DIMENSION_INTENSITY, RANGE(0, 1e5),
		.sentence = "What a kWh of own generation emits."},

	{SECTION_OTHER_HEAT, "source", OPTION_TEXT, .example = "oil_boiler",
		AT(other_heat, source),
		.sentence = "The source's name, where several sections are one source "
			    "from one day to another; without it the section's."},
	{SECTION_OTHER_HEAT, "from", OPTION_TEXT, .example = "2026-01-01", NOWHERE,
		.sentence = "The first local day; without it since ever."},
	{SECTION_OTHER_HEAT, "to", OPTION_TEXT, .example = "2027-01-01", NOWHERE,
		.sentence = "The local day on which it holds no more; without it it "
			    "holds on."},
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

	{SECTION_NOTICE, "watch", OPTION_TEXT, .example = "value water_pressure", NOWHERE,
		.sentence =
			"What is looked at, by the minute: value CHANNEL; state "
			"CHANNEL:STATE; missing CHANNEL; power METER; of the local day "
			"so far day heat, day electricity, day efficiency, or day known "
			"(percent of it in which heat and electricity were)."},
	{SECTION_NOTICE, "above", OPTION_IN_UNIT, .example = "60 °C", NOWHERE,
		.sentence = "It is raised above this, in the unit of what is looked at "
			    "or in one that is named. Either above or below; state and "
			    "missing have neither."},
	{SECTION_NOTICE, "below", OPTION_IN_UNIT, .example = "1 bar", NOWHERE,
		.sentence = "It is raised below this."},
	{SECTION_NOTICE, "clears", OPTION_IN_UNIT, .example = "1.2 bar", NOWHERE,
		.sentence = "Level at which it ends, on the other side of the threshold; "
			    "without it the threshold itself. In between it stays as it "
			    "is."},
	{SECTION_NOTICE, "for", OPTION_SPAN, "5 min", AT(notice, for_ms),
		RANGE(60e3, 7 * DAY),
		.sentence = "How long it must have been so; minutes of which nothing is "
			    "known are not counted."},
	{SECTION_NOTICE, "clears_for", OPTION_SPAN, .example = "30 min",
		AT(notice, clears_for_ms), RANGE(60e3, 7 * DAY),
		.sentence = "How long it must have been otherwise until it ends; without "
			    "it as long as for."},
	{SECTION_NOTICE, "text", OPTION_TEXT, .example = "Pressure is low",
		AT(notice, text),
		.sentence = "What is said; without it what is looked at and the "
			    "threshold."},

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

	{SECTION_PAYLOAD, "missing_words", OPTION_WORDS,
		"n/a, none, null, nan, -, --, ???", NOWHERE,
		.sentence = "Words for 'no value', in any case of letters; an empty "
			    "payload is "
			    "one always."},

	{SECTION_TABLE, "files", OPTION_PATTERNS, .example = "*.csv", NOWHERE,
		.sentence =
			"Shell patterns on the file's name, without .gz or .zst; without "
			"them the table is read when import is told its name by "
			"--format."},
	{SECTION_TABLE, "time", OPTION_TIME_COLUMN, .example = "date + clock", NOWHERE,
		.sentence =
			"The column of the time, or two that make it together; by "
			"header, "
			"or #1 by number; without it the first column that holds times."},
	{SECTION_TABLE, "time_form", OPTION_TIME_FORM, "detect", NOWHERE,
		.sentence =
			"Form of its times: detect, since origin in s, ms, us or ns, iso "
			"(ISO 8601), or a pattern of YYYY, YY, MM, DD, hh, mm, ss such "
			"as "
			"DD.MM.YYYY hh:mm:ss."},
	{SECTION_TABLE, "origin", OPTION_INSTANT, "1970-01-01T00:00:00Z",
		AT(table, origin_ms),
		.sentence = "What numeric times count from (RFC 3339)."},
	{SECTION_TABLE, "zone", OPTION_ZONE, .example = "UTC", AT(table, zone),
		.sentence = "IANA time zone of times that bear none; without it the "
			    "plant's."},
	{SECTION_TABLE, "year", OPTION_INTEGER, .example = "2026", AT(table, year),
		RANGE(2000, 2199),
		.sentence =
			"Year of the first row where stamps have none; from December to "
			"January it goes on by one."},
	{SECTION_TABLE, "interval", OPTION_SPAN, .example = "1 min",
		AT(table, interval_ms), RANGE(1, 400 * DAY),
		.sentence = "What a row covers, exactly; whole days are local days. A "
			    "register's reading is that of the stamp, an increment what "
			    "was counted in the interval. Without it a row's values hold "
			    "as those of a message do."},
	{SECTION_TABLE, "covers", OPTION_CHOICE, "after", .words = "after | before",
		NOWHERE,
		.sentence = "Whether the interval comes after the stamp or before it."},
	{SECTION_TABLE, "same_stamp", OPTION_CHOICE, "last", AT(table, same_stamp),
		.words = "last | divide",
		.sentence =
			"Of several rows on one stamp the last by its text counts, or "
			"they "
			"share the interval in equal parts in the order of their lines."},
	{SECTION_TABLE, "silent_after", OPTION_LIMIT, "10 min", NOWHERE,
		RANGE(1e3, 400 * DAY),
		.sentence = "Without interval: the gap between rows after which all "
			    "values are "
			    "unknown, or none."},
	{SECTION_TABLE, "delimiter", OPTION_CHOICE, "detect", AT(table, delimiter),
		.words = "detect | comma | semicolon | tab | pipe",
		.sentence = "What parts the columns."},
	{SECTION_TABLE, "decimal", OPTION_CHOICE, "detect", AT(table, decimal),
		.words = "detect | point | comma",
		.sentence = "Decimal mark of the whole file."},
	{SECTION_TABLE, "header", OPTION_CHOICE, "detect", AT(table, header),
		.words = "detect | yes | no",
		.sentence = "Whether the first row names the columns."},
	{SECTION_TABLE, "missing_words", OPTION_WORDS, .example = "-9999, fault", NOWHERE,
		.sentence =
			"Words for 'no value' in its cells, besides those of [payload]; "
			"numbers, too."},
	{SECTION_TABLE, "name", OPTION_TEXT, .example = "sensor", AT(table, name_column),
		.sentence = "Of a table with one reading a row: the column that names "
			    "it. Then "
			    "column.CHANNEL is a text of that column."},
	{SECTION_TABLE, "value", OPTION_TEXT, .example = "value", AT(table, value_column),
		.sentence = "The column of its value."},
	{SECTION_TABLE, "column.CHANNEL", OPTION_COLUMN, .example = "out", NOWHERE,
		.sentence =
			"The column that feeds the channel of that name: its header, or "
			"#3 by its number."},
	{SECTION_TABLE, "unit.CHANNEL", OPTION_COLUMN, .example = "°F", NOWHERE,
		.sentence = "Unit of that column where it is not the channel's; then the "
			    "channel's scale and offset do not count."},

	{SECTION_JOURNAL, "tail", OPTION_TEXT, "/run/heatbook/tail", AT(journal, tail),
		.fixed = true, .sentence = "Directory of the uncommitted end, on tmpfs."},
	{SECTION_JOURNAL, "tail_bound", OPTION_SIZE, "64 MB",
		AT(journal, tail_bound_bytes), RANGE(1e6, 4e9), .fixed = true,
		.sentence = "Its greatest size."},
	{SECTION_JOURNAL, "clock_wait", OPTION_SPAN, "15 min", AT(journal, clock_wait_ms),
		RANGE(0, DAY), .fixed = true,
		.sentence =
			"How long after a start records wait for the clock to be set, "
			"when it is not synchronised or before the last minute; 0 s: not "
			"at all."},
	{SECTION_JOURNAL, "keep", OPTION_SPAN, "400 d", AT(journal, keep_ms),
		RANGE(DAY, 36500 * DAY),
		.sentence = "How long live records are kept; imports are kept for ever."},

	{SECTION_STORE, "file", OPTION_TEXT, "/var/lib/heatbook/heatbook.db",
		AT(store, file), .fixed = true, .sentence = "The database file."},
	{SECTION_STORE, "commit_interval", OPTION_SPAN, "5 min",
		AT(store, commit_interval_ms), RANGE(1e3, HOUR),
		.sentence =
			"How often minutes are written; a power cut costs at most this."},
	{SECTION_STORE, "keep_minutes", OPTION_LIMIT, "none", AT(store, keep_minutes_ms),
		RANGE(60 * DAY, 36500 * DAY),
		.sentence = "How long minutes are kept, or none: for ever. Hours and "
			    "days are kept for ever."},

	{SECTION_HTTP, "address", OPTION_TEXT, "127.0.0.1", AT(http, address),
		.fixed = true,
		.sentence =
			"Address to listen on. 127.0.0.1 and ::1 serve this host alone; "
			"another needs a token_file, or open = yes."},
	{SECTION_HTTP, "port", OPTION_INTEGER, "8720", AT(http, port), RANGE(0, 65535),
		.fixed = true, .sentence = "TCP port; 0 takes a free one."},
	{SECTION_HTTP, "token_file", OPTION_FILE, .example = "/etc/heatbook/tokens",
		NOWHERE,
		.sentence =
			"File of tokens, one a line, 16 characters at least; readable by "
			"owner and group alone; a name without / is a credential of the "
			"service. With it all data want one, on this host, too: "
			"Authorization: Bearer TOKEN."},
	{SECTION_HTTP, "open", OPTION_YES_NO, "no", AT(http, open),
		.sentence = "Whether whoever reaches the address may read without a "
			    "token."},
	{SECTION_HTTP, "hosts", OPTION_WORDS, .example = "cellar.example", NOWHERE,
		.sentence =
			"Names that the server is asked by, besides localhost and the "
			"address. A request by another name is refused, since pages "
			"elsewhere could make one point here."},
	{SECTION_HTTP, "origins", OPTION_WORDS, .example = "https://wall.example",
		NOWHERE,
		.sentence = "Pages of other servers that may ask from a browser: scheme, "
			    "host and port, exactly."},
	{SECTION_HTTP, "connections", OPTION_INTEGER, "32", AT(http, connections),
		RANGE(1, 512), .fixed = true, .sentence = "Connections at a time."},
	{SECTION_HTTP, "connections_per_client", OPTION_INTEGER, "16",
		AT(http, connections_per_client), RANGE(1, 512), .fixed = true,
		.sentence =
			"Of these, from one address. Behind a proxy all come from one."},
	{SECTION_HTTP, "streams", OPTION_INTEGER, "8", AT(http, streams), RANGE(1, 256),
		.sentence = "Of these, those that follow the event stream; a page that "
			    "is shown does."},
	{SECTION_HTTP, "requests_per_client", OPTION_INTEGER, "600",
		AT(http, requests_per_client), RANGE(1, 1000000),
		.sentence = "Requests a minute from one address beyond this host; more "
			    "are put off."},

	{SECTION_PUBLISH, "prefix", OPTION_TOPIC, .example = "heatbook",
		AT(publish, prefix),
		.sentence = "Topic under which state, today, mode, findings and "
			    "notices are published as retained messages; no other "
			    "client may use it."},
	{SECTION_PUBLISH, "interval", OPTION_SPAN, "5 min", AT(publish, interval_ms),
		RANGE(10e3, HOUR),
		.sentence = "How often all of it is published; mode and findings besides "
			    "as soon as they change, notices then alone."},
};

const struct option *option_table(size_t *ret_count)
{
	*ret_count = ARRAY_LEN(options);
	return options;
}
