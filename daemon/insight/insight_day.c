/*
 * One day, reduced: what follows of it without a store. See insight_days.h.
 */
#include <heatbook/insight_days.h>

int64_t insight_space_heat_j(const struct insight_day *day)
{
	static const enum mode modes[] = {
		MODE_HEATING, MODE_OVERRUN, MODE_FREEZE_PROTECTION, MODE_DEFROST};
	int64_t sum_j = 0;
	for (size_t i = 0; i < ARRAY_LEN(modes); i++)
		sum_j += day->modes[modes[i]].heat_j;
	return sum_j;
}

double insight_share(const struct insight_day *day, int64_t known_ms)
{
	return (double)known_ms / (double)(day->end_ms - day->start_ms);
}
