/*
 * Records into readings. Filters: the examples of MQTT 3.1.1, sections 4.7.1 to 4.7.2
 * (from memory). Pointers: the examples of RFC 6901, section 5 (from memory). Packs:
 * after the examples of RFC 8428, section 5.1 (from memory), with invented names.
 */
#include "decode.h"

static const char plant[] =
	"[plant]\nname = Demo house\nzone = Europe/Berlin\n"
	"[channel flow_temperature]\ntopic = plant/unit\npointer = /water/leaving\nunit "
	"= °C\n"
	"valid_least = -30\nvalid_most = 95\n"
	"[channel return_temperature]\ntopic = plant/unit\npointer = "
	"/water/entering\nunit = °C\n"
	"[channel valve]\ntopic = plant/valve\nmap = 0:heating, 1:hot_water, "
	"true:hot_water\n"
	"[channel unit_power]\ntopic = house/meter/1/power\nunit = W\n"
	"[channel room]\ntopic = rooms/+/temperature\nunit = °C\n"
	"[channel list]\ntopic = list\neach = /samples\npointer = /v\nunit = W\n"
	"[channel log]\ntopic = log\neach = /samples\npointer = /v\nunit = W\ntime = "
	"payload\n"
	"time_pointer = /t\n"
	"[channel timed]\ntopic = timed\npointer = /v\nunit = W\ntime = payload\n"
	"time_pointer = /t\n"
	"[channel half]\ntopic = timed\npointer = /w\nunit = W\n"
	"[channel voltage]\ntopic = pack\nsenml = dev:10e2:voltage\nunit = V\n"
	"[channel current]\ntopic = pack\nsenml = dev:10e2:current\nunit = A\ntime = "
	"payload\n"
	"[channel door]\ntopic = pack\nsenml = dev:10e2:door\nmap = true:open, "
	"false:shut\n"
	"[channel label]\ntopic = pack\nsenml = dev:10e2:label\nmap = auto:auto, "
	"hand:hand\n"
	"[channel energy]\ntopic = pack\nsenml = dev:10e2:energy\nunit = J\n"
	"[source plant]\ntopics = plant/#\nwill_topic = plant/state\n"
	"will_present = online\nwill_gone = offline\n";

struct row {
	const char *topic, *payload, *told;
};

static void check_rows(const struct row *rows, size_t count)
{
	setup(plant);
	for (size_t i = 0; i < count; i++) {
		decode_text(rows[i].topic, rows[i].payload);
		const char *got = told();
		ck_assert_msg(strcmp(got, rows[i].told) == 0, "%s %s: '%s', wanted '%s'",
			rows[i].topic, rows[i].payload, got, rows[i].told);
	}
	teardown();
}

TEST(json_places_feed_their_channels)
{
	static const struct row rows[] = {
		{"plant/unit", "{\"water\":{\"leaving\":35.25,\"entering\":\" 30,5 \"}}",
			"+plant flow_temperature=35.25 return_temperature=30.5"},
		{"plant/unit", "\xef\xbb\xbf {\"water\":{\"leaving\":\"95 °F\"}}\r\n",
			"+plant flow_temperature=35"},
		{"plant/unit", "{\"water\":{}}", "+plant"},
		{"plant/unit", "{\"water\":5}", "+plant"},
		{"plant/unit", "null", "+plant"},
		{"plant/unit", "{\"water\":{\"leaving\":null,\"entering\":\"n/a\"}}",
			"+plant flow_temperature=? return_temperature=?"},
		{"plant/unit", "{\"water\":{\"leaving\":[1],\"entering\":30}}",
			"+plant flow_temperature!object or array where a value belongs "
			"return_temperature=30"},
		{"plant/unit", "{\"water\":{\"leaving\":true,\"entering\":30}}",
			"+plant flow_temperature!a state where a number belongs "
			"return_temperature=30"},
		{"plant/unit", "{\"water\":{\"leaving\":1e999,\"entering\":30}}",
			"+plant flow_temperature!infinite or too large a number "
			"return_temperature=30"},
		{"plant/unit", "{\"water\":{\"leaving\":96,\"entering\":\"0x1f\"}}",
			"+plant flow_temperature!outside the valid range "
			"return_temperature!hexadecimal number"},
		{"plant/unit", "", "+plant flow_temperature=? return_temperature=?"},
		{"plant/unit", "{\"water\":{\"leaving\":35,\"leaving\":36}}",
			"+plant flow_temperature=35"},
	};
	check_rows(rows, ARRAY_LEN(rows));
}
END

TEST(broken_messages_are_bad_as_a_whole)
{
	static const char both_json[] = "+plant flow_temperature!broken JSON "
					"return_temperature!broken JSON";
	static const char both_deep[] = "+plant flow_temperature!nested deeper than 16 "
					"return_temperature!nested deeper than 16";
	static const struct row rows[] = {
		{"plant/unit", "{\"water\":{\"leaving\":35", both_json},
		{"plant/unit", "{\"water\":{\"leaving\":35}} x", both_json},
		{"plant/unit", "{\"water\":{\"leaving\":NaN}}", both_json},
		{"plant/unit", "n/a", both_json},
		{"plant/unit", "[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]", "+plant"},
		{"plant/unit", "[[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]", both_deep},
		{"plant/unit",
			"{\"a\":\"[[[[[[[[[[[[[[[[[[\\\"[[\",\"water\":{\"leaving\":1}}",
			"+plant flow_temperature=1"},
		{"plant/unit", "{\"a\":\"\xff\",\"water\":{\"leaving\":1}}",
			"+plant flow_temperature=1"},
		{"plant/unit", "{\"a\":\"\x01\",\"water\":{\"leaving\":1}}",
			"+plant flow_temperature!binary content "
			"return_temperature!binary content"},
	};
	check_rows(rows, ARRAY_LEN(rows));
}
END

TEST(bare_payloads_feed_their_channels)
{
	static const struct row rows[] = {
		{"house/meter/1/power", "1234.5", "+house unit_power=1234.5"},
		{"house/meter/1/power", "1.2 kW\n", "+house unit_power=1200"},
		{"house/meter/1/power", "\"1200\"", "+house unit_power=1200"},
		{"house/meter/1/power", "", "+house unit_power=?"},
		{"house/meter/1/power", "{\"a\":1}",
			"+house unit_power!object or array where a value belongs"},
		{"house/meter/1/power", "\"a\"b\"",
			"+house unit_power!not a number and no known word"},
		{"rooms/east/temperature", "21.5", "+rooms room=21.5"},
		{"plant/valve", "1", "+plant valve=1"},
		{"plant/valve", "true", "+plant valve=1"},
		{"plant/valve", "stuck", "+plant valve=-1"},
		{"plant/other", "x", "+plant"},
		{"nobody/asked", "1", ""},
		{"rooms/east/humidity", "50", ""},
	};
	check_rows(rows, ARRAY_LEN(rows));
}
END

TEST(long_payloads_are_not_parsed)
{
	setup(plant);
	char *payload = xmalloc(PAYLOAD_MOST + 1);
	memset(payload, ' ', PAYLOAD_MOST + 1);
	payload[0] = '7';
	decode("house/meter/1/power", payload, PAYLOAD_MOST, false);
	ck_assert_str_eq(told(), "+house unit_power=7");
	decode("house/meter/1/power", payload, PAYLOAD_MOST + 1, false);
	ck_assert_str_eq(told(), "+house unit_power!longer than 64 KiB");
	free(payload);
	teardown();
}
END

TEST(of_elements_without_own_times_the_last_counts)
{
	static const struct row rows[] = {
		{"list", "{\"samples\":[{\"v\":1},{\"v\":2},{\"w\":3}]}", "+list list=2"},
		{"list", "{\"samples\":[{\"v\":1},{\"v\":null}]}", "+list list=?"},
		{"list", "{\"samples\":[]}", "+list"},
		{"list", "{\"samples\":null}", "+list list=?"},
		{"list", "{\"samples\":{\"v\":1}}",
			"+list list!object or array where a value belongs"},
		{"list", "{}", "+list"},
	};
	check_rows(rows, ARRAY_LEN(rows));
}
END

TEST(elements_with_own_times_each_count)
{
	static const struct row rows[] = {
		{"log",
			"{\"samples\":[{\"t\":1769853540,\"v\":1},"
			"{\"t\":\"2026-01-31T09:59:30Z\",\"v\":2},{\"t\":1769853590000,"
			"\"v\":3}]}",
			"log=1@-60000 log=2@-30000 log=3@-10000"},
		{"log", "{\"samples\":[{\"t\":1769853540,\"v\":1},{\"v\":2}]}",
			"log=1@-60000 +log log!time missing or not understood"},
		{"log",
			"{\"samples\":[{\"t\":1769853540,\"v\":1},{\"t\":1769853540,"
			"\"v\":9}]}",
			"log=1@-60000 log=9@-60000"},
		{"log",
			"{\"samples\":[{\"t\":1769853540,\"v\":\"x\"},{\"t\":1769853545}]"
			"}",
			"log!not a number and no known word@-60000"},
	};
	check_rows(rows, ARRAY_LEN(rows));
}
END

TEST(own_times_hold_unless_too_far_ahead)
{
	static const struct row rows[] = {
		{"timed", "{\"t\":1769853500,\"v\":5}", "timed=5@-100000"},
		{"timed", "{\"t\":1769853720,\"v\":5}", "timed=5@+120000"},
		{"timed", "{\"t\":1769853720.001,\"v\":5}",
			"+timed timed!time more than 120 s ahead"},
		{"timed", "{\"t\":0,\"v\":5}", "timed=5"},
		{"timed", "{\"t\":\"soon\",\"v\":5}",
			"+timed timed!time missing or not understood"},
		{"timed", "{\"v\":5}", "+timed timed!time missing or not understood"},
		{"timed", "{\"t\":null,\"v\":5}",
			"+timed timed!time missing or not understood"},
		{"timed", "{\"t\":1769853500,\"v\":null}", "timed=?@-100000"},
		{"timed", "{\"t\":1769853500}", "+timed"},
		{"timed", "{\"t\":1769853500,\"v\":5,\"w\":6}",
			"timed=5@-100000 +timed half=6"},
		{"timed", "", "+timed timed!time missing or not understood half=?"},
	};
	check_rows(rows, ARRAY_LEN(rows));
}
END

TEST(senml_packs_are_understood)
{
	static const struct row rows[] = {
		{"pack",
			"[{\"bn\":\"dev:10e2:\",\"n\":\"voltage\",\"u\":\"V\",\"v\":120."
			"1},"
			"{\"n\":\"door\",\"vb\":true},{\"n\":\"label\",\"vs\":\"HAND\"}]",
			"+pack voltage=120.1 door=0 label=1"},
		/* relative times: section 4.5.3 */
		{"pack",
			"[{\"bn\":\"dev:10e2:\",\"bt\":-5,\"n\":\"current\",\"v\":1.2,"
			"\"bu\":\"A\"},"
			"{\"n\":\"current\",\"t\":2,\"v\":1.3},{\"n\":\"current\",\"t\":"
			"5,\"v\":1.4}]",
			"current=1.2@-5000 current=1.3@-3000 current=1.4"},
		{"pack",
			"[{\"bn\":\"dev:10e2:\",\"bt\":1769853500,\"n\":\"current\","
			"\"t\":-10,"
			"\"v\":1.2}]",
			"current=1.2@-110000"},
		{"pack", "[{\"n\":\"dev:10e2:current\",\"t\":200,\"v\":1}]",
			"+pack current!time more than 120 s ahead"},
		/* base value and base sum: sections 4.2 and 4.5 */
		{"pack",
			"[{\"bn\":\"dev:10e2:\",\"bv\":100,\"n\":\"voltage\",\"v\":20},"
			"{\"n\":\"voltage\",\"v\":30}]",
			"+pack voltage=130"},
		{"pack", "[{\"bn\":\"dev:10e2:\",\"bv\":100,\"n\":\"voltage\"}]",
			"+pack voltage=100"},
		{"pack",
			"[{\"n\":\"dev:10e2:energy\",\"bs\":3600000,\"s\":1800000,"
			"\"u\":\"J\"}]",
			"+pack energy=1.5"},
		{"pack", "[{\"n\":\"dev:10e2:voltage\"}]", "+pack"},
		{"pack", "[{\"n\":\"dev:10e2:voltage\",\"v\":1,\"u\":\"W\"}]",
			"+pack voltage!unknown unit, or one of another quantity"},
		{"pack", "[{\"n\":\"dev:10e2:voltage\",\"v\":1500,\"u\":\"mV\"}]",
			"+pack voltage=1.5"},
		{"pack", "[{\"n\":\"else\",\"v\":1}]", "+pack"},
		{"pack", "[]", "+pack"},
	};
	check_rows(rows, ARRAY_LEN(rows));
}
END

TEST(packs_against_the_standard_are_refused)
{
	static const char *const packs[] = {"{}", "5", "[5]", "[{\"n\":5}]",
		"[{\"n\":\"dev:10e2:voltage\",\"v\":\"1\"}]",
		"[{\"n\":\"dev:10e2:voltage\",\"v\":1,\"must_\":1}]",
		"[{\"bver\":11,\"n\":\"dev:10e2:voltage\",\"v\":1}]",
		"[{\"n\":\"dev:10e2:voltage\",\"v\":1},{\"t\":\"now\"}]"};
	setup(plant);
	for (size_t i = 0; i < ARRAY_LEN(packs); i++) {
		decode_text("pack", packs[i]);
		ck_assert_msg(
			strcmp(told(),
				"+pack voltage!not a SenML pack "
				"current!not a SenML pack door!not a SenML pack "
				"label!not a SenML pack energy!not a SenML pack") == 0,
			"%s: %s", packs[i], told());
	}
	teardown();
}
END

TEST(will_words_tell_of_life_and_death)
{
	static const struct row rows[] = {
		{"plant/state", "online", "+plant"},
		{"plant/state", " Online\n", "+plant"},
		{"plant/state", "OFFLINE", "-plant"},
		{"plant/state", "rebooting", ""},
		{"plant/state", "", ""},
	};
	check_rows(rows, ARRAY_LEN(rows));
	setup(plant);
	decode("plant/state", "online", 6, true);
	ck_assert_str_eq(told(), "+plant~");
	decode("plant/state", "offline", 7, true);
	ck_assert_str_eq(told(), "-plant~");
	decode_text("plant/state", "what");
	size_t count;
	const struct bad_count *bad = decoder_bad(decoder, &count);
	ck_assert_uint_eq(count, 1);
	ck_assert_str_eq(bad[0].topic, "plant/state");
	teardown();
}
END

TEST(retained_messages_are_no_sign_of_life)
{
	setup(plant);
	decode("plant/valve", "1", 1, true);
	ck_assert_str_eq(told(), "valve=1~");
	decode("plant/unit", "{\"water\":{}}", 12, true);
	ck_assert_str_eq(told(), "");
	decode("plant/unit", "{", 1, true);
	ck_assert_str_eq(told(), "flow_temperature!broken JSON~ "
				 "return_temperature!broken JSON~");
	teardown();
}
END

TEST(the_place_is_element_then_channel)
{
	static const char payload[] = "{\"samples\":[{\"t\":1769853540,\"v\":1},"
				      "{\"t\":1769853540,\"v\":9}]}";
	setup(plant);
	unsigned log = (unsigned)config_channel(config, "log");
	decode_text("log", payload);
	ck_assert_uint_eq(readings.count, 2);
	ck_assert_uint_eq(readings.items[0].place, log);
	ck_assert_uint_eq(readings.items[1].place, 65536 + log);
	ck_assert(readings.items[1].value == 9);
	teardown();
}
END

/* Of messages with a time of their own, also where it is refused; not of retained ones. */
TEST(how_far_behind_its_stamp_a_time_lies_is_kept)
{
	static const struct {
		const char *payload;
		bool own_time;
		int32_t behind_s;
	} rows[] = {
		{"{\"samples\":[{\"t\":1769853540,\"v\":1}]}", true, 60},
		{"{\"samples\":[{\"t\":1769853540.5,\"v\":1}]}", true, 59},
		{"{\"samples\":[{\"t\":1769853690,\"v\":1}]}", true, -90},
		{"{\"samples\":[{\"t\":1769857200,\"v\":1}]}", true, -3600},
		{"{\"samples\":[{\"t\":1769853540,\"v\":\"warm\"}]}", true, 60},
		{"{\"samples\":[{\"t\":1600000000,\"v\":1}]}", true, 169853600},
		{"{\"samples\":[{\"t\":\"soon\",\"v\":1}]}", false, 0},
		{"{\"samples\":[{\"v\":1}]}", false, 0},
	};
	setup(plant);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		for (int retained = 0; retained < 2; retained++) {
			decode("log", rows[i].payload, strlen(rows[i].payload), retained);
			const struct reading *r = NULL;
			for (size_t k = 0; k < readings.count; k++)
				if (readings.items[k].kind != READING_ALIVE)
					r = &readings.items[k];
			ck_assert_ptr_nonnull(r);
			bool own = rows[i].own_time && !retained;
			ck_assert_msg(r->own_time == own &&
					      r->behind_s == (own ? rows[i].behind_s : 0),
				"%s: %d s", rows[i].payload, r->behind_s);
		}
	decode_text("house/meter/1/power", "5");
	for (size_t k = 0; k < readings.count; k++)
		ck_assert(!readings.items[k].own_time);
	teardown();
}
END

TEST(link_facts_become_facts_and_rows_nothing)
{
	setup(plant);
	for (int kind = 0; kind < RECORD_KIND_COUNT; kind++) {
		struct record record = {
			.kind = (enum record_kind)kind, .t_ms = STAMP, .number = {42, 0}};
		if (kind == RECORD_MESSAGE)
			continue;
		buffer_reset(&frames);
		readings.count = 0;
		record_write(&record, &frames);
		decoder_decode(decoder, (const unsigned char *)frames.data, &readings);
		ck_assert_uint_eq(readings.count, kind < RECORD_MESSAGE);
		if (readings.count == 0)
			continue;
		ck_assert_int_eq(readings.items[0].kind, READING_FACT);
		ck_assert_int_eq(readings.items[0].channel, kind);
		ck_assert_int_eq(readings.items[0].t_ms, STAMP);
	}
	teardown();
}
END

TEST(what_is_bad_is_counted_with_one_sample)
{
	size_t count;
	setup(plant);
	for (int i = 0; i < 3; i++)
		decode_text("house/meter/1/power", "k\xc3\xa4lt\\\t!");
	decode_text("house/meter/1/power", "inf");
	decode_text("plant/unit", "{\"water\":{\"leaving\":\"warm\",\"entering\":1}}");
	decode_text("plant/unit", "{\"water\":{\"leaving\":1,\"leaving\":2}}");
	decode_text("a/b", "1");
	const struct bad_count *bad = decoder_bad(decoder, &count);
	ck_assert_uint_eq(count, 3);
	ck_assert_str_eq(bad[0].topic, "house/meter/1/power");
	ck_assert_uint_eq(bad[0].count, 3);
	ck_assert_int_eq(bad[0].reason, BAD_NOT_A_NUMBER);
	ck_assert_str_eq(bad[0].sample, "k\\xc3\\xa4lt\\x5c\\x09!");
	ck_assert_int_eq(bad[1].reason, BAD_INFINITE);
	ck_assert_str_eq(bad[2].sample, "warm");
	ck_assert_uint_eq(decoder_repeated_keys(decoder), 1);
	ck_assert_uint_eq(decoder_unmatched(decoder), 1);
	teardown();
}
END

TEST(counts_of_many_topics_stay_bounded)
{
	size_t count;
	uint64_t sum = 0;
	setup(plant);
	for (int i = 0; i < 5000; i++) {
		char topic[64];
		snprintf(topic, sizeof(topic), "rooms/%d/temperature", i);
		decode_text(topic, i % 2 ? "warm" : "20");
	}
	const struct bad_count *bad = decoder_bad(decoder, &count);
	ck_assert_uint_eq(count, 200);
	for (size_t i = 0; i < count; i++)
		sum += bad[i].count;
	ck_assert_uint_eq(sum, 2500);
	ck_assert_str_eq(bad[199].topic, "(others)");
	teardown();
}
END

TEST(remembered_topics_give_what_unremembered_ones_gave)
{
	setup(plant);
	for (int round = 0; round < 3; round++)
		for (int i = 0; i < 3000; i++) {
			char topic[400];
			snprintf(topic, sizeof(topic), "rooms/%0*d/temperature",
				i % 7 ? 1 : 300, i);
			decode_text(topic, "20");
			ck_assert_str_eq(told(), "+rooms room=20");
			snprintf(topic, sizeof(topic), "rooms/%d", i);
			decode_text(topic, "20");
			ck_assert_str_eq(told(), "");
		}
	teardown();
}
END

TEST(every_filter_is_told_once)
{
	size_t count;
	setup(plant);
	const char *const *filters = decoder_filters(decoder, &count);
	for (size_t i = 0; i < count; i++)
		for (size_t k = 0; k < i; k++)
			ck_assert_str_ne(filters[i], filters[k]);
	ck_assert_uint_eq(count, 10);
	teardown();
}
END

TEST(filters_match_as_the_standard_says)
{
	static const struct {
		const char *filter, *topic;
		bool matches;
	} cases[] = {
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/final", true},
		{"sport/tennis/player1/#", "sport/tennis/player10", false},
		{"sport/#", "sport", true},
		{"#", "sport/tennis", true},
		{"#", "/", true},
		{"sport/tennis/+", "sport/tennis/player1", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false},
		{"sport/+", "sport", false},
		{"sport/+", "sport/", true},
		{"+/+", "/finance", true},
		{"/+", "/finance", true},
		{"+", "/finance", false},
		{"+/tennis/#", "sport/tennis", true},
		{"#", "$SYS/monitor", false},
		{"+/monitor", "$SYS/monitor", false},
		{"$SYS/#", "$SYS/monitor", true},
		{"$SYS/monitor/+", "$SYS/monitor/clients", true},
		{"a/b", "a/b", true},
		{"a/b", "a/b/", false},
		{"a/b/", "a/b", false},
		{"A/b", "a/b", false},
		{"a/+/c", "a//c", true},
		{"a/+", "a/b/c", false},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++)
		ck_assert_msg(topic_matches(cases[i].filter, cases[i].topic,
				      strlen(cases[i].topic)) == cases[i].matches,
			"%s %s", cases[i].filter, cases[i].topic);
	ck_assert(topic_matches("a/b", "a/bc", 3));
}
END

TEST(pointers_are_those_of_the_standard)
{
	/* The document of RFC 6901, section 5, with numbers for its values. */
	static const char document[] =
		"{\"foo\":[10,11],\"\":0,\"a/b\":1,\"c%d\":2,\"e^f\":3,\"g|h\":4,"
		"\"k\\\"l\":6,\" \":7,\"m~n\":8,\"deep\":{\"~1\":12}}";
	static const struct {
		const char *pointer, *told;
	} cases[] = {
		{"/foo/0", "+t x=10"},
		{"/foo/1", "+t x=11"},
		{"/foo/2", "+t"},
		{"/foo/-", "+t"},
		{"/foo/00", "+t"},
		{"/foo/1x", "+t"},
		{"/", "+t x=0"},
		{"/a~1b", "+t x=1"},
		{"/c%d", "+t x=2"},
		{"/e^f", "+t x=3"},
		{"/g|h", "+t x=4"},
		{"/k\"l", "+t x=6"},
		{"/m~0n", "+t x=8"},
		{"/deep/~01", "+t x=12"},
		{"/nothing", "+t"},
		{"/a~1b/c", "+t"},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		char *text = xasprintf("[plant]\nzone = UTC\n[channel x]\ntopic = t\n"
				       "pointer = %s\n",
			cases[i].pointer);
		setup(text);
		decode_text("t", document);
		ck_assert_msg(strcmp(told(), cases[i].told) == 0, "%s: %s",
			cases[i].pointer, told());
		teardown();
		free(text);
	}
}
END

/* Random damage to good messages, under the sanitizers: nothing but readings comes of it. */
TEST(damaged_messages_stop_nothing)
{
	static const char *const topics[] = {"plant/unit", "list", "log", "timed", "pack",
		"house/meter/1/power", "plant/valve", "plant/state"};
	static const char *const seeds[] = {
		"{\"water\":{\"leaving\":35.25,\"entering\":\"30,5 °C\"}}",
		"{\"samples\":[{\"t\":1769853540,\"v\":1},{\"t\":\"2026-01-31T09:59:"
		"30Z\",\"v\":2}]}",
		"[{\"bn\":\"dev:10e2:\",\"bt\":-5,\"n\":\"voltage\",\"v\":1e2,\"bu\":"
		"\"A\"},"
		"{\"n\":\"door\",\"vb\":true}]",
		"-1.234.567,89 kW", "online", "\"1200\""};
	static const char odd[] = "{}[]\",:0e-.+,\\u \xff\xc3";
	uint64_t state = unit_seed();
	setup(plant);
	for (int i = 0; i < 60000; i++) {
		const char *seed = seeds[unit_random(&state) % ARRAY_LEN(seeds)];
		size_t length = strlen(seed);
		char *payload = xstrndup(seed, length);
		for (uint64_t k = unit_random(&state) % 4; k > 0; k--)
			payload[unit_random(&state) % length] =
				odd[unit_random(&state) % sizeof(odd)];
		length -= unit_random(&state) % 3 ? 0 : unit_random(&state) % length;
		decode(topics[unit_random(&state) % ARRAY_LEN(topics)], payload, length,
			false);
		for (size_t r = 0; r < readings.count; r++)
			ck_assert(readings.items[r].kind != READING_VALUE ||
				  isfinite(readings.items[r].value));
		free(payload);
	}
	teardown();
}
END

TESTS(json_places_feed_their_channels, broken_messages_are_bad_as_a_whole,
	bare_payloads_feed_their_channels, long_payloads_are_not_parsed,
	of_elements_without_own_times_the_last_counts, elements_with_own_times_each_count,
	own_times_hold_unless_too_far_ahead, senml_packs_are_understood,
	packs_against_the_standard_are_refused, will_words_tell_of_life_and_death,
	retained_messages_are_no_sign_of_life, the_place_is_element_then_channel,
	how_far_behind_its_stamp_a_time_lies_is_kept, link_facts_become_facts_and_rows_nothing, what_is_bad_is_counted_with_one_sample,
	counts_of_many_topics_stay_bounded,
	remembered_topics_give_what_unremembered_ones_gave, every_filter_is_told_once,
	filters_match_as_the_standard_says, pointers_are_those_of_the_standard,
	damaged_messages_stop_nothing)
