/*
 * Dated corrections. See correction.h and corrector.h.
 *
 * The corrector keeps raw values, so that carried state knows nothing of corrections: it
 * is the same bytes under any of them, and an edge changes what is true and not what was
 * said.
 */
#include "corrector.h"

#include <math.h>

const struct correction_config *correction_at(
	const struct config *config, size_t channel, int64_t t_ms)
{
	for (size_t i = 0; i < config->correction_count; i++) {
		const struct correction_config *c = &config->corrections[i];
		if (c->channel == (int)channel && t_ms >= c->from_ms && t_ms < c->to_ms)
			return c;
	}
	return NULL;
}

double correction_apply(const struct correction_config *c, double value)
{
	return c ? fmax(-VALUE_MOST, fmin(VALUE_MOST, value * c->factor + c->offset))
		 : value;
}

bool correction_touches(const struct correction_config *c, int64_t from_ms, int64_t to_ms)
{
	return c->from_ms < to_ms && c->to_ms > from_ms;
}

bool correction_accounts(const struct config *config, const struct correction_config *c)
{
	if (config->channels[c->channel].role != ROLE_PLAIN ||
		config->plant.pressure_channel == c->channel)
		return true;
	for (size_t m = 0; m < config->meter_count; m++)
		for (size_t i = 0; i < config->meters[m].power_count; i++)
			if (config->meters[m].power[i] == c->channel)
				return true;
	return false;
}

void corrector_init(struct corrector *k, const struct config *config)
{
	*k = (struct corrector){.config = config, .next_ms = INT64_MAX};
	k->in_force = xcalloc(config->channel_count, sizeof(const void *));
	k->raw = xcalloc(config->channel_count, sizeof(*k->raw));
}

void corrector_release(struct corrector *k)
{
	free(k->in_force);
	free(k->raw);
}

void corrector_move(struct corrector *k, int64_t t_ms)
{
	const struct config *config = k->config;
	k->next_ms = INT64_MAX;
	for (size_t i = 0; i < config->correction_count; i++) {
		const struct correction_config *c = &config->corrections[i];
		k->in_force[c->channel] = correction_at(config, (size_t)c->channel, t_ms);
		if (c->from_ms > t_ms && c->from_ms < k->next_ms)
			k->next_ms = c->from_ms;
		if (c->to_ms > t_ms && c->to_ms < k->next_ms)
			k->next_ms = c->to_ms;
	}
}

double corrector_value(const struct corrector *k, size_t channel)
{
	return correction_apply(k->in_force[channel], k->raw[channel]);
}
