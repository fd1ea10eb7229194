/*
 * What serve says in its first minutes: whether what was configured is heard.
 */
#ifndef WELCOME_H
#define WELCOME_H

#include <heatbook/decoder.h>
#include <heatbook/query.h>

/* `{0}` begins it. */
struct welcome {
	int told;           /* reports that were made */
	bool done;          /* nothing more will be said */
	int64_t since_ms;   /* monotonic, of the subscription; 0 before */
	int64_t look_at_ms; /* monotonic: not before */
	uint64_t mapping;   /* of the configuration that it speaks of */
};

/* Fills in the daemon's state; as http_live. */
typedef void welcome_state(struct live_state *ret, void *context);

/* To be called about once a second; asks for the state only when something may be due. */
void welcome_tick(struct welcome *welcome, const struct config *config,
	const struct decoder *decoder, welcome_state *state, void *context);

#endif
