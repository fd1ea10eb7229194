/* Houses made by hand: what is guessed of them, and that every proposal passes the check.
 * The words are those of the trade in several languages (common practice of the trade);
 * relations are those of any heating circuit. */
#include "heard.h"

#include <heatbook/decoder.h>
#include <heatbook/reading.h>

/* An hour of a plant that runs and rests, a step every 20 s. */
struct state {
	int64_t t_ms;
	double flow, back, rate, hz, watt, kwh, outdoor, room, tank, target;
	bool tap, defrost;
};

typedef void speak(struct heard *h, const struct state *s, int i);

static void an_hour(struct heard *h, speak *says)
{
	double kwh = 1234.5;
	for (int i = 0; i < 180; i++) {
		bool runs = i % 60 < 40, tap = i >= 120;
		struct state s = {.t_ms = NOON_MS + i * 20000,
			.rate = runs ? 17.4 + i % 3 * 0.1 : 0,
			.hz = runs ? 45 + i % 7 : 0,
			.watt = runs ? 1100 + i % 50 : 14,
			.outdoor = 4.2 - i * 0.01,
			.room = 20.8 + i % 3 * 0.1,
			.tank = tap ? 42 + i * 0.02 : 44 - i * 0.01,
			.target = 34.5 + i % 2 * 0.1,
			.tap = tap,
			.defrost = i > 50 && i < 60};
		s.back = runs ? 29.5 + i % 5 * 0.2 : 27.0;
		s.flow = s.back + (runs ? 5.2 : 0.1);
		s.kwh = kwh += s.watt * 20 / 3.6e6;
		says(h, &s, i);
	}
}

struct wanted {
	enum role role;
	const char *topic, *pointer, *unit; /* unit NULL for states */
};

/* Proposes, checks, compares roles; the config for more questions, the caller's. */
static struct config *hears(struct heard *h, const struct wanted *wanted, size_t count)
{
	struct config *made = heard_propose(h, bare_config);
	for (size_t i = 0; i < count; i++) {
		int c = config_role(made, wanted[i].role);
		ck_assert_msg(c >= 0, "no %s in\n%s", role_name(wanted[i].role),
			buffer_text(&h->proposal));
		const struct channel_config *channel = &made->channels[c];
		ck_assert_str_eq(channel->topic, wanted[i].topic);
		const char *where = channel->senml     ? channel->senml
				    : channel->pointer ? channel->pointer
						       : "";
		ck_assert_str_eq(where, wanted[i].pointer);
		if (wanted[i].unit)
			ck_assert_str_eq(channel->unit->symbol, wanted[i].unit);
	}
	return made;
}
#define HEARS(h, wanted) hears(h, wanted, ARRAY_LEN(wanted))

/* ---- flat topics, bare numbers ---- */

static void speak_flat(struct heard *h, const struct state *s, int i)
{
	hear(h, s->t_ms, "hp/flow_temp", "%.1f", s->flow);
	hear(h, s->t_ms, "hp/return_temp", "%.1f", s->back);
	hear(h, s->t_ms, "hp/flow_rate", "%.1f", s->rate);
	hear(h, s->t_ms, "hp/compressor_frequency", "%.0f", s->hz);
	hear(h, s->t_ms, "hp/power", "%.0f", s->watt);
	hear(h, s->t_ms, "hp/energy", "%.3f", s->kwh);
	if (i % 6 == 0) {
		hear(h, s->t_ms, "outside/temperature", "%.1f", s->outdoor);
		hear(h, s->t_ms, "lounge/temperature", "%.1f", s->room);
		hear(h, s->t_ms, "hp/tank_temp", "%.1f", s->tank);
	}
	if (i % 60 == 0)
		hear(h, s->t_ms, "hp/mode", "%s", s->tap ? "dhw" : "heating");
}

TEST(flat_topics_with_bare_numbers)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "hp/flow_temp", "", "°C"},
		{ROLE_RETURN_TEMPERATURE, "hp/return_temp", "", "°C"},
		{ROLE_FLOW_RATE, "hp/flow_rate", "", "L/min"},
		{ROLE_COMPRESSOR_FREQUENCY, "hp/compressor_frequency", "", "Hz"},
		{ROLE_OUTDOOR_TEMPERATURE, "outside/temperature", "", "°C"},
		{ROLE_ROOM_TEMPERATURE, "lounge/temperature", "", "°C"},
		{ROLE_CYLINDER_TEMPERATURE, "hp/tank_temp", "", "°C"},
		{ROLE_OPERATING_MODE, "hp/mode", "", NULL},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_flat);
	struct config *made = HEARS(&h, wanted);
	ck_assert_uint_eq(made->meter_count, 1);
	ck_assert_uint_eq(made->meters[0].feeds, DEVICE_COMPRESSOR | DEVICE_CIRCULATION);
	ck_assert_uint_eq(made->meters[0].power_count, 1);
	ck_assert_uint_eq(made->meters[0].counted.register_count, 1);
	config_free(made);
	heard_release(&h);
}
END

	/* ---- one big JSON with its own time ---- */

	static void
	speak_big(struct heard *h, const struct state *s, int i)
{
	(void)i;
	hear(h, s->t_ms, "plant",
		"{\"time\":%lld,\"water\":{\"leaving\":%.1f,\"entering\":%.1f,\"rate_"
		"lpm\":%.1f},"
		"\"compressor\":{\"speed_hz\":%.0f},\"electric\":{\"power_w\":%.0f,"
		"\"energy_kwh\":%.2f},\"outdoor\":{\"t\":%.1f},\"valve\":\"%s\","
		"\"defrost\":%s,\"water_pressure_bar\":1.6}",
		(long long)(s->t_ms / 1000) - 1, s->flow, s->back, s->rate, s->hz,
		s->watt, s->kwh, s->outdoor, s->tap ? "tank" : "space",
		s->defrost ? "true" : "false");
}

TEST(one_big_object_with_units_in_its_keys_and_a_time)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "plant", "/water/leaving", "°C"},
		{ROLE_RETURN_TEMPERATURE, "plant", "/water/entering", "°C"},
		{ROLE_FLOW_RATE, "plant", "/water/rate_lpm", "L/min"},
		{ROLE_COMPRESSOR_FREQUENCY, "plant", "/compressor/speed_hz", "Hz"},
		{ROLE_OUTDOOR_TEMPERATURE, "plant", "/outdoor/t", "°C"},
		{ROLE_WATER_PRESSURE, "plant", "/water_pressure_bar", "bar"},
		{ROLE_VALVE, "plant", "/valve", NULL},
		{ROLE_DEFROST, "plant", "/defrost", NULL},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_big);
	struct config *made = HEARS(&h, wanted);
	for (size_t i = 0; i < made->channel_count; i++) {
		ck_assert_int_eq(made->channels[i].time, TIME_PAYLOAD);
		ck_assert_str_eq(made->channels[i].time_pointer, "/time");
	}
	/* The only electricity that is heard, and it rises with the compressor. */
	ck_assert_uint_eq(made->meter_count, 1);
	ck_assert_uint_ne(made->meters[0].feeds & DEVICE_COMPRESSOR, 0);
	config_free(made);
	heard_release(&h);
}
END

	/* ---- other languages ---- */

	static void
	speak_german(struct heard *h, const struct state *s, int i)
{
	hear(h, s->t_ms, "Heizung/Vorlauftemperatur", "%.1f", s->flow);
	hear(h, s->t_ms, "Heizung/Rücklauftemperatur", "%.1f", s->back);
	hear(h, s->t_ms, "Heizung/Durchfluss", "%.0f", s->rate * 60);
	hear(h, s->t_ms, "Heizung/Außentemperatur", "%.1f", s->outdoor);
	hear(h, s->t_ms, "Heizung/Warmwassertemperatur", "%.1f", s->tank);
	hear(h, s->t_ms, "Heizung/Verdichterfrequenz", "%.0f", s->hz);
	hear(h, s->t_ms, "Heizung/Wasserdruck", "1.%d", 5 + i % 2);
	hear(h, s->t_ms, "Stromzähler/Wärmepumpe/Leistung", "%.0f", s->watt);
	hear(h, s->t_ms, "Stromzähler/Heizstab/Leistung", "0");
	if (i % 60 == 0)
		hear(h, s->t_ms, "Heizung/Betriebsart", "%s",
			s->tap ? "Warmwasser" : "Heizen");
}

TEST(german_words)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "Heizung/Vorlauftemperatur", "", "°C"},
		{ROLE_RETURN_TEMPERATURE, "Heizung/Rücklauftemperatur", "", "°C"},
		{ROLE_FLOW_RATE, "Heizung/Durchfluss", "", "L/h"},
		{ROLE_OUTDOOR_TEMPERATURE, "Heizung/Außentemperatur", "", "°C"},
		{ROLE_CYLINDER_TEMPERATURE, "Heizung/Warmwassertemperatur", "", "°C"},
		{ROLE_COMPRESSOR_FREQUENCY, "Heizung/Verdichterfrequenz", "", "Hz"},
		{ROLE_WATER_PRESSURE, "Heizung/Wasserdruck", "", "bar"},
		{ROLE_OPERATING_MODE, "Heizung/Betriebsart", "", NULL},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_german);
	struct config *made = HEARS(&h, wanted);
	ck_assert_uint_eq(made->meter_count, 2);
	unsigned feeds = made->meters[0].feeds | made->meters[1].feeds;
	ck_assert_uint_eq(
		feeds, DEVICE_COMPRESSOR | DEVICE_CIRCULATION | DEVICE_IMMERSION);
	config_free(made);
	heard_release(&h);
}
END

	static void
	speak_french(struct heard *h, const struct state *s, int i)
{
	hear(h, s->t_ms, "pac/eau", "{\"départ\":%.1f,\"retour\":%.1f,\"débit\":%.2f}",
		s->flow, s->back, s->rate * 0.06);
	hear(h, s->t_ms, "pac/extérieur/température", "%.1f", s->outdoor);
	hear(h, s->t_ms, "pac/ballon", "%.1f", s->tank);
	hear(h, s->t_ms, "pac/consigne", "%.1f", s->target);
	hear(h, s->t_ms, "pac/puissance", "%.0f W", s->watt);
	hear(h, s->t_ms, "salon/température", "%.1f", s->room);
	if (i % 60 == 0)
		hear(h, s->t_ms, "pac/vanne", "%s", s->tap ? "ECS" : "chauffage");
}

TEST(french_words)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "pac/eau", "/départ", "°C"},
		{ROLE_RETURN_TEMPERATURE, "pac/eau", "/retour", "°C"},
		{ROLE_FLOW_RATE, "pac/eau", "/débit", "m³/h"},
		{ROLE_OUTDOOR_TEMPERATURE, "pac/extérieur/température", "", "°C"},
		{ROLE_CYLINDER_TEMPERATURE, "pac/ballon", "", "°C"},
		{ROLE_TARGET_FLOW_TEMPERATURE, "pac/consigne", "", "°C"},
		{ROLE_ROOM_TEMPERATURE, "salon/température", "", "°C"},
		{ROLE_VALVE, "pac/vanne", "", NULL},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_french);
	struct config *made = HEARS(&h, wanted);
	ck_assert_uint_eq(made->meter_count, 1);
	config_free(made);
	heard_release(&h);
}
END

	static void
	speak_dutch(struct heard *h, const struct state *s, int i)
{
	hear(h, s->t_ms, "warmtepomp/aanvoer", "%.1f", s->flow);
	hear(h, s->t_ms, "warmtepomp/retour", "%.1f", s->back);
	hear(h, s->t_ms, "warmtepomp/debiet", "%.1f", s->rate);
	hear(h, s->t_ms, "warmtepomp/buitentemperatuur", "%.1f", s->outdoor);
	hear(h, s->t_ms, "warmtepomp/tapwater", "%.1f", s->tank);
	hear(h, s->t_ms, "warmtepomp/vermogen", "%.0f", s->watt);
	hear(h, s->t_ms, "woonkamer/temperatuur", "%.1f", s->room);
	if (i % 60 == 0)
		hear(h, s->t_ms, "warmtepomp/bedrijf", "%s",
			s->tap ? "warmwater" : "verwarmen");
}

TEST(dutch_words)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "warmtepomp/aanvoer", "", "°C"},
		{ROLE_RETURN_TEMPERATURE, "warmtepomp/retour", "", "°C"},
		{ROLE_FLOW_RATE, "warmtepomp/debiet", "", "L/min"},
		{ROLE_OUTDOOR_TEMPERATURE, "warmtepomp/buitentemperatuur", "", "°C"},
		{ROLE_CYLINDER_TEMPERATURE, "warmtepomp/tapwater", "", "°C"},
		{ROLE_ROOM_TEMPERATURE, "woonkamer/temperatuur", "", "°C"},
		{ROLE_OPERATING_MODE, "warmtepomp/bedrijf", "", NULL},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_dutch);
	struct config *made = HEARS(&h, wanted);
	ck_assert_uint_eq(made->meter_count, 1);
	config_free(made);
	heard_release(&h);
}
END

	/* ---- other units and marks ---- */

	static double
	fahrenheit(double c)
{
	return c * 1.8 + 32;
}

static void speak_us(struct heard *h, const struct state *s, int i)
{
	(void)i;
	hear(h, s->t_ms, "hp/supply_temp", "%.1f", fahrenheit(s->flow));
	hear(h, s->t_ms, "hp/return_temp", "%.1f", fahrenheit(s->back));
	hear(h, s->t_ms, "hp/flow_rate", "%.2f", s->rate / 3.785411784);
	hear(h, s->t_ms, "hp/pressure", "%d", 21 + i % 2);
	hear(h, s->t_ms, "house/living/temp", "%.1f", fahrenheit(s->room));
	hear(h, s->t_ms, "house/outdoor/temp", "%.1f", fahrenheit(s->outdoor));
}

TEST(fahrenheit_gallons_and_psi_by_their_ranges)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "hp/supply_temp", "", "°F"},
		{ROLE_RETURN_TEMPERATURE, "hp/return_temp", "", "°F"},
		{ROLE_FLOW_RATE, "hp/flow_rate", "", "gpm (US)"},
		{ROLE_WATER_PRESSURE, "hp/pressure", "", "psi"},
		{ROLE_ROOM_TEMPERATURE, "house/living/temp", "", "°F"},
		{ROLE_OUTDOOR_TEMPERATURE, "house/outdoor/temp", "", "°F"},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_us);
	struct config *made = HEARS(&h, wanted);
	ck_assert(h.guesses->fahrenheit);
	config_free(made);
	heard_release(&h);
}
END

	static void
	comma(char *text)
{
	char *point = strchr(text, '.');
	if (point)
		*point = ',';
}

static void speak_comma(struct heard *h, const struct state *s, int i)
{
	char flow[16], back[16];
	(void)i;
	(void)snprintf(flow, sizeof(flow), "%.3f", s->flow);
	(void)snprintf(back, sizeof(back), "%.1f °C", s->back);
	comma(flow);
	comma(back);
	hear(h, s->t_ms, "anlage/vorlauf", "%s", flow);
	hear(h, s->t_ms, "anlage/ruecklauf", "%s", back);
	hear(h, s->t_ms, "anlage/leistung", "%.1f kW", s->watt / 1000);
}

TEST(decimal_commas_and_units_in_values)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "anlage/vorlauf", "", "°C"},
		{ROLE_RETURN_TEMPERATURE, "anlage/ruecklauf", "", "°C"},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_comma);
	struct config *made = HEARS(&h, wanted);
	const struct channel_config *flow =
		&made->channels[config_role(made, ROLE_FLOW_TEMPERATURE)];
	ck_assert_int_eq(flow->decimal, DECIMAL_COMMA);
	ck_assert_uint_eq(made->meter_count, 1); /* the only electricity */
	ck_assert_str_eq(made->channels[made->meters[0].power[0]].unit->symbol, "kW");
	config_free(made);
	heard_release(&h);
}
END

	/* ---- forms of JSON ---- */

	static void
	speak_senml(struct heard *h, const struct state *s, int i)
{
	(void)i;
	hear(h, s->t_ms, "cellar/pack",
		"[{\"bn\":\"cellar/"
		"\",\"bt\":%lld,\"n\":\"flow\",\"u\":\"Cel\",\"v\":%.1f},"
		"{\"n\":\"return\",\"u\":\"Cel\",\"v\":%.1f},{\"n\":\"rate\",\"u\":\"L/"
		"min\",\"v\":%.1f},"
		"{\"n\":\"valve\",\"vs\":\"%s\"}]",
		(long long)s->t_ms / 1000, s->flow, s->back, s->rate,
		s->tap ? "tank" : "rooms");
}

TEST(senml_packs)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "cellar/pack", "cellar/flow", "°C"},
		{ROLE_RETURN_TEMPERATURE, "cellar/pack", "cellar/return", "°C"},
		{ROLE_FLOW_RATE, "cellar/pack", "cellar/rate", "L/min"},
		{ROLE_VALVE, "cellar/pack", "cellar/valve", NULL},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_senml);
	struct config *made = HEARS(&h, wanted);
	ck_assert_int_eq(made->channels[0].time, TIME_PAYLOAD);
	config_free(made);
	heard_release(&h);
}
END

	static void
	speak_nested(struct heard *h, const struct state *s, int i)
{
	if (i % 3)
		return;
	hear(h, s->t_ms, "log/water",
		"{\"samples\":[{\"t\":%lld,\"supply\":%.1f,\"return\":%.1f},"
		"{\"t\":%lld,\"supply\":%.1f,\"return\":%.1f}]}",
		(long long)s->t_ms / 1000 - 40, s->flow, s->back,
		(long long)s->t_ms / 1000 - 20, s->flow, s->back);
	hear(h, s->t_ms, "zones",
		"[[{\"room\":{\"temp\":%.1f}},{\"room\":{\"temp\":%.1f}}]]", s->room,
		s->room + 1);
}

TEST(nested_arrays_and_dated_elements)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "log/water", "/supply", "°C"},
		{ROLE_RETURN_TEMPERATURE, "log/water", "/return", "°C"},
		{ROLE_ROOM_TEMPERATURE, "zones", "/0/0/room/temp", "°C"},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_nested);
	struct config *made = HEARS(&h, wanted);
	const struct channel_config *flow =
		&made->channels[config_role(made, ROLE_FLOW_TEMPERATURE)];
	ck_assert_str_eq(flow->each, "/samples");
	ck_assert_str_eq(flow->time_pointer, "/t");
	config_free(made);
	heard_release(&h);
}
END

	/* ---- relations ---- */

	static void
	speak_mute(struct heard *h, const struct state *s, int i)
{
	hear(h, s->t_ms, "box/3", "{\"a\":%.1f,\"b\":%.1f}", s->back, s->flow);
	hear(h, s->t_ms, "drive", "{\"compressor_hz\":%.0f}", s->hz);
	hear(h, s->t_ms, "meters/7/power", "%.0f", s->watt);
	hear(h, s->t_ms, "meters/8/power", "%d", 300 + i % 60 * 10);
}

TEST(what_no_word_tells_is_told_by_company)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "box/3", "/b", "°C"},
		{ROLE_RETURN_TEMPERATURE, "box/3", "/a", "°C"},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_mute);
	struct config *made = HEARS(&h, wanted);
	ck_assert_uint_eq(made->meter_count, 1);
	ck_assert_str_eq(
		made->channels[made->meters[0].power[0]].topic, "meters/7/power");
	config_free(made);
	heard_release(&h);
}
END

	static void
	speak_swapped(struct heard *h, const struct state *s, int i)
{
	(void)i;
	hear(h, s->t_ms, "hp/flow_temp", "%.1f", s->back);
	hear(h, s->t_ms, "hp/return_temp", "%.1f", s->flow);
}

TEST(a_flow_below_its_return_is_pointed_out)
{
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_swapped);
	config_free(heard_propose(&h, bare_config));
	ck_assert_ptr_nonnull(strstr(buffer_text(&h.proposal), "swapped?"));
	heard_release(&h);
}
END

	static void
	speak_phases(struct heard *h, const struct state *s, int i)
{
	(void)i;
	for (int phase = 1; phase <= 3; phase++) {
		char topic[64];
		(void)snprintf(topic, sizeof(topic), "meter/heatpump/power_l%d", phase);
		hear(h, s->t_ms, topic, "%.0f", s->watt / 3);
		(void)snprintf(topic, sizeof(topic), "meter/heatpump/voltage_l%d", phase);
		hear(h, s->t_ms, topic, "%d", 228 + phase);
	}
	hear(h, s->t_ms, "meter/heatpump/energy_total", "%.0f", s->kwh * 1000);
}

TEST(three_phases_make_a_sum_and_volts_do_not)
{
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_phases);
	struct config *made = heard_propose(&h, bare_config);
	ck_assert_uint_eq(made->meter_count, 1);
	ck_assert_uint_eq(made->meters[0].power_count, 3);
	ck_assert_str_eq(
		made->channels[made->meters[0].counted.registers[0]].unit->symbol, "Wh");
	config_free(made);
	heard_release(&h);
}
END

	static void
	speak_loads(struct heard *h, const struct state *s, int i)
{
	hear(h, s->t_ms, "house/meter/unit/l1", "%d", 265 + i % 3);
	hear(h, s->t_ms, "house/meter/unit/l2", "%d", 224 + i % 3);
	hear(h, s->t_ms, "house/meter/unit/l3", "%d", 224 + i % 3);
	hear(h, s->t_ms, "house/meter/unit/energy", "%.2f", s->kwh);
	hear(h, s->t_ms, "house/meter/other/power", "%d", 500 + i);
	for (int phase = 1; phase <= 3; phase++) {
		char topic[64];
		(void)snprintf(topic, sizeof(topic), "house/meter/other/l%d", phase);
		hear(h, s->t_ms, topic, "%d", 229 + phase);
	}
}

TEST(loads_of_the_size_of_a_voltage_are_loads)
{
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_loads);
	struct config *made = heard_propose(&h, bare_config);
	int unit = config_meter(made, "unit");
	ck_assert_int_ge(unit, 0);
	ck_assert_uint_eq(made->meters[unit].power_count, 3);
	for (size_t i = 0; i < h.guesses->count; i++) {
		const struct guess *g = &h.guesses->items[i];
		if (strncmp(g->place->topic->name, "house/meter/other/l", 19) == 0)
			ck_assert_str_eq(g->unit->symbol, "V");
	}
	config_free(made);
	heard_release(&h);
}
END

	/* ---- the side that heat is taken from ---- */

	static void
	speak_brine(struct heard *h, const struct state *s, int i)
{
	bool runs = s->hz > 0;
	double in = 5.1 - i * 0.004;
	hear(h, s->t_ms, "wp/vorlauf", "%.1f", s->flow);
	hear(h, s->t_ms, "wp/ruecklauf", "%.1f", s->back);
	hear(h, s->t_ms, "wp/volumenstrom", "%.1f", s->rate);
	hear(h, s->t_ms, "wp/sole_eintritt", "%.2f", in);
	hear(h, s->t_ms, "wp/sole_austritt", "%.2f", runs ? in - 3.1 : in + 0.1);
	hear(h, s->t_ms, "wp/sole_volumenstrom", "%.1f", runs ? 24.0 + i % 2 * 0.1 : 0);
}

TEST(brine_has_roles_of_its_own)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "wp/vorlauf", "", "°C"},
		{ROLE_RETURN_TEMPERATURE, "wp/ruecklauf", "", "°C"},
		{ROLE_FLOW_RATE, "wp/volumenstrom", "", "L/min"},
		{ROLE_SOURCE_ENTERING_TEMPERATURE, "wp/sole_eintritt", "", "°C"},
		{ROLE_SOURCE_LEAVING_TEMPERATURE, "wp/sole_austritt", "", "°C"},
		{ROLE_SOURCE_FLOW_RATE, "wp/sole_volumenstrom", "", "L/min"},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_brine);
	config_free(HEARS(&h, wanted));
	ck_assert_ptr_nonnull(strstr(buffer_text(&h.proposal), "source_fluid"));
	heard_release(&h);
}
END

	/* Out of the ground is into the unit: what is warmer enters it, whatever words
	   say. */
	static void
	speak_ground(struct heard *h, const struct state *s, int i)
{
	bool runs = s->hz > 0;
	double in = 9.8 - i % 9 * 0.01;
	hear(h, s->t_ms, "unit",
		"{\"water\":{\"out\":%.1f,\"in\":%.1f,\"rate\":%.1f},"
		"\"source\":{\"out\":%.2f,\"in\":%.2f,\"rate\":%.1f,\"heat_power\":%.0f}"
		"}",
		s->flow, s->back, s->rate, in, runs ? in - 2.9 : in,
		runs ? 20.0 + i % 3 * 0.1 : 0, runs ? 4200.0 + i : 0);
}

TEST(what_is_warmer_enters_from_the_source)
{
	static const struct wanted wanted[] = {
		{ROLE_FLOW_TEMPERATURE, "unit", "/water/out", "°C"},
		{ROLE_RETURN_TEMPERATURE, "unit", "/water/in", "°C"},
		{ROLE_FLOW_RATE, "unit", "/water/rate", "L/min"},
		{ROLE_SOURCE_ENTERING_TEMPERATURE, "unit", "/source/out", "°C"},
		{ROLE_SOURCE_LEAVING_TEMPERATURE, "unit", "/source/in", "°C"},
		{ROLE_SOURCE_FLOW_RATE, "unit", "/source/rate", "L/min"},
		{ROLE_SOURCE_HEAT_POWER, "unit", "/source/heat_power", "W"},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_ground);
	config_free(HEARS(&h, wanted));
	ck_assert_msg(strstr(buffer_text(&h.proposal), "warmer one"), "%s",
		buffer_text(&h.proposal));
	heard_release(&h);
}
END

	/* A ground-water unit by words of its roles alone; nothing of the house is taken
	   for it. */
	static void
	speak_well(struct heard *h, const struct state *s, int i)
{
	hear(h, s->t_ms, "hp/source_entering_temperature", "%.1f", 10.0);
	hear(h, s->t_ms, "hp/source_leaving_temperature", "%.1f", 10.0);
	if (i % 6 == 0)
		hear(h, s->t_ms, "outside/temperature", "%.1f", s->outdoor);
}

TEST(without_a_difference_words_tell_what_enters)
{
	static const struct wanted wanted[] = {
		{ROLE_SOURCE_ENTERING_TEMPERATURE, "hp/source_entering_temperature", "",
			"°C"},
		{ROLE_SOURCE_LEAVING_TEMPERATURE, "hp/source_leaving_temperature", "",
			"°C"},
		{ROLE_OUTDOOR_TEMPERATURE, "outside/temperature", "", "°C"},
	};
	struct heard h = heard_new(bare_config);
	an_hour(&h, speak_well);
	struct config *made = HEARS(&h, wanted);
	ck_assert_int_lt(config_role(made, ROLE_FLOW_TEMPERATURE), 0);
	ck_assert_int_lt(config_role(made, ROLE_RETURN_TEMPERATURE), 0);
	config_free(made);
	heard_release(&h);
}
END

/* ---- states and sources ---- */

TEST(a_minute_of_listening_maps_the_states_that_were_not_heard)
{
	struct heard h = heard_new(bare_config);
	hear_bytes(&h, NOON_MS, true, "plant/valve", "rooms", 5);
	hear_bytes(&h, NOON_MS, true, "plant/defrost", "no", 2);
	hear_bytes(&h, NOON_MS, true, "plant/gateway", "online", 6);
	struct config *made = heard_propose(&h, bare_config);
	const struct channel_config *valve =
		&made->channels[config_role(made, ROLE_VALVE)];
	unsigned states = 0;
	for (size_t i = 0; i < valve->map_count; i++)
		states |= 1U << valve->map[i].state;
	ck_assert_uint_eq(states, 1U << VALVE_HEATING | 1U << VALVE_HOT_WATER);
	ck_assert_str_eq(valve->map[0].word, "rooms");
	ck_assert_ptr_nonnull(strstr(buffer_text(&h.proposal), ", tap:hot_water"));
	ck_assert_ptr_nonnull(strstr(buffer_text(&h.proposal), ", running:on"));
	ck_assert_ptr_nonnull(strstr(buffer_text(&h.proposal), "less than ten minutes"));
	ck_assert_int_ge(config_role(made, ROLE_DEFROST), 0);
	ck_assert_uint_eq(made->source_count, 1);
	ck_assert_str_eq(made->sources[0].will_topic, "plant/gateway");
	/* Nothing but states: silence says nothing. */
	ck_assert_int_eq(made->sources[0].silent_after_ms, -1);
	config_free(made);
	heard_release(&h);
}
END

TEST(a_slow_source_gets_a_longer_silence)
{
	struct heard h = heard_new(bare_config);
	for (int i = 0; i < 5; i++)
		hear(&h, NOON_MS + i * 15 * MS_PER_MIN, "slow/outdoor/temp", "%d.5", i);
	struct config *made = heard_propose(&h, bare_config);
	ck_assert_int_eq(made->sources[0].silent_after_ms, 60 * MS_PER_MIN);
	ck_assert_int_eq(made->channels[0].stale_after_ms, 180 * MS_PER_MIN);
	config_free(made);
	heard_release(&h);
}
END

TEST(numbers_of_a_mode_and_unknown_words_are_left_to_the_owner)
{
	struct heard h = heard_new(bare_config);
	for (int i = 0; i < 9; i++) {
		hear(&h, NOON_MS + i * 1000, "hp/mode", "%d", i % 3);
		hear(&h, NOON_MS + i * 1000, "hp/valve", "%s", i % 2 ? "blip" : "blop");
	}
	struct config *made = heard_propose(&h, bare_config);
	ck_assert_int_lt(config_role(made, ROLE_OPERATING_MODE), 0);
	ck_assert_int_lt(config_role(made, ROLE_VALVE), 0);
	ck_assert_ptr_nonnull(strstr(buffer_text(&h.proposal), ";topic = hp/mode\n"));
	ck_assert_ptr_nonnull(
		strstr(buffer_text(&h.proposal), ";map = blop:blop, blip:blip\n"));
	config_free(made);
	heard_release(&h);
}
END

TEST(a_grid_frequency_and_other_rooms_of_the_house_are_no_plant)
{
	struct heard h = heard_new(bare_config);
	for (int i = 0; i < 20; i++) {
		hear(&h, NOON_MS + i * 1000, "grid/frequency", "%.2f",
			49.98 + i % 3 * 0.01);
		hear(&h, NOON_MS + i * 1000, "freezer/temperature", "-18.%d", i % 4);
		hear(&h, NOON_MS + i * 1000, "solar/flow_temp", "6%d.5", i % 4);
		hear(&h, NOON_MS + i * 1000, "weather/wind/speed", "%d", i % 9);
	}
	struct config *made = heard_propose(&h, bare_config);
	ck_assert_uint_eq(made->channel_count, 0);
	config_free(made);
	heard_release(&h);
}
END

/* ---- what is configured already ---- */

TEST(what_is_mapped_is_marked_and_not_proposed_again)
{
	static const char *const text =
		"[plant]\nzone = UTC\n[broker]\nhost = 127.0.0.1\n"
		"[channel flow_temperature]\ntopic = hp/flow_temp\nunit = °C\n"
		"[channel mine]\ntopic = hp/+\nrole = plain\npointer = /x\n";
	struct heard h = heard_new(text);
	an_hour(&h, speak_flat);
	struct config *made = heard_propose(&h, text);
	for (size_t i = 0; i < h.guesses->count; i++) {
		const struct guess *g = &h.guesses->items[i];
		if (strcmp(g->place->topic->name, "hp/flow_temp") != 0)
			continue;
		ck_assert_int_eq(g->kind, GUESS_MAPPED);
		ck_assert_str_eq(h.config->channels[g->channel].name, "flow_temperature");
	}
	ck_assert_int_ge(config_role(made, ROLE_RETURN_TEMPERATURE), 0);
	config_free(made);
	heard_release(&h);
}
END

/* ---- hostile and large ---- */

TEST(five_thousand_topics_make_a_proposal_that_passes)
{
	static const char *const words[] = {
		"temperature", "power", "energy", "flow", "state", "room", "outdoor"};
	struct heard h = heard_new(bare_config);
	char topic[96];
	for (unsigned i = 0; i < 5000; i++) {
		(void)snprintf(topic, sizeof(topic), "d%u/%s/%s", i,
			words[i % ARRAY_LEN(words)], words[i / 7 % ARRAY_LEN(words)]);
		hear(&h, NOON_MS + i, topic, "%u.%u", 15 + i % 20, i % 10);
	}
	struct config *made = heard_propose(&h, bare_config);
	ck_assert_uint_le(made->channel_count, CHANNELS_MOST);
	ck_assert_uint_gt(made->channel_count, 5);
	ck_assert_uint_lt(h.proposal.length, 100000);
	config_free(made);
	heard_release(&h);
}
END

	static size_t
	random_text(uint64_t *seed, char *out, size_t most, bool tame)
{
	static const char *const pieces[] = {"flow", "return", "temp", "power", "/", "_",
		" ;", "#", "+", "\n", "\x1b[31m", "\"", "=", "[", "]", "é", "\xff", "{",
		":", ",", "1", "23.5", " kW", "°C", "on", "off", "rooms", "tap", "meter",
		"energy", "outdoor", "room", "  ", "\xe2\x80\xae", "valve", "mode", "l1",
		"~", "defrost"};
	size_t n = (size_t)unit_random_between(seed, 1, 6), length = 0;
	for (size_t i = 0; i < n; i++) {
		const char *piece = pieces[unit_random(seed) % ARRAY_LEN(pieces)];
		if (tame && strpbrk(piece, "\n\x1b\xff"))
			continue;
		if (length + strlen(piece) + 1 > most)
			break;
		memcpy(out + length, piece, strlen(piece));
		length += strlen(piece);
	}
	out[length] = '\0';
	return length;
}

static size_t random_payload(uint64_t *seed, char *out, size_t most)
{
	char key[64], value[64];
	switch (unit_random(seed) % 6) {
	case 0:
		return (size_t)snprintf(out, most, "%lld.%lld",
			(long long)unit_random_between(seed, -20, 400),
			(long long)unit_random_between(seed, 0, 9));
	case 1:
		(void)random_text(seed, key, sizeof(key), true);
		for (char *p = key; *p; p++)
			*p = *p == '"' ? '\'' : *p;
		return (size_t)snprintf(out, most, "{\"%s\":{\"%s\":%lld,\"t\":%lld}}",
			key, key, (long long)unit_random_between(seed, 0, 80),
			(long long)NOON_MS / 1000);
	case 2:
		(void)random_text(seed, value, sizeof(value), true);
		for (char *p = value; *p; p++)
			*p = *p == '"' ? '\'' : *p;
		return (size_t)snprintf(out, most, "[{\"n\":\"%s\",\"v\":%lld}]", value,
			(long long)unit_random_between(seed, 0, 80));
	default:
		return random_text(seed, out, most, false);
	}
}

/* No byte of the proposal may act on a terminal, and it passes the check. */
TEST(any_messages_make_a_proposal_that_passes)
{
	uint64_t seed = unit_seed();
	const char *rounds = getenv("ROUNDS"); /* to widen */
	for (int round = 0; round < (rounds ? atoi(rounds) : 12); round++) {
		struct heard h = heard_new(bare_config);
		char topic[128], payload[256];
		for (int i = 0; i < 120; i++) {
			(void)random_text(&seed, topic, sizeof(topic), false);
			for (int again = 0; again < 3; again++) {
				size_t n =
					random_payload(&seed, payload, sizeof(payload));
				hear_bytes(&h, NOON_MS + i * 1000 + again * 7000,
					unit_random(&seed) % 5 == 0, topic, payload, n);
			}
		}
		config_free(heard_propose(&h, bare_config));
		struct buffer list = {0};
		guesses_list(h.guesses, h.survey, h.config, &list);
		guesses_json(h.guesses, h.survey, h.config, &list);
		buffer_add(&list, h.proposal.data, h.proposal.length);
		for (size_t i = 0; i < list.length; i++) {
			unsigned char c = (unsigned char)list.data[i];
			ck_assert_msg(
				c == '\n' || (c >= 0x20 && c != 0x7f), "byte %02x", c);
		}
		buffer_release(&list);
		heard_release(&h);
	}
}
END

TEST(nothing_heard_proposes_nothing)
{
	struct heard h = heard_new(bare_config);
	struct buffer list = {0};
	struct config *made = heard_propose(&h, bare_config);
	ck_assert_uint_eq(made->channel_count, 0);
	guesses_list(h.guesses, h.survey, h.config, &list);
	ck_assert_ptr_nonnull(strstr(buffer_text(&list), "0 messages"));
	buffer_release(&list);
	config_free(made);
	heard_release(&h);
}
END

TESTS(brine_has_roles_of_its_own, what_is_warmer_enters_from_the_source,
	without_a_difference_words_tell_what_enters, loads_of_the_size_of_a_voltage_are_loads, flat_topics_with_bare_numbers, one_big_object_with_units_in_its_keys_and_a_time,
	german_words, french_words, dutch_words,
	fahrenheit_gallons_and_psi_by_their_ranges, decimal_commas_and_units_in_values,
	senml_packs, nested_arrays_and_dated_elements, what_no_word_tells_is_told_by_company,
	a_flow_below_its_return_is_pointed_out, three_phases_make_a_sum_and_volts_do_not,
	a_minute_of_listening_maps_the_states_that_were_not_heard,
	a_slow_source_gets_a_longer_silence,
	numbers_of_a_mode_and_unknown_words_are_left_to_the_owner,
	a_grid_frequency_and_other_rooms_of_the_house_are_no_plant,
	what_is_mapped_is_marked_and_not_proposed_again,
	five_thousand_topics_make_a_proposal_that_passes,
	any_messages_make_a_proposal_that_passes, nothing_heard_proposes_nothing)
