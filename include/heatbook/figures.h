/*
 * Figures of /v1/energy: the columns, and the cells that one sum fills. Used by energy.c.
 */
#ifndef HEATBOOK_FIGURES_H
#define HEATBOOK_FIGURES_H

#include <heatbook/query.h>

#define LEAST_DENOMINATOR_J INT64_C(36000) /* 0.01 kWh */
#define KWH_DECIMALS        7
#define RATIO_DECIMALS      6

enum column {
	T,
	T_END,
	HEAT,
	ELECTRICITY,
	COP,
	COP_UNCERTAINTY,
	PAIRED_HEAT,
	PAIRED_ELECTRICITY,
	BRIDGED_HEAT,
	BRIDGED_ELECTRICITY,
	OBSERVED_S,
	HEAT_OBSERVED_S,
	ELECTRICITY_OBSERVED_S,
	PAIRED_S,
	BRIDGED_S,
	COOLING, /* this and the next are not answered of modes */
	COOLING_ELECTRICITY,
	COLUMN_COUNT
};

struct cell {
	bool known;
	int64_t value; /* in the column's last decimal, or milliseconds */
};

struct figures {
	struct cell cells[COLUMN_COUNT];
};

struct question {
	const struct config *config;
	struct boundary boundary;
	bool by_mode;
	bool preview; /* heat as an offset of the temperature pair would make it: … */
	double offset_k; /* … added to the difference, flow less return */
};

/* Joules in 1e-7 kWh, rounded. */
int64_t kwh_of(int64_t j);
/* All modes but cooling. */
struct energy_sum figures_sum(const struct energy_bucket *bucket);
/* Of the plant: all modes but cooling, and cooling beside. */
struct figures figures_whole(
	const struct energy_bucket *bucket, const struct question *q);
struct figures figures_mode(
	const struct energy_bucket *bucket, int mode, const struct question *q);
/* What the uncertainty of the quotient comes from most ("flow"); where there is none,
 * that of heat or, without any, of electricity; NULL where nothing is known. */
const char *figures_largest_term(
	const struct energy_bucket *bucket, const struct question *q);

/* A preview of what a correction of the pair would do, on sums: heat moves by S·offset,
 * within 0.02 % of heat of what a rebuild makes (0.3 K, modes unchanged). */
#define PREVIEW_OFFSET_MOST_K 10.0
/* "-0.3": a number of at most six digits and `most` either way; false when it is none. */
bool preview_offset_read(const char *text, double most, double *ret);
/* Is heat worked out from the pair? Else there is nothing to preview. */
bool preview_possible(const struct config *config);
void preview_offset(struct energy_answer *answer, double offset_k);

#endif
