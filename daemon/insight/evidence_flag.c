/*
 * Whether flags come in time: the beginnings of hot water and of defrosts by flag beside
 * those by rule (flag_lag.h), as a day's minutes have them.
 *
 * The rule of a second flow level is the quickest one for hot water, since a pipe stays
 * warm or cold for minutes. Where it is not configured, the two levels are learned from
 * the day itself, by the flag's own word: late by minutes, it still has most minutes of
 * either service on its side. Else the flow's target or the cylinder tells, which come
 * late themselves.
 */
#include "evidence.h"

#include <heatbook/rule_minutes.h>

#include <math.h>

#define LEVELS_APART 0.05

/* ---- the flow's two levels ---- */

/* Leaves the configuration as it is where there is one level, or one is not known. */
static void learn_levels(const struct day_view *view, struct config *config)
{
	double *rates = xcalloc(2 * view->count + 1, sizeof(*rates));
	double *tap = rates + view->count;
	size_t heating_count = 0, tap_count = 0;
	for (size_t i = 0; view->rate_lpm && i < view->count; i++) {
		if (view->running[i] != 1 || view->flowing[i] != 1)
			continue;
		if (view->tap[i] == 1)
			tap[tap_count++] = view->rate_lpm[i];
		else if (view->tap[i] == 0)
			rates[heating_count++] = view->rate_lpm[i];
	}
	double heating_lpm = evidence_median(rates, heating_count);
	double tap_lpm = evidence_median(tap, tap_count);
	free(rates);
	if (fabs(heating_lpm - tap_lpm) > LEVELS_APART * fmax(heating_lpm, tap_lpm)) {
		config->plant.nominal_lpm = heating_lpm; /* false of a NaN */
		config->modes.hot_water_lpm = tap_lpm;
	}
}

/* ---- the day ---- */

/* What the compressor does is known from more than rules look at. */
static void take_minutes(const struct day_view *view,
	const struct rule_channels *channels, struct flag_lags *lags)
{
	for (size_t i = 0; i < view->count; i++) {
		struct rule_minute m = rule_minute_of(view->day, channels, i);
		m.row.running = view->running[i] < 0 ? (double)NAN : view->running[i];
		if (view->known[i] > 0)
			flag_lags_take(lags, &m.row, m.defrost, m.hot_water);
	}
}

static void add_lag(
	const struct day_view *view, enum mode mode, const struct flag_lag *lag)
{
	struct evidence item = evidence_new(view, EVIDENCE_FLAG, (int)mode);
	if (lag->by_rule == 0)
		return;
	if (lag->pairs > 0) {
		item.at_min = lag->first_minute;
		item.minutes = (int64_t)lround(lag->median_min);
		item.values[2] = lag->most_min;
	}
	item.values[0] = (double)lag->pairs;
	item.values[1] = (double)lag->by_rule;
	item.values[3] = (double)lag->by_flag;
	evidence_add(view->list, &item);
}

void look_at_flag(const struct day_view *view)
{
	struct config config = *view->day->config;
	struct rule_channels channels = rule_channels_of(view->day);
	if (!channels.defrost && !channels.valve && !channels.mode)
		return;
	if (config.modes.hot_water_lpm <= 0.0)
		learn_levels(view, &config);
	struct flag_lags *lags = flag_lags_new(&config);
	take_minutes(view, &channels, lags);
	struct flag_lag defrost = flag_lags_answer(lags, LAG_DEFROST);
	struct flag_lag hot_water = flag_lags_answer(lags, LAG_HOT_WATER);
	add_lag(view, MODE_DEFROST, &defrost);
	add_lag(view, MODE_HOT_WATER, &hot_water);
	flag_lags_free(lags);
}
