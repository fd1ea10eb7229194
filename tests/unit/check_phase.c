/*
 * One phase of several that follows the compressor no more: what a day made by hand says
 * of each phase, and what is told of days.
 *
 * Reference: hand-worked figures. Of 1500 W and 90 W of rest the phases have 40, 40 and
 * 20 %.
 */
#include "made_days.h"
#include "made_minutes.h"

enum { L1, L2, L3, HZ, PHASES = 3 };

#define PLANT(more)                                                                      \
	"[plant]\nzone = UTC\ndevices = compressor, circulation\n"                       \
	"[channel l1]\ntopic = a/1\nunit = W\n[channel l2]\ntopic = a/2\nunit = W\n"     \
	"[channel l3]\ntopic = a/3\nunit = W\n"                                          \
	"[channel compressor_frequency]\ntopic = a/4\n"                                  \
	"[channel count]\ntopic = a/5\nunit = kWh\n"                                     \
	"[meter unit]\nfeeds = compressor, circulation\npower = l1 + l2 + l3\n" more

static const double part[PHASES] = {0.4, 0.4, 0.2};

TEST(a_day_tells_what_each_phase_takes)
{
	struct sample *s = sample_new(PLANT(""));
	for (int i = 0; i < DAY; i++) {
		bool on = i % 80 < 60;
		for (int p = 0; p < PHASES; p++)
			of(s, p)[i] = part[p] * (on ? 1500.0 : 90.0);
		of(s, HZ)[i] = on ? 45.0 : 0.0;
		meter(s, 0, i, on ? 1500.0 : 90.0);
	}
	set(s, L3, 0, 80, (double)NAN); /* of which all is unknown then */
	evidence_of(&s->day, NULL, &s->list);
	for (int p = 0; p < PHASES; p++) {
		const struct evidence *e = find(s, EVIDENCE_PHASE, p);
		ck_assert_ptr_nonnull(e);
		ck_assert_int_eq(e->minutes, 17 * 60);
		ck_assert_double_eq_tol(e->values[0], part[p] * 1500.0, 1e-6);
		ck_assert_double_eq_tol(e->values[1], part[p] * 90.0, 1e-6);
		ck_assert_double_eq_tol(e->values[2], (1.0 - part[p]) * 1500.0, 1e-6);
		ck_assert_double_eq_tol(e->values[3], (1.0 - part[p]) * 90.0, 1e-6);
		ck_assert_double_eq(e->values[4], 17 * 20);
	}
	sample_free(s);
}
END

	/* 1000 minutes of running and 440 of rest; of the `still` phase `w` all day. */
	static void
	says(struct made_days *m, int first, int end, int still, double w)
{
	for (int d = first; d < end; d++)
		for (int p = 0; p < PHASES; p++) {
			struct evidence *e =
				add(m, (size_t)d, EVIDENCE_PHASE, p, 0, 1000);
			for (int ran = 0; ran < 2; ran++) {
				double all = ran ? 1500.0 : 90.0, own = part[p] * all;
				double rest = all - own;
				if (still == p)
					own = w;
				else if (still >= 0)
					rest += w - part[still] * all;
				e->values[1 - ran] = own;
				e->values[3 - ran] = rest;
			}
			e->values[4] = 440.0;
		}
}

TEST(a_phase_that_stands_is_told_with_what_is_missing)
{
	static const struct {
		const char *plant;
		int still, usual, days;
		double w;
		bool told, effect;
	} rows[] = {
		{PLANT(""), L1, 10, 4, 0.0, true, true},
		{PLANT(""), L3, 10, 4, 18.0, true, true}, /* as it stood at rest */
		{PLANT(""), L2, 10, 4, 600.0, true, true},
		{PLANT(""), L1, 10, 1, 0.0, false, false},
		{PLANT(""), L1, 2, 4, 0.0, false, false}, /* it may never have had any */
		{PLANT(""), -1, 10, 4, 0.0, false, false},
		{PLANT("register = count\n"), L1, 10, 4, 0.0, true, false},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct made_days *m = days_of(rows[i].plant);
		int begin = rows[i].usual, end = begin + rows[i].days;
		says(m, 0, begin, -1, 0.0);
		says(m, begin, end, rows[i].still, rows[i].w);
		says(m, end, end + 4, -1, 0.0);
		if (!rows[i].told) {
			none(m);
			days_free(m);
			continue;
		}
		const struct finding *f = only(m, FINDING_PHASE_MISSING);
		double true_j = part[rows[i].still] * 60.0 * (1000 * 1500.0 + 440 * 90.0);
		double lost_kwh =
			rows[i].days * (true_j - 60.0 * 1440 * rows[i].w) / J_PER_KWH;
		expect_days(f, begin, end);
		ck_assert_str_eq(f->subject, m->config->channels[rows[i].still].name);
		ck_assert_double_eq_tol(f->size, lost_kwh, 1e-6);
		ck_assert_int_eq(!isnan(f->effect), rows[i].effect);
		if (rows[i].effect)
			ck_assert_double_eq_tol(
				f->effect, 3.6 - 1440.0 / (400.0 + 3.6 * lost_kwh), 1e-6);
		days_free(m);
	}
}
END

TESTS(a_day_tells_what_each_phase_takes, a_phase_that_stands_is_told_with_what_is_missing)
