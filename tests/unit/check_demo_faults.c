/*
 * The demo plant's faults: where they are put, and what they must not touch. What becomes
 * of them in the daemon is for the integration tests.
 */
#include "unit.h"

#include "faults.h"
#include "zone.h"

#define DAY_STEPS 8640

static void into_buffer(const struct message *m, void *context)
{
	buffer_addf(context, "%lld %s %s %d\n", (long long)m->t_ms, m->topic, m->payload,
		m->replayed);
}

/* A day of messages at the end of their way, and without one. */
static void day_of(const struct faults *faults, int64_t from_s, struct buffer *ret_said,
	struct buffer *ret_plain)
{
	struct plant plant;
	struct plant_settings settings = {.seed = 1};
	struct fault_way *way = fault_way_new(faults, 1, into_buffer, ret_said);
	plant_init(&plant, &settings);
	plant_run_to(&plant, from_s);
	for (int i = 0; i < DAY_STEPS; i++) {
		const struct plant_step *step = plant_advance(&plant);
		fault_way_step(way, step);
		messages_of_step(step, into_buffer, ret_plain);
	}
	fault_way_free(way);
}

static size_t lines_with(struct buffer *text, const char *words)
{
	size_t count = 0;
	for (const char *at = buffer_text(text); (at = strstr(at, words)); at++)
		count++;
	return count;
}

TEST(no_fault_changes_nothing)
{
	struct faults none = {0};
	struct buffer said = {0}, plain = {0};
	ck_assert_int_eq(zone_open(), 0);
	day_of(&none, zone_midnight(2024, 9, 10), &said, &plain);
	ck_assert_uint_gt(plain.length, 1000000);
	ck_assert_str_eq(buffer_text(&said), buffer_text(&plain));
	buffer_release(&said);
	buffer_release(&plain);
}
END

/* One fault at its date: how many lines differ from the plain ones tells where it acts. */
TEST(payloads_are_garbled_by_a_stream_of_their_own)
{
	struct faults bad = {0};
	struct buffer said = {0}, again = {0}, plain = {0};
	ck_assert_int_eq(zone_open(), 0);
	ck_assert_int_eq(faults_choose(&bad, "bad_payloads"), 0);
	day_of(&bad, zone_midnight(2024, 9, 10), &said, &plain);
	ck_assert_uint_gt(lines_with(&said, "n/a"), 100);
	ck_assert_uint_gt(lines_with(&said, "#"), 100);
	ck_assert_uint_gt(lines_with(&said, "\","), 5);
	/* Another fault beside it draws nothing from its chance. */
	ck_assert_int_eq(faults_choose(&bad, "return_low,broker_away"), 0);
	buffer_release(&plain);
	day_of(&bad, zone_midnight(2024, 9, 10), &again, &plain);
	ck_assert_str_eq(buffer_text(&said), buffer_text(&again));
	buffer_release(&said);
	buffer_release(&again);
	buffer_release(&plain);
}
END

TEST(what_is_said_wrongly_is_not_so)
{
	struct faults faults = {0};
	struct fault_memory memory = {0};
	struct plant plant;
	struct plant_settings settings = {.seed = 1};
	ck_assert_int_eq(zone_open(), 0);
	ck_assert_int_eq(
		faults_choose(&faults, "return_low,register_reset,register_wrap"), 0);
	ck_assert_int_eq(faults_prepare(&faults, &settings), 0);
	int64_t wrap_s = faults.fault[FAULT_REGISTER_WRAP].from_s;
	int64_t reset_s = faults.fault[FAULT_REGISTER_RESET].from_s;
	plant_init(&plant, &settings);
	plant_run_to(&plant, wrap_s - PLANT_STEP_S);
	struct plant_step said = faults_say(&faults, &memory, plant_advance(&plant));
	ck_assert_double_lt(said.unit_j, 65536 * 3.6e6);
	ck_assert_double_gt(said.unit_j, 65535.9 * 3.6e6);
	said = faults_say(&faults, &memory, plant_advance(&plant));
	ck_assert_double_eq_tol(said.unit_j, 0.0, 1e-3);
	plant_run_to(&plant, reset_s);
	said = faults_say(&faults, &memory, plant_advance(&plant));
	ck_assert_double_eq_tol(said.unit_j, 0.0, 1e-3);
	plant_run_to(&plant, faults.fault[FAULT_RETURN_LOW].from_s + 86400);
	const struct plant_step *step = plant_advance(&plant);
	said = faults_say(&faults, &memory, step);
	ck_assert_double_eq_tol(said.return_c, step->return_c - 0.3, 1e-12);
	ck_assert(said.flow_c == step->flow_c && said.heat_w == step->heat_w);
}
END

TEST(a_wrap_after_a_reset_is_refused)
{
	struct faults faults = {0};
	struct plant_settings settings = {.seed = 1};
	ck_assert_int_eq(zone_open(), 0);
	ck_assert_int_eq(faults_place(&faults, "register_reset=2024-07-02"), 0);
	ck_assert_int_eq(faults_place(&faults, "register_wrap=2024-07-03"), 0);
	ck_assert_int_eq(faults_prepare(&faults, &settings), -1);
}
END

TEST(places_and_names_are_checked)
{
	static const char *const wrong[] = {"return_low",
		"return_low=", "return_low=2024-13-01", "nothing=2024-12-01/2024-12-02",
		"return_low=2024-12-02/2024-12-01", "return_low=2024-06-01/2024-12-01",
		"return_low=2024-12-01T00:00:05Z/2024-12-02",
		"return_low=2024-12-01T00:00:00+01:000000000000/2024-12-02"};
	struct faults faults = {0};
	ck_assert_int_eq(zone_open(), 0);
	for (size_t i = 0; i < ARRAY_LEN(wrong); i++)
		ck_assert_msg(faults_place(&faults, wrong[i]) < 0, "%s", wrong[i]);
	ck_assert_int_lt(faults_choose(&faults, ""), 0);
	ck_assert_int_lt(faults_choose(&faults, "return_low,"), 0);
	ck_assert_int_lt(faults_choose(&faults, "return"), 0);
	ck_assert_int_eq(
		faults_place(&faults, "return_low=2024-12-01T00:00:00Z/2024-12-02"), 0);
	ck_assert_int_eq(faults.fault[FAULT_RETURN_LOW].from_s, 1733011200);
}
END

/* Two faults at once would hide each other, and both days with a change of the clocks
 * are to be days without any. What changes the plant for good is let alone. */
TEST(faults_keep_clear_of_each_other_and_of_the_clocks)
{
	struct faults all = {0};
	ck_assert_int_eq(zone_open(), 0);
	faults_all(&all);
	int64_t clocks[] = {zone_midnight(2024, 10, 27), zone_midnight(2025, 3, 30)};
	for (int i = 0; i < FAULTS; i++) {
		const struct fault *a = &all.fault[i];
		ck_assert(a->on && a->from_s <= a->to_s);
		ck_assert_int_ge(a->from_s, PLANT_ORIGIN_S);
		ck_assert_int_le(a->to_s, zone_midnight(2025, 7, 1));
		if (i == FAULT_EFFICIENCY_LOW)
			continue;
		for (size_t c = 0; c < ARRAY_LEN(clocks); c++)
			ck_assert(a->to_s < clocks[c] || a->from_s > clocks[c] + 90000);
		for (int j = 0; j < i; j++)
			ck_assert(j == FAULT_EFFICIENCY_LOW ||
				  a->to_s < all.fault[j].from_s ||
				  a->from_s > all.fault[j].to_s);
	}
}
END

	/* Days are counted that begin before what happens and end behind it. */
	struct days {
	int starts, short_runs, pump_turns;
	double kwh, coldest_room_c;
};

static struct days days_under(const struct faults *faults, int64_t from_s, int days)
{
	struct days d = {.coldest_room_c = 99.0};
	struct plant plant;
	struct plant_rule rules[FAULTS];
	struct plant_settings settings = {.seed = 1, .rules = rules};
	settings.rule_count = faults_rules(faults, rules);
	plant_init(&plant, &settings);
	plant_run_to(&plant, from_s);
	int64_t run_s = 0;
	bool turned = false;
	for (int i = 0; i < days * DAY_STEPS; i++) {
		const struct plant_step *s = plant_advance(&plant);
		bool turns = s->mode == PLANT_FREEZE_PROTECTION;
		d.starts += s->start;
		d.pump_turns += turns && !turned;
		ck_assert(!turns || (s->outdoor_c < 3.0 && s->return_c < 15.0 &&
					    s->rate_lpm > 0.0 && !s->compressor_on));
		turned = turns;
		d.short_runs += run_s > 0 && run_s < 600 && !s->compressor_on;
		run_s = s->compressor_on ? run_s + PLANT_STEP_S : 0;
		d.kwh += s->heat_w * PLANT_STEP_S / 3.6e6;
		d.coldest_room_c = fmin(d.coldest_room_c, s->room_c);
	}
	return d;
}

TEST(emitters_that_are_shut_make_short_cycles)
{
	struct faults none = {0}, shut = {0};
	ck_assert_int_eq(zone_open(), 0);
	ck_assert_int_eq(faults_choose(&shut, "emitters_shut"), 0);
	int64_t from_s = zone_midnight(2024, 10, 21);
	struct days plain = days_under(&none, from_s, 7);
	struct days d = days_under(&shut, from_s, 7);
	ck_assert_int_eq(plain.short_runs, 0);
	ck_assert_int_gt(d.short_runs, 50);
	ck_assert_int_gt(d.starts, 100);
	ck_assert_int_lt(plain.starts, 40);
}
END

TEST(a_frosty_standstill_has_the_pump_turn_and_nothing_else)
{
	struct faults none = {0}, still = {0};
	ck_assert_int_eq(zone_open(), 0);
	ck_assert_int_eq(faults_choose(&still, "frosty_standstill"), 0);
	int64_t from_s = zone_midnight(2025, 1, 20);
	struct days d = days_under(&still, from_s, 3);
	ck_assert_int_eq(d.starts, 0);
	ck_assert_int_gt(d.pump_turns, 80);
	ck_assert_double_lt(d.kwh, 0.1); /* what the condenser held */
	ck_assert_double_lt(d.coldest_room_c, 10.0);
	d = days_under(&none, from_s, 3);
	ck_assert_int_eq(d.pump_turns, 0);
	ck_assert_double_gt(d.coldest_room_c, 20.0);
}
END

/* A year with all faults is the same whatever is added that is none. */
TEST(what_is_apart_is_not_among_all_faults)
{
	struct faults all = {0}, every = {0};
	ck_assert_int_eq(zone_open(), 0);
	ck_assert_int_eq(faults_choose(&all, "all"), 0);
	faults_all(&every);
	for (int i = 0; i < FAULTS; i++) {
		bool apart = i == FAULT_EMITTERS_SHUT || i == FAULT_FROSTY_STANDSTILL;
		ck_assert_int_eq(all.fault[i].on, !apart);
		ck_assert(every.fault[i].on);
	}
}
END

TESTS(no_fault_changes_nothing, payloads_are_garbled_by_a_stream_of_their_own,
	what_is_said_wrongly_is_not_so, a_wrap_after_a_reset_is_refused,
	places_and_names_are_checked, emitters_that_are_shut_make_short_cycles,
	a_frosty_standstill_has_the_pump_turn_and_nothing_else,
	what_is_apart_is_not_among_all_faults, faults_keep_clear_of_each_other_and_of_the_clocks)
