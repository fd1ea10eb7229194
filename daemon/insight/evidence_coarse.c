/*
 * Flow and power that come in coarse steps. (Temperatures: evidence_channel.c, by
 * kelvins.)
 *
 * How coarse a step is follows from what is usual: half of it is what a reading may be
 * off by. Flow and power of fine resolution hardly hold one value for two minutes, so
 * that levels that are held, and all lie on a grid, are of a source that rounds. A pump
 * of one speed has one level, whatever its meter's steps: two are wanted of flow. A unit
 * at rest draws some watts, which lie on no such grid. Thresholds are own judgement.
 */
#include "evidence.h"

#include <math.h>

enum { HELD_LEAST = 15 };
#define ON_GRID_LEAST 0.95
#define COARSE_SHARE                                                                     \
	0.04 /* half a step of the usual level: beyond instruments' limits               \
	      */
#define STORED_STEP 0.01

enum { STEPS = 4 };

struct grids {
	double steps[STEPS]; /* the coarsest first */
	size_t levels;       /* that are wanted at least */
};
/* 5/3 L/min is a tenth of a m³/h. */
static const struct grids flow_grids = {{5.0, 2.0, 5.0 / 3.0, 1.0}, 2};
static const struct grids power_grids = {{1000.0, 500.0, 200.0, 100.0}, 1};

/* Levels that were held for two minutes or longer. */
struct held {
	double *levels;
	size_t count;
};

static struct held held_of(const double *values, size_t count)
{
	struct held held = {xcalloc(count + 1, sizeof(*held.levels)), 0};
	for (size_t i = 1; i < count; i++)
		if (values[i] == values[i - 1] &&
			(i == 1 || values[i - 1] != values[i - 2]))
			held.levels[held.count++] = values[i];
	return held;
}

static bool is_on(double value, double step)
{
	return fabs(value - round(value / step) * step) <= 0.6 * STORED_STEP;
}

/* The usual level, where these lie on the grid; 0 where they do not. `above`: room for
 * as many. */
static double usual_on(const struct held *held, double step, size_t wanted, double *above,
	double *ret_share)
{
	size_t on = 0, count = 0;
	for (size_t i = 0; i < held->count; i++) {
		on += is_on(held->levels[i], step);
		if (held->levels[i] > step / 2.0)
			above[count++] = held->levels[i];
	}
	*ret_share = held->count ? (double)on / (double)held->count : 0.0;
	if (count < HELD_LEAST || *ret_share < ON_GRID_LEAST)
		return 0.0;
	double usual = evidence_median(above, count); /* which sorts them */
	bool one = above[count - 1] - above[0] < step / 2.0;
	return one && wanted > 1 ? 0.0 : usual;
}

/* A finer grid that holds what this one leaves out is the one: of 100 W steps about 1500
 * W most are of 500 W as well. */
static bool is_finer(const double *values, size_t count, const double *steps, size_t g)
{
	size_t on[STEPS] = {0};
	for (size_t f = g; f < STEPS; f++)
		for (size_t i = 0; i < count; i++)
			on[f] += is_on(values[i], steps[f]);
	for (size_t f = g + 1; f < STEPS; f++)
		if (is_on(steps[g], steps[f]) && on[f] * 50 > on[g] * 51)
			return true;
	return false;
}

static void look_coarse(
	const struct day_view *view, int channel, const struct grids *grids)
{
	const double *values = day_values(view->day, channel);
	if (!values)
		return;
	struct held held = held_of(values, view->count);
	double *above = xcalloc(held.count + 1, sizeof(*above));
	for (size_t g = 0; g < ARRAY_LEN(grids->steps); g++) {
		double step = grids->steps[g], share;
		double usual = usual_on(&held, step, grids->levels, above, &share);
		if (step / 2.0 < COARSE_SHARE * usual || usual <= 0.0 ||
			is_finer(values, view->count, grids->steps, g))
			continue;
		struct evidence item = evidence_new(view, EVIDENCE_COARSE, channel);
		item.values[0] = step;
		item.values[1] = share;
		item.values[2] = usual;
		evidence_add(view->list, &item);
		break;
	}
	free(above);
	free(held.levels);
}

void look_at_amounts(const struct day_view *view)
{
	const struct config *config = view->day->config;
	look_coarse(view, config_role(config, ROLE_FLOW_RATE), &flow_grids);
	for (size_t m = 0; m < config->meter_count; m++)
		for (size_t p = 0; config->meters[m].serves & DEVICE_COMPRESSOR &&
				   p < config->meters[m].power_count;
			p++)
			look_coarse(view, config->meters[m].power[p], &power_grids);
}
