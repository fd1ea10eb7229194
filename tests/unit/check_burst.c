/*
 * What follows a subscription, case by case, from the record to the minute: of several
 * messages within five seconds only the last counts, where they tell what is.
 *
 * Reference: heatbook's own rules as written at the top of daemon/account/burst.h; a
 * broker hands a backlog over at once and bears no time of it (OASIS MQTT 3.1.1, 4.1 and
 * 4.4: session state keeps messages, but not when they came).
 */
#include "engine_run.h"

#include <heatbook/decoder.h>

#define SAYINGS 8

/* A message at so many seconds; without a topic a subscription. */
struct saying {
	double at_s;
	const char *topic, *payload;
	bool retained;
};

#define SUBSCRIBED(s)                                                                    \
	{                                                                                \
		(s), NULL, NULL, false                                                   \
	}
#define SAYS(s, text)                                                                    \
	{                                                                                \
		(s), "h/x", (text), false                                                \
	}
#define KEEPS(s, text)                                                                   \
	{                                                                                \
		(s), "h/x", (text), true                                                 \
	}

/* In the order of time, each of them `times` times. */
static void hear(struct run *run, const struct saying *sayings, int times)
{
	struct decoder *decoder = decoder_new(run->config);
	struct buffer frames[SAYINGS] = {0};
	struct readings readings = {0};
	for (size_t i = 0; i < SAYINGS && (i == 0 || sayings[i].at_s > 0); i++) {
		const struct saying *s = &sayings[i];
		const char *topic = s->topic ? s->topic : "";
		const char *payload = s->payload ? s->payload : "";
		struct record record = {
			.kind = s->topic ? RECORD_MESSAGE : RECORD_SUBSCRIBED,
			.retained = s->retained,
			.t_ms = at_ms(s->at_s),
			.boot_ms = -1,
			.topic = topic,
			.topic_length = strlen(topic),
			.payload = (const unsigned char *)payload,
			.payload_length = strlen(payload)};
		record_write(&record, &frames[i]);
		for (int n = 0; n < times; n++)
			decoder_decode(decoder, (const unsigned char *)frames[i].data,
				&readings);
	}
	readings_sort(&readings);
	for (size_t i = 0; i < readings.count; i++)
		engine_feed(run->engine, &readings.items[i]);
	for (size_t i = 0; i < SAYINGS; i++)
		buffer_release(&frames[i]);
	readings_release(&readings);
	decoder_free(decoder);
}

#define PLANT                                                                            \
	"[plant]\nzone = UTC\n[source h]\ntopics = h/#\n[channel x]\ntopic = h/x\n"      \
	"stale_after = none\n"
#define GAUGE "unit = W\nextremes = yes\n"
#define STATE "map = off:off, on:on\n"
#define TIMED GAUGE "pointer = /v\ntime = payload\ntime_pointer = /t\n"

/* A minute of `x`: how long it is known, its mean and its extremes. */
static const struct {
	const char *name;
	const char *channel; /* lines of its section */
	struct saying sayings[SAYINGS];
	int64_t known_ms;
	double mean, least, most;
} cases[] = {
	{"one message counts from its own instant", GAUGE,
		{SUBSCRIBED(10), SAYS(12, "100")}, 48000, 100, 100, 100},
	{"a backlog", GAUGE,
		{SUBSCRIBED(10), SAYS(10.01, "900"), SAYS(10.02, "20"),
			SAYS(10.03, "100")},
		49970, 100, 100, 100},
	{"at the instant of the subscription", GAUGE,
		{SUBSCRIBED(10), SAYS(10, "900"), SAYS(10.001, "100")}, 49999, 100, 100,
		100},
	{"what held before holds up to the last", GAUGE,
		{SAYS(1, "40"), SUBSCRIBED(11), SAYS(12, "900"), SAYS(13, "100")}, 59000,
		(12 * 40 + 47 * 100) / 59.0, 40, 100},
	{"before the subscription all count", GAUGE,
		{SAYS(1, "40"), SAYS(2, "60"), SUBSCRIBED(3), SAYS(4, "80")}, 59000,
		(40 + 2 * 60 + 56 * 80) / 59.0, 40, 80},
	{"after five seconds all count", GAUGE,
		{SUBSCRIBED(10), SAYS(14.999, "900"), SAYS(15, "40"), SAYS(40, "100")},
		45001, (0.001 * 900 + 25 * 40 + 20 * 100) / 45.001, 40, 900},
	{"without a subscription all count", GAUGE, {SAYS(10, "900"), SAYS(11, "100")},
		50000, (900 + 49 * 100) / 50.0, 100, 900},
	{"another subscription begins anew", GAUGE,
		{SUBSCRIBED(10), SAYS(11, "900"), SUBSCRIBED(14), SAYS(18, "100")}, 42000,
		100, 100, 100},
	{"a window that is over and one that follows", GAUGE,
		{SUBSCRIBED(10), SAYS(11, "900"), SUBSCRIBED(15), SAYS(16, "40"),
			SAYS(18, "100")},
		49000, (7 * 900 + 42 * 100) / 49.0, 100, 900},
	{"the last says that it does not know", GAUGE,
		{SUBSCRIBED(10), SAYS(11, "900"), SAYS(12, "n/a")}, 0, 0, 0, 0},
	{"the last was not understood", GAUGE,
		{SUBSCRIBED(10), SAYS(11, "100"), SAYS(12, "0x1f")}, 49000, 100, 100,
		100},
	{"a retained word neither counts nor takes part", GAUGE,
		{SUBSCRIBED(10), SAYS(11, "900"), SAYS(12, "100"), KEEPS(13, "1")}, 48000,
		100, 100, 100},
	{"times of their own all count", TIMED,
		{SUBSCRIBED(10),
			{11, "h/x", "{\"t\":\"2026-01-01T00:00:02Z\",\"v\":900}", false},
			{12, "h/x", "{\"t\":\"2026-01-01T00:00:03Z\",\"v\":100}", false}},
		58000, (900 + 57 * 100) / 58.0, 100, 900},
	{"a channel that takes retained words is no periodic one",
		GAUGE "retained = state\n",
		{SUBSCRIBED(10), SAYS(11, "900"), SAYS(12, "100")}, 49000,
		(900 + 48 * 100) / 49.0, 100, 900},
	{"a retained word and its successors", GAUGE "retained = state\n",
		{SAYS(1, "40"), SUBSCRIBED(10), KEEPS(11, "900"), SAYS(12, "100")}, 59000,
		(10 * 40 + 900 + 48 * 100) / 59.0, 40, 900},
	{"states all count", STATE,
		{SUBSCRIBED(10), SAYS(11, "on"), SAYS(12, "off"), SAYS(13, "on")}, 49000,
		1, 0, 0},
	{"a word that may be a fault and its successor", "unit = °C\nextremes = yes\n",
		{SAYS(1, "20"), SUBSCRIBED(10), SAYS(11, "85"), SAYS(12, "21")}, 59000,
		(11 * 20 + 48 * 21) / 59.0, 20, 21},
	{"a word that may be a fault supersedes no good one",
		"unit = °C\nextremes = yes\n",
		{SAYS(1, "20"), SUBSCRIBED(10), SAYS(11, "30"), SAYS(12, "85"),
			SAYS(40, "31")},
		31000, (10 * 20 + 30 + 20 * 31) / 31.0, 20, 31},
	{"its good one makes it true", "unit = °C\nextremes = yes\n",
		{SAYS(1, "20"), SUBSCRIBED(10), SAYS(11, "84"), SAYS(12, "85")}, 59000,
		(10 * 20 + 84 + 48 * 85) / 59.0, 20, 85},
	{"both are superseded by the next", "unit = °C\nextremes = yes\n",
		{SAYS(1, "20"), SUBSCRIBED(10), SAYS(11, "30"), SAYS(12, "85"),
			SAYS(13, "-0.0625"), SAYS(14, "21")},
		59000, (13 * 20 + 46 * 21) / 59.0, 20, 21},
};

static void expect_case(size_t i, const struct run *run)
{
	int64_t ms = known_ms(run, 0, "x");
	ck_assert_msg(ms == cases[i].known_ms, "%s: known for %lld ms", cases[i].name,
		(long long)ms);
	if (ms == 0)
		return;
	struct minute_channel x = channel_of(run, 0, "x");
	ck_assert_msg(fabs(x.mean - cases[i].mean) < 1e-9, "%s: mean %.12g",
		cases[i].name, x.mean);
	if (run->config->channels[0].map_count)
		return;
	ck_assert_msg(x.least == cases[i].least && x.most == cases[i].most,
		"%s: from %g to %g", cases[i].name, x.least, x.most);
}

/* Once, and each record twice; looked at in between or not. */
TEST(each_case_of_a_burst_is_what_it_says)
{
	for (size_t i = 0; i < ARRAY_LEN(cases); i++)
		for (int times = 1; times <= 2; times++) {
			_cleanup_(freep) char *text =
				xasprintf("%s%s", PLANT, cases[i].channel);
			struct run *run = run_new(text);
			hear(run, cases[i].sayings, times);
			passes(run, 60);
			expect_case(i, run);
			run_free(run);
		}
}
END

TEST(looking_within_a_window_changes_no_bit)
{
	static const struct saying first[SAYINGS] = {
		SUBSCRIBED(10), SAYS(11, "900"), SAYS(12, "500")};
	static const struct saying second[SAYINGS] = {SAYS(13, "100")};
	struct run *plain = run_new(PLANT GAUGE), *looked = run_new(PLANT GAUGE);
	hear(plain, first, 1);
	hear(plain, second, 1);
	hear(looked, first, 1);
	passes(looked, 12.7);
	ck_assert_int_eq(engine_now_ms(looked->engine), at_ms(12.7));
	hear(looked, second, 1);
	passes(looked, 14);
	passes(looked, 15);
	passes(looked, 33);
	passes(plain, 120);
	passes(looked, 120);
	expect_same_minutes(plain, looked);
	run_free(plain);
	run_free(looked);
}
END

/* A closed minute never leans on the next: what comes behind its end is another burst. */
TEST(a_window_ends_with_its_minute)
{
	static const struct saying sayings[SAYINGS] = {SUBSCRIBED(57), SAYS(58, "900"),
		SAYS(59, "40"), SAYS(60, "500"), SAYS(61, "100")};
	struct run *run = run_new(PLANT GAUGE);
	hear(run, sayings, 1);
	passes(run, 120);
	ck_assert_int_eq(known_ms(run, 0, "x"), 1000);
	ck_assert_double_eq(channel_of(run, 0, "x").mean, 40);
	ck_assert_double_eq(channel_of(run, 1, "x").mean, (500 + 59 * 100) / 60.0);
	run_free(run);
}
END

/* Superseded messages show that their source lives: it falls silent ten minutes after the
 * last of them, whatever it said. */
TEST(what_is_superseded_is_a_sign_of_life)
{
	struct run *run = run_new(PLANT GAUGE "[channel y]\ntopic = h/y\nunit = W\n"
					      "stale_after = none\n");
	static const struct saying sayings[SAYINGS] = {SUBSCRIBED(2),
		{2.5, "h/y", "7", false}, SAYS(3, "900"), SAYS(3.5, "100"),
		SAYS(4, "0x1f")};
	hear(run, sayings, 1);
	passes(run, 900);
	ck_assert_int_eq(known_ms(run, 10, "y"), 4000);
	run_free(run);
}
END

#define TWO_CHANNELS PLANT GAUGE "[channel y]\ntopic = h/y\nstale_after = none\n" STATE
/* A day of a word each 2 s. */
#define BACKLOG 43200

/* However long the connection was away. */
TEST(a_long_backlog_is_superseded_to_its_last)
{
	struct run *run = run_new(TWO_CHANNELS);
	feed(run, READING_FACT, RECORD_SUBSCRIBED, false, 10, 0);
	says(run, 10.5, "y", 1);
	for (int i = 1; i <= BACKLOG; i++) {
		int ms = i / 20;
		says(run, 11 + ms / 1000.0, "x", i);
	}
	says(run, 14, "y", 0);
	passes(run, 60);
	struct minute_channel x = channel_of(run, 0, "x");
	ck_assert_int_eq(x.known_ms, 49000 - BACKLOG / 20);
	ck_assert_double_eq(x.least, BACKLOG);
	ck_assert_double_eq(x.most, BACKLOG);
	ck_assert_int_eq(known_ms(run, 0, "y"), 49500);
	run_free(run);
}
END

/* It ends at its 8192nd reading that counts, so that memory is bounded; of equal ones
 * each instant holds one. The subscription is the first, a word of x the last but one or
 * the last of them. */
TEST(a_window_holds_so_many_readings)
{
	for (int more = 0; more <= 1; more++) {
		struct run *run = run_new(TWO_CHANNELS);
		feed(run, READING_FACT, RECORD_SUBSCRIBED, false, 10, 0);
		for (int i = 0; i < 8189 + more; i++) {
			int ms = i / 10;
			for (int twice = 0; twice < 2; twice++)
				says(run, 10.5 + ms / 1000.0, "y", i & 1);
		}
		says(run, 12, "x", 900);
		says(run, 13, "x", 100);
		passes(run, 60);
		struct minute_channel x = channel_of(run, 0, "x");
		ck_assert_int_eq(x.known_ms, 47000 + more * 1000);
		ck_assert_double_eq(x.least, 100);
		ck_assert_double_eq(x.most, more ? 900 : 100);
		run_free(run);
	}
}
END

	/* ---- registers ---- */

	static int64_t counted_j;
static unsigned replaced;

static void count_span(const struct settlement *s, void *context)
{
	(void)context;
	counted_j += s->j;
	replaced += s->kind >= SETTLEMENT_RESET;
}

#define METER                                                                            \
	"[plant]\nzone = UTC\n[source h]\ntopics = h/#\nsilent_after = none\n"           \
	"[channel x]\ntopic = h/x\nunit = kWh\n"                                         \
	"[meter unit]\nfeeds = compressor\nregister = x\nstep = 0.001 kWh\n"

/* Four minutes of 5 kW away, 20 Wh a message, handed over within a tenth of a second:
 * each for itself would be more than the meter's greatest power. */
TEST(of_a_registers_backlog_the_last_counts)
{
	struct run *run = run_new(METER);
	counted_j = replaced = 0;
	engine_on_settlement(run->engine, count_span, NULL);
	says(run, 0, "x", 700);
	feed(run, READING_FACT, RECORD_SUBSCRIBED, false, 240, 0);
	for (int i = 1; i <= 16; i++)
		says(run, 240 + 0.005 * i, "x", 700 + 0.02 * i);
	says(run, 260, "x", 700.34);
	says(run, 280, "x", 700.36);
	passes(run, 360);
	ck_assert_int_eq(counted_j, 1296000);
	ck_assert_uint_eq(replaced, 0);
	run_free(run);
}
END

/* Each increment is a part of what was used. */
TEST(of_increments_all_count)
{
	struct run *run = run_new(METER "kind = increment\n");
	counted_j = replaced = 0;
	engine_on_settlement(run->engine, count_span, NULL);
	says(run, 0, "x", 0.02);
	feed(run, READING_FACT, RECORD_SUBSCRIBED, false, 240, 0);
	for (int i = 1; i <= 4; i++)
		says(run, 240 + i, "x", 0.005);
	says(run, 260, "x", 0.02);
	passes(run, 360);
	ck_assert_int_eq(counted_j, 144000);
	run_free(run);
}
END

TESTS(each_case_of_a_burst_is_what_it_says, looking_within_a_window_changes_no_bit,
	a_window_ends_with_its_minute, what_is_superseded_is_a_sign_of_life,
	a_long_backlog_is_superseded_to_its_last, a_window_holds_so_many_readings, of_a_registers_backlog_the_last_counts,
	of_increments_all_count)
