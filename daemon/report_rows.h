/*
 * The report's rows: a line a day, week, month or year.
 */
#ifndef REPORT_ROWS_H
#define REPORT_ROWS_H

#include "report.h"

/* The table of the report's buckets, where a step was asked for. */
void report_rows(struct buffer *out, const struct report *report);

#endif
