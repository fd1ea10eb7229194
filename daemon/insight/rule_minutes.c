/*
 * See rule_minutes.h. A flag of its own tells, where one is configured, else the
 * operating mode does.
 */
#include <heatbook/rule_minutes.h>

#include <math.h>
#include <string.h>

static const double *by_role(const struct day_minutes *day, enum role role)
{
	return day_values(day, config_role(day->config, role));
}

struct rule_channels rule_channels_of(const struct day_minutes *day)
{
	return (struct rule_channels){
		.frequency_hz = by_role(day, ROLE_COMPRESSOR_FREQUENCY),
		.flow_c = by_role(day, ROLE_FLOW_TEMPERATURE),
		.return_c = by_role(day, ROLE_RETURN_TEMPERATURE),
		.flow_lpm = by_role(day, ROLE_FLOW_RATE),
		.outdoor_c = by_role(day, ROLE_OUTDOOR_TEMPERATURE),
		.target_c = by_role(day, ROLE_TARGET_FLOW_TEMPERATURE),
		.cylinder_c = by_role(day, ROLE_CYLINDER_TEMPERATURE),
		.defrost = by_role(day, ROLE_DEFROST),
		.valve = by_role(day, ROLE_VALVE),
		.mode = by_role(day, ROLE_OPERATING_MODE),
		.mode_defrosts = config_names_mode(day->config, OPERATING_DEFROST)};
}

static double value_at(const double *values, size_t i)
{
	return values ? values[i] : (double)NAN;
}

/* Of the meters that a rule reads; NaN where one of them is unknown, or there is none. */
static double power_w(const struct day_minutes *day, rules_reads *reads, size_t i)
{
	double w = (double)NAN;
	for (size_t m = 0; m < day->config->meter_count; m++) {
		int32_t ms = day_meter_ms(day, m)[i];
		if (!reads(day->config, m))
			continue;
		if (ms < MS_PER_MIN / 2)
			return (double)NAN;
		w = (isnan(w) ? 0.0 : w) + 1000.0 * day_meter_j(day, m)[i] / ms;
	}
	return w;
}

static double running(const struct config *config, const struct rule_channels *c,
	double watts, size_t i)
{
	double value = c->frequency_hz ? c->frequency_hz[i] : watts;
	double least = c->frequency_hz ? 0.0 : config->modes.compressor_on_w;
	if (isnan(value))
		return (double)NAN;
	return value > least ? 1.0 : 0.0;
}

static enum flag flag_is(double state, int wanted)
{
	if (isnan(state) || state < 0.0)
		return FLAG_UNKNOWN;
	return (int)state == wanted ? FLAG_ON : FLAG_OFF;
}

static enum flag defrost_at(const struct rule_channels *c, size_t i)
{
	if (c->defrost)
		return flag_is(c->defrost[i], STATE_ON);
	return c->mode_defrosts ? flag_is(c->mode[i], OPERATING_DEFROST) : FLAG_ABSENT;
}

static enum flag hot_water_at(const struct rule_channels *c, size_t i)
{
	if (c->valve)
		return flag_is(c->valve[i], VALVE_HOT_WATER);
	return c->mode ? flag_is(c->mode[i], OPERATING_HOT_WATER) : FLAG_ABSENT;
}

struct rule_minute rule_minute_of(
	const struct day_minutes *day, const struct rule_channels *c, size_t i)
{
	double watts = power_w(day, rules_reads_compressor, i);
	return (struct rule_minute){
		.row = {.minute = day->start_min + (int64_t)i,
			.running = running(day->config, c, watts, i),
			.power_w = watts,
			.immersion_w = power_w(day, rules_reads_immersion, i),
			.flow_c = value_at(c->flow_c, i),
			.return_c = value_at(c->return_c, i),
			.flow_lpm = value_at(c->flow_lpm, i),
			.outdoor_c = value_at(c->outdoor_c, i),
			.target_c = value_at(c->target_c, i),
			.cylinder_c = value_at(c->cylinder_c, i),
			.moved = (double)NAN},
		.defrost = defrost_at(c, i),
		.hot_water = hot_water_at(c, i),
	};
}

void grain_init(struct grain *grain)
{
	memset(grain, 0, sizeof(*grain));
	grain->last_c = (double)NAN;
	grain->last_minute = NEVER_MS;
}

static void end_stretch(struct grain *grain)
{
	int64_t at = grain->length < GRAIN_MOST ? grain->length : GRAIN_MOST;
	if (at > 0)
		grain->counts[at - 1]++;
	grain->length = 0;
}

void grain_take(struct grain *grain, const struct rules_row *row)
{
	bool follows = row->minute - 1 == grain->last_minute;
	bool runs = row->running > 0.5 && !isnan(row->flow_c);
	if (!runs || !follows)
		grain->length = 0; /* cut: its length is not known */
	else if (row->flow_c == grain->last_c)
		grain->length += grain->length > 0;
	else {
		end_stretch(grain);
		grain->length = 1;
	}
	grain->last_c = runs ? row->flow_c : (double)NAN;
	grain->last_minute = runs ? row->minute : NEVER_MS;
}

double grain_median_min(const struct grain *grain)
{
	int64_t all = 0, below = 0;
	for (size_t i = 0; i < GRAIN_MOST; i++)
		all += grain->counts[i];
	for (size_t i = 0; all > 0 && i < GRAIN_MOST; i++) {
		below += grain->counts[i];
		if (2 * below >= all)
			return (double)(i + 1);
	}
	return (double)NAN;
}
