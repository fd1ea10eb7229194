/* Runs, and how they end, in the words of an API. */
#include <heatbook/runs.h>

const char *run_kind_name(enum run_kind kind)
{
	static const char *const names[RUN_KINDS] = {[RUN_COMPRESSOR] = "compressor",
		[RUN_DEFROST] = "defrost",
		[RUN_HOT_WATER] = "hot_water",
		[RUN_IMMERSION] = "immersion",
		[RUN_FREEZE_PROTECTION] = "freeze_protection"};
	return names[kind];
}

const char *const run_end_words[RUN_ENDS] = {[RUN_STOPPED] = "stopped",
	[RUN_AT_TARGET] = "target",
	[RUN_BY_HOT_WATER] = "hot_water",
	[RUN_BY_HEATING] = "heating",
	[RUN_BY_COOLING] = "cooling",
	[RUN_BY_DEFROST] = "defrost",
	[RUN_BY_GAP] = "gap",
	[RUN_GOING_ON] = "going_on"};
