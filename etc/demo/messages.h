/* What the demo plant's gateway and meters publish: topics, cadences, JSON, rounding. */
#ifndef DEMO_MESSAGES_H
#define DEMO_MESSAGES_H

#include "plant.h"

#define GATEWAY_TOPIC   "plant/gateway"
#define GATEWAY_PRESENT "online"
#define GATEWAY_GONE    "offline"

struct message {
	int64_t t_ms; /* when it is published, ms since 1970 */
	const char *topic;
	const char *payload; /* lives until the sink returns */
	bool retain;
	bool replayed; /* delivered as the broker's retained copy */
};

typedef void message_sink(const struct message *message, void *context);

/* The messages of one step in the order of their instants, no two at the same one; all
 * lie in the step's ten seconds. A function of the step alone. */
void messages_of_step(const struct plant_step *step, message_sink *sink, void *context);
/* The retained states as they are now, stamped `t_ms`: what a gateway says on connecting.
 */
void messages_of_states(
	const struct plant_step *step, int64_t t_ms, message_sink *sink, void *context);

#endif
