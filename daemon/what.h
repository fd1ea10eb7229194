/*
 * What a rebuild would change: figures of days, months and the whole span before and
 * after, worked out on a copy of the store by the same rebuild.
 */
#ifndef WHAT_H
#define WHAT_H

#include "progress.h"
#include "verbs.h"

#include <heatbook/figures.h>
#include <heatbook/rebuild.h>

struct what_row {
	int64_t t_ms, t_end_ms;
	struct figures before, after;
};

struct what {
	struct question question;
	const char *no_boundary; /* why there is none; NULL when there is one */
	struct what_row *days;   /* local days */
	size_t day_count;
	struct what_row *months;
	size_t month_count;
	struct what_row total;
	int64_t *channel_days; /* by channel: days whose mean or known time changes */
	struct rebuild_report rebuilt;
};

/* Does anything of heat, electricity or efficiency differ? */
bool what_differs(const struct what_row *row);

/* The verb with --what: an exit code. */
int what_rebuild(const struct verb_call *call, const struct rebuild_request *request,
	struct progress_line *line);

/* A table in at most 80 columns; the same as JSON. */
void what_text(const struct what *what, struct buffer *out);
void what_json(const struct what *what, struct buffer *out);

#endif
