/* The demo plant on a broker, at true pace. */
#ifndef DEMO_LIVE_H
#define DEMO_LIVE_H

#include "plant.h"

/* Publishes from now on until SIGTERM or SIGINT. A broker that is away is tried again for
 * ever; what falls into its absence is lost, as with a real gateway. Answers the exit
 * status. */
int live_run(const struct plant_settings *settings, const char *host, int port);

#endif
