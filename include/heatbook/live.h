/*
 * The live way: tail into journal and minutes while time goes by. Used by the daemon's
 * main loop alone; all calls are short turns.
 *
 * Readings wait sorted until their minute closes (10 s after its end), then pass the
 * engine in canonical order. One that comes after its minute closed makes its span dirty;
 * dirty spans are derived from the journal after the next commit, a day a turn, and
 * meanwhile minutes wait.
 */
#ifndef HEATBOOK_LIVE_H
#define HEATBOOK_LIVE_H

#include <heatbook/decoder.h>
#include <heatbook/query.h>
#include <heatbook/store.h>
#include <heatbook/tail.h>

struct live;
struct news; /* news.h */

/* The store must be open for writing and the deriver's lock be held. */
struct live *live_new(struct store *store, struct decoder *decoder, struct tail *tail);
void live_free(struct live *live);

/* What becomes of minutes is told there from now on; borrowed. */
void live_tell(struct live *live, struct news *news);

/* Takes what waits in the tail, at most some thousand records; true when more may wait.
 */
bool live_take(struct live *live);
/* Closes the minutes that may close at `now_ms`. 0 or a store's code. */
int live_close(struct live *live, int64_t now_ms);
/* Stores journal and minutes in one transaction. 0 or a store's code: everything waits
 * for the next try, nothing is lost. */
int live_commit(struct live *live);
/* One turn of derivation if something is dirty: 0 more may follow, DERIVER_CLEAN, or a
 * code. */
int live_derive(struct live *live, int64_t now_ms);
/* End of the last closed minute, ms, or 0. */
int64_t live_closed_ms(const struct live *live);
/* Is there something to derive before minutes can close again? */
bool live_behind(const struct live *live);
/* Another process wrote to the store: there may be dirty spans. */
int live_look_outside(struct live *live);
/* Is there anything that a commit would store? */
bool live_uncommitted(const struct live *live);

/* One turn of packing what days that are over left in the journal, if there is any. A
 * code is worth a line in the log, nothing more: nothing is lost. */
int live_tidy(struct live *live);
/* One turn of dropping what is past its age (store.h, age.h), once a UTC day as `now_ms`
 * says it; a clock that is not to be trusted must not. A code is as that of live_tidy().
 */
int live_age(struct live *live, int64_t now_ms);
/* Why the last of these calls failed. */
const char *live_error(const struct live *live);

/* The daemon's present, for the face: channels, powers, mode, counts of this module. */
void live_present(struct live *live, int64_t now_ms, struct live_state *ret);

#endif
