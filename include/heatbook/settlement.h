/*
 * A span of an energy register that is over: what the register counted from one reading
 * to a later one, and how that is laid over the minutes between. The engine answers it
 * when the span closes; the store books it (store_settle()).
 *
 * Energies are whole joules, instants ms UTC, spans half-open. Sources: heatbook's own
 * rules; sums are exact integers.
 */
#ifndef HEATBOOK_SETTLEMENT_H
#define HEATBOOK_SETTLEMENT_H

#include <heatbook/base.h>

enum settlement_kind {
	/* The power channel gives the shape: a minute's share is j * S_k / sum of S. */
	SETTLEMENT_SHAPED,
	/* No usable power: evenly over the span. */
	SETTLEMENT_SPREAD,
	/* Neither power nor reports: what power did not see is laid evenly over the time
	 * in which it saw nothing. The amount is exact, its timing is not. */
	SETTLEMENT_BRIDGED,
	/* The register began anew, near nothing or elsewhere: nothing is added. */
	SETTLEMENT_RESET,
	SETTLEMENT_REPLACED,
	SETTLEMENT_KINDS
};

struct settlement {
	int64_t quantity; /* what it counts: config_counted() */
	int64_t made_ms;  /* of the reading that closed the span */
	int64_t kind;     /* enum settlement_kind */
	int64_t begin_ms, end_ms;
	int64_t j;            /* what the register counted; 0 for the last two kinds */
	int64_t from_j, to_j; /* the register at both ends */
	int64_t first;        /* 1: begins with the first reading ever, amid a step */
	/* By power, whole joules, in the minutes that lie in it (and perhaps in its
	 * last), and for how long it was known: whoever keeps it sees that a share has
	 * changed. */
	int64_t power_j, power_ms;
	int64_t head_j;  /* by power, in the first minute, from begin on … */
	int64_t head_ms; /* … and for how long power was known there */
	int64_t tail_j;  /* the same of the last minute, up to the end; 0 where */
	int64_t tail_ms; /* the span has only one minute or ends with it */
};

/* A span that is not over, by the last reading that was believed: the minutes since it
 * began hold what power says, and are booked anew when it closes. */
struct open_span {
	int64_t quantity; /* config_counted() */
	int64_t begin_ms, last_ms;
	int64_t j;                 /* what the register counted between, … */
	int64_t power_j, power_ms; /* … what power said, and for how long it was known */
};

typedef void settlement_sink(const struct settlement *settlement, void *context);

/* Whole joules out of a sum that a growing weight divides: the k-th share is
 * share(j, C_k, W) - share(j, C_k-1, W), C cumulative, and all shares add up to j. */
int64_t settlement_share(int64_t j, int64_t weight, int64_t whole);

#endif
