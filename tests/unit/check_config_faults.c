/*
 * What a configuration is refused for: each line of the table is a file with one mistake,
 * the line that it stands in, and a part of what is said about it. Rules behind them:
 * JSON Pointer (RFC 6901, section 3: from memory), topic filters (MQTT 3.1.1, 4.7: from
 * memory), the option table.
 */
#include <heatbook/config.h>

#include "unit.h"

#define P     "[plant]\nzone = UTC\n"
#define CH    P "[channel a]\ntopic = x/a\n"
#define W     "[channel w]\ntopic = x/w\nunit = W\n"
#define E     "[channel e]\ntopic = x/e\nunit = kWh\n"
#define T     CH "[table t]\ncolumn.a = out\n"
#define METER P W E "[meter m]\nfeeds = compressor\n"
/* line 12 is the correction's heading */
#define CORR P W E "[channel s]\ntopic = x/s\nmap = 1:on\n[correction c]\nchannel = "
#define DECLARED(name)                                                                   \
	"[declared " name "]\noutdoor = 7\nflow_temperature = 35 °C\ncop = 4.6\n"
#define NOTICE P W "[notice n]\n"
#define DATED  "\noffset = 1\nfrom = 2026-01-01\n"

static const struct bad {
	const char *text;
	int line;
	const char *said;
} bad[] = {
	/* the file's form */
	{"name = x\n", 1, "'name' stands before the first section"},
	{P "nonsense\n", 3, "not understood: must be key = value"},
	{P "nonsense", 3, "not understood: must be key = value"},
	{"[plant\nzone = UTC\n", 1, "not understood: a section is [kind NAME]"},
	{"[plant] zone\n", 1, "not understood: a section is [kind NAME]"},
	{P " name = x\n", 3, "begins with blanks"},
	{P "name = x\n\tgoes on\n", 4, "begins with blanks"},
	{P "name = a\001b\n", 3, "holds the control byte 0x01"},
	{P "name =\n", 3, "name = : has no value"},
	{P "name = ; nothing\n", 3, "has no value; leave the line out"},
	{P "[house]\n", 3, "unknown section [house]; known: plant, broker, channel NAME"},
	{P "[Plant]\n", 3, "unknown section [Plant]"},
	{P "[plant two]\n", 3, "[plant] takes no name"},
	{P "[channel]\ntopic = x\n", 3,
		"[channel] needs a name, such as [channel flow_t"},
	{P "[plant]\n", 3, "[plant] is given twice; first in line 1"},
	{CH "[channel a]\n", 5, "[channel a] is given twice; first in line 3"},
	{P "zone = UTC\n", 3, "'zone' is given twice; first in line 2"},
	{P "[channel t]\ntopic = x\n", 3, "t and t_end are columns of every answer"},
	{P "[channel a_ms]\ntopic = x\n", 3, "a name must not end in _ms"},
	{P "[channel a_max]\ntopic = x\n", 3, "a name must not end in _max"},
	{P "[channel Kessel]\ntopic = x\n", 3,
		"name must be small letters, digits and _"},
	{P "[channel 1st]\ntopic = x\n", 3, "a letter first"},
	{P "[channel a-b]\ntopic = x\n", 3, "name must be small letters"},
	{P "[channel a23456789a23456789a23456789a23456789a23456789wxyz]\n", 3,
		"name is 49 bytes long; at most 48"},
	{P "[channel a23456789a23456789a23456789a23456789a23456789a23456789xyz]\n", 3,
		"section name is 65 bytes long; at most 64"},
	/* keys */
	{P "colour = red\n", 3, "[plant] has no key 'colour'; known: name, zone, fluid"},
	{P "presure = 2 bar\n", 3,
		"has no key 'presure', did you mean 'pressure'?; known"},
	{P "[broker]\nprot = 1\n", 4, "did you mean 'port'?"},
	{P "[weather day]\n", 3, "unknown section [weather day]"},
	/* values */
	{P "[broker]\nport = 0\n", 4, "[broker] port = 0: must be 1 to 65535"},
	{P "[broker]\nport = 70000\n", 4, "must be 1 to 65535"},
	{P "[broker]\nport = 1883x\n", 4, "must be a whole number"},
	{P "[broker]\nport = 18.5\n", 4, "must be a whole number"},
	{P "[broker]\nkeep_alive = 1 s\n", 4, "must be 5 s to 65535 s"},
	{P "[broker]\nkeep_alive = 5500 ms\n", 4, "must be whole seconds"},
	{P "[store]\ncommit_interval = 5\n", 4, "has no unit; must be one of ms, s, min"},
	{P "[store]\ncommit_interval = 5 mins\n", 4,
		"unknown unit 'mins'; must be one of"},
	{P "[store]\ncommit_interval = 2 h\n", 4, "must be 1 s to 1 h"},
	{P "[store]\ncommit_interval = soon\n", 4, "must be a number and a unit"},
	{P "[store]\ncommit_interval = none\n", 4, "must be a number and a unit"},
	{P "[journal]\ntail_bound = 64 Mb\n", 4,
		"unknown unit 'Mb'; must be one of B, kB"},
	{P "[journal]\ntail_bound = 10 kB\n", 4, "must be 1 MB to 4 GB"},
	{P "[journal]\nkeep = 1 h\n", 4, "must be 1 d to 36500 d"},
	{P "[http]\nport = 65536\n", 4, "must be 0 to 65535"},
	{P "[http]\naddress = 0.0.0.0\n", 4, "is reached from beyond this host"},
	{P "[http]\naddress = ::\n", 4, "is reached from beyond this host"},
	{P "[http]\naddress = cellar\n", 4, "must be an IP address of this host"},
	{P "[publish]\nprefix = house/+\n", 4, "must be one topic, without + or #"},
	{P "[publish]\nprefix = $SYS/heatbook\n", 4, "must not begin with $"},
	{P "[publish]\nprefix = /heatbook\n", 4, "must have no empty level"},
	{P "[publish]\nprefix = heatbook/\n", 4, "must have no empty level"},
	{P "[publish]\nprefix = house//heatbook\n", 4, "must have no empty level"},
	{P "[publish]\nprefix = heat book\n", 4, "must be of printable ASCII"},
	{P "[publish]\nprefix = heatbook\ninterval = 9 s\n", 5, "must be 10 s to 1 h"},
	{P "[publish]\nprefix = plant/unit\n[channel a]\ntopic = plant/unit/power\n", 4,
		"lies in one tree with topic plant/unit/power of [channel a]"},
	{P "[publish]\nprefix = plant/unit/a\n[channel a]\ntopic = plant/unit\n", 4,
		"lies in one tree with topic plant/unit of [channel a]"},
	{P "[publish]\nprefix = plant\n[channel a]\ntopic = plant\n", 4,
		"lies in one tree with topic plant of [channel a]"},
	{P "[publish]\nprefix = house/heatbook\n[channel a]\ntopic = house/+/power\n", 4,
		"lies in one tree with topic house/+/power of [channel a]"},
	{P "[publish]\nprefix = plant/book\n[source b]\ntopics = x, plant/#\n", 4,
		"lies in one tree with topic plant/# of [source b]"},
	{P "[publish]\nprefix = plant/book\n[source b]\nwill_topic = plant/book/state\n",
		4, "lies in one tree with topic plant/book/state of [source b]"},
	{P "pair_limit = 0.3 bar\n", 3,
		"bar is a pressure; must be a temperature difference"},
	{P "pair_limit = 0.3 Kelvins\n", 3, "unknown unit 'Kelvins'"},
	{P "pair_limit = -1\n", 3, "must be 0 to 10 K"},
	{P "flow_limit = 3,5 %\n", 3, "unknown unit ',5 %'"},
	{P "flow_limit = 3.12345678901234567 %\n", 3, "has more than 15 digits"},
	{P "flow_limit = 1e30\n", 3, "too large or too small"},
	{P "heat_limit = 5 %\n", 3, "is of heat_source = power or register"},
	{P "[channel outdoor_temperature]\ntopic = a\nclass = platinum_a\n", 5,
		"is of flow_temperature, return_temperature and flow_rate"},
	{P "[channel flow_rate]\ntopic = a\nclass = platinum_a\n", 5,
		"is of temperature sensors; this channel measures flow"},
	{P "[channel flow_temperature]\ntopic = a\nclass = flow_2\n", 5,
		"is of flow sensors; this channel measures temperature"},
	/* EN 1434 knows no sensor on a pipe */
	{P "pair_class = matched_3\n[channel flow_temperature]\ntopic = a\n"
	   "class = strapped\n",
		6, "pair_class = matched_3 of [plant] says a matched pair"},
	{P "pair_class = matched_10\npair_limit = 0.1 K\n"
	   "[channel return_temperature]\ntopic = a\nclass = strapped_bare\n",
		7, "must leave out one of the two"},
	{P "pair_class = matched_5\n[channel return_temperature]\ntopic = a\n"
	   "class = digital\n",
		6, "never on a pipe"},
	{P "[channel flow_temperature]\ntopic = a\nlimit = 11 K\n", 5,
		"must be 0 to 10 K"},
	{P "[channel flow_rate]\ntopic = a\nlimit = 0.3 K\n", 5, "K is a temperature"},
	{P "[channel source_heat_power]\ntopic = a\nclass = flow_2\n", 5,
		"must be limit, in percent of the heat"},
	{P "[channel source_entering_temperature]\ntopic = a\nclass = flow_2\n", 5,
		"is of flow sensors; this channel measures temperature"},
	{P "source_fluid = propylene_glycol\n", 3, "needs source_fluid_percent"},
	{P "source_fluid_percent = 20 %\n", 3, "must be 0 with source_fluid = water"},
	{P "least_flow = 0x10\n", 3, "unknown unit 'x10'"},
	{P "least_flow = nan\n", 3, "must be a number, with a decimal point"},
	/* plant */
	{"[plant]\nzone = Europe/Atlantis\n", 2, "the system knows no such time zone"},
	{"[plant]\nzone = ../passwd\n", 2, "the system knows no such time zone"},
	{P "season_start = 1 July\n", 3,
		"season_start = 1 July: must be a month and a day that every year has, "
		"such as 07-01"},
	{P "season_start = 7-1\n", 3, "must be a month and a day"},
	{P "season_start = 02-29\n", 3, "must be a month and a day that every year"},
	{P "season_start = 13-01\n", 3, "must be a month and a day"},
	{P "season_start = 00-10\n", 3, "must be a month and a day"},
	{P "season_start = 04-31\n", 3, "must be a month and a day"},
	{P "season_start = 07-0x\n", 3, "must be a month and a day"},
	{P "season_start = 07/01\n", 3, "must be a month and a day"},
	{P "fluid = milk\n", 3, "must be one of water | propylene_glycol"},
	{P "fluid = propylene_glycol\n", 3,
		"needs fluid_percent, its share by volume; booked as water it would"},
	{P "fluid = ethylene_glycol\nfluid_percent = 0 %\n", 4,
		"must be more than 0 with antifreeze"},
	{P "fluid = ethylene_glycol\nfluid_percent = 61 %\n", 4, "must be 0 to 60 %"},
	{P "fluid = propylene_glycol\nfluid_percent = 0.25\n", 4,
		"a quarter is 25 %, not 0.25"},
	{P "source_fluid = ethylene_glycol\nsource_fluid_percent = 0.99 %\n", 4,
		"must be in percent by volume, 1 % at least"},
	{P "fluid = propylene_glycol\nfluid_percent = 25\nfluid_coldest = -15 °C\n", 5,
		"the fluid freezes at -10.0 °C; must be at least that, or hold more"},
	{P "fluid = propylene_glycol\nfluid_percent = 60\nfluid_coldest = -40 °C\n", 5,
		"the fluid is known no further at -35.0 °C"},
	{P "fluid_coldest = -1 °C\n", 3, "the fluid freezes at 0.0 °C"},
	{P "fluid = ethylene_glycol\nfluid_percent = 20\n[channel return_temperature]\n"
	   "topic = a\nvalid_least = -20\n",
		5,
		"[channel return_temperature] valid_least is -20.0 °C: heat of 20 % "
		"ethylene glycol is known from -8.9 °C, where it freezes"},
	{P "fluid = ethylene_glycol\nfluid_percent = 5\n[channel flow_temperature]\n"
	   "topic = a\nvalid_least = -1\n",
		5, "is known from 0.0 °C, where it leaves the tables"},
	{P "fluid = ethylene_glycol\nfluid_percent = 20\n[channel flow_temperature]\n"
	   "topic = a\nvalid_most = 110\n",
		5, "the tables of ethylene glycol end at 100 °C"},
	{P "fluid_percent = 25 %\n", 3, "water holds no antifreeze"},
	{P "assumed_flow = 17.5 L/min\n", 3,
		"assumed while circulation_pump:on, but there is no [channel "
		"circulation"},
	{P "assumed_flow = 17.5 K\n", 3, "must be a flow"},
	{P "assumed_flow = 1 L/min\nleast_flow = 1 L/min\nassumed_while = a\n"
	   "[channel a]\ntopic = a\n",
		3, "is not above least_flow"},
	{P "assumed_flow = 9 L/min\nassumed_while = valve:open\n[channel valve]\n"
	   "topic = a\n",
		4,
		"has no such state; must be one of its states, such as valve:hot_water"},
	{P "assumed_flow = 9 L/min\nassumed_while = valve\n[channel valve]\ntopic = a\n",
		4, "has no such state"},
	{P "assumed_flow = 9 L/min\nassumed_while = a:on\n[channel a]\ntopic = a\n", 4,
		"channel a has numbers; must be a alone"},
	{P "assumed_flow = 9 L/min\nassumed_while = a\n[channel a]\ntopic = a\n"
	   "[channel flow_rate]\ntopic = b\n",
		3, "the flow is metered by channel flow_rate; leave one of them out"},
	{P "assumed_flow = 9 L/min\nassumed_while = a\nflow_limit = 3 %\n"
	   "[channel a]\ntopic = a\n",
		5, "a flow that is assumed is known to 10 % at best"},
	{P "assumed_flow = 9 L/min\nassumed_while = a\nheat_source = power\n"
	   "[channel a]\ntopic = a\n[channel heat_power]\ntopic = b\n",
		3, "heat is not worked out from a flow"},
	{P "heat_source = register\n", 3, "needs a channel with role heat_register"},
	{P "heat_source = guess\n", 3, "must be one of computed | power | register"},
	{P "pressure = 2 W\n", 3, "W is a power; must be a pressure"},
	{P "pressure = 20 bar\n", 3, "must be 1 to 16 bar"},
	{P "pressure = gauge\n", 3, "there is no [channel gauge]; must be a pressure"},
	{P "pressure = w\n" W, 3, "channel w is a power; must be a pressure"},
	{P "devices = compressor, kettle\n", 3, "'kettle': must be one of compressor"},
	{P "devices = compressor, compressor\n", 3, "'compressor' is named twice"},
	{P "devices = compressor,\n", 3, "an item of the list is empty"},
	{P "devices = circulation\n" W "[meter m]\nfeeds = compressor, immersion\n"
	   "power = w\n",
		8, "devices of [plant] lists no immersion; add it there or leave it"},
	/* broker */
	{P "[broker]\npassword_file = /dev/null\n", 4, "needs a user too; MQTT 3.1.1"},
	{P "[broker]\nuser = u\npassword_file = /nowhere/to/be\n", 5, "No such file"},
	{P "[broker]\nprotocol = 3\n", 4, "must be one of 3.1.1 | 5"},
	{P "[broker]\ntls = perhaps\n", 4, "[broker] tls = perhaps: must be yes or no"},
	{P "[broker]\nca_file = /nowhere/to/be\n", 4,
		"ca_file = /nowhere/to/be: No such"},
	{P "[broker]\ntls = no\nca_file = /dev/null\n", 5, "tls must be yes"},
	{P "[broker]\nkey_file = /dev/null\n", 4, "needs tls = yes or a ca_file"},
	{P "[broker]\ntls = yes\nkey_file = /dev/null\n", 5, "needs a certificate_file"},
	{P "[broker]\nca_file = /dev/null\ncertificate_file = /dev/null\n", 5,
		"needs a key_file too"},
	/* channels: role and unit */
	{CH "role = kettle\n", 5, "must be one of plain | flow_temperature"},
	{CH "role = valve\n[channel valve]\ntopic = x\n", 6,
		"the role valve is taken by channel a in line 3"},
	{CH "unit = furlong\n", 5, "unknown unit; known are °C"},
	{P "[channel flow_temperature]\nunit = kW\ntopic = x\n", 4,
		"is a power, but flow_temperature is a temperature; for example in °C"},
	{P "[channel flow_rate]\ntopic = x\nunit = bar\n", 5,
		"is a pressure, but flow_rate"},
	{CH "scale = 0\n", 5, "must not be 0"},
	{CH "scale = 1/10\n", 5, "must be a number and nothing else (found '/10')"},
	{CH "integer_bits = 12\n", 5, "must be 0, 8, 16 or 32"},
	{CH "integer_bits = 64\n", 5, "must be 0 to 32"},
	{CH "thousands = maybe\n", 5, "must be yes or no"},
	{CH "decimal = ,\n", 5, "must be one of detect | point | comma"},
	{CH "unit = W\nvalid_least = 5\nvalid_most = 5\n", 7,
		"must be above valid_least"},
	{CH "unit = W\nvalid_most = 2e12\n", 6, "must be within ± 1e+12 W"},
	{CH "unit = W\nvalid_most = 5 °C\n", 6, "°C is a temperature; must be a power"},
	{CH "stale_after = 0 s\n", 5, "must be 1 s to 400 d, or none"},
	{CH "stale_after = never\n", 5, "must be a number and a unit"},
	{CH "between = line\n", 5, "is for temperatures; this channel is a plain number"},
	{CH "unit = W\nbetween = line\nperiod = 20 s\n", 6,
		"is for temperatures; this channel is a power"},
	{CH "unit = K\nbetween = line\nperiod = 20 s\n", 6,
		"is for temperatures; this channel is a temperature difference"},
	{P "[channel valve]\ntopic = x\nbetween = line\nperiod = 20 s\n", 5,
		"is for temperatures; this channel is a state"},
	{CH "unit = °C\nbetween = line\n", 6, "needs period: how often the source says"},
	{CH "unit = °C\nperiod = 20 s\n", 6, "goes with between = line"},
	{CH "unit = °C\nbetween = hold\nperiod = 20 s\n", 7, "goes with between = line"},
	{CH "unit = °C\nbetween = line\nperiod = 10 min\n", 7, "must be 1 s to 5 min"},
	{CH "unit = °C\nbetween = line\nperiod = 60 s\nstale_after = 50 s\n", 7,
		"must not be above stale_after"},
	{CH "between = lines\n", 5, "must be one of hold | line"},
	{CH "retained = yes\n", 5, "must be one of ignore | state"},
	{CH "step = 0.1 kWh\n", 5, "only a heat_register channel takes it"},
	/* channels: maps */
	{P "[channel valve]\ntopic = x\nmap = 0:heating, 1:cellar\n", 5,
		"valve has no state 'cellar'; must be one of heating, hot_water"},
	{P "[channel operating_mode]\ntopic = x\nmap = 0:idle\n", 5,
		"must be one of off, standby, heating, hot_water, cooling, defrost, "
		"overrun, f"},
	{P "[channel defrost]\ntopic = x\nmap = a:yes\n", 5, "must be one of off, on"},
	{P "[channel circulation_pump]\ntopic = x\nmap = a:running\n", 5,
		"one of off, on"},
	{CH "map = 0:off, 0:on\n", 5, "the word '0' is given twice"},
	{CH "map = AUS:off, aus:on\n", 5, "the word 'aus' is given twice"},
	{CH "map = off\n", 5, "'off' must be word:state"},
	{CH "map = :off\n", 5, "':off' must be word:state"},
	{CH "map = 0:Off\n", 5, "state 'Off': name must be small letters"},
	{CH "map = 0:off,\n", 5, "an item of the list is empty"},
	{CH "map = 0:off\nunit = W\n", 6, "is for numbers; this channel has states"},
	{P "[channel flow_rate]\ntopic = x\nmap = 0:off\n", 5,
		"is a flow and takes no map"},
	/* channels: topic and place */
	{P "[channel a]\ntopic = x/#/y\n", 4, "# must be the last level, alone"},
	{P "[channel a]\ntopic = x/y#\n", 4, "# must be the last level, alone"},
	{P "[channel a]\ntopic = x/y+\n", 4, "+ must be a whole level"},
	{P "[channel a]\ntopic = x+/y\n", 4, "+ must be a whole level"},
	{CH "pointer = water\n", 5, "must be a JSON Pointer (RFC 6901)"},
	{CH "pointer = /a~2\n", 5, "~ stands only as ~0"},
	{CH "pointer = /a~\n", 5, "~ stands only as ~0"},
	{CH "each = list\n", 5, "must be a JSON Pointer (RFC 6901)"},
	{CH "senml = t\npointer = /v\n", 6, "a SenML pack has its own places"},
	{CH "time = payload\n", 5, "needs time_pointer, or senml"},
	{CH "time = payload\ntime_pointer = /t\n", 6, "needs pointer too"},
	{CH "pointer = /v\ntime_pointer = /t\n", 6, "needs time = payload"},
	{CH "pointer = /v\ntime_form = iso\n", 6, "needs time = payload"},
	{CH "time = now\n", 5, "must be one of arrival | payload"},
	/* sources */
	{P "[source s]\ntopics = a/#, b#\n", 4, "'b#': # must be the last level, alone"},
	{P "[source s]\nwill_topic = a/+\n", 4, "must be one topic, without + or #"},
	{P "[source s]\nwill_gone = ONLINE\n", 3,
		"will_present and will_gone must differ"},
	{P "[source s]\nsilent_after = 0 min\n", 4, "must be 1 s to 400 d, or none"},
	/* meters */
	{P W "[meter m]\npower = w\n", 6, "[meter m] needs feeds: any of compressor"},
	{P W "[meter m]\nfeeds = fridge\npower = w\n", 7, "'fridge': must be one of"},
	{METER "power = w + v\n", 11, "there is no [channel v]"},
	{METER "power = w +\n", 11, "there is no [channel ]"},
	{METER "power = w + w\n", 11, "channel w stands in the sum twice"},
	{METER "power = e\n", 11,
		"channel e is an energy; must be a power, for example in W"},
	{METER "register = w\n", 11, "channel w is a power; must be an energy"},
	{METER "less = n\n", 11, "there is no [meter n]"},
	{METER "less = m\n", 9, "less = m: runs in a circle"},
	{METER "class = D\n", 11, "must be one of 1 | 2 | A | B | C"},
	{METER "limit = 80 %\n", 11, "must be 0 to 50 %"},
	{METER "most_power = 1 W\n", 11, "must be 100 to 1000000 W"},
	{METER "modulus = 10 W\n", 11, "W is a power; must be an energy"},
	{METER "step = 0\n", 11, "must be 1e-06 to 1000 kWh"},
	/* declared points */
	{P "[declared d]\noutdoor = 7\nflow_temperature = 35\n", 3,
		"[declared d] needs cop: heat over electricity"},
	{P "[declared d]\ncop = 4\nflow_temperature = 35\n", 3, "needs outdoor"},
	{P "[declared d]\ncop = 4\noutdoor = 7\n", 3, "needs flow_temperature"},
	{P DECLARED("d") "cop = 46\n", 7, "'cop' is given twice"},
	{P "[declared d]\noutdoor = 7\nflow_temperature = 35\ncop = 46\n", 6,
		"must be 0.8 to 15"},
	{P DECLARED("d") "capacity = 6.1\n", 7, "must be 100 to 200000 W"},
	{P DECLARED("d") "capacity = 6 °C\n", 7, "°C is a temperature; must be a power"},
	{P DECLARED("d") DECLARED("e"), 7,
		"[declared e] and [declared d] (line 3) are of the same temperatures, 7 "
		"°C outside and 35 °C flow"},
	/* corrections */
	{P "[correction c]\noffset = 1\nfrom = 2026-01-01\n", 3,
		"[correction c] needs a channel"},
	{CORR "x" DATED, 13, "channel = x: there is no [channel x]"},
	{CORR "s" DATED, 13, "the channel holds states"},
	{METER "register = e\n[correction c]\nchannel = e" DATED, 13,
		"is a register, which counts on"},
	{CORR "w\nfrom = 2026-01-01\n", 12, "changes nothing; give it an offset"},
	{CORR "w\noffset = 1\n", 12, "needs from: the day from which it holds"},
	{CORR "w\noffset = 1\nfrom = 1.1.2026\n", 15, "must be a local date such as"},
	{CORR "w\noffset = 1\nfrom = 2026-01-01T10:00\n", 15,
		"or a time with its offset"},
	{CORR "w" DATED "to = 2026-01-01\n", 12, "from must lie before to"},
	{CORR "w" DATED "to = soon\n", 16, "to = soon: must be a local date"},
	{CORR "w" DATED "factor = 0\n", 16, "makes all of it 0; must not be 0"},
	{CORR "w" DATED "factor = 2000\n", 16, "must be -1000 to 1000"},
	{CORR "w\noffset = 1 K\nfrom = 2026-01-01\n", 14,
		"'K' is no unit of it; must be a difference, for example in W"},
	{CORR "w\noffset = much\nfrom = 2026-01-01\n", 14, "offset = much: "},
	{CORR "w\noffset = 1e13 W\nfrom = 2026-01-01\n", 14, "must be within ±1e+12"},
	{CORR "w" DATED "to = 2026-02-01\n[correction d]\nchannel = w\noffset = 2\n"
	      "from = 2026-01-31\n",
		17,
		"[correction d] and [correction c] (line 12) correct channel w at the "
		"same time"},
	/* changes */
	{P "[change c]\nwhat = curve\n", 3, "[change c] needs at: the day since which"},
	{P "[change c]\nat = 15.1.2026\n", 4,
		"at = 15.1.2026: must be a local date such as"},
	{P "[change c]\nat = 2026-01-15T10:00\n", 4, "or a time with its offset"},
	{P "[change c]\nat = 2026-01-15\n[change d]\nat = 2026-01-15T00:00:00Z\n", 5,
		"[change d] is at the same instant as [change c] (line 3)"},
	/* notices: line 6 is the section's heading, 7 its watch */
	{NOTICE "", 6, "[notice n] needs watch, what it looks at: value CHANNEL, state"},
	{NOTICE "watch = heat\n", 7,
		"must be value CHANNEL, state CHANNEL:STATE, missing"},
	{NOTICE "watch = finding\n", 7, "day known, finding KIND or finding any"},
	{NOTICE "watch = finding pair_ofset\n", 7,
		"watch = finding pair_ofset: nothing is found under 'pair_ofset'; did "
		"you mean pair_offset?"},
	{NOTICE "watch = finding pressure\n", 7, "did you mean pressure_falling?"},
	{NOTICE "watch = finding register_gone\n", 7,
		"did you mean power_against_register or heat_against_register or "},
	{NOTICE "watch = finding x\n", 7,
		"'x'; it must be any, pair_offset, return_above_flow"},
	{NOTICE "watch = finding days_sealed\n", 7, "no day of its own shows it"},
	{NOTICE "watch = finding any\nabove = 1\n", 8, "has no threshold"},
	{NOTICE "watch = finding any\nfor = 2 h\n", 8,
		"for = 2 h: what is found begins and ends with whole days, by rules of "
		"its own; leave the line out"},
	{NOTICE "watch = finding clock_off\nclears_for = 2 d\n", 8,
		"clears_for = 2 d: what is found begins and ends"},
	{NOTICE "watch = value x\nabove = 1\n", 7, "there is no [channel x]"},
	{NOTICE "watch = power x\nabove = 1\n", 7, "there is no [meter x]"},
	{NOTICE "watch = value w\n", 6, "[notice n] needs one threshold: above or below"},
	{NOTICE "watch = value w\nabove = 1\nbelow = 2\n", 6, "above or below, not both"},
	{NOTICE "watch = value w\nabove = 1 bar\n", 8, "must be a power"},
	{NOTICE "watch = value w\nabove = 1 kW\nclears = 1001\n", 9,
		"lies above the threshold; a notice that is raised above it ends below"},
	{NOTICE "watch = value w\nbelow = 1 kW\nclears = 999\n", 9,
		"lies below the threshold; a notice that is raised below it ends above"},
	{NOTICE "watch = state w:on\n", 7, "has no state 'on'; it holds numbers"},
	{NOTICE "watch = state w\n", 7, "'w' must be CHANNEL:STATE"},
	{NOTICE "watch = missing w\nabove = 1\n", 8,
		"is a yes or no and has no threshold"},
	{NOTICE "watch = value w\nabove = 1\nfor = 90 s\n", 9, "must be whole minutes"},
	{NOTICE "watch = value w\nabove = 1\nfor = 30 s\n", 9, "must be 1 min to 7 d"},
	{NOTICE "watch = value w\nabove = 1\nclears_for = 8 d\n", 9, "1 min to 7 d"},
	{P "[channel s]\ntopic = x/s\nmap = 1:on\n[notice n]\nwatch = value s\nabove = "
	   "1\n",
		7, "the channel holds states; watch one of them: state s:on"},
	{P "[channel s]\ntopic = x/s\nmap = 1:on\n[notice n]\nwatch = state s:off\n", 7,
		"channel s has no state 'off'; it has on"},
	/* the rest */
	{P "[modes]\ncompressor_on = 150 K\n", 4, "must be a power, for example in W"},
	{P "[modes]\nfreeze_outdoor = 5 K\n", 4,
		"must be a temperature, for example in °C"},
	{P "[payload]\nmissing_words = a,,b\n", 4, "an item of the list is empty"},
	{P "[table t]\ncolumn.b = out\n", 4, "there is no [channel b]"},
	{T "interval = 1 s\ncovers = around\n", 8, "must be one of after | before"},
	{T "year = 12\n", 7, "must be 2000 to 2199"},
	/* tables */
	{P "[table t]\nfiles = *.csv\n", 3,
		"[table t] feeds no channel; needs a line column.CHANNEL"},
	{P "[table]\n", 3, "[table] needs a name, such as [table year]"},
	{T "files = logs/*.csv\n", 7,
		"'logs/*.csv': is matched with the file's name alone"},
	{T "files = a.csv,\n", 7, "an item of the list is empty"},
	{T "time = a + b + c\n", 7, "must be a column, or two: date + clock"},
	{T "time = #0\n", 7, "'#0' must be #1 to #9999"},
	{T "column.a = #10000\n", 7, "'column.a' is given twice; first in line 6"},
	{CH "[table t]\ncolumn.a = #10000\n", 6, "must be #1 to #9999"},
	{CH "[table t]\nheader = no\ncolumn.a = out\n", 7,
		"'out' is a name, but header = no; must be a number such as #2"},
	{CH "[table t]\nheader = no\ntime = t\ncolumn.a = #2\n", 7, "'t' is a name, but"},
	{T "time_form = epoch\n", 7, "must be made of YYYY, YY, MM, DD, hh, mm, ss and"},
	{T "time_form = YYYY hh:mm\n", 7, "must tell month (MM) and day (DD)"},
	{T "time_form = DD.MM.YYYY mm:ss\n", 7, "from the hour (hh) on"},
	{T "time_form = DD.MM.YYYY hh:ss\n", 7, "from the hour (hh) on"},
	{T "time_form = DD.MM.DD\n", 7, "names a part of the time twice"},
	{T "time_form = 31.01.2026\n", 7, "a pattern is DD.MM.YYYY, not a date"},
	{T "time_form = MM/DD hh:mm:ss\n", 7, "has no year: set year to that of the"},
	{T "time_form = YYYY-MM-DD hh:mm\nyear = 2026\n", 8,
		"is for stamps that have none"},
	{T "time_form = iso\nyear = 2026\n", 8, "is for stamps that have none"},
	{T "time_form = ms\nyear = 2026\n", 8, "is for stamps that have none"},
	{T "origin = 2026-01-01T00:00:00+01:00\n", 7,
		"is for numeric times: needs time_form = s, ms, us or ns"},
	{T "time_form = s\norigin = 1 January\n", 8, "such as 2026-01-01T00:00:00+01:00"},
	{T "zone = Middle/Earth\n", 7, "the system knows no such time zone"},
	{T "interval = 1\n", 7, "has no unit; must be one of ms, s, min"},
	{T "covers = before\n", 7, "needs interval: what a row covers"},
	{T "same_stamp = divide\n", 7, "needs interval: what the rows of a stamp share"},
	{T "same_stamp = first\n", 7, "must be one of last | divide"},
	{T "silent_after = 10\n", 7, "has no unit"},
	{T "delimiter = ;\n", 7, "has no value"},
	{T "delimiter = blank\n", 7,
		"must be one of detect | comma | semicolon | tab | p"},
	{T "header = maybe\n", 7, "must be one of detect | yes | no"},
	{T "name = sensor\n", 7, "needs value, the column of the values"},
	{T "value = value\n", 7, "needs name, the column of the names"},
	{T "unit.b = W\n", 7, "there is no [channel b]"},
	{W "[table t]\ncolumn.w = out\nunit.w = kWh\n", 6,
		"unit.w = kWh: is an energy, but channel w is a power"},
	{W "[table t]\ncolumn.w = out\nunit.w = hp\n", 6,
		"unknown unit; must be a power"},
	{CH "[channel b]\n[table t]\ncolumn.b = out\nunit.a = W\n", 8, "needs column.a"},
	{P "[channel valve]\n[table t]\ncolumn.valve = v\nunit.valve = W\n", 6,
		"is for numbers; channel valve has states"},
	{CH "[table json]\ncolumn.a = out\n", 5, "--format json means another form"},
	{CH "[table x]\ncolumn.a = out\n", 5, "[table x]: a source has that name"},
	{CH "[source t]\ntopics = z\n[table t]\ncolumn.a = out\n", 7,
		"a source has that name, by its section or as the first level of a "
		"topic"},
};

static const struct config *refused(
	const char *text, size_t length, struct faults *faults)
{
	struct config *config = NULL;
	int r = config_parse("t.conf", text, length, &config, faults, NULL);
	ck_assert_msg(r == CONFIG_FAULTY, "accepted:\n%s", text);
	return config;
}

TEST(each_mistake_is_told_with_its_line_and_what_is_allowed)
{
	for (size_t i = 0; i < ARRAY_LEN(bad); i++) {
		struct faults faults = {0};
		char start[32];
		(void)snprintf(start, sizeof(start), "t.conf:%d: ", bad[i].line);
		ck_assert_ptr_null(refused(bad[i].text, strlen(bad[i].text), &faults));
		ck_assert_msg(faults.count == 1, "%zu faults (%s; %s) in\n%s",
			faults.count, faults.lines[0], faults.lines[faults.count - 1],
			bad[i].text);
		ck_assert_msg(strncmp(faults.lines[0], start, strlen(start)) == 0 &&
				      strstr(faults.lines[0], bad[i].said),
			"said '%s', not '%s%s', of\n%s", faults.lines[0], start,
			bad[i].said, bad[i].text);
		faults_release(&faults);
	}
	ck_assert_uint_ge(ARRAY_LEN(bad), 100);
}
END

TEST(all_faults_of_a_file_are_told_at_once_in_its_order)
{
	static const char text[] = "[plant]\n"
				   "zone = Europe/Atlantis\n"
				   "pressure = gauge\n"
				   "nonsense\n"
				   "[broker]\n"
				   "port = 0\n"
				   " user = u\n"
				   "[kettle]\n"
				   "port = 0\n"
				   "[meter m]\n"
				   "feeds = compressor\n"
				   "power = a + b\n"
				   "less = m\n";
	static const int lines[] = {2, 3, 4, 6, 7, 8, 10, 12, 12};
	struct faults faults = {0};
	(void)refused(text, strlen(text), &faults);
	ck_assert_uint_eq(faults.count, ARRAY_LEN(lines));
	for (size_t i = 0; i < faults.count; i++) {
		int line = 0;
		ck_assert_int_eq(sscanf(faults.lines[i], "t.conf:%d:", &line), 1);
		ck_assert_int_eq(line, lines[i]);
	}
	faults_release(&faults);
}
END

TEST(long_lines_are_refused_and_not_cut)
{
	for (int length = 190; length < 450; length++) {
		struct buffer b = {0};
		struct faults faults = {0};
		struct config *config = NULL;
		buffer_add_text(&b, P "name = ");
		for (int i = (int)strlen("name = "); i < length; i++)
			buffer_add_text(&b, "n");
		buffer_add_text(&b, "\r\n[broker]\r\nport = 99\r\n");
		int r = config_parse("t.conf", b.data, b.length, &config, &faults, NULL);
		ck_assert_int_eq(r, length <= 197 ? 0 : CONFIG_FAULTY);
		if (r == 0) {
			ck_assert_uint_eq(strlen(config->plant.name), (size_t)length - 7);
			ck_assert_int_eq(config->broker.port, 99);
		} else {
			ck_assert_uint_eq(faults.count, 1);
			ck_assert_ptr_nonnull(
				strstr(faults.lines[0], "t.conf:3: line is "));
			ck_assert_ptr_nonnull(strstr(faults.lines[0], "at most 197"));
		}
		config_free(config);
		faults_release(&faults);
		buffer_release(&b);
	}
}
END

TEST(a_nul_byte_is_refused)
{
	static const char text[] = "[plant]\nname = a\0b\nzone = UTC\n";
	struct faults faults = {0};
	(void)refused(text, sizeof(text) - 1, &faults);
	ck_assert_uint_eq(faults.count, 1);
	ck_assert_str_eq(faults.lines[0], "t.conf:2: holds the control byte 0x00");
	faults_release(&faults);
}
END

	/* `count` sections of a kind. */
	static void
	many(struct buffer *b, const char *kind, int count, const char *body)
{
	for (int i = 0; i < count; i++)
		buffer_addf(b, "[%s n%d]\n%s", kind, i, body);
}

TEST(channels_and_meters_are_limited)
{
	static const struct {
		const char *kind;
		int most;
		const char *body;
		const char *said;
	} limits[] = {
		{"channel", CHANNELS_MOST, "topic = x\n", "at most 200 channels"},
		{"meter", METERS_MOST, "feeds = compressor\n", "at most 16 meters"},
		{"source", SOURCES_MOST, "topics = x\n", "at most 64 sources"},
	};
	for (size_t i = 0; i < ARRAY_LEN(limits); i++)
		for (int more = 0; more < 2; more++) {
			struct buffer b = {0};
			struct faults faults = {0};
			struct config *config = NULL;
			many(&b, limits[i].kind, limits[i].most + more, limits[i].body);
			int r = config_parse(
				"t.conf", b.data, b.length, &config, &faults, NULL);
			ck_assert_int_eq(r, more ? CONFIG_FAULTY : 0);
			ck_assert(!more || strstr(faults.lines[0], limits[i].said));
			config_free(config);
			faults_release(&faults);
			buffer_release(&b);
		}
}
END

TEST(a_circle_of_meters_is_told_at_each_of_them)
{
	static const char text[] = "[meter a]\nfeeds = compressor\nless = b\n"
				   "[meter b]\nfeeds = immersion\nless = c\n"
				   "[meter c]\nfeeds = circulation\nless = b\n";
	struct faults faults = {0};
	(void)refused(text, strlen(text), &faults);
	ck_assert_uint_eq(faults.count, 2);
	ck_assert_ptr_nonnull(
		strstr(faults.lines[0], "[meter b] less = c: runs in a circle"));
	ck_assert_ptr_nonnull(
		strstr(faults.lines[1], "[meter c] less = b: runs in a circle"));
	faults_release(&faults);
}
END

TESTS(each_mistake_is_told_with_its_line_and_what_is_allowed,
	all_faults_of_a_file_are_told_at_once_in_its_order, long_lines_are_refused_and_not_cut,
	a_nul_byte_is_refused, channels_and_meters_are_limited,
	a_circle_of_meters_is_told_at_each_of_them)
