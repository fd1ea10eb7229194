/*
 * Did a change help? Days before it make a model, the days after are held against what
 * the model foretells of them. Pure.
 *
 * A day is one point: heat for the rooms, electricity for it, electricity in all, means
 * of the air outside and of the rooms. Only days on which the house is heated are
 * compared: those at least COMPARISON_BELOW_K below the temperature at which heating
 * begins (where the line that fits the days before ends, change_point.h), and of those
 * after only days whose outdoor temperature lies in the range of the days before.
 *
 * Models, of day i (T outdoor mean, T' that of the day before, q heat, e electricity):
 *
 *     heat         q = a + b·T + c·(T' − T) + d·T² + season
 *     electricity  e = a + q·(b + c·T + d·T² + season) + k·q²    given heat and weather
 *     in all       like heat, of all electricity
 *     room         r = a + b·T + season
 *
 * Season is two harmonics of the year. It stands for the sun and for whatever else goes
 * with the calendar: between autumn and spring it would pass for a saving. Days before of
 * a few weeks cannot tell it, and none may leave it out; so its terms, like d and k, are
 * held near 0 by what is known without the days, as one more observation each (mixed
 * estimation, Theil and Goldberger 1961, from memory). Where the days before span a year
 * they tell it themselves; where they are few the interval is as wide as it must be.
 *
 * Intervals are of 95 %: Student's t, what coefficients are unsure of, what single days
 * scatter, all of it times √((1 + ρ)/(1 − ρ)) for what a day's residual hangs on the one
 * before; ρ without its bias in few days, (1 + 4ρ)/n (Marriott and Pope 1954, from
 * memory). What coefficients are unsure of is at least what the answer moves by where a
 * fortnight of the days before is left out, one after the other (the jackknife by blocks,
 * Künsch 1989, from memory; quarters of few days): two odd weeks, as of an immersion
 * heater left on, pass for a season or for weather, and hang on each other for longer
 * than a day. Errors of instruments are the same before and after and are not in them.
 *
 * The split closes by itself. With ê(q) what the model foretells of a day's electricity
 * for heat q, q̂ the heat foretold, and sums over the days after:
 *
 *     saving = Σ ê(q̂) − Σ e  =  (Σ ê(q) − Σ e)  +  (Σ ê(q̂) − Σ ê(q))
 *                                by efficiency       by heat
 *
 * By efficiency: what the heat that was delivered would have cost before, less what it
 * did. By heat: what was delivered less, at the efficiency of before. A colder room is
 * part of the latter, and no better machine: how much of it, the room's shift tells, by
 * the heat that a kelvin of difference takes.
 */
#ifndef HEATBOOK_COMPARISON_H
#define HEATBOOK_COMPARISON_H

#include <heatbook/fit.h>
#include <heatbook/insight.h>

#define COMPARISON_DAYS_LEAST 14
#define COMPARISON_BELOW_K    1.0

/* NaN is unknown. A day without outdoor temperatures, or without heat and electricity in
 * all, is none. */
struct comparison_day {
	int64_t day; /* number since 1970 of its local date */
	double outdoor_c, outdoor_before_c;
	double heat_kwh;        /* for the rooms, net */
	double electricity_kwh; /* for it, of the same minutes */
	double whole_kwh;       /* electricity in all */
	double room_c;
};

/* Days in order, on one side of the change. */
struct comparison_side {
	const struct comparison_day *days;
	size_t count;
};

enum comparison_model {
	COMPARISON_HEAT,
	COMPARISON_ELECTRICITY,
	COMPARISON_WHOLE,
	COMPARISON_ROOM,
	COMPARISON_MODELS
};
/* "heat", "electricity", "electricity_in_all", "room_temperature". */
const char *comparison_model_name(enum comparison_model model);

/* How good a model of the days before is. */
struct comparison_fit {
	bool known;
	size_t days, terms;
	size_t held; /* of the terms, those that are held near 0 */
	double r_squared, cv_rmse_percent;
	double rho; /* of a day's residual with the day before's, as it is corrected */
	/* Change with the outdoor temperature at the mean of days before, a K. Of heat
	 * kWh/K, of electricity kWh/kWh/K, of the room K/K. The standard error is
	 * inflated. */
	double slope, slope_sd;
};

/* A day that was compared, or made the model. */
struct comparison_point {
	int64_t day;
	bool after;
	/* measured − predicted, kWh: heat; electricity by the predicted heat, or in all
	 * where only that is known. NaN where there is no model. */
	double heat_off_kwh, electricity_off_kwh;
};

/* Which days were used, and why others were not. */
struct comparison_use {
	size_t used;
	size_t too_warm; /* the house is hardly heated */
	size_t not_seen; /* of the days after: no day before was as warm or as cold */
	double least_c, most_c, mean_c; /* of outdoor means of those used; NaN without */
};

enum comparison_verdict {
	COMPARISON_NOT_KNOWN, /* not enough evidence */
	COMPARISON_NONE,      /* no change can be shown: the interval holds 0 */
	COMPARISON_LESS,      /* it takes less since */
	COMPARISON_MORE
};
/* "not enough evidence", "no change can be shown", "less", "more". */
const char *comparison_verdict_words(enum comparison_verdict verdict);

struct comparison {
	struct comparison_use before, after;
	/* Days up to this are compared; infinite where the days before know no end of
	 * heating. */
	double heating_below_c;
	struct comparison_fit fits[COMPARISON_MODELS];
	/* Of electricity for the rooms; without it of electricity in all, without a meter
	 * of heat. */
	enum comparison_verdict verdict;
	/* Of its parts: where the season hides what heat does, efficiency may show. */
	enum comparison_verdict by_efficiency, by_heat;
	struct comparison_point *points; /* in order */
	size_t point_count;
};

/* Values go to `answer`, and what is missing of days: nothing else is said of it. */
void comparison_judge(struct comparison_side before, struct comparison_side after,
	struct comparison *ret, struct insight_answer *answer);
void comparison_release(struct comparison *comparison);

#endif
