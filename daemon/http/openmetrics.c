/* The text format: see openmetrics.h. */
#include "openmetrics.h"

#include <inttypes.h>
#include <math.h>

void metric_family(struct buffer *out, const struct family *f)
{
	static const char *const types[] = {[GAUGE] = "gauge",
		[COUNTER] = "counter",
		[STATESET] = "stateset",
		[INFO] = "info"};
	buffer_addf(out, "# TYPE " METRIC_PREFIX "%s %s\n", f->name, types[f->type]);
	if (f->unit)
		buffer_addf(out, "# UNIT " METRIC_PREFIX "%s %s\n", f->name, f->unit);
	buffer_addf(out, "# HELP " METRIC_PREFIX "%s %s\n", f->name, f->help);
}

static void add_escaped(struct buffer *out, const char *text)
{
	for (; *text; text++) {
		if (*text == '\n')
			buffer_add(out, "\\n", 2);
		else if (*text == '"' || *text == '\\')
			buffer_addf(out, "\\%c", *text);
		else
			buffer_add(out, text, 1);
	}
}

void metric_sample(struct buffer *out, const struct family *f, const char *suffix,
	const struct labels *labels)
{
	buffer_addf(out, METRIC_PREFIX "%s%s", f->name, suffix);
	for (size_t i = 0; i < 2 && labels->names[i]; i++) {
		buffer_addf(out, "%s%s=\"", i ? "," : "{", labels->names[i]);
		add_escaped(out, labels->values[i]);
		buffer_add_text(out, "\"");
	}
	buffer_add_text(out, labels->names[0] ? "} " : " ");
}

void metric_gauge(struct buffer *out, const struct family *f, const struct labels *labels,
	double value)
{
	if (!isfinite(value))
		return;
	metric_sample(out, f, "", labels);
	buffer_addf(out, "%.15g\n", value);
}

void metric_seconds(struct buffer *out, int64_t ms)
{
	buffer_addf(out, "%" PRId64 ".%03" PRId64 "\n", ms / 1000, ms % 1000);
}

void metric_created(struct buffer *out, const struct family *f,
	const struct labels *labels, int64_t began_ms)
{
	metric_sample(out, f, "_created", labels);
	metric_seconds(out, began_ms);
}

void metric_counter(struct buffer *out, const struct family *f,
	const struct labels *labels, int64_t value, int64_t began_ms)
{
	metric_sample(out, f, "_total", labels);
	buffer_addf(out, "%" PRId64 "\n", value);
	metric_created(out, f, labels, began_ms);
}
