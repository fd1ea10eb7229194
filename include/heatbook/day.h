/*
 * The minutes of one local day, or of a part of it, side by side: what channels were and
 * what was booked. Whoever looks for evidence of faults reads them; plain data between
 * the store and daemon/insight/.
 */
#ifndef HEATBOOK_DAY_H
#define HEATBOOK_DAY_H

#include <heatbook/config.h>
#include <heatbook/mode.h>

/* A local day, or a part of it. */
struct day_span {
	int64_t start_min, end_min;
};

/* What was booked in one minute, over all modes. */
struct day_booked {
	double heat_j; /* net */
	int32_t heat_ms;
	int32_t mode; /* enum mode that held longest, -1: nothing was booked */
	int32_t mode_ms;
};

/* Modes that the compressor works in, of which each minute's part is told apart. */
enum day_work { DAY_HEATING, DAY_HOT_WATER, DAY_DEFROST, DAY_WORKS };
static inline enum mode day_work_mode(enum day_work work)
{
	static const enum mode modes[DAY_WORKS] = {[DAY_HEATING] = MODE_HEATING,
		[DAY_HOT_WATER] = MODE_HOT_WATER,
		[DAY_DEFROST] = MODE_DEFROST};
	return modes[work];
}

/* What was booked to one of them in one minute; all of it 0 where the mode did not hold.
 */
struct day_part {
	double heat_j, sensitivity_j_per_k;
	int32_t ms;
	bool heat_known;       /* for all of the time */
	unsigned meters_known; /* bit m: that meter, likewise */
};

/* Arrays of `count` minutes from start_min on, one after the other by channel or meter. A
 * value that was known for less than half of its minute is NaN, and so is one that was
 * not known at all. */
struct day_minutes {
	const struct config *config;
	int64_t start_min, end_min;
	size_t count;
	double *values; /* own units; of a state the configuration's index, STATE_UNKNOWN
			   for a word that no map names */
	struct day_booked *booked;
	double *meter_j; /* NaN: nothing known */
	int32_t *meter_ms;
	struct day_part *parts; /* by enum day_work */
	double *part_meter_j;   /* by enum day_work, then by meter */
};

/* A channel's minutes; NULL for -1, the index of a role that no channel has. */
static inline const double *day_values(const struct day_minutes *day, int channel)
{
	return channel < 0 ? NULL : day->values + (size_t)channel * day->count;
}

static inline const double *day_meter_j(const struct day_minutes *day, size_t meter)
{
	return day->meter_j + meter * day->count;
}

static inline const int32_t *day_meter_ms(const struct day_minutes *day, size_t meter)
{
	return day->meter_ms + meter * day->count;
}

static inline struct day_part *day_parts(
	const struct day_minutes *day, enum day_work work)
{
	return day->parts + (size_t)work * day->count;
}

static inline double *day_part_meter_j(
	const struct day_minutes *day, enum day_work work, size_t meter)
{
	return day->part_meter_j +
	       ((size_t)work * day->config->meter_count + meter) * day->count;
}

/* Empty minutes, all unknown; to be released. */
void day_minutes_init(struct day_minutes *day, const struct config *config,
	int64_t start_min, int64_t end_min);
void day_minutes_release(struct day_minutes *day);

struct store;
/* The stored and pending minutes of [start, end), a day at most; 0, -errno or a store's
 * code. */
int store_day_minutes(
	struct store *store, int64_t start_min, int64_t end_min, struct day_minutes *ret);

#endif
