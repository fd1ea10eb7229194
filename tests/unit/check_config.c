/*
 * Configurations that are accepted: what their fields hold, what the defaults are, which
 * source a channel belongs to, what counts in the digest, and what the report says is
 * missing.
 */
#include <heatbook/boundary.h>
#include <heatbook/calendar.h>
#include <heatbook/config.h>

#include "unit.h"

#include <errno.h>
#include <unistd.h>

/* The configuration that documentation and tools rely on, as it is written there. */
static const char contract[] =
	"[plant]\n"
	"name = Demo house\n"
	"zone = Europe/Berlin\n"
	"fluid = water                  ; water | propylene_glycol | ethylene_glycol\n"
	"fluid_percent = 0              ; volume percent\n"
	"flow_sensor_pipe = return      ; return | flow\n"
	"pressure = 2 bar               ; absolute\n"
	"heat_source = computed         ; computed | power | register\n"
	"\n"
	"[broker]\n"
	"host = 127.0.0.1\n"
	"port = 1883\n"
	"\n"
	"[channel flow_temperature]\n"
	"topic = plant/unit\n"
	"pointer = /water/leaving\n"
	"unit = °C                      ; Cel, degC accepted too\n"
	"stale_after = 5 min\n"
	"\n"
	"[channel valve]\n"
	"topic = plant/valve\n"
	"map = 0:heating, 1:hot_water\n"
	"stale_after = 26 h\n"
	"\n"
	"[channel unit_power]\n"
	"topic = house/meter/1/power\n"
	"unit = W\n"
	"\n"
	"[channel unit_register]\n"
	"topic = house/meter/1/energy\n"
	"unit = kWh\n"
	"\n"
	"[meter unit]\n"
	"feeds = compressor             ; any of compressor, backup_heater, immersion, "
	"circulation\n"
	"power = unit_power\n"
	"register = unit_register\n"
	"\n"
	"[table year]                   ; a CSV form: which files, which column feeds "
	"which channel\n"
	"files = *.csv                  ; shell pattern on the file's name\n"
	"time = time                    ; column; its form declared or detected\n"
	"interval = 1 min               ; each row covers exactly this\n"
	"covers = before                ; the stamp is its end\n"
	"column.flow_temperature = out  ; channel = column; a channel may have no topic "
	"at all\n"
	"\n"
	"[journal]\n"
	"tail = /run/heatbook/tail      ; the uncommitted end, on tmpfs\n"
	"keep = 400 d\n"
	"\n"
	"[store]\n"
	"file = /var/lib/heatbook/heatbook.db\n"
	"commit_interval = 5 min\n"
	"\n"
	"[http]\n"
	"address = 127.0.0.1\n"
	"port = 8720\n";

static struct config *accepted(const char *text, struct faults *notes)
{
	struct config *config = NULL;
	struct faults faults = {0};
	int r = config_parse("t.conf", text, strlen(text), &config, &faults, notes);
	ck_assert_msg(r == 0, "%s", faults.count ? faults.lines[0] : "no fault told");
	ck_assert_uint_eq(faults.count, 0);
	return config;
}

static const struct channel_config *channel(const struct config *config, const char *name)
{
	int i = config_channel(config, name);
	ck_assert_msg(i >= 0, "no channel %s", name);
	return &config->channels[i];
}

/* State of a word of the channel's map, or -1. */
static int state_of(const struct channel_config *c, const char *word)
{
	for (size_t i = 0; i < c->map_count; i++)
		if (strcmp(c->map[i].word, word) == 0)
			return c->map[i].state;
	return -1;
}

TEST(the_contract_example_is_accepted)
{
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c = accepted(contract, &notes);
	ck_assert_uint_eq(notes.count, 0);
	faults_release(&notes);

	ck_assert_str_eq(c->plant.name, "Demo house");
	ck_assert_str_eq(c->plant.zone, "Europe/Berlin");
	ck_assert_int_eq(c->plant.fluid, FLUID_WATER);
	ck_assert_int_eq(c->plant.flow_sensor_pipe, PIPE_RETURN);
	ck_assert_double_eq(c->plant.pressure_bar, 2);
	ck_assert_int_eq(c->plant.pressure_channel, -1);
	ck_assert_int_eq(c->plant.heat_source, HEAT_COMPUTED);
	ck_assert_str_eq(c->broker.host, "127.0.0.1");
	ck_assert_int_eq(c->broker.port, 1883);
	ck_assert_uint_eq(c->channel_count, 4);
	const struct channel_config *flow = channel(c, "flow_temperature");
	ck_assert_int_eq(flow->role, ROLE_FLOW_TEMPERATURE);
	ck_assert_str_eq(flow->topic, "plant/unit");
	ck_assert_str_eq(flow->pointer, "/water/leaving");
	ck_assert_int_eq(flow->dimension, DIMENSION_TEMPERATURE);
	ck_assert_int_eq(flow->stale_after_ms, 5 * MS_PER_MIN);
	const struct channel_config *valve = channel(c, "valve");
	ck_assert_int_eq(valve->role, ROLE_VALVE);
	ck_assert_int_eq(state_of(valve, "0"), VALVE_HEATING);
	ck_assert_int_eq(state_of(valve, "1"), VALVE_HOT_WATER);
	ck_assert_int_eq(valve->stale_after_ms, 26 * MS_PER_HOUR);
	ck_assert_int_eq(valve->retained, RETAINED_STATE);
	ck_assert_int_eq(channel(c, "unit_power")->stale_after_ms, 15 * MS_PER_MIN);
	ck_assert_uint_eq(c->meter_count, 1);
	ck_assert_uint_eq(c->meters[0].feeds, DEVICE_COMPRESSOR);
	ck_assert_int_eq(c->meters[0].power[0], config_channel(c, "unit_power"));
	ck_assert_int_eq(
		c->meters[0].counted.registers[0], config_channel(c, "unit_register"));
	ck_assert_double_eq(c->meters[0].limit_percent, 2);
	ck_assert_str_eq(c->journal.tail, "/run/heatbook/tail");
	ck_assert_int_eq(c->journal.keep_ms, 400 * MS_PER_DAY);
	ck_assert_str_eq(c->store.file, "/var/lib/heatbook/heatbook.db");
	ck_assert_int_eq(c->store.commit_interval_ms, 5 * MS_PER_MIN);
	ck_assert_str_eq(c->http.address, "127.0.0.1");
	ck_assert_int_eq(c->http.port, 8720);
}
END

TEST(an_empty_file_is_all_defaults)
{
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c = accepted("", &notes);
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_str_eq(
		notes.lines[0], "t.conf:1: [plant] has no zone: days are those of UTC");
	faults_release(&notes);
	ck_assert_ptr_null(c->broker.host);
	ck_assert_int_eq(c->broker.keepalive_s, 60);
	ck_assert_int_eq(c->journal.tail_bound_bytes, 64000000);
	ck_assert_double_eq(c->plant.pair_limit.k, 0.3);
	ck_assert_double_eq(c->plant.flow_limit_percent, 3);
	ck_assert_double_eq(c->plant.least_flow_lpm, 0);
	ck_assert_uint_eq(c->plant.devices, 0);
	ck_assert_double_eq(c->modes.compressor_on_w, 150);
	ck_assert_int_eq(c->modes.overrun_ms, 10 * MS_PER_MIN);
	ck_assert_double_eq(c->modes.freeze_outdoor_c, 5);
	ck_assert_double_eq(c->modes.freeze_return_c, 15);
	ck_assert_uint_eq(c->missing_word_count, 7);
	ck_assert_str_eq(c->missing_words[0], "n/a");
	ck_assert_str_eq(c->missing_words[6], "???");
	ck_assert_int_eq(config_role(c, ROLE_VALVE), -1);
	ck_assert_int_eq(config_role(c, ROLE_PLAIN), -1);
}
END

TEST(every_setting_of_a_channel_reaches_its_field)
{
	_cleanup_(config_freep) struct config *c = accepted(
		"[channel outside]\nrole = outdoor_temperature\ntopic = w/+/t\n"
		"pointer = /t\neach = /list\nunit = °F\nscale = 0.1\noffset = -40\n"
		"integer_bits = 16\ndecimal = comma\nthousands = yes\n"
		"valid_least = -40\nvalid_most = 50 °C\nstale_after = 1.5 h\n"
		"time = payload\ntime_pointer = /at\ntime_form = ms\n"
		"retained = state\nextremes = yes\n"
		"[channel whole]\ntopic = w\npointer =\n"
		"[channel pack]\ntopic = w\nsenml = x:t\ntime = payload\n",
		NULL);
	const struct channel_config *o = channel(c, "outside");
	ck_assert_int_eq(config_role(c, ROLE_OUTDOOR_TEMPERATURE), 0);
	ck_assert_str_eq(o->topic, "w/+/t");
	ck_assert_str_eq(o->pointer, "/t");
	ck_assert_str_eq(o->each, "/list");
	ck_assert_str_eq(o->unit->ucum, "[degF]");
	ck_assert_double_eq(o->scale, 0.1);
	ck_assert_double_eq(o->offset, -40);
	ck_assert_int_eq(o->integer_bits, 16);
	ck_assert_int_eq(o->decimal, DECIMAL_COMMA);
	ck_assert(o->thousands);
	/* −40 °F is −40 °C: by the definition of the scales. */
	ck_assert_double_eq_tol(o->valid_least, -40, 1e-12);
	ck_assert_double_eq(o->valid_most, 50);
	ck_assert_int_eq(o->stale_after_ms, 90 * MS_PER_MIN);
	ck_assert_int_eq(o->time, TIME_PAYLOAD);
	ck_assert_str_eq(o->time_pointer, "/at");
	ck_assert_int_eq(o->time_form, TIME_FORM_MS);
	ck_assert_int_eq(o->retained, RETAINED_STATE);
	ck_assert(o->extremes);
	const struct channel_config *whole = channel(c, "whole");
	ck_assert_str_eq(whole->pointer, "");
	ck_assert_int_eq(whole->dimension, DIMENSION_NUMBER);
	ck_assert_int_eq(whole->retained, RETAINED_IGNORE);
	ck_assert_double_eq(whole->valid_least, -VALUE_MOST);
	ck_assert_double_eq(whole->valid_most, VALUE_MOST);
	ck_assert_str_eq(channel(c, "pack")->senml, "x:t");
	ck_assert_ptr_null(channel(c, "pack")->time_pointer);
}
END

TEST(a_degree_sign_may_be_latin_1)
{
	_cleanup_(config_freep) struct config *c =
		accepted("[plant]\npair_limit = 0.2 K\n[modes]\nfreeze_outdoor = 41 \xb0"
			 "F\n[channel a]\ntopic = x\nunit = \xb0"
			 "C\n",
			NULL);
	ck_assert_str_eq(c->channels[0].unit->ucum, "Cel");
	ck_assert_double_eq_tol(
		c->modes.freeze_outdoor_c, 5, 1e-12); /* 41 °F, by definition */
}
END

TEST(states_of_a_role_have_its_codes_and_those_of_a_plain_channel_come_as_they_stand)
{
	_cleanup_(config_freep) struct config *c = accepted(
		"[channel operating_mode]\ntopic = x\nmap = TAPPEN:hot_water, Öl: "
		"standby, a:b:off\n"
		"[channel lamp]\ntopic = x\nmap = rot:red, GRÜN:green, gruen:green\n"
		"[channel defrost]\ntopic = x\n"
		"[channel valve]\ntopic = x\nstale_after = 1 h\nretained = ignore\n"
		"[channel plain_valve]\nrole = plain\ntopic = x\n",
		NULL);
	const struct channel_config *mode = channel(c, "operating_mode");
	ck_assert_uint_eq(mode->state_count, OPERATING_COUNT);
	ck_assert_str_eq(mode->states[OPERATING_FREEZE_PROTECTION], "freeze_protection");
	ck_assert_int_eq(state_of(mode, "tappen"), OPERATING_HOT_WATER);
	ck_assert_int_eq(state_of(mode, "öl"), OPERATING_STANDBY);
	ck_assert_int_eq(state_of(mode, "a:b"), OPERATING_OFF);
	ck_assert_int_eq(mode->stale_after_ms, -1);
	const struct channel_config *lamp = channel(c, "lamp");
	ck_assert_int_eq(lamp->dimension, DIMENSION_STATE);
	ck_assert_uint_eq(lamp->state_count, 2);
	ck_assert_str_eq(lamp->states[1], "green");
	ck_assert_int_eq(state_of(lamp, "grün"), 1);
	ck_assert_int_eq(state_of(lamp, "gruen"), 1);
	const struct channel_config *defrost = channel(c, "defrost");
	static const char *const on[] = {"on", "true", "yes", "1"};
	static const char *const off[] = {"off", "false", "no", "0"};
	for (size_t i = 0; i < ARRAY_LEN(on); i++) {
		ck_assert_int_eq(state_of(defrost, on[i]), STATE_ON);
		ck_assert_int_eq(state_of(defrost, off[i]), STATE_OFF);
	}
	const struct channel_config *valve = channel(c, "valve");
	ck_assert_int_eq(state_of(valve, "hot_water"), VALVE_HOT_WATER);
	ck_assert_int_eq(valve->stale_after_ms, MS_PER_HOUR);
	ck_assert_int_eq(valve->retained, RETAINED_IGNORE);
	ck_assert_int_eq(channel(c, "plain_valve")->dimension, DIMENSION_NUMBER);
}
END

TEST(folding_is_unicodes_for_the_scripts_it_knows)
{
	/* Pairs of Unicode's simple case mapping: from memory. */
	static const char *const pairs[][2] = {{"ABCxyz09", "abcxyz09"},
		{"ÄÖÜß×", "äöüß×"}, {"ŁŻŠŹŸĲ", "łżšźÿĳ"}, {"ВЫКЛ Ё", "выкл ё"},
		{"ΚΛΩ", "κλω"}, {"\xc4", "\xc4"}, {"İ", "İ"}, {"€", "€"}};
	for (size_t i = 0; i < ARRAY_LEN(pairs); i++) {
		_cleanup_(freep) char *text = xstrdup(pairs[i][0]);
		text_fold(text, strlen(text));
		ck_assert_str_eq(text, pairs[i][1]);
	}
}
END

TEST(a_channel_belongs_to_the_first_source_that_covers_its_topic)
{
	static const struct {
		const char *topic, *source;
	} vectors[] = {
		{"plant/unit", "all"},
		{"plant", "all"},
		{"plant/+/x", "all"},
		{"plant/#", "all"},
		{"house/1/power", "meters"},
		{"house/+/power", "meters"},
		{"house/1/t", "house"},
		{"house/#", "house"},
		{"named/x", "named"},
		{"other/a/b", "other"},
		{"/x", ""},
		{"+/x", "+"},
		{"$SYS/x", "$SYS"},
	};
	struct buffer text = {0};
	buffer_add_text(&text, "[source all]\ntopics = plant/#\nsilent_after = none\n"
			       "[source late]\ntopics = plant/unit, +/x/y/#\n"
			       "[source meters]\ntopics = house/+/power\n"
			       "will_topic = house/state\nwill_gone = WEG\n"
			       "[source named]\n");
	for (size_t i = 0; i < ARRAY_LEN(vectors); i++)
		buffer_addf(&text, "[channel c%zu]\ntopic = %s\n", i, vectors[i].topic);
	_cleanup_(config_freep) struct config *c = accepted(buffer_text(&text), NULL);
	for (size_t i = 0; i < ARRAY_LEN(vectors); i++) {
		const struct source_config *s = &c->sources[c->channels[i].source];
		ck_assert_msg(strcmp(s->name, vectors[i].source) == 0, "%s is in %s",
			vectors[i].topic, s->name);
		ck_assert(s->implicit == (c->channels[i].source >= 4));
	}
	ck_assert_int_eq(c->sources[0].silent_after_ms, -1);
	ck_assert_int_eq(c->sources[1].silent_after_ms, 10 * MS_PER_MIN);
	ck_assert_str_eq(c->sources[2].will_topic, "house/state");
	ck_assert_str_eq(c->sources[2].will_gone, "weg");
	ck_assert_str_eq(c->sources[2].will_present, "online");
	ck_assert_uint_eq(c->sources[3].topic_count, 0);
	buffer_release(&text);
}
END

TEST(meters_take_sums_and_their_class_sets_the_limit)
{
	/* Electricity meters: MID classes from Directive 2014/32/EU Annex V, Table 2
	 * (read); 1 and 2 from IEC 62053-21 (from memory). */
	static const struct {
		const char *keys;
		double limit;
	} limits[] = {{"class = 1\n", 1.0}, {"class = 2\n", 2.0}, {"class = A\n", 3.5},
		{"class = B\n", 2}, {"class = C\n", 1}, {"", 2},
		{"class = C\nlimit = 4 %\n", 4}, {"limit = 1.5\n", 1.5}};
	for (size_t i = 0; i < ARRAY_LEN(limits); i++) {
		_cleanup_(freep) char *text =
			xasprintf("[channel a]\ntopic = x\nunit = W\n[channel b]\ntopic "
				  "= y\nunit = kW\n"
				  "[meter all]\nfeeds = compressor, circulation\npower = "
				  "b+ a\nless = one\n"
				  "%s[meter one]\nfeeds = immersion\napparent = yes\n",
				limits[i].keys);
		struct faults notes = {0};
		_cleanup_(config_freep) struct config *c = accepted(text, &notes);
		const struct meter_config *m = &c->meters[0];
		ck_assert_double_eq(m->limit_percent, limits[i].limit);
		ck_assert_uint_eq(m->power_count, 2);
		ck_assert_int_eq(m->power[0], 1);
		ck_assert_int_eq(m->power[1], 0);
		ck_assert_uint_eq(m->feeds, DEVICE_COMPRESSOR | DEVICE_CIRCULATION);
		ck_assert_int_eq(m->less, config_meter(c, "one"));
		ck_assert(!m->apparent && c->meters[1].apparent);
		ck_assert_ptr_nonnull(strstr(notes.lines[notes.count - 1],
			": meter one has neither power nor register: "
			"its electricity stays unknown"));
		faults_release(&notes);
	}
}
END

/* What is behind a meter is none of its own electricity, down to the end of the line;
 * two supplies of one device stay both of it. */
TEST(a_meter_serves_what_the_meters_behind_it_do_not)
{
	enum { C = DEVICE_COMPRESSOR, I = DEVICE_IMMERSION, P = DEVICE_CIRCULATION };
	static const char text[] =
		"[meter all]\nfeeds = compressor, immersion, circulation\nless = unit\n"
		"[meter unit]\nfeeds = compressor\nless = rod\n"
		"[meter rod]\nfeeds = immersion\n"
		"[meter twin]\nfeeds = compressor\nless = unit\n";
	static const unsigned serves[] = {P, C, I, C};
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c = accepted(text, &notes);
	for (size_t i = 0; i < ARRAY_LEN(serves); i++)
		ck_assert_uint_eq(c->meters[i].serves, serves[i]);
	ck_assert_uint_eq(c->meters[0].feeds, C | I | P);
	faults_release(&notes);
}
END

#define PAIR                                                                             \
	"[channel flow_temperature]\ntopic = x/f\n%s[channel "                           \
	"return_temperature]\ntopic = "                                                  \
	"x/r\n%s[channel flow_rate]\ntopic = x/q\n%s"

TEST(limits_of_heat_are_stated_or_by_class)
{
	/* Platinum at 40 °C (IEC 60751): A 0.23 K, B 0.5 K; matched: 0.5 % and 0.03·3 K
	 * (EN 1434-1); flow of class 2 at a tenth: 2 + 0.02·10 %. */
	static const struct {
		const char *plant, *flow_c, *return_c, *lpm;
		double k, percent, flow_percent;
	} rows[] = {
		{"", "", "", "", 0.3, 0, 3},
		{"", "class = platinum_a\n", "class = platinum_b\n", "", 0.55036352, 0,
			3},
		{"", "limit = 0.5 °C\n", "limit = 1.8 °F\n", "limit = 1.5 %\n",
			1.1180339887, 0, 1.5},
		{"", "", "class = digital\n", "class = flow_2\n", 0.5431390245, 0, 2.2},
		{"", "class = strapped\nlimit = 0.4\n", "limit = 0.3\n",
			"class = pump_speed\n", 0.5, 0, 10},
		{"pair_class = matched_3\n", "", "limit = 0.3\n", "class = vortex\n",
			0.09, 0.5, 3},
		{"pair_class = matched_3\n", "class = platinum_b\n",
			"class = platinum_b\n", "", 0.09, 0.5, 3},
		{"pair_class = matched_10\npair_limit = 0.2 K\nflow_limit = 4\n", "", "",
			"class = flow_1\n", 0.2, 0, 4},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf("[plant]\nzone = UTC\n%s" PAIR,
			rows[i].plant, rows[i].flow_c, rows[i].return_c, rows[i].lpm);
		_cleanup_(config_freep) struct config *c = accepted(text, NULL);
		const struct plant_config *p = &c->plant;
		ck_assert_double_eq_tol(p->pair_limit.k, rows[i].k, 1e-8);
		ck_assert_double_eq(p->pair_limit.percent, rows[i].percent);
		ck_assert_double_eq_tol(
			p->flow_limit_percent, rows[i].flow_percent, 1e-12);
		ck_assert_double_eq(p->source_limit_percent, 0);
	}
}
END

/* As of a pair by default, 0.3 K and 3 %; what a meter says of itself, 10 %. */
TEST(limits_of_the_sources_side_are_stated_or_those_by_default)
{
	static const struct {
		const char *entering, *leaving, *lpm, *heat;
		double k, flow_percent, heat_percent;
	} rows[] = {
		{"", "", "", "", 0.3, 3, 10},
		{"limit = 0.3 K\n", "limit = 0.4 K\n", "limit = 5 %\n", "limit = 2 %\n",
			0.5, 5, 2},
		{"class = platinum_a\n", "class = platinum_b\n", "class = flow_2\n", "",
			0.55036352, 2.2, 10},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf(
			"[plant]\npair_limit = 1 K\nflow_limit = 9 %%\n"
			"[channel source_entering_temperature]\ntopic = a\n%s"
			"[channel source_leaving_temperature]\ntopic = b\n%s"
			"[channel source_flow_rate]\ntopic = c\n%s"
			"[channel source_heat_power]\ntopic = d\n%s",
			rows[i].entering, rows[i].leaving, rows[i].lpm, rows[i].heat);
		_cleanup_(config_freep) struct config *c = accepted(text, NULL);
		ck_assert_double_eq_tol(c->plant.source.pair_limit_k, rows[i].k, 1e-8);
		ck_assert_double_eq_tol(
			c->plant.source.flow_limit_percent, rows[i].flow_percent, 1e-12);
		ck_assert_double_eq_tol(
			c->plant.source.heat_limit_percent, rows[i].heat_percent, 1e-12);
	}
}
END

TEST(apparent_power_is_less_certain_unless_a_register_rules)
{
	static const struct {
		const char *lines;
		double limit;
	} rows[] = {{"power = a\napparent = yes\n", 20},
		{"power = a\nregister = r\napparent = yes\n", 2},
		{"power = a\napparent = yes\nlimit = 6 %\n", 6},
		{"power = a\napparent = yes\nclass = clamp\n", 20},
		{"power = a\nclass = clamp\n", 3}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf(
			"[plant]\nzone = UTC\n[channel a]\ntopic = x\nunit = W\n"
			"[channel r]\ntopic = y\nunit = kWh\n"
			"[meter m]\nfeeds = compressor\n%s",
			rows[i].lines);
		_cleanup_(config_freep) struct config *c = accepted(text, NULL);
		ck_assert_double_eq(c->meters[0].limit_percent, rows[i].limit);
	}
}
END

TEST(a_register_rules_its_meter)
{
	static const char meters[] =
		"[plant]\nzone = UTC\n[channel a]\ntopic = x\nunit = kWh\n"
		"[channel b]\ntopic = y\nunit = Wh\n[meter one]\nfeeds = "
		"compressor\nregister = a\nkind = daily\n"
		"step = 10 Wh\nmodulus = 65536 kWh\nmost_power = 9 kW\n"
		"[meter two]\nfeeds = circulation\nregister = a + b\n";
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c = accepted(meters, &notes);
	const struct register_config *r = &c->meters[0].counted.counting;
	ck_assert_msg(notes.count == 0, "%s", notes.lines[0]);
	ck_assert(c->meters[0].counted.counts && c->meters[1].counted.counts);
	ck_assert_int_eq(r->kind, REGISTER_DAILY);
	ck_assert_int_eq(r->step_j, 36000);
	ck_assert_int_eq(r->modulus_j, INT64_C(65536) * 3600000);
	ck_assert_double_eq(r->most_w, 9000);
	ck_assert_int_eq(c->meters[1].counted.counting.kind, REGISTER_COUNTS_ON);
	ck_assert_int_eq(c->meters[1].counted.counting.modulus_j, 0);
	ck_assert(!c->meters[0].difference && !c->meters[1].difference);
	_cleanup_(freep) char *text = xasprintf("%sless = one\n", meters);
	_cleanup_(config_freep) struct config *d = accepted(text, &notes);
	ck_assert(d->meters[0].counted.counts && d->meters[1].counted.counts);
	ck_assert(!d->meters[0].difference && d->meters[1].difference);
	ck_assert_uint_eq(notes.count, 0);
	faults_release(&notes);
}
END

TEST(pressure_may_be_a_gauge_channel)
{
	_cleanup_(config_freep) struct config *c = accepted(
		"[plant]\npressure = gauge\n[channel gauge]\ntopic = x\nunit = kPa\n",
		NULL);
	ck_assert_int_eq(c->plant.pressure_channel, 0);
	_cleanup_(config_freep) struct config *d =
		accepted("[plant]\npressure = 250 kPa\n", NULL);
	ck_assert_double_eq(d->plant.pressure_bar, 2.5);
	ck_assert_int_eq(d->plant.pressure_channel, -1);
}
END

TEST(files_may_be_credentials_of_the_service)
{
	static const char *const names[] = {"word", "authority", "ours.pem", "ours.key"};
	char directory[] = "/tmp/heatbook-XXXXXX";
	ck_assert_ptr_nonnull(mkdtemp(directory));
	char *paths[ARRAY_LEN(names)];
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		paths[i] = xasprintf("%s/%s", directory, names[i]);
		FILE *f = fopen(paths[i], "we");
		ck_assert_ptr_nonnull(f);
		ck_assert_int_eq(fclose(f), 0);
	}
	ck_assert_int_eq(setenv("CREDENTIALS_DIRECTORY", directory, 1), 0);
	_cleanup_(config_freep) struct config *c =
		accepted("[broker]\nuser = u\npassword_file = word\nca_file = authority\n"
			 "certificate_file = ours.pem\nkey_file = ours.key\n",
			NULL);
	ck_assert_str_eq(c->broker.password_file, paths[0]);
	ck_assert_str_eq(c->broker.ca_file, paths[1]);
	ck_assert_str_eq(c->broker.certificate_file, paths[2]);
	ck_assert_str_eq(c->broker.key_file, paths[3]);
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		ck_assert_int_eq(unlink(paths[i]), 0);
		free(paths[i]);
	}
	ck_assert_int_eq(rmdir(directory), 0);
}
END

/* Else no verb could be run by hand with the service's configuration. */
TEST(a_credential_that_only_the_service_has_is_no_fault)
{
	struct faults notes = {0};
	(void)unsetenv("CREDENTIALS_DIRECTORY");
	_cleanup_(config_freep) struct config *c =
		accepted("[broker]\nuser = u\npassword_file = word\n", &notes);
	ck_assert_str_eq(c->broker.password_file, "$CREDENTIALS_DIRECTORY/word");
	size_t told = 0;
	for (size_t i = 0; i < notes.count; i++)
		told += strstr(notes.lines[i], "password_file = word: has no /") != NULL;
	ck_assert_uint_eq(told, 1);
	faults_release(&notes);
}
END

/* Ports: IANA service names mqtt and secure-mqtt. */
TEST(tls_is_on_with_an_authority_or_when_asked_for)
{
	static const struct {
		const char *text;
		bool tls;
		int port;
	} cases[] = {
		{"", false, 1883},
		{"tls = no\n", false, 1883},
		{"tls = yes\n", true, 8883},
		{"ca_file = /dev/null\n", true, 8883},
		{"ca_file = /dev/null\ntls = yes\nport = 1883\n", true, 1883},
		{"port = 8883\n", false, 8883},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		_cleanup_(freep) char *text =
			xasprintf("[broker]\nhost = h\n%s", cases[i].text);
		_cleanup_(config_freep) struct config *c = accepted(text, NULL);
		ck_assert_msg(
			c->broker.tls == cases[i].tls && c->broker.port == cases[i].port,
			"%s: tls %d, port %d", cases[i].text, c->broker.tls,
			c->broker.port);
	}
}
END

TEST(a_password_that_leaves_the_machine_unencrypted_is_remarked)
{
	static const struct {
		const char *text;
		size_t notes;
	} cases[] = {
		{"host = elsewhere\n", 1},
		{"host = elsewhere\ntls = yes\n", 0},
		{"host = 127.0.0.1\n", 0},
		{"host = ::1\n", 0},
		{"host = localhost\n", 0},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct faults notes = {0};
		_cleanup_(freep) char *text = xasprintf("[plant]\nzone = UTC\n[broker]\n"
							"user = u\n"
							"password_file = /dev/null\n%s",
			cases[i].text);
		_cleanup_(config_freep) struct config *c = accepted(text, &notes);
		size_t found = 0;
		for (size_t k = 0; k < notes.count; k++)
			found += strstr(notes.lines[k], "t.conf:5: [broker] the password "
							"goes to elsewhere unencrypted")
					 ? 1
					 : 0;
		ck_assert_uint_eq(found, cases[i].notes);
		faults_release(&notes);
	}
}
END

TEST(a_table_is_read_whole)
{
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c =
		accepted("[plant]\nzone = UTC\n[channel b]\nunit = °C\n[channel "
			 "a]\n[channel lone]\n"
			 "[channel x]\ntopic = x/y\n"
			 "[table one]\nfiles = *.csv, year-??.txt\ntime = day + clock\n"
			 "time_form = DD.MM.YYYY hh:mm:ss\nzone = Europe/Berlin\n"
			 "interval = 10 min\ncovers = before\nsame_stamp = divide\n"
			 "silent_after = none\ndelimiter = semicolon\ndecimal = comma\n"
			 "header = yes\nmissing_words = -9999, Fault, -1.50\n"
			 "column.a = Außen; innen\ncolumn.b = #3\nunit.b = °F\n"
			 "[table two]\nname = what\nvalue = how much\ntime_form = s\n"
			 "origin = 2026-01-01T00:00:00+01:00\ncolumn.x = boiler/out\n",
			&notes);
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_str_eq(notes.lines[0], "t.conf:6: channel lone has no topic, and no "
					 "[table] has a column for it: "
					 "nothing feeds it");
	faults_release(&notes);

	ck_assert_uint_eq(c->table_count, 2);
	const struct table_config *t = &c->tables[config_table(c, "one")];
	ck_assert_int_eq(config_table(c, "three"), -1);
	ck_assert_uint_eq(t->file_count, 2);
	ck_assert_str_eq(t->files[1], "year-??.txt");
	ck_assert_str_eq(t->time_column, "day");
	ck_assert_str_eq(t->clock_column, "clock");
	ck_assert_str_eq(t->time_pattern, "DD.MM.YYYY hh:mm:ss");
	ck_assert_str_eq(t->zone, "Europe/Berlin");
	ck_assert_int_eq(t->interval_ms, 10 * MS_PER_MIN);
	ck_assert(t->covers_before);
	ck_assert_int_eq(t->same_stamp, SAME_STAMP_DIVIDE);
	ck_assert_int_eq(t->delimiter, DELIMITER_SEMICOLON);
	ck_assert_int_eq(t->decimal, DECIMAL_COMMA);
	ck_assert_int_eq(t->header, HEADER_YES);
	ck_assert_uint_eq(t->missing_word_count, 3);
	ck_assert_str_eq(t->missing_words[1], "fault");
	ck_assert_uint_eq(t->missing_number_count, 2);
	ck_assert_double_eq(t->missing_numbers[1], -1.5);
	ck_assert_uint_eq(t->column_count, 2);
	ck_assert_int_eq(t->columns[0].channel, config_channel(c, "b"));
	ck_assert_str_eq(t->columns[0].column, "#3");
	ck_assert_str_eq(t->columns[0].unit->symbol, "°F");
	ck_assert_str_eq(t->columns[1].column, "Außen; innen");
	ck_assert_ptr_null(t->columns[1].unit);
	ck_assert_str_eq(c->sources[t->source].name, "one");
	ck_assert_int_eq(c->sources[t->source].silent_after_ms, -1);
	ck_assert(c->sources[t->source].implicit);

	t = &c->tables[1];
	ck_assert_str_eq(t->name_column, "what");
	ck_assert_str_eq(t->value_column, "how much");
	ck_assert_int_eq(t->time_form, TIME_FORM_S);
	ck_assert_int_eq(t->origin_ms, INT64_C(1767222000000));
	ck_assert_str_eq(c->sources[t->source].name, "two");
	ck_assert_int_eq(c->sources[t->source].silent_after_ms, 10 * MS_PER_MIN);
	ck_assert_uint_eq(t->file_count, 0);
	ck_assert_int_eq(t->delimiter, DELIMITER_DETECT);
	ck_assert_int_eq(t->decimal, DECIMAL_DETECT);
	ck_assert_int_eq(t->header, HEADER_DETECT);
}
END

/* What only the import uses is no part of the mapping. */
TEST(the_digest_knows_what_of_a_table_decides_rows)
{
	static const struct {
		const char *line;
		bool decides;
	} lines[] = {{"interval = 1 min", true}, {"missing_words = x", true},
		{"silent_after = 5 min", true}, {"column.b = c", true},
		{"unit.a = kW", true}, {"name = n\nvalue = v", true},
		{"files = *.txt", false}, {"time = t", false},
		{"time_form = s\norigin = 2026-01-01T00:00:00Z", false},
		{"zone = Europe/Berlin", false}, {"year = 2026", false},
		{"delimiter = tab", false}, {"decimal = comma", false},
		{"header = yes", false}};
	static const char text[] = "[channel a]\nunit = W\n[channel b]\n"
				   "[table t]\ncolumn.a = x\n";
	_cleanup_(config_freep) struct config *bare = accepted(text, NULL);
	for (size_t i = 0; i < ARRAY_LEN(lines); i++) {
		_cleanup_(freep) char *with = xasprintf("%s%s\n", text, lines[i].line);
		_cleanup_(config_freep) struct config *c = accepted(with, NULL);
		ck_assert_msg(
			(c->mapping_digest != bare->mapping_digest) == lines[i].decides,
			"%s", lines[i].line);
	}
	_cleanup_(config_freep) struct config *one = accepted(
		"[channel a]\n[channel b]\n[table t]\ncolumn.a = x\ncolumn.b = y\n",
		NULL);
	_cleanup_(config_freep) struct config *other = accepted(
		"[channel a]\n[channel b]\n[table t]\ncolumn.b = y\ncolumn.a = x\n",
		NULL);
	ck_assert_uint_eq(one->mapping_digest, other->mapping_digest);
}
END

TEST(a_heat_register_rules_the_heat_where_the_plant_says_so)
{
	static const char channel[] =
		"[channel heat_register]\ntopic = h\nunit = MWh\nkind = daily\n"
		"step = 1 kWh\nmodulus = 1000 MWh\nmost_power = 9 kW\nfalls = yes\n";
	struct faults notes = {0};
	_cleanup_(freep) char *text =
		xasprintf("[plant]\nzone = UTC\nheat_source = register\n%s", channel);
	_cleanup_(config_freep) struct config *c = accepted(text, &notes);
	const struct counted *counted = config_counted(c, COUNTED_HEAT);
	ck_assert_msg(notes.count == 0, "%s", notes.lines[0]);
	ck_assert_ptr_nonnull(counted);
	ck_assert_uint_eq(counted->register_count, 1);
	ck_assert_int_eq(counted->registers[0], 0);
	ck_assert_int_eq(counted->counting.kind, REGISTER_DAILY);
	ck_assert_int_eq(counted->counting.step_j, 3600000);
	ck_assert_int_eq(counted->counting.modulus_j, INT64_C(3600000000000));
	ck_assert_double_eq(counted->counting.most_w, 9000);
	ck_assert(counted->counting.falls);
	ck_assert_str_eq(config_counted_name(c, COUNTED_HEAT), "0");
	ck_assert(config_is_register(c, 0));
	_cleanup_(freep) char *other = xasprintf("[plant]\nzone = UTC\n%s", channel);
	_cleanup_(config_freep) struct config *d = accepted(other, &notes);
	ck_assert_ptr_null(config_counted(d, COUNTED_HEAT));
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_ptr_nonnull(strstr(notes.lines[0], "with heat_source = register"));
	faults_release(&notes);
}
END

TEST(the_digest_is_of_the_meaning_and_not_of_the_text)
{
	static const char *const same[] = {
		"[plant]\nzone = UTC\nleast_flow = 2\n[channel valve]\ntopic = x\n"
		"map = 0:heating, 1:hot_water\nstale_after = 26 h\n[channel a]\ntopic = "
		"y\n",
		"# other words\n\n[channel valve] ; a valve\nstale_after = 1560 min\n\n"
		"map = 1:hot_water,0:heating\ntopic = x ; there\n[channel a]\ntopic = y\n"
		"[plant]\nleast_flow = 120 L/h\nzone = UTC\npressure = 200 kPa\n",
		"[broker]\nhost = h\n[http]\nport = 1\n[plant]\nname = Other\nzone = "
		"UTC\n"
		"least_flow = 2 L/min\nflow_limit = 5 %\npair_limit = 1 K\n[channel "
		"valve]\n"
		"role = valve\ntopic = x\nmap = 0:heating, 1:hot_water\nstale_after = 26 "
		"h\n"
		"retained = state\n[channel a]\ntopic = y\n[store]\nfile = /x\n",
	};
	uint64_t digests[ARRAY_LEN(same)];
	for (size_t i = 0; i < ARRAY_LEN(same); i++) {
		_cleanup_(config_freep) struct config *c = accepted(same[i], NULL);
		digests[i] = c->mapping_digest;
		ck_assert_msg(digests[i] == digests[0], "differs: %s", same[i]);
	}
}
END

TEST(the_digest_tells_every_change_that_decides_rows)
{
	/* Each is added to its section of the text below, alone. */
	static const struct {
		const char *section, *line;
	} changes[] = {
		{"", ""},
		{"plant", "pressure = 2.1 bar"},
		{"plant", "flow_sensor_pipe = flow"},
		{"plant", "heat_source = power"},
		{"plant", "least_flow = 1"},
		{"plant", "pressure = p"},
		{"plant", "source_fluid = ethylene_glycol\nsource_fluid_percent = 20 %"},
		{"plant", "source_fluid = ethylene_glycol\nsource_fluid_percent = 21 %"},
		{"modes", "compressor_on = 151 W"},
		{"modes", "overrun = 9 min"},
		{"modes", "freeze_outdoor = 4"},
		{"modes", "freeze_return = 14"},
		{"payload", "missing_words = n/a"},
		{"channel p", "topic = y"},
		{"channel p", "pointer = /a"},
		{"channel p", "pointer ="},
		{"channel p", "each = /a"},
		{"channel p", "senml = a"},
		{"channel p", "unit = kPa"},
		{"channel p", "scale = 2"},
		{"channel p", "offset = 1"},
		{"channel p", "integer_bits = 8"},
		{"channel p", "decimal = comma"},
		{"channel p", "thousands = yes"},
		{"channel p", "valid_least = 0"},
		{"channel p", "valid_most = 5"},
		{"channel p", "stale_after = none"},
		{"channel p", "retained = state"},
		{"channel p", "extremes = yes"},
		{"channel v", "map = 0:off, 1:on"},
		{"channel v", "map = 1:on, 0:off"},
		{"channel v", "map = 0:off, 2:on"},
		{"channel v", "role = valve"},
		{"source s", "topics = x/#"},
		{"source s", "topics = z/#"},
		{"source s", "will_topic = z"},
		{"source s", "will_gone = z"},
		{"source s", "silent_after = 9 min"},
		{"meter m", "power = w"},
		{"meter m", "less = n"},
		{"meter n", "apparent = yes"},
	};
	static const char *const sections[] = {"plant", "modes", "payload", "channel p",
		"channel v", "channel w", "source s", "meter m", "meter n"};
	uint64_t digests[ARRAY_LEN(changes)];
	for (size_t i = 0; i < ARRAY_LEN(changes); i++) {
		struct buffer b = {0};
		for (size_t k = 0; k < ARRAY_LEN(sections); k++) {
			const char *s = sections[k];
			bool here = strcmp(s, changes[i].section) == 0;
			bool topic = strncmp(s, "channel", 7) == 0 &&
				     !(here && strncmp(changes[i].line, "topic", 5) == 0);
			buffer_addf(&b, "[%s]\n%s%s%s%s\n", s,
				topic ? "topic = x/1\n" : "",
				strcmp(s, "meter m") == 0 ? "feeds = compressor\n" : "",
				strcmp(s, "meter n") == 0 ? "feeds = immersion\n" : "",
				here ? changes[i].line : "");
			if (strcmp(s, "channel p") == 0 &&
				!(here && strstr(changes[i].line, "unit")))
				buffer_add_text(&b, "unit = bar\n");
			if (strcmp(s, "channel w") == 0)
				buffer_add_text(&b, "unit = W\n");
		}
		_cleanup_(config_freep) struct config *c =
			accepted(buffer_text(&b), NULL);
		digests[i] = c->mapping_digest;
		for (size_t k = 0; k < i; k++)
			ck_assert_msg(digests[k] != digests[i], "%s and %s",
				changes[k].line, changes[i].line);
		buffer_release(&b);
	}
}
END

/* What rules hold to counts where rules tell, and where a flag is held against them. */
TEST(the_digest_knows_where_rules_are_asked)
{
	static const char *const lines[] = {"[modes]\ndefrost_difference = 4 K\n",
		"[modes]\ndefrost_outdoor = 4\n", "[modes]\ndefrost_flow = 20 %\n",
		"[modes]\nhot_water_above = 15 K\n", "[modes]\ncylinder_rise = 1 K\n",
		"[modes]\ncompressor_off = 90 %\n", "[plant]\nnominal_flow = 14 L/min\n"};
	static const struct {
		const char *plant;
		bool asked;
	} plants[] = {
		{"[channel flow_temperature]\ntopic = f\n", false},
		{"[channel compressor_frequency]\ntopic = f\n", false},
		{"[channel defrost]\ntopic = f\n", true},
		{"[channel valve]\ntopic = f\nmap = 0:heating, 1:hot_water\n", true},
		{"[channel operating_mode]\ntopic = f\nmap = 0:off, 1:heating\n", true},
		{"[channel p]\ntopic = f\nunit = W\n"
		 "[meter m]\nfeeds = compressor\npower = p\n",
			true},
	};
	for (size_t p = 0; p < ARRAY_LEN(plants); p++) {
		_cleanup_(config_freep) struct config *bare =
			accepted(plants[p].plant, NULL);
		for (size_t i = 0; i < ARRAY_LEN(lines); i++) {
			_cleanup_(freep) char *text =
				xasprintf("%s%s", plants[p].plant, lines[i]);
			_cleanup_(config_freep) struct config *c = accepted(text, NULL);
			ck_assert_msg((c->mapping_digest != bare->mapping_digest) ==
					      plants[p].asked,
				"%s", text);
		}
	}
}
END

/* All but a heater, of which the list decides something. */
TEST(a_fed_device_that_is_not_listed_is_there_with_a_hint)
{
	static const char text[] =
		"[plant]\nzone = UTC\ndevices = compressor, immersion\n"
		"[channel w]\ntopic = f\nunit = W\n"
		"[meter m]\nfeeds = compressor, circulation\npower = w\n";
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c = accepted(text, &notes);
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_str_eq(notes.lines[0],
		"t.conf:8: meter m feeds circulation, which devices of [plant] does not "
		"list: it is taken to be there; add it to devices");
	ck_assert_uint_eq(plant_devices(c).sure,
		DEVICE_COMPRESSOR | DEVICE_IMMERSION | DEVICE_CIRCULATION);
	faults_release(&notes);
}
END

TEST(a_refused_file_leaves_the_zone_in_force)
{
	_cleanup_(config_freep) struct config *c =
		accepted("[plant]\nzone = Asia/Kathmandu\n", NULL);
	uint64_t rules = calendar_zone_digest();
	struct faults faults = {0};
	struct config *other = NULL;
	static const char bad[] = "[plant]\nzone = Europe/Berlin\n[http]\nport = -1\n";
	ck_assert_int_eq(config_parse("t", bad, strlen(bad), &other, &faults, NULL),
		CONFIG_FAULTY);
	ck_assert_uint_eq(faults.count, 1);
	faults_release(&faults);
	ck_assert_str_eq(getenv("TZ"), ":Asia/Kathmandu");
	ck_assert_uint_eq(calendar_zone_digest(), rules);
}
END

TEST(a_file_that_cannot_be_read_is_an_error_of_the_world)
{
	struct config *c = NULL;
	struct faults faults = {0};
	ck_assert_int_eq(config_load("/nowhere/to/be", &c, &faults, NULL), -ENOENT);
	ck_assert_int_eq(config_load("/tmp", &c, &faults, NULL), -EISDIR);
	ck_assert_uint_eq(faults.count, 0);
	ck_assert_ptr_null(c);
}
END

	static void
	report_says(const char *text, const char *const *lines, size_t count)
{
	struct buffer out = {0};
	_cleanup_(config_freep) struct config *c = accepted(text, NULL);
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
		"cost                          not by this version",
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
	_cleanup_(config_freep) struct config *all = accepted(buffer_text(&text), NULL);
	config_check_report(all, &out);
	ck_assert_msg(
		!strstr(buffer_text(&out), "what to look for"), "%s", buffer_text(&out));
	ck_assert_msg(strstr(buffer_text(&out),
			      "defrosts                      answered, from defrost, "
			      "with the heat that they take\n"),
		"%s", buffer_text(&out));
	buffer_reset(&out);
	_cleanup_(config_freep) struct config *none = accepted("", NULL);
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

TESTS(the_report_speaks_of_rules_with_one_voice, the_contract_example_is_accepted, an_empty_file_is_all_defaults,
	a_meter_serves_what_the_meters_behind_it_do_not,
	every_setting_of_a_channel_reaches_its_field, a_degree_sign_may_be_latin_1,
	states_of_a_role_have_its_codes_and_those_of_a_plain_channel_come_as_they_stand,
	folding_is_unicodes_for_the_scripts_it_knows,
	a_channel_belongs_to_the_first_source_that_covers_its_topic,
	meters_take_sums_and_their_class_sets_the_limit,
	limits_of_heat_are_stated_or_by_class,
	limits_of_the_sources_side_are_stated_or_those_by_default,
	apparent_power_is_less_certain_unless_a_register_rules,
	a_register_rules_its_meter,
	a_heat_register_rules_the_heat_where_the_plant_says_so, pressure_may_be_a_gauge_channel,
	files_may_be_credentials_of_the_service,
	a_credential_that_only_the_service_has_is_no_fault,
	tls_is_on_with_an_authority_or_when_asked_for,
	a_password_that_leaves_the_machine_unencrypted_is_remarked,
	a_table_is_read_whole, the_digest_knows_what_of_a_table_decides_rows,
	the_digest_is_of_the_meaning_and_not_of_the_text,
	the_digest_tells_every_change_that_decides_rows,
	the_digest_knows_where_rules_are_asked,
	a_fed_device_that_is_not_listed_is_there_with_a_hint,
	a_refused_file_leaves_the_zone_in_force,
	a_file_that_cannot_be_read_is_an_error_of_the_world,
	the_report_names_what_each_question_lacks,
	the_report_tells_what_an_energy_balance_lacks, the_report_tells_what_the_plant_is_taken_to_have,
	the_report_tells_what_rules_answer, the_report_lists_corrections,
	what_to_look_for_is_told_of_what_is_missing_only)
