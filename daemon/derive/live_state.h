/*
 * What the files of the live way share: live.c (taking, closing), live_commit.c,
 * live_behind.c. Not for others.
 *
 * Invariant: while not behind, `engine` stands at the end of the last minute that was
 * fed, every reading that was taken at or after it is in `waiting`, and pending rows are
 * exactly the minutes between the store's last one and `closed`, which is where the
 * engine stands, or a little before it where rules must tell modes.
 */
#ifndef DERIVE_LIVE_STATE_H
#define DERIVE_LIVE_STATE_H

#include <heatbook/deriver.h>
#include <heatbook/filer.h>
#include <heatbook/live.h>
#include <heatbook/news.h>

#include "arena.h"
#include "late.h"
#include "present.h"
#include "settled.h"

/* What is past its age goes, a turn at a time. */
struct age_run {
	int64_t day; /* UTC: of the last run */
	bool running, journal_done;
	int64_t journal_ms, minutes_ms; /* what is older goes */
	int64_t chunks, bytes, days;
	int64_t journal_until_ms, minutes_until_ms;
};

struct state_copy {
	int64_t day;
	bool made; /* the day before was made here */
	struct buffer state;
};

struct live {
	const struct config *config;
	struct store *store;
	struct decoder *decoder;
	struct tail *tail;
	struct filer *filer;
	struct deriver *deriver;

	struct engine *engine;
	int64_t closed;   /* minute at which rows end; -1 before anything was seen */
	int64_t lag;      /* minutes that the engine is ahead of them: engine_lag_min() */
	int64_t leant_ms; /* rows read back from the journal lean on readings up to here
			   */
	int64_t first;    /* minute at which rows begin where nothing was committed yet */
	bool behind;
	bool respanned; /* every chunk's span is of the mapping in force */
	int row_error;

	struct readings waiting;
	struct arena frames, spare;
	struct readings scratch;
	struct buffer frame;
	int64_t latest_ms;                 /* newest reading taken */
	uint64_t unsure;                   /* records taken that are */
	uint64_t unmatched, repeated_keys; /* messages taken, as the decoder counts */

	bool look;          /* for dirty spans, after the next commit … */
	int64_t look_at_ms; /* … and not before then, monotonic: see live_behind.c */
	int64_t behind_ms;  /* monotonic: since then it is behind; -1: it is not */
	bool outside;       /* an import marked something meanwhile */
	struct late late;   /* what came after its minute closed */
	struct state_copy *days; /* checkpoints that the next commit stores */
	size_t day_count, day_room;
	int64_t midnights[2]; /* that were passed, whose state is not known yet */
	size_t midnight_count;

	struct settled settled; /* since the last commit; some perhaps of the open minute
				 */
	struct happened happened; /* likewise */

	uint64_t sequence;           /* last one read from the tail */
	uint64_t committed_sequence; /* last one in the store */
	int64_t committed_until;     /* minute */
	int64_t outside_version;
	int64_t last_commit_ms; /* wall clock; 0 = none yet */
	bool loaded;            /* where the store stands is known */
	char error[STORE_ERROR_MOST];

	bool joining; /* small chunks of days that are over, from this one on */
	int64_t join_from_ms;

	struct age_run age;

	struct present *present;

	struct news *news;        /* or NULL */
	struct minute_range laid; /* by the commit in work: rows that may be others now */
};

/* Remember why, of what the store or the tail answered; they answer `r`. */
int live_told(struct live *l, int r);
int live_told_tail(struct live *l, int r);

/* Where the store stands. Nothing is committed before that is known: records would be
 * filed twice. */
int live_load(struct live *l);

/* Takes records up to a sequence number; true when the bound of a turn ended it. */
bool live_take_until(struct live *l, uint64_t last);

/* Readings of one record follow each other: its frame is copied once. */
struct frame_copy {
	const unsigned char *from, *to;
};
const unsigned char *live_copy_frame(
	struct frame_copy *copy, struct arena *arena, const unsigned char *frame);

#endif
