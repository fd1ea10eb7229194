/*
 * /metrics: what the daemon knows of itself and the plant at this moment, as OpenMetrics
 * 1.0 (text format; from memory, held against a parser of that format in a test).
 *
 * Base units throughout. Counters are those of the news: of minutes and spans of
 * registers that closed since this run began, so that nothing that is made anew later
 * makes one fall. What is stale or unknown has no sample.
 */
#include "face.h"
#include "openmetrics.h"

#include <heatbook/news.h>

#include <math.h>
#include <string.h>

static struct labels label(const char *name, const char *value)
{
	return (struct labels){{name, NULL}, {value, NULL}};
}

/* What was summed by mode; `leave_out` (or -1) has a family of its own. */
static void write_by_mode(struct buffer *out, const struct family *f, const int64_t *sums,
	int leave_out, int64_t began_ms)
{
	metric_family(out, f);
	for (int m = 0; m < MODE_COUNT; m++) {
		struct labels labels = label("mode", mode_name((enum mode)m));
		if (m != leave_out)
			metric_counter(out, f, &labels, sums[m], began_ms);
	}
}

static void write_mode_seconds(struct buffer *out, const struct news *news)
{
	static const struct family f = {"mode_seconds", "seconds", COUNTER,
		"Time in each mode, of minutes that closed since the start."};
	metric_family(out, &f);
	for (int m = 0; m < MODE_COUNT; m++) {
		struct labels labels = label("mode", mode_name((enum mode)m));
		metric_sample(out, &f, "_total", &labels);
		metric_seconds(out, news->counts.mode_ms[m]);
		metric_created(out, &f, &labels, news->began_ms);
	}
}

static void write_heat(struct buffer *out, const struct news *news)
{
	static const struct family given = {"heat_delivered_joules", "joules", COUNTER,
					   "Heat given to the water, of minutes that "
					   "closed since the start."},
				   drawn = {"heat_drawn_joules", "joules", COUNTER,
					   "Heat taken from the water, as defrosts do, "
					   "of minutes that closed since the start."},
				   cooling = {"cooling_joules", "joules", COUNTER,
					   "Heat taken from the house by cooling, of "
					   "minutes that closed since the start."};
	const struct news_counts *c = &news->counts;
	write_by_mode(out, &given, c->given_j, -1, news->began_ms);
	write_by_mode(out, &drawn, c->drawn_j, MODE_COOLING, news->began_ms);
	metric_family(out, &cooling);
	metric_counter(
		out, &cooling, &no_labels, c->drawn_j[MODE_COOLING], news->began_ms);
}

static void write_electricity(
	struct buffer *out, const struct config *config, const struct news *news)
{
	static const struct family f = {"electricity_joules", "joules", COUNTER,
		"Electricity by power, of minutes that closed since the start; without "
		"that of meters behind."};
	metric_family(out, &f);
	for (size_t i = 0; i < config->meter_count; i++)
		for (int m = 0; m < MODE_COUNT; m++) {
			struct labels labels = {{"meter", "mode"},
				{config->meters[i].name, mode_name((enum mode)m)}};
			if (config_meter_has_power(config, i))
				metric_counter(out, &f, &labels,
					news->counts.meter_j[i][m], news->began_ms);
		}
}

static void write_registers(
	struct buffer *out, const struct config *config, const struct news *news)
{
	static const struct family meters = {"register_joules", "joules", COUNTER,
					   "What meters' registers counted, of spans "
					   "that closed since the start; "
					   "with that of meters behind."},
				   heat = {"heat_register_joules", "joules", COUNTER,
					   "What the heat meter's register counted "
					   "upward, of spans that closed since the "
					   "start."},
				   drawn = {"heat_register_drawn_joules", "joules",
					   COUNTER,
					   "What the heat meter's register counted "
					   "downward, likewise."};
	const struct news_counts *c = &news->counts;
	metric_family(out, &meters);
	for (size_t i = 0; i < config->meter_count; i++) {
		struct labels labels = label("meter", config->meters[i].name);
		if (config_counted(config, i))
			metric_counter(
				out, &meters, &labels, c->register_j[i], news->began_ms);
	}
	if (!config_counted(config, COUNTED_HEAT))
		return;
	metric_family(out, &heat);
	metric_counter(
		out, &heat, &no_labels, c->register_j[COUNTED_HEAT], news->began_ms);
	metric_family(out, &drawn);
	metric_counter(out, &drawn, &no_labels, c->register_drawn_j, news->began_ms);
}

static void write_messages(
	struct buffer *out, const struct live_state *live, const struct news *news)
{
	const struct {
		struct family family;
		uint64_t value;
	} rows[] = {
		{{"messages", NULL, COUNTER, "Messages accepted since the start."},
			live->messages},
		{{"messages_refused", NULL, COUNTER,
			 "Messages refused since the start for want of space."},
			live->refused},
		{{"messages_unmatched", NULL, COUNTER,
			 "Messages since the start that no section reads."},
			live->unmatched},
		{{"messages_repeated_keys", NULL, COUNTER,
			 "Messages since the start with one key twice."},
			live->repeated_keys},
		{{"readings_bad", NULL, COUNTER,
			 "Readings since the start that were not understood."},
			live->bad},
		{{"revisions", NULL, COUNTER,
			 "Times that older rows were written anew since the start."},
			news->revision_count},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		metric_family(out, &rows[i].family);
		metric_counter(out, &rows[i].family, &no_labels, (int64_t)rows[i].value,
			news->began_ms);
	}
}

/* Own units into base units. */
static const struct {
	struct family family;
	double factor;
} by_dimension[DIMENSION_COUNT] = {
	[DIMENSION_NUMBER] = {{"number", NULL, GAUGE, "Channels without a unit."}, 1},
	[DIMENSION_TEMPERATURE] = {{"temperature_celsius", "celsius", GAUGE,
					   "Temperatures."},
		1},
	[DIMENSION_TEMPERATURE_DIFFERENCE] = {{"temperature_difference_kelvins",
						      "kelvins", GAUGE,
						      "Temperature differences."},
		1},
	[DIMENSION_FLOW] = {{"flow_cubic_meters_per_second", "cubic_meters_per_second",
				    GAUGE, "Flow rates of water."},
		1 / 60000.0},
	[DIMENSION_PRESSURE] = {{"pressure_pascals", "pascals", GAUGE, "Pressures."},
		1e5},
	[DIMENSION_POWER] = {{"power_watts", "watts", GAUGE, "Powers."}, 1},
	[DIMENSION_ENERGY] = {{"register_reading_joules", "joules", GAUGE,
				      "Where registers stand, as they say."},
		J_PER_KWH},
	[DIMENSION_VOLTAGE] = {{"voltage_volts", "volts", GAUGE, "Voltages."}, 1},
	[DIMENSION_CURRENT] = {{"current_amperes", "amperes", GAUGE, "Currents."}, 1},
	[DIMENSION_FREQUENCY] = {{"frequency_hertz", "hertz", GAUGE, "Frequencies."}, 1},
	[DIMENSION_RATIO] = {{"share_ratio", "ratio", GAUGE, "Shares of one."}, 0.01},
	[DIMENSION_PRICE] = {{"price_currency_per_kilowatt_hour",
				     "currency_per_kilowatt_hour", GAUGE,
				     "Prices of energy, in the currency that is "
				     "configured."},
		1},
	[DIMENSION_INTENSITY] = {{"carbon_intensity_grams_per_kilowatt_hour",
					 "grams_per_kilowatt_hour", GAUGE,
					 "Carbon dioxide that energy emits."},
		1},
};

static bool is_fresh(const struct latest *latest)
{
	return latest->state == LATEST_FRESH && isfinite(latest->value);
}

static void write_dimension(struct buffer *out, const struct config *config,
	const struct latest *latest, size_t dimension)
{
	const struct family *f = &by_dimension[dimension].family;
	bool begun = false;
	for (size_t c = 0; c < config->channel_count; c++) {
		const struct channel_config *channel = &config->channels[c];
		if (channel->dimension != dimension || channel->states ||
			!is_fresh(&latest[c]))
			continue;
		if (!begun)
			metric_family(out, f);
		begun = true;
		struct labels labels = {
			{"channel", "role"}, {channel->name, role_name(channel->role)}};
		metric_gauge(out, f, &labels,
			latest[c].value * by_dimension[dimension].factor);
	}
}

/* One sample a state: 1 where it holds. */
static void write_states(
	struct buffer *out, const struct config *config, const struct latest *latest)
{
	static const struct family f = {
		"state", NULL, STATESET, "States of channels with a value map."};
	metric_family(out, &f);
	for (size_t c = 0; c < config->channel_count; c++) {
		const struct channel_config *channel = &config->channels[c];
		if (!channel->states || !is_fresh(&latest[c]))
			continue;
		for (size_t s = 0; s < channel->state_count; s++) {
			struct labels labels = {{"channel", METRIC_PREFIX "state"},
				{channel->name, channel->states[s]}};
			metric_gauge(out, &f, &labels, latest[c].value == (double)s);
		}
	}
}

static void write_mode(struct buffer *out, int mode)
{
	static const struct family f = {
		"mode", NULL, STATESET, "What the plant does at this moment."};
	metric_family(out, &f);
	for (int m = 0; m < MODE_COUNT && mode >= 0; m++) {
		struct labels labels =
			label(METRIC_PREFIX "mode", mode_name((enum mode)m));
		metric_gauge(out, &f, &labels, m == mode);
	}
}

/* The limits of /v1/health. */
static void write_limits(
	struct buffer *out, const struct config *config, const struct live_state *live)
{
	static const struct family f = {
		"broken_limit", NULL, STATESET, "Limits of /v1/health: 1 is broken."};
	bool broken;
	const char *name;
	metric_family(out, &f);
	for (size_t i = 0; (name = health_limit(i, config, live, &broken)); i++) {
		struct labels labels = label(METRIC_PREFIX "broken_limit", name);
		metric_gauge(out, &f, &labels, broken);
	}
}

static double seconds_or_nan(int64_t ms)
{
	return ms > 0 ? (double)ms / 1000.0 : (double)NAN;
}

static void write_present(
	struct buffer *out, const struct http *http, const struct live_state *live)
{
	const struct {
		struct family family;
		double value;
	} rows[] = {
		{{"heat_watts", "watts", GAUGE, "Heat given at this moment."},
			live->heat_w},
		{{"electricity_watts", "watts", GAUGE,
			 "Electricity taken at this moment, by all meters that are "
			 "known."},
			live->electricity_w},
		{{"start_time_seconds", "seconds", GAUGE, "When the daemon started."},
			seconds_or_nan(live->started_ms)},
		{{"last_message_time_seconds", "seconds", GAUGE,
			 "When the last message came."},
			seconds_or_nan(live->last_message_ms)},
		{{"last_commit_time_seconds", "seconds", GAUGE,
			 "When what came was stored last."},
			seconds_or_nan(live->last_commit_ms)},
		{{"rows_end_time_seconds", "seconds", GAUGE,
			 "End of the last minute that is closed."},
			seconds_or_nan(live->derived_until_ms)},
		{{"turn_longest_seconds", "seconds", GAUGE,
			 "Longest turn of the loop in the last hour."},
			live->turn_ms_longest / 1000.0},
		{{"tail_bytes", "bytes", GAUGE, "What waits to be stored."},
			(double)live->tail_bytes},
		{{"tail_bound_bytes", "bytes", GAUGE, "How much may wait at most."},
			(double)live->tail_bound_bytes},
		{{"streams", NULL, GAUGE, "How many follow the event stream."},
			http->follower_count},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		metric_family(out, &rows[i].family);
		metric_gauge(out, &rows[i].family, &no_labels, rows[i].value);
	}
}

static void write_build(struct buffer *out)
{
	static const struct family f = {"build", NULL, INFO, "Which heatbook this is."};
	struct labels labels = label("version", HEATBOOK_VERSION);
	metric_family(out, &f);
	metric_sample(out, &f, "_info", &labels);
	buffer_add_text(out, "1\n");
}

void answer_metrics(struct http *http, const struct request *request, struct reply *reply)
{
	const struct config *config = http->config;
	struct live_state live = {0};
	struct buffer *out = &reply->body.out;
	(void)request; /* it has no parameters */
	http->live(LIVE_PRESENT, &live, http->context);
	write_build(out);
	write_present(out, http, &live);
	write_mode(out, live.mode);
	write_limits(out, config, &live);
	for (size_t d = 0; d < DIMENSION_COUNT; d++)
		write_dimension(out, config, live.channels, d);
	write_states(out, config, live.channels);
	if (http->news) {
		write_heat(out, http->news);
		write_mode_seconds(out, http->news);
		write_electricity(out, config, http->news);
		write_registers(out, config, http->news);
		write_messages(out, &live, http->news);
	}
	buffer_add_text(out, "# EOF\n");
	reply->type = OPENMETRICS_TYPE;
}
