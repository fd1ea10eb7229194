/*
 * Days of heating by hand whose minutes follow laws that a test names: the unit's share
 * of Carnot's quotient, and what the emitters give off.
 */
#ifndef EMITTING_DAYS_H
#define EMITTING_DAYS_H

#include "configured.h"

#include <heatbook/calendar.h>
#include <heatbook/insight_days.h>

#include <math.h>

static const char emitting_house[] =
	"[plant]\nzone = Europe/Berlin\nsource_kind = air\n"
	"[channel flow_temperature]\ntopic = a/1\n[channel return_temperature]\ntopic = "
	"a/2\n[channel flow_rate]\ntopic = a/3\n[channel outdoor_temperature]\ntopic = "
	"a/4\n"
	"[channel room_temperature]\ntopic = a/5\n[channel water_pressure]\ntopic = a/6\n"
	"[channel cylinder_temperature]\ntopic = a/7\n"
	"[channel unit_power]\ntopic = b/1\nunit = W\n"
	"[meter unit]\nfeeds = compressor, circulation\npower = unit_power\n";

enum { EMITTING_DAYS_MOST = 200, EMITTING_MINUTES = 600, EMITTING_TERMS = 5 };
#define EMITTING_SPREAD_K 5.0

struct emitting_law {
	double by_flow, by_source, by_output, by_output_2; /* of the share's logarithm */
	double k_w, exponent, storage_w_h_per_k;
	double room_c;
};

struct emitting {
	struct config *config;
	struct insight_days days;
	struct insight_day day[EMITTING_DAYS_MOST];
};

static inline struct emitting *emitting_new(const char *text, int first_day)
{
	struct emitting *e = xcalloc(1, sizeof(*e));
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	e->config = configured(text);
	e->days.config = e->config;
	e->days.days = e->day;
	e->days.from_ms = e->days.to_ms = calendar_day_start(
		calendar_add((struct date){2025, 10, 1}, 0, 0, first_day));
	return e;
}

static inline void emitting_free(struct emitting *e)
{
	for (size_t i = 0; i < e->days.count; i++)
		evidence_release(&e->day[i].evidence);
	config_free(e->config);
	free(e);
}

/* A day without evidence, all of it known. */
static inline struct insight_day *emitting_day(struct emitting *e, double outdoor_c)
{
	ck_assert_uint_lt(e->days.count, EMITTING_DAYS_MOST);
	struct insight_day *day = &e->day[e->days.count++];
	int64_t start = e->days.to_ms;
	int64_t end = calendar_day_start(calendar_add(calendar_date(start), 0, 0, 1));
	*day = (struct insight_day){.start_ms = start,
		.end_ms = end,
		.observed_ms = end - start,
		.outdoor_c = outdoor_c,
		.outdoor_ms = end - start,
		.looked = true};
	day->whole.heat_ms = end - start;
	e->days.to_ms = end;
	return day;
}

static inline struct evidence *emitting_row(
	struct insight_day *day, enum evidence_kind kind, int row, int64_t minutes)
{
	struct evidence item = {.kind = kind,
		.subject = -1,
		.at_min = day->start_ms / MS_PER_MIN + row,
		.minutes = minutes};
	for (int i = 0; i < EVIDENCE_VALUES; i++)
		item.values[i] = (double)NAN;
	evidence_add(&day->evidence, &item);
	return &day->evidence.items[day->evidence.count - 1];
}

static inline double emitting_share(
	const struct emitting_law *law, double flow_c, double source_c, double kw)
{
	double p = log(kw);
	return exp(-1.0 + law->by_flow * flow_c + law->by_source * source_c +
		   law->by_output * p + law->by_output_2 * p * p);
}

/* Sums of products of minutes that differ from the day's means, each in its own way. */
static inline void emitting_products(struct insight_day *day,
	const struct emitting_law *law, double flow_c, double source_c, double kw)
{
	static double terms[EMITTING_MINUTES][EMITTING_TERMS];
	double means[EMITTING_TERMS] = {0};
	for (int i = 0; i < EMITTING_MINUTES; i++) {
		double f = flow_c + 2.0 * sin(0.11 * i),
		       s = source_c + 1.5 * sin(0.013 * i);
		double w = kw * (1.0 + 0.2 * sin(0.29 * i + (double)(day->start_ms % 7)));
		double p = log(w), y = log(emitting_share(law, f, s, w));
		double values[EMITTING_TERMS] = {f, s, p, p * p, y};
		for (int k = 0; k < EMITTING_TERMS; k++) {
			terms[i][k] = values[k];
			means[k] += values[k] / EMITTING_MINUTES;
		}
	}
	struct evidence *row = NULL;
	for (int a = 0, at = 0; a < EMITTING_TERMS; a++)
		for (int b = a; b < EMITTING_TERMS; b++, at++) {
			double sum = 0.0;
			for (int i = 0; i < EMITTING_MINUTES; i++)
				sum += (terms[i][a] - means[a]) *
				       (terms[i][b] - means[b]);
			if (at % EVIDENCE_VALUES == 0)
				row = emitting_row(day, EVIDENCE_EMISSION,
					EMISSION_PRODUCTS + at / EVIDENCE_VALUES,
					EMITTING_MINUTES);
			row->values[at % EVIDENCE_VALUES] = sum;
		}
}

/* A day that runs for so many minutes with this flow temperature, its heat by the
 * emitters' law while it runs (water becomes warmer by `rise` K/h), the rooms' need for
 * all of the day `need_share` of what emitters that are warm all day would give. */
static inline void emitting_put(struct emitting *e, const struct emitting_law *law,
	double outdoor_c, double flow_c, double rise, double need_share)
{
	struct insight_day *day = emitting_day(e, outdoor_c);
	double water_c = flow_c - EMITTING_SPREAD_K / 2.0;
	double emits_w = law->k_w * pow(water_c - law->room_c, law->exponent);
	double heat_w = emits_w + law->storage_w_h_per_k * rise;
	double share = emitting_share(law, flow_c, outdoor_c, heat_w / 1000.0);
	double quotient = share * (flow_c + 273.15) / (flow_c - outdoor_c);
	double day_s = (double)(day->end_ms - day->start_ms) / 1000.0;
	double heat_j = heat_w * 60.0 * EMITTING_MINUTES;
	day->modes[MODE_HEATING] =
		(struct insight_part){.ms = EMITTING_MINUTES * MS_PER_MIN,
			.heat_ms = EMITTING_MINUTES * MS_PER_MIN,
			.heat_j = llround(need_share * emits_w * day_s)};
	struct evidence *whole =
		emitting_row(day, EVIDENCE_EMISSION, EMISSION_WHOLE, EMITTING_MINUTES);
	whole->values[0] = heat_j;
	whole->values[1] = heat_j / quotient;
	whole->values[2] = flow_c;
	whole->values[3] = flow_c - EMITTING_SPREAD_K;
	whole->values[4] = outdoor_c;
	whole->values[5] = law->room_c;
	struct evidence *settled =
		emitting_row(day, EVIDENCE_EMISSION, EMISSION_SETTLED, 400);
	settled->values[0] = heat_w;
	settled->values[1] = water_c;
	settled->values[2] = law->room_c;
	settled->values[3] = rise;
	settled->values[4] = 0.5 * heat_w;
	emitting_products(day, law, flow_c, outdoor_c, heat_w / 1000.0);
}

static const struct emitting_law emitting_usual = {.by_flow = 0.008,
	.by_source = -0.015,
	.by_output = 0.15,
	.by_output_2 = -0.05,
	.k_w = 166.0,
	.exponent = 1.2,
	.storage_w_h_per_k = 320.0,
	.room_c = 21.0};

/* Days of that law: from -6 °C to 10 °C outside, the flow by a curve. */
static inline void emitting_fill(
	struct emitting *e, const struct emitting_law *law, size_t count)
{
	for (size_t i = 0; i < count; i++) {
		double outdoor_c = 2.0 + 8.0 * sin(0.7 * (double)i);
		double rise = 1.0 + 0.8 * sin(1.3 * (double)i);
		emitting_put(e, law, outdoor_c, 38.0 - 0.7 * outdoor_c, rise,
			0.8 - 0.02 * outdoor_c);
	}
}

#endif
