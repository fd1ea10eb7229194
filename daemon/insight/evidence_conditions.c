/*
 * Under which conditions the unit worked: heat and electricity by the outdoor temperature
 * and the flow temperature, in bins of a kelvin by five. A bin's middle is what names it,
 * so that 35 °C is in the middle of that of 35 °C, and a reference climate's bins, which
 * are whole degrees, are these.
 *
 * A minute's part in a mode is what the account booked to it, so that bins of a mode add
 * up to what it has in the day where heat and the unit's meters are known; what lacks a
 * temperature is a bin of its own. Each part lies in one bin, so the minute in which a
 * bin begins tells it from the mode's others: that is its row's key.
 *
 * In a defrost the flow says nothing of what the unit has to reach: its parts, and those
 * that share a minute with one, go by the last minute before it.
 */
#include "evidence.h"

#include <heatbook/balance.h>
#include <heatbook/cop_curve.h>

#include <math.h>

struct bin {
	enum day_work work;
	enum day_work served;     /* of a defrost: what went on before it */
	double outdoor_c, flow_c; /* its middle; NaN: one of them is unknown */
	bool lifted;              /* by COP_LEAST_LIFT_K and more */
	size_t first;
	double ms, heat_j, unit_j, sensitivity_j_per_k, ideal_j;
};

struct bins {
	struct bin *items;
	size_t count;
};

struct condition {
	double outdoor_c, flow_c;
	enum day_work served;
};

static bool is_same(const struct bin *a, const struct bin *b)
{
	bool same = a->outdoor_c == b->outdoor_c && a->flow_c == b->flow_c;
	return a->work == b->work && a->served == b->served && a->lifted == b->lifted &&
	       (same || (isnan(a->outdoor_c) && isnan(b->outdoor_c)));
}

/* Its own bin, or a new one like it. */
static struct bin *bin_of(struct bins *bins, const struct bin *like)
{
	for (size_t i = 0; i < bins->count; i++)
		if (is_same(&bins->items[i], like))
			return &bins->items[i];
	bins->items = xrealloc(bins->items, bins->count + 1, sizeof(*bins->items));
	bins->items[bins->count] = *like;
	return &bins->items[bins->count++];
}

static bool is_part(const struct day_view *view, enum day_work work, size_t i)
{
	return day_parts(view->day, work)[i].ms > 0;
}

/* What a minute's parts are filed under: its own temperatures, while it defrosts those of
 * the last minute before. Of a day that begins with a defrost the first after it. */
static struct condition *conditions_of(const struct day_view *view)
{
	struct condition *c = xcalloc(view->count + 1, sizeof(*c));
	struct condition last = {(double)NAN, (double)NAN, DAY_HEATING};
	bool any = false;
	for (size_t i = 0; i < view->count; i++) {
		bool tap = is_part(view, DAY_HOT_WATER, i);
		bool own = !is_part(view, DAY_DEFROST, i) &&
			   (tap || is_part(view, DAY_HEATING, i));
		if (own)
			last = (struct condition){view->outdoor_c[i], view->flow_c[i],
				tap ? DAY_HOT_WATER : DAY_HEATING};
		for (size_t k = 0; own && !any && k < i; k++)
			c[k] = last;
		any = any || own;
		c[i] = last;
	}
	return c;
}

static double meters_j(
	const struct day_view *view, unsigned meters, enum day_work work, size_t i)
{
	double sum_j = 0.0;
	for (size_t m = 0; m < view->day->config->meter_count; m++)
		if (meters & 1u << m)
			sum_j += day_part_meter_j(view->day, work, m)[i];
	return sum_j;
}

/* A heater in line warms the same water; its heat is none of the unit's. */
bool part_of_unit(
	const struct day_view *view, enum day_work work, size_t i, struct unit_part *ret)
{
	const struct day_part *part = &day_parts(view->day, work)[i];
	unsigned needs = view->boundary.needs;
	if (part->ms == 0 || !part->heat_known || (part->meters_known & needs) != needs)
		return false;
	*ret = (struct unit_part){.ms = part->ms,
		.heat_j =
			part->heat_j - meters_j(view, view->boundary.heat_less, work, i),
		.unit_j = meters_j(view, view->boundary.meters, work, i),
		.sensitivity_j_per_k = part->sensitivity_j_per_k};
	return true;
}

static void add_part(struct bins *bins, enum day_work work, size_t i,
	const struct condition *c, const struct unit_part *part)
{
	double lift_k = c->flow_c - c->outdoor_c;
	struct bin like = {.work = work, .served = work, .first = i};
	like.outdoor_c = like.flow_c = (double)NAN;
	if (work == DAY_DEFROST)
		like.served = c->served;
	if (!isnan(lift_k)) {
		like.outdoor_c =
			CONDITION_OUTDOOR_K * round(c->outdoor_c / CONDITION_OUTDOOR_K);
		like.flow_c = CONDITION_FLOW_K * round(c->flow_c / CONDITION_FLOW_K);
		like.lifted = work != DAY_DEFROST && lift_k >= COP_LEAST_LIFT_K;
	}
	struct bin *bin = bin_of(bins, &like);
	bin->ms += part->ms;
	bin->heat_j += part->heat_j;
	bin->unit_j += part->unit_j;
	bin->sensitivity_j_per_k += part->sensitivity_j_per_k;
	if (like.lifted)
		bin->ideal_j += part->heat_j / cop_carnot(c->flow_c, c->outdoor_c);
}

static void add_evidence_of(const struct day_view *view, const struct bin *bin)
{
	struct evidence item =
		evidence_new(view, EVIDENCE_CONDITIONS, (int)day_work_mode(bin->work));
	item.at_min += (int64_t)bin->first;
	item.minutes = llround(bin->ms / MS_PER_MIN);
	item.values[0] = bin->outdoor_c;
	item.values[1] = bin->flow_c;
	item.values[2] = bin->heat_j;
	item.values[3] = bin->unit_j;
	item.values[4] = bin->sensitivity_j_per_k;
	if (bin->work == DAY_DEFROST)
		item.values[5] = day_work_mode(bin->served);
	else if (bin->lifted)
		item.values[5] = bin->ideal_j;
	evidence_add(view->list, &item);
}

void look_at_conditions(const struct day_view *view)
{
	struct bins bins = {0};
	struct unit_part part;
	if (!view->flow_c || !view->outdoor_c || !unit_is_told(view->day->config) ||
		!view->boundary.meters)
		return;
	struct condition *conditions = conditions_of(view);
	for (int work = 0; work < DAY_WORKS; work++)
		for (size_t i = 0; i < view->count; i++)
			if (part_of_unit(view, (enum day_work)work, i, &part))
				add_part(&bins, (enum day_work)work, i, &conditions[i],
					&part);
	for (size_t i = 0; i < bins.count; i++)
		add_evidence_of(view, &bins.items[i]);
	free(conditions);
	free(bins.items);
}
