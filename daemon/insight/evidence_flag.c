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

#include <heatbook/flag_lag.h>

#include <math.h>

#define LEVELS_APART 0.05

struct flags {
	const double *defrost, *valve, *mode; /* states; NULL where not configured */
	bool mode_defrosts;                   /* the mode has a word for it */
	const double *target_c, *cylinder_c;
};

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

/* ---- minutes as rules see them ---- */

static struct flags flags_of(const struct day_view *view)
{
	const struct config *config = view->day->config;
	const struct day_minutes *day = view->day;
	return (struct flags){
		.defrost = day_values(day, config_role(config, ROLE_DEFROST)),
		.valve = day_values(day, config_role(config, ROLE_VALVE)),
		.mode = day_values(day, config_role(config, ROLE_OPERATING_MODE)),
		.mode_defrosts = config_names_mode(config, OPERATING_DEFROST),
		.target_c = day_values(
			day, config_role(config, ROLE_TARGET_FLOW_TEMPERATURE)),
		.cylinder_c =
			day_values(day, config_role(config, ROLE_CYLINDER_TEMPERATURE))};
}

static enum flag flag_is(double state, int wanted)
{
	if (isnan(state) || state < 0.0)
		return FLAG_UNKNOWN;
	return (int)state == wanted ? FLAG_ON : FLAG_OFF;
}

static double value_at(const double *values, size_t i)
{
	return values ? values[i] : (double)NAN;
}

/* Of the meters that feed nothing else; NaN where one of them is unknown. */
static double immersion_w(const struct day_view *view, size_t i)
{
	const struct config *config = view->day->config;
	double w = (double)NAN;
	for (size_t m = 0; m < config->meter_count; m++) {
		int32_t ms = day_meter_ms(view->day, m)[i];
		if (!rules_reads_immersion(config, m))
			continue;
		if (ms < MS_PER_MIN / 2)
			return (double)NAN;
		w = (isnan(w) ? 0.0 : w) + 1000.0 * day_meter_j(view->day, m)[i] / ms;
	}
	return w;
}

static struct rules_row row_of(
	const struct day_view *view, const struct flags *flags, size_t i)
{
	signed char running = view->running[i];
	return (struct rules_row){.minute = view->day->start_min + (int64_t)i,
		.running = running < 0 ? (double)NAN : running,
		.power_w = view->compressor_w[i],
		.immersion_w = immersion_w(view, i),
		.flow_c = value_at(view->flow_c, i),
		.return_c = value_at(view->return_c, i),
		.flow_lpm = value_at(view->rate_lpm, i),
		.outdoor_c = value_at(view->outdoor_c, i),
		.target_c = value_at(flags->target_c, i),
		.cylinder_c = value_at(flags->cylinder_c, i),
		.moved = (double)NAN};
}

static void take_minutes(
	const struct day_view *view, const struct flags *flags, struct flag_lags *lags)
{
	for (size_t i = 0; i < view->count; i++) {
		struct rules_row row = row_of(view, flags, i);
		enum flag defrost = FLAG_ABSENT, hot_water = FLAG_ABSENT;
		if (flags->defrost)
			defrost = flag_is(flags->defrost[i], STATE_ON);
		else if (flags->mode_defrosts)
			defrost = flag_is(flags->mode[i], OPERATING_DEFROST);
		if (flags->valve)
			hot_water = flag_is(flags->valve[i], VALVE_HOT_WATER);
		else if (flags->mode)
			hot_water = flag_is(flags->mode[i], OPERATING_HOT_WATER);
		if (view->known[i] > 0)
			flag_lags_take(lags, &row, defrost, hot_water);
	}
}

/* ---- the day ---- */

static void add_lag(
	const struct day_view *view, enum mode mode, const struct flag_lag *lag)
{
	struct evidence item = evidence_new(view, EVIDENCE_FLAG, (int)mode);
	if (lag->pairs == 0)
		return;
	item.at_min = lag->first_minute;
	item.minutes = (int64_t)lround(lag->median_min);
	item.values[0] = (double)lag->pairs;
	item.values[1] = (double)lag->by_rule;
	item.values[2] = lag->most_min;
	evidence_add(view->list, &item);
}

void look_at_flag(const struct day_view *view)
{
	struct config config = *view->day->config;
	struct flags flags = flags_of(view);
	if (!flags.defrost && !flags.valve && !flags.mode)
		return;
	if (config.modes.hot_water_lpm <= 0.0)
		learn_levels(view, &config);
	struct flag_lags *lags = flag_lags_new(&config);
	take_minutes(view, &flags, lags);
	struct flag_lag defrost = flag_lags_answer(lags, LAG_DEFROST);
	struct flag_lag hot_water = flag_lags_answer(lags, LAG_HOT_WATER);
	add_lag(view, MODE_DEFROST, &defrost);
	add_lag(view, MODE_HOT_WATER, &hot_water);
	flag_lags_free(lags);
}
