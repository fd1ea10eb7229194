/*
 * Configurations that are accepted: what their fields hold, what the defaults are, which
 * source a channel belongs to.
 */
#include "configured.h"
#include "contract_config.h"

#include <heatbook/boundary.h>
#include <heatbook/calendar.h>

#include <errno.h>
#include <unistd.h>

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
	_cleanup_(config_freep) struct config *c = configured_noting(contract, &notes);
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
	const struct channel_config *flow = named(c, "flow_temperature");
	ck_assert_int_eq(flow->role, ROLE_FLOW_TEMPERATURE);
	ck_assert_str_eq(flow->topic, "plant/unit");
	ck_assert_str_eq(flow->pointer, "/water/leaving");
	ck_assert_int_eq(flow->dimension, DIMENSION_TEMPERATURE);
	ck_assert_int_eq(flow->stale_after_ms, 5 * MS_PER_MIN);
	const struct channel_config *valve = named(c, "valve");
	ck_assert_int_eq(valve->role, ROLE_VALVE);
	ck_assert_int_eq(state_of(valve, "0"), VALVE_HEATING);
	ck_assert_int_eq(state_of(valve, "1"), VALVE_HOT_WATER);
	ck_assert_int_eq(valve->stale_after_ms, 26 * MS_PER_HOUR);
	ck_assert_int_eq(valve->retained, RETAINED_STATE);
	ck_assert_int_eq(named(c, "unit_power")->stale_after_ms, 15 * MS_PER_MIN);
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
	_cleanup_(config_freep) struct config *c = configured_noting("", &notes);
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_str_eq(notes.lines[0],
		"test.conf:1: [plant] has no zone: days are those of UTC");
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
	_cleanup_(config_freep) struct config *c = configured(
		"[channel outside]\nrole = outdoor_temperature\ntopic = w/+/t\n"
		"pointer = /t\neach = /list\nunit = °F\nscale = 0.1\noffset = -40\n"
		"integer_bits = 16\ndecimal = comma\nthousands = yes\n"
		"valid_least = -40\nvalid_most = 50 °C\nstale_after = 1.5 h\n"
		"time = payload\ntime_pointer = /at\ntime_form = ms\n"
		"retained = state\nextremes = yes\n"
		"[channel whole]\ntopic = w\npointer =\n"
		"[channel pack]\ntopic = w\nsenml = x:t\ntime = payload\n");
	const struct channel_config *o = named(c, "outside");
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
	const struct channel_config *whole = named(c, "whole");
	ck_assert_str_eq(whole->pointer, "");
	ck_assert_int_eq(whole->dimension, DIMENSION_NUMBER);
	ck_assert_int_eq(whole->retained, RETAINED_IGNORE);
	ck_assert_double_eq(whole->valid_least, -VALUE_MOST);
	ck_assert_double_eq(whole->valid_most, VALUE_MOST);
	ck_assert_str_eq(named(c, "pack")->senml, "x:t");
	ck_assert_ptr_null(named(c, "pack")->time_pointer);
}
END

TEST(a_degree_sign_may_be_latin_1)
{
	_cleanup_(config_freep) struct config *c = configured(
		"[plant]\npair_limit = 0.2 K\n[modes]\nfreeze_outdoor = 41 \xb0"
		"F\n[channel a]\ntopic = x\nunit = \xb0"
		"C\n");
	ck_assert_str_eq(c->channels[0].unit->ucum, "Cel");
	ck_assert_double_eq_tol(
		c->modes.freeze_outdoor_c, 5, 1e-12); /* 41 °F, by definition */
}
END

TEST(states_of_a_role_have_its_codes_and_those_of_a_plain_channel_come_as_they_stand)
{
	_cleanup_(config_freep) struct config *c = configured(
		"[channel operating_mode]\ntopic = x\nmap = TAPPEN:hot_water, Öl: "
		"standby, a:b:off\n"
		"[channel lamp]\ntopic = x\nmap = rot:red, GRÜN:green, gruen:green\n"
		"[channel defrost]\ntopic = x\n"
		"[channel valve]\ntopic = x\nstale_after = 1 h\nretained = ignore\n"
		"[channel plain_valve]\nrole = plain\ntopic = x\n");
	const struct channel_config *mode = named(c, "operating_mode");
	ck_assert_uint_eq(mode->state_count, OPERATING_COUNT);
	ck_assert_str_eq(mode->states[OPERATING_FREEZE_PROTECTION], "freeze_protection");
	ck_assert_int_eq(state_of(mode, "tappen"), OPERATING_HOT_WATER);
	ck_assert_int_eq(state_of(mode, "öl"), OPERATING_STANDBY);
	ck_assert_int_eq(state_of(mode, "a:b"), OPERATING_OFF);
	ck_assert_int_eq(mode->stale_after_ms, -1);
	const struct channel_config *lamp = named(c, "lamp");
	ck_assert_int_eq(lamp->dimension, DIMENSION_STATE);
	ck_assert_uint_eq(lamp->state_count, 2);
	ck_assert_str_eq(lamp->states[1], "green");
	ck_assert_int_eq(state_of(lamp, "grün"), 1);
	ck_assert_int_eq(state_of(lamp, "gruen"), 1);
	const struct channel_config *defrost = named(c, "defrost");
	static const char *const on[] = {"on", "true", "yes", "1"};
	static const char *const off[] = {"off", "false", "no", "0"};
	for (size_t i = 0; i < ARRAY_LEN(on); i++) {
		ck_assert_int_eq(state_of(defrost, on[i]), STATE_ON);
		ck_assert_int_eq(state_of(defrost, off[i]), STATE_OFF);
	}
	const struct channel_config *valve = named(c, "valve");
	ck_assert_int_eq(state_of(valve, "hot_water"), VALVE_HOT_WATER);
	ck_assert_int_eq(valve->stale_after_ms, MS_PER_HOUR);
	ck_assert_int_eq(valve->retained, RETAINED_IGNORE);
	ck_assert_int_eq(named(c, "plain_valve")->dimension, DIMENSION_NUMBER);
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
	_cleanup_(config_freep) struct config *c = configured(buffer_text(&text));
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

TEST(pressure_may_be_a_gauge_channel)
{
	_cleanup_(config_freep) struct config *c = configured(
		"[plant]\npressure = gauge\n[channel gauge]\ntopic = x\nunit = kPa\n");
	ck_assert_int_eq(c->plant.pressure_channel, 0);
	_cleanup_(config_freep) struct config *d =
		configured("[plant]\npressure = 250 kPa\n");
	ck_assert_double_eq(d->plant.pressure_bar, 2.5);
	ck_assert_int_eq(d->plant.pressure_channel, -1);
}
END

TEST(a_refused_file_leaves_the_zone_in_force)
{
	_cleanup_(config_freep) struct config *c =
		configured("[plant]\nzone = Asia/Kathmandu\n");
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

TESTS(the_contract_example_is_accepted, an_empty_file_is_all_defaults,
	every_setting_of_a_channel_reaches_its_field, a_degree_sign_may_be_latin_1,
	states_of_a_role_have_its_codes_and_those_of_a_plain_channel_come_as_they_stand,
	folding_is_unicodes_for_the_scripts_it_knows,
	a_channel_belongs_to_the_first_source_that_covers_its_topic,
	pressure_may_be_a_gauge_channel, a_refused_file_leaves_the_zone_in_force,
	a_file_that_cannot_be_read_is_an_error_of_the_world)
