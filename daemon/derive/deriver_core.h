/*
 * What the files of the deriver share: deriver.c (days), deriver_replay.c (an engine put
 * where the rows end), open_spans.c. Not for others.
 */
#ifndef DERIVE_DERIVER_CORE_H
#define DERIVE_DERIVER_CORE_H

#include <heatbook/deriver.h>

#include "ahead.h"

/* What was done, for whoever asks. */
struct tally {
	uint64_t days;
	uint64_t readings;
	uint64_t sealed; /* days that were left as they are */
};

struct deriver {
	struct store *store;
	struct decoder *decoder;
	struct engine *engine;
	struct ahead *ahead; /* or NULL */
	int64_t write_from;  /* minutes before are already right */
	int64_t write_to;    /* … and from here on the next day's */
	int64_t wrote_to;    /* end of this transaction's last day of rows, or -1 */
	int write_error;
	int64_t day;
	int days_a_turn;
	struct tally tally;
	int64_t damaged; /* a chunk that could not be read */
	deriver_ask *ask;
	void *ask_context;
	bool ended;               /* it was answered yes */
	struct settled settled;   /* by the readings of the day */
	struct happened happened; /* likewise */
	struct buffer state, other;
	struct buffer carried;      /* the state at the end of what was made last … */
	bool quiet;                 /* … holds nothing */
	bool beyond;                /* made with the minutes that wait */
	int64_t rows_from, rows_to; /* minutes that were written since that was asked */
};

/* Before a commit: notes spans of registers that are not over where all rows end, if that
 * is where this transaction's rows do. */
int deriver_put_open(struct deriver *deriver);

/* Restores the state carried into `day`; *ret_day is earlier where holds of an earlier
 * checkpoint still run, or where readings lie between. A day whose state was not stored
 * gets it now, so that whoever derives an earlier day finds that this one began
 * otherwise. */
int deriver_restore_before(
	struct deriver *deriver, struct engine *engine, int64_t day, int64_t *ret_day);

#endif
