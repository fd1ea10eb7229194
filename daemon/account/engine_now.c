/*
 * What an engine is asked: where it stands, whether anything holds, and what is true
 * where readings stand. Changes nothing. See engine.h.
 */
#include "engine_core.h"

#include <math.h>

int64_t engine_now_ms(const struct engine *e)
{
	return engine_told_ms(e);
}

int64_t engine_rows_end(const struct engine *e)
{
	int64_t end = e->minute;
	if (e->between) /* also where it went on, since nothing holds */
		end = between_rows_end(e->between, end);
	end -= e->waiting ? RULES_LAG_MIN : 0;
	return end > e->began ? end : e->began;
}

bool engine_quiet(const struct engine *e)
{
	return engine_holds_nothing(e) && (!e->between || between_quiet(e->between));
}

bool engine_channel(
	const struct engine *e, size_t channel, double *ret_value, int64_t *ret_t_ms)
{
	if (e->between)
		e = between_scout(e->between);
	if (!e->held[channel].known)
		return false;
	*ret_value = e->held[channel].value;
	*ret_t_ms = e->signals[channel].t_ms;
	return true;
}

enum mode engine_instant(
	const struct engine *e, double *ret_heat_w, double *ret_electricity_w)
{
	if (e->between)
		e = between_scout(e->between);
	struct accountant now = e->accountant; /* a look changes nothing */
	double electricity = (double)NAN;

	now.fresh = false;
	accountant_rates(&now, e->held, e->now_ms);
	for (size_t m = 0; m < e->config->meter_count; m++)
		if (!isnan(now.meter_w[m]))
			electricity =
				(isnan(electricity) ? 0.0 : electricity) + now.meter_w[m];
	*ret_heat_w = now.heat_w;
	*ret_electricity_w = electricity;
	return accountant_mode(&now);
}

size_t engine_open_spans(
	const struct engine *e, struct open_span ret[static COUNTED_MOST])
{
	return accountant_open_spans(&e->accountant, ret);
}
