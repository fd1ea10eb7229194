/*
 * The tables behind trade_words.h.
 */
#ifndef INSIGHT_TRADE_TABLE_H
#define INSIGHT_TRADE_TABLE_H

#include "trade_words.h"

/* A word that is `whole` counts only as a word of its own, any other also inside a
 * compound ("vorlauftemperatur"). */
struct trade_word {
	const char *text;
	enum concept concept;
	bool whole;
};
const struct trade_word *trade_table(size_t *ret_count);

/* What states are called; the usual ones of a state come first. */
struct state_word {
	const char *text;
	enum heard_state state;
};
const struct state_word *state_table(size_t *ret_count);

#endif
