/*
 * The names of the accountant's modes, as rows and answers spell them.
 */
#include <heatbook/mode.h>

#include <heatbook/base.h>

#include <assert.h>

const char *mode_name(enum mode mode)
{
	static const char *const names[MODE_COUNT] = {
		[MODE_UNASSIGNED] = "unassigned",
		[MODE_HEATING] = "heating",
		[MODE_HOT_WATER] = "hot_water",
		[MODE_DEFROST] = "defrost",
		[MODE_COOLING] = "cooling",
		[MODE_FREEZE_PROTECTION] = "freeze_protection",
		[MODE_OVERRUN] = "overrun",
		[MODE_STANDBY] = "standby",
	};
	assert((unsigned)mode < MODE_COUNT);
	return names[mode];
}
