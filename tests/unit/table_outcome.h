/*
 * What becomes of a table's lines, as text, for tests of how they are read.
 */
#ifndef TABLE_OUTCOME_H
#define TABLE_OUTCOME_H

#include "unit.h"

#include <heatbook/calendar.h>
#include <heatbook/table.h>

#include <time.h>

/* 2026-11-28T06:00:00Z */
#define NOW INT64_C(1795845600000)

struct outcome {
	struct buffer text; /* a line for each row and rejected line, in their order */
	struct buffer said;
	struct table_counts counts;
	int result;
};

static inline int take_row(const struct record *row, void *context)
{
	struct outcome *o = context;
	char stamp[32];
	time_text_utc(row->t_ms, stamp);
	buffer_addf(&o->text, "%s", stamp);
	if (row->number[0])
		buffer_addf(&o->text, "/%lld", (long long)row->number[0]);
	buffer_addf(&o->text, " %.*s\n", (int)row->payload_length,
		(const char *)row->payload);
	ck_assert_int_eq(row->kind, RECORD_ROW);
	ck_assert_int_eq(row->boot_ms, -1);
	ck_assert_uint_ge(row->head_length, 2);
	return 0;
}

static inline void take_rejected(
	uint64_t line, const char *why, const char *text, size_t length, void *context)
{
	struct outcome *o = context;
	buffer_addf(&o->text, "reject %llu: %s: %.*s\n", (unsigned long long)line, why,
		(int)length, text);
}

static inline struct config *configured(const char *table)
{
	struct config *config = NULL;
	struct faults faults = {0};
	_cleanup_(freep) char *text = xasprintf("[plant]\nzone = UTC\n[channel a]\n"
						"[channel b]\n[table t]\n%s",
		table);
	int r = config_parse("t.conf", text, strlen(text), &config, &faults, NULL);
	ck_assert_msg(r == 0, "%s in\n%s", faults.count ? faults.lines[0] : "?", text);
	return config;
}

static inline void outcome_release(struct outcome *o)
{
	buffer_release(&o->text);
	buffer_release(&o->said);
}

#endif
