/*
 * See report_course.h.
 *
 * Energies are drawn as mean powers over the time that they were known: columns that are
 * cut by the span's ends, or known in part, stand as high as whole ones. What a register
 * bridged has no known time, and is in no column. Powers are drawn from 0 (or from the
 * least, where heat was drawn back for longer than a column), what has no zero of its own
 * from its least to its most.
 */
#include "report_course.h"

#include "report_line.h"

#include <errno.h>
#include <math.h>

enum { SCALE_WIDTH = 22 }; /* "   -12.34 to 56.78 °C" */

static const struct {
	const char *name;
	struct duration step;
} steps[] = {
	{"hour", {.exact_ms = MS_PER_HOUR}},
	{"day", {.days = 1}},
	{"week", {.days = 7}},
	{"month", {.months = 1}},
	{"year", {.years = 1}},
};

static double power_kw(const struct figures *f, enum column energy, enum column bridged,
	enum column known, int64_t span_ms)
{
	const struct cell *c = f->cells;
	if (!c[energy].known || c[known].value * 2 < span_ms)
		return (double)NAN;
	double kwh = (double)(c[energy].value - c[bridged].value) / 1e7;
	return kwh * MS_PER_HOUR / (double)c[known].value;
}

static struct course_column column_of(
	const struct energy_bucket *bucket, const struct question *q)
{
	struct figures f = figures_whole(bucket, q);
	const struct cell *c = f.cells;
	int64_t span_ms = bucket->t_end_ms - bucket->t_ms;
	bool quotient = report_has_ratio(&f) && c[PAIRED_S].value * 2 >= span_ms;
	return (struct course_column){
		power_kw(&f, HEAT, BRIDGED_HEAT, HEAT_OBSERVED_S, span_ms),
		power_kw(&f, ELECTRICITY, BRIDGED_ELECTRICITY, ELECTRICITY_OBSERVED_S,
			span_ms),
		quotient ? (double)c[COP].value / 1e6 : (double)NAN, (double)NAN};
}

/* They are no part of the account: without them the course has a line less. */
static void ask_outdoor(struct store *store, const struct config *config,
	const int64_t *edges_ms, struct course *course)
{
	int channel = config_role(config, ROLE_OUTDOOR_TEMPERATURE);
	struct series_answer answer;
	if (channel < 0 ||
		query_series(store, edges_ms, course->count, &channel, 1, &answer) != 0)
		return;
	const struct series_column *column = &answer.columns[0];
	for (size_t i = 0; i < course->count; i++) {
		int64_t span_ms = edges_ms[i + 1] - edges_ms[i];
		if (column->observed_s[i] * 2000.0 >= (double)span_ms)
			course->columns[i].outdoor_c = column->mean[i];
	}
	series_answer_release(&answer);
}

int course_ask(struct store *store, const struct question *q, int64_t from_ms,
	int64_t to_ms, const struct paper *paper, struct course *ret)
{
	struct energy_answer answer;
	int64_t *edges = NULL;
	size_t room = (size_t)(paper->width - NAME_WIDTH - SCALE_WIDTH), step = 0;
	*ret = (struct course){0};
	while (step < ARRAY_LEN(steps) && query_buckets(from_ms, to_ms, &steps[step].step,
						  room, &edges, &ret->count) != 0)
		step++;
	int r = edges ? query_energy(store, edges, ret->count, &q->boundary, &answer) : 0;
	if (!edges || r != 0) {
		free(edges);
		ret->count = 0;
		return r == QUERY_TOO_SLOW ? 0 : r;
	}
	if (q->preview)
		preview_offset(&answer, q->offset_k);
	ret->step = steps[step].name;
	ret->columns = xcalloc(ret->count, sizeof(*ret->columns));
	for (size_t i = 0; i < ret->count; i++)
		ret->columns[i] = column_of(&answer.buckets[i], q);
	ask_outdoor(store, q->config, edges, ret);
	energy_answer_release(&answer);
	free(edges);
	return 0;
}

void course_release(struct course *course)
{
	free(course->columns);
	*course = (struct course){0};
}

/* ---- lines ---- */

struct scale {
	double least, most;
	bool any;
};

static double value_of(const struct course *course, size_t i, size_t offset)
{
	return *(
		const double *)(const void *)((const char *)&course->columns[i] + offset);
}

static struct scale scale_of(const struct course *course, size_t offset, bool from_zero)
{
	struct scale scale = {.least = from_zero ? 0.0 : (double)INFINITY,
		.most = from_zero ? 0.0 : -(double)INFINITY};
	for (size_t i = 0; i < course->count; i++) {
		double value = value_of(course, i, offset);
		if (isnan(value))
			continue;
		scale.least = fmin(scale.least, value);
		scale.most = fmax(scale.most, value);
		scale.any = true;
	}
	return scale;
}

static void add_line(struct buffer *out, const struct course *course, const char *name,
	size_t offset, const char *unit, bool from_zero, const struct paper *paper)
{
	struct scale scale = scale_of(course, offset, from_zero);
	if (!scale.any)
		return;
	double height = scale.most - scale.least;
	report_add_name(out, name);
	for (size_t i = 0; i < course->count; i++) {
		double value = value_of(course, i, offset);
		double share = height > 0.0 ? (value - scale.least) / height : 0.5;
		buffer_add_text(
			out, paper_level(paper, isnan(value) ? (double)NAN : share));
	}
	buffer_addf(out, "   %.2f to %.2f%s%s\n", scale.least + 0.0, scale.most,
		*unit ? " " : "", unit);
}

static bool has_gap(const struct course *course)
{
	for (size_t i = 0; i < course->count; i++) {
		const struct course_column *c = &course->columns[i];
		if (isnan(c->heat_kw) || isnan(c->electricity_kw) ||
			isnan(c->efficiency) || isnan(c->outdoor_c))
			return true;
	}
	return false;
}

void course_write(
	struct buffer *out, const struct course *course, const struct paper *paper)
{
	static const struct {
		const char *name;
		size_t offset;
		const char *unit;
		bool from_zero;
	} lines[] = {
		{"heat", offsetof(struct course_column, heat_kw), "kW", true},
		{"electricity", offsetof(struct course_column, electricity_kw), "kW",
			true},
		{"efficiency", offsetof(struct course_column, efficiency), "", false},
		{"outdoors", offsetof(struct course_column, outdoor_c), "°C", false},
	};
	bool any = false;
	for (size_t i = 0; i < ARRAY_LEN(lines); i++)
		any = any || scale_of(course, lines[i].offset, false).any;
	if (course->count < 2 || !any)
		return;
	report_add_name(out, "course");
	buffer_addf(out, "a column is %s %s", course->step[0] == 'h' ? "an" : "a",
		course->step);
	if (has_gap(course))
		buffer_addf(out, "; %s is unknown", paper_gap(paper));
	buffer_add_text(out, paper->plain ? "; digits: tenths of the scale\n" : "\n");
	for (size_t i = 0; i < ARRAY_LEN(lines); i++)
		add_line(out, course, lines[i].name, lines[i].offset, lines[i].unit,
			lines[i].from_zero, paper);
	buffer_add_text(out, "\n");
}
