/*
 * Findings about the clocks of sources, out of events made by hand: by how much, since
 * when, of which kind, and not where something else is late.
 */
#include "made_days.h"

#include <math.h>

static const char clocks[] =
	"[source gateway]\ntopics = g/#\n"
	"[channel hall]\ntopic = g/1\nunit = W\npointer = /v\ntime = payload\n"
	"time_pointer = /t\n"
	"[channel yard]\ntopic = g/2\nunit = W\npointer = /v\ntime = payload\n"
	"time_pointer = /t\n"
	"[source meter]\ntopics = m/#\n"
	"[channel cellar]\ntopic = m/1\nunit = W\npointer = /v\ntime = payload\n"
	"time_pointer = /t\n";

enum { MADE_MOST = 1000 };

struct made {
	struct made_days *m;
	struct config *plain;
	struct event events[MADE_MOST];
};

static struct made *made_new(void)
{
	struct made *t = xcalloc(1, sizeof(*t));
	t->m = days_new();
	t->plain = t->m->config;
	t->m->config = with(clocks);
	t->m->input.config = t->m->config;
	t->m->input.events = t->events;
	return t;
}

static void made_free(struct made *t)
{
	config_free(t->plain);
	days_free(t->m);
	free(t);
}

static int64_t hour_ms(int hour)
{
	return START * MS_PER_MIN + hour * MS_PER_HOUR;
}

static void event(struct made *t, enum event_kind kind, const char *channel, int64_t t_ms,
	double before, double after)
{
	ck_assert_uint_lt(t->m->input.event_count, MADE_MOST);
	t->events[t->m->input.event_count++] = (struct event){.kind = kind,
		.t_ms = t_ms,
		.made_ms = t_ms + MS_PER_HOUR - 1,
		.subject = (uint16_t)channel_named(t->m->config, channel),
		.before = before,
		.after = after};
}

static void off(struct made *t, const char *channel, int hour, double behind_s)
{
	event(t, EVENT_CLOCK_OFF, channel, hour_ms(hour), 60.0, behind_s);
}

static void says(const struct finding *f, const char *words)
{
	ck_assert_msg(
		strstr(f->evidence, words), "'%s' is not in: %s", words, f->evidence);
}

TEST(a_zone_error_is_named_with_its_hours_and_channels)
{
	struct made *t = made_new();
	for (int h = 100; h < 220; h++)
		off(t, h % 5 ? "hall" : "yard", h, 3600 + h % 20);
	const struct finding *f = only(t->m, FINDING_CLOCK_OFF);
	ck_assert_str_eq(f->subject, "gateway");
	ck_assert_int_eq(f->since_ms, hour_ms(100));
	ck_assert_int_eq(f->until_ms, hour_ms(220));
	ck_assert_double_eq(f->size, 60.0);
	ck_assert_str_eq(f->unit, "min");
	ck_assert(!f->lasts);
	says(f, "60 minutes behind their arrival, by the least of each of 120 hours");
	expect_advice(f, "time zone");
	expect_advice(f, "time = arrival in the sections of hall, yard, then heatbookd "
			 "rebuild --from 2026-01-05");
	made_free(t);
}
END

/* What it wrote over lies before the first hour that is its own alone. */
TEST(a_remedy_begins_where_the_clock_wrote_first)
{
	static const struct {
		int hour;
		double behind_s;
		const char *from;
	} rows[] = {{24, 7200, "2026-01-01"}, {24, -7200, "2026-01-01"},
		{25, -7200, "2026-01-02"}, {26, 3600, "2026-01-02"},
		{25, 3600, "2026-01-01"}, {47, 3600, "2026-01-02"}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made *t = made_new();
		for (int h = rows[i].hour; h < rows[i].hour + 9; h++)
			off(t, "hall", h, rows[i].behind_s);
		const struct finding *f = only(t->m, FINDING_CLOCK_OFF);
		ck_assert_int_eq(f->since_ms, hour_ms(rows[i].hour));
		expect_advice(f, rows[i].from);
		made_free(t);
	}
}
END

TEST(a_zone_error_may_be_of_quarters_and_ahead)
{
	struct made *t = made_new();
	for (int h = DAYS * 24 - 30; h < DAYS * 24; h++)
		off(t, "cellar", h, -2700 + h % 7);
	const struct finding *f = only(t->m, FINDING_CLOCK_OFF);
	ck_assert_str_eq(f->subject, "meter");
	ck_assert_double_eq(f->size, -45.0);
	ck_assert(f->lasts);
	says(f, "45 minutes ahead of their arrival");
	says(f, "refused");
	expect_advice(f, "time zone");
	made_free(t);
}
END

TEST(another_offset_is_a_clock_set_wrong)
{
	struct made *t = made_new();
	for (int h = 0; h < 50; h++)
		off(t, "hall", h, 12 * 60 + 10 + h % 3);
	const struct finding *f = only(t->m, FINDING_CLOCK_OFF);
	says(f, "12.2 minutes behind");
	expect_advice(f, "no error of the time zone");
	made_free(t);
}
END

/* 3 s an hour; every tenth day nothing comes. */
TEST(a_drift_is_one_finding_with_where_it_began)
{
	struct made *t = made_new();
	for (int h = 0; h < 900; h++)
		if (h / 24 % 10 != 9)
			off(t, "hall", h, 120 + 3 * h + h % 5);
	const struct finding *f = only(t->m, FINDING_CLOCK_OFF);
	ck_assert_int_eq(f->since_ms, hour_ms(0));
	ck_assert_int_eq(f->until_ms, hour_ms(900));
	ck_assert_double_eq_tol(f->size, 47.0, 0.1);
	says(f, "it began with 2 minutes");
	expect_advice(f, "drifts");
	made_free(t);
}
END

/* Set anew, and wrong again: nothing drifts. */
TEST(two_offsets_of_a_clock_are_two_findings)
{
	static const struct {
		int from, to; /* hours */
		double behind_s;
	} rows[] = {{0, 72, 300}, {72, 144, 720}, {150, 200, 1260}};
	struct made *t = made_new();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		for (int h = rows[i].from; h < rows[i].to; h++)
			off(t, "hall", h, rows[i].behind_s + h % 7);
	findings_of(&t->m->input, &t->m->list);
	ck_assert_uint_eq(t->m->list.count, ARRAY_LEN(rows));
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) { /* the last one comes first */
		const struct finding *f = &t->m->list.items[ARRAY_LEN(rows) - 1 - i];
		ck_assert_int_eq(f->kind, FINDING_CLOCK_OFF);
		ck_assert_int_eq(f->since_ms, hour_ms(rows[i].from));
		ck_assert_int_eq(f->until_ms, hour_ms(rows[i].to));
		ck_assert_double_eq_tol(f->size, rows[i].behind_s / 60.0, 0.1);
		ck_assert_ptr_null(strstr(f->remedy, "drifts"));
	}
	made_free(t);
}
END

/* An hourly source whose clock is off says so in each of its hours. */
TEST(a_clock_of_a_source_that_speaks_seldom_is_told_too)
{
	struct made *t = made_new();
	for (int h = 24; h < 96; h++)
		event(t, EVENT_CLOCK_OFF, "cellar", hour_ms(h), 3600.0, 7200.0);
	const struct finding *f = only(t->m, FINDING_CLOCK_OFF);
	ck_assert_double_eq(f->size, 120.0);
	says(f, "72 hours");
	made_free(t);
}
END

TEST(two_clocks_of_a_source_are_two_findings)
{
	struct made *t = made_new();
	for (int h = 0; h < 10; h++) {
		off(t, "hall", h, 3600);
		off(t, "yard", h, 300);
	}
	findings_of(&t->m->input, &t->m->list);
	ck_assert_uint_eq(t->m->list.count, 2);
	made_free(t);
}
END

TEST(what_is_late_for_another_reason_is_no_clock)
{
	struct made *t = made_new();
	for (int h = 0; h < 24; h++) /* a day's batch at its end, a backlog */
		off(t, "hall", h, (24 - h) * 3600);
	for (int h = 100; h < 200; h++) /* batches of three hours */
		if (h % 3)
			off(t, "hall", h, 3600 * (3 - h % 3));
	for (int h = 300; h < 400; h++) /* times mark the begin of a quarter */
		event(t, EVENT_CLOCK_OFF, "cellar", hour_ms(h), 900.0, 902.0);
	for (int h = 300; h < 400; h++) /* an observation an hour, known later */
		event(t, EVENT_CLOCK_OFF, "hall", hour_ms(h), 3600.0, 600.0);
	for (int h = 400; h < 500; h++) /* less than what matters */
		off(t, "hall", h, 100);
	for (int h = 420; h < 500; h++) /* hourly ones, two at a time after the second */
		event(t, EVENT_CLOCK_OFF, "cellar", hour_ms(h), 3600.0,
			h % 2 ? 600.0 : 4200.0);
	off(t, "hall", 600, 3600); /* twice is not often */
	off(t, "hall", 601, 3600);
	none(t->m);
	made_free(t);
}
END

TEST(times_that_stand_still_name_the_clock_or_the_cache)
{
	for (int moved = 0; moved < 2; moved++) {
		struct made *t = made_new();
		event(t, EVENT_CLOCK_STUCK, "hall", hour_ms(50), moved, 72 * 3600.0);
		const struct finding *f = only(t->m, FINDING_CLOCK_STUCK);
		ck_assert_str_eq(f->subject, "gateway");
		ck_assert_int_eq(f->since_ms, hour_ms(50));
		ck_assert_int_eq(f->until_ms, hour_ms(122));
		ck_assert_double_eq(f->size, 72 * 60.0);
		says(f, moved ? "3 days, with values that went on changing"
			      : "3 days, always with the same values");
		expect_advice(f, moved ? "stands still" : "repeats its last word");
		expect_advice(f, moved ? "time = arrival" : "set stale_after");
		if (!moved)
			ck_assert_ptr_null(strstr(f->remedy, "arrival"));
		made_free(t);
	}
}
END

TEST(repeated_times_of_neighbouring_days_are_one_finding)
{
	struct made *t = made_new();
	for (int day = 3; day < 8; day++)
		event(t, EVENT_CLOCK_STUCK, "hall", hour_ms(day * 24), 0, 7200.0);
	event(t, EVENT_CLOCK_STUCK, "hall", hour_ms(20 * 24), 0, 1800.0);
	findings_of(&t->m->input, &t->m->list);
	ck_assert_uint_eq(t->m->list.count, 2);
	ck_assert_double_eq(t->m->list.items[0].size, 30.0);
	ck_assert_double_eq(t->m->list.items[1].size, 120.0);
	says(&t->m->list.items[1], "5 times, for up to 120 minutes");
	made_free(t);
}
END

/* What is missing then is in the journal: broker and network are not to blame. */
TEST(minutes_that_a_clock_took_are_told_from_an_outage)
{
	static const struct {
		enum event_kind kind;
		int hour; /* before the outage */
		double after;
		const char *words;
	} rows[] = {
		{EVENT_CLOCK_STUCK, 0, 10 * 3600.0, "stood still"},
		{EVENT_CLOCK_OFF, 1, 3 * 3600.0, "are behind"},
		{EVENT_CLOCK_OFF, 0, -3600.0, "are ahead"},
		{EVENT_CLOCK_STUCK, 5, 3600.0, NULL},
		{EVENT_CLOCK_OFF, 1, 600.0, NULL},
		{EVENT_CLOCK_OFF, 9, -3600.0, NULL},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made *t = made_new();
		struct evidence *e = add(t->m, 7, EVIDENCE_MISSING, -1, 600, 120);
		const struct finding *found = NULL;
		e->values[0] = MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL;
		event(t, rows[i].kind, "hall", hour_ms(7 * 24 + 10 - rows[i].hour), 60,
			rows[i].after);
		findings_of(&t->m->input, &t->m->list);
		for (size_t k = 0; k < t->m->list.count; k++)
			if (t->m->list.items[k].kind == FINDING_MISSING_MINUTES)
				found = &t->m->list.items[k];
		ck_assert_ptr_nonnull(found);
		if (rows[i].words)
			says(found, rows[i].words);
		expect_advice(found, rows[i].words ? "are in the journal" : "See broker");
		made_free(t);
	}
}
END

TESTS(a_zone_error_is_named_with_its_hours_and_channels,
	a_remedy_begins_where_the_clock_wrote_first,
	a_zone_error_may_be_of_quarters_and_ahead, another_offset_is_a_clock_set_wrong,
	a_drift_is_one_finding_with_where_it_began,
	two_offsets_of_a_clock_are_two_findings,
	a_clock_of_a_source_that_speaks_seldom_is_told_too,
	two_clocks_of_a_source_are_two_findings,
	what_is_late_for_another_reason_is_no_clock,
	times_that_stand_still_name_the_clock_or_the_cache,
	repeated_times_of_neighbouring_days_are_one_finding,
	minutes_that_a_clock_took_are_told_from_an_outage)
