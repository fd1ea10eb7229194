/*
 * How the store's file grows: what is stored says it, at the cost of some days' chunks.
 */
#ifndef HEATBOOK_GROWTH_H
#define HEATBOOK_GROWTH_H

#include <heatbook/store.h>

struct growth {
	int64_t bytes;              /* of the file, now */
	int64_t used_bytes;         /* of these not free */
	double journal_bytes_a_day; /* live, of the last whole days; NaN: not known yet */
	double rows_bytes_a_day;    /* all but the journal, a stored day; NaN as above */
	double year_bytes;          /* the file in a year; NaN as above */
	int64_t device_free_bytes;  /* for this user; -1: cannot be told */
	int64_t full_ms; /* when the device would be full; 0: not within 20 years */
};

/* 0 or a store's code. */
int store_growth(struct store *store, int64_t now_ms, struct growth *ret);

#endif
