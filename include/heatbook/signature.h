/*
 * What a house loses: daily space heat on the daily mean outdoor temperature, a line that
 * ends where no heat is needed (change_point.h), and what that makes at the temperature
 * that the heating is laid out for.
 *
 * Space heat is what is booked to heating, overrun, freeze protection and defrosts, net,
 * as the heat source measures it, a heater in line included. What sun and people bring in
 * is no part of it: the answer is what the house takes from its heating, not what its
 * walls lose. Cold and sun go together, so that a fit's slope is not the walls' own, and
 * the intervals, which are of scatter alone, do not hold that.
 */
#ifndef HEATBOOK_SIGNATURE_H
#define HEATBOOK_SIGNATURE_H

#include <heatbook/change_point.h>
#include <heatbook/insight.h>
#include <heatbook/insight_days.h>

/* What it takes: days of which this much is known, so many, so far apart. */
#define SIGNATURE_COVERAGE_PERCENT 95
#define SIGNATURE_DAYS_LEAST       14
#define SIGNATURE_SPAN_LEAST_K     8.0
/* No house sets in to heat above its rooms: a line that meets nothing only there says
 * little of where it does. */
#define SIGNATURE_BASE_MOST_C 25.0
/* The most that the unit was seen to give: over so many hours on end (shorter ones hold
 * what was made for the cylinder or after a stop), of so many of the coldest days whose
 * mean lies so near the design temperature: in warmer weather nobody asks all of it, and
 * what it gives says little of the cold. Beyond that distance the line is drawn on. */
#define SIGNATURE_STRETCH_HOURS 6
#define SIGNATURE_COLD_DAYS     10
#define SIGNATURE_NEAR_K        5.0

/* Why a day does not count; in this order, the first that holds. */
enum signature_left {
	LEFT_OPEN, /* it is not over */
	LEFT_HEAT, /* less than 95 % of its heat is known */
	LEFT_MODE, /* or of what the plant did: hot water and rooms are not told apart */
	LEFT_SPREAD, /* a register laid more than a tenth of its heat evenly over modes */
	LEFT_OUTDOOR, /* less than 95 % of its outdoor temperature is known */
	SIGNATURE_LEFT
};
/* "not_over", "heat_unknown", … */
const char *signature_left_name(enum signature_left left);

/* A day that counts. */
struct signature_day {
	int64_t start_ms;
	int64_t number; /* of the day, without gaps where days follow each other */
	double outdoor_c;
	double space_w; /* mean power over the known time */
};

/* What the unit can give where the heating is laid out for. */
struct signature_capacity {
	bool declared;
	double w; /* NaN: not known */
	/* Where it was seen: over these hours, on a day of this mean. */
	int64_t from_ms, to_ms;
	double outdoor_c;
};

struct signature {
	int64_t from_ms, to_ms; /* whole local days, but for what is not derived yet */
	int64_t version;        /* of the data */
	struct older_days older;
	size_t days; /* that the span has rows of */
	size_t left[SIGNATURE_LEFT];
	struct signature_day *points; /* those that count, in order of time */
	size_t count;
	size_t coldest, warmest; /* of these; where there is any */
	bool fitted;             /* `fit` holds a fit; … */
	int outcome;             /* … else, of enough days, an enum change_outcome */
	struct change_point fit; /* of watts on °C */
	double heat_share;       /* of the days that count, that of known heat */
	int64_t space_j;         /* of these days, in all */
	int64_t unassigned_j;    /* heat of these that no mode has, in no figure */
	size_t cooling_days;     /* of these */
	int64_t hot_water_j;     /* of these */
	double heat_uncertain;   /* expanded, as a part of space_j: it scales all */
	struct signature_capacity capacity;
	/* heat_loss_w_per_k, base_temperature_c, base_load_kwh_per_day, design_load_kw,
	 * design_day_kw, capacity_kw, margin_kw; and what is missing. */
	struct insight_answer answer;
};

/* Of days without evidence, in order; `ret` takes nothing of them over. What the unit was
 * seen to give is not looked for. */
void signature_fit(const struct insight_days *days, struct signature *ret);
/* Adds the values, and what is missing to give them. */
void signature_tell(const struct config *config, struct signature *signature);

struct store;
/* Of local days that touch [from, to). 0, -errno or a code of query.h. */
int signature_ask(
	struct store *store, int64_t from_ms, int64_t to_ms, struct signature *ret);
void signature_release(struct signature *signature);

#endif
