/*
 * What radiators and floors give off: output = K · (water − room)^n, with the mean of
 * flow and return; n about 1.3 for radiators (EN 442), 1.1 for floors (EN 1264), from
 * memory.
 *
 * While the water becomes warmer, some of the heat stays in it and in the metal: a day's
 * settled minutes are heat = K · excess^n + C · rise, and least squares over days tell K
 * and C apart. (Without C, K is told a fifth too large of a plant that cycles.)
 */
#include "emission.h"

#include <heatbook/fit.h>

#include <math.h>

enum { COLUMNS = 2, STEPS = 40 };
#define S_PER_HOUR 3600.0

/* False: the day has no such minutes, or too few. */
static bool settled(const struct insight_day *day, double room_c, double ret[static 3])
{
	const struct evidence *e = emission_row(day, EMISSION_SETTLED);
	if (!e || e->minutes < SETTLED_LEAST_MIN)
		return false;
	ret[0] = e->values[0];
	ret[1] = e->values[1] - (isnan(e->values[2]) ? room_c : e->values[2]);
	ret[2] = e->values[3];
	return isfinite(ret[0]) && ret[1] > 0.0 && isfinite(ret[2]);
}

bool emitters_of(const struct insight_days *days, double room_c, double exponent,
	struct emitters *ret)
{
	double *x = xcalloc(days->count + 1, (COLUMNS + 2) * sizeof(*x));
	double *y = x + COLUMNS * days->count, *residuals = y + days->count, day[3];
	int64_t *when = xcalloc(days->count + 1, sizeof(*when));
	struct fit fit;
	*ret = (struct emitters){.exponent = exponent};
	for (size_t i = 0; i < days->count; i++) {
		if (!settled(&days->days[i], room_c, day))
			continue;
		x[COLUMNS * ret->days] = pow(day[1], exponent);
		x[COLUMNS * ret->days + 1] = day[2];
		y[ret->days] = day[0];
		when[ret->days++] = (int64_t)i;
	}
	const struct fit_rows rows = {.n = ret->days, .p = COLUMNS, .x = x, .y = y};
	bool told = ret->days >= EMITTER_DAYS_LEAST &&
		    fit_least_squares(&rows, &fit, residuals) == 0 && fit.b[0] > 0.0;
	if (told) {
		double rho = fit_autocorrelation(residuals, when, ret->days);
		ret->k_w = fit.b[0];
		ret->sd_w = fit_sd(&fit, 0) * fit_inflation(rho);
		ret->storage_j_per_k = fit.b[1] * S_PER_HOUR;
	}
	free(x);
	free(when);
	return told;
}

double emitters_output(
	double exponent, double flow_c, double spread_k, double room_c, double by_k)
{
	double excess = flow_c - spread_k / 2.0 - room_c;
	double low = 0.0, high = 1.0;
	if (excess <= 0.0)
		return 1.0; /* nothing to go by */
	for (int i = 0; i < STEPS; i++) {
		double share = (low + high) / 2.0;
		double cooler = flow_c - by_k - share * spread_k / 2.0 - room_c;
		double passes = cooler > 0.0 ? pow(cooler / excess, exponent) : 0.0;
		if (passes > share)
			low = share;
		else
			high = share;
	}
	return (low + high) / 2.0;
}

double emitters_flow_c(const struct emitters *emitters, double watts, double room_c,
	double spread_k_per_w)
{
	double excess = pow(fmax(watts, 0.0) / emitters->k_w, 1.0 / emitters->exponent);
	return room_c + excess + watts * spread_k_per_w / 2.0;
}
