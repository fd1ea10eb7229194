/*
 * Days of houses for comparisons: drawn day by day, and those of the demo plant.
 *
 * The drawn houses share no code with the models that they try: heat by a sun of its own
 * season and clearness, efficiency by the quadratic of a generic air-source unit at its
 * lift (Sci. Data 6 (2019) 189, as in the demo plant), a dip by frost, scatter that hangs
 * on the day before. Their parameters are invented.
 */
#ifndef COMPARED_DAYS_H
#define COMPARED_DAYS_H

#include "../property/rounds.h"

#include <heatbook/comparison.h>

#include "streams.h"

#define DRAWN_DAYS_MOST 1200
#define FIRST_DAY       INT64_C(19905) /* 1 July 2024 */
#define HOUSE_REST_KWH  0.2            /* electricity of a day without heat */

/* What was changed, from `at` on; all 0: nothing. */
struct house_change {
	size_t at;
	double efficiency; /* share of electricity less */
	double heat;       /* share of heat less */
	double room_k;
};

struct drawn_days {
	struct comparison_day days[DRAWN_DAYS_MOST];
	size_t count;
};

struct house_draw {
	uint64_t seed;
	int64_t next;
};

static inline double draw_normal(struct house_draw *draw)
{
	return stream_normal(draw->seed, STREAM_OUTDOOR, draw->next++);
}

static inline double draw_even(struct house_draw *draw, double least, double most)
{
	return least +
	       (most - least) * stream_even(draw->seed, STREAM_CLOUDS, draw->next++);
}

/* A deviation that hangs on the day before. */
static inline double draw_on(
	struct house_draw *draw, double *kept, double keep, double sd)
{
	*kept = keep * *kept + sqrt(1.0 - keep * keep) * sd * draw_normal(draw);
	return *kept;
}

static inline double house_per_heat(double outdoor_c, double load, double wet)
{
	double flow_c = fmax(26.0, 42.0 - 0.72 * (outdoor_c + 9.0));
	double lift = fmax(15.0, flow_c - outdoor_c);
	double cop = 1.10 * (6.0801 - 0.0941 * lift + 0.000464 * lift * lift);
	double off = (outdoor_c - 1.0) / 4.8;
	cop *= 1.0 - (0.05 + 0.02 * wet) * exp(-0.5 * off * off);
	cop *= 1.0 - 0.06 * fmax(0.0, 0.35 - load);
	return 1.0 / cop;
}

/* `count` days of house `seed`, which are the same but for the change. */
static inline void house_draw_days(uint64_t seed, size_t count,
	const struct house_change *change, struct drawn_days *ret)
{
	struct house_draw d = {.seed = seed};
	double kw_per_k = draw_even(&d, 0.10, 0.32), base_c = draw_even(&d, 14.5, 17.5);
	double sun_k = draw_even(&d, 0.5, 7.0), lag = draw_even(&d, 0.1, 0.4);
	double heat_sd = draw_even(&d, 0.02, 0.08), heat_keep = draw_even(&d, 0.0, 0.5);
	double e_sd = draw_even(&d, 0.01, 0.03), e_keep = draw_even(&d, 0.1, 0.5);
	double water_kwh = draw_even(&d, 1.0, 3.5), most_kw = 26.0 * kw_per_k;
	double cold = 0.0, heat_off = 0.0, e_off = 0.0, room_off = 0.0, wet = 0.0;
	double before_c = 15.0;
	for (size_t i = 0; i < count; i++) {
		struct comparison_day *day = &ret->days[i];
		bool changed = change->at > 0 && i >= change->at;
		double season = cos(2.0 * M_PI * ((double)i - 202.0) / 365.2425);
		double clear = draw_even(&d, 0.1, 1.0);
		double sun = sun_k * clear * (0.55 - 0.45 * season);
		double outdoor_c = 9.4 - 8.6 * season + draw_on(&d, &cold, 0.69, 3.4);
		double felt_c = outdoor_c + lag * (before_c - outdoor_c) + sun;
		double kw = kw_per_k * fmax(0.0, base_c + 0.55 * sun_k - felt_c);
		kw *= fmax(0.0, 1.0 + draw_on(&d, &heat_off, heat_keep, heat_sd));
		if (changed)
			kw *= 1.0 - change->heat;
		double per = house_per_heat(
			outdoor_c, kw / most_kw, draw_on(&d, &wet, 0.4, 1.0) - season);
		double e = 24.0 * kw * per * (1.0 + draw_on(&d, &e_off, e_keep, e_sd));
		if (changed)
			e *= 1.0 - change->efficiency;
		e += HOUSE_REST_KWH;
		double water = water_kwh * draw_even(&d, 0.6, 1.4) * (1.0 + 0.1 * season);
		*day = (struct comparison_day){.day = FIRST_DAY + (int64_t)i,
			.outdoor_c = outdoor_c,
			.outdoor_before_c = before_c,
			.heat_kwh = 24.0 * kw,
			.electricity_kwh = e,
			.whole_kwh = e + water + (i % 7 == 6 ? 2.0 : 0.0),
			.room_c = 21.0 - 0.02 * (outdoor_c - 5.0) +
				  draw_on(&d, &room_off, 0.4, 0.12) +
				  (changed ? change->room_k : 0.0)};
		before_c = outdoor_c;
	}
	ret->count = count;
}

/* Days [from, at) against [at, to). */
static inline void house_compare(const struct drawn_days *house, size_t from, size_t at,
	size_t to, struct comparison *ret, struct insight_answer *answer)
{
	ck_assert_uint_le(to, house->count);
	*answer = (struct insight_answer){0};
	comparison_judge((struct comparison_side){house->days + from, at - from},
		(struct comparison_side){house->days + at, to - at}, ret, answer);
}

static inline const struct insight_value *value_of(
	const struct insight_answer *answer, const char *name)
{
	const struct insight_value *value = insight_find(answer, name);
	ck_assert_msg(value != NULL, "no %s", name);
	return value;
}

static inline bool holds(const struct insight_value *value, double truth)
{
	return value->low <= truth && truth <= value->high;
}

/* One in twenty, and what chance adds to it (three standard deviations), and a fiftieth
 * for what models of a house cannot know of it. */
static inline double false_most(double compared)
{
	return compared * 0.07 + 3.0 * sqrt(compared * 0.05 * 0.95);
}

#endif
