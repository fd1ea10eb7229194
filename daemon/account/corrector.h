/*
 * The corrections in force at the engine's present, and what the channels said before
 * them.
 */
#ifndef HEATBOOK_ACCOUNT_CORRECTOR_H
#define HEATBOOK_ACCOUNT_CORRECTOR_H

#include <heatbook/correction.h>

struct corrector {
	const struct config *config;
	const struct correction_config **in_force; /* by channel; NULL: none */
	double *raw;     /* by channel: what it said; 0 where it is unknown */
	int64_t next_ms; /* the next edge of any, after the present */
};

void corrector_init(struct corrector *corrector, const struct config *config);
void corrector_release(struct corrector *corrector);
/* Moves the present to an instant. */
void corrector_move(struct corrector *corrector, int64_t t_ms);
/* Takes what a channel says and answers it corrected. */
static inline double corrector_take(struct corrector *k, size_t channel, double raw)
{
	k->raw[channel] = raw;
	return k->in_force[channel] ? correction_apply(k->in_force[channel], raw) : raw;
}
/* What it said last, as it is corrected now. */
double corrector_value(const struct corrector *corrector, size_t channel);

#endif
