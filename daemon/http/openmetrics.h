/*
 * The text format of OpenMetrics 1.0 (from memory): families with their type, unit and
 * help, then their samples, one a line. All of a family stands together: the caller's to
 * see to.
 */
#ifndef HEATBOOK_HTTP_OPENMETRICS_H
#define HEATBOOK_HTTP_OPENMETRICS_H

#include <heatbook/base.h>

#define OPENMETRICS_TYPE "application/openmetrics-text; version=1.0.0; charset=utf-8"
#define METRIC_PREFIX    "heatbook_" /* of every family's name */

enum metric_type { GAUGE, COUNTER, STATESET, INFO };

struct family {
	const char *name; /* behind the prefix, with its unit at the end */
	const char *unit; /* or NULL */
	enum metric_type type;
	const char *help;
};

/* Names and values of at most two labels; a NULL name ends them. */
struct labels {
	const char *names[2], *values[2];
};
static const struct labels no_labels;

void metric_family(struct buffer *out, const struct family *family);
/* A line up to its value, which ends it; the name with a suffix ("_total"). */
void metric_sample(struct buffer *out, const struct family *family, const char *suffix,
	const struct labels *labels);
/* A value of seconds, with its line's end. */
void metric_seconds(struct buffer *out, int64_t ms);
/* Whole samples. Without a value (NaN) there is none. */
void metric_gauge(struct buffer *out, const struct family *family,
	const struct labels *labels, double value);
void metric_counter(struct buffer *out, const struct family *family,
	const struct labels *labels, int64_t value, int64_t began_ms);
/* Since when a counter counts, behind its total. */
void metric_created(struct buffer *out, const struct family *family,
	const struct labels *labels, int64_t began_ms);

#endif
