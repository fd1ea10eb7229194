/*
 * A place as the guessing sees it: its words, what kind of value it is, its unit.
 */
#ifndef INSIGHT_VIEW_H
#define INSIGHT_VIEW_H

#include "trade_words.h"

#include <heatbook/guess.h>

enum unit_origin { UNIT_NONE, UNIT_HEARD, UNIT_IN_KEY, UNIT_BY_RANGE };

struct view {
	const struct place *place;
	struct guess *guess;
	struct trail trail;
	uint64_t parent; /* digest of topic and pointer less the last level */
	bool free;       /* may be proposed: not mapped, not of mixed kinds, writable */
	bool number;
	bool state; /* words, true and false, or a few small whole numbers */
	enum dimension dimension; /* DIMENSION_COUNT while unknown */
	const struct unit *unit;
	enum unit_origin origin;
};

struct views {
	struct view *items;
	size_t count;
	const struct config *config;
	struct guesses *guesses;
	uint64_t *names; /* digests of the names given, a hash table; 0 = free */
};

struct views *views_new(struct guesses *guesses, const struct config *config);
void views_free(struct views *views);

/* Dimensions and units of numbers: carried, in the key, or by words and range. */
void views_units(struct views *views);
/* The unit that a number of this dimension and range has most likely. */
const struct unit *unit_by_range(
	const struct view *view, enum dimension dimension, bool fahrenheit);
/* Range of the place in the own unit of `unit`. */
void view_range(const struct view *view, const struct unit *unit, double *ret_least,
	double *ret_most);

/* "outlet" and "inlet", and a bare "flow", are told by their company. */
void views_ambiguous(struct views *views);
/* Share of moments, 0 to 1, at which `a` lies above `b`, of those at which they differ by
 * more than `margin`; NaN where there is none. */
double share_above(const struct place *a, const struct place *b, double margin);

void views_roles(struct views *views);
/* Makes the view the channel of a role. `why` is the reason. */
void view_assign(
	struct view *view, enum role role, const struct unit *unit, const char *why);
/* The view that holds a role, or NULL; is the role taken by the configuration too? */
struct view *views_role(struct views *views, enum role role);
bool role_taken(const struct views *views, enum role role);
/* Words that gave a view away, and its range. */
void view_evidence(const struct view *view, const struct unit *unit, struct buffer *out);

/* The map of a role's states from the words heard; false when they say nothing. */
bool state_map(const struct view *view, enum role role, char map[static GUESS_MAP_MOST],
	struct buffer *reason);
/* A map of the words themselves, for a channel without role; false when it cannot be
 * written. */
bool plain_map(const struct view *view, char map[static GUESS_MAP_MOST]);

void views_meters(struct views *views);
void views_plain(struct views *views);
void views_times(struct views *views);
void views_sources(struct views *views);

/* Names the channel: `wish` in plain form, with a number where that is taken. */
void view_name(const struct views *views, struct view *v, const char *wish);
/* Can `text` stand as a value in the file, behind a key of so many bytes? */
bool is_writable(const char *text, size_t key_length);
/* A span rounded up to what an owner would write. */
int64_t nice_span(int64_t ms);

#endif
