/*
 * Lines between readings ([channel] between = line), for the engine alone.
 *
 * Where some channel goes along lines, what is true at an instant is known only when the
 * channel's next reading is, or when the time is over that a line may take. So the engine
 * goes some whole minutes behind its readings: these wait in a queue, while another
 * engine, the scout, takes them as they come and lets every value hold. What the scout
 * makes of each reading (a value, none, a hold that ended) is noted; the engine behind,
 * which comes to the same, asks for the note that follows. So nothing of what a reading
 * counts as is decided twice in two ways.
 *
 * A line lies between two values of a channel that are noted one after the other, at most
 * `line_ms` of the channel apart, neither of which is a row's that covers an interval.
 * Else the first holds, as without lines.
 *
 * The queue is bounded: from the 16,384th reading of a minute on values hold in it, be
 * it that their line would have begun before, and nothing waits. That goes by readings in
 * order alone, so that it is the same by every door.
 *
 * The state at a midnight leans on what follows for as long. Who needs it lets the engine
 * advance to that midnight, then feeds what comes after it, and gets it (engine.h,
 * engine_midnight()).
 */
#ifndef HEATBOOK_ACCOUNT_BETWEEN_H
#define HEATBOOK_ACCOUNT_BETWEEN_H

#include "line.h"

#include <heatbook/engine.h>

#define BETWEEN_MOST 16384

struct between;

/* NULL where every channel holds. */
struct between *between_new(const struct config *config);
void between_free(struct between *b);

/* ---- what engine.h says, where there are lines ---- */

void between_start(struct engine *e, int64_t minute);
/* After the engine's own state was restored: the scout's, of the same bytes. */
int between_restore(struct engine *e, int64_t minute, const void *bytes, size_t length);
void between_feed(struct engine *e, const struct reading *reading);
void between_advance(struct engine *e, int64_t t_ms);
bool between_midnight(struct engine *e, int64_t day, struct buffer *out, bool *ret_quiet);
/* The engine that stands where readings do. */
const struct engine *between_scout(const struct between *b);
/* The engine's minute, but no later one than always at that time. */
int64_t between_rows_end(const struct between *b, int64_t minute);
/* Nothing waits, and the scout holds nothing. */
bool between_quiet(const struct between *b);
/* Minutes that the engine goes behind. */
int64_t between_lag_min(const struct config *config);

/* ---- what the engines tell ---- */

/* A channel's value changed at `t_ms`; `raw` means nothing where it became unknown. */
void between_changed(struct engine *e, size_t channel, double raw, int64_t t_ms);
/* Corrections are others now. */
void between_correct(struct engine *e);
/* By channel. */
const struct line *between_lines(const struct between *b);

#endif
