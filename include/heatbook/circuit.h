/*
 * The heating circuit over days: how its flow goes, how its pressure would stand with
 * cold water and how that goes, when it was topped up; and when the cylinder was last at
 * 60 °C. Worked out of days' evidence (EVIDENCE_FLOW, _PRESSURE, _OUTDOOR, _CYLINDER):
 * pure. It reports; whether a fall is a fault is for findings to say (finding.h).
 *
 * Flow goes by the day, and by the outdoor temperature where that is known, since pumps
 * may follow the weather. Pressure goes by the water's mean temperature and, from some
 * day on, by the day, within a stretch between top-ups. All by least squares, intervals
 * by Student's t and inflated by how days hang on each other (fit.h).
 */
#ifndef HEATBOOK_CIRCUIT_H
#define HEATBOOK_CIRCUIT_H

#include <heatbook/insight.h>
#include <heatbook/insight_days.h>

#define CIRCUIT_COLD_C 20.0 /* of cold water */

/* [low, high] holds it with 95 % confidence; NaN: unknown. */
struct circuit_value {
	double value, low, high;
};

/* NaN: unknown. */
struct circuit_point {
	int64_t start_ms, end_ms;
	double heating_lpm, hot_water_lpm; /* middle of minutes with the compressor on */
	double outdoor_c;
	double bar, water_c; /* means, gauge */
	double least_bar, most_bar;
	double cold_bar;   /* by the stretch's own line */
	double cylinder_c; /* highest */
	double hot_min;    /* minutes at 60 °C */
};

/* A service's flow: at the last day that tells, and by how much it grows in a month of
 * 30.4375 days. */
struct circuit_flow {
	struct circuit_value lpm, lpm_a_month, percent_a_month;
	size_t days;
};

/* Days between two top-ups. */
struct circuit_stretch {
	int64_t from_ms, to_ms;
	size_t days;
	/* Of the line, unknown where days are too few: bar by the water's kelvin (0 where
	 * that did not change), bar with cold water at its end, bar a month there, and
	 * since when it goes so. */
	bool told;
	struct circuit_value bar_a_kelvin, cold_bar, bar_a_month;
	int64_t since_ms;
};

struct circuit_top_up {
	int64_t start_ms; /* of its day */
	double bar;       /* by how much */
};

struct circuit {
	struct insight_days frame; /* what was asked, without days */
	size_t span_days, days_looked;
	struct insight_answer answer;
	struct circuit_point *points;
	size_t count;
	struct circuit_flow heating, hot_water;
	struct circuit_stretch *stretches;
	size_t stretch_count;
	struct circuit_top_up *top_ups;
	size_t top_up_count;
	int64_t last_hot_ms;  /* end of the last minute at 60 °C; INT64_MIN: none */
	double cylinder_days; /* on which its temperature was known */
};

/* To be released. */
void circuit_of(const struct insight_days *days, struct circuit *ret);
void circuit_release(struct circuit *circuit);

struct store;
/* The same of the local days that touch [from, to); as many as `budget` that were not
 * looked at are looked at. 0, -errno or a code of query.h. */
int circuit_ask(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct circuit *ret);

#endif
