/*
 * What a source's own times tell of its clock: an offset by the least delay of an hour,
 * ahead as well as behind; times that stand still; and what is neither: slow lines,
 * batches, backlogs, retained messages, rows of tables.
 *
 * Reference: event.h's contract; the filter of least delay of RFC 5905, 10 (from memory).
 */
#include "engine_run.h"

static const char conf[] =
	"[plant]\nzone = UTC\n[source a]\ntopics = a/#\n[source b]\ntopics = b/#\n"
	"[channel one]\ntopic = a/1\nunit = W\ntime = payload\npointer = /v\n"
	"time_pointer = /t\n"
	"[channel two]\ntopic = a/2\nunit = W\ntime = payload\npointer = /v\n"
	"time_pointer = /t\n"
	"[channel three]\ntopic = b/3\nunit = W\ntime = payload\npointer = /v\n"
	"time_pointer = /t\n"
	"[channel slow]\ntopic = b/5\nunit = W\ntime = payload\npointer = /v\n"
	"time_pointer = /t\nstale_after = 2 h\n"
	"[channel state]\ntopic = b/4\nmap = x:x, y:y\ntime = payload\npointer = /v\n"
	"time_pointer = /t\n";

enum { EVENTS_MOST = 64 };

static struct event events[EVENTS_MOST];
static size_t event_count;

static void see(const struct event *event, void *context)
{
	(void)context;
	ck_assert_uint_lt(event_count, EVENTS_MOST);
	events[event_count++] = *event;
}

static struct run *begin(void)
{
	struct run *run = run_new(conf);
	event_count = 0;
	engine_on_event(run->engine, see, NULL);
	return run;
}

static void own(
	struct run *run, double at_s, const char *channel, double value, double behind_s)
{
	struct reading reading = {.t_ms = at_ms(at_s),
		.value = value,
		.channel = (uint16_t)channel_named(run->config, channel),
		.kind = READING_VALUE,
		.behind_s = (int32_t)behind_s,
		.own_time = true};
	engine_feed(run->engine, &reading);
}

static void expect(struct run *run, size_t i, enum event_kind kind, const char *channel,
	double at_s, double made_s, double after)
{
	ck_assert_uint_lt(i, event_count);
	const struct event *e = &events[i];
	ck_assert_str_eq(event_kind_name(e->kind), event_kind_name(kind));
	ck_assert_uint_eq(e->subject, channel_named(run->config, channel));
	ck_assert(!e->is_meter);
	ck_assert_int_eq(e->t_ms, at_ms(at_s));
	ck_assert_int_eq(e->made_ms, at_ms(made_s) - 1);
	ck_assert_double_eq(e->after, after);
}

TEST(a_clock_that_is_right_tells_nothing_however_slow_the_line)
{
	struct run *run = begin();
	for (int s = 0; s < 7200; s += 60) /* a backlog, but for one of each hour */
		own(run, s, "one", 1, s % 3600 == 1800 ? 2 : 3000);
	for (int s = 7200; s < 10800; s += 60) /* a batch of ten minutes */
		own(run, s, "one", 1, 570 - s % 600);
	passes(run, 20000);
	ck_assert_uint_eq(event_count, 0);
	run_free(run);
}
END

TEST(an_offset_is_the_least_delay_of_an_hour_told_when_it_is_over)
{
	struct run *run = begin();
	for (int s = 0; s < 7200; s += 60)
		own(run, s, "one", s, 3600 + s / 60 % 5 * 10);
	ck_assert_uint_eq(event_count, 1);
	expect(run, 0, EVENT_CLOCK_OFF, "one", 0, 3600, 3600);
	ck_assert_double_eq(events[0].before, 60.0);
	passes(run, 7199);
	ck_assert_uint_eq(event_count, 1);
	passes(run, 7200);
	ck_assert_uint_eq(event_count, 2);
	expect(run, 1, EVENT_CLOCK_OFF, "one", 3600, 7200, 3600);
	passes(run, 90000);
	ck_assert_uint_eq(event_count, 2);
	run_free(run);
}
END

/* Rows of each minute, in batches of so long, delivered so long after their end. */
TEST(batches_tell_nothing_however_regular_and_late)
{
	static const int batches[][2] = {{7200, 5}, {3600, 300}, {1800, 150}, {300, 100},
		{7200, 3600}, {86400, 5}, {120, 130}};
	for (size_t i = 0; i < ARRAY_LEN(batches); i++) {
		struct run *run = begin();
		for (int s = 0; s < 3 * 86400; s += 60) {
			int batch = batches[i][0];
			own(run, s, "one", s, batch - s % batch + batches[i][1]);
		}
		passes(run, 4 * 86400);
		ck_assert_msg(event_count == 0, "%d s + %d s: %zu events", batches[i][0],
			batches[i][1], event_count);
		run_free(run);
	}
}
END

/* Times cut to whole minutes; a time that is repeated is no later for that. */
TEST(a_clock_that_writes_minutes_and_repeats_them_is_even)
{
	struct run *run = begin();
	for (int s = 0; s < 3600; s += 427)
		own(run, s - s % 60, "one", s, 3600 + s % 60);
	for (int s = 3600; s < 7200; s += 10)
		own(run, s - s % 600, "three", 1, 700 + s % 600);
	passes(run, 7200);
	ck_assert_uint_eq(event_count, 2);
	expect(run, 0, EVENT_CLOCK_OFF, "one", 0, 3600, 3600);
	expect(run, 1, EVENT_CLOCK_OFF, "three", 3600, 7200, 700);
	run_free(run);
}
END

TEST(an_hour_ends_in_time_that_nothing_holds_in)
{
	struct run *run = begin();
	own(run, 10, "one", 1, 700);
	own(run, 500000, "one", 1, 0);
	ck_assert_uint_eq(event_count, 1);
	expect(run, 0, EVENT_CLOCK_OFF, "one", 0, 3600, 700);
	run_free(run);
}
END

TEST(a_clock_ahead_is_told_with_its_sign)
{
	struct run *run = begin();
	for (int s = 0; s < 3600; s += 60)
		own(run, s, "three", 1, -90 + s / 60.0);
	passes(run, 3600);
	ck_assert_uint_eq(event_count, 1);
	expect(run, 0, EVENT_CLOCK_OFF, "three", 0, 3600, -90);
	run_free(run);
}
END

TEST(channels_of_a_source_tell_once_unless_their_clocks_differ)
{
	struct run *run = begin();
	for (int s = 0; s < 3600; s += 60) {
		own(run, s, "one", 1, 3600);
		own(run, s, "two", 1, 3630);
		own(run, s, "three", 1, 3600);
		own(run, s, "state", 0, 120);
	}
	passes(run, 3600);
	ck_assert_uint_eq(event_count, 3);
	expect(run, 0, EVENT_CLOCK_OFF, "one", 0, 3600, 3600);
	expect(run, 1, EVENT_CLOCK_OFF, "three", 0, 3600, 3600);
	expect(run, 2, EVENT_CLOCK_OFF, "state", 0, 3600, 120);
	run_free(run);
}
END

TEST(times_that_stand_still_are_told_with_how_long_they_did)
{
	struct run *run = begin();
	own(run, 0, "one", 1, 0);
	for (int m = 0; m < 3000; m++) {
		own(run, 60, "one", m % 7, m * 60);
		own(run, 60, "two", 5, m * 60);
		own(run, 60, "three", 5, m * 60);
	}
	passes(run, 3600);
	ck_assert_uint_eq(event_count, 2);
	expect(run, 0, EVENT_CLOCK_STUCK, "one", 60, 3600, 2999 * 60);
	ck_assert_double_eq(events[0].before, 1);
	expect(run, 1, EVENT_CLOCK_STUCK, "three", 60, 3600, 2999 * 60);
	ck_assert_double_eq(events[1].before, 0);
	run_free(run);
}
END

TEST(what_is_repeated_seldom_or_shortly_or_holds_anyway_does_not_stand_still)
{
	struct run *run = begin();
	for (int i = 0; i < 4; i++) /* a broker's queue, once more */
		own(run, 0, "one", 1, i * 1000);
	for (int i = 0; i < 14; i++)
		own(run, 60, "one", i, i * 60);
	for (int i = 0; i < 1000; i++) /* the time of its last change */
		own(run, 120, "state", 1, i * 60);
	passes(run, 3600);
	ck_assert_uint_eq(event_count, 0);
	for (int i = 0; i < 1000; i++)
		own(run, 3720, "state", i & 1, i * 60);
	passes(run, 7200);
	ck_assert_uint_eq(event_count, 1);
	expect(run, 0, EVENT_CLOCK_STUCK, "state", 3720, 7200, 999 * 60);
	run_free(run);
}
END

TEST(the_longest_of_an_hour_is_told)
{
	struct run *run = begin();
	for (int n = 1; n <= 5; n++)
		for (int i = 0; i <= 10; i++)
			own(run, n * 60, "one", i & 1, i * (n == 3 ? 300 : 100));
	passes(run, 3600);
	ck_assert_uint_eq(event_count, 1);
	expect(run, 0, EVENT_CLOCK_STUCK, "one", 180, 3600, 3000);
	run_free(run);
}
END

TEST(what_is_repeated_while_it_holds_or_until_a_newer_one_does_not_stand_still)
{
	struct run *run = begin();
	for (int s = 0; s < 3 * 86400; s += 300) /* an observation each hour */
		own(run, s - s % 3600, "slow", s - s % 3600, s % 3600);
	for (int i = 0; i <= 24; i++) /* for as long as it holds */
		own(run, 3 * 86400, "slow", 1, i * 300);
	passes(run, 4 * 86400);
	ck_assert_uint_eq(event_count, 0);
	for (int s = 4 * 86400; s < 4 * 86400 + 3600; s += 600)
		for (int i = 0; i < 100; i++) /* a cache beside what goes on */
			own(run, s, "one", 1, i * 60);
	passes(run, 5 * 86400);
	ck_assert_uint_eq(event_count, 1); /* but for the last of the hour */
	expect(run, 0, EVENT_CLOCK_STUCK, "one", 4 * 86400 + 3000, 4 * 86400 + 3600,
		99 * 60);
	for (int i = 0; i <= 25; i++)
		own(run, 6 * 86400, "slow", 1, i * 300);
	passes(run, 7 * 86400);
	ck_assert_uint_eq(event_count, 2);
	expect(run, 1, EVENT_CLOCK_STUCK, "slow", 6 * 86400, 6 * 86400 + 3600, 7500);
	run_free(run);
}
END

TEST(readings_without_a_time_of_their_own_and_rows_tell_nothing)
{
	struct run *run = begin();
	for (int s = 0; s < 3600; s += 60) {
		struct reading row = {.t_ms = at_ms(s),
			.value = 1,
			.kind = READING_VALUE,
			.exact_ms = 3600000,
			.table = 1};
		engine_feed(run->engine, &row);
		says(run, s, "two", 1);
	}
	passes(run, 7200);
	ck_assert_uint_eq(event_count, 0);
	run_free(run);
}
END

/* The two halves of the word: a message's reading holds to its limits. */
TEST(how_far_behind_it_was_is_not_how_long_it_holds)
{
	struct run *run = begin();
	own(run, 0, "one", 1, 3600);
	passes(run, 7200);
	ck_assert_uint_eq(run->count, 10); /* the source's silence ends it */
	ck_assert_int_eq(known_ms(run, 9, "one"), 60000);
	run_free(run);
}
END

TESTS(a_clock_that_is_right_tells_nothing_however_slow_the_line,
	an_offset_is_the_least_delay_of_an_hour_told_when_it_is_over,
	batches_tell_nothing_however_regular_and_late,
	a_clock_that_writes_minutes_and_repeats_them_is_even,
	an_hour_ends_in_time_that_nothing_holds_in, a_clock_ahead_is_told_with_its_sign,
	channels_of_a_source_tell_once_unless_their_clocks_differ,
	times_that_stand_still_are_told_with_how_long_they_did,
	what_is_repeated_seldom_or_shortly_or_holds_anyway_does_not_stand_still,
	the_longest_of_an_hour_is_told,
	what_is_repeated_while_it_holds_or_until_a_newer_one_does_not_stand_still,
	readings_without_a_time_of_their_own_and_rows_tell_nothing,
	how_far_behind_it_was_is_not_how_long_it_holds)
