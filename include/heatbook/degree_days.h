/*
 * Heating degree days of local days by four named methods. Unit K d: a kelvin below the
 * base for 24 hours, whatever the day's own length.
 *
 *   integral     ∫ max(0, base − t) dt over the day's minutes (mean degree-hours,
 *                CIBSE TM41); knows that a day has 23 or 25 hours
 *   daily mean   max(0, base − mean); does not know it
 *   min/max      four cases of the day's least and greatest temperature (UK Met Office
 *                equations, CIBSE TM41)
 *   Eurostat     18 °C − mean where the mean is at most 15 °C, else 0 (Eurostat, JRC);
 *                its base is its own
 */
#ifndef HEATBOOK_DEGREE_DAYS_H
#define HEATBOOK_DEGREE_DAYS_H

#include <heatbook/base.h>

enum degree_method {
	DEGREE_INTEGRAL,
	DEGREE_DAILY_MEAN,
	DEGREE_MIN_MAX,
	DEGREE_EUROSTAT,
	DEGREE_METHODS
};

#define EUROSTAT_BASE_C  18.0
#define EUROSTAT_LIMIT_C 15.0
/* A day of which less is known has no degree days. */
#define DEGREE_DAY_KNOWN_PERCENT 95

/* What is known of the outdoor temperature of one local day; all 0: nothing. */
struct outdoor_day {
	int64_t length_ms;
	int64_t known_ms;
	double mean_c; /* over the known part, as are the rest */
	double least_c, most_c;
	double below_k_ms; /* ∫ max(0, base − t) dt of one base, K ms */
	bool from_hours;   /* by means of hours, as minutes are gone */
};

/* Takes in a part of the day in which the temperature was t_c, and least and most what
 * it was at its extremes. */
void outdoor_day_add(struct outdoor_day *day, double base_c, double t_c, double least_c,
	double most_c, int64_t known_ms);
bool outdoor_day_known(const struct outdoor_day *day);

/* "integral of minutes", … */
const char *degree_method_name(enum degree_method method);
/* The base that it counts from, where `base_c` was asked for. */
double degree_method_base_c(enum degree_method method, double base_c);
/* K d of a day; NaN where less than 95 % of it is known. Of a day that is not known
 * whole, the integral of the known part stands for all of it, as the mean does. `base_c`
 * is that of below_k_ms. */
double degree_days_of(
	enum degree_method method, double base_c, const struct outdoor_day *day);

/* Over days: those that count and those that are missing. */
struct degree_sum {
	int64_t days, missing, from_hours;
	double kd[DEGREE_METHODS];
	double weighted_c; /* mean · ms, of the days that count, and their ms */
	int64_t known_ms;
};
void degree_sum_add(struct degree_sum *sum, double base_c, const struct outdoor_day *day);

#endif
