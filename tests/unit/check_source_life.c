/*
 * What keeps a value in force, case by case: retained words, the life of sources, Will
 * words, link facts; and which of them may end a register's span.
 *
 * Reference: heatbook's own rules as written at the top of daemon/account/engine.c and in
 * engine.h; a retained message bears no age (OASIS MQTT 3.1.1, 3.3.1.3).
 */
#include "engine_run.h"

#include <heatbook/settlement.h>

#define KWH     3600000.0
#define SAYINGS 9

enum what { SAYS, RETAINS, RETAINS_NOTHING, ALIVE, GONE, FACT };

struct saying {
	double at_s;
	enum what what;
	double value; /* or the fact's kind */
};

#define SUBSCRIBES(s)                                                                    \
	{                                                                                \
		(s), FACT, RECORD_SUBSCRIBED                                             \
	}
#define LOSES(s)                                                                         \
	{                                                                                \
		(s), FACT, RECORD_LOST                                                   \
	}

static const struct {
	const char *name;
	const char *channel; /* lines of the section of `x` */
	struct saying sayings[SAYINGS];
	double known_s; /* in the first hour */
	double mean;
} cases[] = {
	{"a gauge holds to its limit", "stale_after = 5 min\nunit = W\n", {{0, SAYS, 7}},
		300, 7},
	{"a gauge without a limit holds as long as its source lives",
		"stale_after = none\nunit = W\n", {{0, SAYS, 7}}, 600, 7},
	{"any sign of life carries it on", "stale_after = none\nunit = W\n",
		{{0, SAYS, 7}, {500, ALIVE, 0}, {1000, ALIVE, 0}}, 1600, 7},
	{"its Will ends it at once", "stale_after = none\nunit = W\n",
		{{0, SAYS, 7}, {100, GONE, 0}}, 100, 7},
	{"a sign of life after the Will brings nothing back",
		"stale_after = none\nunit = W\n",
		{{0, SAYS, 7}, {100, GONE, 0}, {101, ALIVE, 0}}, 100, 7},
	{"link facts end nothing", "stale_after = none\nunit = W\n",
		{{0, SAYS, 7}, LOSES(60), {90, FACT, RECORD_STOP},
			{120, FACT, RECORD_START}, SUBSCRIBES(130),
			{140, FACT, RECORD_REFUSED}},
		600, 7},
	{"link facts are no sign of life", "stale_after = none\nunit = W\n",
		{{0, SAYS, 7}, LOSES(590), SUBSCRIBES(595)}, 600, 7},
	{"a retained gauge counts not", "stale_after = none\nunit = W\n",
		{{0, ALIVE, 0}, {10, RETAINS, 7}, {300, ALIVE, 0}}, 0, 0},
	{"a retained gauge ends nothing", "stale_after = none\nunit = W\n",
		{{0, SAYS, 7}, {10, RETAINS, 9}}, 600, 7},
	{"nor does a retained word for nothing", "stale_after = none\nunit = W\n",
		{{0, SAYS, 7}, {10, RETAINS_NOTHING, 0}}, 600, 7},
	{"a retained word is no sign of life", "stale_after = none\nunit = W\n",
		{{0, SAYS, 7}, {500, RETAINS, 7}}, 600, 7},
	{"a retained state counts from now on", "map = off:off, on:on\n",
		{{0, ALIVE, 0}, {100, RETAINS, 1}}, 500, 1},
	{"a retained state waits for its source", "map = off:off, on:on\n",
		{{100, RETAINS, 1}, {160, ALIVE, 0}}, 600, 1},
	{"a retained state of a dead source counts not", "map = off:off, on:on\n",
		{{0, ALIVE, 0}, {700, RETAINS, 1}}, 0, 0},
	{"it is the same again after each subscription", "map = off:off, on:on\n",
		{{0, SAYS, 1}, LOSES(60), SUBSCRIBES(120), {121, RETAINS, 1},
			{180, ALIVE, 0}},
		780, 1},
	{"a retained state that nothing says ends it", "map = off:off, on:on\n",
		{{0, SAYS, 1}, {60, RETAINS_NOTHING, 0}}, 60, 1},
	{"a configured gauge may count from now on", "retained = state\nunit = W\n",
		{{0, ALIVE, 0}, {100, RETAINS, 7}}, 500, 7},
};

static const char plant[] = "[plant]\nzone = UTC\n[source h]\ntopics = h/#\n"
			    "will_topic = h/will\n[channel x]\ntopic = h/x\n";

static void say(struct run *run, const struct saying *s)
{
	switch (s->what) {
	case SAYS:
		says(run, s->at_s, "x", s->value);
		break;
	case RETAINS:
		retains(run, s->at_s, "x", s->value);
		break;
	case RETAINS_NOTHING:
		feed(run, READING_NOVALUE, channel_named(run->config, "x"), true, s->at_s,
			0);
		break;
	case ALIVE:
		lives(run, s->at_s, "h");
		break;
	case GONE:
		goes(run, s->at_s, "h");
		break;
	case FACT:
	default:
		feed(run, READING_FACT, (size_t)s->value, false, s->at_s, 0);
		break;
	}
}

static void hear(struct run *run, const struct saying *sayings)
{
	for (size_t k = 0; k < SAYINGS; k++) {
		if (k > 0 && sayings[k].at_s == 0)
			break;
		say(run, &sayings[k]);
	}
}

TEST(each_case_of_life_and_retained_words_is_what_it_says)
{
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		_cleanup_(freep) char *text = xasprintf("%s%s", plant, cases[i].channel);
		struct run *run = run_new(text);
		double known_s = 0;
		hear(run, cases[i].sayings);
		passes(run, 3600);
		for (int64_t n = 0; n < 60; n++) {
			int64_t ms = known_ms(run, n, "x");
			known_s += (double)ms / 1000;
			ck_assert_msg(
				ms == 0 || channel_of(run, n, "x").mean == cases[i].mean,
				"%s: minute %lld", cases[i].name, (long long)n);
		}
		ck_assert_msg(fabs(known_s - cases[i].known_s) < 1e-6,
			"%s: known for %g s", cases[i].name, known_s);
		run_free(run);
	}
}
END

	/* ---- registers ---- */

	static int64_t counted_j;
static int64_t ended_ms;

static void count_span(const struct settlement *s, void *context)
{
	(void)context;
	counted_j += s->j;
	ended_ms = s->end_ms;
}

static void expect_span(
	const char *channel, const struct saying *sayings, double kwh, double end_s)
{
	_cleanup_(freep) char *text =
		xasprintf("%sunit = kWh\n%s[meter unit]\nfeeds = compressor\n"
			  "register = x\n",
			plant, channel);
	struct run *run = run_new(text);
	counted_j = 0;
	engine_on_settlement(run->engine, count_span, NULL);
	hear(run, sayings);
	passes(run, 7200);
	ck_assert_int_eq(counted_j, llround(kwh * KWH));
	ck_assert_int_eq(ended_ms, at_ms(end_s));
	run_free(run);
}

/* Of unknown age, a retained reading neither ends a span nor begins one, unless it bears
 * a time of its own. */
TEST(a_retained_register_ends_no_span)
{
	static const struct saying amid[SAYINGS] = {
		{0, SAYS, 700}, {300, RETAINS, 703}, {600, SAYS, 701}};
	static const struct saying first[SAYINGS] = {
		{0, RETAINS, 650}, {300, SAYS, 700}, {600, SAYS, 701}};
	static const struct saying timed[SAYINGS] = {{0, SAYS, 700}, {300, RETAINS, 701}};
	expect_span("stale_after = none\n", amid, 1, 600);
	expect_span("stale_after = none\n", first, 1, 600);
	expect_span("stale_after = none\npointer = /v\ntime = payload\n"
		    "time_pointer = /t\n",
		timed, 1, 300);
}
END

TESTS(each_case_of_life_and_retained_words_is_what_it_says,
	a_retained_register_ends_no_span)
