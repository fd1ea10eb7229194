/*
 * The deriver: journal into minutes, hours and days, a UTC day at a time, from the
 * checkpoint before it. There is one at a time for a store: whoever holds its lock (the
 * daemon, or an import while no daemon runs).
 */
#ifndef HEATBOOK_DERIVER_H
#define HEATBOOK_DERIVER_H

#include <heatbook/decoder.h>
#include <heatbook/progress.h>
#include <heatbook/store.h>

/* Takes the lock beside the store. 0, DERIVER_TAKEN when another process has it, or
 * -errno. Its file tells the others which mapping this one has in force: at once, and
 * again after a reload by deriver_tell(), which also says what holds this one up ("":
 * nothing does). */
enum { DERIVER_TAKEN = 1 };
int deriver_lock(const struct config *config, int *ret_fd);
void deriver_tell(const struct config *config, int lock_fd, const char *trouble);
/* What the process that has the lock tells; -errno when there is no word of it. */
struct deriver_holder {
	uint64_t mapping;
	char trouble[256];
};
int deriver_holder(const struct config *config, struct deriver_holder *ret);

/* Waits until nothing is dirty any more, for whoever has the lock. `look` is called ten
 * times a second with the days that are left; true ends the wait (DERIVER_ENDED). 0;
 * DERIVER_FREE: the other one ended before, *ret_lock is ours now; DERIVER_HELD_UP: it
 * says that it cannot derive, and did not for some seconds: why and what helps in `why`.
 * Or a store's code. */
enum { DERIVER_FREE = 10, DERIVER_HELD_UP = 11 };
typedef bool deriver_look(int64_t days_left, void *context);
int deriver_await(struct store *store, deriver_look *look, void *context, int *ret_lock,
	char why[static 320]);

struct deriver;
struct deriver *deriver_new(struct store *store, struct decoder *decoder);
void deriver_free(struct deriver *deriver);

/* Derives the earliest dirty UTC day in one transaction, minutes that end by
 * `until_minute` only. 0: a day was done; DERIVER_CLEAN: nothing is dirty before
 * `until_minute`. A dirty span goes on past its end until the state equals the stored
 * one. A chunk that cannot be read is set aside (store_chunk_set_aside()) and the rows of
 * sealed days are left alone. Other codes as in store.h. */
enum { DERIVER_CLEAN = 7 };
int deriver_step(struct deriver *deriver, int64_t until_minute);
/* Asked before each day: true once ends deriver_step() and deriver_respan() with
 * DERIVER_ENDED, all that was done before stays. */
enum { DERIVER_ENDED = 9 };
typedef bool deriver_ask(void *context);
void deriver_ends_when(struct deriver *deriver, deriver_ask *ask, void *context);
/* UTC day of the last step; days and readings of all steps, for progress. */
int64_t deriver_day(const struct deriver *deriver);
uint64_t deriver_days(const struct deriver *deriver);
uint64_t deriver_readings(const struct deriver *deriver);
/* One range of minutes that holds all rows that steps wrote since this was asked last;
 * perhaps also some of a step that failed. False: there are none. */
bool deriver_rows(struct deriver *deriver, int64_t *ret_from, int64_t *ret_to);
/* From now on, threads make the next days while one is written, and a step is some days
 * in one transaction: for who has nothing else to do. The rows are the same. */
void deriver_work_ahead(struct deriver *deriver);
/* Steps so far that left rows of a sealed day as they are. */
uint64_t deriver_sealed(const struct deriver *deriver);
/* Sealed UTC days that [from, to) touches: how many they are, and their dates,
 * "2026-01-03, 2026-01-07 to 2026-01-09", the first ones of them where they are very
 * many. */
struct sealed_days {
	int64_t count;
	char dates[256];
};
int deriver_name_sealed(
	struct store *store, int64_t from_ms, int64_t to_ms, struct sealed_days *ret);

/* Where states are missing before that of `minute`, makes one more of them. 0: there may
 * be more to make; DERIVER_CLEAN: deriver_replay() has a day to read at most. */
int deriver_reach(struct deriver *deriver, int64_t minute);
/* Puts an engine where the store's rows end: state of `minute` (no rows are written),
 * from the checkpoint before it. Readings at or after it and before `to_ms` are put into
 * `later`, which is empty, their frames copied into `frames`. It may stand in a
 * transaction of the caller's: -EBADMSG, a chunk cannot be read; roll back, set it aside,
 * try again. */
int deriver_replay(struct deriver *deriver, struct engine *engine, int64_t minute,
	int64_t to_ms, struct readings *later, struct buffer *frames);

/* Sets the chunk aside that the last call could not read (store_chunk_set_aside()). */
int deriver_set_aside(struct deriver *deriver);

/* Chunks filed under another mapping get their spans anew, at most some hundred a call.
 * 0: there may be more; DERIVER_CLEAN: none is left. */
int deriver_respan(struct deriver *deriver);

/* Derives everything dirty that may be at `now_ms` (import alone, rebuild). `progress`
 * may be NULL. */
int derive_all(struct store *store, struct deriver *deriver, int64_t now_ms,
	const struct progress_to *progress, int64_t *ret_days);
/* End of the last minute that may be derived at `now`: its end lies 10 s back. */
int64_t closed_minute(int64_t now_ms);
/* How far rows may be derived again at `now` when they end at `derived`: to the last
 * minute that is closed, or known where rules must tell modes (engine_lag_min()); to
 * their end also where the clock was set back behind it, but for rows that lie more than
 * a day ahead. Those a clock made that was far wrong; they are left alone, and nothing is
 * derived past now. */
int64_t derivable_minute(
	const struct config *config, int64_t derived_minute, int64_t now_ms);

#endif
