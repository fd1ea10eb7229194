/*
 * Efficiency against conditions: what days' evidence (EVIDENCE_CONDITIONS) adds up to, by
 * outdoor and flow temperature, and what it comes to. Ratios of sums throughout; pure.
 */
#ifndef HEATBOOK_EFFICIENCY_MAP_H
#define HEATBOOK_EFFICIENCY_MAP_H

#include <heatbook/en14825.h>
#include <heatbook/evidence.h>
#include <heatbook/figures.h>
#include <heatbook/insight.h>

/* Sums of minutes; `ideal_j` and `lifted_j` (the electricity of both machines) are of
 * those with a lift of COP_LEAST_LIFT_K and more. */
struct map_sums {
	double minutes, heat_j, electricity_j, sensitivity_j_per_k;
	double ideal_j, lifted_j;
};

/* A bin about its middle. What defrosts of it took is beside it, heat below 0. */
struct map_bin {
	enum mode mode; /* heating or hot water */
	double outdoor_c, flow_c;
	struct map_sums work, defrost;
};

struct efficiency_map {
	struct map_bin *bins; /* by mode, outdoor and flow temperature, once sorted */
	size_t count, room;
	struct map_sums unplaced; /* a temperature was not known */
};

/* Takes what a day's evidence says of conditions; the rest of it is passed over. */
void efficiency_map_take(struct efficiency_map *map, const struct evidence *item);
void efficiency_map_sort(struct efficiency_map *map);
void efficiency_map_release(struct efficiency_map *map);

void map_sums_add(struct map_sums *sums, const struct map_sums *part);
/* A mode's bins together, with their defrosts or without. */
struct map_sums efficiency_map_sum(
	const struct efficiency_map *map, enum mode mode, bool defrosts);
/* Heat over electricity; NaN below the least denominator that /v1/energy has. */
double map_cop(const struct map_sums *sums);
/* The ideal machine's electricity over the unit's, both for the heat at a lift of
 * COP_LEAST_LIFT_K and more: the second-law fraction. NaN where there was none. */
double map_second_law(const struct map_sums *sums);
/* Half-width of the quotient's interval (k = 2), by the instruments of the configuration;
 * NaN where there is no quotient. All electricity counts as that of one meter, the one
 * with the widest limit: what several took is not told apart. */
double map_cop_expanded(const struct map_sums *sums, const struct question *question);

/* What of a bin of a reference climate the plant has seen. */
struct map_reference {
	int outdoor_c, hours;
	double load;         /* as a part of the design's */
	struct map_sums own; /* heating, with its defrosts */
	bool counts;         /* it is enough for a quotient */
};

/* A bin counts with an hour of heating and a kilowatt-hour of heat (own judgement). */
#define MAP_LEAST_MINUTES 60.0
#define MAP_LEAST_HEAT_J  3.6e6
/* Bins that count must hold so much of the climate's heat before a season's quotient is
 * told; own judgement: what is left, mild hours as a rule, moves it by a few percent. */
#define MAP_LEAST_SHARE 0.8

/* Own bins laid over a climate of EN 14825: heat in its hours by its load, electricity by
 * each bin's own quotient. Of bins that do not count nothing is in it. */
struct map_season {
	enum en14825_climate climate;
	struct map_reference bins[EN14825_BINS_MOST];
	size_t count;
	double hours_share, heat_share; /* of the climate's, in bins that count */
	double ratio;                   /* NaN: none counts */
};
struct map_season efficiency_map_season(
	const struct efficiency_map *map, enum en14825_climate climate);

/* Why nothing is said of bins at all, or NULL: what the configuration lacks. */
const char *efficiency_map_lacks(const struct config *config);
/* Whether the air outside is what heat is taken from, or may be: else neither lift nor
 * season by the outdoor temperature means anything. */
bool efficiency_map_of_air(const struct config *config);

/* The answer of /v1/efficiency-map. */
void efficiency_map_answer(const struct efficiency_map *map,
	const struct map_season *season, const struct question *question,
	struct insight_answer *answer);

#endif
