/*
 * Houses made by hand, where no word tells: what is guessed by relations, states and
 * silence, what is left to the owner, and proposals out of any messages.
 */
#include "guess_house.h"

/* ---- relations ---- */

static void speak_mute(struct heard *h, const struct state *s, int i)
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
	for (uint64_t rounds = unit_rounds(12); rounds > 0; rounds--) {
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

TESTS(what_no_word_tells_is_told_by_company, a_flow_below_its_return_is_pointed_out,
	three_phases_make_a_sum_and_volts_do_not,
	loads_of_the_size_of_a_voltage_are_loads, brine_has_roles_of_its_own,
	what_is_warmer_enters_from_the_source,
	without_a_difference_words_tell_what_enters,
	a_minute_of_listening_maps_the_states_that_were_not_heard,
	a_slow_source_gets_a_longer_silence,
	numbers_of_a_mode_and_unknown_words_are_left_to_the_owner,
	a_grid_frequency_and_other_rooms_of_the_house_are_no_plant,
	what_is_mapped_is_marked_and_not_proposed_again,
	five_thousand_topics_make_a_proposal_that_passes,
	any_messages_make_a_proposal_that_passes, nothing_heard_proposes_nothing)
