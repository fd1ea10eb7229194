/*
 * The options of what comes in: the broker, channels, sources and tables. See
 * option_rows.h.
 */
#include "option_rows.h"

#define SENSOR_CLASSES                                                                   \
	"platinum_aa | platinum_a | platinum_b | platinum_c | thermistor | digital | "   \
	"strapped | strapped_bare | flow_1 | flow_2 | flow_3 | vortex | pump_speed"
#define ROLES                                                                            \
	"plain | flow_temperature | return_temperature | flow_rate | water_pressure | "  \
	"outdoor_temperature | outdoor_humidity | room_temperature | "                   \
	"cylinder_temperature "                                                          \
	"| target_flow_temperature | compressor_frequency | operating_mode | valve | "   \
	"defrost | heat_power | heat_register | circulation_pump | "                     \
	"source_entering_temperature | source_leaving_temperature | source_flow_rate "   \
	"| source_heat_power"

const struct option broker_options[] = {
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
	OPTIONS_END,
};

const struct option channel_options[] = {
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
	OPTIONS_END,
};

const struct option source_options[] = {
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
	OPTIONS_END,
};

const struct option payload_options[] = {
	{SECTION_PAYLOAD, "missing_words", OPTION_WORDS,
		"n/a, none, null, nan, -, --, ???", NOWHERE,
		.sentence = "Words for 'no value', in any case of letters; an empty "
			    "payload is "
			    "one always."},
	OPTIONS_END,
};

const struct option table_options[] = {
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
	OPTIONS_END,
};
