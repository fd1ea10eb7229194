/*
 * What days made by hand say of the pair of temperatures: at rest, with the return above
 * the flow, and with values that stand still.
 */
#include "healthy_day.h"

TEST(rest_begins_ten_minutes_after_the_stop_and_five_after_the_pump)
{
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++)
		of(s, RETURN)[i] -= 0.3;
	look(s);
	const struct evidence *e = find(s, EVIDENCE_REST, -1);
	ck_assert_ptr_nonnull(e);
	/* Off from 60 on, water from 68 on: both long enough from 73 on. */
	ck_assert_int_eq(e->at_min, START + 73);
	ck_assert_int_eq(e->minutes, 7);
	ck_assert_double_eq_tol(e->values[0], 0.3, 1e-9);
	sample_free(s);
}
END

TEST(a_heater_or_a_moving_valve_is_no_rest)
{
	struct sample *s = healthy();
	for (int i = 0; i < DAY; i++) {
		if (of(s, HZ)[i] == 0.0)
			of(s, L1)[i] = 2000.0; /* a back-up heater within the unit */
	}
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_REST, -1));
	sample_free(s);
	s = healthy();
	for (int i = 0; i < DAY; i++)
		of(s, VALVE)[i] = i / 3 % 2;
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_REST, -1));
	sample_free(s);
}
END

	static void
	cross_pipes(struct sample *s, int from, int to)
{
	for (int i = from; i < to; i++) {
		double flow = of(s, FLOW)[i];
		of(s, FLOW)[i] = of(s, RETURN)[i];
		of(s, RETURN)[i] = flow;
	}
}

TEST(a_return_above_the_flow_is_seen_outside_of_defrost)
{
	struct sample *s = healthy();
	cross_pipes(s, 160, 220);
	look(s);
	const struct evidence *e = find(s, EVIDENCE_RETURN_ABOVE, -1);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, 60);
	ck_assert_double_eq_tol(e->values[0], 5.0, 0.1);
	ck_assert_double_lt(e->values[1], 0.0);
	ck_assert_double_eq(e->values[2], 0.0);
	sample_free(s);
	s = healthy();
	cross_pipes(s, 170, 180);
	set(s, DEFROST, 170, 180, 1.0);
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
	sample_free(s);
}
END

	static struct sample *
	resting(double flow_c, double return_c)
{
	struct sample *s = healthy();
	set(s, HZ, 0, 300, 0.0);
	set(s, RATE, 0, 300, 0.0);
	set(s, L1, 0, 300, 6.0);
	set(s, L2, 0, 300, 6.0);
	set(s, FLOW, 0, 300, flow_c);
	set(s, RETURN, 0, 300, return_c);
	look(s);
	return s;
}

/* Where a rule tells defrosts, it takes crossed pipes for one as long as the unit runs.
 */
TEST(a_defrost_of_an_hour_is_none)
{
	for (int minutes = 30; minutes <= 31; minutes++) {
		struct sample *s = healthy();
		cross_pipes(s, 160, 160 + minutes);
		set(s, DEFROST, 160, 160 + minutes, 1.0);
		look(s);
		const struct evidence *e = find(s, EVIDENCE_RETURN_ABOVE, -1);
		ck_assert_int_eq(e ? e->minutes : 0, minutes == 31 ? 31 : 0);
		sample_free(s);
	}
}
END

TEST(both_pipes_standing_still_with_the_return_above_are_repeated_values)
{
	struct sample *s = resting(28.41, 29.59);
	const struct evidence *e = find(s, EVIDENCE_RETURN_ABOVE, -1);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[2], 1.0);
	ck_assert_int_ge(e->minutes, 298);
	sample_free(s);
}
END

TEST(both_pipes_standing_still_with_the_flow_above_are_frozen)
{
	struct sample *s = resting(32.16, 31.13);
	const struct evidence *e = find(s, EVIDENCE_FROZEN, FLOW);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[0], 32.16);
	ck_assert_double_eq(e->values[1], 31.13);
	ck_assert_double_eq(e->values[4], FROZEN_BY_STANDING);
	ck_assert_int_ge(e->minutes, 298);
	ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
	sample_free(s);
}
END

/* In summer both pipes are as warm as the room, each at its own sensor's error; to tenths
 * of a kelvin that stands for hours, to hundredths it does not. */
TEST(pipes_as_warm_as_their_room_are_not_repeated_values)
{
	for (int up = 0; up < 2; up++) {
		struct sample *s = resting(20.5 - 0.9 * up, 19.6 + 0.9 * up);
		ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
		ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
		sample_free(s);
		s = resting(20.69 - 0.63 * up, 20.06 + 0.63 * up); /* sixteenths */
		ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
		ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
		sample_free(s);
		s = resting(21.17 - 0.61 * up, 20.56 + 0.61 * up); /* 70.1 and 69.0 °F */
		ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
		ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
		sample_free(s);
		s = resting(20.52 - 0.98 * up, 19.54 + 0.98 * up);
		ck_assert_ptr_nonnull(
			find(s, up ? EVIDENCE_RETURN_ABOVE : EVIDENCE_FROZEN, -1));
		sample_free(s);
	}
}
END

/* Whole kelvins on either side of a half are a step apart for as long as they like. */
TEST(coarse_pipes_a_step_apart_are_not_repeated_values)
{
	for (int up = 0; up < 2; up++) {
		struct sample *s = resting(21.0 + up, 22.0 - up);
		ck_assert_ptr_null(find(s, EVIDENCE_RETURN_ABOVE, -1));
		ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
		sample_free(s);
		s = resting(20.0 + 3 * up, 23.0 - 3 * up);
		ck_assert_ptr_nonnull(
			find(s, up ? EVIDENCE_FROZEN : EVIDENCE_RETURN_ABOVE, -1));
		sample_free(s);
	}
}
END

TEST(a_sensor_is_frozen_when_its_other_moves)
{
	struct sample *s = healthy();
	set(s, FLOW, 50, 90, 33.0);
	for (int i = 60; i < 80; i++)
		of(s, RETURN)[i] -= 2.0;
	look(s);
	const struct evidence *e = find(s, EVIDENCE_FROZEN, FLOW);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START + 50);
	ck_assert_int_eq(e->minutes, 40);
	ck_assert_double_eq(e->values[0], 33.0);
	ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, RETURN));
	sample_free(s);
	s = healthy(); /* both still: that may be */
	set(s, FLOW, 160, 215, 33.0);
	set(s, RETURN, 160, 215, 28.0);
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
	sample_free(s);
}
END

TEST(an_outdoor_sensor_is_frozen_after_three_hours_of_one_value)
{
	struct sample *s = healthy();
	set(s, OUTDOOR, 100, 270, 1.23);
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_FROZEN, -1));
	sample_free(s);
	s = healthy();
	set(s, OUTDOOR, 100, 290, 1.23);
	look(s);
	ck_assert_ptr_nonnull(find(s, EVIDENCE_FROZEN, OUTDOOR));
	sample_free(s);
}
END

TESTS(rest_begins_ten_minutes_after_the_stop_and_five_after_the_pump,
	a_heater_or_a_moving_valve_is_no_rest,
	a_return_above_the_flow_is_seen_outside_of_defrost, a_defrost_of_an_hour_is_none,
	both_pipes_standing_still_with_the_return_above_are_repeated_values,
	both_pipes_standing_still_with_the_flow_above_are_frozen,
	pipes_as_warm_as_their_room_are_not_repeated_values,
	coarse_pipes_a_step_apart_are_not_repeated_values,
	a_sensor_is_frozen_when_its_other_moves,
	an_outdoor_sensor_is_frozen_after_three_hours_of_one_value)
