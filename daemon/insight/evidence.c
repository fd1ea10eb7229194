/*
 * A day is looked at by each file in turn. What several of them need is worked out once
 * here: whether the compressor ran, whether water flowed, where the valve stood.
 *
 * The compressor's state is told by its frequency, else by the modes that flags told,
 * else by the power of what meters the unit without a heater ([modes] compressor_on),
 * else by modes whoever told them. A register alone has no minutes: what it counts is
 * spread, so that apparent power beside it tells. Minutes that nothing tells of are
 * evidence of nothing.
 */
#include "evidence.h"

#include <heatbook/boundary.h>
#include <heatbook/rules.h>

#include <math.h>
#include <string.h>

enum { DEFROST_MOST_MIN = 30, THAWING_MIN = 5 }; /* the former: own judgement */
#define LEAST_FLOW_LPM 0.5 /* a sensor's drift at rest is below; own judgement */

void evidence_add(struct evidence_list *list, const struct evidence *item)
{
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 32;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = *item;
}

void evidence_release(struct evidence_list *list)
{
	free(list->items);
	*list = (struct evidence_list){0};
}

struct evidence evidence_new(
	const struct day_view *view, enum evidence_kind kind, int subject)
{
	struct evidence item = {
		.kind = kind, .subject = subject, .at_min = view->day->start_min};
	for (int i = 0; i < EVIDENCE_VALUES; i++)
		item.values[i] = (double)NAN;
	return item;
}

void evidence_add_booked(
	const struct day_view *view, size_t from, size_t to, double sums_j[static 2])
{
	for (size_t i = from; i < to; i++) {
		sums_j[0] += view->day->booked[i].heat_j;
		sums_j[1] += isnan(view->unit_w[i]) ? 0.0 : 60.0 * view->unit_w[i];
	}
}

void evidence_add_frozen(const struct day_view *view, int channel, size_t from, size_t to,
	enum frozen_by by, double how_much, double rested_min)
{
	struct evidence item = evidence_new(view, EVIDENCE_FROZEN, channel);
	item.at_min += (int64_t)from;
	item.minutes = (int64_t)(to - from);
	item.values[0] = day_values(view->day, channel)[from];
	item.values[1] = how_much;
	item.values[2] = item.values[3] = 0.0;
	evidence_add_booked(view, from, to, &item.values[2]);
	item.values[4] = by;
	item.values[5] = rested_min;
	evidence_add(view->list, &item);
}

static int by_value(const void *left, const void *right)
{
	const double *a = left, *b = right;
	return (*a > *b) - (*a < *b);
}

double evidence_median(double *values, size_t count)
{
	if (count == 0)
		return (double)NAN;
	qsort(values, count, sizeof(*values), by_value);
	double low = values[(count - 1) / 2], high = values[count / 2];
	return low + (high - low) / 2.0;
}

/* ---- what is plain to see ---- */

static void add_watts(const struct day_view *view, size_t m, double *watts)
{
	const double *j = day_meter_j(view->day, m);
	const int32_t *ms = day_meter_ms(view->day, m);
	for (size_t i = 0; i < view->count; i++) {
		bool known = ms[i] >= MS_PER_MIN / 2;
		watts[i] += known ? 1000.0 * j[i] / ms[i] : (double)NAN;
	}
}

static void mark_unknown(const struct day_view *view, double *watts)
{
	for (size_t i = 0; i < view->count; i++)
		watts[i] = (double)NAN;
}

/* The meters of the compressor of which that holds, summed; the first of them, or -1. */
static int add_meters(const struct day_view *view, rules_reads *reads, double *watts)
{
	const struct config *config = view->day->config;
	int first = -1;
	for (size_t m = 0; m < config->meter_count; m++) {
		if (!(config->meters[m].serves & DEVICE_COMPRESSOR) || !reads(config, m))
			continue;
		first = first < 0 ? (int)m : first;
		add_watts(view, m, watts);
	}
	if (first < 0)
		mark_unknown(view, watts);
	return first;
}

/* An apparent meter beside a true one would count twice. */
static bool is_counted(const struct config *config, size_t meter)
{
	return !boundary_beside(config, meter);
}

static void find_power(struct day_view *view)
{
	(void)add_meters(view, is_counted, view->unit_w);
	view->power_meter = add_meters(view, rules_reads_power, view->power_w);
	(void)add_meters(view, rules_reads_compressor, view->compressor_w);
}

signed char running_by_mode(int mode)
{
	switch (mode) {
	case MODE_HEATING:
	case MODE_HOT_WATER:
	case MODE_DEFROST:
	case MODE_COOLING:
		return 1;
	case MODE_STANDBY:
	case MODE_OVERRUN:
	case MODE_FREEZE_PROTECTION:
		return 0;
	default:
		return -1;
	}
}

static signed char running_by_power(const struct day_view *view, size_t i)
{
	double w = fabs(view->compressor_w[i]); /* also of a clamp that is reversed */
	return isnan(w) ? -1 : w > view->day->config->modes.compressor_on_w;
}

/* Modes by rule are told by power, and not by that of a clamp that is reversed. */
static void find_running(struct day_view *view)
{
	bool by_rule = rules_needed(view->day->config).compressor;
	for (size_t i = 0; i < view->count; i++) {
		double hz = view->frequency_hz ? view->frequency_hz[i] : (double)NAN;
		signed char mode = running_by_mode(view->day->booked[i].mode);
		signed char power = running_by_power(view, i);
		if (view->frequency_hz)
			view->running[i] = isnan(hz) ? -1 : hz > 0.0;
		else if (by_rule)
			view->running[i] = power < 0 ? mode : power;
		else
			view->running[i] = mode < 0 ? power : mode;
	}
}

static void find_flowing(struct day_view *view)
{
	double least = view->day->config->plant.least_flow_lpm;
	if (least < LEAST_FLOW_LPM)
		least = LEAST_FLOW_LPM;
	for (size_t i = 0; i < view->count; i++) {
		double lpm = view->rate_lpm ? view->rate_lpm[i] : (double)NAN;
		view->flowing[i] = isnan(lpm) ? -1 : lpm > least;
	}
}

/* The valve's own state, else the one that the control names. */
static void find_service(struct day_view *view)
{
	const struct config *config = view->day->config;
	const double *valve = day_values(view->day, config_role(config, ROLE_VALVE));
	for (size_t i = 0; i < view->count; i++) {
		double v = valve ? valve[i] : (double)NAN;
		double m = view->control ? view->control[i] : (double)NAN;
		view->tap[i] = -1;
		if (v == VALVE_HEATING || v == VALVE_HOT_WATER)
			view->tap[i] = v == VALVE_HOT_WATER;
		else if (m == OPERATING_HEATING || m == OPERATING_HOT_WATER)
			view->tap[i] = m == OPERATING_HOT_WATER;
	}
}

bool view_may_cool(const struct day_view *view, size_t i)
{
	return view->day->booked[i].mode == MODE_COOLING ||
	       (view->control && view->control[i] == OPERATING_COOLING);
}

static bool defrosts(const struct day_view *view, const double *flag, size_t i)
{
	return view->day->booked[i].mode == MODE_DEFROST || (flag && flag[i] == STATE_ON);
}

/* Pipes that are crossed look like a defrost to a rule, for as long as the unit runs: so
 * what lasts longer than any defrost is none. */
static size_t defrost_length(const struct day_view *view, const double *flag, size_t from)
{
	size_t to = from;
	while (to < view->count && defrosts(view, flag, to))
		to++;
	return to - from <= DEFROST_MOST_MIN ? to - from : 0;
}

/* What a defrost does to temperatures goes on after its end. */
static void find_frosty(struct day_view *view)
{
	const struct config *config = view->day->config;
	const double *flag = day_values(view->day, config_role(config, ROLE_DEFROST));
	for (size_t i = 0; i < view->count; i++) {
		if (!defrosts(view, flag, i) || (i > 0 && defrosts(view, flag, i - 1)))
			continue;
		size_t length = defrost_length(view, flag, i);
		size_t first = i > 0 ? i - 1 : 0, end = i + length + THAWING_MIN;
		for (size_t k = first; length > 0 && k < end && k < view->count; k++)
			view->frosty[k] = 1;
	}
}

static void count_known(struct day_view *view)
{
	const struct config *config = view->day->config;
	for (size_t c = 0; c < config->channel_count; c++) {
		const double *values = day_values(view->day, (int)c);
		if (config->channels[c].map_count)
			continue; /* a state may hold through any outage */
		for (size_t i = 0; i < view->count; i++)
			if (!isnan(values[i]))
				view->known[i]++;
	}
}

static void find_boundary(struct day_view *view)
{
	struct boundary boundaries[BOUNDARIES_MOST];
	if (boundary_list(view->day->config, boundaries) > 0)
		view->boundary = boundaries[0];
}

static void view_init(struct day_view *view, const struct day_minutes *day,
	const struct register_day *registers, struct evidence_list *list)
{
	const struct config *config = day->config;
	*view = (struct day_view){
		.day = day, .registers = registers, .count = day->count, .list = list};
	view->running = xcalloc(4 * day->count + 1, 1);
	view->flowing = view->running + day->count;
	view->tap = view->flowing + day->count;
	view->frosty = view->tap + day->count;
	view->unit_w = xcalloc(3 * day->count + 1, sizeof(*view->unit_w));
	view->power_w = view->unit_w + day->count;
	view->compressor_w = view->power_w + day->count;
	view->flow_c = day_values(day, config_role(config, ROLE_FLOW_TEMPERATURE));
	view->return_c = day_values(day, config_role(config, ROLE_RETURN_TEMPERATURE));
	view->rate_lpm = day_values(day, config_role(config, ROLE_FLOW_RATE));
	view->outdoor_c = day_values(day, config_role(config, ROLE_OUTDOOR_TEMPERATURE));
	view->frequency_hz =
		day_values(day, config_role(config, ROLE_COMPRESSOR_FREQUENCY));
	view->control = day_values(day, config_role(config, ROLE_OPERATING_MODE));
	view->known = xcalloc(day->count + 1, sizeof(*view->known));
	count_known(view);
	find_boundary(view);
	find_power(view);
	find_running(view);
	find_flowing(view);
	find_service(view);
	find_frosty(view);
}

void evidence_of(const struct day_minutes *day, const struct register_day *registers,
	struct evidence_list *list)
{
	static evidence_look *const looks[] = {look_at_rest, look_at_negative_power,
		look_at_flow_zero, look_at_return_above, look_at_frozen, look_at_grids,
		look_at_spacing, look_at_words, look_at_flow, look_at_pressure,
		look_at_skew, look_at_outdoor, look_at_efficiency, look_at_missing,
		look_at_registers, look_at_immersion, look_at_flag, look_at_balance,
		look_at_apparent, look_at_still, look_at_stuck, look_at_amounts,
		look_at_pump, look_at_signs, look_at_words_said, look_at_phases,
		look_at_emission, look_at_storage, look_at_conditions, look_at_steady};
	struct day_view view;

	view_init(&view, day, registers, list);
	struct evidence looked = evidence_new(&view, EVIDENCE_LOOKED, -1);
	looked.minutes = EVIDENCE_FORM;
	evidence_add(list, &looked);
	for (size_t i = 0; i < ARRAY_LEN(looks); i++)
		looks[i](&view);
	free(view.known);
	free(view.running);
	free(view.unit_w);
}
