/*
 * A meter whose messages tell how much since the one before (kind = increment), rule by
 * rule, from the reading to the spans: as it is, with every reading twice, and with the
 * state carried over every minute as a restart carries it.
 *
 * Reference: heatbook's own rules as written at the top of daemon/account/register.c;
 * whole joules by hand.
 */
#include "engine_run.h"

#include <heatbook/settlement.h>

#define KWH     3600000.0
#define SAYINGS 14
#define SPANS   16

enum what { SAYS, RETAINS, NOTHING, BAD, POWER, ENDS };

struct saying {
	double at_s;
	double kwh; /* or W */
	enum what what;
};

/* Spans that closed, in kWh; negative: bridged; of the last ones nothing is left to say.
 */
static const struct {
	const char *name;
	struct saying sayings[SAYINGS];
	double spans[4];
	unsigned refused;
} cases[] = {
	{"the first says nothing of when it began", {{0, 5}, {60, 0.2}, {120, 0}}, {0.2},
		0},
	{"they add up", {{0, 0.1}, {60, 0.1}, {120, 0.05}, {180, 0.07}, {200, 0}}, {0.22},
		0},
	{"a smaller one is no fall", {{0, 0.3}, {60, 0.2}, {120, 0.01}, {180, 0.2}},
		{0.2, 0.21}, 0},
	{"nothing used is nothing added", {{0, 0.1}, {60, 0}, {120, 0}, {180, 0.2}},
		{0.2}, 0},
	{"below zero", {{0, 0.1}, {60, -0.1}, {120, 0.2}}, {0.2}, 1},
	{"20 kW for 60 s and two steps", {{0, 0}, {60, 0.353}}, {0.353}, 0},
	{"more than the greatest power", {{0, 0}, {60, 0.354}, {120, 0.21}}, {0.21}, 1},
	{"a jump is never a new beginning",
		{{0, 0}, {60, 900}, {120, 900}, {180, 900}, {240, 900}, {300, 0.2}},
		{0.2}, 1},
	{"equal ones at other instants count each",
		{{0, 0.1}, {60, 0.1}, {120, 0.1}, {180, 0.1}}, {0.2}, 0},
	{"of one instant each counts", {{0, 0.1}, {60, 0.05}, {60, 0.1}, {120, 0.1}},
		{0.25}, 0},
	{"of one instant equal ones count once",
		{{0, 0.1}, {60, 0.1}, {60, 0.1}, {120, 0.1}}, {0.2}, 0},
	{"of one instant also behind a span that it closed",
		{{0, 0.1}, {60, 0.2}, {60, 0.3}, {120, 0.2}}, {0.2, 0.5}, 0},
	{"of the first instant none counts", {{0, 0.5}, {0, 0.6}, {60, 0.2}, {90, 0}},
		{0.2}, 0},
	{"of one instant more than three hours bring",
		{{0, 0.1}, {60, 0.1}, {60, 60.1}, {120, 0.1}}, {0.2}, 1},
	{"a retained one ends no increment",
		{{0, 0.1}, {60, 0.1}, {90, 0.1, RETAINS}, {120, 0.1}}, {0.2}, 0},
	{"a retained one begins none", {{0, 0.1, RETAINS}, {60, 0.1}, {120, 0.2}}, {0.2},
		0},
	{"what is not understood ends nothing",
		{{0, 0.1}, {60, 0.1}, {90, 0, BAD}, {120, 0.1}}, {0.2}, 0},
	{"a span of three hours closes with few steps",
		{{0, 0.1}, {899, 0.01}, {1798, 0.01}, {2697, 0.01}, {3596, 0.01},
			{4495, 0.01}, {5394, 0.01}, {6293, 0.01}, {7192, 0.01},
			{8091, 0.01}, {8990, 0.01}, {9889, 0.01}, {10788, 0.01},
			{11687, 0.01}},
		{0.13}, 0},
	{"behind a gap without power it is bridged",
		{{0, 0.1}, {60, 0.05}, {60 + 7200, 3}, {7320, 0.2}}, {0.05, -3, 0.2}, 0},
	{"where power was known a gap is none",
		{{0, 1500, POWER}, {0, 0.1}, {60, 0.05}, {7260, 3}, {7320, 0.2}},
		{3.05, 0.2}, 0},
	{"not known is a gap", {{0, 0.1}, {60, 0.05}, {61, 0, NOTHING}, {300, 0.3}},
		{0.05, -0.3}, 0},
};

static const char plant[] = "[plant]\nzone = UTC\n[source h]\ntopics = h/#\n"
			    "silent_after = none\n"
			    "[channel x]\ntopic = h/x\nunit = kWh\n"
			    "[channel p]\ntopic = h/p\nunit = W\nstale_after = none\n"
			    "[meter unit]\nfeeds = compressor\nregister = x\npower = p\n"
			    "kind = increment\n";

struct told {
	struct settlement spans[SPANS];
	size_t count;
	unsigned refused;
};

static void keep_span(const struct settlement *s, void *context)
{
	struct told *told = context;
	ck_assert_uint_lt(told->count, SPANS);
	told->spans[told->count++] = *s;
}

static void keep_refused(const struct event *event, void *context)
{
	struct told *told = context;
	told->refused += event->kind == EVENT_REGISTER_REFUSED;
}

static void listen(struct run *run, struct told *told)
{
	engine_on_settlement(run->engine, keep_span, told);
	engine_on_event(run->engine, keep_refused, told);
}

/* To the minute's edge, and on with another engine that has the state alone. */
static void restart(struct run *run, struct told *told, int64_t minute)
{
	struct buffer state = {0};
	engine_advance(run->engine, minute * MS_PER_MIN);
	engine_save(run->engine, &state);
	engine_free(run->engine);
	run->engine = engine_new(run->config, run_keep, run);
	ck_assert_int_eq(
		engine_restore(run->engine, minute, state.data, state.length), 0);
	listen(run, told);
	buffer_release(&state);
}

static void say(struct run *run, const struct saying *s)
{
	if (s->what == SAYS)
		says(run, s->at_s, "x", s->kwh);
	else if (s->what == RETAINS)
		retains(run, s->at_s, "x", s->kwh);
	else if (s->what == NOTHING)
		says_nothing(run, s->at_s, "x");
	else if (s->what == BAD)
		says_badly(run, s->at_s, "x");
	else
		says(run, s->at_s, "p", s->kwh);
}

static void hear(size_t i, struct told *told, int times, bool restarts)
{
	struct run *run = run_new(plant);
	listen(run, told);
	for (size_t k = 0; k < SAYINGS; k++) {
		const struct saying *s = &cases[i].sayings[k];
		if (k > 0 && s->at_s == 0 && s->kwh == 0)
			break;
		int64_t minute = floor_div(at_ms(s->at_s), MS_PER_MIN);
		if (restarts && minute * MS_PER_MIN > engine_now_ms(run->engine))
			restart(run, told, minute);
		for (int n = 0; n < times; n++)
			say(run, s);
	}
	passes(run, 3 * 86400.0);
	run_free(run);
}

static void expect(size_t i, const struct told *told, const char *how)
{
	size_t wanted = 0;
	while (wanted < ARRAY_LEN(cases[i].spans) && cases[i].spans[wanted] != 0)
		wanted++;
	ck_assert_msg(told->count == wanted, "%s%s: %zu spans", cases[i].name, how,
		told->count);
	ck_assert_msg(told->refused == cases[i].refused, "%s%s: %u refused",
		cases[i].name, how, told->refused);
	for (size_t k = 0; k < wanted; k++) {
		const struct settlement *s = &told->spans[k];
		double want = cases[i].spans[k];
		ck_assert_msg(s->j == llround(fabs(want) * KWH),
			"%s%s: span %zu of %lld J", cases[i].name, how, k,
			(long long)s->j);
		ck_assert_msg((s->kind == SETTLEMENT_BRIDGED) == (want < 0),
			"%s%s: span %zu of kind %lld", cases[i].name, how, k,
			(long long)s->kind);
	}
}

TEST(each_rule_of_increments_holds)
{
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct told once = {0}, twice = {0}, again = {0};
		hear(i, &once, 1, false);
		expect(i, &once, "");
		hear(i, &twice, 2, false);
		expect(i, &twice, ", each twice");
		hear(i, &again, 1, true);
		expect(i, &again, ", over restarts");
		ck_assert_mem_eq(once.spans, twice.spans, sizeof(once.spans));
		ck_assert_mem_eq(once.spans, again.spans, sizeof(once.spans));
	}
}
END

/* The first span begins amid an increment that nobody knows the beginning of. */
TEST(the_first_span_is_marked)
{
	struct told told = {0};
	hear(1, &told, 1, false);
	ck_assert_int_eq(told.spans[0].first, 1);
	hear(2, &told, 1, false);
	ck_assert_int_eq(told.spans[1].first, 1);
	ck_assert_int_eq(told.spans[2].first, 0);
}
END
/* ---- rows that say for which span they count ---- */

#define PARTS 8
#define HOUR  3600.0

	/* A row of `kwh` from `at_s` on for `covers_s`; 0: a message, or with NAN no
	   value. */
	struct part {
	double at_s, covers_s, kwh;
};

/* Spans: begin, end, kWh. Steps are 0.01 kWh: 0.20 kWh are twenty. */
static const struct {
	const char *name;
	struct part parts[PARTS];
	double spans[PARTS][3];
	unsigned refused;
} part_cases[] = {
	{"the first is whole, and each hour has its own",
		{{0, HOUR, 0.4}, {HOUR, HOUR, 2}, {2 * HOUR, HOUR, 0.4}},
		{{0, HOUR, 0.4}, {HOUR, 2 * HOUR, 2}, {2 * HOUR, 3 * HOUR, 0.4}}, 0},
	{"an hour of nothing is known, and takes nothing of the next",
		{{0, HOUR, 0}, {HOUR, HOUR, 2}, {2 * HOUR, HOUR, 0.01}},
		{{0, HOUR, 0}, {HOUR, 2 * HOUR, 2}, {2 * HOUR, 3 * HOUR, 0.01}}, 0},
	{"few steps go together, many stand alone",
		{{0, 900, 0.05}, {900, 900, 0.06}, {1800, 900, 0.3}, {2700, 900, 0.2}},
		{{0, 1800, 0.11}, {1800, 2700, 0.3}, {2700, 3600, 0.2}}, 0},
	{"few steps for an hour",
		{{0, 900, 0.05}, {900, 900, 0.04}, {1800, 900, 0}, {2700, 900, 0.01},
			{3600, 900, 0.01}},
		{{0, 3600, 0.1}}, 0},
	{"what lies between rows nobody counted",
		{{0, 900, 0.05}, {2700, 900, 0.3}, {5400, 900, 0.4}},
		{{0, 900, 0.05}, {2700, 3600, 0.3}, {5400, 6300, 0.4}}, 0},
	{"a row amid a minute", {{10.5, 100, 0.3}, {110.5, 100, 0.25}},
		{{10.5, 110.5, 0.3}, {110.5, 210.5, 0.25}}, 0},
	{"of one stamp the last counts", {{0, HOUR, 5}, {0, HOUR, 0.4}, {HOUR, HOUR, 3}},
		{{0, HOUR, 0.4}, {HOUR, 2 * HOUR, 3}}, 0},
	{"the next row ends one that says it covers more",
		{{0, HOUR, 0.4}, {1800, 1800, 0.6}}, {{0, 1800, 0.4}, {1800, 3600, 0.6}},
		0},
	{"no value says nothing of its hour",
		{{0, HOUR, 0.4}, {HOUR, HOUR, (double)NAN}, {2 * HOUR, HOUR, 0.3}},
		{{0, HOUR, 0.4}, {2 * HOUR, 3 * HOUR, 0.3}}, 0},
	{"more than the greatest power: of its hour nothing is known",
		{{0, HOUR, 0.4}, {HOUR, HOUR, 20.03}, {2 * HOUR, HOUR, 20.02}},
		{{0, HOUR, 0.4}, {2 * HOUR, 3 * HOUR, 20.02}}, 1},
	{"below zero", {{0, HOUR, -0.4}, {HOUR, HOUR, 0.4}}, {{HOUR, 2 * HOUR, 0.4}}, 1},
	{"messages count on from where rows end, and rows begin anew",
		{{0, HOUR, 0.4}, {HOUR + 600, 0, 0.3}, {HOUR + 1200, HOUR, 0.5}},
		{{0, HOUR, 0.4}, {HOUR, HOUR + 600, -0.3},
			{HOUR + 1200, 2 * HOUR + 1200, 0.5}},
		0},
};

static const char parts_plant[] =
	"[plant]\nzone = UTC\n[source h]\ntopics = h/#\nsilent_after = none\n"
	"[channel x]\ntopic = h/x\nunit = kWh\n"
	"[channel p]\ntopic = h/p\nunit = W\nstale_after = none\n"
	"[meter unit]\nfeeds = compressor\nregister = x\npower = p\nkind = increment\n"
	"[table rows]\ncolumn.x = x\n";

static void tell_part(struct run *run, const struct part *part)
{
	const struct reading reading = {.t_ms = at_ms(part->at_s),
		.value = part->kwh,
		.channel = (uint16_t)channel_named(run->config, "x"),
		.kind = isnan(part->kwh) ? READING_NOVALUE : READING_VALUE,
		.exact_ms = (uint32_t)(part->covers_s * 1000),
		.table = part->covers_s > 0
				 ? (uint8_t)(1 + source_named(run->config, "rows"))
				 : 0};
	engine_feed(run->engine, &reading);
}

static void hear_parts(size_t i, struct told *told, int times, bool restarts)
{
	struct run *run = run_new(parts_plant);
	listen(run, told);
	for (size_t k = 0; k < PARTS; k++) {
		const struct part *part = &part_cases[i].parts[k];
		if (k > 0 && part->at_s == 0 && part->kwh == 0)
			break;
		int64_t minute = floor_div(at_ms(part->at_s), MS_PER_MIN);
		while (restarts && engine_now_ms(run->engine) < minute * MS_PER_MIN)
			restart(run, told,
				floor_div(engine_now_ms(run->engine), MS_PER_MIN) + 1);
		for (int n = 0; n < times; n++)
			tell_part(run, part);
	}
	for (int64_t m = floor_div(engine_now_ms(run->engine), MS_PER_MIN);
		restarts && m < ZERO_MIN + 240; m++)
		restart(run, told, m + 1);
	passes(run, 86400);
	run_free(run);
}

static void expect_parts(size_t i, const struct told *told, const char *how)
{
	size_t wanted = 0;
	while (wanted < PARTS && part_cases[i].spans[wanted][1] != 0)
		wanted++;
	ck_assert_msg(told->count == wanted, "%s%s: %zu spans", part_cases[i].name, how,
		told->count);
	ck_assert_msg(told->refused == part_cases[i].refused, "%s%s: %u refused",
		part_cases[i].name, how, told->refused);
	for (size_t k = 0; k < wanted; k++) {
		const struct settlement *s = &told->spans[k];
		const double *want = part_cases[i].spans[k];
		bool same = s->begin_ms == at_ms(want[0]) &&
			    s->end_ms == at_ms(want[1]) &&
			    s->j == llround(fabs(want[2]) * KWH) && !s->first &&
			    (s->kind == SETTLEMENT_BRIDGED) == (want[2] < 0);
		ck_assert_msg(same,
			"%s%s: span %zu of kind %lld, %lld to %lld ms, %lld J",
			part_cases[i].name, how, k, (long long)s->kind,
			(long long)(s->begin_ms - ZERO_MS),
			(long long)(s->end_ms - ZERO_MS), (long long)s->j);
	}
}

TEST(rows_that_cover_a_span_count_for_it)
{
	for (size_t i = 0; i < ARRAY_LEN(part_cases); i++) {
		struct told once = {0}, twice = {0}, again = {0};
		hear_parts(i, &once, 1, false);
		expect_parts(i, &once, "");
		hear_parts(i, &twice, 2, false);
		expect_parts(i, &twice, ", each twice");
		hear_parts(i, &again, 1, true);
		expect_parts(i, &again, ", over restarts");
		ck_assert_mem_eq(once.spans, twice.spans, sizeof(once.spans));
		ck_assert_mem_eq(once.spans, again.spans, sizeof(once.spans));
	}
}
END

/* What power said in the span is told whole, also where it ends with a minute. */
TEST(power_gives_such_a_span_its_shape)
{
	struct told told = {0};
	struct run *run = run_new(parts_plant);
	const struct part parts[] = {{0, 600, 0.4}, {600, 630, 0.4}, {1230, 600, 0.4}};
	listen(run, &told);
	says(run, 0, "p", 1000);
	for (size_t i = 0; i < ARRAY_LEN(parts); i++)
		tell_part(run, &parts[i]);
	passes(run, 3600);
	ck_assert_uint_eq(told.count, 3);
	ck_assert_int_eq(told.spans[0].power_j, 600000);
	ck_assert_int_eq(told.spans[0].tail_j, 0);
	ck_assert_int_eq(told.spans[1].power_ms, 630000);
	ck_assert_int_eq(told.spans[1].tail_j, 30000);
	ck_assert_int_eq(told.spans[2].head_j, 30000);
	for (size_t i = 0; i < ARRAY_LEN(parts); i++)
		ck_assert_int_eq(told.spans[i].kind, SETTLEMENT_SHAPED);
	run_free(run);
}
END

/* A span that ends with a day is made by that day, whoever derives it. */
TEST(a_span_is_made_before_its_end_passes)
{
	struct told told = {0};
	struct run *run = run_new(parts_plant);
	const struct part parts[] = {{0, 600, 0.4}, {600, 600, 0.4}, {900, 600, 0.4}};
	listen(run, &told);
	for (size_t i = 0; i < ARRAY_LEN(parts); i++)
		tell_part(run, &parts[i]);
	ck_assert_int_eq(told.spans[0].made_ms, at_ms(600) - 1);
	ck_assert_int_eq(told.spans[1].made_ms, at_ms(900)); /* cut by the third */
	run_free(run);
}
END

TESTS(each_rule_of_increments_holds, the_first_span_is_marked,
	rows_that_cover_a_span_count_for_it, power_gives_such_a_span_its_shape,
	a_span_is_made_before_its_end_passes)
