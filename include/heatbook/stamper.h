/*
 * The stamper: the one place where records get their stamp and enter the tail, from the
 * subscriber's thread and the main loop alike. It watches the clock while it does so.
 *
 * Waiting. On a start of the machine whose clock was not set yet, or with a clock that
 * shows an instant before the last derived minute, records are taken as unsure (record.h)
 * and held in the tail. When the clock is set, or the wait is over, a RECORD_RESTAMP
 * gives them the stamps that they should have had.
 *
 * Steps. Real time less boot time is the clock's offset. When it moves by more than 2 s,
 * a RECORD_CLOCK_STEP precedes the next record. Forward: all holds end there. Back by at
 * most 120 s: the stamper's time goes on at half the pace until the clock has caught up.
 * Back further: records are unsure until the clock passes the end of the last closed
 * minute. Drifts and steps below 2 s are followed. While records are held steps need no
 * record: the restamp covers them.
 *
 * Each change is logged once. All calls are for any thread, except where it says the main
 * loop.
 */
#ifndef HEATBOOK_STAMPER_H
#define HEATBOOK_STAMPER_H

#include <heatbook/tail.h>

struct stamper;

enum clock_state {
	CLOCK_STATE_GOOD,    /* kept right by a time service, or nobody can tell */
	CLOCK_STATE_UNKEPT,  /* not synchronised; what comes counts all the same */
	CLOCK_STATE_WAITING, /* records are held until the clock is set */
	CLOCK_STATE_SLEWING, /* a step back is being smoothed out */
	CLOCK_STATE_BEHIND,  /* before minutes that are closed: records feed no row */
	CLOCK_STATE_UNSET    /* before 2000 or after 2199: records feed no row */
};
/* "synchronised", "not synchronised", "waiting to be set", …; for health. */
const char *clock_state_name(enum clock_state state);

/* Main loop, before anything is read from the tail. `wait_ms` is the longest wait after a
 * start of the machine (a clock that nobody set) or of the daemon (one that is before
 * `derived_until_ms`, the end of the last derived minute, 0 for none); 0 waits never. */
struct stamper *stamper_new(struct tail *tail, int64_t wait_ms, int64_t derived_until_ms);
void stamper_free(struct stamper *stamper);

/* Stamps the record, first thing, and appends it: t_ms, boot_ms, unsure, and the boot's
 * number of a START are filled in. As tail_append() otherwise. */
int stamper_append(struct stamper *stamper, struct record *record);
/* Main loop, each second: follows drifts, sees steps without messages, ends waiting.
 * `closed_until_ms` is the end of the last closed minute, or 0. */
void stamper_look(struct stamper *stamper, int64_t closed_until_ms);
/* The time by which minutes are closed: the clock's, smoothed as the stamps are. */
int64_t stamper_now_ms(struct stamper *stamper);

struct stamper_state {
	enum clock_state state;
	int64_t since_ms;        /* of this state, by the stamper's time */
	int64_t step_ms;         /* the last step, 0 for none since start */
	int64_t stepped_ms;      /* when that was, by the new time */
	int64_t unsure_until_ms; /* while BEHIND */
	uint64_t held;           /* records that wait in the tail */
};
void stamper_state(struct stamper *stamper, struct stamper_state *ret);

#endif
