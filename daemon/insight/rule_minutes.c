/* See rule_minutes.h. */
#include <heatbook/rule_minutes.h>

#include <math.h>
#include <string.h>

static const enum role asked[] = {ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE,
	ROLE_FLOW_RATE, ROLE_OUTDOOR_TEMPERATURE, ROLE_TARGET_FLOW_TEMPERATURE,
	ROLE_CYLINDER_TEMPERATURE, ROLE_COMPRESSOR_FREQUENCY, ROLE_OPERATING_MODE,
	ROLE_VALVE, ROLE_DEFROST};

size_t rule_channels(const struct config *config, int ret[RULE_CHANNELS_MOST])
{
	size_t count = 0;
	for (size_t i = 0; i < ARRAY_LEN(asked); i++) {
		int channel = config_role(config, asked[i]);
		if (channel >= 0)
			ret[count++] = channel;
	}
	return count;
}

static const struct series_column *column_of(
	const struct config *config, const struct series_answer *series, enum role role)
{
	int channel = config_role(config, role);
	for (size_t c = 0; channel >= 0 && c < series->column_count; c++)
		if (series->columns[c].channel == channel)
			return &series->columns[c];
	return NULL;
}

static double mean_of(const struct config *config, const struct series_answer *series,
	size_t i, enum role role)
{
	const struct series_column *column = column_of(config, series, role);
	bool known = column && column->observed_s[i] >= 30.0;
	return known ? column->mean[i] : (double)NAN;
}

/* The state that held longest, or NULL. */
static const char *state_of(const struct config *config,
	const struct series_answer *series, size_t i, enum role role)
{
	const struct series_column *column = column_of(config, series, role);
	if (!column || !(column->mean[i] >= 0.0) ||
		column->mean[i] >= (double)column->states.count)
		return NULL;
	return column->states.names[(size_t)column->mean[i]];
}

static double power_w(const struct config *config, const struct energy_bucket *bucket,
	rules_reads *reads)
{
	double sum_w = (double)NAN;
	for (size_t m = 0; m < config->meter_count; m++) {
		int64_t j = 0, ms = 0;
		if (!reads(config, m))
			continue;
		for (size_t k = 0; k < MODE_COUNT; k++) {
			j += bucket->modes[k].meter_j[m];
			ms += bucket->modes[k].meter_ms[m];
		}
		if (ms < MS_PER_MIN / 2)
			return (double)NAN;
		sum_w = (isnan(sum_w) ? 0.0 : sum_w) + (double)j * 1000.0 / (double)ms;
	}
	return sum_w;
}

static double running(const struct config *config, double frequency_hz, double watts)
{
	bool flag = config_role(config, ROLE_COMPRESSOR_FREQUENCY) >= 0;
	double value = flag ? frequency_hz : watts;
	double least = flag ? 0.0 : config->modes.compressor_on_w;
	if (isnan(value))
		return (double)NAN;
	return value > least ? 1.0 : 0.0;
}

/* By its own flag, else by the operating mode. */
static enum flag says(const char *own, const char *mode, const char *own_word,
	const char *mode_word, bool any)
{
	if (own)
		return strcmp(own, own_word) == 0 ? FLAG_ON : FLAG_OFF;
	if (mode)
		return strcmp(mode, mode_word) == 0 ? FLAG_ON : FLAG_OFF;
	return any ? FLAG_UNKNOWN : FLAG_ABSENT;
}

struct rule_minute rule_minute_of(const struct config *config,
	const struct series_answer *series, const struct energy_answer *energy, size_t i)
{
	const struct energy_bucket *bucket = &energy->buckets[i];
	const char *mode = state_of(config, series, i, ROLE_OPERATING_MODE);
	bool by_mode = config_role(config, ROLE_OPERATING_MODE) >= 0;
	double watts = power_w(config, bucket, rules_reads_compressor);
	return (struct rule_minute){
		.row = {.minute = floor_div(series->t_ms[i], MS_PER_MIN),
			.running = running(config,
				mean_of(config, series, i, ROLE_COMPRESSOR_FREQUENCY),
				watts),
			.power_w = watts,
			.immersion_w = power_w(config, bucket, rules_reads_immersion),
			.flow_c = mean_of(config, series, i, ROLE_FLOW_TEMPERATURE),
			.return_c = mean_of(config, series, i, ROLE_RETURN_TEMPERATURE),
			.flow_lpm = mean_of(config, series, i, ROLE_FLOW_RATE),
			.outdoor_c = mean_of(config, series, i, ROLE_OUTDOOR_TEMPERATURE),
			.target_c =
				mean_of(config, series, i, ROLE_TARGET_FLOW_TEMPERATURE),
			.cylinder_c =
				mean_of(config, series, i, ROLE_CYLINDER_TEMPERATURE),
			.moved = (double)NAN},
		.defrost = says(state_of(config, series, i, ROLE_DEFROST), mode, "on",
			"defrost", by_mode || config_role(config, ROLE_DEFROST) >= 0),
		.hot_water = says(state_of(config, series, i, ROLE_VALVE), mode,
			"hot_water", "hot_water",
			by_mode || config_role(config, ROLE_VALVE) >= 0),
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
