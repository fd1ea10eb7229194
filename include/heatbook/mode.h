/* The accountant's modes: every observed second belongs to exactly one. */
#ifndef HEATBOOK_MODE_H
#define HEATBOOK_MODE_H

enum mode {
	MODE_UNASSIGNED, /* the inputs don't tell */
	MODE_HEATING,
	MODE_HOT_WATER,
	MODE_DEFROST,
	MODE_COOLING,
	MODE_FREEZE_PROTECTION,
	MODE_OVERRUN,
	MODE_STANDBY,
	MODE_COUNT
};

/* "heating", "hot_water" …, as answered over HTTP. */
const char *mode_name(enum mode mode);

#endif
