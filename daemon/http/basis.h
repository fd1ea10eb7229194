/*
 * What figures rest on besides their messages, as members of whatever JSON answers them.
 */
#ifndef HEATBOOK_HTTP_BASIS_H
#define HEATBOOK_HTTP_BASIS_H

#include <heatbook/query.h>

#include "json.h"

/* How many of the days asked for another mapping made, and how many of these stay so. */
void json_older_days(struct json *json, const struct older_days *older);

/* An array: those of a channel, of all that heat, electricity and modes rest on, or of
 * every channel, that are in force at any time of [from, to). */
enum { CORRECTIONS_OF_ACCOUNTS = -1, CORRECTIONS_OF_ALL = -2 };
void json_corrections(struct json *json, const char *key, const struct config *config,
	int channel, int64_t from_ms, int64_t to_ms);

/* Members: what one does to a value. */
void json_correction_terms(struct json *json, const struct config *config,
	const struct correction_config *correction);

/* What heat is worked out with: glycol booked as water would over-read, so that every
 * answer about heat names it. */
void json_fluid(struct json *json, const struct plant_config *plant);

/* An array of the registers' spans that reach into an answer and are not over: since
 * when, up to which reading the register and power are told, and how far power lies
 * beyond what the register can hide. */
void json_provisional(struct json *json, const struct config *config,
	const struct energy_answer *answer);

/* An array of what is estimated: heat by an assumed flow, apparent power; `counted`
 * where the boundary's figures have it. With the sums of a span (or NULL) an apparent
 * meter is compared with the true ones beside it. */
void json_estimates(struct json *json, const struct config *config,
	const struct boundary *boundary, const struct energy_bucket *total);

#endif
