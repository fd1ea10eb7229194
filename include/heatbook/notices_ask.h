/*
 * Each time that a notice was raised within a span, and where all of them stand at its
 * end: what /v1/notices answers and the report tells.
 */
#ifndef HEATBOOK_NOTICES_ASK_H
#define HEATBOOK_NOTICES_ASK_H

#include <heatbook/notices.h>

/* One time that a notice was raised. Minutes. */
struct notice_time {
	size_t notice;
	int64_t since, until; /* INT64_MAX: it lasts */
	bool before;          /* it began then or earlier */
};

struct notice_times {
	int64_t from, to;          /* minutes */
	struct notices *notices;   /* as they stand at the end */
	struct notice_time *items; /* that touch the span, in the order of their begin */
	size_t count;
	size_t counts[NOTICES_MOST]; /* of each notice */
};

/* Of a span whose minutes are closed, by turns of so many days, and in so many
 * milliseconds: QUERY_TOO_SLOW after these. Else as notices_turn() has it; `ret` is to be
 * released also of a failure. */
int notice_times_ask(struct store *store, const struct config *config, int64_t from_ms,
	int64_t to_ms, size_t days, int64_t patience_ms, struct notice_times *ret);
void notice_times_release(struct notice_times *times);

#endif
