/*
 * Steady windows against declared points. See declared.h.
 *
 * Declared figures are of full load as a rule, or of the load that the point names; a
 * window runs at whatever load the house had. Neither is brought to the other: both stand
 * side by side.
 */
#include <heatbook/declared.h>

#include <heatbook/cop_curve.h>
#include <heatbook/uncertainty.h>

#include <math.h>
#include <stdlib.h>

struct steady_window steady_window_of(const struct evidence *item)
{
	const double *v = item->values;
	return (struct steady_window){.start_min = item->at_min,
		.minutes = item->minutes,
		.outdoor_c = v[0],
		.flow_c = v[1],
		.frequency_hz = v[5],
		.sums = {.minutes = (double)item->minutes,
			.heat_j = v[3],
			.electricity_j = v[4],
			.sensitivity_j_per_k = isnan(v[2]) ? 0.0 : v[3] / v[2]}};
}

/* ---- what is declared ---- */

static double capacity_of(const struct declared_config *point)
{
	return point->capacity_w > 0.0 ? point->capacity_w : (double)NAN;
}

static double between(double low, double high, double way)
{
	return way > 0.0 ? low + way * (high - low) : low;
}

/* At one declared outdoor temperature, straight between two flow temperatures; points of
 * one outdoor temperature follow each other. */
static bool at_outdoor(
	const struct config *c, double outdoor_c, double flow_c, struct declared_at *ret)
{
	for (size_t i = 0; i < c->declared_count; i++) {
		const struct declared_config *low = &c->declared[i], *high = low;
		if (low->outdoor_c != outdoor_c)
			continue;
		if (low->flow_c < flow_c && i + 1 < c->declared_count)
			high = &c->declared[i + 1];
		if (high->outdoor_c != outdoor_c || low->flow_c > flow_c ||
			high->flow_c < flow_c)
			continue;
		double way =
			high->flow_c > low->flow_c
				? (flow_c - low->flow_c) / (high->flow_c - low->flow_c)
				: 0.0;
		ret->cop = between(low->cop, high->cop, way);
		ret->capacity_w = between(capacity_of(low), capacity_of(high), way);
		return true;
	}
	return false;
}

/* The nearest outdoor temperature on either side at which points lie around the flow. */
static bool among(
	const struct config *c, double outdoor_c, double flow_c, struct declared_at *ret)
{
	struct declared_at low = {0}, high = {0}, at = {0};
	double low_c = -INFINITY, high_c = INFINITY;
	for (size_t i = 0; i < c->declared_count; i++) {
		double here_c = c->declared[i].outdoor_c;
		if (!at_outdoor(c, here_c, flow_c, &at))
			continue;
		if (here_c <= outdoor_c && here_c >= low_c) {
			low_c = here_c;
			low = at;
		}
		if (here_c >= outdoor_c && here_c < high_c) {
			high_c = here_c;
			high = at;
		}
	}
	if (isinf(low_c) || isinf(high_c))
		return false;
	double way = high_c > low_c ? (outdoor_c - low_c) / (high_c - low_c) : 0.0;
	ret->cop = between(low.cop, high.cop, way);
	ret->capacity_w = between(low.capacity_w, high.capacity_w, way);
	return true;
}

static int nearest(const struct config *c, double outdoor_c, double flow_c)
{
	int near = -1;
	double least = INFINITY;
	for (size_t i = 0; i < c->declared_count; i++) {
		double outdoor = fabs(outdoor_c - c->declared[i].outdoor_c);
		double flow = fabs(flow_c - c->declared[i].flow_c);
		double off = hypot(outdoor / DECLARED_OUTDOOR_K, flow / DECLARED_FLOW_K);
		if (outdoor > DECLARED_OUTDOOR_K || flow > DECLARED_FLOW_K ||
			off >= least)
			continue;
		least = off;
		near = (int)i;
	}
	return near;
}

struct declared_at declared_at(const struct config *c, double outdoor_c, double flow_c)
{
	struct declared_at at = {.cop = (double)NAN,
		.capacity_w = (double)NAN,
		.near = nearest(c, outdoor_c, flow_c)};
	at.between = among(c, outdoor_c, flow_c, &at);
	if (at.between || at.near < 0)
		return at;
	const struct declared_config *p = &c->declared[at.near];
	at.cop = p->cop * cop_of_2019(flow_c - outdoor_c) /
		 cop_of_2019(p->flow_c - p->outdoor_c);
	at.capacity_w = capacity_of(p);
	return at;
}

/* ---- windows together ---- */

void declared_take(struct declared_tally *tally, const struct steady_window *window,
	const struct declared_at *at)
{
	double declared_j = window->sums.heat_j / at->cop;
	double ratio = declared_j / window->sums.electricity_j;
	tally->windows++;
	map_sums_add(&tally->sums, &window->sums);
	tally->declared_j += declared_j;
	tally->capacity_j += at->capacity_w * 60.0 * (double)window->minutes;
	tally->hz_minutes += window->frequency_hz * (double)window->minutes;
	tally->ratios += ratio;
	tally->squares += ratio * ratio;
}

bool declared_enough(const struct declared_tally *tally)
{
	return tally->windows >= DECLARED_LEAST_WINDOWS &&
	       tally->sums.minutes >= DECLARED_LEAST_MINUTES;
}

/* Twice the standard error of the mean of the windows' ratios (JCGM 100, 4.2.3). */
static double scatter(const struct declared_tally *tally)
{
	double n = (double)tally->windows, mean = tally->ratios / n;
	double variance = fmax(0.0, tally->squares - n * mean * mean) / (n - 1.0);
	return tally->windows > 1 ? COVERAGE_FACTOR * sqrt(variance / n) : (double)NAN;
}

struct declared_ratio declared_ratio(
	const struct declared_tally *tally, const struct question *q)
{
	struct declared_ratio ratio = {(double)NAN, (double)NAN};
	double cop = map_cop(&tally->sums);
	if (isnan(cop))
		return ratio;
	ratio.value = tally->declared_j / tally->sums.electricity_j;
	ratio.expanded = hypot(
		ratio.value * map_cop_expanded(&tally->sums, q) / cop, scatter(tally));
	return ratio;
}

void declared_compare(const struct config *config, const struct steady_window *windows,
	size_t count, struct declared *ret)
{
	*ret = (struct declared){.windows = count};
	ret->points = xcalloc(config->declared_count + 1, sizeof(*ret->points));
	for (size_t i = 0; i < count; i++) {
		const struct steady_window *w = &windows[i];
		struct declared_at at = declared_at(config, w->outdoor_c, w->flow_c);
		if (isnan(at.cop) || w->sums.electricity_j <= 0.0)
			continue;
		if (at.near < 0) {
			declared_take(&ret->between, w, &at);
			continue;
		}
		declared_take(&ret->points[at.near], w, &at);
		declared_take(&ret->all, w, &at);
	}
}

void declared_release(struct declared *declared)
{
	free(declared->points);
	*declared = (struct declared){0};
}

/* ---- the answer ---- */

static void put_ratio(const char *name, const struct declared_tally *tally,
	const struct question *q, struct insight_answer *answer)
{
	struct declared_ratio ratio = declared_ratio(tally, q);
	if (declared_enough(tally))
		insight_put(answer, name, "1", RATIO_DECIMALS, ratio.value,
			ratio.value - ratio.expanded, ratio.value + ratio.expanded);
}

static void say_few(const struct declared_config *point,
	const struct declared_tally *tally, struct insight_answer *answer)
{
	insight_lacks(answer,
		"%s: %zu windows of steady heating, %.0f minutes, within %g K of %g °C "
		"outside and %g K of %g °C flow; %d windows and %d minutes are wanted",
		point->name, tally->windows, tally->sums.minutes, DECLARED_OUTDOOR_K,
		point->outdoor_c, DECLARED_FLOW_K, point->flow_c, DECLARED_LEAST_WINDOWS,
		DECLARED_LEAST_MINUTES);
}

static bool say_lacks(const struct config *config, struct insight_answer *answer)
{
	const char *lacks = efficiency_map_lacks(config);
	if (config->declared_count == 0)
		insight_lacks(answer,
			"a section [declared NAME] for each point of the unit's data "
			"sheet: outdoor, flow_temperature, cop and capacity");
	if (lacks)
		insight_lacks(answer, "%s", lacks);
	if (!efficiency_map_of_air(config))
		insight_lacks(answer, "the air outside as the source of heat: points are "
				      "declared of the outdoor temperature");
	else if (config->plant.source_kind == SOURCE_NOT_SAID)
		insight_lacks(answer, "source_kind of [plant]: ratios hold if the unit "
				      "takes its heat from the air outside");
	return config->declared_count == 0 || lacks || !efficiency_map_of_air(config);
}

void declared_answer(const struct declared *declared, const struct question *q,
	struct insight_answer *answer)
{
	char name[48];
	if (say_lacks(q->config, answer))
		return;
	put_ratio("ratio", &declared->all, q, answer);
	put_ratio("ratio_between_points", &declared->between, q, answer);
	for (size_t i = 0; i < q->config->declared_count; i++) {
		const struct declared_config *point = &q->config->declared[i];
		const struct declared_tally *tally = &declared->points[i];
		(void)snprintf(name, sizeof(name), "ratio_%.40s", point->name);
		put_ratio(name, tally, q, answer);
		if (!declared_enough(tally))
			say_few(point, tally, answer);
		if (tally->windows > 0 && isnan(tally->capacity_j))
			insight_lacks(answer,
				"capacity of [declared %s]: without it nothing tells at "
				"which part of it the unit ran",
				point->name);
	}
}
