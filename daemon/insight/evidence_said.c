/*
 * Words of states that are not what the plant did: an operating mode that says rest while
 * the compressor runs, mode and valve that name different services, hot water by a flow
 * that is colder than the cylinder, cooling that warms the water, a defrost of an hour.
 *
 * A word that comes minutes late is another matter (evidence_flag.c): asked for are
 * stretches that last. What a single day may well show, as water that stands layered in a
 * cylinder, is asked for in most of its minutes. Own judgement, all of it.
 */
#include "evidence.h"

#include <math.h>

enum { STRETCH_MIN = 10, DAY_MIN = 60, COLD_MIN = 90, THAW_MIN = 60 };
#define COLDER_K   1.0
#define COLD_SHARE 0.7
#define WARMS_K    1.0

struct said {
	const double *mode, *valve, *defrost, *cylinder_c;
};

typedef bool contradiction(const struct day_view *view, const struct said *s, size_t i);

/* By what its frequency says, and power where it is known. */
static bool runs(const struct day_view *view, size_t i)
{
	double least_w = SURELY_ON * view->day->config->modes.compressor_on_w;
	double w = fabs(view->compressor_w[i]);
	return view->frequency_hz && view->frequency_hz[i] > 0.0 && !(w < least_w);
}

static bool says_rest(const struct day_view *view, const struct said *s, size_t i)
{
	return s->mode &&
	       (s->mode[i] == OPERATING_OFF || s->mode[i] == OPERATING_STANDBY) &&
	       runs(view, i);
}

static bool names_other(const struct day_view *view, const struct said *s, size_t i)
{
	if (!s->mode || !s->valve || view->running[i] != 1)
		return false;
	return (s->mode[i] == OPERATING_HEATING && s->valve[i] == VALVE_HOT_WATER) ||
	       (s->mode[i] == OPERATING_HOT_WATER && s->valve[i] == VALVE_HEATING);
}

static bool taps(const struct day_view *view, const struct said *s, size_t i)
{
	return view->tap[i] == 1 && view->running[i] == 1 && view->flow_c &&
	       s->cylinder_c && !isnan(view->flow_c[i] - s->cylinder_c[i]);
}

static bool taps_cold(const struct day_view *view, const struct said *s, size_t i)
{
	return taps(view, s, i) && view->flow_c[i] < s->cylinder_c[i] - COLDER_K;
}

static bool warms(const struct day_view *view, const struct said *s, size_t i)
{
	return s->mode && s->mode[i] == OPERATING_COOLING && view->running[i] == 1 &&
	       view->flowing[i] == 1 && view->flow_c && view->return_c &&
	       view->flow_c[i] > view->return_c[i] + WARMS_K;
}

static bool thaws(const struct day_view *view, const struct said *s, size_t i)
{
	(void)view;
	return s->defrost && s->defrost[i] == STATE_ON;
}

/* Adds the minutes of stretches that last to the item. */
static void add_stretches(const struct day_view *view, const struct said *s,
	contradiction *is, size_t least_min, struct evidence *item)
{
	size_t from = 0;
	item->values[2] = item->values[3] = 0.0;
	for (size_t i = 0; i <= view->count; i++) {
		if (i < view->count && is(view, s, i))
			continue;
		if (i - from >= least_min) {
			if (item->minutes == 0)
				item->at_min += (int64_t)from;
			item->minutes += (int64_t)(i - from);
			evidence_add_booked(view, from, i, &item->values[2]);
		}
		from = i + 1;
	}
}

static size_t count_of(
	const struct day_view *view, const struct said *s, contradiction *is)
{
	size_t count = 0;
	for (size_t i = 0; i < view->count; i++)
		count += is(view, s, i);
	return count;
}

/* The state that it says in the first of these minutes. */
static double said_at(const struct day_view *view, int channel, int64_t at_min)
{
	return day_values(view->day, channel)[at_min - view->day->start_min];
}

void look_at_words_said(const struct day_view *view)
{
	const struct config *config = view->day->config;
	const int mode = config_role(config, ROLE_OPERATING_MODE);
	const int valve = config_role(config, ROLE_VALVE);
	const int defrost = config_role(config, ROLE_DEFROST);
	const struct {
		enum contradicted_by by;
		int channel;
		contradiction *is;
		size_t stretch_min, least_min;
	} asked[] = {
		{CONTRADICTED_BY_RUNNING, mode, says_rest, STRETCH_MIN, DAY_MIN},
		{CONTRADICTED_BY_VALVE, mode, names_other, STRETCH_MIN, DAY_MIN},
		{CONTRADICTED_BY_FLOW, valve >= 0 ? valve : mode, taps_cold, 1, COLD_MIN},
		{CONTRADICTED_BY_HEAT, mode, warms, STRETCH_MIN, DAY_MIN},
		{CONTRADICTED_BY_LENGTH, defrost, thaws, THAW_MIN, THAW_MIN},
	};
	const struct said s = {day_values(view->day, mode), day_values(view->day, valve),
		day_values(view->day, defrost),
		day_values(view->day, config_role(config, ROLE_CYLINDER_TEMPERATURE))};
	for (size_t a = 0; a < ARRAY_LEN(asked); a++) {
		struct evidence item =
			evidence_new(view, EVIDENCE_CONTRADICTED, asked[a].channel);
		if (asked[a].channel < 0)
			continue;
		add_stretches(view, &s, asked[a].is, asked[a].stretch_min, &item);
		if (item.minutes < (int64_t)asked[a].least_min ||
			(asked[a].by == CONTRADICTED_BY_FLOW &&
				(double)item.minutes <
					COLD_SHARE * (double)count_of(view, &s, taps)))
			continue;
		item.values[0] = said_at(view, asked[a].channel, item.at_min);
		item.values[1] = asked[a].by;
		evidence_add(view->list, &item);
	}
}
