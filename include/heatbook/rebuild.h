/*
 * Rebuilding: what was derived of a span, or of everything, is derived anew from the
 * journal under the mapping in force: every UTC day that the span touches, each in one
 * transaction, so that readers never see half a day and each day is of one mapping.
 *
 * Whoever holds the deriver's lock derives. Where that is another process (a running
 * daemon, an import) the span is marked and waited for, provided that it has the same
 * mapping in force; where nobody does, it is derived here.
 *
 * The state carried into a span whose day before was made by another mapping is made
 * anew, too, by feeding the two days before without writing their rows: so that a channel
 * that is new holds what it said the evening before.
 */
#ifndef HEATBOOK_REBUILD_H
#define HEATBOOK_REBUILD_H

#include <heatbook/config.h>
#include <heatbook/deriver.h>
#include <heatbook/progress.h>

/* Ends of everything. */
#define REBUILD_FIRST INT64_MIN
#define REBUILD_LAST  INT64_MAX

/* Asked between days, after the progress was told: true ends the rebuild in good order.
 */
typedef bool rebuild_stop(void *context);

struct rebuild_request {
	int64_t from_ms, to_ms; /* half open */
	bool sealed; /* sealed days as well: what the journal still holds of them */
	struct progress_to progress;
	rebuild_stop *stop; /* may be NULL */
	void *context;
};

struct rebuild_report {
	int64_t days;  /* derived */
	int64_t left;  /* days that are still to be derived, where it was ended */
	bool went_on;  /* it took up one that was broken off */
	bool by_other; /* another process derived */
	bool ended;    /* it was stopped */
	struct sealed_days sealed; /* they kept their rows */
};

/* 0, or -errno / a store's code with the failure and its remedy in `why`. What was ended
 * or broken off goes on when it is asked for again, and meanwhile with whoever derives
 * next. */
int rebuild_span(const struct config *config, const struct rebuild_request *request,
	struct rebuild_report *ret, char why[static 320]);

#endif
