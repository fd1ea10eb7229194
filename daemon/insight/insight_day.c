/*
 * One day, reduced: what follows of it without a store. See insight_days.h.
 */
#include <heatbook/insight_days.h>

struct insight_part insight_space(const struct insight_day *day)
{
	static const enum mode modes[] = {
		MODE_HEATING, MODE_OVERRUN, MODE_FREEZE_PROTECTION, MODE_DEFROST};
	struct insight_part sum = {0};
	for (size_t i = 0; i < ARRAY_LEN(modes); i++) {
		const struct insight_part *part = &day->modes[modes[i]];
		sum.ms += part->ms;
		sum.heat_j += part->heat_j;
		sum.heat_ms += part->heat_ms;
		sum.heat_spread_j += part->heat_spread_j;
		sum.paired_heat_j += part->paired_heat_j;
		sum.paired_electricity_j += part->paired_electricity_j;
		sum.paired_ms += part->paired_ms;
		sum.paired_sensitivity_j_per_k += part->paired_sensitivity_j_per_k;
	}
	return sum;
}

int64_t insight_space_heat_j(const struct insight_day *day)
{
	return insight_space(day).heat_j;
}

double insight_share(const struct insight_day *day, int64_t known_ms)
{
	return (double)known_ms / (double)(day->end_ms - day->start_ms);
}
