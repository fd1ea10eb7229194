/*
 * Working ahead: while a day is written, two threads make the days after it. One unpacks
 * and decodes what the journal holds of them, the other feeds it to an engine. For an
 * import or a rebuild, which have nothing else to do; the daemon derives without.
 *
 * The threads have a decoder and an engine of their own and touch no store: the caller
 * copies the packed bytes. A day is a function of the state that it begins with and of
 * its readings, so that one made ahead of its time stands if both are still what they
 * were; else it is made again, in time.
 */
#ifndef DERIVE_AHEAD_H
#define DERIVE_AHEAD_H

#include "made.h"

#include <heatbook/store.h>

struct ahead;

/* NULL when there can be no threads: everything is made in time then. All other calls
 * take NULL. */
struct ahead *ahead_new(const struct config *config);
void ahead_free(struct ahead *ahead);

/* Begins or goes on with the days from `day` on that are over before `until_minute`; the
 * first begins with `state`. What cannot be read is left to whoever needs it. */
void ahead_begin(struct ahead *ahead, struct store *store, int64_t day,
	int64_t until_minute, const struct buffer *state);
/* What was made of a day that begins with `state`, waited for; valid until the next call.
 * NULL when it was not made, or of other chunks than the store has of it now. */
const struct made_day *ahead_take(struct ahead *ahead, struct store *store, int64_t day,
	const struct buffer *state);

#endif
