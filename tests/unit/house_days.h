/*
 * Days of a house by hand, as insight reduces them: each wholly known, an even load of so
 * much a kelvin below a base, hot water beside it.
 */
#ifndef HOUSE_DAYS_H
#define HOUSE_DAYS_H

#include "unit.h"

#include <heatbook/calendar.h>
#include <heatbook/insight_days.h>

#define HOUSE_DAYS_MOST 400
#define HOUSE_FIRST     ((struct date){2025, 10, 1})
#define HOUSE_HOT_J     (5 * INT64_C(3600000))

struct house {
	struct insight_days days;
	struct insight_day day[HOUSE_DAYS_MOST];
};

static inline int64_t house_day_ms(size_t i)
{
	return calendar_day_start(calendar_add(HOUSE_FIRST, 0, 0, (int)i));
}

/* The mean power of the rooms' heat, W; it lies 3/4 in heating, the rest (net) in runs
 * with defrosts: more heating, less what they draw. */
static inline void house_put(struct house *h, double outdoor_c, double space_w)
{
	size_t i = h->days.count++;
	struct insight_day *day = &h->day[i];
	int64_t start = house_day_ms(i), end = house_day_ms(i + 1), length = end - start;
	double joules = space_w * (double)length / 1000.0;
	ck_assert_uint_lt(i, HOUSE_DAYS_MOST);
	*day = (struct insight_day){.start_ms = start,
		.end_ms = end,
		.observed_ms = length,
		.outdoor_c = outdoor_c,
		.outdoor_ms = length,
		.room_c = (double)NAN};
	day->modes[MODE_HEATING] = (struct insight_part){
		.ms = length / 2, .heat_ms = length / 2, .heat_j = llround(joules * 1.1)};
	day->modes[MODE_DEFROST] = (struct insight_part){.ms = length / 8,
		.heat_ms = length / 8,
		.heat_j = -llround(joules * 0.1)};
	day->modes[MODE_HOT_WATER] = (struct insight_part){
		.ms = length / 8, .heat_ms = length / 8, .heat_j = HOUSE_HOT_J};
	day->modes[MODE_STANDBY] =
		(struct insight_part){.ms = length / 4, .heat_ms = length / 4};
	day->whole = (struct insight_part){.ms = length,
		.heat_ms = length,
		.heat_j = llround(joules) + HOUSE_HOT_J,
		.paired_sensitivity_j_per_k = joules / 5};
	h->days.to_ms = end;
}

static inline struct house *house_new(const struct config *config)
{
	struct house *h = xcalloc(1, sizeof(*h));
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	h->days = (struct insight_days){.config = config,
		.from_ms = house_day_ms(0),
		.to_ms = house_day_ms(0),
		.days = h->day,
		.version = 42};
	return h;
}

/* Weather that swings, and a scatter that comes back every seven days. */
static inline double house_outdoor_c(size_t i)
{
	return 8.0 + 11.0 * sin((double)i * 0.7) + 2.0 * cos((double)i * 2.3);
}

static inline double house_scatter_w(size_t i)
{
	static const double w[] = {120, -60, 0, 90, -150, 30, -30};
	return w[i % ARRAY_LEN(w)];
}

/* 200 W/K below 15 °C, 20 W at all times. */
static inline void house_fill(struct house *h, size_t count)
{
	for (size_t i = h->days.count, end = i + count; i < end; i++) {
		double t_c = house_outdoor_c(i), below_k = fmax(0.0, 15.0 - t_c);
		house_put(h, t_c,
			20.0 + 200.0 * below_k + (below_k > 0 ? house_scatter_w(i) : 0));
	}
}

#endif
