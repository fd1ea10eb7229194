/*
 * What findings are worked out of, as it is read from a store. Not for other rooms.
 */
#ifndef INSIGHT_LOOK_H
#define INSIGHT_LOOK_H

#include "finding.h"

/* A year shows what was usual, and where most faults began. */
#define LOOK_BACK_DAYS 400

struct asking {
	struct store *store;
	const struct config *config;
	int64_t since_ms;       /* looked back to this, */
	int64_t from_ms, to_ms; /* asked for this */
	int64_t rows_end_ms;
	bool rows_precede, rows_follow;
	struct boundary boundary;
	struct finding_day *days;
	size_t count;
	struct evidence_list *evidence; /* by day */
	size_t at;
	struct event *events;
	size_t event_count, event_room;
};

/* Days of [since_ms, to_ms), their evidence and events; days that were not looked at yet
 * are looked at now, as many as `budget` of them. 0, -errno or a code of query.h. */
int asking_read(struct asking *asking, size_t budget, int64_t *ret_version);
/* From the first to the last row or event of an instrument: where all that came was
 * refused there are no rows, and yet something to say. STORE_NONE where nothing is. */
int asking_told_span(struct asking *asking, int64_t *ret_first_ms, int64_t *ret_end_ms);
void asking_release(struct asking *asking);

#endif
