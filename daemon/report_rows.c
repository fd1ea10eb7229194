/*
 * See report_rows.h. Each quotient is of its row's paired sums. A row of which less is
 * known is called partial or "at least" by whichever of heat and electricity is known
 * less. Where the paper is narrow, the bars go first, then what is only weather.
 */
#include "report_rows.h"

#include "report_line.h"

#include <heatbook/calendar.h>

#include <math.h>
#include <string.h>

enum {
	ROW_NAME = 10,
	ROW_ENERGY = 9,
	ROW_RATIO = 7,
	ROW_OUTDOOR = 9,
	ROW_DEGREES = 8,
	ROW_KNOWN = 6,
	ROW_WORD = 10,
	BAR_LEAST = 4,
	BAR_MOST = 40,
	ROW_TEXT = 32
};

/* What of the table fits. */
struct layout {
	bool outdoor, degree_days;
	int bar; /* columns, 0: none */
};

static struct layout layout_of(const struct report *report)
{
	int used = ROW_NAME + 2 * ROW_ENERGY + 2 * ROW_RATIO + ROW_KNOWN + ROW_WORD;
	struct layout l = {0};
	l.outdoor = report->outdoor && used + ROW_OUTDOOR <= report->paper.width;
	used += l.outdoor ? ROW_OUTDOOR : 0;
	l.degree_days = l.outdoor && used + ROW_DEGREES <= report->paper.width;
	used += l.degree_days ? ROW_DEGREES : 0;
	int left = report->paper.width - used;
	bool narrow = report->outdoor && !l.degree_days;
	l.bar = narrow || left < BAR_LEAST ? 0 : left > BAR_MOST ? BAR_MOST : left;
	return l;
}

/* The ISO 8601 year and week of a date: those of the week's Thursday. */
static void week_text(struct date date, char text[static ROW_TEXT])
{
	struct date thursday = calendar_add(date, 0, 0, 4 - calendar_weekday(date));
	struct date first = {thursday.year, 1, 1};
	int64_t days = (calendar_day_start(thursday) - calendar_day_start(first) +
			       MS_PER_DAY / 2) /
		       MS_PER_DAY;
	(void)snprintf(text, ROW_TEXT, "%04d-W%02d", thursday.year, (int)(days / 7) + 1);
}

static void name_row(const struct duration *step, const struct energy_bucket *row,
	char text[static ROW_TEXT])
{
	struct date date = calendar_date(row->t_ms);
	calendar_date_text(date, text);
	if (step->days == 7)
		week_text(date, text);
	else if (step->months)
		text[strlen("2026-01")] = '\0';
	else if (step->years)
		text[strlen("2026")] = '\0';
}

/* Does the row's own calendar span begin before it, or end after it? */
static bool is_cut(const struct duration *step, const struct energy_bucket *row)
{
	struct date date = calendar_date(row->t_ms);
	if (step->days == 7)
		date = calendar_add(date, 0, 0, 1 - calendar_weekday(date));
	else if (!step->days)
		date.day = 1;
	if (step->years)
		date.month = 1;
	return calendar_day_start(date) != row->t_ms ||
	       calendar_day_start(calendar_add(
		       date, step->years, step->months, step->days)) != row->t_end_ms;
}

/* The lesser known time of heat and, with a boundary, electricity; less cooling's. */
static int64_t known_ms(const struct report *report, const struct figures *f)
{
	int64_t heat = f->cells[HEAT_OBSERVED_S].value;
	int64_t electricity = f->cells[ELECTRICITY_OBSERVED_S].value;
	return report->no_boundary || heat < electricity ? heat : electricity;
}

static void add_cell(struct buffer *out, const struct cell *cell, int decimals, int width)
{
	struct buffer text = {0};
	if (cell->known)
		report_add_decimals(&text, cell->value, decimals);
	else
		buffer_add_text(&text, "?");
	report_add_right(out, buffer_text(&text), width);
	buffer_release(&text);
}

static void add_number(struct buffer *out, double value, int decimals, int width)
{
	char text[32] = "?";
	if (isfinite(value))
		(void)snprintf(text, sizeof(text), "%.*f", decimals, value);
	report_add_right(out, text, width);
}

static void add_ratio(struct buffer *out, const struct figures *f)
{
	const struct cell *c = f->cells;
	if (report_has_ratio(f)) {
		add_cell(out, &c[COP], RATIO_DECIMALS, ROW_RATIO);
		add_cell(out, &c[COP_UNCERTAINTY], RATIO_DECIMALS, ROW_RATIO);
		return;
	}
	report_add_right(out, c[PAIRED_S].value ? "-" : "?", ROW_RATIO);
	buffer_addf(out, "%*s", ROW_RATIO, "");
}

static void add_weather(
	struct buffer *out, const struct layout *l, const struct degree_sum *d)
{
	bool known = d->days > 0;
	if (l->outdoor)
		add_number(out, known ? d->weighted_c / (double)d->known_ms : (double)NAN,
			1, ROW_DEGREES);
	if (l->degree_days)
		add_number(out, known ? d->kd[DEGREE_INTEGRAL] : (double)NAN, 1,
			ROW_DEGREES);
}

static void add_known(struct buffer *out, int64_t known, int64_t span)
{
	char text[32];
	(void)snprintf(text, sizeof(text), "%lld %%",
		(long long)(span > 0 ? known * 100 / span : 0));
	report_add_right(out, text, ROW_KNOWN);
	buffer_addf(out, " %-*s", ROW_WORD - 1, known ? report_degree(known, span) : "");
}

static double bar_share(const struct figures *f, double most)
{
	const struct cell *heat = &f->cells[HEAT];
	return heat->known ? fmax((double)heat->value, 0.0) / most : (double)NAN;
}

static void add_row(struct buffer *out, const struct report *report,
	const struct layout *l, const char *name, const struct energy_bucket *bucket,
	const struct degree_sum *degrees, double most)
{
	struct figures f = figures_whole(bucket, &report->question);
	int64_t span =
		bucket->t_end_ms - bucket->t_ms - bucket->modes[MODE_COOLING].observed_ms;
	size_t begin = out->length;
	buffer_addf(out, "%-*s", ROW_NAME, name);
	add_cell(out, &f.cells[HEAT], KWH_DECIMALS, ROW_ENERGY);
	add_cell(out, &f.cells[ELECTRICITY], KWH_DECIMALS, ROW_ENERGY);
	add_ratio(out, &f);
	add_weather(out, l, degrees);
	add_known(out, known_ms(report, &f), span);
	if (l->bar && most > 0.0)
		paper_add_bar(out, &report->paper, bar_share(&f, most), l->bar);
	while (out->length > begin && out->data[out->length - 1] == ' ')
		out->length--;
	buffer_add_text(out, "\n");
}

static void add_head(struct buffer *out, const struct layout *l)
{
	static const char *const lines[2][7] = {
		{"heat", "electr.", "effi-", "±", "outdoors", "degree", "known"},
		{"kWh", "kWh", "ciency", "", "°C", "days", ""}};
	static const int widths[7] = {ROW_ENERGY, ROW_ENERGY, ROW_RATIO, ROW_RATIO,
		ROW_OUTDOOR, ROW_DEGREES, ROW_KNOWN};
	for (size_t line = 0; line < 2; line++) {
		buffer_addf(out, "%*s", ROW_NAME, "");
		for (size_t i = 0; i < ARRAY_LEN(widths); i++)
			if ((i != 4 || l->outdoor) && (i != 5 || l->degree_days))
				report_add_right(out, lines[line][i], widths[i]);
		while (out->data[out->length - 1] == ' ')
			out->length--;
		buffer_add_text(out, "\n");
	}
}

void report_rows(struct buffer *out, const struct report *report)
{
	const struct energy_answer *answer = &report->answer;
	struct layout l = layout_of(report);
	struct buffer notes = {0};
	double most = 0.0;
	bool cut = false;
	char name[ROW_TEXT], marked[ROW_TEXT + 2];
	if (!report->step_text)
		return;
	for (size_t i = 0; i < answer->count; i++) {
		struct figures f = figures_whole(&answer->buckets[i], &report->question);
		if (f.cells[HEAT].known)
			most = fmax(most, (double)f.cells[HEAT].value);
	}
	add_head(out, &l);
	for (size_t i = 0; i < answer->count; i++) {
		const struct energy_bucket *row = &answer->buckets[i];
		bool part = is_cut(&report->step, row);
		name_row(&report->step, row, name);
		(void)snprintf(marked, sizeof(marked), "%s%s", name, part ? "*" : "");
		add_row(out, report, &l, marked, row, &report->row_degrees[i], most);
		cut = cut || part;
	}
	if (l.bar && most > 0.0)
		buffer_addf(&notes, "bars: heat, the longest is %.2f kWh\n", most / 1e7);
	l.bar = 0;
	add_row(out, report, &l, "all", &answer->total, &report->degrees, most);
	if (cut)
		buffer_add_text(
			&notes, "* a part of it: the span begins or ends within\n");
	buffer_addf(out, "%s\n", buffer_text(&notes));
	buffer_release(&notes);
}
