/*
 * The check's report: what answers each question, what it lacks, and what to look for.
 */
#include "configured.h"
#include "contract_config.h"

static void report_says(const char *text, const char *const *lines, size_t count)
{
	struct buffer out = {0};
	_cleanup_(config_freep) struct config *c = configured(text);
	config_check_report(c, &out);
	for (size_t i = 0; i < count; i++)
		ck_assert_msg(strstr(buffer_text(&out), lines[i]), "'%s' is not in\n%s",
			lines[i], buffer_text(&out));
	buffer_release(&out);
}

TEST(the_report_names_what_each_question_lacks)
{
	static const char *const nothing[] = {
		"heat delivered                needs the channels flow_temperature, "
		"return_temperature and flow_rate\n",
		"electricity used              needs a [meter] with a power channel or a "
		"register\n",
		"split by mode                 needs compressor_frequency, or a meter",
		"cycling of the compressor     needs compressor_frequency, or a meter",
		"hot water                     needs valve or operating_mode\n",
		"flow against outdoor          needs the channels flow_temperature and "
		"outdoor_t",
		"room temperature              needs a channel room_temperature\n",
		"defrosts                      needs defrost, or a word for it in ",
		"electricity at rest           needs a meter with power that feeds the c",
		"overrun, freeze protection    needs the channels flow_rate, return_temp",
		"weather                       needs a channel outdoor_temperature\n",
		"degree days                   needs a channel outdoor_temperature\n",
		"uncertainty                   from pair ± 0.3 K, flow ± 3 %; class or "
		"limit say otherwise\n",
		"flow of the circuit           needs a channel flow_rate\n",
		"pressure of the circuit       needs a channel water_pressure\n",
		"energy balance                not worked out: nothing says what is "
		"taken",
		"heat loss of the house        needs the heat delivered\n",
		"effect of a change            needs the heat delivered or a [meter]\n",
		"cost                          needs the electricity\n",
		"carbon                        needs a section [carbon NAME]: ",
		"cost beside another source    needs a section [other_heat NAME]: ",
		"\nwhat to look for (`heatbookd listen` lists",
		"\nflow_temperature              water from the unit to the house: ",
		"\nvalve                         three-way or diverter valve",
		"\n[meter] power                 true power of the supply",
	};
	static const char *const some[] = {
		"heat delivered                needs the channels return_temperature and "
		"flow_rate\n",
		"electricity used              answered for unit (by its register, "
		"minutes shaped by power)\n",
		"efficiency at H2              needs the heat delivered\n",
		"cycling of the compressor     answered, from the power of meter unit\n",
		"needs defrost or operating_mode to tell defrosts; by rule, three "
		"minutes later: whether the compressor runs\n",
		"electricity at rest           answered, as mode standby, by rule\n",
		"\ndefrost                       a flag: defrosting or not\n",
	};
	static const char *const power[] = {
		"heat delivered                needs a channel heat_power\n",
		"uncertainty                   from heat ± 10 %; class or limit"};
	static const char *const counted[] = {
		"heat delivered                answered, by heat_register, minutes "
		"shaped by heat_power\n"};
	static const char *const house[] = {
		"heat loss of the house        answered, by days of heat and outdoor "
		"temperature, with the design load at -9 °C\n"};
	static const char *const declared[] = {"efficiency by conditions      answered, "
					       "by outdoor and flow temperature; beside",
		"reference season if the source is air, as source_kind in [plant] would",
		"declared efficiency           answered, of 1 point, as far as"};
	static const char *const of_air[] = {
		"efficiency by conditions      answered, by outdoor and flow "
		"temperature, beside the ideal and a reference season\n",
		"declared efficiency           answered, of 1 point, as far as"};
	static const char *const of_ground[] = {
		"efficiency by conditions      answered, by outdoor and flow "
		"temperature\n",
		"declared efficiency           not worked out: points are declared of"};
	static const char *const unmetered[] = {
		"efficiency by conditions      needs a meter with power that feeds",
		"declared efficiency           answered once a [declared NAME] says"};
	static const char *const brine[] = {
		"energy balance                needs the channels "
		"source_leaving_temperature and source_flow_rate\n",
		"\nsource_flow_rate              brine or ground water that moves"};
	report_says("[channel flow_temperature]\ntopic = a\n"
		    "[channel return_temperature]\ntopic = b\n"
		    "[channel flow_rate]\ntopic = c\n[channel w]\ntopic = w\nunit = W\n"
		    "[channel source_entering_temperature]\ntopic = d\n"
		    "[meter unit]\nfeeds = compressor\npower = w\n",
		brine, ARRAY_LEN(brine));
	report_says("[plant]\nheat_source = power\ndesign_temperature = -9 °C\n"
		    "[channel heat_power]\ntopic = p\n"
		    "[channel outdoor_temperature]\ntopic = t\n",
		house, ARRAY_LEN(house));
#define CONDITIONS                                                                       \
	"[channel flow_temperature]\ntopic = a\n"                                        \
	"[channel return_temperature]\ntopic = b\n"                                      \
	"[channel flow_rate]\ntopic = c\n[channel w]\ntopic = w\nunit = W\n"             \
	"[channel outdoor_temperature]\ntopic = d\n"                                     \
	"[meter unit]\nfeeds = compressor\npower = w\n[declared d]\n"                    \
	"outdoor = 7\nflow_temperature = 35\ncop = 4\n"
	report_says(CONDITIONS, declared, ARRAY_LEN(declared));
	report_says("[plant]\nsource_kind = air\n" CONDITIONS, of_air, ARRAY_LEN(of_air));
	report_says("[plant]\nsource_kind = ground\n" CONDITIONS, of_ground,
		ARRAY_LEN(of_ground));
	report_says("[plant]\nheat_source = power\n[channel heat_power]\ntopic = p\n",
		unmetered, ARRAY_LEN(unmetered));
	report_says("", nothing, ARRAY_LEN(nothing));
	report_says(contract, some, ARRAY_LEN(some));
	report_says("[plant]\nheat_source = power\n", power, ARRAY_LEN(power));
	report_says(
		"[plant]\nheat_source = register\n[channel heat_register]\ntopic = h\n"
		"[channel heat_power]\ntopic = p\n",
		counted, ARRAY_LEN(counted));
}
END

#define BRINE_HEAT                                                                       \
	"[channel source_heat_power]\ntopic = s\n[channel w]\ntopic = w\nunit = W\n"     \
	"[channel heat_register]\ntopic = h\n[channel e]\ntopic = e\nunit = kWh\n"
#define WATER_SIDE                                                                       \
	"[channel flow_temperature]\ntopic = a\n"                                        \
	"[channel return_temperature]\ntopic = b\n[channel flow_rate]\ntopic = c\n"
#define BY_POWER "[meter unit]\nfeeds = compressor\npower = w\n"
#define BALANCE  "energy balance                "

/* What days say of the balance and what is promised of it are one thing (balance.h). */
TEST(the_report_tells_what_an_energy_balance_lacks)
{
	static const struct {
		const char *text, *said;
	} cases[] = {
		{BRINE_HEAT WATER_SIDE BY_POWER,
			BALANCE "answered, from source_heat_power\n"},
		{BRINE_HEAT WATER_SIDE,
			BALANCE "needs a meter with power that feeds the compressor\n"},
		{BRINE_HEAT WATER_SIDE "[meter unit]\nfeeds = compressor\nregister = e\n",
			BALANCE "needs a power channel for meter unit: a register alone"},
		{BRINE_HEAT WATER_SIDE BY_POWER
			"[meter rod]\nfeeds = backup_heater\nregister = e\n",
			BALANCE "needs a power channel for meter rod: a register alone"},
		{BRINE_HEAT WATER_SIDE
			"[meter unit]\nfeeds = compressor, immersion\npower = w\n",
			BALANCE "not worked out: meter unit feeds the immersion heater"},
		{"[plant]\ndevices = compressor, backup_heater\n" BRINE_HEAT WATER_SIDE
				BY_POWER,
			BALANCE "needs a meter with power that feeds the back-up heater"},
		{"[plant]\nheat_source = register\n" BRINE_HEAT BY_POWER,
			BALANCE "needs heat_power, or flow rate and temperatures: "},
		{"[plant]\nheat_source = register\n" BRINE_HEAT WATER_SIDE BY_POWER,
			BALANCE "answered, from source_heat_power\n"},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++)
		report_says(cases[i].text, &cases[i].said, 1);
}
END

#define HEAT_BY_POWER                                                                    \
	"heat_source = power\n[channel heat_power]\ntopic = h\n[channel w]\ntopic = w\n" \
	"unit = W\n[meter unit]\nfeeds = compressor, circulation\npower = w\n"

TEST(the_report_tells_what_the_plant_is_taken_to_have)
{
	static const char *const unsaid[] = {
		"devices of the plant          compressor, circulation, perhaps "
		"backup_heater, perhaps immersion, as meters tell; devices in [plant] "
		"says it "
		"for sure\n",
		"efficiency at H2+circulation  answered\n",
		"efficiency at H3              H3 needs backup_heater and immersion, "
		"which no meter feeds and devices of [plant] does not rule out; offered: "
		"H2+circulation\n"};
	static const char *const said[] = {
		"devices of the plant          compressor, circulation, no "
		"backup_heater, no immersion\n",
		"efficiency at H3+circulation  answered\n",
		"efficiency at H4              answered\n"};
	static const char *const half[] = {
		"devices of the plant          compressor, immersion, circulation, no "
		"backup_heater, as meters tell; devices in [plant] says it for sure\n"};
	static const char *const unmetered[] = {
		"efficiency at H4              H4 needs immersion, which no meter feeds; "
		"offered"};
	report_says("[plant]\n" HEAT_BY_POWER, unsaid, ARRAY_LEN(unsaid));
	report_says("[plant]\ndevices = compressor, circulation\n" HEAT_BY_POWER, said,
		ARRAY_LEN(said));
	report_says("[plant]\n" HEAT_BY_POWER "[meter rod]\nfeeds = immersion\n", half,
		ARRAY_LEN(half));
	report_says("[plant]\ndevices = circulation, immersion\n" HEAT_BY_POWER,
		unmetered, ARRAY_LEN(unmetered));
}
END

TEST(the_report_tells_what_rules_answer)
{
	static const char *const by_rule[] = {
		"split by mode                 answered; by rule, three minutes later: "
		"whether the compressor runs, defrosts, hot water\n",
		"hot water                     answered, by rule\n",
		"defrosts                      answered, by rule, with the heat that",
		"electricity at rest           answered, as mode standby, by rule\n"};
	report_says("[plant]\ndevices = compressor, circulation\n"
		    "[channel flow_temperature]\ntopic = a\n"
		    "[channel return_temperature]\ntopic = b\n"
		    "[channel flow_rate]\ntopic = c\n"
		    "[channel outdoor_temperature]\ntopic = d\n"
		    "[channel cylinder_temperature]\ntopic = e\n"
		    "[channel w]\ntopic = f\nunit = W\n"
		    "[meter unit]\nfeeds = compressor, circulation\npower = w\n",
		by_rule, ARRAY_LEN(by_rule));
}
END

/* What rules tell is answered by them, under each question that hangs on it. */
TEST(the_report_speaks_of_rules_with_one_voice)
{
	/* clang-format off */
	static const char plant[] =
		"[plant]\nnominal_flow = 17.5 L/min\n[modes]\nhot_water_flow = 19 L/min\n"
		"[channel flow_temperature]\ntopic = f\n"
		"[channel return_temperature]\ntopic = r\n"
		"[channel outdoor_temperature]\ntopic = o\n"
		"[channel flow_rate]\ntopic = q\n"
		"[channel supply_power]\ntopic = w\nunit = W\n"
		"[channel rod_power]\ntopic = i\nunit = W\n"
		"[meter supply]\nfeeds = compressor, immersion\npower = supply_power\n";
	/* clang-format on */
	static const char behind[] =
		"less = rod\n[meter rod]\nfeeds = immersion\npower = rod_power\n";
	static const char word[] = "[channel operating_mode]\ntopic = m\n"
				   "map = h:heating, w:hot_water, s:standby\n";
	static const char *const told[] = {
		"split by mode                 answered; by rule, three minutes later: "
		"whether the compressor runs, defrosts, hot water\n",
		"hot water                     answered, by rule; cylinder_temperature",
		"defrosts                      answered, by rule, with the heat that "
		"they "
		"take\n",
		"cycling of the compressor     answered, from the power of meter "
		"supply\n",
		"electricity at rest           answered, as mode standby, by rule\n",
	};
	/* With the immersion heater in it the supply tells nothing of the compressor. */
	static const char *const untold[] = {
		"split by mode                 needs compressor_frequency, or a meter",
		"hot water                     needs valve or operating_mode\n",
		"cycling of the compressor     needs compressor_frequency, or a meter",
		"electricity at rest           needs compressor_frequency or operating_",
	};
	static const char *const named[] = {
		"split by mode                 answered; by rule, three minutes later: "
		"defrosts\n",
		"hot water                     answered without the immersion heater: "
		"needs a meter with power or register that feeds it alone\n",
		"cycling of the compressor     answered, from operating_mode\n",
		"electricity at rest           answered, as mode standby\n",
	};
	_cleanup_(freep) char *less = xasprintf("%s%s", plant, behind);
	_cleanup_(freep) char *mode = xasprintf("%s%s", plant, word);
	report_says(less, told, ARRAY_LEN(told));
	report_says(plant, untold, ARRAY_LEN(untold));
	report_says(mode, named, ARRAY_LEN(named));
}
END

TEST(the_report_lists_corrections)
{
	static const char *const corrected[] = {
		"\ncorrection                    worn: unit_power × 1.02 - 3 W from "
		"2026-01-03T00:00:00+00:00 to 2026-01-06T00:00:00+00:00\n",
		"\ncorrection                    strap: flow_temperature - 0.4 K from "
		"2026-02-01T00:00:00+00:00\n"};
	report_says("[plant]\nzone = UTC\n[channel unit_power]\ntopic = p\nunit = W\n"
		    "[channel flow_temperature]\ntopic = f\n"
		    "[correction strap]\nchannel = flow_temperature\noffset = -0.4 K\n"
		    "from = 2026-02-01\n"
		    "[correction worn]\nchannel = unit_power\nfactor = 1.02\n"
		    "offset = -3 W\nfrom = 2026-01-03\nto = 2026-01-06\n",
		corrected, ARRAY_LEN(corrected));
}
END

#define METERED                                                                          \
	"[channel w]\ntopic = w\nunit = W\n[meter m]\nfeeds = compressor\npower = w\n"

TEST(the_report_lists_noted_changes_by_their_days)
{
	static const char *const said[] = {
		"effect of a change            answered, of 2 that are noted\n",
		"\nchange                        pump: at 2025-11-02T00:00:00+00:00\n"
		"change                        curve: heating curve lowered, at "
		"2026-01-15T11:30:00+00:00\n"};
	report_says(
		"[plant]\nzone = UTC\n[channel outdoor_temperature]\ntopic = o\n" METERED
		"[change curve]\nat = 2026-01-15T12:30:00+01:00\n"
		"what = heating curve lowered\n[change pump]\nat = 2025-11-02\n",
		said, ARRAY_LEN(said));
}
END

#define NOTICE(name, watch) "[notice " name "]\nwatch = " watch "\n"

TEST(the_report_lists_what_is_watched)
{
	static const char *const said[] = {
		"\nnotice                        low: value p below 1 bar for 10 min, "
		"until "
		"1.2 bar for 10 min\n",
		"\nnotice                        busy: power m above 2000 W for 5 min, "
		"until "
		"2000 W for 1 h\n",
		"\nnotice                        open: state v:on for 5 min, until "
		"otherwise "
		"for 5 min\n",
		"\nnotice                        gone: missing p for 5 min, until "
		"otherwise "
		"for 5 min\n",
		"\nnotice                        wrong: finding power_reversed\n",
		"\nnotice                        some: finding any\n",
	};
	report_says(
		"[plant]\nzone = UTC\n" METERED
		"[channel p]\ntopic = p\nunit = bar\nstale_after = 5 min\n"
		"[channel v]\ntopic = v\nmap = 0:off, 1:on\n" NOTICE(
			"low", "value p\nbelow = 1\nclears = 1.2\nfor = 10 min")
			NOTICE("busy", "power m\nabove = 2 kW\nclears_for = 1 h")
				NOTICE("open", "state v:on") NOTICE("gone", "missing p")
					NOTICE("wrong", "finding power_reversed")
						NOTICE("some", "finding any"),
		said, ARRAY_LEN(said));
}
END

TEST(the_report_tells_why_a_notice_is_never_raised)
{
	static const char *const said[] = {
		"losing: finding pressure_falling: needs a channel water_pressure\n",
		"pair: finding pair_offset: needs the channels flow_temperature and "
		"return_temperature\n",
		"heater: finding immersion_unplanned: needs a [meter] of the "
		"immersion heater alone\n",
		"busy: power m above 100 W for 5 min, until 100 W for 5 min: needs a "
		"power channel or a register for meter m\n",
		"warm: day heat below 1 kWh for 5 min, until 1 kWh for 5 min: needs the "
		"heat delivered\n",
		"gone: missing p for 5 min, until otherwise for 5 min: its last word "
		"holds until its source is gone (stale_after = none)\n",
		"\nwater_pressure ", /* what to look for */
	};
	report_says(
		"[plant]\nzone = UTC\n[channel p]\ntopic = p\nunit = bar\n"
		"stale_after = none\n[meter m]\nfeeds = compressor\n" NOTICE("losing",
			"finding pressure_falling") NOTICE("pair", "finding pair_offset")
			NOTICE("heater", "finding immersion_unplanned")
				NOTICE("busy", "power m\nabove = 100")
					NOTICE("warm", "day heat\nbelow = 1 kWh")
						NOTICE("gone", "missing p"),
		said, ARRAY_LEN(said));
}
END

/* Whatever a question lacks is explained, once, and nothing else is. */
TEST(what_to_look_for_is_told_of_what_is_missing_only)
{
	struct buffer text = {0}, out = {0};
	for (int r = ROLE_PLAIN + 1; r < ROLE_COUNT; r++) {
		ck_assert_uint_gt(strlen(role_hint((enum role)r)), 10);
		buffer_addf(&text, "[channel %s]\ntopic = a/%d\n",
			role_name((enum role)r), r);
	}
	buffer_add_text(&text, "[channel w]\ntopic = w\nunit = W\n[meter unit]\n"
			       "feeds = compressor, circulation\npower = w\n");
	_cleanup_(config_freep) struct config *all = configured(buffer_text(&text));
	config_check_report(all, &out);
	ck_assert_msg(
		!strstr(buffer_text(&out), "what to look for"), "%s", buffer_text(&out));
	ck_assert_msg(strstr(buffer_text(&out),
			      "defrosts                      answered, from defrost, "
			      "with the heat that they take\n"),
		"%s", buffer_text(&out));
	buffer_reset(&out);
	_cleanup_(config_freep) struct config *none = configured("");
	config_check_report(none, &out);
	const char *hints = strstr(buffer_text(&out), "what to look for");
	ck_assert_ptr_nonnull(hints);
	for (int r = ROLE_PLAIN + 1; r < ROLE_COUNT; r++) {
		_cleanup_(freep) char *line = xasprintf(
			"\n%-30s%s\n", role_name((enum role)r), role_hint((enum role)r));
		bool needed = r != ROLE_HEAT_POWER && r != ROLE_HEAT_REGISTER &&
			      r != ROLE_CIRCULATION_PUMP && r != ROLE_OPERATING_MODE &&
			      r != ROLE_CYLINDER_TEMPERATURE &&
			      r < ROLE_SOURCE_ENTERING_TEMPERATURE;
		ck_assert_msg((strstr(hints, line) != NULL) == needed, "%s", line);
	}
	buffer_release(&text);
	buffer_release(&out);
}
END

TESTS(the_report_names_what_each_question_lacks,
	the_report_tells_what_an_energy_balance_lacks,
	the_report_tells_what_the_plant_is_taken_to_have,
	the_report_tells_what_rules_answer, the_report_speaks_of_rules_with_one_voice,
	the_report_lists_corrections,
	the_report_lists_noted_changes_by_their_days, the_report_lists_what_is_watched,
	the_report_tells_why_a_notice_is_never_raised, what_to_look_for_is_told_of_what_is_missing_only)
