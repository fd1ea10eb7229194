/*
 * What the engine made of a day, kept until it is written: its minutes, the spans of
 * registers that its readings closed, its events, the state before and after it.
 */
#ifndef DERIVE_MADE_H
#define DERIVE_MADE_H

#include <heatbook/engine.h>

#include "settled.h"

struct made_day {
	struct buffer begin, end; /* states as engine_save() writes them */
	bool quiet;               /* nothing is in force at the end */
	uint64_t readings;
	struct buffer minutes; /* see made.c */
	struct settled settled;
	struct happened happened;
};

void made_release(struct made_day *made);
void made_add_minute(
	struct made_day *made, const struct config *config, const struct minute *minute);
/* The minutes again, in order. */
void made_each_minute(const struct made_day *made, const struct config *config,
	minute_sink *sink, void *context);

#endif
