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
	NO_COP, /* an enum no_cop, unknown where there is a quotient */
	PAIRED_HEAT,
	PAIRED_ELECTRICITY,
	BRIDGED_HEAT,
	BRIDGED_ELECTRICITY,
	SPREAD_HEAT, /* by a register, evenly over time that is known, as a part */
	SPREAD_ELECTRICITY,
	PROVISIONAL_HEAT, /* of spans of registers that are not over, as a part */
	PROVISIONAL_ELECTRICITY,
	OBSERVED_S,
	HEAT_OBSERVED_S,
	ELECTRICITY_OBSERVED_S,
	PAIRED_S,
	BRIDGED_S,
	COOLING, /* this and all that follow are not answered of modes */
	COOLING_ELECTRICITY,
	UNPLACED_HEAT, /* counted by a register in sealed minutes, in no figure */
	UNPLACED_ELECTRICITY,
	COLUMN_COUNT
};

struct cell {
	bool known;
	int64_t value; /* in the column's last decimal, or milliseconds */
};

/* Why there is no quotient. */
enum no_cop {
	NO_COP_UNPAIRED,    /* heat and electricity were known in no minute together */
	NO_COP_LITTLE,      /* less electricity than LEAST_DENOMINATOR_J */
	NO_COP_COOLING,     /* heat was drawn from the house */
	NO_COP_SPREAD,      /* nobody knows which mode took the electricity */
	NO_COP_HEAT_SPREAD, /* nor which one gave the heat */
	NO_COP_WITHIN,      /* an immersion heater's is within another mode's */
	NO_COP_REST,     /* the mode makes no heat: it uses up or takes what is there */
	NO_COP_BOUNDARY, /* what meters feed makes no boundary: `check` says why */
	NO_COP_COUNT
};
extern const char *const no_cop_words[NO_COP_COUNT];

/* Of what is paired in a mode, the percentage that may be spread evenly before nothing is
 * said of the mode's quotient. Heatbook's own choice: a mode that takes half of the time
 * takes half of what is spread, be it 80 % of it in truth, so a tenth that is spread may
 * put the quotient off by several percent; up to there the uncertainty says so. */
#define SPREAD_MOST_PERCENT 10

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
/* Watts over the time for which they were known, NaN without any; a meter's. */
double figures_watts(int64_t j, int64_t ms);
double figures_meter_w(const struct energy_bucket *bucket, size_t meter);
/* All modes but cooling. */
struct energy_sum figures_sum(const struct energy_bucket *bucket);
/* What even spreading may have mistaken between these modes (bits) and all others, ±, J:
 * all that was spread in them may belong to the others, or all of theirs to them; of
 * electricity the boundary's. 0 where one of both sides has nothing that is spread, since
 * then no span held time of both. */
struct evenly {
	double heat_j, electricity_j;
};
#define MODES_OF_WHOLE (~(1u << MODE_COOLING))
struct evenly figures_evenly(
	const struct energy_bucket *bucket, unsigned modes, const struct question *q);
/* What spans of registers may mistake a bucket by, ±, J, by what is counted: those that
 * lie across its ends, and those that are not over, of all modes together (-1) or of the
 * part of one. `paired`: of time that is known. */
void figures_timing(const struct energy_bucket *bucket, int mode, bool paired,
	double ret_j[static COUNTED_MOST]);
/* Of the plant: all modes but cooling, and cooling beside. */
struct figures figures_whole(
	const struct energy_bucket *bucket, const struct question *q);
struct figures figures_mode(
	const struct energy_bucket *bucket, int mode, const struct question *q);
/* Of some time that was chosen by what the plant did, such as a run: as of the whole, but
 * what a register laid evenly is no measurement of it, as of a mode. */
struct figures figures_chosen(
	const struct energy_bucket *bucket, const struct question *q);
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
