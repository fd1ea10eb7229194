/*
 * The rules of energy registers, row by row: which readings are believed, and what is
 * told of them. The spans that they close: check_register_spans.c.
 *
 * Reference: heatbook's own rules as written at the top of daemon/account/register.c.
 * Energies are sums of whole joules: every expected value is exact.
 */
#include "register_run.h"

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

/* Such a register begins anew at its modulus: what lies between is one of its steps. One
 * that falls there by more than the power of all that time is another meter. */
TEST(a_coarse_register_loses_nothing_over_its_modulus)
{
	static const struct {
		int64_t unit;
		double w; /* below 0: unknown */
		int64_t to;
		int64_t counted;
		int at_min, made_min; /* 20 kW make 1 kWh in three minutes */
	} rows[] = {
		{KWH, -1, 0, KWH, 240, 240},
		{KWH, 900, 0, KWH, 240, 240},
		{10 * KWH, -1, 0, 10 * KWH, 238, 240},
		{10 * KWH, 2000, 0, 10 * KWH, 238, 240},
		{KWH / 10, 1500, 0, KWH / 10, 238, 238},
		{KWH, 900, 50 * KWH, 0, 238, 240},
		{KWH, 900, 12000 * KWH, 0, 238, 240},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct register_config config = counts_on;
		int64_t last_j = 100000 * KWH - rows[i].unit;
		bool holds = rows[i].counted > 0;
		struct run run;
		config.modulus_j = 100000 * KWH;
		start(&run, &config);
		says(&run, 0, last_j);
		for (int minute = 0; minute < 240; minute++) {
			int64_t at_ms = ZERO_MS + minute * MS_PER_MIN;
			passes(&run, at_ms, at_ms + MS_PER_MIN, rows[i].w);
			says(&run, 60.0 * (minute + 1),
				minute >= 237 ? rows[i].to : last_j);
		}
		ck_assert_int_eq(run.account.state.last.total_j, rows[i].counted);
		ck_assert_uint_eq(run.event_count, 1);
		ck_assert_int_eq(
			run.events[0].t_ms, ZERO_MS + rows[i].at_min * MS_PER_MIN);
		ck_assert_int_eq(
			run.events[0].made_ms, ZERO_MS + rows[i].made_min * MS_PER_MIN);
		ck_assert_double_eq(run.events[0].after, (double)rows[i].to / KWH);
		ck_assert_int_eq(run.events[0].kind == EVENT_REGISTER_WRAPPED, holds);
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

TESTS(a_reading_is_judged_by_the_last_one, a_float_of_32_bits_may_fall_by_four_places,
	jitter_keeps_the_last_reading, a_wrap_adds_what_the_modulus_hides,
	a_coarse_register_loses_nothing_over_its_modulus,
	a_glitch_that_falls_back_is_dropped,
	a_register_that_stays_elsewhere_is_a_new_beginning,
	what_was_counted_behind_a_standing_reading_is_caught_up,
	a_register_that_stood_for_a_season_catches_up_a_day_at_most,
	steps_larger_than_the_configured_one_lose_nothing, readings_that_wait_must_agree,
	what_a_register_went_through_is_told_with_both_readings,
	refused_readings_are_told_of_once_an_hour)
