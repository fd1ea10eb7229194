/*
 * The event of a minute: what /v1/energy and /v1/series answer of it by PT1M, as powers
 * and means, in the words of /v1/now.
 */
#include "stream.h"

#include <heatbook/query.h>

#include <math.h>

static double heat_w(const struct energy_bucket *bucket)
{
	int64_t j = 0, ms = 0;
	for (size_t m = 0; m < MODE_COUNT; m++) {
		j += bucket->modes[m].heat_j - bucket->modes[m].heat_bridged_j;
		ms += bucket->modes[m].heat_ms;
	}
	return figures_watts(j, ms);
}

/* Over all meters that are known. */
static double electricity_w(
	const struct config *config, const struct energy_bucket *bucket)
{
	double sum = (double)NAN;
	for (size_t i = 0; i < config->meter_count; i++) {
		double w = figures_meter_w(bucket, i);
		if (!isnan(w))
			sum = (isnan(sum) ? 0.0 : sum) + w;
	}
	return sum;
}

/* The one that held longest. */
static const char *mode_of(const struct energy_bucket *bucket)
{
	int best = -1;
	int64_t most_ms = 0;
	for (int m = 0; m < MODE_COUNT; m++)
		if (bucket->modes[m].observed_ms > most_ms) {
			best = m;
			most_ms = bucket->modes[m].observed_ms;
		}
	return best < 0 ? NULL : mode_name((enum mode)best);
}

static void write_meters(struct json *json, const struct config *config,
	const struct energy_bucket *bucket)
{
	json_object(json, "meters");
	for (size_t i = 0; i < config->meter_count; i++) {
		json_object(json, config->meters[i].name);
		json_number(json, "electricity_w", figures_meter_w(bucket, i), 0);
		json_object_end(json);
	}
	json_object_end(json);
}

static void write_state(
	struct json *json, const char *key, const struct series_column *column, size_t i)
{
	double mean = column->mean[i];
	bool known = mean >= 0 && mean < (double)column->states.count;
	json_text(json, key, known ? column->states.names[(size_t)mean] : NULL);
}

static void write_channels(struct json *json, const struct config *config,
	const struct series_answer *series, size_t i)
{
	json_object(json, "channels");
	for (size_t c = 0; c < series->column_count; c++) {
		const struct series_column *column = &series->columns[c];
		const struct channel_config *channel = &config->channels[column->channel];
		if (column->states.count)
			write_state(json, channel->name, column, i);
		else
			json_channel_value(json, channel->name, channel, column->mean[i]);
	}
	json_object_end(json);
}

static void write_body(struct buffer *out, const struct config *config,
	const struct energy_bucket *bucket, const struct series_answer *series, size_t i)
{
	struct json json = {0};
	json_object(&json, NULL);
	json_seconds(&json, "t", bucket->t_ms);
	json_seconds(&json, "t_end", bucket->t_end_ms);
	json_number(&json, "heat_w", heat_w(bucket), 0);
	json_number(&json, "electricity_w", electricity_w(config, bucket), 0);
	json_text(&json, "mode", mode_of(bucket));
	write_meters(&json, config, bucket);
	write_channels(&json, config, series, i);
	json_object_end(&json);
	*out = json.out;
}

int minute_bodies(const struct config *config, struct store *store, int64_t minute,
	size_t count, struct buffer *bodies)
{
	struct energy_answer energy = {0};
	struct series_answer series = {0};
	struct boundary boundaries[BOUNDARIES_MOST] = {0};
	int channels[CHANNELS_MOST];
	int64_t *edges_ms = xcalloc(count + 1, sizeof(*edges_ms));

	for (size_t i = 0; i <= count; i++)
		edges_ms[i] = (minute + (int64_t)i) * MS_PER_MIN;
	for (size_t c = 0; c < config->channel_count; c++)
		channels[c] = (int)c;
	(void)boundary_list(config, boundaries); /* without any nothing pairs, no more */
	int r = query_energy(store, edges_ms, count, &boundaries[0], &energy);
	if (r == 0)
		r = query_series(
			store, edges_ms, count, channels, config->channel_count, &series);
	for (size_t i = 0; r == 0 && i < count; i++)
		write_body(&bodies[i], config, &energy.buckets[i], &series, i);
	if (r == 0)
		series_answer_release(&series);
	energy_answer_release(&energy);
	free(edges_ms);
	return r;
}
