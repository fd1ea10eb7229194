/*
 * One channel by itself: does it stand still while what belongs to it moves, on which
 * grid do its values lie, how far apart are its changes, was it silent, did it say words
 * that no map names.
 *
 * What stands still: of a healthy pair neither pipe holds one value to the last digit
 * while the other moves by more than a kelvin; an outdoor sensor of fine resolution does
 * not hold one for three hours. Own judgement, by a year of an invented plant.
 */
#include "evidence.h"

#include <math.h>

enum { FROZEN_MIN = 25, OUTDOOR_FROZEN_MIN = 180 };
#define OTHER_MOVES_K 1.2

/* ---- the grid ---- */

enum { LEVELS_LEAST = 15, DISTINCT_LEAST = 4 };
#define ON_GRID 0.95

static bool on_grid(double value, double grid)
{
	double steps = value / grid;
	return fabs(steps - round(steps)) * grid < 0.006; /* half a stored step */
}

struct levels {
	size_t count, on;
	double least, most;
};

/* Values that held for two minutes or longer: a mean over a change lies between them. */
static struct levels levels_on(const double *values, size_t count, double grid)
{
	struct levels l = {0, 0, INFINITY, -INFINITY};
	for (size_t i = 1; i < count; i++) {
		bool holds = values[i] == values[i - 1];
		bool held = i > 1 && values[i - 1] == values[i - 2];
		if (!holds || held)
			continue;
		l.count++;
		l.on += on_grid(values[i], grid);
		l.least = fmin(l.least, values[i]);
		l.most = fmax(l.most, values[i]);
	}
	return l;
}

/* The coarsest of the usual grids that the channel's levels lie on; 0: on none. */
static double grid_of(const double *values, size_t count, double *ret_share)
{
	static const double grids[] = {1.0, 0.5, 0.25};
	for (size_t g = 0; g < ARRAY_LEN(grids); g++) {
		struct levels l = levels_on(values, count, grids[g]);
		bool wide = l.most - l.least >= (DISTINCT_LEAST - 1) * grids[g];
		*ret_share = l.count ? (double)l.on / (double)l.count : 0.0;
		if (l.count >= LEVELS_LEAST && wide && *ret_share >= ON_GRID)
			return grids[g];
	}
	return 0.0;
}

static const enum role graded[] = {
	ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE, ROLE_OUTDOOR_TEMPERATURE};

void look_at_grids(const struct day_view *view)
{
	for (size_t r = 0; r < ARRAY_LEN(graded); r++) {
		int channel = config_role(view->day->config, graded[r]);
		const double *values = day_values(view->day, channel);
		double share = 0.0;
		double grid = values ? grid_of(values, view->count, &share) : 0.0;
		if (grid == 0.0)
			continue;
		struct evidence item = evidence_new(view, EVIDENCE_COARSE, channel);
		item.values[0] = grid;
		item.values[1] = share;
		evidence_add(view->list, &item);
	}
}

/* ---- what stands still ---- */

struct still {
	size_t from, minutes;
	double other_k;
};

/* The longest stretch of one value in which the other moves by more than `moves`. */
static struct still longest_still(
	const double *values, const double *other, size_t count, double moves)
{
	struct still best = {0};
	double least = INFINITY, most = -INFINITY;
	size_t begin = 0;
	for (size_t i = 0; i <= count; i++) {
		if (i == count || values[i] != values[begin]) { /* NaN ends it, too */
			bool moved = !other || most - least > moves;
			if (moved && i - begin > best.minutes)
				best = (struct still){begin, i - begin,
					other ? most - least : (double)NAN};
			begin = i;
			least = INFINITY;
			most = -INFINITY;
		}
		if (i < count && other) {
			least = fmin(least, other[i]);
			most = fmax(most, other[i]);
		}
	}
	return best;
}

static void look_frozen(const struct day_view *view, enum role role, const double *other,
	int64_t minutes_least)
{
	int channel = config_role(view->day->config, role);
	const double *values = day_values(view->day, channel);
	double share;
	if (!values)
		return;
	double grid = grid_of(values, view->count, &share);
	if (!other && grid > 0.0)
		return; /* on a coarse grid it stands still for hours by itself */
	struct still still =
		longest_still(values, other, view->count, OTHER_MOVES_K + grid);
	if ((int64_t)still.minutes < minutes_least)
		return;
	evidence_add_frozen(view, channel, still.from, still.from + still.minutes,
		other ? FROZEN_BY_PIPE : FROZEN_BY_AIR, still.other_k, (double)NAN);
}

void look_at_frozen(const struct day_view *view)
{
	if (view->flow_c && view->return_c) {
		look_frozen(view, ROLE_FLOW_TEMPERATURE, view->return_c, FROZEN_MIN);
		look_frozen(view, ROLE_RETURN_TEMPERATURE, view->flow_c, FROZEN_MIN);
	}
	look_frozen(view, ROLE_OUTDOOR_TEMPERATURE, NULL, OUTDOOR_FROZEN_MIN);
}

/* ---- how far apart changes are ---- */

enum { GROUPS_LEAST = 20, GROUPS_MOST = 1440, BEATS_LEAST = 6 };

/* Half hours and hours give too few changes for that; but no quick source changes at
 * full ones only. */
static double beat_of(const double *spacings, size_t count)
{
	static const double beats[] = {60.0, 30.0};
	for (size_t b = 0; b < ARRAY_LEN(beats) && count >= BEATS_LEAST; b++) {
		size_t met = 0;
		while (met < count && fmod(spacings[met], beats[b]) == 0.0)
			met++;
		if (met == count)
			return beats[b];
	}
	return 0.0;
}

/* A value that changes amid a minute shows in two minutes: these are one change. The
 * spacing is the tenth part's; 0 where there are not enough changes, or where more than
 * two minutes in a row change, as those of a quick source do. */
static double spacing_of(
	const double *values, size_t count, size_t *ret_changes, size_t *ret_first)
{
	static const double quick_share = 0.05;
	double spacings[GROUPS_MOST];
	size_t groups = 0, quick = 0, begin = 0, last = 0;
	for (size_t i = 1; i < count; i++) {
		if (isnan(values[i]) || isnan(values[i - 1]) ||
			values[i] == values[i - 1])
			continue;
		if (last && i == last + 1) {
			quick += i > begin + 1;
			last = i;
			continue;
		}
		if (last && groups < GROUPS_MOST)
			spacings[groups++] = (double)(i - begin);
		*ret_first = last ? *ret_first : i;
		begin = last = i;
	}
	*ret_changes = groups;
	if (groups < GROUPS_LEAST && quick == 0)
		return beat_of(spacings, groups);
	if (groups < GROUPS_LEAST || (double)quick > quick_share * (double)groups)
		return 0.0;
	(void)evidence_median(spacings, groups); /* sorts them */
	return spacings[groups / 10];
}

static void look_spacing(const struct day_view *view, int channel)
{
	const double *values = day_values(view->day, channel);
	size_t changes = 0, first = 0;
	double spacing = values ? spacing_of(values, view->count, &changes, &first) : 0.0;
	if (spacing < SEEN_SLOW_MIN)
		return;
	struct evidence item = evidence_new(view, EVIDENCE_SLOW, channel);
	item.at_min += (int64_t)first;
	item.values[0] = spacing;
	item.values[1] = (double)changes;
	evidence_add(view->list, &item);
}

void look_at_spacing(const struct day_view *view)
{
	const struct config *config = view->day->config;
	look_spacing(view, config_role(config, ROLE_FLOW_TEMPERATURE));
	look_spacing(view, config_role(config, ROLE_RETURN_TEMPERATURE));
	for (size_t m = 0; m < config->meter_count; m++)
		for (size_t p = 0; p < config->meters[m].power_count; p++)
			if (config->meters[m].feeds & DEVICE_COMPRESSOR)
				look_spacing(view, config->meters[m].power[p]);
}

/* ---- words, and silence ---- */

enum { SILENT_MIN = 30 };

static void look_words(const struct day_view *view, size_t channel)
{
	const double *values = day_values(view->day, (int)channel);
	struct evidence item = evidence_new(view, EVIDENCE_STATE_UNKNOWN, (int)channel);
	for (size_t i = view->count; i-- > 0;)
		if (values[i] < 0.0) {
			item.minutes++;
			item.at_min = view->day->start_min + (int64_t)i;
		}
	if (item.minutes > 0)
		evidence_add(view->list, &item);
}

/* Channels that the account rests on; those of states may be silent for days. */
static void look_silent(const struct day_view *view, size_t channel)
{
	const double *values = day_values(view->day, (int)channel);
	struct evidence item = evidence_new(view, EVIDENCE_SILENT, (int)channel);
	for (size_t i = view->count; i-- > 0;)
		if (isnan(values[i]) && view->known[i] > 0) {
			item.minutes++;
			item.at_min = view->day->start_min + (int64_t)i;
		}
	if (item.minutes >= SILENT_MIN)
		evidence_add(view->list, &item);
}

void look_at_words(const struct day_view *view)
{
	const struct config *config = view->day->config;
	for (size_t c = 0; c < config->channel_count; c++) {
		if (config->channels[c].map_count)
			look_words(view, c);
		else if (config->channels[c].role != ROLE_PLAIN)
			look_silent(view, c);
	}
	for (size_t m = 0; m < config->meter_count; m++)
		for (size_t p = 0; p < config->meters[m].power_count; p++) {
			size_t c = (size_t)config->meters[m].power[p];
			if (config->channels[c].role == ROLE_PLAIN)
				look_silent(view, c);
		}
}
