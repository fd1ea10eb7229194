/*
 * What figures rest on besides their messages, as members of whatever JSON answers them.
 */
#ifndef HEATBOOK_HTTP_BASIS_H
#define HEATBOOK_HTTP_BASIS_H

#include <heatbook/query.h>

#include "json.h"

/* How many of the days asked for another mapping made, and how many of these stay so. */
void json_older_days(struct json *json, const struct older_days *older);

/* What heat is worked out with: glycol booked as water would over-read, so that every
 * answer about heat names it. */
void json_fluid(struct json *json, const struct plant_config *plant);

/* An array of what is estimated: heat by an assumed flow, apparent power; `counted`
 * where the boundary's figures have it. With the sums of a span (or NULL) an apparent
 * meter is compared with the true ones beside it. */
void json_estimates(struct json *json, const struct config *config,
	const struct boundary *boundary, const struct energy_bucket *total);

#endif
