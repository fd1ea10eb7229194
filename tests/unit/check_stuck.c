/*
 * Numbers that stand still together, or while others say that the compressor started and
 * stopped: what a day made by hand is evidence of, and what is told of it.
 *
 * Reference: hand-counted minutes of days made by hand. The compressor runs for an hour
 * of each 80 minutes.
 */
#include "made_days.h"
#include "made_minutes.h"

enum { FLOW, PIPE, RATE, HZ, VALVE, TANK, WATTS };

static const char plant[] =
	"[plant]\nzone = UTC\n"
	"[source unit]\ntopics = a/#\n[source meter]\ntopics = b/#\n"
	"[channel flow_temperature]\ntopic = a/1\n"
	"[channel return_temperature]\ntopic = a/2\n[channel flow_rate]\ntopic = a/3\n"
	"[channel compressor_frequency]\ntopic = a/4\n"
	"[channel valve]\ntopic = a/5\nmap = 0:heating, 1:hot_water\n"
	"[channel cylinder_temperature]\ntopic = a/6\n"
	"[channel watts]\ntopic = b/1\nunit = W\n"
	"[meter unit]\nfeeds = compressor, circulation\npower = watts\n";

static bool runs(int i)
{
	return i % 80 < 60;
}

/* Hot water from 320 on for a run of the hour, and from 1200 on for another. */
static bool taps(int i)
{
	return (i >= 320 && i < 380) || (i >= 1200 && i < 1260);
}

static struct sample *healthy_in(const char *text)
{
	struct sample *s = sample_new(text);
	double tank = 48.0;
	for (int i = 0; i < DAY; i++) {
		double wave = sin(i * 0.37);
		bool on = runs(i);
		tank += taps(i) ? 0.12 : -0.01;
		of(s, PIPE)[i] = round(2900.0 + 30.0 * wave) / 100.0;
		of(s, FLOW)[i] = of(s, PIPE)[i] + (on ? 5.0 : 0.0);
		of(s, RATE)[i] = on ? 17.5 + 0.1 * wave : 0.0;
		of(s, HZ)[i] = on ? 45.0 + wave : 0.0;
		of(s, VALVE)[i] = taps(i);
		of(s, TANK)[i] = round(tank * 10.0) / 10.0;
		of(s, WATTS)[i] = on ? round(1500.0 + 50.0 * wave) : 12.0;
	}
	return s;
}

static struct sample *healthy(void)
{
	return healthy_in(plant);
}

static const struct evidence *seen(struct sample *s, enum evidence_kind kind, int channel)
{
	book_by(s, HZ, WATTS);
	evidence_of(&s->day, NULL, &s->list);
	return find(s, kind, channel);
}

TEST(numbers_that_move_are_no_evidence)
{
	struct sample *s = healthy();
	ck_assert_ptr_null(seen(s, EVIDENCE_FROZEN, -1));
	ck_assert_ptr_null(find(s, EVIDENCE_REPEATED, -1));
	ck_assert_ptr_null(find(s, EVIDENCE_FLOW_ZERO, -1));
	sample_free(s);
}
END

/* From 90 on for 12 hours: nine stops and starts are within, of 80 minutes each. */
TEST(one_value_across_starts_and_stops_is_told)
{
	static const struct {
		const char *what;
		int channel;
		double value;
	} rows[] = {
		{"power as it ran", WATTS, 1541.0},
		{"power as it stood", WATTS, 12.0},
		{"frequency as it ran", HZ, 45.1},
		{"frequency as it stood", HZ, 0.0},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct sample *s = healthy();
		set(s, rows[i].channel, 90, 810, rows[i].value);
		const struct evidence *e = seen(s, EVIDENCE_FROZEN, rows[i].channel);
		ck_assert_msg(e != NULL, "%s", rows[i].what);
		ck_assert_msg(e->at_min <= START + 90 && e->at_min >= START + 60, "%s",
			rows[i].what);
		ck_assert_int_ge(e->at_min + e->minutes, START + 810);
		ck_assert_double_eq(e->values[0], rows[i].value);
		ck_assert_double_eq(e->values[1], 18.0);
		ck_assert_double_eq(e->values[4], FROZEN_BY_STARTS);
		ck_assert_ptr_null(
			find(s, EVIDENCE_FROZEN, rows[i].channel == HZ ? WATTS : HZ));
		/* It drew 12 W in 12 hours of a third of it: nothing ran dry. */
		ck_assert_ptr_null(find(s, EVIDENCE_FLOW_ZERO, -1));
		sample_free(s);
	}
}
END

/* A unit of one speed, whose power is told by the hundred: one value a run. */
TEST(a_value_of_one_run_is_none)
{
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++) {
		of(s, HZ)[i] = runs(i) ? 50.0 : 0.0;
		of(s, WATTS)[i] = runs(i) ? 1500.0 : 0.0;
	}
	ck_assert_ptr_null(seen(s, EVIDENCE_FROZEN, -1));
	sample_free(s);
}
END

/* A meter twelve minutes late: an evening of rest sees the end of a run and the begin of
 * the next. */
TEST(a_meter_that_is_late_makes_no_frequency_stand)
{
	struct sample *s = healthy();
	set(s, HZ, 380, 800, 0.0);
	for (int i = 380; i < 800; i++)
		of(s, WATTS)[i] = i < 392 || i >= 788 ? 1500.0 + i % 7 : 12.0;
	ck_assert_ptr_null(seen(s, EVIDENCE_FROZEN, HZ));
	sample_free(s);
}
END

TEST(a_cylinder_that_hot_water_does_not_warm_is_told)
{
	struct sample *s = healthy();
	set(s, TANK, 200, 370, 48.0);
	const struct evidence *e = seen(s, EVIDENCE_FROZEN, TANK);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[0], 48.0);
	ck_assert_double_eq(e->values[1], 50.0);
	ck_assert_double_eq(e->values[4], FROZEN_BY_TAP);
	sample_free(s);
	s = healthy();
	set(s, TANK, 200, 360, 48.0);
	ck_assert_ptr_null(seen(s, EVIDENCE_FROZEN, -1));
	sample_free(s);
}
END

	/* ---- the flow ---- */

	/* Says 17.5 from 90 on for 12 hours; while the unit rests the pipes lie apart. */
	static struct sample *
	stuck_flow(const char *more, double apart_k)
{
	static const char head[] = "[plant]\nzone = UTC\n";
	_cleanup_(freep) char *text =
		xasprintf("%s%s%s", head, more, plant + strlen(head));
	struct sample *s = healthy_in(text);
	set(s, RATE, 90, 810, 17.5);
	for (int i = 0; i < DAY; i++)
		of(s, FLOW)[i] += runs(i) ? 0.0 : apart_k;
	return s;
}

TEST(a_flow_across_starts_and_stops_is_told_with_the_pipes)
{
	static const char none_of_it[] = "devices = compressor, circulation\n";
	static const struct {
		const char *devices;
		double apart_k, minutes; /* ten of twenty minutes of rest, nine times */
	} rows[] = {{none_of_it, 2.0, 90.0}, {none_of_it, 1.0, 0.0}, {"", 2.0, 0.0}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct sample *s = stuck_flow(rows[i].devices, rows[i].apart_k);
		const struct evidence *e = seen(s, EVIDENCE_FROZEN, RATE);
		ck_assert_ptr_nonnull(e);
		ck_assert_double_eq(e->values[0], 17.5);
		ck_assert_double_eq(e->values[1], 18.0);
		ck_assert_double_eq(e->values[4], FROZEN_BY_PUMP);
		ck_assert_double_eq_tol(e->values[5], rows[i].minutes, 10.0);
		e = find(s, EVIDENCE_FLOW, -1);
		ck_assert_double_ge(e->values[3], 0.4); /* of the rest of the day */
		ck_assert_double_le(e->values[3], 0.6);
		sample_free(s);
	}
	struct sample *s = healthy(); /* at rest it may well say nothing for hours */
	set(s, RATE, 90, 810, 0.0);
	ck_assert_ptr_null(seen(s, EVIDENCE_FROZEN, RATE));
	sample_free(s);
}
END

	/* The gateway's six numbers from 420 on for two hours as they were; the meter
	   moves. */
	static struct sample *
	repeating(void)
{
	struct sample *s = healthy();
	for (int channel = FLOW; channel <= TANK; channel++)
		set(s, channel, 420, 540, of(s, channel)[420]);
	return s;
}

TEST(a_source_that_repeats_all_it_said_is_told)
{
	struct sample *s = repeating();
	const struct evidence *e = seen(s, EVIDENCE_REPEATED, -1);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->subject, FLOW);
	ck_assert_int_eq(e->at_min, START + 420);
	ck_assert_int_eq(e->minutes, 120);
	ck_assert_double_eq(e->values[0], 5.0); /* numbers */
	ck_assert_double_eq(e->values[1], 120 * 360000.0);
	sample_free(s);
	s = repeating();
	for (int i = 442; i < 540; i += 22)
		of(s, TANK)[i] += 0.1; /* no part is long enough */
	ck_assert_ptr_null(seen(s, EVIDENCE_REPEATED, -1));
	sample_free(s);
	s = healthy(); /* at rest everything may stand, for hours perhaps */
	for (int channel = FLOW; channel <= TANK; channel++)
		set(s, channel, 400, DAY, of(s, channel)[399]);
	e = seen(s, EVIDENCE_REPEATED, -1);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[3], 0.0);
	sample_free(s);
}
END

	/* ---- what is told ---- */

	static struct evidence *
	frozen_on(struct made_days *m, int day, int channel, enum frozen_by by,
		double how_much)
{
	struct evidence *e = add(m, (size_t)day, EVIDENCE_FROZEN, channel, 90, 720);
	e->values[0] = 45.1;
	e->values[1] = how_much;
	e->values[2] = 40.0 * J_PER_KWH;
	e->values[3] = 10.0 * J_PER_KWH;
	e->values[4] = by;
	e->values[5] = (double)NAN;
	return e;
}

TEST(what_stands_says_what_moved)
{
	static const struct {
		int channel;
		enum frozen_by by;
		double says;
		const char *words, *cost;
	} rows[] = {
		{WATTS, FROZEN_BY_STARTS, 18.0, "started or stopped 18 times",
			"Electricity"},
		{HZ, FROZEN_BY_STARTS, 18.0, "started or stopped 18 times", "Modes"},
		{TANK, FROZEN_BY_TAP, 50.0, "for 50 minutes hot water was made",
			"no heat"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(plant);
		frozen_on(m, 8, rows[i].channel, rows[i].by, rows[i].says);
		const struct finding *f = only(m, FINDING_CHANNEL_FROZEN);
		ck_assert_double_eq(f->size, 720.0);
		ck_assert_msg(strstr(f->evidence, rows[i].words), "%s", f->evidence);
		ck_assert_msg(strstr(f->evidence, rows[i].cost), "%s", f->evidence);
		days_free(m);
	}
}
END

/* Days in a row, or some days apart at one value, are one finding; another value days
 * later is another. */
TEST(what_stands_for_days_is_one_finding)
{
	static const struct {
		int days[3];
		double last;
		size_t count;
	} rows[] = {{{8, 9, 10}, 45.1, 1}, {{8, 9, 10}, 44.0, 1}, {{8, 11, 16}, 45.1, 1},
		{{8, 9, 12}, 44.0, 2}, {{8, 9, 20}, 45.1, 2}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(plant);
		for (int n = 0; n < 3; n++)
			frozen_on(m, rows[i].days[n], HZ, FROZEN_BY_STARTS, 18.0)
				->values[0] = n < 2 ? 45.1 : rows[i].last;
		findings_of(&m->input, &m->list);
		ck_assert_msg(
			m->list.count == rows[i].count, "row %zu: %zu", i, m->list.count);
		if (rows[i].count == 1) {
			const struct finding *f = &m->list.items[0];
			ck_assert_double_eq(f->size, 3 * 720.0);
			ck_assert_ptr_nonnull(strstr(f->evidence, "54 times"));
			ck_assert_ptr_nonnull(strstr(f->evidence, "of 3 days"));
			ck_assert_int_eq(
				f->since_ms, (START + 8 * MIN_PER_DAY + 90) * MS_PER_MIN);
			ck_assert_int_eq(f->until_ms,
				(START + rows[i].days[2] * MIN_PER_DAY + 810) *
					MS_PER_MIN);
		}
		days_free(m);
	}
}
END

/* The factor is 3.6 by 36 MJ of 10 MJ a day. A power that stood booked 10 kWh where 40
 * kWh of heat let 11.11 kWh expect; a pipe 40 kWh where 10 kWh of electricity let 36. */
TEST(what_stood_still_is_worth_what_the_seasons_factor_says)
{
	const double heat = 400.0 / 3.6, electricity = 400.0 / 3.6 / 3.6;
	struct made_days *m = days_of(plant);
	frozen_on(m, 8, WATTS, FROZEN_BY_STARTS, 18.0);
	const struct finding *f = only(m, FINDING_CHANNEL_FROZEN);
	ck_assert_double_eq_tol(f->effect,
		3.6 - heat * 3.6 / (electricity * 3.6 + 40.0 / 3.6 - 10.0), 0.0005);
	days_free(m);
	m = days_of(plant);
	frozen_on(m, 8, PIPE, FROZEN_BY_PIPE, 4.0);
	f = only(m, FINDING_CHANNEL_FROZEN);
	ck_assert_double_eq_tol(
		f->effect, 3.6 - (heat * 3.6 - 4.0) / (electricity * 3.6), 0.0005);
	days_free(m);
	m = days_of(plant);
	frozen_on(m, 8, HZ, FROZEN_BY_STARTS, 18.0);
	ck_assert(isnan(only(m, FINDING_CHANNEL_FROZEN)->effect));
	days_free(m);
}
END

	static void
	flows(struct made_days *m, int first, int end, double share)
{
	for (int d = first; d < end; d++) {
		struct evidence *e = add(m, (size_t)d, EVIDENCE_FLOW, -1, 0, 600);
		e->values[0] = 17.5;
		e->values[1] = (double)NAN;
		e->values[3] = share;
	}
}

/* A pump at one speed says one flow; a sensor that used to move does not, nor does water
 * that lies in the pipes, warm in one and cold in the other. */
TEST(a_flow_that_stands_is_told_where_something_proves_it)
{
	static const struct {
		double share, apart_min;
		int days; /* before it */
		bool told;
	} rows[] = {{0.9, 0.0, 5, true}, {0.9, 0.0, 0, false}, {0.1, 0.0, 5, false},
		{0.0, 29.0, 5, false}, {0.0, 30.0, 0, true}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(plant);
		flows(m, 8 - rows[i].days, 8, rows[i].share);
		for (int d = 8; d < 12; d++) {
			frozen_on(m, d, RATE, FROZEN_BY_PUMP, 18.0)->values[5] =
				rows[i].apart_min;
			flows(m, d, d + 1, 0.0);
		}
		if (rows[i].told) {
			const struct finding *f = only(m, FINDING_CHANNEL_FROZEN);
			ck_assert_str_eq(f->subject, "flow_rate");
			ck_assert_double_eq(f->size, 4 * 720.0);
			ck_assert(!isnan(f->effect));
			ck_assert_ptr_nonnull(strstr(f->evidence,
				rows[i].apart_min > 0.0 ? "water lay in the pipes"
							: "in most minutes"));
		} else
			none(m);
		days_free(m);
	}
}
END

	static void
	bars(struct made_days *m, int first, int end, double moves, double swing_k)
{
	for (int d = first; d < end; d++) {
		struct evidence *e = add(m, (size_t)d, EVIDENCE_PRESSURE, -1, 0, 1440);
		e->values[0] = 1.5;
		e->values[1] = 30.0;
		e->values[2] = 1.5 - moves;
		e->values[3] = 1.5 + moves;
		e->values[4] = swing_k;
	}
}

/* One that tells tenths stands for months; one that moved every day does not while the
 * water goes on to warm and to cool. */
TEST(a_pressure_that_stands_is_told_where_it_used_to_move)
{
	static const struct {
		double moved, swing_k;
		int end;
		bool told;
	} rows[] = {{0.02, 20.0, 27, true}, {0.02, 20.0, 26, false},
		{0.0, 20.0, 40, false}, {0.02, 9.0, 40, false}, {0.02, 20.0, 40, true}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text =
			xasprintf("%s[channel water_pressure]\ntopic = a/7\n", plant);
		struct made_days *m = days_of(text);
		bars(m, 0, 20, rows[i].moved, 20.0);
		bars(m, 20, rows[i].end, 0.0, rows[i].swing_k);
		bars(m, rows[i].end, DAYS, rows[i].moved, 20.0);
		if (rows[i].told) {
			const struct finding *f = only(m, FINDING_CHANNEL_FROZEN);
			ck_assert_str_eq(f->subject, "water_pressure");
			expect_days(f, 20, rows[i].end);
		} else
			none(m);
		days_free(m);
	}
}
END

/* What proves it: the air, a frequency across starts and stops, or eight hours. */
TEST(a_source_that_repeats_is_told_where_something_proves_it)
{
	static const char air[] = "[channel outdoor_temperature]\ntopic = a/9\n";
	enum { AIR = WATTS + 1 };
	static const struct {
		int channel; /* that stood, or -1 */
		int ran;
		bool told;
	} rows[] = {{-1, 479, false}, {-1, 480, true}, {AIR, 0, true}, {HZ, 0, true},
		{WATTS, 0, false}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf("%s%s", plant, air);
		struct made_days *m = days_of(text);
		struct evidence *e = add(m, 8, EVIDENCE_REPEATED, FLOW, 300, 600);
		for (int k = 0; k < 4; k++)
			e->values[k] = 0.0;
		e->values[3] = rows[i].ran;
		if (rows[i].channel >= 0)
			frozen_on(m, 8, rows[i].channel,
				rows[i].channel == AIR ? FROZEN_BY_AIR : FROZEN_BY_STARTS,
				9.0);
		if (rows[i].told)
			(void)only(m, FINDING_SOURCE_REPEATS);
		else if (rows[i].channel >= 0)
			(void)only(m, FINDING_CHANNEL_FROZEN);
		else
			none(m);
		days_free(m);
	}
}
END

TEST(a_source_that_repeats_is_one_finding_over_days)
{
	struct made_days *m = days_of(plant);
	for (int day = 8; day < 11; day++) {
		struct evidence *e =
			add(m, (size_t)day, EVIDENCE_REPEATED, FLOW, day == 8 ? 600 : 0,
				day == 8   ? 840
				: day == 9 ? 1440
					   : 500);
		e->values[0] = 5.0;
		e->values[1] = 50.0 * J_PER_KWH;
		e->values[2] = 10.0 * J_PER_KWH;
		e->values[3] = 500.0;
	}
	frozen_on(m, 8, PIPE, FROZEN_BY_PIPE,
		4.0); /* what stands with it is not told again */
	const struct finding *f = only(m, FINDING_SOURCE_REPEATS);
	ck_assert_str_eq(f->subject, "unit");
	ck_assert_double_eq(f->size, 2780.0);
	ck_assert_int_eq(f->since_ms, (START + 8 * MIN_PER_DAY + 600) * MS_PER_MIN);
	ck_assert_int_eq(f->until_ms, (START + 10 * MIN_PER_DAY + 500) * MS_PER_MIN);
	ck_assert_ptr_nonnull(strstr(f->evidence, "150.0 kWh of heat and 30.0 kWh"));
	days_free(m);
}
END

TESTS(a_source_that_repeats_is_told_where_something_proves_it,
	numbers_that_move_are_no_evidence, one_value_across_starts_and_stops_is_told,
	a_value_of_one_run_is_none, a_meter_that_is_late_makes_no_frequency_stand,
	a_flow_across_starts_and_stops_is_told_with_the_pipes,
	a_cylinder_that_hot_water_does_not_warm_is_told,
	a_source_that_repeats_all_it_said_is_told, what_stands_says_what_moved,
	what_stands_for_days_is_one_finding,
	what_stood_still_is_worth_what_the_seasons_factor_says,
	a_flow_that_stands_is_told_where_something_proves_it,
	a_pressure_that_stands_is_told_where_it_used_to_move,
	a_source_that_repeats_is_one_finding_over_days)
