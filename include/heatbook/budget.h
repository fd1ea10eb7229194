/*
 * The uncertainty budget of figures at a boundary: the plant's instruments and their
 * limits brought together with the sums of a bucket.
 */
#ifndef HEATBOOK_BUDGET_H
#define HEATBOOK_BUDGET_H

#include <heatbook/figures.h>
#include <heatbook/uncertainty.h>

/* Of the ratio of the paired sums; `across_j` (by what is counted) is what its ends may
 * be mistaken by, `evenly` what its modes may be; either may be NULL. False, and *ret is
 * not written, where there is no ratio.
 */
bool budget_paired(const struct energy_sum *sum, const double *across_j,
	const struct evenly *evenly, const struct question *q, struct uncertainty *ret);
/* Of heat and electricity as the plant's totals have them, paired or not. */
struct uncertainty budget_whole(const struct energy_sum *sum, const double *across_j,
	const struct evenly *evenly, const struct question *q);

#endif
