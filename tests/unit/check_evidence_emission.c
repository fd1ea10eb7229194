/*
 * What a day made by hand says of its heating and of its cylinder: sums against plain
 * loops written here, least squares of the products against rows that follow a law.
 */
#include "healthy_day.h"

static const char rooms[] = "[channel room_temperature]\ntopic = a/9\n"
			    "[channel cylinder_temperature]\ntopic = a/10\n";
enum { ROOM = HEATER + 1, CYLINDER };

static const struct evidence *row_of(const struct sample *s, int row)
{
	for (size_t i = 0; i < s->list.count; i++)
		if (s->list.items[i].kind == EVIDENCE_EMISSION &&
			s->list.items[i].at_min == START + row)
			return &s->list.items[i];
	return NULL;
}

static const struct evidence *there(const struct evidence *e)
{
	ck_assert_ptr_nonnull(e);
	if (!e)
		abort();
	return e;
}

static struct sample *warm_house(void)
{
	char *text = xasprintf("%s%s", house, rooms);
	struct sample *s = healthy_of(text);
	free(text);
	set(s, ROOM, 0, DAY, 21.0);
	set(s, CYLINDER, 0, DAY, 45.0);
	return s;
}

TEST(heat_electricity_and_temperatures_of_heating_are_its_own_minutes)
{
	struct sample *s = warm_house();
	double heat = 0.0, unit = 0.0, flow = 0.0, outdoor = 0.0;
	int minutes = 0;
	look(s);
	for (int i = 0; i < DAY; i++) {
		if (!(of(s, HZ)[i] > 0.0) || of(s, VALVE)[i] == 1.0)
			continue;
		double j = s->day.booked[i].heat_j;
		minutes++;
		heat += j;
		unit += 60.0 * (of(s, L1)[i] + of(s, L2)[i]);
		flow += j * of(s, FLOW)[i];
		outdoor += j * of(s, OUTDOOR)[i];
	}
	const struct evidence *e = there(row_of(s, EMISSION_WHOLE));
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, minutes);
	ck_assert_double_eq_tol(e->values[0], heat, 1.0);
	ck_assert_double_eq_tol(e->values[1], unit, 1.0);
	ck_assert_double_eq_tol(e->values[2], flow / heat, 1e-9);
	ck_assert_double_eq_tol(e->values[4], outdoor / heat, 1e-9);
	ck_assert_double_eq_tol(e->values[5], 21.0, 1e-9);
	sample_free(s);
}
END

/* Each run of an hour has 40 minutes behind its first twenty; the water becomes 0.02 K
 * warmer a minute, and waves. */
TEST(settled_minutes_lie_behind_twenty_of_heating)
{
	struct sample *s = warm_house();
	double watts = 0.0, water = 0.0;
	int minutes = 0;
	look(s);
	for (int i = 0; i < DAY; i++) {
		if (i % 80 < 20 || i % 80 >= 60 || (i >= 780 && i < 840))
			continue;
		minutes++;
		watts += s->day.booked[i].heat_j / 60.0;
		water += (of(s, FLOW)[i] + of(s, RETURN)[i]) / 2.0;
	}
	const struct evidence *e = there(row_of(s, EMISSION_SETTLED));
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, minutes);
	ck_assert_double_eq_tol(e->values[0], watts / minutes, 1e-6);
	ck_assert_double_eq_tol(e->values[1], water / minutes, 1e-9);
	ck_assert_double_eq_tol(e->values[2], 21.0, 1e-9);
	ck_assert_double_eq_tol(e->values[3], 1.2, 0.15);
	sample_free(s);
}
END

/* Electricity such that the share of Carnot's quotient is 0.4·exp(0.01·(flow − 30) −
 * 0.02·outdoor): then Σfy = 0.01·Σff − 0.02·Σfs, and so with the others. */
TEST(products_hold_the_law_that_electricity_follows)
{
	struct sample *s = warm_house();
	book(s);
	for (int i = 0; i < DAY; i++) {
		double f = of(s, FLOW)[i], o = of(s, OUTDOOR)[i];
		double share = 0.4 * exp(0.01 * (f - 30.0) - 0.02 * o);
		double w =
			s->day.booked[i].heat_j / 60.0 / share * (f - o) / (f + 273.15);
		of(s, L1)[i] = of(s, HZ)[i] > 0.0 ? w : 6.0;
		of(s, L2)[i] = 0.0;
	}
	look(s);
	const struct evidence *a = there(row_of(s, EMISSION_PRODUCTS));
	const struct evidence *b = there(row_of(s, EMISSION_PRODUCTS + 1));
	const struct evidence *c = there(row_of(s, EMISSION_PRODUCTS + 2));
	ck_assert(a && b && c);
	double ff = a->values[0], fs = a->values[1], fp = a->values[2];
	double fq = a->values[3], fy = a->values[4], ss = a->values[5];
	double sp = b->values[0], sq = b->values[1], sy = b->values[2];
	double py = b->values[5], qy = c->values[1], yy = c->values[2];
	ck_assert_double_gt(ff, 1.0);
	ck_assert_double_eq_tol(fy, 0.01 * ff - 0.02 * fs, 1e-6 * ff);
	ck_assert_double_eq_tol(sy, 0.01 * fs - 0.02 * ss, 1e-6 * ss);
	ck_assert_double_eq_tol(py, 0.01 * fp - 0.02 * sp, 1e-6 * ff);
	ck_assert_double_eq_tol(qy, 0.01 * fq - 0.02 * sq, 1e-6 * ff);
	ck_assert_double_eq_tol(yy, 0.01 * fy - 0.02 * sy, 1e-6 * ff);
	ck_assert(isnan(c->values[3]));
	sample_free(s);
}
END

TEST(without_what_it_needs_a_row_says_less_or_is_not_there)
{
	struct sample *s = warm_house();
	set(s, FLOW, 0, DAY, (double)NAN);
	look(s);
	ck_assert_ptr_null(row_of(s, EMISSION_WHOLE));
	sample_free(s);
	s = warm_house();
	set(s, ROOM, 0, DAY, (double)NAN);
	set(s, OUTDOOR, 0, DAY, (double)NAN);
	look(s);
	ck_assert(isnan(there(row_of(s, EMISSION_WHOLE))->values[4]));
	ck_assert(isnan(there(row_of(s, EMISSION_WHOLE))->values[5]));
	ck_assert(isnan(there(row_of(s, EMISSION_SETTLED))->values[2]));
	ck_assert_ptr_null(row_of(s, EMISSION_PRODUCTS));
	sample_free(s);
	s = warm_house();
	set(s, OUTDOOR, 0, DAY, 20.0); /* lifts below 15 K */
	look(s);
	ck_assert_ptr_nonnull(row_of(s, EMISSION_WHOLE));
	ck_assert_ptr_null(row_of(s, EMISSION_PRODUCTS));
	sample_free(s);
}
END

TEST(a_defrost_and_what_follows_it_is_not_settled)
{
	struct sample *s = warm_house();
	set(s, DEFROST, 110, 116, 1.0); /* in the run from 80 to 140 */
	look(s);
	struct sample *t = warm_house();
	look(t);
	ck_assert_int_eq(there(row_of(t, EMISSION_SETTLED))->minutes -
				 there(row_of(s, EMISSION_SETTLED))->minutes,
		27); /* from the minute before it, 109, to 136, twenty behind it */
	sample_free(s);
	sample_free(t);
}
END

/* ---- the cylinder ---- */

TEST(minutes_at_60_degrees_are_counted_and_the_last_is_named)
{
	struct sample *s = warm_house();
	set(s, CYLINDER, 852, 900, 59.94);
	set(s, CYLINDER, 900, 911, 59.96); /* shown as 60.0 */
	set(s, CYLINDER, 911, 920, 62.0);
	set(s, CYLINDER, 1000, 1010, (double)NAN);
	look(s);
	const struct evidence *e = there(find(s, EVIDENCE_CYLINDER, -1));
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, 20);
	ck_assert_int_eq(e->at_min, START + 919);
	ck_assert_double_eq(e->values[0], 62.0);
	ck_assert_double_eq(e->values[1], 1430.0);
	sample_free(s);
}
END

TEST(a_cooler_cylinder_says_so_and_an_unknown_one_nothing)
{
	struct sample *s = warm_house();
	look(s);
	const struct evidence *e = there(find(s, EVIDENCE_CYLINDER, -1));
	ck_assert_int_eq(e->minutes, 0);
	ck_assert_int_eq(e->at_min, START);
	ck_assert_double_eq(e->values[0], 45.0);
	sample_free(s);
	s = warm_house();
	set(s, CYLINDER, 0, DAY, (double)NAN);
	look(s);
	ck_assert_ptr_null(find(s, EVIDENCE_CYLINDER, -1));
	sample_free(s);
}
END

TESTS(heat_electricity_and_temperatures_of_heating_are_its_own_minutes,
	settled_minutes_lie_behind_twenty_of_heating,
	products_hold_the_law_that_electricity_follows,
	without_what_it_needs_a_row_says_less_or_is_not_there,
	a_defrost_and_what_follows_it_is_not_settled,
	minutes_at_60_degrees_are_counted_and_the_last_is_named,
	a_cooler_cylinder_says_so_and_an_unknown_one_nothing)
