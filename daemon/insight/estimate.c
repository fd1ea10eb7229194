/*
 * Estimates: which there are follows from the configuration, how far an apparent meter is
 * off from the sums. See estimate.h.
 *
 * An immersion heater's joules are booked to hot water whatever the mode, so its power
 * within a mode says nothing: it has the quotient of all alone.
 */
#include <heatbook/estimate.h>

#include <math.h>
#include <string.h>

#define RUNNING                                                                          \
	(1u << MODE_HEATING | 1u << MODE_HOT_WATER | 1u << MODE_DEFROST |                \
		1u << MODE_COOLING)
#define STANDING (1u << MODE_STANDBY)
#define ALL      ((1u << MODE_COUNT) - 1)

#define LEAST_MS      INT64_C(3600000)
#define APART_LEAST_J (0.5 * J_PER_KWH)

static void say_assumed(const struct config *config, char *why, size_t size)
{
	const struct plant_config *p = &config->plant;
	const struct channel_config *c = &config->channels[p->assumed_channel];
	(void)snprintf(why, size, "assumed: %g %s while %s is %s", p->assumed_flow_lpm,
		p->assumed_mass ? "kg/min" : "L/min", c->name,
		p->assumed_state < 0 ? "above 0" : c->states[p->assumed_state]);
}

const char *estimate_quantity(const struct estimate *estimate)
{
	return estimate->kind == ESTIMATE_APPARENT ? "electricity" : "heat";
}

size_t estimates_of(const struct config *config, const struct boundary *boundary,
	struct estimate ret[static ESTIMATES_MOST])
{
	size_t count = 0;
	if (config->plant.assumed_flow_lpm > 0) {
		struct estimate *e = &ret[count++];
		*e = (struct estimate){.kind = ESTIMATE_FLOW,
			.meter = -1,
			.counted = true,
			.limit_percent = config->plant.flow_limit_percent};
		say_assumed(config, e->why, sizeof(e->why));
	}
	if (boundary->heat_lacks) {
		struct estimate *e = &ret[count++];
		*e = (struct estimate){.kind = ESTIMATE_LACKS,
			.meter = -1,
			.counted = true,
			.limit_percent = (double)NAN};
		(void)snprintf(e->why, sizeof(e->why),
			"without the immersion heater's, whose electricity is counted: "
			"no meter tells it apart, so the efficiency is too low");
	}
	for (size_t i = 0; i < config->meter_count; i++) {
		if (!config->meters[i].apparent)
			continue;
		struct estimate *e = &ret[count++];
		*e = (struct estimate){.kind = ESTIMATE_APPARENT,
			.meter = (int)i,
			.counted = boundary->needs & 1u << i,
			.limit_percent = config->meters[i].limit_percent};
		(void)snprintf(e->why, sizeof(e->why),
			"apparent power: volts times amperes, without power factor");
	}
	return count;
}

static const unsigned at_rest =
	1U << MODE_STANDBY | 1U << MODE_OVERRUN | 1U << MODE_FREEZE_PROTECTION;
static const unsigned at_work = 1U << MODE_HEATING | 1U << MODE_HOT_WATER;

/* Of meters in modes, what is measured there. */
static int64_t measured_j(
	const struct energy_bucket *bucket, unsigned meters, unsigned modes)
{
	int64_t j = 0;
	for (int m = 0; m < MODE_COUNT; m++)
		for (size_t i = 0; modes & 1U << m && i < METERS_MOST; i++)
			if (meters & 1U << i)
				j += bucket->modes[m].meter_j[i] -
				     bucket->modes[m].meter_spread_j[i];
	return j;
}

bool estimate_apart(const struct config *config, const struct boundary *boundary,
	const struct energy_bucket *total, struct estimate *ret)
{
	unsigned heaters = 0;
	int first = -1;
	for (size_t i = config->meter_count; i-- > 0;)
		if (boundary->meters & 1U << i &&
			config->meters[i].serves == DEVICE_BACKUP_HEATER) {
			heaters |= 1U << i;
			first = (int)i;
		}
	int64_t j = measured_j(total, heaters, at_rest);
	if ((double)j < APART_LEAST_J ||
		j * 100 < measured_j(total, boundary->meters, at_work))
		return false;
	*ret = (struct estimate){.kind = ESTIMATE_APART,
		.meter = first,
		.counted = true,
		.limit_percent = (double)NAN};
	(void)snprintf(ret->why, sizeof(ret->why),
		"%.1f kWh while the compressor rested, with their heat: in the whole, "
		"but in no efficiency of heating or hot water by itself",
		(double)j / J_PER_KWH);
	return true;
}

/* Mean power of meters over the modes, W; each over its own known time. */
static double mean_w(const struct energy_bucket *bucket, unsigned meters, unsigned modes)
{
	double sum_w = 0.0;
	for (size_t i = 0; i < METERS_MOST; i++) {
		int64_t j = 0, ms = 0;
		if (!(meters & 1u << i))
			continue;
		for (int m = 0; m < MODE_COUNT; m++) {
			const struct energy_sum *sum = &bucket->modes[m];
			j += modes & 1u << m ? sum->meter_j[i] : 0;
			ms += modes & 1u << m ? sum->meter_ms[i] : 0;
		}
		if (ms < LEAST_MS)
			return (double)NAN;
		sum_w += (double)j / ((double)ms / 1000.0);
	}
	return sum_w;
}

static double quotient(
	const struct energy_bucket *bucket, size_t meter, unsigned beside, unsigned modes)
{
	double truly_w = mean_w(bucket, beside, modes);
	return truly_w > 0.0 ? mean_w(bucket, 1u << meter, modes) / truly_w : (double)NAN;
}

bool apparent_compare(const struct config *config, const struct energy_bucket *bucket,
	size_t meter, struct apparent_beside *ret)
{
	unsigned beside = boundary_beside(config, meter);
	bool by_mode = config->meters[meter].serves != DEVICE_IMMERSION;
	if (!config->meters[meter].apparent || !beside)
		return false;
	*ret = (struct apparent_beside){.beside = beside,
		.ratio = quotient(bucket, meter, beside, ALL),
		.ratio_running =
			by_mode ? quotient(bucket, meter, beside, RUNNING) : (double)NAN,
		.ratio_standby = by_mode ? quotient(bucket, meter, beside, STANDING)
					 : (double)NAN};
	return true;
}
