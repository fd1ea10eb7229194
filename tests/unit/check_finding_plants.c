/*
 * Findings of plants other than the usual one, out of evidence made by hand: a register
 * in another unit, heat that a heat meter says, a meter that is not counted, a source
 * that is not air, an immersion heater that is meant to run. What is said of them must be
 * true.
 */
#include "made_days.h"

#include <heatbook/calendar.h>

#include <math.h>

#define AS(more)                                                                         \
	"[plant]\nzone = Europe/Berlin\ndevices = compressor, immersion\n" more          \
	"[channel flow_temperature]\ntopic = a/1\n"                                      \
	"[channel return_temperature]\ntopic = a/2\n"                                    \
	"[channel unit_power]\ntopic = a/3\nunit = W\n"                                  \
	"[channel heater_power]\ntopic = a/4\nunit = W\n"                                \
	"[channel outdoor_temperature]\ntopic = a/5\n"                                   \
	"[channel heat_power]\ntopic = a/6\nunit = W\n"                                  \
	"[channel clamp]\ntopic = a/7\nunit = W\n"                                       \
	"[channel count]\ntopic = a/8\nunit = kWh\n"
#define METERS                                                                           \
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"                         \
	"[meter heater]\nfeeds = immersion\npower = heater_power\n"
#define REGISTERED                                                                       \
	"[meter unit]\nfeeds = compressor\npower = unit_power\nregister = count\n"       \
	"[meter heater]\nfeeds = immersion\npower = heater_power\n"
#define COUNTED_ALONE                                                                    \
	"[meter unit]\nfeeds = compressor\nregister = count\n"                           \
	"[meter heater]\nfeeds = immersion\npower = heater_power\n"

enum { OUTDOOR = 4, CLAMP = 6 };

static void expect_words(const struct finding *f, const char *words)
{
	ck_assert_msg(
		strstr(f->evidence, words), "'%s' is not in: %s", words, f->evidence);
}

static const struct finding *one_of(struct made_days *m, enum finding_kind kind)
{
	const struct finding *hit = NULL;
	for (size_t i = 0; i < m->list.count; i++)
		if (m->list.items[i].kind == kind) {
			ck_assert_msg(!hit, "%s twice", finding_name(kind));
			hit = &m->list.items[i];
		}
	ck_assert_msg(hit != NULL, "no %s", finding_name(kind));
	return hit;
}

/* ---- registers ---- */

enum { HOURS = 24 };

/* As one in Wh does that is configured as kWh: it runs away at each run of the unit, an
 * hour's 0.75 kWh of these, and is believed at rest, 0.25 kWh a day. */
static void run_away(struct made_days *m, struct event *events, int first, int end)
{
	size_t count = 0;
	for (int d = first; d < end; d++)
		for (int h = 0; h < HOURS; h++) {
			int64_t at = (START + d * MIN_PER_DAY + h * 60) * MS_PER_MIN;
			double stood = 1000.0 + 750.0 * (double)count / 2;
			events[count++] = (struct event){EVENT_REGISTER_REFUSED, at,
				at + MS_PER_MIN, UNIT, true, stood, stood + 25.0};
			events[count++] = (struct event){EVENT_REGISTER_REPLACED, at,
				at + 30 * MS_PER_MIN, UNIT, true, stood, stood + 750.0};
		}
	m->input.events = events;
	m->input.event_count = count;
}

TEST(a_register_in_another_unit_is_one_finding_a_kind_that_names_it)
{
	for (int power = 0; power < 2; power++) {
		static struct event events[10 * HOURS * 2];
		struct made_days *m =
			days_of(power ? AS("") REGISTERED : AS("") COUNTED_ALONE);
		run_away(m, events, 5, 15);
		for (size_t d = 5; power && d < 15; d++) {
			struct evidence *e = add(m, d, EVIDENCE_REGISTER, UNIT, 0, 1440);
			e->values[0] = 250.0 * J_PER_KWH;
			e->values[1] = 18.25 * J_PER_KWH;
		}
		findings_of(&m->input, &m->list);
		ck_assert_uint_eq(m->list.count, power ? 3 : 2);
		for (int k = 0; k < 2; k++) {
			const struct finding *f = one_of(m,
				k ? FINDING_REGISTER_REPLACED : FINDING_REGISTER_REFUSED);
			ck_assert_double_eq(f->size, 240.0);
			ck_assert_str_eq(f->unit, "");
			ck_assert_int_eq(
				f->since_ms, (START + 5 * MIN_PER_DAY) * MS_PER_MIN);
			expect_words(f, "240 times");
			expect_advice(f, power ? "the register in Wh" : "unit");
			expect_advice(f, "rebuild");
			ck_assert_ptr_null(strstr(f->remedy, "nothing is to be done"));
		}
		if (power) {
			const struct finding *f =
				one_of(m, FINDING_POWER_AGAINST_REGISTER);
			ck_assert_double_eq_tol(f->size, 18250.0 / 18.25, 1e-6);
			expect_advice(f, "the register in Wh");
		}
		days_free(m);
	}
}
END

/* What happens once is told as it was, and what happens again within days together. */
TEST(seldom_events_of_a_register_are_told_one_by_one)
{
	struct made_days *m = days_of(AS("") REGISTERED);
	for (size_t i = 0; i < 3; i++) {
		static const int days[] = {3, 20, 21};
		int64_t at = (START + days[i] * MIN_PER_DAY + 600) * MS_PER_MIN;
		m->events[i] = (struct event){
			EVENT_REGISTER_REFUSED, at, at, UNIT, true, 100.0, 900.0};
	}
	m->input.event_count = 3;
	findings_of(&m->input, &m->list);
	ck_assert_uint_eq(m->list.count, 2);
	const struct finding *pair = &m->list.items[0], *single = &m->list.items[1];
	ck_assert_double_eq(single->size, 800.0);
	ck_assert_str_eq(single->unit, "kW.h");
	ck_assert_str_eq(single->evidence,
		"After 100.000 kWh it said 900.000 kWh, which was not believed, and then "
		"went on as before.");
	ck_assert_double_eq(pair->size, 2.0);
	expect_words(pair, "At least 2 times");
	expect_words(pair, "(one an hour is told)");
	expect_words(pair, "which was not believed, and then went on as before.");
	expect_advice(pair, "noise of the line");
	days_free(m);
}
END

/* What a register goes on by in one message may be more than its power could bring since
 * the one before: it waits, and is taken up when its time has come. */
TEST(a_register_that_counts_in_larger_steps_is_told_of_its_step)
{
	static const struct {
		double kwh;       /* of each refusal */
		double shortfall; /* the next one stands so much lower, kWh */
		int minutes;      /* that it waited */
		int count;
		enum event_kind kind;
		const char *words, *advice, *never;
	} rows[] = {
		{1.0, 0, 2, 30, EVENT_REGISTER_REFUSED, "took up soon after",
			"set step = 1 kWh in [meter unit]", "No meter does"},
		{1.0, 0, 0, 30, EVENT_REGISTER_REPLACED, "nothing was counted",
			"set step = 1 kWh in [meter unit]", "No meter does"},
		{0.1, 0, 1, 30, EVENT_REGISTER_REFUSED, "took up soon after",
			"set step = 0.1 kWh", "No meter does"},
		{1.0, 0, 2, 1, EVENT_REGISTER_REFUSED, "not believed at once.",
			"set step = 1 kWh", "No meter does"},
		{0.7, 0, 2, 30, EVENT_REGISTER_REFUSED, "took up soon after",
			"most_power is too low", "No meter does"},
		/* Neither is what a meter counts in. */
		{1.0, 1.0, 2, 30, EVENT_REGISTER_REFUSED, "not believed at once.",
			"set step = 1 kWh", "No meter does"},
		{23.0, 0, 1, 30, EVENT_REGISTER_REFUSED, "was not believed, and then",
			"No meter does", "step ="},
		{100.0, 100.0, 1, 30, EVENT_REGISTER_REFUSED,
			"was not believed, and then", "No meter does", "step ="},
		{0.01, 0.01, 1, 30, EVENT_REGISTER_REFUSED, "was not believed, and then",
			"No meter does", "step ="},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		static struct event events[30];
		struct made_days *m = days_of(AS("") COUNTED_ALONE);
		double stood = 100.0;
		for (int k = 0; k < rows[i].count; k++) {
			int64_t at = (START + 5 * MIN_PER_DAY + 60 * k) * MS_PER_MIN;
			events[k] = (struct event){rows[i].kind, at,
				at + rows[i].minutes * MS_PER_MIN, UNIT, true, stood,
				stood + rows[i].kwh};
			stood += rows[i].kwh - rows[i].shortfall;
		}
		m->input.events = events;
		m->input.event_count = (size_t)rows[i].count;
		findings_of(&m->input, &m->list);
		ck_assert_uint_eq(m->list.count, 1);
		const struct finding *f = &m->list.items[0];
		expect_words(f, rows[i].words);
		expect_advice(f, rows[i].advice);
		ck_assert_msg(
			!strstr(f->remedy, rows[i].never), "row %zu: %s", i, f->remedy);
		days_free(m);
	}
}
END

	/* ---- an immersion heater that is meant to run ---- */

	enum { LONG = 100 };

struct long_days {
	struct config *config;
	struct finding_day days[LONG];
	struct evidence items[LONG];
	struct finding_input input;
	struct finding_list list;
};

/* It heats at ten, on each day from `first` on, and before on one of every `each`. */
static struct long_days *heated(int each, int first)
{
	struct long_days *l = xcalloc(1, sizeof(*l));
	l->config = configured(AS("") METERS);
	for (int d = 0; d < LONG; d++) {
		int64_t start = START + (int64_t)d * MIN_PER_DAY;
		bool heats = d >= first || d % each == 0;
		l->items[d] = (struct evidence){.kind = EVIDENCE_IMMERSION,
			.subject = HEATER,
			.at_min = start + 600,
			.minutes = 60,
			.values = {3.0 * J_PER_KWH, 60.0}};
		l->days[d] = (struct finding_day){.start_min = start,
			.end_min = start + MIN_PER_DAY,
			.looked = true,
			.known = true,
			.items = &l->items[d],
			.count = heats};
	}
	l->input = (struct finding_input){
		.config = l->config, .days = l->days, .day_count = LONG};
	findings_of(&l->input, &l->list);
	return l;
}

static void long_free(struct long_days *l)
{
	findings_release(&l->list);
	config_free(l->config);
	free(l);
}

TEST(an_immersion_heater_that_runs_as_it_used_to_is_no_finding)
{
	static const int each[] = {1, 2, 3, 4, 7};
	for (size_t i = 0; i < ARRAY_LEN(each); i++) {
		struct long_days *l = heated(each[i], LONG);
		ck_assert_msg(l->list.count == 0, "each %d: %s", each[i],
			l->list.count ? l->list.items[0].evidence : "");
		long_free(l);
	}
}
END

/* On the third day after two runs at that time, and for as long as a week of the two
 * months before had a run less, which is so until most of their days have one. */
TEST(what_is_unusual_for_two_months_becomes_usual)
{
	struct long_days *l = heated(LONG, 20);
	ck_assert_uint_eq(l->list.count, 1);
	ck_assert_str_eq(finding_name(l->list.items[0].kind), "immersion_unplanned");
	int64_t since = l->list.items[0].since_ms / MS_PER_MIN;
	int64_t until = l->list.items[0].until_ms / MS_PER_MIN;
	ck_assert_int_eq(since, START + 22 * MIN_PER_DAY);
	ck_assert_int_ge(until, START + (20 + 50) * MIN_PER_DAY);
	ck_assert_int_le(until, START + (20 + 63) * MIN_PER_DAY);
	ck_assert(!l->list.items[0].lasts);
	long_free(l);
}
END

/* Nothing is known of what was usual before. */
TEST(a_fortnight_is_needed_to_tell_what_is_usual)
{
	struct made_days *m = days_of(AS("") METERS);
	for (int d = 0; d < 13; d++)
		heats(m, d, 600);
	none(m);
	days_free(m);
}
END

/* ---- efficiency ---- */

/* 26 days of 3.0 MJ of heating's electricity each, of 10 MJ in all; then 14 days in which
 * a tenth more is needed for the same heat: 0.3 MJ of each day's 10 are too much. Season:
 * 1440 MJ of heat by 400 MJ. */
TEST(a_fall_of_efficiency_costs_the_electricity_of_its_mode)
{
	struct made_days *m = days_of(AS("") METERS);
	for (size_t d = 0; d < DAYS; d++) {
		double air = 4.0 * sin((double)d * 0.7);
		double noise = 0.001 * sin((double)d * 2.3);
		struct evidence *e = add(m, d, EVIDENCE_EFFICIENCY, MODE_HEATING, 0, 900);
		e->values[0] = 15e6;
		e->values[1] = (d >= 26 ? 3.3e6 : 3e6) * (1.0 + noise);
		e->values[2] = 15e6 / 4.0;
		e->values[3] = 33.0 - air;
		e->values[4] = 15e6 / 9.0;
		e->values[5] = air;
	}
	const struct finding *f = only(m, FINDING_EFFICIENCY_FELL);
	ck_assert_double_eq_tol(f->size, 100.0 * (1.0 / 1.1 - 1.0), 0.1);
	double too_much = 14 * (3.3 - 3.0);
	ck_assert_double_eq_tol(f->effect, 3.6 - 1440.0 / (400.0 - too_much), 0.0005);
	days_free(m);
}
END

	/* Twenty days of 10 kWh of heat at 35 °C, with -10 °C out of doors. */
	static struct made_days *
	efficient(const char *source, double factor)
{
	_cleanup_(freep) char *text = xasprintf(AS("%s") METERS, source);
	struct made_days *m = days_of(text);
	for (size_t d = 0; d < 20; d++) {
		struct evidence *e = add(m, d, EVIDENCE_EFFICIENCY, MODE_HEATING, 0, 900);
		e->values[0] = 10.0 * J_PER_KWH;
		e->values[1] = e->values[0] / factor;
		e->values[2] = e->values[0] / 2.6;
		e->values[3] = 45.0;
		e->values[4] = e->values[0] / (308.15 / 45.0);
		e->values[5] = -10.0;
	}
	return m;
}

#define FROM(kind) "source_kind = " kind "\n"

/* A share of Carnot's quotient, at the temperature of its own source. */
static void check_share(char **f, size_t count, void *context)
{
	static const struct {
		const char *word, *section;
		double source_c;
	} kinds[] = {{"air", FROM("air"), -10.0}, {"high", FROM("air"), -10.0},
		{"brine", FROM("ground"), 0.0}, {"brine", "", 0.0},
		{"ground water", FROM("water"), 10.0}, {"ground water", "", 10.0}};
	size_t *hits = context;
	ck_assert_uint_eq(count, 4);
	const char *dots = strstr(f[1], ".."); /* of a range its end */
	double share = strtod(dots ? dots + 2 : f[1], NULL);
	for (size_t i = 0; i < ARRAY_LEN(kinds); i++) {
		if (!strstr(f[0], kinds[i].word))
			continue;
		struct made_days *m = efficient(
			kinds[i].section, share * 308.15 / (35.0 - kinds[i].source_c));
		none(m);
		days_free(m);
		(*hits)++;
	}
}

/* second_law_fractions.csv (VDE 2015, 2019; second-hand): no healthy unit of any source
 * is hard to believe, be it as cold out of doors as it may. */
TEST(a_healthy_unit_is_believed_whatever_its_source)
{
	size_t hits = 0;
	ck_assert_uint_eq(data_rows("second_law_fractions.csv", check_share, &hits), 4);
	ck_assert_uint_eq(hits, 6);
}
END

TEST(an_efficiency_beyond_every_unit_is_hard_to_believe)
{
	static const struct {
		const char *section;
		double factor;
		const char *words;
	} rows[] = {{FROM("air"), 4.6, "Air-source units give about 2.6"},
		{FROM("ground"), 13.5, "no source is warm enough"},
		{"", 13.5, "no source is warm enough"},
		{FROM("air"), 0.8, "less heat than electricity"},
		{FROM("ground"), 0.8, "less heat than electricity"},
		{"", 0.8, "less heat than electricity"}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = efficient(rows[i].section, rows[i].factor);
		const struct finding *f = only(m, FINDING_EFFICIENCY_IMPLAUSIBLE);
		ck_assert_double_eq_tol(f->size, rows[i].factor, 1e-9);
		expect_words(f, rows[i].words);
		days_free(m);
	}
}
END

/* ---- a meter that is not counted, heat that a heat meter says ---- */

#define BESIDE "[meter beside]\nfeeds = compressor\npower = clamp\napparent = yes\n"

TEST(a_reversed_clamp_of_a_meter_that_is_not_counted_costs_nothing)
{
	struct made_days *m = days_of(AS("") METERS BESIDE);
	for (size_t d = 5; d < 12; d++) {
		struct evidence *e = add(m, d, EVIDENCE_POWER_NEGATIVE, CLAMP, 0, 600);
		e->values[0] = -500.0;
		e->values[1] = -500.0 * 600 * 60;
	}
	const struct finding *f = only(m, FINDING_POWER_REVERSED);
	ck_assert(isnan(f->effect));
	expect_words(f, "meter beside is not counted");
	ck_assert_ptr_null(strstr(f->evidence, "taken off"));
	ck_assert_ptr_nonnull(f->correction);
	days_free(m);
}
END

#define SAID "heat_source = power\n"

	static void
	above_flow(struct made_days *m)
{
	struct evidence *e = add(m, 8, EVIDENCE_RETURN_ABOVE, -1, 600, 60);
	e->values[0] = 5.0;
	e->values[1] = 1e7;
	e->values[2] = 0.0;
}

static void frozen(struct made_days *m, int channel, double other_k)
{
	struct evidence *e = add(m, 8, EVIDENCE_FROZEN, channel, 600, 200);
	e->values[0] = 33.0;
	e->values[1] = other_k;
	e->values[2] = 5.0 * J_PER_KWH;
	e->values[3] = J_PER_KWH;
	e->values[4] = isnan(other_k) ? FROZEN_BY_AIR : FROZEN_BY_PIPE;
}

static void offset(struct made_days *m)
{
	rest(m, 5, 20, 0.3);
}

static void no_flow(struct made_days *m)
{
	add(m, 8, EVIDENCE_FLOW_ZERO, -1, 600, 30);
}

static void coarse(struct made_days *m)
{
	add(m, 8, EVIDENCE_COARSE, RETURN, 0, 0)->values[0] = 0.5;
}

static void frozen_pipe(struct made_days *m)
{
	frozen(m, RETURN, 4.0);
}

/* What sensors of the water say is of no heat then: neither is it wrong by them, nor is
 * there anything to correct in it. */
TEST(sensors_that_no_heat_rests_on_are_told_as_such)
{
	static void (*const makes[])(struct made_days *) = {
		offset, above_flow, no_flow, coarse, frozen_pipe};
	for (size_t i = 0; i < ARRAY_LEN(makes); i++)
		for (int said = 0; said < 2; said++) {
			struct made_days *m =
				days_of(said ? AS(SAID) METERS : AS("") METERS);
			makes[i](m);
			findings_of(&m->input, &m->list);
			ck_assert_uint_eq(m->list.count, 1);
			const struct finding *f = &m->list.items[0];
			ck_assert(!said || isnan(f->effect));
			ck_assert(!said || !f->correction);
			_cleanup_(freep) char *all =
				xasprintf("%s %s", f->evidence, f->remedy);
			ck_assert_msg(
				!strstr(all, "eat does not rest on") == !said, "%s", all);
			days_free(m);
		}
}
END

/* Of the air no heat is worked out. */
TEST(an_outdoor_sensor_at_fault_casts_no_doubt_on_heat)
{
	for (int i = 0; i < 2; i++) {
		struct made_days *m = days_of(AS("") METERS);
		if (i == 0)
			frozen(m, OUTDOOR, (double)NAN);
		else
			add(m, 8, EVIDENCE_COARSE, OUTDOOR, 0, 0)->values[0] = 0.5;
		const struct finding *f =
			only(m, i ? FINDING_RESOLUTION_COARSE : FINDING_CHANNEL_FROZEN);
		_cleanup_(freep) char *all = xasprintf("%s %s", f->evidence, f->remedy);
		ck_assert_msg(strstr(all, "degree days"), "%s", all);
		ck_assert_msg(strstr(all, "odes by rule"), "%s", all);
		ck_assert_msg(!strstr(all, "to be trusted"), "%s", all);
		ck_assert_msg(!strstr(all, "a difference of 5 K"), "%s", all);
		ck_assert_msg(!strstr(all, "pipes"), "%s", all);
		days_free(m);
	}
}
END

/* ---- a heat meter's register against what else tells heat ---- */

#define BY_REGISTER                                                                      \
	AS("heat_source = register\n")                                                   \
	"[channel heat_register]\ntopic = a/9\nunit = kWh\n" METERS

	enum { FIRST = 10,
		END_DAY = 20,
		FLOW_PIPE = 0 };

static struct made_days *heats_by_register(double register_kwh, double other_kwh)
{
	struct made_days *m = days_of(BY_REGISTER);
	for (size_t d = FIRST; d < END_DAY; d++) {
		struct evidence *e = add(m, d, EVIDENCE_HEAT_REGISTER, -1, 0, 900);
		e->values[0] = register_kwh * J_PER_KWH;
		e->values[1] = other_kwh * J_PER_KWH;
	}
	return m;
}

TEST(a_heat_register_that_is_off_is_told_beside_what_else_tells_heat)
{
	static const struct {
		double register_kwh, other_kwh, size;
		const char *unit, *advice;
	} rows[] = {
		{7.0, 10.0, 42.857, "%", "This does not tell which is wrong"},
		{13.0, 10.0, -23.077, "%", "value of a pulse"},
		{0.010, 10.0, 0.001, "", "in kWh where Wh is configured, or in MWh"},
		{10000.0, 10.0, 1000.0, "", "in Wh where kWh is configured"},
		{36.0, 10.0, 3.6, "", "the register is in MJ"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m =
			heats_by_register(rows[i].register_kwh, rows[i].other_kwh);
		const struct finding *f = only(m, FINDING_HEAT_AGAINST_REGISTER);
		ck_assert_str_eq(f->subject, "heat_register");
		ck_assert_double_eq_tol(f->size, rows[i].size, 1e-3);
		ck_assert_str_eq(f->unit, rows[i].unit);
		expect_days(f, FIRST, END_DAY);
		expect_words(f, "the heat meter's power said 100.0 kWh");
		expect_advice(f, rows[i].advice);
		/* What it has more, over the electricity of all days. */
		double more_j = 10 * (rows[i].register_kwh - rows[i].other_kwh) * 3.6e6;
		ck_assert_double_eq_tol(f->effect, more_j / (DAYS * 1e7), 1e-9);
		days_free(m);
	}
}
END

TEST(instruments_that_differ_within_their_limits_are_no_finding)
{
	static const double rows[][2] = {{10.0, 8.5}, {10.0, 11.8}, {0.05, 0.09}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = heats_by_register(rows[i][0], rows[i][1]);
		none(m);
		days_free(m);
	}
}
END

/* What is wrong with flow and temperatures is a finding of its own. */
TEST(a_pipe_that_stands_still_is_not_held_against_the_register)
{
	static const enum evidence_kind kinds[] = {
		EVIDENCE_FROZEN, EVIDENCE_RETURN_ABOVE, EVIDENCE_FLOW_ZERO};
	for (size_t k = 0; k < ARRAY_LEN(kinds); k++) {
		struct made_days *m = heats_by_register(7.0, 10.0);
		for (size_t d = FIRST; d < END_DAY; d++) {
			struct evidence *e = add(m, d, kinds[k], FLOW_PIPE, 0, 200);
			e->values[1] = 4.0;
			e->values[3] = (double)NAN;
		}
		findings_of(&m->input, &m->list);
		ck_assert_uint_gt(m->list.count, 0);
		for (size_t i = 0; i < m->list.count; i++)
			ck_assert_int_ne(
				m->list.items[i].kind, FINDING_HEAT_AGAINST_REGISTER);
		days_free(m);
	}
}
END

TESTS(a_reversed_clamp_of_a_meter_that_is_not_counted_costs_nothing,
	sensors_that_no_heat_rests_on_are_told_as_such,
	an_outdoor_sensor_at_fault_casts_no_doubt_on_heat,
	a_healthy_unit_is_believed_whatever_its_source,
	an_efficiency_beyond_every_unit_is_hard_to_believe,
	an_immersion_heater_that_runs_as_it_used_to_is_no_finding,
	what_is_unusual_for_two_months_becomes_usual,
	a_fortnight_is_needed_to_tell_what_is_usual,
	a_fall_of_efficiency_costs_the_electricity_of_its_mode,
	a_register_in_another_unit_is_one_finding_a_kind_that_names_it,
	seldom_events_of_a_register_are_told_one_by_one,
	a_register_that_counts_in_larger_steps_is_told_of_its_step,
	a_heat_register_that_is_off_is_told_beside_what_else_tells_heat,
	instruments_that_differ_within_their_limits_are_no_finding,
	a_pipe_that_stands_still_is_not_held_against_the_register)
