/*
 * What the plant did, on its way into an answer: events.c asks, event_sheet.c lays it
 * out.
 */
#ifndef HEATBOOK_HTTP_EVENTS_H
#define HEATBOOK_HTTP_EVENTS_H

#include "face.h"
#include "sheet.h"

#include <heatbook/habit.h>
#include <heatbook/runs.h>

#define EVENT_BIN_K INT64_C(3)

enum work {
	WORK_HEATING,
	WORK_HOT_WATER,
	WORK_COOLING,
	WORK_DEFROST,
	WORK_MIXED,
	WORK_IMMERSION,
	WORK_FREEZE_PROTECTION
};

/* Events together: one, those of a bin, or all. */
struct group {
	bool outdoor_known;
	int bin; /* from bin * EVENT_BIN_K */
	size_t count, truncated, short_ones, unplanned;
	int64_t ms, whole_ms; /* of all, of those that are not truncated */
	size_t intervals;     /* that are known, and their sum */
	int64_t interval_ms;
	int64_t immersion_j, immersion_spread_j; /* of heaters themselves */
	struct energy_bucket sums;
};

struct happening {
	int64_t begin_ms, end_ms, ms;
	enum work kind;
	bool by_rule, is_short;
	int cut; /* 1 the begin, 2 the end */
	enum run_end ended;
	int meter;
	enum habit habit;
	int64_t interval_ms; /* -1: not known */
	double means[RUN_MEANS];
	double cylinder_begin_c, cylinder_end_c;
	int64_t immersion_j, immersion_spread_j; /* of a heater itself its own */
	double immersion_share;
	int64_t mode_ms[MODE_COUNT];
	struct figures figures;
};

struct events {
	const struct question *question;
	enum run_kind kind;
	bool unlisted; /* statistics alone are wanted */
	struct span span;
	struct store *store;
	struct immersion_habits habits;
	struct happening *items;
	size_t count, room;
	struct group *bins;
	size_t bin_count;
	struct group total;
	int64_t version;
	struct older_days older;
};

/* Sheets of the events, of the bins, of all as one row; the caller's to release. */
void events_lay(const struct events *e, struct sheet *sheet);
void events_lay_bins(const struct events *e, struct sheet *sheet);
void events_lay_total(const struct events *e, struct sheet *sheet);

#endif
