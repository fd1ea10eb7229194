/*
 * The table of payloads, case by case, from the message to the reading: what a house's
 * gateways send, and what becomes of it. Details of each are in check_payload.c (words),
 * check_decoder.c (messages) and check_doubt.c (what needs the readings before).
 *
 * Reference: heatbook's own decisions; common practice of the trade.
 */
#include "decode.h"

#define GAUGE "unit = W\n"
#define WATER "unit = °C\n"

static const struct {
	const char *name;    /* of the case */
	const char *channel; /* lines of its section */
	const char *payload, *told;
} cases[] = {
	{"number in a JSON string", "pointer = /v\n" GAUGE, "{\"v\":\"21.5\"}", "x=21.5"},
	{"leading plus", GAUGE, "+21.5", "x=21.5"},
	{"leading zeros", GAUGE, "007", "x=7"},
	{"exponent", GAUGE, "2.15e1", "x=21.5"},
	{"hex", GAUGE, "0x1f", "x!hexadecimal number"},
	{"decimal comma", GAUGE, "21,5", "x=21.5"},
	{"comma with three digits", GAUGE, "1,234",
		"x!decimal comma or thousands mark that is not configured"},
	{"comma with three digits, configured", "decimal = comma\n" GAUGE, "1,234",
		"x=1.234"},
	{"thousands", GAUGE, "1.234,5",
		"x!decimal comma or thousands mark that is not configured"},
	{"thousands, configured", "thousands = yes\n" GAUGE, "1.234,5", "x=1234.5"},
	{"JSON null", "pointer = /v\n" GAUGE, "{\"v\":null}", "x=?"},
	{"empty", GAUGE, "", "x=?"},
	{"word for missing", GAUGE, "N/A", "x=?"},
	{"word for missing", GAUGE, "--", "x=?"},
	{"word for missing", GAUGE, "???", "x=?"},
	{"word for missing, of any case", GAUGE, "nOnE", "x=?"},
	{"a word that is none of them", GAUGE, "soon",
		"x!not a number and no known word"},
	{"nan", GAUGE, "NaN", "x=?"},
	{"inf", GAUGE, "inf", "x!infinite or too large a number"},
	{"1e999", GAUGE, "1e999", "x!infinite or too large a number"},
	{"state on a channel of states", "map = off:off, on:on\n", "ON", "x=1"},
	{"true on a channel of states", "map = false:off, true:on\n", "true", "x=1"},
	{"number on a channel of states", "map = 0:off, 1:on\n", "1", "x=1"},
	{"yes on a channel of states", "map = no:off, yes:on\n", "Yes", "x=1"},
	{"open on a channel of states", "map = closed:off, open:on\n", "OPEN", "x=1"},
	{"open on a channel of numbers", GAUGE, "open",
		"x!a state where a number belongs"},
	{"missing word on a channel of states", "map = off:off, on:on\n", "n/a", "x=?"},
	{"state on a channel of numbers", GAUGE, "ON",
		"x!a state where a number belongs"},
	{"true on a channel of numbers", "pointer = /v\n" GAUGE, "{\"v\":true}",
		"x!a state where a number belongs"},
	{"state text of any case and language", "map = öffnen:on, zu:off\n", "ÖFFNEN",
		"x=0"},
	{"unknown state text", "map = off:off, on:on\n", "Abtauen", "x=-1"},
	{"nested object", "pointer = /a/b/1\n" GAUGE, "{\"a\":{\"b\":[1,2]}}", "x=2"},
	{"an object where a value belongs", "pointer = /a\n" GAUGE, "{\"a\":{\"b\":1}}",
		"x!object or array where a value belongs"},
	{"absent key", "pointer = /a\n" GAUGE, "{\"b\":1}", ""},
	{"as deep as the limit", "pointer = /a\n" GAUGE,
		"{\"b\":[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]],\"a\":2}", "x=2"},
	{"deeper than the limit", "pointer = /a\n" GAUGE,
		"{\"a\":[[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]}", "x!nested deeper than 16"},
	{"many readings with times",
		"each = /s\npointer = /v\ntime = payload\ntime_pointer = /t\n" GAUGE,
		"{\"s\":[{\"t\":1769853590,\"v\":1},{\"t\":1769853595,\"v\":2}]}",
		"x=1@-10000 x=2@-5000"},
	{"many readings without times", "each = /s\npointer = /v\n" GAUGE,
		"{\"s\":[{\"v\":1},{\"v\":2}]}", "x=2"},
	{"SenML pack", "senml = u\nunit = V\n", "[{\"n\":\"u\",\"u\":\"V\",\"v\":230}]",
		"x=230"},
	{"same key twice, the first counts", "pointer = /v\n" GAUGE, "{\"v\":1,\"v\":2}",
		"x=1"},
	{"same key twice, the first counts", "pointer = /v\n" GAUGE, "{\"v\":2,\"v\":1}",
		"x=2"},
	{"same key twice, the first says null", "pointer = /v\n" GAUGE,
		"{\"v\":null,\"v\":1}", "x=?"},
	{"same key twice on the way", "pointer = /a/v\n" GAUGE,
		"{\"a\":{\"v\":1},\"a\":{\"v\":2}}", "x=1"},
	{"same key of a time twice",
		"pointer = /v\ntime = payload\ntime_pointer = /t\n" GAUGE,
		"{\"t\":1769853590,\"t\":1769853595,\"v\":1}", "x=1@-10000"},
	{"same label of a SenML record twice", "senml = u\nunit = V\n",
		"[{\"n\":\"u\",\"v\":230,\"v\":231}]", "x=230"},
	{"unit in the value", WATER, "45.2 °C", "x=45.2"},
	{"unit in the value, Latin-1", WATER,
		"45.2 \xb0"
		"C",
		"x=45.2"},
	{"unit in the value, kilo", GAUGE, "1.2 kW", "x=1200"},
	{"unknown unit in the value", GAUGE, "45.2 furlong",
		"x!unknown unit, or one of another quantity"},
	{"unit of another dimension", GAUGE, "45.2 °C",
		"x!unknown unit, or one of another quantity"},
	{"kW as configured", "unit = kW\n", "1.2", "x=1200"},
	{"Wh as configured", "unit = Wh\n", "1500", "x=1.5"},
	{"m³/h as configured", "unit = m³/h\n", "1.2", "x=20"},
	{"°F as configured", "unit = °F\n", "212", "x=100"},
	{"scaled integer", "scale = 0.1\n" WATER, "452", "x=45.2"},
	{"wrapped integer", "integer_bits = 16\nscale = 0.1\n" WATER, "65531", "x=-0.5"},
	{"epoch in ms", "pointer = /v\ntime = payload\ntime_pointer = /t\n" GAUGE,
		"{\"t\":1769853590000,\"v\":1}", "x=1@-10000"},
	{"ISO 8601 with a zone",
		"pointer = /v\ntime = payload\ntime_pointer = /t\n" GAUGE,
		"{\"t\":\"2026-01-31T10:59:50+01:00\",\"v\":1}", "x=1@-10000"},
	{"ISO 8601 without a zone",
		"pointer = /v\ntime = payload\ntime_pointer = /t\n" GAUGE,
		"{\"t\":\"2026-01-31T10:59:50\",\"v\":1}", "x=1@-10000"},
	{"time 0", "pointer = /v\ntime = payload\ntime_pointer = /t\n" GAUGE,
		"{\"t\":0,\"v\":1}", "x=1"},
	{"time of 2000", "pointer = /v\ntime = payload\ntime_pointer = /t\n" GAUGE,
		"{\"t\":\"2000-01-01T00:00:00Z\",\"v\":1}", "x=1"},
	{"time ahead", "pointer = /v\ntime = payload\ntime_pointer = /t\n" GAUGE,
		"{\"t\":1769853721,\"v\":1}", "x!time more than 120 s ahead"},
	{"BOM, blanks, CR LF", GAUGE, "\xef\xbb\xbf 21.5 \r\n", "x=21.5"},
	{"bad UTF-8", "pointer = /v\n" GAUGE, "{\"n\":\"\xff\xfe\",\"v\":1}", "x=1"},
	{"binary", GAUGE, "21\a", "x!binary content"},
	{"broken JSON", "pointer = /v\n" GAUGE, "{\"v\":1", "x!broken JSON"},
	{"thermometer that does not answer", WATER, "-127", "x=?"},
	{"16-bit limit times scale", "scale = 0.1\n" WATER, "32767", "x=?"},
	{"out of valid range", "valid_most = 80\n" WATER, "80.1",
		"x!outside the valid range"},
};

TEST(each_case_of_the_table_is_what_it_says)
{
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		_cleanup_(freep) char *text =
			xasprintf("[plant]\nzone = Europe/Berlin\n[channel x]\n"
				  "topic = t\n%s",
				cases[i].channel);
		setup(text);
		decode_text("t", cases[i].payload);
		/* Signs of life stand before or behind; they are not the matter here. */
		for (size_t n = readings.count; n-- > 0;)
			if (readings.items[n].kind == READING_ALIVE)
				memmove(&readings.items[n], &readings.items[n + 1],
					(--readings.count - n) * sizeof(*readings.items));
		ck_assert_msg(strcmp(told(), cases[i].told) == 0, "%s: '%s', wanted '%s'",
			cases[i].name, told(), cases[i].told);
		bool twice = strncmp(cases[i].name, "same ", 5) == 0;
		ck_assert_msg(decoder_repeated_keys(decoder) == twice,
			"%s: %llu times a key twice", cases[i].name,
			(unsigned long long)decoder_repeated_keys(decoder));
		teardown();
	}
}
END

/* One bad message never stops another, and one bad word none beside it. */
TEST(what_is_bad_stops_nothing_else)
{
	setup("[plant]\nzone = UTC\n[channel x]\ntopic = t\npointer = /x\nunit = W\n"
	      "[channel y]\ntopic = t\npointer = /y\nunit = W\n");
	decode_text("t", "{\"x\":\"soon\",\"y\":2}");
	ck_assert_msg(strstr(told(), "y=2") && strstr(told(), "x!"), "%s", told());
	decode_text("t", "{\"x\":");
	decode_text("t", "{\"x\":1,\"y\":2}");
	ck_assert_msg(strstr(told(), "x=1") && strstr(told(), "y=2"), "%s", told());
	teardown();
}
END

TESTS(each_case_of_the_table_is_what_it_says, what_is_bad_stops_nothing_else)
