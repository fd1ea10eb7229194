/*
 * What an answer of insight is made of: values with their intervals, or what is missing
 * to give them. Plain data between the pure computations, the HTTP face and the report.
 */
#ifndef HEATBOOK_INSIGHT_H
#define HEATBOOK_INSIGHT_H

#include <heatbook/base.h>

/* A figure and where it lies: [low, high] holds it with 95 % confidence, or as the
 * answer's own words say. NaN where an end is not known: both, where it has no
 * interval. */
struct insight_value {
	char name[48];
	double value, low, high;
	const char *ucum; /* its unit, "1" for a plain number; static */
	int decimals;     /* that are shown */
};

/* With something missing there may be values, too: those that can be given without it. */
struct insight_answer {
	struct insight_value *values;
	size_t count;
	char **missing; /* sentences: what there is too little of, and how much it takes
			 */
	size_t missing_count;
};

/* Adds a value; it is no value where `value` is not finite. */
void insight_put(struct insight_answer *answer, const char *name, const char *ucum,
	int decimals, double value, double low, double high);
/* Adds a value that is known no better than by itself: counts, dates, what was seen. */
void insight_put_seen(struct insight_answer *answer, const char *name, const char *ucum,
	int decimals, double value);
/* By its name, or NULL. */
const struct insight_value *insight_find(
	const struct insight_answer *answer, const char *name);
/* Adds a sentence about what is missing. */
void insight_lacks(struct insight_answer *answer, const char *format, ...)
	PRINTF_LIKE(2, 3);
void insight_release(struct insight_answer *answer);

#endif
