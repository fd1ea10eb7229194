/* Places of payloads of every kind, their numbers, words and times; bounds; escaping.
 * Sources: RFC 6901 (pointers) and RFC 8428 (SenML), from memory. */
#include "heard.h"

#include <heatbook/printable.h>
#include <heatbook/reading.h>

static struct heard house(void)
{
	return heard_new(bare_config);
}

TEST(a_bare_number_is_a_place_with_range_and_interval)
{
	struct heard h = house();
	static const char *const payloads[] = {"21.5", " 19.0\r\n", "22", "20.5"};
	for (int i = 0; i < 4; i++)
		hear(&h, NOON_MS + (i == 3 ? 130 : i * 20) * 1000, "a/b", "%s",
			payloads[i]);
	const struct place *p = heard_place(&h, "a/b", PLACE_BARE, "");
	ck_assert_uint_eq(p->count, 4);
	ck_assert_uint_eq(p->kinds[PLACE_NUMBER], 4);
	ck_assert_double_eq(p->least, 19.0);
	ck_assert_double_eq(p->most, 22.0);
	ck_assert_double_eq(p->step, 1.5);
	ck_assert_int_eq(spacing_median(&p->spacing), 20000);
	ck_assert_int_eq(p->spacing.longest_ms, 90000);
	ck_assert_int_eq((int)p->example_length, 4);
	ck_assert_int_eq(memcmp(p->example, "20.5", 4), 0);
	heard_release(&h);
}
END

TEST(an_object_is_walked_to_its_leaves_and_keys_are_escaped)
{
	struct heard h = house();
	hear(&h, NOON_MS, "a",
		"{\"x\":{\"y/z\":1,\"m~n\":\"on\"},\"l\":[3,{\"k\":true}],"
		"\"n\":null}");
	ck_assert_uint_eq(
		heard_place(&h, "a", PLACE_JSON, "/x/y~1z")->kinds[PLACE_NUMBER], 1);
	ck_assert_uint_eq(
		heard_place(&h, "a", PLACE_JSON, "/x/m~0n")->kinds[PLACE_WORD], 1);
	ck_assert_uint_eq(
		heard_place(&h, "a", PLACE_JSON, "/l/0")->kinds[PLACE_NUMBER], 1);
	ck_assert_uint_eq(
		heard_place(&h, "a", PLACE_JSON, "/l/1/k")->kinds[PLACE_TRUTH], 1);
	ck_assert_uint_eq(
		heard_place(&h, "a", PLACE_JSON, "/n")->kinds[PLACE_MISSING], 1);
	heard_release(&h);
}
END

TEST(numbers_are_read_as_the_decoder_reads_them)
{
	static const struct {
		const char *payload, *unit;
		double value;
		bool comma, thousands;
	} cases[] = {
		{"45.2 °C", "°C", 45.2, false, false},
		{"113 °F", "°F", 45.0, false, false},
		{"1.2 kW", "kW", 1200.0, false, false},
		{"21,5", NULL, 21.5, true, false},
		{"1.234,5 W", "W", 1234.5, true, true},
		{"\"33.1\"", NULL, 33.1, false, false},
		{"5.4 gpm", "gpm (US)", 5.4 * 3.785411784, false, false},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct heard h = house();
		hear(&h, NOON_MS, "a", "%s", cases[i].payload);
		const struct place *p = heard_place(&h, "a", PLACE_BARE, "");
		ck_assert_msg(p->kinds[PLACE_NUMBER] == 1, "%s", cases[i].payload);
		ck_assert_double_eq_tol(p->last, cases[i].value, 1e-6);
		ck_assert_msg((p->unit == NULL) == (cases[i].unit == NULL), "%s",
			cases[i].payload);
		if (p->unit)
			ck_assert_str_eq(p->unit->symbol, cases[i].unit);
		ck_assert_int_eq(p->comma, cases[i].comma);
		ck_assert_int_eq(p->thousands, cases[i].thousands);
		heard_release(&h);
	}
}
END

TEST(a_unit_beside_a_value_is_its_unit)
{
	struct heard h = house();
	hear(&h, NOON_MS, "a", "{\"value\":104,\"unit\":\"°F\"}");
	const struct place *p = heard_place(&h, "a", PLACE_JSON, "/value");
	ck_assert_str_eq(p->unit->symbol, "°F");
	ck_assert(p->unit_beside);
	ck_assert_double_eq_tol(p->last, 40.0, 1e-9);
	heard_release(&h);
}
END

TEST(what_is_not_understood_is_counted_with_its_reason)
{
	struct heard h = house();
	hear(&h, NOON_MS, "broken", "{\"a\":1");
	hear(&h, NOON_MS, "deep", "[[[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]]");
	hear_bytes(&h, NOON_MS, false, "binary", "\x01\x02\x03", 3);
	hear_bytes(&h, NOON_MS, false, "empty", "", 0);
	ck_assert_uint_eq(heard_place(&h, "broken", PLACE_BARE, "")->reason, BAD_JSON);
	ck_assert_uint_eq(heard_place(&h, "deep", PLACE_BARE, "")->reason, BAD_TOO_DEEP);
	ck_assert_uint_eq(heard_place(&h, "binary", PLACE_BARE, "")->reason, BAD_BINARY);
	ck_assert_uint_eq(
		heard_place(&h, "empty", PLACE_BARE, "")->kinds[PLACE_MISSING], 1);
	heard_release(&h);
}
END

TEST(an_array_of_dated_objects_is_one_place_a_member)
{
	struct heard h = house();
	hear(&h, NOON_MS, "log",
		"{\"s\":[{\"t\":%lld,\"v\":1.5},{\"t\":%lld,\"v\":2.5}]}",
		(long long)NOON_MS / 1000 - 60, (long long)NOON_MS / 1000 - 30);
	const struct place *v = heard_place(&h, "log", PLACE_EACH, "/v");
	ck_assert_str_eq(v->each, "/s");
	ck_assert_uint_eq(v->count, 2);
	ck_assert_int_eq(spacing_median(&v->spacing), 30000);
	ck_assert_uint_eq(
		heard_place(&h, "log", PLACE_EACH, "/t")->kinds[PLACE_INSTANT], 2);
	heard_release(&h);
}
END

TEST(a_senml_pack_is_places_by_name)
{
	struct heard h = house();
	hear(&h, NOON_MS, "pack",
		"[{\"bn\":\"cellar/"
		"\",\"bt\":%lld,\"n\":\"flow\",\"u\":\"Cel\",\"v\":35.5},"
		"{\"n\":\"valve\",\"vs\":\"rooms\"}]",
		(long long)NOON_MS / 1000);
	const struct place *flow = heard_place(&h, "pack", PLACE_SENML, "cellar/flow");
	ck_assert_str_eq(flow->unit->symbol, "°C");
	ck_assert(flow->own_time);
	ck_assert_uint_eq(
		heard_place(&h, "pack", PLACE_SENML, "cellar/valve")->word_count, 1);
	heard_release(&h);
}
END

TEST(times_are_told_from_numbers)
{
	struct heard h = house();
	for (int i = 0; i < 3; i++)
		hear(&h, NOON_MS + i * 1000, "a",
			"{\"at\":%lld,\"iso\":\"2026-01-17T12:00:0%dZ\","
			"\"big\":1800000000,\"n\":5}",
			(long long)NOON_MS / 1000 + i - 2, i);
	ck_assert_uint_eq(
		heard_place(&h, "a", PLACE_JSON, "/at")->kinds[PLACE_INSTANT], 3);
	ck_assert_int_eq(heard_place(&h, "a", PLACE_JSON, "/at")->lag_most_ms, 2000);
	ck_assert_uint_eq(heard_place(&h, "a", PLACE_JSON, "/iso")->instant_changes, 2);
	ck_assert_uint_eq(
		heard_place(&h, "a", PLACE_JSON, "/big")->kinds[PLACE_NUMBER], 3);
	ck_assert_uint_eq(heard_place(&h, "a", PLACE_JSON, "/n")->kinds[PLACE_NUMBER], 3);
	heard_release(&h);
}
END

TEST(words_are_kept_until_they_are_prose)
{
	struct heard h = house();
	for (int i = 0; i < 40; i++) {
		hear(&h, NOON_MS + i, "state", "%s", i % 3 ? "rooms" : "Tap");
		hear(&h, NOON_MS + i, "prose", "line number %d", i);
	}
	const struct place *state = heard_place(&h, "state", PLACE_BARE, "");
	ck_assert_uint_eq(state->word_count, 2);
	ck_assert(!state->more_words);
	ck_assert(heard_place(&h, "prose", PLACE_BARE, "")->more_words);
	heard_release(&h);
}
END

TEST(five_thousand_topics_stay_within_bounds)
{
	struct heard h = house();
	struct survey_counts counts;
	size_t places;
	char topic[64];
	for (int round = 0; round < 2; round++)
		for (int i = 0; i < 5000; i++) {
			(void)snprintf(topic, sizeof(topic), "many/%d", i);
			hear(&h, NOON_MS + i, topic, "%d", i);
		}
	(void)survey_places(h.survey, &places);
	survey_counts(h.survey, &counts);
	ck_assert_uint_eq(places, SURVEY_PLACES_MOST);
	ck_assert_uint_eq(counts.further, 5000 - SURVEY_PLACES_MOST);
	ck_assert_uint_eq(counts.messages, 10000);
	heard_release(&h);
}
END

TEST(one_topic_of_ever_new_keys_does_not_take_all_the_room)
{
	struct heard h = house();
	struct survey_counts counts;
	size_t places;
	for (int i = 0; i < 2000; i++)
		hear(&h, NOON_MS + i, "mad", "{\"k%d\":1}", i);
	hear(&h, NOON_MS, "sane", "1");
	(void)survey_places(h.survey, &places);
	survey_counts(h.survey, &counts);
	ck_assert_uint_eq(places, SURVEY_TOPIC_MOST + 1);
	ck_assert_uint_eq(counts.further, 2000 - SURVEY_TOPIC_MOST);
	heard_release(&h);
}
END

TEST(samples_span_the_whole_time)
{
	struct heard h = house();
	for (int i = 0; i < 1000; i++)
		hear(&h, NOON_MS + i * 1000, "a", "%d", i);
	const struct place *p = heard_place(&h, "a", PLACE_BARE, "");
	ck_assert_uint_le(p->sample_count, SURVEY_SAMPLES_MOST);
	ck_assert_uint_ge(p->sample_count, SURVEY_SAMPLES_MOST / 2);
	ck_assert_double_eq(p->samples[0].value, 0);
	ck_assert_double_ge(p->samples[p->sample_count - 1].value, 900);
	for (size_t i = 1; i < p->sample_count; i++)
		ck_assert_int_gt(p->samples[i].t_ms, p->samples[i - 1].t_ms);
	heard_release(&h);
}
END

TEST(retained_messages_tell_no_interval)
{
	struct heard h = house();
	hear_bytes(&h, NOON_MS, true, "a", "on", 2);
	hear_bytes(&h, NOON_MS + 50, true, "a", "on", 2);
	const struct place *p = heard_place(&h, "a", PLACE_BARE, "");
	ck_assert_uint_eq(p->retained, 2);
	ck_assert_int_eq(spacing_median(&p->spacing), -1);
	heard_release(&h);
}
END

TEST(topics_that_no_channel_can_name_are_counted)
{
	struct heard h = house();
	struct survey_counts counts;
	char topic[SURVEY_PATH_MOST + 2];
	memset(topic, 'x', sizeof(topic) - 1);
	topic[sizeof(topic) - 1] = '\0';
	hear(&h, NOON_MS, topic, "1");
	hear(&h, NOON_MS, "", "1");
	survey_counts(h.survey, &counts);
	ck_assert_uint_eq(counts.nameless, 2);
	heard_release(&h);
}
END

TEST(what_would_act_on_a_terminal_is_shown_as_bytes)
{
	static const struct {
		const char *text, *shown;
	} cases[] = {
		{"21.5 °C", "21.5 °C"},
		{"\x1b[2J", "\\x1b[2J"},
		{"a\nb", "a\\x0a"
			 "b"},
		{"\xc2\x9b"
		 "31m",
			"\\xc2\\x9b31m"}, /* C1: CSI as one code */
		{"\xe2\x80\xae"
		 "evil",
			"\\xe2\\x80\\xae"
			"evil"}, /* right-to-left override */
		{"\xff\xfe", "\\xff\\xfe"},
		{"a\\x", "a\\\\x"},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct buffer b = {0};
		text_printable(&b, cases[i].text, strlen(cases[i].text), 100);
		ck_assert_str_eq(buffer_text(&b), cases[i].shown);
		ck_assert_int_eq(text_is_printable(cases[i].text, strlen(cases[i].text)),
			i == 0 || i == 6);
		buffer_release(&b);
	}
}
END

TEST(what_does_not_fit_is_cut_between_characters)
{
	for (size_t most = 4; most < 24; most++) {
		struct buffer b = {0};
		text_printable(&b, "°°°°°°°°°°°°", 24, most);
		ck_assert_uint_le(b.length, most);
		ck_assert(text_is_printable(b.data, b.length));
		buffer_release(&b);
	}
}
END

TESTS(a_bare_number_is_a_place_with_range_and_interval,
	an_object_is_walked_to_its_leaves_and_keys_are_escaped,
	numbers_are_read_as_the_decoder_reads_them, a_unit_beside_a_value_is_its_unit,
	what_is_not_understood_is_counted_with_its_reason,
	an_array_of_dated_objects_is_one_place_a_member, a_senml_pack_is_places_by_name,
	times_are_told_from_numbers, words_are_kept_until_they_are_prose,
	five_thousand_topics_stay_within_bounds,
	one_topic_of_ever_new_keys_does_not_take_all_the_room,
	samples_span_the_whole_time, retained_messages_tell_no_interval,
	topics_that_no_channel_can_name_are_counted,
	what_would_act_on_a_terminal_is_shown_as_bytes,
	what_does_not_fit_is_cut_between_characters)
