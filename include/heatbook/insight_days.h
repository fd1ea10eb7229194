/*
 * A span's local days, each reduced to what questions behind the numbers ask of it: heat
 * and electricity by mode, how much of it was known, how warm it was outside and within.
 * Asked in pieces, so that memory stays small beside the history's length.
 */
#ifndef HEATBOOK_INSIGHT_DAYS_H
#define HEATBOOK_INSIGHT_DAYS_H

#include <heatbook/boundary.h>
#include <heatbook/evidence.h>
#include <heatbook/mode.h>
#include <heatbook/query.h>

/* What was booked to one mode. */
struct insight_part {
	int64_t ms;      /* time in the mode */
	int64_t heat_j;  /* net, as the heat source says it; without immersion */
	int64_t heat_ms; /* of which heat was known */
	/* Of heat_j, what a register laid evenly over time: nobody knows in which mode it
	 * flowed. */
	int64_t heat_spread_j;
	/* Of minutes in which heat and all meters of the boundary were known, with what
	 * the boundary adds to heat and takes off it. */
	int64_t paired_heat_j, paired_electricity_j, paired_ms;
	double paired_sensitivity_j_per_k;
};

struct insight_day {
	int64_t start_ms, end_ms;
	struct insight_part modes[MODE_COUNT];
	/* All modes but cooling; observed_ms of all. */
	struct insight_part whole;
	int64_t observed_ms;
	int64_t meter_j[METERS_MOST], meter_ms[METERS_MOST]; /* likewise */
	/* In it, by registers over time of which nothing else is known. */
	int64_t bridged_heat_j, bridged_electricity_j;
	/* Means over the known time of the first channel of the role, and that time; NaN
	 * and 0 where there is none. */
	double outdoor_c, room_c;
	int64_t outdoor_ms, room_ms;
	/* What its minutes say, where it was asked for. */
	bool looked; /* else nothing was looked at, whatever there was */
	struct evidence_list evidence;
};

struct insight_days {
	const struct config *config;
	struct boundary boundary;
	int64_t from_ms, to_ms; /* whole local days, but for what is not derived yet */
	struct insight_day *days;
	size_t count;
	int64_t version; /* of the data */
	struct older_days older;
};

/* What was for the rooms: heating, overrun, freeze protection and defrosts, net. */
struct insight_part insight_space(const struct insight_day *day);
/* Its heat, J. */
int64_t insight_space_heat_j(const struct insight_day *day);
/* Time as a share of the day. */
double insight_share(const struct insight_day *day, int64_t known_ms);

struct store;
/* Cuts a span to whole local days, no further than rows go: where there are none of it,
 * to nothing at the day on which it was asked to begin. 0, or store_row_span()'s error.
 */
int insight_span(struct store *store, int64_t *from_ms, int64_t *to_ms);
/* Days that touch [from, to), no further than rows go: none where there are no rows.
 * `boundary` as boundary_find() gives it, or without meters. 0, -errno or a code of
 * query.h. */
int insight_days_ask(struct store *store, int64_t from_ms, int64_t to_ms,
	const struct boundary *boundary, struct insight_days *ret);
/* Adds the evidence of these days. What was not looked at yet is looked at now, the last
 * days first and as many as `budget` of them. */
int insight_days_look(struct store *store, struct insight_days *days, size_t budget);
void insight_days_release(struct insight_days *days);

/* For whoever reduces days otherwise: each local day's sums in turn, no more than a year
 * of them in memory. */
typedef void energy_day_visit(const struct energy_bucket *day, void *context);
int energy_days(struct store *store, int64_t from_ms, int64_t to_ms,
	const struct boundary *boundary, energy_day_visit *visit, void *context,
	int64_t *ret_version);
/* Looks at a day whose minutes are still there, for evidence that is not kept; false in
 * *ret_looked where they are gone. */
int evidence_look(struct store *store, int64_t start_min, int64_t end_min,
	struct evidence_list *list, bool *ret_looked);

#endif
