/*
 * The phases of a unit's supply: what each of them takes more while the compressor runs
 * than at rest, beside the others together. A phase whose clamp fell off, or that is
 * repeated, takes nothing more; which of them carry the compressor, and how much, is each
 * house's own, so that only days tell (finding_phase.c).
 */
#include "evidence.h"

#include <math.h>

enum { RAN_MIN = 60, RESTED_MIN = 60 };

struct phase_sums {
	double own_w[2], others_w[2]; /* at rest, running */
	size_t minutes[2];
};

static struct phase_sums sums_of(
	const struct day_view *view, const struct meter_config *meter, size_t which)
{
	struct phase_sums sums = {0};
	for (size_t i = 0; i < view->count; i++) {
		double own = 0.0, others = 0.0;
		for (size_t p = 0; p < meter->power_count; p++)
			*(p == which ? &own : &others) +=
				day_values(view->day, meter->power[p])[i];
		if (view->running[i] < 0 || isnan(own + others))
			continue;
		size_t ran = view->running[i] == 1;
		sums.own_w[ran] += own;
		sums.others_w[ran] += others;
		sums.minutes[ran]++;
	}
	return sums;
}

static void look_at_phase(
	const struct day_view *view, const struct meter_config *meter, size_t which)
{
	struct evidence item = evidence_new(view, EVIDENCE_PHASE, meter->power[which]);
	struct phase_sums sums = sums_of(view, meter, which);
	if (sums.minutes[1] < RAN_MIN || sums.minutes[0] < RESTED_MIN)
		return;
	item.minutes = (int64_t)sums.minutes[1];
	for (int ran = 0; ran < 2; ran++) {
		item.values[1 - ran] = sums.own_w[ran] / (double)sums.minutes[ran];
		item.values[3 - ran] = sums.others_w[ran] / (double)sums.minutes[ran];
	}
	item.values[4] = (double)sums.minutes[0];
	evidence_add(view->list, &item);
}

void look_at_phases(const struct day_view *view)
{
	const struct config *config = view->day->config;
	for (size_t m = 0; m < config->meter_count; m++) {
		const struct meter_config *meter = &config->meters[m];
		bool of_unit =
			meter->serves & DEVICE_COMPRESSOR &&
			!(meter->serves & (DEVICE_BACKUP_HEATER | DEVICE_IMMERSION));
		for (size_t p = 0;
			of_unit && meter->power_count > 1 && p < meter->power_count; p++)
			look_at_phase(view, meter, p);
	}
}
