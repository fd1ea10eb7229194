/*
 * Bins of days added up, and what they come to. See efficiency_map.h.
 *
 * A season by own bins is no SCOP: bins are of the field, at the load, the flow
 * temperatures and the boundary that the plant had in them. What a reference climate adds
 * is that seasons of different weather, and houses, are weighted alike.
 */
#include <heatbook/efficiency_map.h>

#include <heatbook/balance.h>
#include <heatbook/budget.h>
#include <heatbook/cop_curve.h>

#include <math.h>
#include <stdlib.h>

/* ---- sums ---- */

void map_sums_add(struct map_sums *sums, const struct map_sums *part)
{
	sums->minutes += part->minutes;
	sums->heat_j += part->heat_j;
	sums->electricity_j += part->electricity_j;
	sums->sensitivity_j_per_k += part->sensitivity_j_per_k;
	sums->ideal_j += part->ideal_j;
	sums->lifted_j += part->lifted_j;
}

static struct map_sums sums_of(const struct evidence *item)
{
	bool lifted = item->subject != MODE_DEFROST && !isnan(item->values[5]);
	return (struct map_sums){.minutes = (double)item->minutes,
		.heat_j = item->values[2],
		.electricity_j = item->values[3],
		.sensitivity_j_per_k = item->values[4],
		.ideal_j = lifted ? item->values[5] : 0.0,
		.lifted_j = lifted ? item->values[3] : 0.0};
}

/* A year has some hundred bins, and a day's follow each other: the search from the end is
 * short. */
static struct map_bin *bin_of(
	struct efficiency_map *map, enum mode mode, double outdoor_c, double flow_c)
{
	for (size_t i = map->count; i-- > 0;) {
		struct map_bin *bin = &map->bins[i];
		if (bin->mode == mode && bin->outdoor_c == outdoor_c &&
			bin->flow_c == flow_c)
			return bin;
	}
	if (map->count == map->room) {
		map->room = map->room ? 2 * map->room : 64;
		map->bins = xrealloc(map->bins, map->room, sizeof(*map->bins));
	}
	map->bins[map->count] =
		(struct map_bin){.mode = mode, .outdoor_c = outdoor_c, .flow_c = flow_c};
	return &map->bins[map->count++];
}

void efficiency_map_take(struct efficiency_map *map, const struct evidence *item)
{
	if (item->kind != EVIDENCE_CONDITIONS)
		return;
	bool defrost = item->subject == MODE_DEFROST;
	enum mode mode = (enum mode)(defrost ? (int)item->values[5] : item->subject);
	struct map_sums sums = sums_of(item);
	if (isnan(item->values[0])) {
		map_sums_add(&map->unplaced, &sums);
		return;
	}
	struct map_bin *bin = bin_of(map, mode, item->values[0], item->values[1]);
	map_sums_add(defrost ? &bin->defrost : &bin->work, &sums);
}

static int compare(double a, double b)
{
	return (a > b) - (a < b);
}

static int by_conditions(const void *left, const void *right)
{
	const struct map_bin *a = left, *b = right;
	if (a->mode != b->mode)
		return a->mode < b->mode ? -1 : 1;
	int by_outdoor = compare(a->outdoor_c, b->outdoor_c);
	return by_outdoor ? by_outdoor : compare(a->flow_c, b->flow_c);
}

void efficiency_map_sort(struct efficiency_map *map)
{
	if (map->count > 0)
		qsort(map->bins, map->count, sizeof(*map->bins), by_conditions);
}

void efficiency_map_release(struct efficiency_map *map)
{
	free(map->bins);
	*map = (struct efficiency_map){0};
}

struct map_sums efficiency_map_sum(
	const struct efficiency_map *map, enum mode mode, bool defrosts)
{
	struct map_sums sums = {0};
	for (size_t i = 0; i < map->count; i++) {
		if (map->bins[i].mode != mode)
			continue;
		map_sums_add(&sums, &map->bins[i].work);
		if (defrosts)
			map_sums_add(&sums, &map->bins[i].defrost);
	}
	return sums;
}

/* ---- quotients ---- */

double map_cop(const struct map_sums *sums)
{
	return sums->electricity_j < (double)LEAST_DENOMINATOR_J
		       ? (double)NAN
		       : sums->heat_j / sums->electricity_j;
}

double map_second_law(const struct map_sums *sums)
{
	return sums->lifted_j < (double)LEAST_DENOMINATOR_J
		       ? (double)NAN
		       : sums->ideal_j / sums->lifted_j;
}

static size_t widest_meter(const struct question *q)
{
	size_t widest = 0;
	double most = -1.0;
	for (size_t m = 0; m < q->config->meter_count; m++) {
		double limit = q->config->meters[m].limit_percent;
		if (q->boundary.meters & 1u << m && limit > most) {
			widest = m;
			most = limit;
		}
	}
	return widest;
}

double map_cop_expanded(const struct map_sums *sums, const struct question *q)
{
	struct uncertainty u;
	struct energy_sum sum = {.paired_heat_j = llround(sums->heat_j),
		.paired_electricity_j = llround(sums->electricity_j),
		.paired_sensitivity_j_per_k = sums->sensitivity_j_per_k};
	if (q->config->meter_count == 0 || isnan(map_cop(sums)))
		return (double)NAN;
	sum.paired_meter_j[widest_meter(q)] = sum.paired_electricity_j;
	return budget_paired(&sum, NULL, NULL, q, &u) ? u.ratio_expanded : (double)NAN;
}

/* ---- a reference climate ---- */

static struct map_sums own_of(const struct efficiency_map *map, int outdoor_c)
{
	struct map_sums own = {0};
	for (size_t i = 0; i < map->count; i++) {
		const struct map_bin *bin = &map->bins[i];
		if (bin->mode != MODE_HEATING || lround(bin->outdoor_c) != outdoor_c)
			continue;
		map_sums_add(&own, &bin->work);
		map_sums_add(&own, &bin->defrost);
	}
	return own;
}

struct map_season efficiency_map_season(
	const struct efficiency_map *map, enum en14825_climate climate)
{
	const struct en14825_season *reference = en14825_season(climate);
	struct map_season season = {.climate = climate, .count = reference->count};
	struct en14825_sums covered = {0};
	double hours = 0.0, heat = 0.0, covered_hours = 0.0;
	for (size_t i = 0; i < reference->count; i++) {
		struct map_reference *bin = &season.bins[i];
		*bin = (struct map_reference){.outdoor_c = reference->bins[i].outdoor_c,
			.hours = reference->bins[i].hours,
			.load = en14825_load(reference, reference->bins[i].outdoor_c),
			.own = own_of(map, reference->bins[i].outdoor_c)};
		double cop = map_cop(&bin->own);
		bin->counts = bin->own.minutes >= MAP_LEAST_MINUTES &&
			      bin->own.heat_j >= MAP_LEAST_HEAT_J && cop > 0.0;
		hours += bin->hours;
		heat += bin->hours * bin->load;
		if (!bin->counts)
			continue;
		covered_hours += bin->hours;
		en14825_add(&covered, bin->hours, bin->load, INFINITY, cop);
	}
	season.hours_share = covered_hours / hours;
	season.heat_share = covered.heat_kwh / heat;
	season.ratio = covered.electricity_kwh > 0.0
			       ? covered.heat_kwh / covered.electricity_kwh
			       : (double)NAN;
	return season;
}

/* ---- the answer ---- */

const char *efficiency_map_lacks(const struct config *config)
{
	struct boundary boundaries[BOUNDARIES_MOST];
	if (config_role(config, ROLE_OUTDOOR_TEMPERATURE) < 0)
		return "a channel outdoor_temperature: without it nothing tells under "
		       "which conditions the unit worked";
	if (config_role(config, ROLE_FLOW_TEMPERATURE) < 0)
		return "a channel flow_temperature: without it nothing tells under which "
		       "conditions the unit worked";
	if (!heat_is_told(config))
		return "heat by the minute: heat_power, or flow_rate and both water "
		       "temperatures";
	if (!unit_is_told(config))
		return "a meter with power that feeds the compressor and no immersion "
		       "heater: a register alone does not tell when it was drawn";
	if (boundary_list(config, boundaries) == 0)
		return "a meter that feeds the unit alone, or with its pump";
	return NULL;
}

bool efficiency_map_of_air(const struct config *config)
{
	return config->plant.source_kind == SOURCE_AIR ||
	       config->plant.source_kind == SOURCE_NOT_SAID;
}

static void put_share(
	struct insight_answer *answer, const char *name, double value, double relative)
{
	insight_put(answer, name, "1", RATIO_DECIMALS, value, value * (1.0 - relative),
		value * (1.0 + relative));
}

static void put_mode(const struct efficiency_map *map, enum mode mode,
	const char *const names[static 3], const struct question *q,
	struct insight_answer *answer)
{
	struct map_sums work = efficiency_map_sum(map, mode, false);
	struct map_sums all = efficiency_map_sum(map, mode, true);
	double of_work = map_cop_expanded(&work, q) / map_cop(&work);
	put_share(answer, names[0], map_cop(&work), of_work);
	put_share(answer, names[1], map_cop(&all),
		map_cop_expanded(&all, q) / map_cop(&all));
	if (efficiency_map_of_air(q->config))
		put_share(answer, names[2], map_second_law(&work), of_work);
}

/* Which of the climate's bins lack evidence, as "-10 to -7, 14 °C". */
static void add_open_bins(const struct map_season *season, struct buffer *text)
{
	for (size_t i = 0; i < season->count;) {
		size_t to = i;
		while (to < season->count && !season->bins[to].counts)
			to++;
		if (to > i)
			buffer_addf(text, "%s%d", text->length ? ", " : "",
				season->bins[i].outdoor_c);
		if (to > i + 1)
			buffer_addf(text, " to %d", season->bins[to - 1].outdoor_c);
		i = to > i ? to : i + 1;
	}
}

static void put_season(const struct efficiency_map *map, const struct map_season *season,
	const struct question *q, struct insight_answer *answer)
{
	struct map_sums all = efficiency_map_sum(map, MODE_HEATING, true);
	struct buffer open = {0};
	if (season->heat_share >= MAP_LEAST_SHARE) {
		put_share(answer, "season_by_own_bins", season->ratio,
			map_cop_expanded(&all, q) / map_cop(&all));
		return;
	}
	add_open_bins(season, &open);
	insight_lacks(answer,
		"a season by own bins: those of the %s climate with an hour of heating "
		"and 1 kWh of heat hold %.0f %% of its heat, and %.0f %% are wanted; "
		"there is too little at %s °C outside",
		en14825_climate_name(season->climate), 100.0 * season->heat_share,
		100.0 * MAP_LEAST_SHARE, buffer_text(&open));
	buffer_release(&open);
}

static void say_source(const struct config *config, struct insight_answer *answer)
{
	if (config->plant.source_kind == SOURCE_NOT_SAID)
		insight_lacks(answer,
			"source_kind of [plant]: second-law fraction, band and season "
			"hold if the unit takes its heat from the air outside");
	if (!efficiency_map_of_air(config))
		insight_lacks(answer,
			"the air outside as the source of heat: without it there is no "
			"second-law fraction, band or season by the outdoor temperature");
}

void efficiency_map_answer(const struct efficiency_map *map,
	const struct map_season *season, const struct question *q,
	struct insight_answer *answer)
{
	static const char *const heating[] = {
		"heating_cop", "heating_cop_with_defrosts", "heating_second_law"};
	static const char *const hot_water[] = {
		"hot_water_cop", "hot_water_cop_with_defrosts", "hot_water_second_law"};
	const char *lacks = efficiency_map_lacks(q->config);
	if (lacks) {
		insight_lacks(answer, "%s", lacks);
		return;
	}
	if (map->count == 0) {
		insight_lacks(answer,
			"days that are over, in which the unit worked while heat, its "
			"electricity and both temperatures were known");
		return;
	}
	put_mode(map, MODE_HEATING, heating, q, answer);
	put_mode(map, MODE_HOT_WATER, hot_water, q, answer);
	if (efficiency_map_of_air(q->config))
		put_season(map, season, q, answer);
	say_source(q->config, answer);
}
