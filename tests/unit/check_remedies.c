/*
 * Every kind of finding once, for what its remedy tells an owner to do. Water under
 * pressure scalds, a switchboard and the inside of a unit kill, water thins a mixture, a
 * run against germs must go on: whatever comes near these names what makes it safe, or
 * who is to do it. A kind without a row fails, so that none is left out.
 *
 * Source: common practice of the trade; local codes rule.
 */
#include "made_days.h"

#include <heatbook/reading.h>

static const char plant[] =
	"[plant]\nzone = Europe/Berlin\ndevices = compressor, immersion\n"
	"[source gateway]\ntopics = a/#\n"
	"[channel flow_temperature]\ntopic = a/1\n"
	"[channel return_temperature]\ntopic = a/2\n"
	"[channel unit_power]\ntopic = a/3\nunit = W\n"
	"[channel heater_power]\ntopic = a/4\nunit = W\n"
	"[channel clamp]\ntopic = a/5\nunit = W\n"
	"[channel valve]\ntopic = a/6\nmap = 0:heating, 1:hot_water\n"
	"[channel flow_rate]\ntopic = a/7\n[channel water_pressure]\ntopic = a/8\n"
	"[channel outdoor_temperature]\ntopic = a/9\n"
	"[channel count]\ntopic = a/10\nunit = kWh\n"
	"[channel other]\ntopic = a/11\nunit = kWh\n"
	"[channel heat_register]\ntopic = a/12\nunit = kWh\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\nregister = count\n"
	"step = 0.01 kWh\n"
	"[meter heater]\nfeeds = immersion\npower = heater_power\n"
	"[meter beside]\nfeeds = compressor\npower = clamp\nregister = other\n"
	"apparent = yes\n";

enum { VALVE = 5, OUTDOOR = 8, COUNT = 9, BESIDE = 2 };

typedef void make(struct made_days *m);

static void phase_gone(struct made_days *m)
{
	for (int d = 0; d < DAYS; d++) {
		struct evidence *e = add(m, (size_t)d, EVIDENCE_PHASE, POWER, 0, 1000);
		e->values[0] = d < 30 ? 500.0 : 0.0;
		e->values[2] = 1000.0;
		e->values[4] = 400.0;
	}
}

static void offset(struct made_days *m)
{
	rest(m, 5, 20, 0.3);
}

static void above(struct made_days *m)
{
	struct evidence *e = add(m, 8, EVIDENCE_RETURN_ABOVE, -1, 600, 60);
	e->values[0] = 5.0;
	e->values[1] = -1e7;
}

static void reversed(struct made_days *m)
{
	struct evidence *e = add(m, 8, EVIDENCE_POWER_NEGATIVE, POWER, 0, 600);
	e->values[0] = -500.0;
	e->values[1] = -500.0 * 600 * 60;
}

static void against(struct made_days *m)
{
	counted(m, 0, DAYS, 8.0);
}

static void heat_against(struct made_days *m)
{
	for (size_t d = 0; d < DAYS; d++) {
		struct evidence *e = add(m, d, EVIDENCE_HEAT_REGISTER, -1, 0, 900);
		e->values[0] = 20.0 * J_PER_KWH;
		e->values[1] = 30.0 * J_PER_KWH;
	}
}

static void apparent(struct made_days *m)
{
	for (size_t d = 0; d < DAYS; d++) {
		struct evidence *e = add(m, d, EVIDENCE_REGISTER, BESIDE, 0, 1440);
		e->values[0] = 10.0 * J_PER_KWH;
		e->values[1] = 13.0 * J_PER_KWH;
	}
}

static void says(struct made_days *m, double kwh)
{
	struct evidence *e = add(m, 8, EVIDENCE_APPARENT, BESIDE, 0, 1440);
	e->values[0] = kwh * J_PER_KWH;
	e->values[1] = 10.0 * J_PER_KWH;
	e->values[2] = e->values[3] = 0.0;
}

static void too_much(struct made_days *m)
{
	says(m, 12.0);
}

static void too_little(struct made_days *m)
{
	says(m, 9.0);
}

static void no_flow(struct made_days *m)
{
	add(m, 5, EVIDENCE_FLOW_ZERO, -1, 600, 30);
}

static void thaws(struct made_days *m)
{
	add(m, 5, EVIDENCE_SIGN, MODE_DEFROST, 0, 30)->values[1] = -2e6;
}

static void flow_falls(struct made_days *m)
{
	for (size_t d = 0; d < DAYS; d++) {
		struct evidence *e = add(m, d, EVIDENCE_FLOW, -1, 0, 600);
		e->values[0] = d < 10 ? 17.5 : 14.0;
		e->values[1] = (double)NAN;
	}
}

static void efficiency(struct made_days *m, size_t fell, double factor)
{
	for (size_t d = 0; d < DAYS; d++) {
		double noise = 1.0 + 0.001 * sin((double)d * 2.3);
		double air = 4.0 * sin((double)d * 0.7);
		struct evidence *e = add(m, d, EVIDENCE_EFFICIENCY, MODE_HEATING, 0, 900);
		e->values[0] = 15e6;
		e->values[1] = 15e6 * noise / (d >= fell ? 0.9 * factor : factor);
		e->values[2] = 15e6 / 4.0;
		e->values[3] = 33.0 - air;
		e->values[4] = 15e6 / 9.0;
		e->values[5] = air;
	}
}

static void efficiency_falls(struct made_days *m)
{
	efficiency(m, 25, 4.0);
}

static void beyond_belief(struct made_days *m)
{
	efficiency(m, DAYS, 0.5);
}

static void balance(struct made_days *m)
{
	for (size_t d = 5; d < 15; d++) {
		struct evidence *e = add(m, d, EVIDENCE_BALANCE, -1, 0, 900);
		e->values[0] = 30.0 * J_PER_KWH;
		e->values[1] = 10.0 * J_PER_KWH;
		e->values[2] = 40.0 * J_PER_KWH;
		e->values[4] = (double)NAN;
	}
}

static void heater(struct made_days *m)
{
	for (int d = 20; d < 30; d++)
		heats(m, d, 852);
}

static void frozen(struct made_days *m)
{
	struct evidence *e = add(m, 5, EVIDENCE_FROZEN, RETURN, 600, 300);
	e->values[1] = 4.0;
	e->values[4] = FROZEN_BY_PIPE;
}

static void contradicted(struct made_days *m)
{
	for (size_t d = 8; d < 10; d++) {
		struct evidence *e = add(m, d, EVIDENCE_CONTRADICTED, VALVE, 0, 600);
		e->values[0] = VALVE_HOT_WATER;
		e->values[1] = CONTRADICTED_BY_FLOW;
	}
}

static void silent(struct made_days *m)
{
	add(m, 8, EVIDENCE_SILENT, RETURN, 600, 300);
}

static void coarse(struct made_days *m)
{
	add(m, 8, EVIDENCE_COARSE, RETURN, 0, 0)->values[0] = 0.5;
}

static void coarse_power(struct made_days *m)
{
	add(m, 8, EVIDENCE_COARSE, POWER, 0, 0)->values[0] = 500.0;
}

static void slow(struct made_days *m)
{
	add(m, 8, EVIDENCE_SLOW, RETURN, 0, 0)->values[0] = 5.0;
}

static void skewed(struct made_days *m)
{
	for (size_t d = 5; d < 15; d++) {
		struct evidence *e = add(m, d, EVIDENCE_SKEW, UNIT, 0, 12);
		e->values[0] = 0.9;
		e->values[1] = 0.1;
		e->values[2] = 10.0;
	}
}

static void flag_late(struct made_days *m)
{
	for (size_t d = 5; d < 15; d++) {
		struct evidence *e = add(m, d, EVIDENCE_FLAG, MODE_HOT_WATER, 0, 6);
		e->values[0] = e->values[1] = 2.0;
		e->values[2] = 6.0;
	}
}

static void unknown_words(struct made_days *m)
{
	add(m, 8, EVIDENCE_STATE_UNKNOWN, VALVE, 600, 60);
}

static void sun(struct made_days *m)
{
	for (size_t d = 5; d < 10; d++)
		add(m, d, EVIDENCE_OUTDOOR, -1, 700, 1440)->values[0] = 6.0;
}

static void missing(struct made_days *m)
{
	add(m, 8, EVIDENCE_MISSING, -1, 600, 60)->values[0] = MISSING_HEAT;
}

static void ice(struct made_days *m)
{
	add(m, 8, EVIDENCE_MISSING, -1, 600, 60)->values[0] = MISSING_HEAT | MISSING_COLD;
}

static void cut(struct made_days *m)
{
	struct evidence *e = add(m, 8, EVIDENCE_MISSING, -1, 600, 120);
	e->values[0] = MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL;
	e->values[2] = 12.0;
}

static void happens(struct made_days *m, enum event_kind kind, uint16_t subject)
{
	for (int i = 0; i < 2; i++) {
		int64_t at = (START + 8 * MIN_PER_DAY + 60 * i) * MS_PER_MIN;
		m->events[i] = (struct event){kind, at, at, subject,
			kind != EVENT_PAYLOAD_BAD, 100.0, BAD_JSON};
	}
	m->input.event_count = kind == EVENT_PAYLOAD_BAD ? 2 : 1;
}

static void clock_off(struct made_days *m)
{
	for (int i = 0; i < 4; i++) {
		int64_t at = (START + 8 * MIN_PER_DAY + 60 * i) * MS_PER_MIN;
		m->events[i] = (struct event){EVENT_CLOCK_OFF, at, at + MS_PER_HOUR,
			RETURN, false, 60.0, 3600.0};
	}
	m->input.event_count = 4;
}

static void clock_stuck(struct made_days *m)
{
	int64_t at = (START + 8 * MIN_PER_DAY) * MS_PER_MIN;
	m->events[0] = (struct event){
		EVENT_CLOCK_STUCK, at, at, RETURN, false, 0.0, 72 * 3600.0};
	m->input.event_count = 1;
}

static void reset(struct made_days *m)
{
	happens(m, EVENT_REGISTER_RESET, UNIT);
}

static void repeats(struct made_days *m)
{
	struct evidence *e = add(m, 8, EVIDENCE_REPEATED, 0, 0, 600);
	e->values[0] = 5.0;
	e->values[1] = 36e6;
	e->values[2] = 9e6;
	e->values[3] = 600.0;
}

static void stands(struct made_days *m)
{
	struct evidence *e = add(m, 8, EVIDENCE_STILL, COUNT, 0, 1440);
	e->values[0] = 100.0;
	e->values[1] = 9.0 * J_PER_KWH;
	e->values[2] = 36e6;
	e->values[3] = 0.0;
	e->values[4] = 1.0;
}

static void replaced(struct made_days *m)
{
	happens(m, EVENT_REGISTER_REPLACED, UNIT);
}

static void wrapped(struct made_days *m)
{
	happens(m, EVENT_REGISTER_WRAPPED, UNIT);
}

static void refused(struct made_days *m)
{
	happens(m, EVENT_REGISTER_REFUSED, UNIT);
}

static void stepped(struct made_days *m)
{
	refused(m);
	m->events[0].after = 101.0;
}

static void bad_words(struct made_days *m)
{
	happens(m, EVENT_PAYLOAD_BAD, RETURN);
}

static void older(struct made_days *m)
{
	m->input.older = (struct older_days){.count = 3, .first = 20454, .last = 20460};
}

static void sealed(struct made_days *m)
{
	m->input.sealed_days = 2;
	m->input.sealed_first = 20454;
	m->input.sealed_last = 20455;
}

static void not_placed(struct made_days *m)
{
	happens(m, EVENT_REGISTER_UNPLACED, UNIT);
}

#define INSIDE      "inside the unit is for a qualified person"
#define ELECTRICIAN "qualified electrician"
#define AT_A_DESK   "" /* files, messages, questions: nothing that hurts */

static const struct {
	make *make;
	const char *needs[4];
} rows[FINDING_KINDS] = {
	[FINDING_PAIR_OFFSET] = {offset, {"outside the unit", INSIDE}},
	[FINDING_RETURN_ABOVE_FLOW] = {above, {AT_A_DESK}},
	[FINDING_POWER_REVERSED] = {reversed, {"turned by a " ELECTRICIAN}},
	[FINDING_POWER_AGAINST_REGISTER] = {against, {ELECTRICIAN}},
	[FINDING_HEAT_AGAINST_REGISTER] = {heat_against, {"outside the unit", INSIDE}},
	[FINDING_APPARENT_AGAINST_TRUE] = {apparent, {ELECTRICIAN}},
	[FINDING_FLOW_ZERO_RUNNING] = {no_flow,
		{"outside the unit", "inside is for a qualified person"}},
	[FINDING_HEAT_SIGN] = {thaws, {AT_A_DESK}},
	[FINDING_FLOW_FALLING] = {flow_falls,
		{"let the water cool", "relieve the pressure", INSIDE, "Top up"}},
	[FINDING_PRESSURE_FALLING] = {pressure_falls,
		{"Top up", "heating engineer", "Never open the refrigerant side"}},
	[FINDING_EFFICIENCY_FELL] = {efficiency_falls,
		{"switched off", "refrigeration engineer", "do not open the unit"}},
	[FINDING_EFFICIENCY_IMPLAUSIBLE] = {beyond_belief, {ELECTRICIAN}},
	[FINDING_BALANCE_OPEN] = {balance,
		{"outside the unit", "in the source's circuit is for a qualified"}},
	[FINDING_IMMERSION_UNPLANNED] = {heater,
		{"do not change them because of this finding"}},
	[FINDING_CHANNEL_FROZEN] = {frozen,
		{"outside the unit", "inside is for a qualified person"}},
	[FINDING_CHANNEL_SILENT] = {silent, {AT_A_DESK}},
	[FINDING_RESOLUTION_COARSE] = {coarse, {"outside the unit"}},
	[FINDING_SOURCE_SLOW] = {slow, {AT_A_DESK}},
	[FINDING_SOURCE_SKEWED] = {skewed, {AT_A_DESK}},
	[FINDING_SOURCE_REPEATS] = {repeats, {AT_A_DESK}},
	[FINDING_FLAG_LATE] = {flag_late, {AT_A_DESK}},
	[FINDING_CLOCK_OFF] = {clock_off, {AT_A_DESK}},
	[FINDING_CLOCK_STUCK] = {clock_stuck, {AT_A_DESK}},
	[FINDING_STATE_UNKNOWN] = {unknown_words, {AT_A_DESK}},
	[FINDING_OUTDOOR_IN_SUN] = {sun, {"moved by a qualified person"}},
	[FINDING_MISSING_MINUTES] = {missing, {AT_A_DESK}},
	[FINDING_POWER_CUT] = {cut, {"electrician"}},
	[FINDING_REGISTER_STILL] = {stands, {AT_A_DESK}},
	[FINDING_REGISTER_RESET] = {reset, {AT_A_DESK}},
	[FINDING_REGISTER_REPLACED] = {replaced, {AT_A_DESK}},
	[FINDING_REGISTER_WRAPPED] = {wrapped, {AT_A_DESK}},
	[FINDING_REGISTER_REFUSED] = {refused, {AT_A_DESK}},
	[FINDING_PAYLOAD_BAD] = {bad_words, {AT_A_DESK}},
	[FINDING_REBUILD_WANTED] = {older, {AT_A_DESK}},
	[FINDING_DAYS_SEALED] = {sealed, {AT_A_DESK}},
	[FINDING_REGISTER_UNPLACED] = {not_placed, {AT_A_DESK}},
	[FINDING_STATE_CONTRADICTED] = {contradicted, {AT_A_DESK}},
	[FINDING_PHASE_MISSING] = {phase_gone, {ELECTRICIAN}},
};

/* Whoever says the one must say the other; NULL: nobody is to say it. */
static const struct {
	const char *words, *guard;
} guards[] = {
	{"strainer", "relieve the pressure"},
	{"strainer", "let the water cool"},
	{"bleed", "let the water cool"},
	{"op up", "unit's papers"},
	{"clamp", "qualified"},
	{"phases", ELECTRICIAN},
	{"wiring", "for a qualified person"},
	{"plug", "for a qualified person"},
	{"fins", "switched off"},
	{"refrigerant", "Never open"},
	{"germs", "do not change them"},
	{"open the unit", "do not open the unit"},
	{"remove the cover", NULL},
	{"lower the temperature", NULL},
	{"switch off the safety", NULL},
};

/* Words of the plant of which a guard or a row must say something. */
static const char *const tools[] = {"strainer", "wiring", "plug", "clamp", "fins",
	"phases", "valve's", "wall", "meter fitted"};

static bool touches(const char *remedy)
{
	for (size_t i = 0; i < ARRAY_LEN(tools); i++)
		if (strstr(remedy, tools[i]))
			return true;
	return false;
}

static void hold_guards(const struct finding *f)
{
	const char *name = finding_name(f->kind);
	for (size_t i = 0; i < ARRAY_LEN(guards); i++) {
		if (!strstr(f->remedy, guards[i].words))
			continue;
		ck_assert_msg(guards[i].guard != NULL, "%s: '%s'", name, guards[i].words);
		ck_assert_msg(strstr(f->remedy, guards[i].guard),
			"%s says '%s' without '%s': %s", name, guards[i].words,
			guards[i].guard, f->remedy);
	}
}

static void hold_needs(const struct finding *f, const char *const needs[4])
{
	const char *name = finding_name(f->kind);
	bool desk = false;
	for (size_t i = 0; i < 4 && needs[i]; i++) {
		const char *words = needs[i];
		desk = desk || !*words;
		ck_assert_msg(strstr(f->remedy, words), "%s: '%s' is not in: %s", name,
			words, f->remedy);
	}
	ck_assert_msg(!desk || !touches(f->remedy), "%s: %s", name, f->remedy);
}

TEST(no_remedy_sends_an_owner_into_harm)
{
	for (int kind = 0; kind < FINDING_KINDS; kind++) {
		const char *name = finding_name((enum finding_kind)kind);
		bool seen = false;
		ck_assert_msg(rows[kind].make && rows[kind].needs[0], "%s: no row", name);
		struct made_days *m = days_of(plant);
		rows[kind].make(m);
		findings_of(&m->input, &m->list);
		for (size_t i = 0; i < m->list.count; i++) {
			const struct finding *f = &m->list.items[i];
			ck_assert_uint_gt(strlen(f->remedy), 20);
			hold_guards(f);
			hold_needs(f, rows[f->kind].needs);
			seen = seen || (int)f->kind == kind;
		}
		ck_assert_msg(seen, "%s is not found", name);
		days_free(m);
	}
}
END

/* Of kinds that have more than one remedy the others. */
TEST(other_remedies_of_a_kind_are_as_safe)
{
	static const struct {
		enum finding_kind kind;
		make *make;
		const char *needs[4];
	} others[] = {
		{FINDING_APPARENT_AGAINST_TRUE, too_much, {AT_A_DESK}},
		{FINDING_APPARENT_AGAINST_TRUE, too_little,
			{"for a " ELECTRICIAN, "this does not tell which"}},
		{FINDING_REGISTER_REFUSED, stepped, {AT_A_DESK}},
		{FINDING_RESOLUTION_COARSE, coarse_power, {ELECTRICIAN}},
		{FINDING_MISSING_MINUTES, ice, {"ask a heating engineer"}},
	};
	for (size_t i = 0; i < ARRAY_LEN(others); i++) {
		struct made_days *m = days_of(plant);
		others[i].make(m);
		const struct finding *f = only(m, others[i].kind);
		hold_guards(f);
		hold_needs(f, others[i].needs);
		days_free(m);
	}
}
END

/* Water would thin it: it freezes sooner and protects less against rust. */
TEST(a_mixture_is_topped_up_with_the_same)
{
	static make *const makes[] = {flow_falls, pressure_falls};
	for (size_t i = 0; i < ARRAY_LEN(makes); i++)
		for (int mixed = 0; mixed < 2; mixed++) {
			struct made_days *m = days_of(plant);
			if (mixed) {
				m->config->plant.fluid = FLUID_PROPYLENE_GLYCOL;
				m->config->plant.fluid_percent = 30.0;
			}
			makes[i](m);
			findings_of(&m->input, &m->list);
			ck_assert_uint_eq(m->list.count, 1);
			const struct finding *f = &m->list.items[0];
			expect_advice(f,
				mixed ? "top up with the same mixture, never with water "
					"alone"
				      : "Top up with water");
			ck_assert(!mixed || strstr(f->remedy, "put fluid_percent right"));
			ck_assert(!mixed || !strstr(f->remedy, "Top up with water"));
			days_free(m);
		}
}
END

TESTS(no_remedy_sends_an_owner_into_harm, other_remedies_of_a_kind_are_as_safe,
	a_mixture_is_topped_up_with_the_same)
