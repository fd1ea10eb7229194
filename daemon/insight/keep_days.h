/*
 * Days whose minutes were looked at, kept together: one transaction for all of them.
 */
#ifndef INSIGHT_KEEP_DAYS_H
#define INSIGHT_KEEP_DAYS_H

#include <heatbook/evidence.h>

/* Makes what is to be kept of a day, and puts it. */
typedef int day_keep(
	struct store *store, const struct day_span *day, const void *context);
/* Days that lack it, at most `most`. */
typedef int days_lacking(struct store *store, const void *context, struct day_span *ret,
	size_t most, size_t *ret_count);

/* All of these days or none. */
int keep_days(struct store *store, const struct day_span *days, size_t count,
	day_keep *keep, const void *context);
/* Those that lack it, at most `most`; *ret_done how many (0: none is left). What lacks it
 * is seen again within the transaction, and counts. */
int keep_lacking(struct store *store, days_lacking *lacking, day_keep *keep,
	const void *context, size_t most, size_t *ret_done);

#endif
