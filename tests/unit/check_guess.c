/* Houses made by hand: what is guessed of them, and that every proposal passes the check.
 * The words are those of the trade in several languages (common practice of the trade);
 * relations are those of any heating circuit. */
#include "guess_house.h"

/* ---- flat topics, bare numbers ---- */

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

TESTS(flat_topics_with_bare_numbers, one_big_object_with_units_in_its_keys_and_a_time,
	german_words, french_words, dutch_words,
	fahrenheit_gallons_and_psi_by_their_ranges, decimal_commas_and_units_in_values,
	senml_packs, nested_arrays_and_dated_elements)
