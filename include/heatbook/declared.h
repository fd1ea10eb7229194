/*
 * What the unit's maker declares, held against windows of steady heating. Pure.
 *
 * Near a declared point (DECLARED_OUTDOOR_K, DECLARED_FLOW_K) and between such points
 * what is declared of a window's own temperatures is interpolated: straight by the flow
 * temperature at each of the two outdoor temperatures beside it, straight between these
 * (bilinear where points form a rectangle). Near a point that has no others around it,
 * the point's quotient is moved by the slope of a published fit.
 */
#ifndef HEATBOOK_DECLARED_H
#define HEATBOOK_DECLARED_H

#include <heatbook/efficiency_map.h>

#define DECLARED_OUTDOOR_K 1.0
#define DECLARED_FLOW_K    1.5
/* So much is wanted of a point before it is answered; own judgement. */
#define DECLARED_LEAST_WINDOWS 5
#define DECLARED_LEAST_MINUTES 120

struct steady_window {
	int64_t start_min, minutes;
	double outdoor_c, flow_c, frequency_hz;
	struct map_sums sums;
};
struct steady_window steady_window_of(const struct evidence *item);

/* What is declared at these temperatures; NaN beyond the points, and not near any.
 * `capacity` of points without one is NaN. */
struct declared_at {
	double cop, capacity_w;
	bool between; /* interpolated among points around it */
	int near;     /* the nearest point within the tolerances, or -1 */
};
struct declared_at declared_at(
	const struct config *config, double outdoor_c, double flow_c);

/* Windows near one point, or between points, together. */
struct declared_tally {
	size_t windows;
	struct map_sums sums;
	double declared_j; /* electricity that their heat takes as declared */
	double capacity_j; /* heat that is declared for their time; NaN: not declared */
	double hz_minutes;
	double ratios, squares; /* of the windows' own ratios */
};
void declared_take(struct declared_tally *tally, const struct steady_window *window,
	const struct declared_at *at);
bool declared_enough(const struct declared_tally *tally);

/* Measured over declared: as a ratio of sums, declared electricity over the unit's for
 * the same heat; its interval holds instruments' limits (k = 2) and how windows differ
 * (twice the standard error of their mean), not what the declared figure itself may be
 * off by. */
struct declared_ratio {
	double value, expanded;
};
struct declared_ratio declared_ratio(
	const struct declared_tally *tally, const struct question *q);

struct declared {
	struct declared_tally *points; /* as the configuration's */
	struct declared_tally between; /* windows near none of them */
	struct declared_tally all;     /* near any */
	size_t windows;                /* of steady heating at all */
};
/* `ret` is to be released. */
void declared_compare(const struct config *config, const struct steady_window *windows,
	size_t count, struct declared *ret);
void declared_release(struct declared *declared);
/* The answer of /v1/declared. */
void declared_answer(const struct declared *declared, const struct question *q,
	struct insight_answer *answer);

#endif
