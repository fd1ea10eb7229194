/* Weather of the demo plant: a function of seed and instant, blind to house and unit. */
#ifndef DEMO_WEATHER_H
#define DEMO_WEATHER_H

#include <stdint.h>

struct air {
	double outdoor_c;
	double humidity_pct; /* relative, 55..99 */
	double sun_kw;       /* gain through the windows, 0..1.2 */
};

struct weather {
	uint64_t seed;
	int64_t node;   /* ten minutes since 1970, the one before or at the last instant
			   asked */
	double slow_k;  /* outdoor deviation at node + 1 */
	double slow_rh; /* humidity deviation at node + 1 */
	struct air before; /* at node */
	struct air after;  /* at node + 1 */
};

/* `t_s` must be the plant's origin: the slow deviations begin there. */
void weather_init(struct weather *weather, uint64_t seed, int64_t t_s);
/* Air at an instant (s since 1970), which must not lie before the last one asked. */
struct air weather_at(struct weather *weather, int64_t t_s);

#endif
