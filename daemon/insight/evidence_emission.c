/*
 * What a day of heating says of the flow temperature: heat and electricity with the
 * temperatures that they were made at, what the emitters gave off at which water
 * temperature, and how the unit's share of Carnot's quotient goes with flow temperature,
 * source and output.
 *
 * The last is kept as sums of products about the day's means: what all of a day has in
 * common (the season, a meter's error, a fault) falls out, and days add up to what least
 * squares over all their minutes would have (judged by flow_temperature.c).
 */
#include "evidence.h"

#include <heatbook/balance.h>

#include <math.h>

enum {
	RUNNING_MIN = 5,
	SETTLED_MIN = 20,
	HEATING_LEAST_MIN = 10,
	PRODUCTS_LEAST_MIN = 30
};
#define LEAST_LIFT_K 15.0 /* below, Carnot's quotient says little of a real unit */
#define KELVIN       273.15

enum { FLOW, SOURCE, OUTPUT, OUTPUT_2, FRACTION, TERMS };
enum { PRODUCTS = TERMS * (TERMS + 1) / 2 };

struct heating {
	const struct day_view *view;
	const double *source_c, *room_c; /* or NULL */
	bool unit_told;                  /* the unit's electricity, by the minute */
	unsigned short *since;           /* minutes of heating up to this, 0: none */
};

static double at(const double *values, size_t i)
{
	return values ? values[i] : (double)NAN;
}

/* Air outdoors, or what enters the unit on the side that heat is taken from. */
static const double *source_of(const struct day_view *view)
{
	const struct config *config = view->day->config;
	enum source_kind kind = config->plant.source_kind;
	if (kind != SOURCE_GROUND && kind != SOURCE_WATER)
		return view->outdoor_c;
	return day_values(
		view->day, config_role(config, ROLE_SOURCE_ENTERING_TEMPERATURE));
}

/* One mode for all of the minute, both sides known, nothing thaws. */
static bool is_heating(const struct heating *h, size_t i)
{
	const struct day_booked *b = &h->view->day->booked[i];
	return b->mode == MODE_HEATING && b->mode_ms >= MS_PER_MIN &&
	       b->heat_ms >= MS_PER_MIN && b->heat_j > 0.0 &&
	       (h->view->unit_w[i] > 0.0 || !h->unit_told) && !isnan(h->view->flow_c[i]);
}

static void find_heating(struct heating *h)
{
	h->since = xcalloc(h->view->count + 1, sizeof(*h->since));
	for (size_t i = 0; i < h->view->count; i++) {
		unsigned before = i > 0 ? h->since[i - 1] : 0;
		if (is_heating(h, i))
			h->since[i] = (unsigned short)(before + 1);
	}
}

static bool is_undisturbed(const struct heating *h, size_t i, unsigned behind_min)
{
	return h->since[i] > behind_min && !h->view->frosty[i] &&
	       h->view->running[i] == 1;
}

static struct evidence new_row(const struct day_view *view, int row)
{
	struct evidence item = evidence_new(view, EVIDENCE_EMISSION, -1);
	item.at_min += row;
	return item;
}

/* ---- the whole ---- */

/* The sum weighted by heat; NaN where any of it is unknown. */
static double weighted(const struct heating *h, const double *values, double heat_j)
{
	double sum = 0.0;
	for (size_t i = 0; i < h->view->count; i++)
		if (h->since[i])
			sum += h->view->day->booked[i].heat_j * at(values, i);
	return sum / heat_j;
}

/* Rooms report seldom, and now and then not at all: the mean of what is known. */
static double weighted_known(const struct heating *h, const double *values)
{
	double sum = 0.0, heat_j = 0.0;
	for (size_t i = 0; values && i < h->view->count; i++) {
		if (!h->since[i] || isnan(values[i]))
			continue;
		sum += h->view->day->booked[i].heat_j * values[i];
		heat_j += h->view->day->booked[i].heat_j;
	}
	return heat_j > 0.0 ? sum / heat_j : (double)NAN;
}

static bool add_whole(const struct heating *h)
{
	struct evidence item = new_row(h->view, EMISSION_WHOLE);
	double heat_j = 0.0, unit_j = 0.0;
	for (size_t i = 0; i < h->view->count; i++) {
		if (!h->since[i])
			continue;
		item.minutes++;
		heat_j += h->view->day->booked[i].heat_j;
		unit_j += 60.0 * h->view->unit_w[i];
	}
	if (item.minutes < HEATING_LEAST_MIN)
		return false;
	item.values[0] = heat_j;
	item.values[1] = h->unit_told ? unit_j : (double)NAN;
	item.values[2] = weighted(h, h->view->flow_c, heat_j);
	item.values[3] = weighted_known(h, h->view->return_c);
	item.values[4] = weighted_known(h, h->source_c);
	item.values[5] = weighted_known(h, h->room_c);
	evidence_add(h->view->list, &item);
	return true;
}

/* ---- what emitters gave off ---- */

static double water_c(const struct heating *h, size_t i)
{
	return (h->view->flow_c[i] + at(h->view->return_c, i)) / 2.0;
}

/* Sorts them; the greatest of the least tenth. */
static double lowest_decile(double *values, size_t count)
{
	(void)evidence_median(values, count);
	return count > 0 ? values[count / 10] : (double)NAN;
}

static void add_settled(const struct heating *h)
{
	struct evidence item = new_row(h->view, EMISSION_SETTLED);
	double *watts = xcalloc(h->view->count + 1, sizeof(*watts));
	double heat_w = 0.0, water = 0.0, room = 0.0, risen = 0.0;
	size_t rooms = 0;
	for (size_t i = 1; i < h->view->count; i++) {
		double rise = water_c(h, i) - water_c(h, i - 1);
		if (!is_undisturbed(h, i, SETTLED_MIN) || isnan(rise))
			continue;
		watts[item.minutes] = h->view->day->booked[i].heat_j / 60.0;
		heat_w += watts[item.minutes++];
		water += water_c(h, i);
		risen += rise;
		double room_c = at(h->room_c, i);
		if (isnan(room_c))
			continue;
		rooms++;
		room += room_c;
	}
	double n = (double)item.minutes;
	item.values[0] = heat_w / n;
	item.values[1] = water / n;
	item.values[2] = rooms ? room / (double)rooms : (double)NAN;
	item.values[3] = 60.0 * risen / n;
	item.values[4] = lowest_decile(watts, (size_t)item.minutes);
	if (item.minutes > 0)
		evidence_add(h->view->list, &item);
	free(watts);
}

/* ---- the share of Carnot's quotient ---- */

/* False: the minute says nothing of it. */
static bool terms_of(const struct heating *h, size_t i, double ret[static TERMS])
{
	double flow = h->view->flow_c[i], source = at(h->source_c, i);
	double kw = h->view->day->booked[i].heat_j / 60000.0;
	double quotient = 1000.0 * kw / h->view->unit_w[i];
	double lift = flow - source;
	if (!is_undisturbed(h, i, RUNNING_MIN) || !(lift >= LEAST_LIFT_K))
		return false;
	ret[FLOW] = flow;
	ret[SOURCE] = source;
	ret[OUTPUT] = log(kw);
	ret[OUTPUT_2] = ret[OUTPUT] * ret[OUTPUT];
	ret[FRACTION] = log(quotient * lift / (flow + KELVIN));
	return true;
}

static size_t means_of(const struct heating *h, double ret[static TERMS])
{
	double terms[TERMS] = {0};
	size_t count = 0;
	for (int k = 0; k < TERMS; k++)
		ret[k] = 0.0;
	for (size_t i = 0; i < h->view->count; i++) {
		if (!terms_of(h, i, terms))
			continue;
		count++;
		for (int k = 0; k < TERMS; k++)
			ret[k] += (terms[k] - ret[k]) / (double)count;
	}
	return count;
}

static void add_products(const struct heating *h)
{
	double means[TERMS], terms[TERMS] = {0}, sums[PRODUCTS] = {0};
	size_t count = means_of(h, means);
	if (count < PRODUCTS_LEAST_MIN)
		return;
	for (size_t i = 0; i < h->view->count; i++) {
		if (!terms_of(h, i, terms))
			continue;
		for (int a = 0, at = 0; a < TERMS; a++)
			for (int b = a; b < TERMS; b++, at++)
				sums[at] += (terms[a] - means[a]) * (terms[b] - means[b]);
	}
	for (int first = 0; first < PRODUCTS; first += EVIDENCE_VALUES) {
		int row = EMISSION_PRODUCTS + first / EVIDENCE_VALUES;
		struct evidence item = new_row(h->view, row);
		item.minutes = (int64_t)count;
		for (int k = 0; k < EVIDENCE_VALUES && first + k < PRODUCTS; k++)
			item.values[k] = sums[first + k];
		evidence_add(h->view->list, &item);
	}
}

void look_at_emission(const struct day_view *view)
{
	int room = config_role(view->day->config, ROLE_ROOM_TEMPERATURE);
	struct heating h = {.view = view,
		.source_c = source_of(view),
		.room_c = day_values(view->day, room)};
	if (!view->flow_c)
		return;
	h.unit_told = unit_is_told(view->day->config);
	find_heating(&h);
	if (add_whole(&h)) {
		if (view->return_c)
			add_settled(&h);
		if (h.unit_told)
			add_products(&h);
	}
	free(h.since);
}
