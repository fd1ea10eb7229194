/*
 * Which local days a report is of.
 */
#ifndef REPORT_SPAN_H
#define REPORT_SPAN_H

#include "verbs.h"

/* By --from and --to, --last or --of; else yesterday. The end may lie ahead. False with
 * why it is none. */
bool report_span(const struct verb_call *call, int64_t now_ms, int64_t *ret_from_ms,
	int64_t *ret_to_ms, char why[static 256]);

#endif
