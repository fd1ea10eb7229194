/*
 * The report's text: one line a mode, a total, then what the figures rest on, and what is
 * likely wrong.
 */
#include "report_line.h"
#include "report_rows.h"

#include <heatbook/calendar.h>

#include <string.h>

/* `span_ms`: the time that the row stands for. */
static void add_row(struct buffer *out, const char *name, const struct figures *f,
	int64_t span_ms, bool uncertainty)
{
	struct buffer time = {0};
	const struct cell *c = f->cells;
	report_add_name(out, name);
	report_add_time(&time, c[OBSERVED_S].value, false);
	report_add_right(out, buffer_text(&time), TIME_WIDTH);
	report_add_energy(out, &c[HEAT], c[HEAT_OBSERVED_S].value, span_ms);
	report_add_energy(out, &c[ELECTRICITY], c[ELECTRICITY_OBSERVED_S].value, span_ms);
	buffer_add_text(out, "   ");
	report_add_ratio(out, f, uncertainty);
	buffer_add_text(out, "\n");
	buffer_release(&time);
}

static bool any_of(const struct figures *f)
{
	const struct cell *c = f->cells;
	return c[OBSERVED_S].value || (c[HEAT].known && c[HEAT].value) ||
	       (c[ELECTRICITY].known && c[ELECTRICITY].value);
}

static void add_mode(struct buffer *out, const struct report *report, int mode)
{
	struct buffer name = {0};
	struct figures f = figures_mode(&report->answer.total, mode, &report->question);
	if (!any_of(&f))
		return;
	report_add_mode(&name, (enum mode)mode);
	add_row(out, buffer_text(&name), &f, f.cells[OBSERVED_S].value, false);
	buffer_release(&name);
}

static void add_table(
	struct buffer *out, const struct report *report, const struct figures *whole)
{
	report_add_name(out, "mode");
	report_add_right(out, "time", TIME_WIDTH);
	report_add_right(out, "heat kWh", ENERGY_WIDTH);
	report_add_right(out, "electricity kWh", ENERGY_WIDTH);
	buffer_add_text(out, "   efficiency\n");
	for (int m = MODE_HEATING; m < MODE_COUNT; m++)
		if (m != MODE_COOLING)
			add_mode(out, report, m);
	add_mode(out, report, MODE_UNASSIGNED);
	struct figures cooling =
		figures_mode(&report->answer.total, MODE_COOLING, &report->question);
	add_row(out, "total", whole,
		report_span_ms(report) - cooling.cells[OBSERVED_S].value, true);
	if (!any_of(&cooling))
		return;
	buffer_add_text(out, "\napart from the total, heat drawn from the house:\n");
	add_mode(out, report, MODE_COOLING);
}

static void add_title(struct buffer *out, const struct report *report)
{
	const struct energy_bucket *total = &report->answer.total;
	char from[16], to[16], until[32];
	calendar_date_text(calendar_date(total->t_ms), from);
	calendar_date_text(calendar_date(total->t_end_ms - 1), to);
	time_text_local(total->t_end_ms, until);
	buffer_addf(out, "%s, %s", report->question.config->plant.name, from);
	if (strcmp(from, to) != 0)
		buffer_addf(out, " to %s", to);
	if (report->open)
		buffer_addf(out, " until %.5s", until + strlen("2026-01-31T"));
	buffer_addf(out, " (%s)\n\n", report->question.config->plant.zone);
}

/* Sensors on the pipe are of no class of EN 1434. */
static bool is_strapped(const struct config *config)
{
	for (size_t c = 0; c < config->channel_count; c++)
		if (config->channels[c].strapped)
			return true;
	return false;
}

static void add_cautions(struct buffer *out, const struct config *config)
{
	report_add_name(out, "caution");
	buffer_add_text(
		out, "not billing grade, unless every meter in the chain is approved\n");
	if (!is_strapped(config))
		return;
	report_add_name(out, "");
	buffer_add_text(out, "sensors strapped to a pipe are outside EN 1434\n");
}

void report_text(const struct report *report, struct buffer *out)
{
	struct figures whole = figures_whole(&report->answer.total, &report->question);
	add_title(out, report);
	report_rows(out, report);
	add_table(out, report, &whole);
	buffer_add_text(out, "\n");
	course_write(out, &report->course, &report->paper);
	report_cover(out, report, &whole);
	report_trust(out, report, &whole);
	add_cautions(out, report->question.config);
	report_findings(out, report);
	report_notices(out, report);
	if (report->paper.plain)
		paper_make_plain(out);
}
