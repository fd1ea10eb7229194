/*
 * A reading: one channel's word at one instant, or a fact about the link or a source. The
 * decoder makes them from records; the engine takes them in their canonical order.
 */
#ifndef HEATBOOK_READING_H
#define HEATBOOK_READING_H

#include <heatbook/record.h>

enum reading_kind {
	READING_FACT,  /* link fact; `channel` holds the enum record_kind */
	READING_ALIVE, /* sign of life of source `channel` without a reading of its own
			  time */
	READING_GONE,  /* the source's Will message says that it is gone */
	READING_VALUE,
	READING_NOVALUE, /* the source says that it does not know: ends the hold */
	READING_BAD      /* not understood: counted, the hold goes on */
};

/* Why a reading is BAD; the words are in bad_reason_text(). Numbers are stored (event.h):
 * none is ever given another meaning. */
enum bad_reason {
	BAD_NONE,
	BAD_JSON,
	BAD_TOO_LONG,
	BAD_TOO_DEEP,
	BAD_BINARY,
	BAD_NOT_A_NUMBER,
	BAD_INFINITE,
	BAD_HEX,
	BAD_SEPARATOR, /* decimal comma or thousands not configured */
	BAD_UNIT,
	BAD_STATE_FOR_NUMBER,
	BAD_STRUCTURE, /* object or array where a value belongs */
	BAD_RANGE,
	BAD_TIME,       /* not understood */
	BAD_TIME_AHEAD, /* more than 120 s after the record's stamp */
	BAD_SENML,
	BAD_REASON_COUNT
};
const char *bad_reason_text(enum bad_reason reason);
#define AHEAD_MOST_MS INT64_C(120000) /* beyond it a time is BAD_TIME_AHEAD */

/* Unknown text on a state channel: VALUE with this code, so that it is time in a state
 * that nobody named rather than a missing or a wrong one. */
#define STATE_UNKNOWN (-1)

struct reading {
	int64_t t_ms;
	double value;               /* own unit, or the state's code */
	const unsigned char *frame; /* the record's binary form: order among equals */
	uint32_t place;             /* element of the payload * 65536 + channel; of a
				       table's row: where it stands in its block */
	union {
		uint32_t exact_ms; /* it holds for just so long; 0: to its limits */
		int32_t behind_s;  /* where own_time; it holds to its limits */
	};
	uint16_t channel; /* or source, or enum record_kind */
	uint8_t kind;     /* enum reading_kind */
	uint8_t reason;   /* enum bad_reason */
	bool retained;
	uint8_t table; /* 1 + the source that is the table whose row it comes from; 0: it
			  comes from a topic, and the channel's source is meant */
	bool own_time; /* its message bore a time, behind_s before the stamp, and was no
			  retained one, whose age tells nothing */
};

/* The canonical order: time, link facts first, kind, topic, bytes, place in the payload.
 * Equal records make equal readings (compare 0), and those count once. */
int reading_compare(const struct reading *a, const struct reading *b);

/* A growing array. */
struct readings {
	struct reading *items;
	size_t count;
	size_t capacity;
};
/* Makes room for that many in all, where it is known before. */
void readings_reserve(struct readings *readings, size_t capacity);
static inline void readings_add(struct readings *readings, const struct reading *reading)
{
	if (readings->count == readings->capacity)
		readings_reserve(
			readings, readings->capacity ? 2 * readings->capacity : 64);
	readings->items[readings->count++] = *reading;
}
void readings_sort(struct readings *readings);
void readings_release(struct readings *readings);

#endif
