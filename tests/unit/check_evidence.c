/*
 * Evidence of days made by hand: each kind where it is and where it is not. That of the
 * pair, of sources and of efficiency: check_evidence_*.c.
 */
#include "healthy_day.h"

TEST(a_healthy_day_says_only_what_every_day_says)
{
	static const bool usual[EVIDENCE_KINDS] = {[EVIDENCE_LOOKED] = true,
		[EVIDENCE_REST] = true,
		[EVIDENCE_FLOW] = true,
		[EVIDENCE_PRESSURE] = true,
		[EVIDENCE_SKEW] = true,
		[EVIDENCE_FLAG] = true,
		[EVIDENCE_PHASE] = true,
		[EVIDENCE_OUTDOOR] = true,
		[EVIDENCE_EFFICIENCY] = true,
		[EVIDENCE_EMISSION] = true};
	struct sample *s = healthy();
	look(s);
	ck_assert_int_eq(s->list.items[0].kind, EVIDENCE_LOOKED);
	ck_assert_int_eq(s->list.items[0].minutes, EVIDENCE_FORM);
	for (size_t i = 0; i < s->list.count; i++)
		ck_assert_msg(usual[s->list.items[i].kind], "kind %d of %d, %g",
			s->list.items[i].kind, s->list.items[i].subject,
			s->list.items[i].values[0]);
	for (size_t k = 0; k < EVIDENCE_KINDS; k++)
		ck_assert_msg(!usual[k] || find(s, (enum evidence_kind)k, -1),
			"no evidence %zu", k);
	ck_assert_double_eq(find(s, EVIDENCE_REST, -1)->values[0], 0.0);
	ck_assert_int_eq(find(s, EVIDENCE_SKEW, 0)->minutes, 0);
	ck_assert_double_eq(find(s, EVIDENCE_SKEW, 0)->values[0], 1.0);
	ck_assert_double_eq_tol(find(s, EVIDENCE_FLOW, -1)->values[0], 17.5, 1e-9);
	ck_assert_double_eq_tol(find(s, EVIDENCE_FLOW, -1)->values[1], 19.0, 1e-9);
	sample_free(s);
}
END

TEST(one_reversed_phase_is_seen_beside_the_others)
{
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++)
		of(s, L2)[i] = -of(s, L2)[i];
	look(s);
	const struct evidence *e = find(s, EVIDENCE_POWER_NEGATIVE, L2);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq_tol(e->values[0], -700.0, 5.0);
	ck_assert_int_gt(e->minutes, 1000);
	ck_assert_ptr_null(find(s, EVIDENCE_POWER_NEGATIVE, L1));
	sample_free(s);
}
END

TEST(a_compressor_without_flow_is_seen_but_not_its_start)
{
	struct sample *s = healthy();
	set(s, RATE, 80, 84, 0.0); /* the pump is four minutes late */
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_FLOW_ZERO, -1));
	sample_free(s);
	s = healthy();
	set(s, RATE, 165, 195, 0.0);
	look(s);
	ck_assert_ptr_nonnull(find(s, EVIDENCE_FLOW_ZERO, -1));
	ck_assert_int_eq(find(s, EVIDENCE_FLOW_ZERO, -1)->minutes, 30);
	ck_assert_int_eq(find(s, EVIDENCE_FLOW_ZERO, -1)->at_min, START + 165);
	ck_assert_double_eq_tol(find(s, EVIDENCE_FLOW_ZERO, -1)->values[0],
		30 * 1500.0 * 60.0, 30 * 80.0 * 60.0);
	sample_free(s);
}
END

TEST(missing_minutes_say_what_is_missing)
{
	struct sample *s = healthy();
	set(s, RATE, 200, 230, (double)NAN);
	set(s, L1, 400, 440, (double)NAN);
	for (int c = 0; c < 11; c++)
		set(s, c, 600, 700, (double)NAN);
	book(s);
	for (int i = 400; i < 440; i++)
		s->day.meter_j[i] = 1000.0; /* a register's, bridged */
	s->day.meter_ms[400] = 20000;       /* the edge of a span that it knew */
	evidence_of(&s->day, NULL, &s->list);
	static const struct {
		int at, minutes, what;
		double bridged_j;
	} wanted[] = {{200, 30, MISSING_HEAT, 0.0},
		{400, 40, MISSING_ELECTRICITY, 39000.0},
		{600, 100, MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL, 0.0}};
	size_t seen = 0;
	for (size_t i = 0; i < s->list.count; i++) {
		const struct evidence *e = &s->list.items[i];
		if (e->kind != EVIDENCE_MISSING)
			continue;
		ck_assert_uint_lt(seen, ARRAY_LEN(wanted));
		ck_assert_int_eq(e->at_min, START + wanted[seen].at);
		ck_assert_int_eq(e->minutes, wanted[seen].minutes);
		ck_assert_double_eq(e->values[0], wanted[seen].what);
		ck_assert_double_eq(e->values[1], wanted[seen].bridged_j);
		ck_assert_double_eq(e->values[2], 12.0);
		seen++;
	}
	ck_assert_uint_eq(seen, ARRAY_LEN(wanted));
	ck_assert_int_eq(find(s, EVIDENCE_SILENT, RATE)->minutes, 30);
	ck_assert_int_eq(find(s, EVIDENCE_SILENT, L1)->minutes, 40);
	sample_free(s);
}
END

/* Heat is unknown, and what it is worked out of is not: by IF97 water is ice below 0 °C,
 * and no circuit is above 100. */
TEST(what_the_fluid_does_not_allow_is_told_apart)
{
	struct sample *s = healthy();
	set(s, RETURN, 200, 230, -0.5);
	set(s, FLOW, 300, 330, 101.0);
	set(s, RETURN, 400, 430, -0.5);
	set(s, RATE, 400, 430, (double)NAN);
	set(s, RETURN, 500, 530, 0.5);
	book(s);
	for (int i = 200; i < 530; i++)
		if (i % 100 < 30)
			s->day.booked[i].heat_ms = 0;
	evidence_of(&s->day, NULL, &s->list);
	static const int wanted[][2] = {{200, MISSING_HEAT | MISSING_COLD},
		{300, MISSING_HEAT | MISSING_HOT}, {400, MISSING_HEAT},
		{500, MISSING_HEAT}};
	size_t seen = 0;
	for (size_t i = 0; i < s->list.count; i++) {
		const struct evidence *e = &s->list.items[i];
		if (e->kind != EVIDENCE_MISSING)
			continue;
		ck_assert_uint_lt(seen, ARRAY_LEN(wanted));
		ck_assert_int_eq(e->at_min, START + wanted[seen][0]);
		ck_assert_int_eq(e->minutes, 30);
		ck_assert_double_eq(e->values[0], wanted[seen][1]);
		seen++;
	}
	ck_assert_uint_eq(seen, ARRAY_LEN(wanted));
	sample_free(s);
}
END

TEST(words_without_a_name_are_counted_by_channel)
{
	struct sample *s = healthy();
	set(s, VALVE, 500, 520, -1.0);
	look(s);
	ck_assert_int_eq(find(s, EVIDENCE_STATE_UNKNOWN, VALVE)->minutes, 20);
	ck_assert_int_eq(find(s, EVIDENCE_STATE_UNKNOWN, VALVE)->at_min, START + 500);
	ck_assert_ptr_null(find(s, EVIDENCE_STATE_UNKNOWN, DEFROST));
	sample_free(s);
}
END

/* 06:00 to 06:45, again for ten minutes an hour after that: its thermostat; and in the
 * afternoon. */
TEST(an_immersion_heater_is_told_by_its_uses)
{
	static const int64_t wanted[][3] = {{360, 55, 115}, {800, 10, 10}};
	struct sample *s = healthy();
	size_t seen = 0;
	set(s, HEATER, 360, 405, 3000.0);
	set(s, HEATER, 465, 475, 3000.0);
	set(s, HEATER, 800, 810, 3000.0);
	look(s);
	for (size_t i = 0; i < s->list.count; i++) {
		const struct evidence *e = &s->list.items[i];
		if (e->kind != EVIDENCE_IMMERSION)
			continue;
		ck_assert_uint_lt(seen, ARRAY_LEN(wanted));
		ck_assert_int_eq(e->subject, 1);
		ck_assert_int_eq(e->at_min, START + wanted[seen][0]);
		ck_assert_int_eq(e->minutes, wanted[seen][1]);
		ck_assert_double_eq_tol(
			e->values[0], (double)wanted[seen][1] * 180000.0, 1e-6);
		ck_assert_double_eq(e->values[1], (double)wanted[seen][2]);
		seen++;
	}
	ck_assert_uint_eq(seen, ARRAY_LEN(wanted));
	sample_free(s);
}
END

TEST(a_register_is_set_against_power)
{
	struct register_day registers[COUNTED_MOST] = {
		{.minutes = 900, .register_j = 3.6e6, .power_j = 3.3e6}};
	registers[COUNTED_HEAT] =
		(struct register_day){.minutes = 800, .register_j = 9e6, .power_j = 8e6};
	struct sample *s = healthy();
	book(s);
	evidence_of(&s->day, registers, &s->list);
	const struct evidence *e = find(s, EVIDENCE_REGISTER, 0);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[0], 3.6e6);
	ck_assert_double_eq(e->values[1], 3.3e6);
	ck_assert_ptr_null(find(s, EVIDENCE_REGISTER, 1));
	const struct evidence *heat = find(s, EVIDENCE_HEAT_REGISTER, -1);
	ck_assert_ptr_nonnull(heat);
	ck_assert_double_eq(heat->values[0], 9e6);
	ck_assert_double_eq(heat->values[1], 8e6);
	ck_assert_int_eq(heat->minutes, 800);
	sample_free(s);
}
END

/* A tenth more while the unit runs, three times as much at rest, when it draws 12 W. */
TEST(an_apparent_meter_is_set_against_the_true_one_and_adds_to_nothing)
{
	_cleanup_(freep) char *text =
		xasprintf("%s[channel va]\ntopic = b/4\nunit = W\n[meter va]\n"
			  "feeds = compressor, circulation\npower = va\napparent = yes\n",
			house);
	struct sample *s = healthy_of(text), *alone = healthy();
	book(s);
	for (int i = 0; i < DAY; i++) {
		double j = s->day.meter_j[i], more = j > 10000.0 ? 1.1 : 3.0;
		s->day.meter_j[2 * DAY + i] = i < 100 ? (double)NAN : more * j;
		s->day.meter_ms[2 * DAY + i] = i < 100 ? 0 : 60000;
	}
	evidence_of(&s->day, NULL, &s->list);
	look(alone);
	const struct evidence *e = find(s, EVIDENCE_APPARENT, 2);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, DAY - 100);
	ck_assert_double_eq_tol(e->values[0] / e->values[1], 1.1, 1e-9);
	ck_assert_double_eq_tol(e->values[2] / e->values[3], 3.0, 1e-9);
	ck_assert_double_eq_tol(find(s, EVIDENCE_EFFICIENCY, MODE_HEATING)->values[1],
		find(alone, EVIDENCE_EFFICIENCY, MODE_HEATING)->values[1], 1e-3);
	sample_free(s);
	sample_free(alone);
}
END

TEST(a_day_of_which_nothing_is_known_is_one_gap)
{
	struct sample *s = xcalloc(1, sizeof(*s));
	s->config = configured(house);
	day_minutes_init(&s->day, s->config, START, START + DAY);
	evidence_of(&s->day, NULL, &s->list);
	ck_assert_uint_eq(s->list.count, 2);
	ck_assert_int_eq(s->list.items[1].kind, EVIDENCE_MISSING);
	ck_assert_int_eq(s->list.items[1].minutes, DAY);
	sample_free(s);
}
END

/* No channel, no meter: nothing is looked for, nothing is touched. */
TEST(a_plant_without_channels_has_no_evidence_but_the_look)
{
	struct sample *s = xcalloc(1, sizeof(*s));
	s->config = configured("[plant]\nzone = UTC\n");
	day_minutes_init(&s->day, s->config, START, START + 1500);
	evidence_of(&s->day, NULL, &s->list);
	for (size_t i = 0; i < s->list.count; i++)
		ck_assert(s->list.items[i].kind == EVIDENCE_LOOKED ||
			  s->list.items[i].kind == EVIDENCE_MISSING);
	sample_free(s);
}
END

TESTS(a_healthy_day_says_only_what_every_day_says,
	one_reversed_phase_is_seen_beside_the_others,
	a_compressor_without_flow_is_seen_but_not_its_start,
	missing_minutes_say_what_is_missing, words_without_a_name_are_counted_by_channel,
	an_immersion_heater_is_told_by_its_uses, a_register_is_set_against_power,
	an_apparent_meter_is_set_against_the_true_one_and_adds_to_nothing,
	a_day_of_which_nothing_is_known_is_one_gap,
	a_plant_without_channels_has_no_evidence_but_the_look,
	what_the_fluid_does_not_allow_is_told_apart)
