/*
 * What is in force when. See tariff.h.
 */
#include <heatbook/config.h>
#include <heatbook/tariff.h>

#include <math.h>
#include <string.h>

static bool holds(const struct dated *dated, int64_t t_ms)
{
	return dated->from_ms <= t_ms && t_ms < dated->to_ms;
}

const struct tariff_config *tariff_at(const struct config *config, int64_t t_ms)
{
	const struct cost_config *c = config->cost;
	for (size_t i = 0; i < c->tariff_count; i++)
		if (holds(&c->tariffs[i].dated, t_ms))
			return &c->tariffs[i];
	return NULL;
}

const struct carbon_config *carbon_at(const struct config *config, int64_t t_ms)
{
	const struct cost_config *c = config->cost;
	for (size_t i = 0; i < c->carbon_count; i++)
		if (holds(&c->carbons[i].dated, t_ms))
			return &c->carbons[i];
	return NULL;
}

double tariff_price(const struct tariff_config *tariff, int week_min)
{
	unsigned char window = tariff->week[week_min];
	return window ? tariff->windows[window - 1].price : tariff->price;
}

bool other_heat_begins(const struct cost_config *cost, size_t i)
{
	return i == 0 || strcmp(cost->others[i - 1].source, cost->others[i].source) != 0;
}

const struct other_heat_config *other_heat_at(
	const struct cost_config *cost, size_t i, int64_t t_ms)
{
	const char *source = cost->others[i].source;
	for (; i < cost->other_count && strcmp(cost->others[i].source, source) == 0; i++)
		if (holds(&cost->others[i].dated, t_ms))
			return &cost->others[i];
	return NULL;
}

bool site_splits(const struct site_config *site)
{
	return site->import_channel >= 0;
}

void cost_config_free(struct cost_config *c)
{
	if (!c)
		return;
	for (size_t i = 0; i < c->tariff_count; i++) {
		struct tariff_config *t = &c->tariffs[i];
		for (size_t w = 0; w < t->window_count; w++)
			free(t->windows[w].name);
		free(t->windows);
		free(t->week);
		free(t->name);
	}
	for (size_t i = 0; i < c->carbon_count; i++)
		free(c->carbons[i].name);
	for (size_t i = 0; i < c->other_count; i++) {
		free(c->others[i].name);
		free(c->others[i].source);
	}
	free(c->site.currency);
	free(c->tariffs);
	free(c->carbons);
	free(c->others);
	free(c);
}
