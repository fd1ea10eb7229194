/*
 * What holds right now, for the face: an engine of its own that takes readings as they
 * come and makes no rows, and each channel's latest word. Used by the live way alone.
 */
#ifndef DERIVE_PRESENT_H
#define DERIVE_PRESENT_H

#include <heatbook/engine.h>
#include <heatbook/query.h>

struct present;

struct present *present_new(const struct config *config, int64_t now_ms);
void present_free(struct present *present);

/* A reading of a record with that stamp. */
void present_take(
	struct present *present, const struct reading *reading, int64_t stamp_ms);
/* After a start: what the rows' engine holds at its minute, then what came later. */
void present_restore(struct present *present, const struct engine *rows, int64_t minute,
	const struct readings *later, int64_t now_ms);
/* Fills in channels, powers, mode and the count of BAD readings. */
void present_answer(struct present *present, int64_t now_ms, struct live_state *ret);

#endif
