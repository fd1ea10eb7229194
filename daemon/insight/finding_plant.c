/*
 * The plant itself: a compressor without flow, pressure that falls, an outdoor sensor in
 * the sun.
 */
#include "finding.h"

#include "evidence.h"
#include "evidence_days.h"

#include <heatbook/calendar.h>

#include <math.h>

/* ---- no flow ---- */

static int lacks_flow(const struct finding_day *day, const void *context)
{
	const struct evidence *e = finding_item(day, EVIDENCE_FLOW_ZERO, -1);
	(void)context;
	if (e && e->minutes >= 10)
		return 1;
	return day->looked ? 0 : -1;
}

/* How many minutes, and the electricity of them, against which no heat stands. */
static double without_flow(
	const struct finding_input *in, struct run run, double *ret_unit_j)
{
	double minutes = 0.0;
	*ret_unit_j = 0.0;
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_FLOW_ZERO, -1);
		minutes += e ? (double)e->minutes : 0.0;
		*ret_unit_j += e ? e->values[0] : 0.0;
	}
	return minutes;
}

void find_flow_zero(const struct finding_input *in, struct finding_list *list)
{
	struct run run;
	size_t at = 0;
	while (finding_run(in, lacks_flow, NULL, 3, &at, &run)) {
		double run_j, now_j, minutes = without_flow(in, run, &run_j);
		(void)without_flow(in, finding_in_season(in, run), &now_j);
		struct finding f = finding_new(
			in, FINDING_FLOW_ZERO_RUNNING, role_name(ROLE_FLOW_RATE), run);
		f.size = minutes;
		f.unit = "min";
		if (finding_heat_is_computed(in))
			f.effect = finding_effect(in, run, 0.0, now_j);
		f.evidence = xasprintf("For %.0f minutes of %zu days the compressor ran "
				       "and the flow sensor said nothing flowed; %s.",
			minutes, run.hits,
			finding_heat_is_computed(in)
				? "no heat is booked for them, while their electricity is"
				: "a heat meter says the heat, and heat does not rest on "
				  "that sensor");
		f.remedy = xstrdup(
			"A unit that runs without water stops itself within minutes, so "
			"the sensor or its signal is at fault. If it is your own, "
			"outside the unit, see its plug and whether it is clogged; what "
			"is inside is for a qualified person. If the unit does stop "
			"itself, ask a heating engineer.");
		finding_add(list, &f);
	}
}

/* ---- what falls slowly ---- */

enum { AROUND_DAYS = 3, BACK_DAYS = 120 };
#define PRESSURE_BAR 0.15

/* A day's figure in some quantity; NaN: none. */
typedef double day_figure(const struct finding_day *day, const void *context);

/* For each day the median of its figure and those of so many days before it that have
 * one; NaN where it has none. */
static double *smooth(
	const struct finding_input *in, day_figure *figure, const void *context)
{
	double *result = xcalloc(in->day_count + 1, sizeof(*result));
	for (size_t i = 0; i < in->day_count; i++) {
		double values[2 * AROUND_DAYS + 1];
		size_t count = 0;
		result[i] = (double)NAN;
		if (isnan(figure(&in->days[i], context)))
			continue;
		for (size_t k = i + 1; k-- > 0 && count < ARRAY_LEN(values);) {
			double v = figure(&in->days[k], context);
			if (!isnan(v))
				values[count++] = v;
		}
		if (count >= AROUND_DAYS)
			result[i] = evidence_median(values, count);
	}
	return result;
}

/* The greatest of the smoothed figures in the time before. */
static double greatest_before(const double *smoothed, size_t at, size_t back)
{
	double most = (double)NAN;
	for (size_t i = at; i-- > 0 && at - i <= back;)
		most = fmax(most, smoothed[i]); /* of NaN and a number the number */
	return most;
}

/* Bar a kelvin. */
static double expansion_of(const struct finding_input *in)
{
	double *bar = xcalloc(2 * in->day_count + 1, sizeof(*bar));
	double *water_c = bar + in->day_count;
	for (size_t i = 0; i < in->day_count; i++) {
		const struct evidence *e =
			finding_item(&in->days[i], EVIDENCE_PRESSURE, -1);
		bar[i] = e ? e->values[0] : (double)NAN;
		water_c[i] = e ? e->values[1] : (double)NAN;
	}
	double slope = evidence_expansion(bar, water_c, in->day_count);
	free(bar);
	return slope;
}

/* Pressure as it would be with the water at 20 °C. */
static double cold_pressure(const struct finding_day *day, const void *context)
{
	const struct evidence *e = finding_item(day, EVIDENCE_PRESSURE, -1);
	double slope = *(const double *)context;
	if (!e)
		return (double)NAN;
	return isnan(e->values[1]) ? e->values[0]
				   : e->values[0] - slope * (e->values[1] - 20.0);
}

struct lack {
	const struct finding_input *in;
	const double *bar;
};

static int pressure_fell(const struct finding_day *day, const void *context)
{
	const struct lack *l = context;
	double bar = l->bar[day - l->in->days];
	return isnan(bar) ? -1 : bar >= PRESSURE_BAR;
}

static void add_pressure(const struct finding_input *in, struct run run,
	const double *bar, struct finding_list *list)
{
	double most = 0.0;
	for (size_t i = run.first; i <= run.last; i++)
		most = fmax(most, bar[i]);
	struct finding f = finding_new(
		in, FINDING_PRESSURE_FALLING, role_name(ROLE_WATER_PRESSURE), run);
	f.size = most;
	f.unit = "bar";
	f.evidence = xasprintf("Brought to equal water temperature, the pressure lies up "
			       "to %.2f bar below that of the four months before%s.",
		most,
		run.last + 2 >= in->day_count ? ""
					      : "; then it was topped up or rose again");
	f.remedy = xasprintf("Look for drips at joints, at the safety valve's drain and "
			     "at vents, and see the expansion vessel's charge. %s If it "
			     "falls again within weeks, call a heating engineer. Never "
			     "open the refrigerant side.",
		finding_top_up(in->config->plant.fluid));
	finding_add(list, &f);
}

void find_pressure_falling(const struct finding_input *in, struct finding_list *list)
{
	double slope = expansion_of(in);
	double *smoothed = smooth(in, cold_pressure, &slope);
	double *bar = xcalloc(in->day_count + 1, sizeof(*bar));
	for (size_t i = 0; i < in->day_count; i++)
		bar[i] = greatest_before(smoothed, i, BACK_DAYS) - smoothed[i];
	struct lack lack = {in, bar};
	struct run run;
	size_t at = 0;
	while (finding_run(in, pressure_fell, &lack, 2, &at, &run))
		if (run.hits > 1)
			add_pressure(in, run, bar, list);
	free(smoothed);
	free(bar);
}

/* ---- the sun on the outdoor sensor ---- */

enum { SUN_FROM_MIN = 6 * 60, SUN_TO_MIN = 20 * 60, SUN_GAP_DAYS = 10, SUN_DAYS = 3 };
enum { SUN_WITHIN_MIN = 90 };
#define HUMP_K 3.0 /* air alone made 1.9 K in a year of an invented plant */

/* Minutes from the day's begin to the hump, or -1. */
static int64_t hump_at(const struct finding_day *day)
{
	const struct evidence *e = finding_item(day, EVIDENCE_OUTDOOR, -1);
	int64_t at = e ? e->at_min - day->start_min : -1;
	return e && e->values[0] >= HUMP_K && at >= SUN_FROM_MIN && at < SUN_TO_MIN ? at
										    : -1;
}

static int is_sunny(const struct finding_day *day, const void *context)
{
	(void)context;
	if (!finding_item(day, EVIDENCE_OUTDOOR, -1))
		return -1;
	return hump_at(day) >= 0;
}

/* The sun comes round at the same time, day after day; a change of weather does not. */
static double usual_time(const struct finding_input *in, struct run run, size_t *ret_days)
{
	double *times = xcalloc(run.hits + 1, sizeof(*times));
	size_t count = 0;
	for (size_t i = run.first; i <= run.last; i++)
		if (hump_at(&in->days[i]) >= 0 && count < run.hits)
			times[count++] = (double)hump_at(&in->days[i]);
	double middle = evidence_median(times, count);
	*ret_days = 0;
	for (size_t i = 0; i < count; i++)
		*ret_days += fabs(times[i] - middle) <= SUN_WITHIN_MIN;
	free(times);
	return middle;
}

void find_sun(const struct finding_input *in, struct finding_list *list)
{
	struct run run;
	size_t at = 0, days;
	while (finding_run(in, is_sunny, NULL, SUN_GAP_DAYS, &at, &run)) {
		double most = 0.0, time = usual_time(in, run, &days);
		if (days < SUN_DAYS || 3 * days < 2 * run.hits)
			continue;
		for (size_t i = run.first; i <= run.last; i++) {
			const struct evidence *e =
				finding_item(&in->days[i], EVIDENCE_OUTDOOR, -1);
			if (e && is_sunny(&in->days[i], NULL) == 1)
				most = fmax(most, e->values[0]);
		}
		struct finding f = finding_new(in, FINDING_OUTDOOR_IN_SUN,
			role_name(ROLE_OUTDOOR_TEMPERATURE), run);
		f.size = most;
		f.unit = "K";
		f.evidence = xasprintf("On %zu days, about %02d:%02d, it stood by up to "
				       "%.1f K higher than an hour and a half before "
				       "and after. Air does not do that at the same "
				       "time of day again and again.",
			days, (int)time / 60, (int)time % 60, most);
		f.remedy = xstrdup(
			"Move it to a wall that is in the shade all day, away "
			"from windows and outlets; if it is the unit's own, "
			"have it moved by a qualified person. Heat and electricity are "
			"not touched; what is compared with the weather is.");
		finding_add(list, &f);
	}
}
