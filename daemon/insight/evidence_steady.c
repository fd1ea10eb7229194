/*
 * Windows of steady heating, to be held against what the unit's maker declares.
 *
 * Steady: the compressor runs and heats, the outdoor temperature stays within a kelvin of
 * its mean and the flow within one and a half, for 20 minutes at least, ten minutes after
 * a start. Where frost counts, at 2 °C and below and within the kelvin that a window may
 * lie above, a window is a whole cycle of defrosting, from the end of one to the end of
 * the next; ten minutes after its end the flow need not be steady yet (so EN 14511-3 has
 * it: from memory). Three hours without any are taken as they are. Lengths: own judgement
 * but for these.
 */
#include "evidence.h"

#include <heatbook/balance.h>

#include <math.h>

enum { LEAST_MIN = 20, DRY_MIN = 180, SETTLING_MIN = 10 };
enum { THAWED_MIN = 5 }; /* as many are still of the defrost (frosty) */
#define OUTDOOR_WITHIN_K 1.0
#define FLOW_WITHIN_K    1.5
#define FROST_BELOW_C    3.0 /* 2 °C, and the kelvin that a window may be off by */

struct steady {
	const struct day_view *view;
	struct unit_part *parts; /* of heating and defrost together */
	signed char *works;      /* 1 it heats, 2 it defrosts or comes of it, 0 neither */
	unsigned short *since;   /* minutes since it last did neither, or defrosted */
	bool *taken;
};

/* How far values reach about their mean. */
struct spread {
	double sum, least, most;
	size_t count;
};

static void spread_add(struct spread *s, double value)
{
	s->least = s->count ? fmin(s->least, value) : value;
	s->most = s->count ? fmax(s->most, value) : value;
	s->sum += value;
	s->count++;
}

static bool spread_within(const struct spread *s, double within)
{
	double mean = s->sum / (double)s->count;
	return s->count > 0 && s->most - mean <= within && mean - s->least <= within;
}

static void sort_minute(struct steady *s, size_t i)
{
	const struct day_view *view = s->view;
	struct unit_part heating = {0}, defrost = {0};
	bool heats = part_of_unit(view, DAY_HEATING, i, &heating);
	bool thaws = part_of_unit(view, DAY_DEFROST, i, &defrost);
	if (view->running[i] != 1 || heating.ms + defrost.ms < MS_PER_MIN ||
		!(heats || thaws) || isnan(view->outdoor_c[i] + view->flow_c[i]))
		return;
	s->works[i] = view->frosty[i] ? 2 : 1;
	s->parts[i] = heating;
	s->parts[i].heat_j += defrost.heat_j;
	s->parts[i].unit_j += defrost.unit_j;
	s->parts[i].sensitivity_j_per_k += defrost.sensitivity_j_per_k;
}

static void sort_minutes(struct steady *s)
{
	for (size_t i = 0; i < s->view->count; i++) {
		sort_minute(s, i);
		bool on = s->works[i] == 1;
		s->since[i] = (unsigned short)(!on ? 0 : i > 0 ? s->since[i - 1] + 1 : 1);
	}
}

/* The difference that all of the heat was taken at, so that heat over it is what a kelvin
 * of the pair makes of it; NaN where none is measured. */
static double difference_k(double heat_j, double sensitivity_j_per_k)
{
	return sensitivity_j_per_k > 0.0 ? heat_j / sensitivity_j_per_k : (double)NAN;
}

static void add_window(struct steady *s, size_t from, size_t to, double flow_c)
{
	struct evidence item = evidence_new(s->view, EVIDENCE_STEADY, MODE_HEATING);
	double n = (double)(to - from), outdoor = 0.0, hz = 0.0;
	struct unit_part sum = {0};
	for (size_t i = from; i < to; i++) {
		s->taken[i] = true;
		outdoor += s->view->outdoor_c[i];
		hz += s->view->frequency_hz ? s->view->frequency_hz[i] : (double)NAN;
		sum.heat_j += s->parts[i].heat_j;
		sum.unit_j += s->parts[i].unit_j;
		sum.sensitivity_j_per_k += s->parts[i].sensitivity_j_per_k;
	}
	item.at_min += (int64_t)from;
	item.minutes = (int64_t)(to - from);
	item.values[0] = outdoor / n;
	item.values[1] = flow_c;
	item.values[2] = difference_k(sum.heat_j, sum.sensitivity_j_per_k);
	item.values[3] = sum.heat_j;
	item.values[4] = sum.unit_j;
	item.values[5] = hz / n;
	evidence_add(s->view->list, &item);
}

/* ---- whole cycles of defrosting ---- */

static size_t thaw_end(const struct steady *s, size_t from)
{
	size_t i = from;
	while (i < s->view->count && s->works[i] == 1)
		i++;
	size_t begin = i;
	while (i < s->view->count && s->works[i] == 2)
		i++;
	return i > begin ? i : 0; /* 0: no defrost follows */
}

static bool look_cycle(struct steady *s, size_t from, size_t to)
{
	struct spread outdoor = {0}, flow = {0};
	for (size_t i = from; i < to; i++) {
		spread_add(&outdoor, s->view->outdoor_c[i]);
		if (s->works[i] == 1 && s->since[i] > THAWED_MIN)
			spread_add(&flow, s->view->flow_c[i]);
	}
	if (to - from < LEAST_MIN || !spread_within(&outdoor, OUTDOOR_WITHIN_K) ||
		!spread_within(&flow, FLOW_WITHIN_K) ||
		outdoor.sum > FROST_BELOW_C * (double)outdoor.count)
		return false;
	add_window(s, from, to, flow.sum / (double)flow.count);
	return true;
}

static void look_cycles(struct steady *s)
{
	for (size_t i = 1; i < s->view->count; i++) {
		if (s->works[i - 1] != 2 || s->works[i] != 1)
			continue;
		size_t end = thaw_end(s, i);
		if (end > 0 && look_cycle(s, i, end))
			i = end - 1;
	}
}

/* ---- without defrosts ---- */

/* The end of what is steady from there on. */
static size_t steady_end(const struct steady *s, size_t from, struct spread *ret_outdoor,
	struct spread *ret_flow)
{
	size_t i = from;
	for (; i < s->view->count && s->works[i] == 1 && !s->taken[i]; i++) {
		struct spread outdoor = *ret_outdoor, flow = *ret_flow;
		spread_add(&outdoor, s->view->outdoor_c[i]);
		spread_add(&flow, s->view->flow_c[i]);
		if (!spread_within(&outdoor, OUTDOOR_WITHIN_K) ||
			!spread_within(&flow, FLOW_WITHIN_K))
			break;
		*ret_outdoor = outdoor;
		*ret_flow = flow;
	}
	return i;
}

static void look_dry(struct steady *s)
{
	for (size_t i = 0; i < s->view->count;) {
		struct spread outdoor = {0}, flow = {0};
		size_t end = s->since[i] > SETTLING_MIN
				     ? steady_end(s, i, &outdoor, &flow)
				     : i;
		bool cold = outdoor.sum <= FROST_BELOW_C * (double)outdoor.count;
		size_t least = cold ? DRY_MIN : LEAST_MIN;
		if (end - i >= least) {
			add_window(s, i, end, flow.sum / (double)flow.count);
			i = end;
		} else
			i++;
	}
}

void look_at_steady(const struct day_view *view)
{
	struct steady s = {.view = view};
	if (!view->flow_c || !view->outdoor_c || !unit_is_told(view->day->config) ||
		!view->boundary.meters)
		return;
	s.parts = xcalloc(view->count + 1, sizeof(*s.parts));
	s.works = xcalloc(view->count + 1, sizeof(*s.works));
	s.since = xcalloc(view->count + 1, sizeof(*s.since));
	s.taken = xcalloc(view->count + 1, sizeof(*s.taken));
	sort_minutes(&s);
	look_cycles(&s);
	look_dry(&s);
	free(s.parts);
	free(s.works);
	free(s.since);
	free(s.taken);
}
