/*
 * Minutes that are missing, out of evidence made by hand: by what was missing, by the
 * reason that link facts give, and what a register's open span will still tell.
 */
#include "made_days.h"

TEST(an_outage_has_the_reason_that_link_facts_give)
{
	struct made_days *m = days_new();
	struct evidence *e = add(m, 7, EVIDENCE_MISSING, -1, 600, 120);
	e->values[0] = MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL;
	m->events[0] = (struct event){.kind = EVENT_LINK_LOST,
		.t_ms = (e->at_min - 4) * MS_PER_MIN,
		.subject = EVENT_SUBJECT_GONE};
	m->input.event_count = 1;
	const struct finding *f = only(m, FINDING_MISSING_MINUTES);
	ck_assert_int_eq(f->since_ms, e->at_min * MS_PER_MIN);
	ck_assert_double_eq(f->size, 120.0);
	ck_assert_ptr_nonnull(strstr(f->evidence, "connection to the broker was lost"));
	days_free(m);
}
END

	static void
	missing(struct made_days *m, int at, int minutes, int what)
{
	struct evidence *e = add(m, 7, EVIDENCE_MISSING, -1, at, minutes);
	e->values[0] = what;
	e->values[1] = 0.0;
}

#define NOTHING (MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL)

/* Since the limits of holds differ, an outage has short edges in which less is missing:
 * they are a part of it. What lasts longer has a word of its own. */
TEST(a_stretch_is_told_by_what_was_missing_in_it)
{
	static const struct {
		struct {
			int at, minutes, what;
		} parts[4];
		struct {
			int from, to;
			double size;
			const char *words;
		} told[4];
	} rows[] = {
		{{{480, 120, MISSING_HEAT}, {600, 120, NOTHING}},
			{{480, 600, 120, "no heat is known."},
				{600, 720, 120, "nothing at all is known."}}},
		{{{480, 120, MISSING_HEAT}, {600, 120, NOTHING},
			 {720, 60, MISSING_ELECTRICITY | MISSING_HEAT},
			 {780, 30, MISSING_ELECTRICITY}},
			{{480, 600, 120, "no heat is"}, {600, 720, 120, "nothing at all"},
				{720, 780, 60, "neither heat nor electricity is"},
				{780, 810, 30, "no electricity is"}}},
		{{{595, 5, MISSING_ELECTRICITY}, {600, 120, NOTHING},
			 {720, 10, MISSING_HEAT}},
			{{595, 730, 120,
				"nothing at all is known for 120 of 135 minutes"}}},
		{{{600, 60, MISSING_HEAT}, {660, 8, NOTHING}, {668, 60, MISSING_HEAT}},
			{{600, 728, 128, "no heat is known."}}},
		{{{600, 60, MISSING_HEAT}, {665, 60, MISSING_HEAT}},
			{{600, 725, 120, "no heat is known for 120 of 125 minutes"}}},
		{{{600, 60, MISSING_HEAT}, {675, 60, MISSING_HEAT}},
			{{600, 660, 60, "no heat is"}, {675, 735, 60, "no heat is"}}},
		{{{600, 8, MISSING_HEAT}, {608, 8, NOTHING}},
			{{600, 616, 16, "no heat is known."}}},
		{{{600, 14, NOTHING}}, {{0}}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_new();
		for (size_t k = 0; k < 4 && rows[i].parts[k].minutes; k++)
			missing(m, rows[i].parts[k].at, rows[i].parts[k].minutes,
				rows[i].parts[k].what);
		findings_of(&m->input, &m->list);
		size_t told = 0;
		for (; told < 4 && rows[i].told[told].words; told++) {
			int64_t since =
				(START + 7 * MIN_PER_DAY + rows[i].told[told].from) *
				MS_PER_MIN;
			const struct finding *f = NULL;
			for (size_t k = 0; k < m->list.count; k++)
				if (m->list.items[k].since_ms == since)
					f = &m->list.items[k];
			ck_assert_msg(f != NULL, "row %zu: %zu", i, told);
			ck_assert_int_eq(f->kind, FINDING_MISSING_MINUTES);
			ck_assert_int_eq((f->until_ms - f->since_ms) / MS_PER_MIN,
				rows[i].told[told].to - rows[i].told[told].from);
			ck_assert_double_eq(f->size, rows[i].told[told].size);
			ck_assert_msg(strstr(f->evidence, rows[i].told[told].words), "%s",
				f->evidence);
		}
		ck_assert_uint_eq(m->list.count, told);
		days_free(m);
	}
}
END

#define COUNTS_ALONE                                                                     \
	"[plant]\nzone = Europe/Berlin\n[channel count]\ntopic = a/1\nunit = kWh\n"      \
	"[channel w]\ntopic = a/2\nunit = W\n[meter unit]\nfeeds = compressor\n"         \
	"register = count\n"
#define COUNTS_HEAT                                                                      \
	"[plant]\nzone = Europe/Berlin\nheat_source = register\n"                        \
	"[channel heat_register]\ntopic = a/1\nunit = kWh\n"                             \
	"[channel w]\ntopic = a/2\nunit = W\n[meter unit]\nfeeds = compressor\n"         \
	"power = w\n"

/* A register's span is open until it closes: what it counts is not missing before. */
TEST(what_an_open_span_of_a_register_will_tell_is_not_missing)
{
	enum { H = MISSING_HEAT, E = MISSING_ELECTRICITY, DAY = MIN_PER_DAY };
	static const struct {
		const char *text;
		struct {
			int day, at, minutes, what;
		} parts[3];
		bool follow;
		int from; /* what is told, of the last day; -1: nothing */
	} rows[] = {
		{COUNTS_ALONE, {{DAYS - 1, DAY - 187, 187, E}}, false, -1},
		{COUNTS_ALONE, {{DAYS - 1, DAY - 187, 187, E}}, true, DAY - 187},
		{COUNTS_ALONE, {{DAYS - 1, DAY - 187, 160, E}}, false, DAY - 187},
		{COUNTS_ALONE, {{DAYS - 1, DAY - 187, 187, H}}, false, DAY - 187},
		{COUNTS_ALONE "power = w\n", {{DAYS - 1, DAY - 187, 187, E}}, false,
			DAY - 187},
		{COUNTS_ALONE, /* over midnight, and what is known ends */
			{{DAYS - 2, DAY - 120, 120, E}, {DAYS - 1, 0, 9, NOTHING}}, true,
			-2},
		{COUNTS_ALONE,
			{{DAYS - 2, DAY - 120, 120, E}, {DAYS - 1, 0, 540, E},
				{DAYS - 1, 540, 900, NOTHING}},
			false, -1},
		{COUNTS_ALONE, /* for longer than any span */
			{{DAYS - 2, DAY - 70, 70, E}, {DAYS - 1, 0, 1440, E}}, false, -2},
		{COUNTS_ALONE, /* heat is missing of it all the same */
			{{DAYS - 1, DAY - 180, 120, E}, {DAYS - 1, DAY - 60, 60, H | E}},
			false, DAY - 60},
		{COUNTS_HEAT, {{DAYS - 1, DAY - 187, 187, H}}, false, -1},
		{COUNTS_HEAT, {{DAYS - 1, DAY - 187, 187, E}}, false, DAY - 187},
		{COUNTS_HEAT,
			{{DAYS - 1, DAY - 187, 60, H}, {DAYS - 1, DAY - 127, 127, H | E}},
			false, DAY - 127},
		{COUNTS_HEAT "[channel heat_power]\ntopic = a/3\nunit = W\n",
			{{DAYS - 1, DAY - 187, 187, H}}, false, DAY - 187},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(rows[i].text);
		m->input.rows_follow = rows[i].follow;
		for (size_t k = 0; k < 3 && rows[i].parts[k].minutes; k++) {
			struct evidence *e =
				add(m, (size_t)rows[i].parts[k].day, EVIDENCE_MISSING, -1,
					rows[i].parts[k].at, rows[i].parts[k].minutes);
			e->values[0] = rows[i].parts[k].what;
			e->values[1] = 0.0;
		}
		findings_of(&m->input, &m->list);
		ck_assert_msg(m->list.count == (rows[i].from != -1), "row %zu: %zu", i,
			m->list.count);
		if (rows[i].from >= 0)
			ck_assert_int_eq(m->list.items[0].since_ms,
				(START + (DAYS - 1) * MIN_PER_DAY + rows[i].from) *
					MS_PER_MIN);
		days_free(m);
	}
}
END

/* Where no heat can be known, that it is not is no word. */
TEST(of_a_plant_without_heat_electricity_alone_is_missing)
{
	struct made_days *m = days_new();
	for (size_t d = 0; d < DAYS; d++)
		m->days[d].heat_ms = 0;
	missing(m, 480, 120, MISSING_HEAT);
	missing(m, 600, 120, MISSING_HEAT | MISSING_ELECTRICITY);
	const struct finding *f = only(m, FINDING_MISSING_MINUTES);
	ck_assert_double_eq(f->size, 120.0);
	ck_assert_ptr_nonnull(strstr(f->evidence, " no electricity is known."));
	days_free(m);
}
END

/* Known, and yet no heat: broker and gateway have nothing to do with it. */
TEST(heat_beyond_what_the_fluid_allows_names_the_fluid)
{
	static const struct {
		bool mixture;
		int what;
		const char *evidence, *remedy;
	} rows[] = {
		{false, MISSING_COLD, "below 0.0 °C, where water freezes",
			"say so by fluid and fluid_percent"},
		{true, MISSING_COLD, "where the mixture with propylene glycol freezes",
			"put fluid and fluid_percent right"},
		{false, MISSING_HOT, "above 100 °C", "°F"},
		{true, MISSING_HOT, "above 100 °C", "°F"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		for (int heat = 0; heat < 2; heat++) {
			struct made_days *m = days_new();
			if (rows[i].mixture) {
				m->config->plant.fluid = FLUID_PROPYLENE_GLYCOL;
				m->config->plant.fluid_percent = 20.0;
			}
			for (size_t d = 0; !heat && d < m->input.day_count; d++)
				m->days[d].heat_ms = 0; /* it never was otherwise */
			missing(m, 600, 60, MISSING_HEAT | rows[i].what);
			const struct finding *f = only(m, FINDING_MISSING_MINUTES);
			ck_assert_double_eq(f->size, 60.0);
			ck_assert_msg(
				strstr(f->evidence, rows[i].evidence), "%s", f->evidence);
			expect_advice(f, rows[i].remedy);
			ck_assert_ptr_null(strstr(f->remedy, "broker"));
			days_free(m);
		}
}
END

/* What a register alone tells: a slow one is no outage of the broker, and what it said
 * but was not believed is one stretch, which the finding about it explains. */
TEST(a_register_alone_has_a_remedy_of_its_own)
{
	struct made_days *m = days_of(COUNTS_ALONE);
	missing(m, 600, 345, MISSING_ELECTRICITY);
	const struct finding *f = only(m, FINDING_MISSING_MINUTES);
	ck_assert_ptr_nonnull(strstr(f->remedy, "stale_after"));
	ck_assert_ptr_nonnull(strstr(f->remedy, "silent_after"));
	ck_assert_ptr_nonnull(strstr(f->remedy, "interval"));
	days_free(m);

	m = days_of(COUNTS_ALONE "power = w\n");
	missing(m, 600, 345, MISSING_ELECTRICITY);
	f = only(m, FINDING_MISSING_MINUTES);
	ck_assert_ptr_null(strstr(f->remedy, "stale_after"));
	days_free(m);
}
END

TEST(what_events_explain_is_one_stretch)
{
	struct event events[24];
	struct made_days *m = days_of(COUNTS_ALONE);
	for (int i = 0; i < 8; i++) {
		struct finding_day *day = &m->days[7];
		missing(m, 60 * i, 45, MISSING_ELECTRICITY);
		events[i] = (struct event){.kind = EVENT_REGISTER_REPLACED,
			.t_ms = (day->start_min + 60 * i + 45) * MS_PER_MIN,
			.made_ms = (day->start_min + 60 * i + 46) * MS_PER_MIN,
			.is_meter = true,
			.before = 1000.0 + 1000.0 * i,
			.after = 1900.0 + 1000.0 * i};
	}
	m->input.events = events;
	m->input.event_count = 8;
	findings_of(&m->input, &m->list);
	ck_assert_uint_eq(m->list.count, 2);
	for (size_t i = 0; i < m->list.count; i++) {
		const struct finding *f = &m->list.items[i];
		if (f->kind != FINDING_MISSING_MINUTES)
			continue;
		ck_assert_double_eq(f->size, 8 * 45.0);
		ck_assert_int_eq(f->until_ms - f->since_ms, (7 * 60 + 45) * MS_PER_MIN);
		ck_assert_ptr_nonnull(strstr(f->evidence, "was not believed"));
		ck_assert_ptr_null(strstr(f->remedy, "broker"));
	}
	days_free(m);
}
END

/* By the events of days: which kind a register's words are most likely of. */
TEST(words_of_another_kind_name_it)
{
	static const struct {
		const char *kind;
		enum event_kind event;
		int count, every_min, at_min;
		double after, grows;
		const char *names;
	} rows[] = {
		{"", EVENT_REGISTER_RESET, 9, 1440, 0, 0.01, 0.0, "set kind = daily in"},
		{"", EVENT_REGISTER_RESET, 3, 1440, 700, 0.01, 0.0, "set modulus"},
		{"", EVENT_REGISTER_RESET, 1, 1440, 0, 0.01, 0.0, "set modulus"},
		{"", EVENT_REGISTER_RESET, 20, 60, 40, 0.0, 0.0, "set kind = increment"},
		{"kind = increment\n", EVENT_REGISTER_REFUSED, 20, 60, 1, 1064.0, 1.5,
			"set kind = register"},
		{"kind = increment\n", EVENT_REGISTER_REFUSED, 20, 60, 1, 30.0, 0.0,
			"unit or scale"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct event events[24];
		struct buffer text = {0};
		buffer_addf(&text, "%s%s", COUNTS_ALONE, rows[i].kind);
		struct made_days *m = days_of(buffer_text(&text));
		for (int k = 0; k < rows[i].count; k++) {
			int64_t t_ms = (m->days[3].start_min + rows[i].at_min +
					       (int64_t)k * rows[i].every_min) *
				       MS_PER_MIN;
			events[k] = (struct event){.kind = rows[i].event,
				.t_ms = t_ms,
				.made_ms = t_ms,
				.is_meter = true,
				.before = 28.93,
				.after = rows[i].after + k * rows[i].grows};
		}
		m->input.events = events;
		m->input.event_count = (size_t)rows[i].count;
		findings_of(&m->input, &m->list);
		ck_assert_uint_eq(m->list.count, 1);
		ck_assert_msg(strstr(m->list.items[0].remedy, rows[i].names), "%zu: %s",
			i, m->list.items[0].remedy);
		days_free(m);
		buffer_release(&text);
	}
}
END

TESTS(a_register_alone_has_a_remedy_of_its_own, what_events_explain_is_one_stretch,
	words_of_another_kind_name_it, an_outage_has_the_reason_that_link_facts_give,
	a_stretch_is_told_by_what_was_missing_in_it,
	what_an_open_span_of_a_register_will_tell_is_not_missing,
	of_a_plant_without_heat_electricity_alone_is_missing,
	heat_beyond_what_the_fluid_allows_names_the_fluid)
