/*
 * The noted changes of a plant, each held against the days around it: a year at most on
 * either side, and no further than the next change.
 */
#ifndef HEATBOOK_CHANGES_H
#define HEATBOOK_CHANGES_H

#include <heatbook/comparison.h>
#include <heatbook/insight_days.h>

#define CHANGES_DAYS 365 /* of either side at most */

/* Days of one side's span, beside comparison_use. */
struct change_days {
	size_t days;       /* of which there are rows */
	size_t little;     /* known for less than 95 % of heat or electricity, */
	size_t no_weather; /* or of the air outside, on it or on the day before */
};

struct change_judged {
	const struct change_config *change;
	int64_t from_ms, to_ms; /* days that were looked at, whole ones */
	struct change_days before, after;
	struct comparison comparison;
	struct insight_answer answer;
};

struct changes {
	struct change_judged *items;
	size_t count;
	int64_t from_ms, to_ms;
	int64_t version;
	struct older_days older;
};

/* All, or the one with this index. */
#define CHANGES_ALL SIZE_MAX
/* The days that it takes: a day more than is looked at, for its weather; none (both ends
 * are now) where no change is noted. `now_ms` ends what may be compared: only days that
 * are over by then. */
void changes_span(const struct config *config, size_t which, int64_t now_ms,
	int64_t *ret_from_ms, int64_t *ret_to_ms);
/* Of these days, which may be fewer. Pure. */
void changes_judge(const struct insight_days *days, size_t which, int64_t now_ms,
	struct changes *ret);
/* Asks the store for them. 0, -errno or a code of query.h. */
int changes_ask(struct store *store, const struct boundary *boundary, size_t which,
	int64_t now_ms, struct changes *ret);
void changes_release(struct changes *changes);
/* The first instant of the local date that a comparison's day number is of. */
int64_t change_day_start(int64_t day);

#endif
