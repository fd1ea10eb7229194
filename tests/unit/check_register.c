/*
 * The rules of energy registers, row by row: which readings are believed, which spans
 * close when, and what each counted.
 *
 * Reference: heatbook's own rules as written at the top of daemon/account/register.c.
 * Energies are sums of whole joules: every expected value is exact.
 */
#include "unit.h"

#include "../../daemon/account/register.h"

#include <heatbook/calendar.h>

#define ZERO_MS INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */
#define KWH     INT64_C(3600000)
#define STEP    INT64_C(36000) /* 0.01 kWh */
#define SPANS   112
#define EVENTS  24

static const struct register_config counts_on = {
	.kind = REGISTER_COUNTS_ON, .step_j = STEP, .most_w = 20e3};

struct run {
	struct register_account account;
	struct settlement spans[SPANS];
	size_t count;
	struct event events[EVENTS];
	size_t event_count;
};

static void keep(const struct settlement *settlement, void *context)
{
	struct run *run = context;
	ck_assert_uint_lt(run->count, SPANS);
	run->spans[run->count++] = *settlement;
}

static void keep_event(const struct event *event, void *context)
{
	struct run *run = context;
	ck_assert_uint_lt(run->event_count, EVENTS);
	run->events[run->event_count++] = *event;
}

static void start(struct run *run, const struct register_config *config)
{
	memset(run, 0, sizeof(*run));
	register_init(&run->account, config);
	register_reset(&run->account, ZERO_MS / MS_PER_MIN);
}

/* Time passes from one instant to the next at a power, or an unknown one (negative). */
static void passes(struct run *run, int64_t from_ms, int64_t to_ms, double w)
{
	while (from_ms < to_ms) {
		int64_t edge = (floor_div(from_ms, MS_PER_MIN) + 1) * MS_PER_MIN;
		int64_t end = edge < to_ms ? edge : to_ms;
		if (w >= 0)
			register_power(&run->account, w * (double)(end - from_ms) / 1000,
				end - from_ms);
		if (end == edge)
			register_minute(&run->account, end / MS_PER_MIN);
		from_ms = end;
	}
}

static enum register_verdict says(struct run *run, double at_s, int64_t raw_j)
{
	const struct register_sinks sinks = {keep, keep_event, run};
	return register_report(
		&run->account, ZERO_MS + llround(at_s * 1000), raw_j, &sinks);
}

static int64_t counted(const struct run *run)
{
	int64_t sum = 0;
	for (size_t i = 0; i < run->count; i++)
		sum += run->spans[i].j;
	return sum;
}

/* ---- which readings are believed ---- */

/* One reading `after_s` after a first one at `last`. */
TEST(a_reading_is_judged_by_the_last_one)
{
	static const struct {
		const char *what;
		int64_t modulus, last, next;
		double after_s;
		enum register_verdict verdict;
	} rows[] = {
		{"below zero", 0, 100 * KWH, -1, 60, REGISTER_BAD},
		{"at the modulus", 1000 * KWH, 1, 1000 * KWH, 60, REGISTER_BAD},
		{"below it", 1000 * KWH, 999 * KWH, 1000 * KWH - 1, 180, REGISTER_TAKEN},
		{"no change", 0, 100 * KWH, 100 * KWH, 60, REGISTER_TAKEN},
		{"20 kW for 60 s and two steps", 0, 100 * KWH,
			100 * KWH + 1200000 + 2 * STEP, 60, REGISTER_TAKEN},
		{"a joule more", 0, 100 * KWH, 100 * KWH + 1200000 + 2 * STEP + 1, 60,
			REGISTER_WAITS},
		{"20 kW for 30 days", 0, 100 * KWH, 14500 * KWH, 30 * 86400.0,
			REGISTER_TAKEN},
		{"more than 20 kW for 30 days", 0, 100 * KWH, 14501 * KWH, 30 * 86400.0,
			REGISTER_WAITS},
		{"at the same instant two steps", 0, 100 * KWH, 100 * KWH + 2 * STEP, 0,
			REGISTER_TAKEN},
		{"two steps back", 0, 100 * KWH, 100 * KWH - 2 * STEP, 60,
			REGISTER_JITTER},
		{"a joule more back", 0, 100 * KWH, 100 * KWH - 2 * STEP - 1, 60,
			REGISTER_WAITS},
		{"no wrap without modulus", 0, 999 * KWH, 1 * KWH, 3600, REGISTER_WAITS},
		{"a wrap", 1000 * KWH, 999 * KWH, 1 * KWH, 3600, REGISTER_WRAPPED},
		{"a wrap beyond the limit", 1000 * KWH, 995 * KWH, 16 * KWH, 3600,
			REGISTER_WAITS},
		{"not over 90 % before", 1000 * KWH, 900 * KWH, 1 * KWH, 100 * 3600.0,
			REGISTER_WAITS},
		{"not under 10 % after", 1000 * KWH, 999 * KWH, 100 * KWH, 100 * 3600.0,
			REGISTER_WAITS},
		{"back to nothing", 0, 100 * KWH, 0, 60, REGISTER_WAITS},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct register_config config = counts_on;
		struct run run;
		config.modulus_j = rows[i].modulus;
		start(&run, &config);
		ck_assert_int_eq(says(&run, 0, rows[i].last), REGISTER_FIRST);
		enum register_verdict got = says(&run, rows[i].after_s, rows[i].next);
		ck_assert_msg(got == rows[i].verdict, "%s: %d, expected %d", rows[i].what,
			(int)got, (int)rows[i].verdict);
	}
}
END

/* 2^34 J ≈ 4,772 kWh: floats of 32 bits are 1024 J apart below it, 2048 J above. */
TEST(a_float_of_32_bits_may_fall_by_four_places)
{
	static const struct {
		int64_t fall_j;
		enum register_verdict verdict;
	} rows[] = {{4 * 2048, REGISTER_JITTER}, {4 * 2048 + 1, REGISTER_WAITS}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct register_config config = counts_on;
		struct run run;
		int64_t at = (INT64_C(1) << 34) + 4096;
		config.step_j = 3600;
		start(&run, &config);
		says(&run, 0, at);
		ck_assert_int_eq(says(&run, 60, at - rows[i].fall_j), rows[i].verdict);
	}
}
END

TEST(jitter_keeps_the_last_reading)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 100 * KWH);
	says(&run, 600, 100 * KWH + 10 * STEP);
	says(&run, 660, 100 * KWH + 9 * STEP);
	says(&run, 720, 100 * KWH + 10 * STEP);
	says(&run, 1200, 100 * KWH + 20 * STEP);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].j, 20 * STEP);
}
END

TEST(a_wrap_adds_what_the_modulus_hides)
{
	struct register_config config = counts_on;
	struct run run;
	config.modulus_j = 65536 * KWH;
	start(&run, &config);
	says(&run, 0, 65535 * KWH);
	says(&run, 3600, 2 * KWH);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].j, 3 * KWH);
	ck_assert_int_eq(run.spans[0].from_j, 65535 * KWH);
	ck_assert_int_eq(run.spans[0].to_j, 2 * KWH);
}
END

TEST(a_glitch_that_falls_back_is_dropped)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 100 * KWH);
	ck_assert_int_eq(says(&run, 60, 900 * KWH), REGISTER_WAITS);
	ck_assert_int_eq(says(&run, 120, 900 * KWH), REGISTER_WAITS);
	ck_assert_int_eq(says(&run, 180, 100 * KWH + STEP), REGISTER_TAKEN);
	ck_assert_int_eq(says(&run, 240, 900 * KWH), REGISTER_WAITS);
	ck_assert_int_eq(says(&run, 1200, 100 * KWH + 20 * STEP), REGISTER_TAKEN);
	ck_assert_int_eq(counted(&run), 20 * STEP);
	ck_assert_uint_eq(run.count, 1);
}
END

/* Old and new reading are told, nothing is added for the time between; what the new one
 * counts while it waits is. */
TEST(a_register_that_stays_elsewhere_is_a_new_beginning)
{
	static const struct {
		const char *what;
		int64_t to;
		double at_s[3]; /* 0: no such reading */
		enum register_verdict last;
		int64_t kind;
	} rows[] = {
		{"three reports", 0, {660, 670, 680}, REGISTER_ANEW, SETTLEMENT_RESET},
		{"two are too few", 0, {660, 1259.999}, REGISTER_WAITS, -1},
		{"ten minutes", 0, {660, 1260}, REGISTER_ANEW, SETTLEMENT_RESET},
		{"the same instant counts once", 0, {660, 660, 661}, REGISTER_WAITS, -1},
		{"another meter", 5000 * KWH, {660, 670, 680}, REGISTER_ANEW,
			SETTLEMENT_REPLACED},
		{"an older one", 50 * KWH, {660, 670, 680}, REGISTER_ANEW,
			SETTLEMENT_REPLACED},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		enum register_verdict verdict = REGISTER_BAD;
		struct run run;
		start(&run, &counts_on);
		says(&run, 0, 100 * KWH);
		says(&run, 600, 100 * KWH + 10 * STEP);
		for (size_t n = 0; n < 3 && rows[i].at_s[n] > 0; n++)
			verdict = says(&run, rows[i].at_s[n],
				rows[i].to + (int64_t)(rows[i].at_s[n] > 661) * STEP);
		ck_assert_msg(
			verdict == rows[i].last, "%s: %d", rows[i].what, (int)verdict);
		if (rows[i].kind < 0) {
			ck_assert_uint_eq(run.count, 0);
			continue;
		}
		/* What the old one counted, then the event. */
		ck_assert_uint_eq(run.count, 2);
		ck_assert_int_eq(run.spans[0].j, 10 * STEP);
		ck_assert_int_eq(run.spans[0].end_ms, ZERO_MS + 600000);
		ck_assert_int_eq(run.spans[1].kind, rows[i].kind);
		ck_assert_int_eq(run.spans[1].j, 0);
		ck_assert_int_eq(run.spans[1].from_j, 100 * KWH + 10 * STEP);
		ck_assert_int_eq(run.spans[1].to_j, rows[i].to);
		ck_assert_int_eq(run.spans[1].begin_ms, ZERO_MS + 600000);
		ck_assert_int_eq(run.spans[1].end_ms, ZERO_MS + 660000);
		says(&run, 2000, rows[i].to + 21 * STEP);
		ck_assert_uint_eq(run.count, 3);
		ck_assert_int_eq(run.spans[2].j, 21 * STEP);
		ck_assert_int_eq(run.spans[2].begin_ms, ZERO_MS + 660000);
	}
}
END

/* A reader that repeats 100.2 kWh for eight hours, of which power (where there is any)
 * knows, then says what the meter counted meanwhile, three times. */
TEST(what_was_counted_behind_a_standing_reading_is_caught_up)
{
	static const struct {
		const char *what;
		double power_w; /* below 0: unknown */
		int64_t to;
		enum register_verdict verdict;
		int64_t counted;
	} rows[] = {
		{"2 kW, as power says", 2000, 116 * KWH, REGISTER_TAKEN, 16 * KWH},
		{"a fourth beside it", 2000, 120 * KWH, REGISTER_TAKEN, 20 * KWH},
		{"more than twice of it", 2000, 133 * KWH, REGISTER_ANEW, KWH / 5},
		{"less than it", 2000, 102 * KWH, REGISTER_TAKEN, 2 * KWH},
		{"nothing by power", 0, 110 * KWH, REGISTER_ANEW, KWH / 5},
		{"without power", -1, 116 * KWH, REGISTER_TAKEN, 16 * KWH},
		{"more than 20 kW for all of it", -1, 300 * KWH, REGISTER_ANEW, KWH / 5},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		enum register_verdict verdict = REGISTER_BAD;
		struct run run;
		start(&run, &counts_on);
		says(&run, 0, 100 * KWH);
		for (int minute = 0; minute < 483; minute++) {
			int64_t at_ms = ZERO_MS + minute * MS_PER_MIN;
			passes(&run, at_ms, at_ms + MS_PER_MIN, rows[i].power_w);
			verdict = says(&run, 60.0 * (minute + 1),
				minute >= 480 ? rows[i].to
				: minute < 5  ? 100 * KWH + KWH / 25 * minute
					      : 100 * KWH + KWH / 5);
		}
		ck_assert_msg(
			verdict == rows[i].verdict, "%s: %d", rows[i].what, (int)verdict);
		ck_assert_msg(counted(&run) == rows[i].counted, "%s: %lld J",
			rows[i].what, (long long)counted(&run));
		ck_assert_msg(run.event_count == (verdict == REGISTER_ANEW), "%s: %zu",
			rows[i].what, run.event_count);
		if (verdict == REGISTER_TAKEN)
			ck_assert_int_eq(run.spans[run.count - 1].end_ms,
				ZERO_MS + 483 * MS_PER_MIN);
	}
}
END

/* An unused heater's register, asked each hour for 90 days and a half: spans of nothing
 * are over each day, and what is over is not asked again. A glitch is one, however long
 * it stood before. */
TEST(a_register_that_stood_for_a_season_catches_up_a_day_at_most)
{
	static const struct {
		int64_t to;
		int times; /* then it says what it said before */
		int64_t counted;
	} rows[] = {{510 * KWH, 4, 0}, {105 * KWH, 4, 5 * KWH}, {105 * KWH, 2, 0}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct run run;
		start(&run, &counts_on);
		for (int hour = 0; hour <= 90 * 24 + 12; hour++)
			says(&run, 3600.0 * hour, 100 * KWH);
		for (int n = 1; n <= 4; n++)
			says(&run, 3600.0 * (90 * 24 + 12) + 60.0 * n,
				n <= rows[i].times ? rows[i].to : 100 * KWH);
		ck_assert_int_eq(counted(&run), rows[i].counted);
		ck_assert_uint_eq(run.event_count, rows[i].counted == 0);
	}
}
END

/* Tenths of kilowatt-hours, whole ones or tens, said each few seconds under a step of
 * 0.01 kWh: each of them is more than 20 kW since the reading before, and more than power
 * said since the first one, and yet the meter counted it. */
TEST(steps_larger_than_the_configured_one_lose_nothing)
{
	static const int64_t units[] = {KWH / 10, KWH, 10 * KWH};
	static const int each_s[] = {10, 30, 60};
	static const double watts[] = {300, 1500, 9000};
	for (int i = 0; i < 54; i++) {
		const int64_t unit = units[i / 9 % 3];
		const double w = watts[i % 3];
		const int each = each_s[i / 3 % 3];
		static struct run run;
		start(&run, &counts_on);
		double j = (double)(980 * KWH) + 0.7 * (double)unit;
		int64_t said = 0, first = llround(j) / unit * unit, t_s = 0;
		for (; t_s < 30 * 3600; t_s += each) {
			said = llround(j) / unit * unit;
			says(&run, (double)t_s, said);
			passes(&run, ZERO_MS + t_s * 1000, ZERO_MS + (t_s + each) * 1000,
				i < 27 ? -1 : w);
			j += w * each;
			run.count = 0;
		}
		for (int k = 0; k < 3; k++)
			says(&run, (double)(t_s + k), said);
		int64_t counted_j = run.account.state.last.total_j;
		ck_assert_msg(counted_j == said - first,
			"%lld J each %d s at %g W: %lld J of %lld", (long long)unit, each,
			w, (long long)counted_j, (long long)(said - first));
		ck_assert_msg(run.event_count == 0, "%lld J each %d s at %g W: %s",
			(long long)unit, each, w, event_kind_name(run.events[0].kind));
	}
}
END

TEST(readings_that_wait_must_agree)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 100 * KWH);
	says(&run, 60, 3000 * KWH);
	says(&run, 120, 10 * KWH);
	ck_assert_int_eq(says(&run, 180, 3000 * KWH), REGISTER_WAITS);
	ck_assert_int_eq(says(&run, 190, 3000 * KWH), REGISTER_WAITS);
	ck_assert_int_eq(says(&run, 200, 3000 * KWH), REGISTER_ANEW);
	ck_assert_int_eq(run.spans[0].end_ms, ZERO_MS + 180000);
}
END

/* ---- events ---- */

/* A reading a minute, kWh, and what is told of them: when it happened and when it became
 * certain (in minutes), with the old and the new reading. */
TEST(what_a_register_went_through_is_told_with_both_readings)
{
	static const struct {
		const char *what;
		enum register_kind kind;
		int64_t modulus_kwh;
		size_t says;
		double said[8];
		size_t count;
		struct {
			enum event_kind kind;
			int at, made;
			double before, after;
		} told[2];
	} rows[] = {
		{"nothing but counting", REGISTER_COUNTS_ON, 0, 3, {10, 10.01, 10.02}, 0,
			{{0}}},
		{"jitter", REGISTER_COUNTS_ON, 0, 3, {10.02, 10.01, 10.02}, 0, {{0}}},
		{"set back to nothing", REGISTER_COUNTS_ON, 0, 5, {10, 10.1, 0, 0, 0.01},
			1, {{EVENT_REGISTER_RESET, 2, 4, 10.1, 0}}},
		{"another meter", REGISTER_COUNTS_ON, 0, 4, {10, 5000, 5000, 5000}, 1,
			{{EVENT_REGISTER_REPLACED, 1, 3, 10, 5000}}},
		{"over the modulus", REGISTER_COUNTS_ON, 100, 2, {99.9, 0.1}, 1,
			{{EVENT_REGISTER_WRAPPED, 1, 1, 99.9, 0.1}}},
		{"beyond the modulus", REGISTER_COUNTS_ON, 100, 3, {10, 100, 10}, 1,
			{{EVENT_REGISTER_REFUSED, 1, 1, 10, 100}}},
		{"negative", REGISTER_COUNTS_ON, 0, 3, {10, -1, 10}, 1,
			{{EVENT_REGISTER_REFUSED, 1, 1, 10, -1}}},
		{"a glitch", REGISTER_COUNTS_ON, 0, 4, {10, 50, 50, 10}, 1,
			{{EVENT_REGISTER_REFUSED, 1, 3, 10, 50}}},
		{"a glitch, then another meter", REGISTER_COUNTS_ON, 0, 5,
			{10, 50, 70, 70, 70}, 2,
			{{EVENT_REGISTER_REFUSED, 1, 2, 10, 50},
				{EVENT_REGISTER_REPLACED, 2, 4, 10, 70}}},
		{"glitches without end", REGISTER_COUNTS_ON, 0, 8,
			{10, 50, 10, 50, 10, 50, 10, 50}, 1,
			{{EVENT_REGISTER_REFUSED, 1, 2, 10, 50}}},
		{"too large an increment", REGISTER_INCREMENT, 0, 4, {0.1, 0.1, 5, 0.1},
			1, {{EVENT_REGISTER_REFUSED, 2, 2, 0.1, 5}}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct register_config config = counts_on;
		struct run run;
		config.kind = rows[i].kind;
		config.modulus_j = rows[i].modulus_kwh * KWH;
		start(&run, &config);
		for (size_t k = 0; k < rows[i].says; k++)
			says(&run, 60.0 * (double)k,
				llround(rows[i].said[k] * (double)KWH));
		ck_assert_msg(run.event_count == rows[i].count, "%s: %zu", rows[i].what,
			run.event_count);
		for (size_t k = 0; k < rows[i].count; k++) {
			const struct event *e = &run.events[k];
			ck_assert_msg(e->kind == rows[i].told[k].kind, "%s: %s",
				rows[i].what, event_kind_name(e->kind));
			ck_assert_int_eq(
				e->t_ms, ZERO_MS + rows[i].told[k].at * MS_PER_MIN);
			ck_assert_int_eq(
				e->made_ms, ZERO_MS + rows[i].told[k].made * MS_PER_MIN);
			ck_assert_msg(
				fabs(e->before - rows[i].told[k].before) < 1e-9 &&
					fabs(e->after - rows[i].told[k].after) < 1e-9,
				"%s: %g %g", rows[i].what, e->before, e->after);
		}
	}
}
END

/* A mad register is told of once an hour. */
TEST(refused_readings_are_told_of_once_an_hour)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 100 * KWH);
	for (int minute = 1; minute <= 180; minute++)
		says(&run, 60.0 * minute, -1);
	ck_assert_uint_eq(run.event_count, 3);
	ck_assert_int_eq(run.events[2].t_ms, ZERO_MS + 121 * MS_PER_MIN);
}
END

/* ---- when spans close ---- */

TEST(a_span_closes_at_a_change)
{
	static const struct {
		const char *what;
		int64_t steps;
		double at_s;
		double w; /* of power, negative: unknown */
		bool closes;
	} rows[] = {
		{"19 steps", 19, 3600, 900, false},
		{"20 steps", 20, 3600, 900, true},
		{"a step just before three hours", 1, 10799.999, 900, false},
		{"a step at three hours", 1, 10800, 900, true},
		{"nothing at three hours", 0, 10800, 900, false},
		{"nothing for a week, by power", 0, 7 * 86400.0, 1, false},
		{"nothing for a day, without power", 0, 86400, -1, true},
		{"nothing for less", 0, 86399.999, -1, false},
		{"a step at three hours, without power", 1, 10800, -1, true},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		int64_t at_ms = llround(rows[i].at_s * 1000);
		struct run run;
		start(&run, &counts_on);
		says(&run, 0, 100 * KWH);
		passes(&run, ZERO_MS, ZERO_MS + at_ms, rows[i].w);
		says(&run, rows[i].at_s, 100 * KWH + rows[i].steps * STEP);
		ck_assert_msg(run.count == rows[i].closes, "%s: %zu spans", rows[i].what,
			run.count);
		if (!rows[i].closes)
			continue;
		ck_assert_int_eq(run.spans[0].begin_ms, ZERO_MS);
		ck_assert_int_eq(run.spans[0].end_ms, ZERO_MS + at_ms);
		ck_assert_int_eq(run.spans[0].j, rows[i].steps * STEP);
		ck_assert_int_eq(run.spans[0].kind,
			rows[i].w < 0 ? SETTLEMENT_SPREAD : SETTLEMENT_SHAPED);
		ck_assert_int_eq(run.spans[0].first, 1);
	}
}
END

/* The last reading of one span is the first of the next, and only the first span begins
 * amid a step. */
TEST(spans_follow_each_other)
{
	struct run run;
	start(&run, &counts_on);
	for (int64_t i = 0; i <= 100; i++)
		says(&run, (double)i * 90.5, 100 * KWH + i * 7 * STEP);
	ck_assert_uint_gt(run.count, 10);
	for (size_t i = 1; i < run.count; i++) {
		ck_assert_int_eq(run.spans[i].begin_ms, run.spans[i - 1].end_ms);
		ck_assert_int_eq(run.spans[i].from_j, run.spans[i - 1].to_j);
		ck_assert_int_eq(run.spans[i].first, 0);
	}
	ck_assert_int_eq(counted(&run), 99 * 7 * STEP);
}
END

TEST(power_for_half_of_the_span_gives_it_a_shape)
{
	static const struct {
		int64_t known_ms;
		int64_t kind;
	} rows[] = {{1800000, SETTLEMENT_SHAPED}, {1799999, SETTLEMENT_SPREAD}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct run run;
		start(&run, &counts_on);
		says(&run, 0, 0);
		passes(&run, ZERO_MS, ZERO_MS + rows[i].known_ms, 1000);
		passes(&run, ZERO_MS + rows[i].known_ms, ZERO_MS + 3600000, -1);
		says(&run, 3600, KWH);
		ck_assert_uint_eq(run.count, 1);
		ck_assert_int_eq(run.spans[0].kind, rows[i].kind);
	}
}
END

/* Parts of the first and the last minute, by power. */
TEST(a_span_knows_its_edges)
{
	struct run run;
	start(&run, &counts_on);
	passes(&run, ZERO_MS, ZERO_MS + 20000, 600);
	says(&run, 20, 0);
	passes(&run, ZERO_MS + 20000, ZERO_MS + 30000, 1200);
	passes(&run, ZERO_MS + 30000, ZERO_MS + 40000, -1);
	passes(&run, ZERO_MS + 40000, ZERO_MS + 610000, 600);
	says(&run, 610, KWH);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].head_j, 12000 + 12000);
	ck_assert_int_eq(run.spans[0].head_ms, 30000);
	ck_assert_int_eq(run.spans[0].tail_j, 6000);
	ck_assert_int_eq(run.spans[0].tail_ms, 10000);
	/* A span within one minute has but a head. */
	passes(&run, ZERO_MS + 610000, ZERO_MS + 650000, 300);
	says(&run, 650, KWH + 20 * STEP);
	passes(&run, ZERO_MS + 650000, ZERO_MS + 720000, 300);
	ck_assert_uint_eq(run.count, 2);
	ck_assert_int_eq(run.spans[1].head_j, 12000);
	ck_assert_int_eq(run.spans[1].head_ms, 40000);
	ck_assert_int_eq(run.spans[1].tail_j, 0);
}
END

/* ---- gaps ---- */

TEST(a_gap_without_power_is_bridged_apart)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 0);
	passes(&run, ZERO_MS, ZERO_MS + 600000, 720);
	says(&run, 600, 12 * STEP);
	register_lapse(&run.account, ZERO_MS + 1500000);
	passes(&run, ZERO_MS + 600000, ZERO_MS + 87000000, -1);
	says(&run, 87000, 12 * STEP + 5 * KWH);
	ck_assert_uint_eq(run.count, 2);
	ck_assert_int_eq(run.spans[0].kind, SETTLEMENT_SHAPED);
	ck_assert_int_eq(run.spans[0].j, 12 * STEP);
	ck_assert_int_eq(run.spans[1].kind, SETTLEMENT_BRIDGED);
	ck_assert_int_eq(run.spans[1].j, 5 * KWH);
	ck_assert_int_eq(run.spans[1].begin_ms, ZERO_MS + 600000);
	ck_assert_int_eq(run.spans[1].end_ms, ZERO_MS + 87000000);
	ck_assert_int_eq(run.spans[1].first, 0);
}
END

TEST(power_alone_makes_no_bridge)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 0);
	register_lapse(&run.account, ZERO_MS + 900000);
	passes(&run, ZERO_MS, ZERO_MS + 7200000, 500);
	says(&run, 7200, KWH);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].kind, SETTLEMENT_SHAPED);
}
END

TEST(a_report_at_the_very_limit_leaves_no_gap)
{
	struct run run;
	start(&run, &counts_on);
	says(&run, 0, 0);
	register_lapse(&run.account, ZERO_MS + 900000);
	says(&run, 900, 20 * STEP);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].kind, SETTLEMENT_SPREAD);
}
END

/* A notebook: a reading a month, each a bridge of its own; the meter was changed in
 * spring, and what the new one counted since its first reading is there. */
TEST(a_notebook_is_bridged_month_by_month)
{
	static const double days[] = {0, 31, 59, 90, 120, 151};
	static const int64_t kwh[] = {12000, 12500, 12900, 3, 203, 303};
	struct run run;
	start(&run, &counts_on);
	for (size_t i = 0; i < ARRAY_LEN(days); i++) {
		says(&run, days[i] * 86400, kwh[i] * KWH);
		register_lapse(
			&run.account, ZERO_MS + llround(days[i] * 86400e3) + 900000);
	}
	ck_assert_uint_eq(run.count, 5);
	static const int64_t kinds[] = {SETTLEMENT_BRIDGED, SETTLEMENT_BRIDGED,
		SETTLEMENT_RESET, SETTLEMENT_BRIDGED, SETTLEMENT_BRIDGED};
	static const int64_t j[] = {500 * KWH, 400 * KWH, 0, 200 * KWH, 100 * KWH};
	for (size_t i = 0; i < 5; i++) {
		ck_assert_int_eq(run.spans[i].kind, kinds[i]);
		ck_assert_int_eq(run.spans[i].j, j[i]);
		ck_assert_int_eq(
			run.spans[i].begin_ms, ZERO_MS + llround(days[i] * 86400e3));
	}
}
END

/* ---- kinds ---- */

TEST(a_daily_register_begins_at_local_midnight)
{
	struct register_config config = counts_on;
	struct run run;
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	config.kind = REGISTER_DAILY;
	start(&run, &config);
	/* 23:00 UTC is midnight there. */
	says(&run, 22 * 3600.0, 3 * KWH);
	ck_assert_int_eq(says(&run, 22.9 * 3600, 3 * KWH + 10 * STEP), REGISTER_TAKEN);
	ck_assert_int_eq(says(&run, 23.1 * 3600, STEP), REGISTER_TURNED);
	ck_assert_int_eq(says(&run, 24.1 * 3600, KWH), REGISTER_TAKEN);
	ck_assert_uint_eq(run.count, 2);
	ck_assert_int_eq(run.spans[0].j, 10 * STEP);
	ck_assert_int_eq(run.spans[1].begin_ms, ZERO_MS + 23 * MS_PER_HOUR);
	ck_assert_int_eq(run.spans[1].j, KWH);
	/* After a gap of days it counted since this midnight, though it shows more. */
	register_lapse(&run.account, ZERO_MS + 25 * MS_PER_HOUR);
	ck_assert_int_eq(says(&run, 79 * 3600.0, 5 * KWH), REGISTER_TURNED);
	ck_assert_uint_eq(run.count, 3);
	ck_assert_int_eq(run.spans[2].kind, SETTLEMENT_BRIDGED);
	ck_assert_int_eq(run.spans[2].begin_ms, ZERO_MS + 71 * MS_PER_HOUR);
	ck_assert_int_eq(run.spans[2].j, 5 * KWH);
}
END

/* Its clock is late: what it shows past midnight still is yesterday's. */
TEST(a_daily_register_may_turn_late)
{
	struct register_config config = counts_on;
	struct run run;
	ck_assert_int_eq(calendar_set_zone("UTC"), 0);
	config.kind = REGISTER_DAILY;
	start(&run, &config);
	says(&run, 23 * 3600.0, 5 * KWH);
	ck_assert_int_eq(says(&run, 24.1 * 3600, 5 * KWH + 5 * STEP), REGISTER_TAKEN);
	ck_assert_int_eq(says(&run, 24.2 * 3600, 2 * STEP + 1), REGISTER_TURNED);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].j, 5 * STEP);
	ck_assert_int_eq(run.spans[0].end_ms, ZERO_MS + llround(24.1 * 3600e3));
}
END

TEST(increments_add_up)
{
	struct register_config config = counts_on;
	struct run run;
	config.kind = REGISTER_INCREMENT;
	start(&run, &config);
	ck_assert_int_eq(says(&run, 0, 7 * STEP), REGISTER_FIRST); /* since when? */
	ck_assert_int_eq(says(&run, 60, 3 * STEP), REGISTER_TAKEN);
	ck_assert_int_eq(says(&run, 60, 3 * STEP), REGISTER_TAKEN); /* the same again */
	ck_assert_int_eq(says(&run, 120, 900 * KWH), REGISTER_REFUSED);
	ck_assert_int_eq(says(&run, 180, 17 * STEP), REGISTER_TAKEN);
	ck_assert_uint_eq(run.count, 1);
	ck_assert_int_eq(run.spans[0].j, 20 * STEP);
}
END

/* ---- laws ---- */

/* The same reading twice changes nothing; what is carried is the same bytes. */
TEST(a_reading_twice_is_once)
{
	uint64_t random = 4711;
	for (int round = 0; round < 200; round++) {
		static struct run once, twice;
		int64_t at_ms = 0, raw = 500 * KWH;
		start(&once, &counts_on);
		start(&twice, &counts_on);
		for (int i = 0; i < 60; i++) {
			int64_t gap = unit_random_between(&random, 1, 400000);
			double w = (double)unit_random_between(&random, -1000, 4000);
			passes(&once, ZERO_MS + at_ms, ZERO_MS + at_ms + gap, w);
			passes(&twice, ZERO_MS + at_ms, ZERO_MS + at_ms + gap, w);
			at_ms += gap;
			raw += unit_random_between(&random, 0, 6) * STEP;
			if (unit_random_between(&random, 0, 9) == 0)
				raw = unit_random_between(&random, 0, 1000) * KWH;
			if (unit_random_between(&random, 0, 9) == 0) {
				register_lapse(&once.account, ZERO_MS + at_ms - 1);
				register_lapse(&twice.account, ZERO_MS + at_ms - 1);
			}
			says(&once, (double)at_ms / 1000, raw);
			says(&twice, (double)at_ms / 1000, raw);
			says(&twice, (double)at_ms / 1000, raw);
		}
		ck_assert_uint_eq(once.count, twice.count);
		ck_assert_mem_eq(once.spans, twice.spans, sizeof(once.spans));
		ck_assert_mem_eq(&once.account.state, &twice.account.state,
			sizeof(once.account.state));
	}
}
END

TEST(shares_add_up_to_the_joule)
{
	uint64_t random = 815;
	for (int round = 0; round < 1000; round++) {
		int64_t weights[50], whole = 0, at = 0, sum = 0;
		int64_t j = unit_random_between(&random, -1000000, 1000000000);
		for (size_t i = 0; i < ARRAY_LEN(weights); i++)
			whole += weights[i] = unit_random_between(&random, 0, 60000);
		for (size_t i = 0; i < ARRAY_LEN(weights); i++) {
			int64_t share = settlement_share(j, at + weights[i], whole) -
					settlement_share(j, at, whole);
			at += weights[i];
			sum += share;
			double fair = (double)j * (double)weights[i] / (double)whole;
			ck_assert_double_le(fabs((double)share - fair), 1.0);
		}
		ck_assert_int_eq(sum, j);
	}
}
END

TESTS(a_reading_is_judged_by_the_last_one, a_float_of_32_bits_may_fall_by_four_places,
	jitter_keeps_the_last_reading, a_wrap_adds_what_the_modulus_hides,
	a_glitch_that_falls_back_is_dropped,
	what_a_register_went_through_is_told_with_both_readings,
	refused_readings_are_told_of_once_an_hour,
	a_register_that_stays_elsewhere_is_a_new_beginning,
	what_was_counted_behind_a_standing_reading_is_caught_up,
	a_register_that_stood_for_a_season_catches_up_a_day_at_most,
	readings_that_wait_must_agree,
	steps_larger_than_the_configured_one_lose_nothing,
	a_span_closes_at_a_change, spans_follow_each_other,
	power_for_half_of_the_span_gives_it_a_shape, a_span_knows_its_edges,
	a_gap_without_power_is_bridged_apart, power_alone_makes_no_bridge,
	a_report_at_the_very_limit_leaves_no_gap, a_notebook_is_bridged_month_by_month,
	a_daily_register_begins_at_local_midnight, a_daily_register_may_turn_late,
	increments_add_up, a_reading_twice_is_once, shares_add_up_to_the_joule)
