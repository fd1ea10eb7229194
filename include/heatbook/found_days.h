/*
 * What was found when a local day ended: by kind, whether it was so on that day or still
 * lasted, as that day and those before it say and no later one, so that what is true of a
 * day stays so while rows do. What an owner is told of (notice.h) goes by it.
 *
 * A day's findings are told from six hours after its end on: by then its rows are
 * committed, what came late is there, and nobody is woken.
 */
#ifndef HEATBOOK_FOUND_DAYS_H
#define HEATBOOK_FOUND_DAYS_H

#include <heatbook/base.h>
#include <heatbook/finding_kind.h>

#include <stdint.h>

#define FOUND_TOLD_MIN  360
#define FOUND_DAYS_KEPT 8
#define FOUND_DAYS_MORE 100

struct found_day {
	int64_t end_min; /* a local midnight; INT64_MIN: of no day */
	uint64_t open;   /* a bit for each kind that has days of its own */
	bool known;      /* something was on that day; else what is not open may be */
};

/* Days that were asked for last, each found once while its rows stay, and what is read
 * for those that follow. */
struct found_window;
struct found_days {
	struct found_day kept[FOUND_DAYS_KEPT]; /* each in its place */
	struct found_window *window;            /* or NULL */
};

void found_days_begin(struct found_days *found);
void found_days_release(struct found_days *found);
/* The end of the day whose findings are told in a minute; *ret_until: the minute from
 * which on it is the next one's. */
int64_t found_day_told(int64_t minute, int64_t *ret_until);
/* The day that ends then. Where it is not kept, what so many days more need is read with
 * it, those after it, or before it (< 0), which are asked for next; FOUND_DAYS_MORE at
 * most. Days without evidence are looked at, as many as `budget` of them;
 * FOUND_DAYS_WAIT: more of them are left, which is no state to tell, and cheap to be told
 * each second. Else -errno or a code of query.h. */
enum { FOUND_DAYS_WAIT = 17 };
struct store;
int found_days_ask(struct found_days *found, struct store *store, int64_t end_min,
	int more, size_t budget, struct found_day *ret);
/* How days are asked for that follow each other. */
struct found_asking {
	struct found_days *days;
	int more;
	size_t budget;
};
/* Rows from this minute on may be others now. */
void found_days_revised(struct found_days *found, int64_t minute);

#endif
