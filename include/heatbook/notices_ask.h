/*
 * Each time that a notice was raised within a span, and where all of them stand at its
 * end: what /v1/notices answers and the report tells.
 *
 * Walks over minutes are kept from question to question, as the news allow: one that took
 * too long goes on where it stopped when it is asked for again, and one that came to the
 * end of its span goes on from a midnight shortly before. What is answered is the same
 * without them.
 */
#ifndef HEATBOOK_NOTICES_ASK_H
#define HEATBOOK_NOTICES_ASK_H

#include <heatbook/news.h>
#include <heatbook/notices.h>

/* One time that a notice was raised. Minutes. */
struct notice_time {
	size_t notice;
	int64_t since, until;          /* INT64_MAX: it lasts */
	bool before;                   /* it began then or earlier */
	int64_t raised_at, cleared_at; /* when either was certain */
};

struct notice_walk; /* notices_ask.c */
#define NOTICE_WALKS 4
/* `{0}` has none yet. */
struct notice_walks {
	struct notice_walk *walks[NOTICE_WALKS]; /* the one that was used last in front */
	uint64_t revisions;                      /* of the news that were heeded */
};
/* Before another configuration or store is in force, and at the end. */
void notice_walks_drop(struct notice_walks *walks);

struct notice_times {
	int64_t from, to;              /* minutes */
	const struct notices *notices; /* as they stand at the end */
	struct notice_time *items;     /* that touch the span, as they were raised */
	size_t count;
	size_t counts[NOTICES_MOST]; /* of each notice */
};

/* Of a span whose minutes are closed, by turns of so many days, and in so many
 * milliseconds: QUERY_TOO_SLOW after these, and it goes on when asked again. Without
 * `news` (NULL) walks of former questions are dropped. Else as notices_turn() has it. The
 * notices are those of `walks` and stand so until these are asked again or dropped. */
int notice_times_ask(struct notice_walks *walks, const struct news *news,
	struct store *store, const struct config *config, int64_t from_ms, int64_t to_ms,
	size_t days, int64_t patience_ms, struct notice_times *ret);
void notice_times_release(struct notice_times *times);

#endif
