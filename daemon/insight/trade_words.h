/*
 * Words of the trade in topics and keys, and what they mean.
 */
#ifndef INSIGHT_TRADE_WORDS_H
#define INSIGHT_TRADE_WORDS_H

#include <heatbook/base.h>

enum concept {
	/* what is measured */
	C_TEMPERATURE,
	C_RATE, /* volume flow */
	C_PRESSURE,
	C_HUMIDITY,
	C_POWER,
	C_ENERGY,
	C_FREQUENCY,
	C_VOLTAGE,
	C_CURRENT,
	C_PERCENT,
	C_APPARENT, /* apparent or reactive: no true power */
	C_PHASE,
	C_TOTAL,
	/* where */
	C_FLOW, /* the pipe to the emitters; also "flow" as such */
	C_RETURN,
	C_OUT, /* outlet or outdoors */
	C_IN,
	C_WATER,
	C_OUTDOOR,
	C_ROOM,
	C_LIVING, /* the room that speaks for the house */
	C_CYLINDER,
	C_REFRIGERANT,
	C_BRINE,
	C_ELSEWHERE, /* solar, car, freezer … */
	/* what for */
	C_TARGET,
	C_HEAT,
	C_EXPORT,
	/* devices */
	C_UNIT, /* the heat pump */
	C_COMPRESSOR,
	C_IMMERSION,
	C_BACKUP,
	C_PUMP,
	C_HOUSE,
	C_METER,
	/* states */
	C_MODE,
	C_VALVE,
	C_DEFROST,
	C_PRESENCE, /* status, online, will */
	C_NEUTRAL,  /* value, reading … */
	C_COUNT
};

#define BIT(concept) (UINT64_C(1) << (concept))

/* What a path of topic and pointer says. */
struct trail {
	char text[400];   /* small letters, digits, _ between words, / between levels */
	uint64_t near;    /* concepts of the last level that is not neutral */
	uint64_t far;     /* of all levels before it */
	char subject[64]; /* words of the path that name no quantity: who is measured */
	const char *evidence[2]; /* words of the table that were found near and far */
};

/* `pointer` is "" or an RFC 6901 pointer, or a SenML name. */
void trail_read(const char *topic, const char *pointer, struct trail *ret);
/* Small letters a to z, digits and _; accents dropped, ä as ae. */
void words_plain(const char *text, char *out, size_t size);

/* What a state's word says; HEARD_COUNT = nothing that is known. */
enum heard_state {
	HEARD_HEATING,
	HEARD_HOT_WATER,
	HEARD_COOLING,
	HEARD_DEFROST,
	HEARD_STANDBY,
	HEARD_OFF,
	HEARD_ON,
	HEARD_FREEZE,
	HEARD_OVERRUN,
	HEARD_PRESENT,
	HEARD_GONE,
	HEARD_COUNT
};
enum heard_state heard_state(const char *word);
/* The i-th usual word for a state, or NULL. */
const char *heard_usual(enum heard_state state, size_t i);

#endif
