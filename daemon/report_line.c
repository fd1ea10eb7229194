/*
 * See report_line.h.
 *
 * An energy whose known time is under 95 % of the time it stands for is called "partial",
 * under 50 % "at least"; what nothing is known of is "unknown". A dash stands for a
 * quotient that would say nothing: hardly any electricity was used, or its uncertainty is
 * as large as itself (which holds of every one without heat).
 */
#include "report_line.h"

#include <heatbook/calendar.h>
#include <heatbook/decimal.h>

#include <string.h>

int text_width(const char *text)
{
	int width = 0;
	for (; *text; text++)
		width += ((unsigned char)*text & 0xc0) != 0x80;
	return width;
}

void report_add_right(struct buffer *out, const char *text, int width)
{
	buffer_addf(out, "%*s%s", width > text_width(text) ? width - text_width(text) : 0,
		"", text);
}

void report_add_decimals(struct buffer *out, int64_t value, int decimals)
{
	int64_t unit = 1;
	for (int i = 2; i < decimals; i++)
		unit *= 10;
	int64_t rounded = (value + (value < 0 ? -unit : unit) / 2) / unit;
	decimal_add(out, rounded, 2);
}

/* A ± is three columns wide where it becomes ASCII (report_paper.c). */
static int word_width(const char *word)
{
	int width = text_width(word);
	for (const char *p = word; (p = strstr(p, "±")); p++)
		width += 2;
	return width;
}

void report_add_wrapped(struct buffer *out, const char *text, int indent, bool begun)
{
	int column = begun ? indent : 0;
	bool first = true;
	while (*text) {
		size_t length = strcspn(text, " ");
		_cleanup_(freep) char *word = xstrndup(text, length);
		if (column > indent && column + 1 + word_width(word) > LINE_WIDTH) {
			buffer_add_text(out, "\n");
			column = 0;
			first = true;
		}
		int before = column == 0 ? indent : !first;
		buffer_addf(out, "%*s%s", before, "", word);
		column += before + word_width(word);
		first = false;
		text += length + (text[length] == ' ');
	}
	buffer_add_text(out, "\n");
}

void report_add_time(struct buffer *out, int64_t ms, bool brief)
{
	int64_t minutes = ms / MS_PER_MIN;
	if (ms > 0 && minutes == 0)
		buffer_add_text(out, "< 1 min");
	else if (brief && minutes % 60 == 0)
		buffer_addf(out, "%lld h", (long long)(minutes / 60));
	else
		buffer_addf(out, "%lld h %02lld min", (long long)(minutes / 60),
			(long long)(minutes % 60));
}

const char *report_degree(int64_t known_ms, int64_t span_ms)
{
	if (known_ms * 100 >= span_ms * 95)
		return "";
	return known_ms * 2 >= span_ms ? "partial " : "at least ";
}

void report_add_energy(
	struct buffer *out, const struct cell *cell, int64_t known_ms, int64_t span_ms)
{
	struct buffer text = {0};
	if (cell->known) {
		buffer_add_text(&text, report_degree(known_ms, span_ms));
		report_add_decimals(&text, cell->value, KWH_DECIMALS);
	} else {
		buffer_add_text(&text, "unknown");
	}
	report_add_right(out, buffer_text(&text), ENERGY_WIDTH);
	buffer_release(&text);
}

bool report_has_ratio(const struct figures *f)
{
	const struct cell *c = f->cells;
	return c[COP].known && c[COP].value > 0 &&
	       !(c[COP_UNCERTAINTY].known && c[COP_UNCERTAINTY].value >= c[COP].value);
}

void report_add_ratio(struct buffer *out, const struct figures *f, bool uncertainty)
{
	const struct cell *c = f->cells;
	if (c[PAIRED_S].value == 0) {
		buffer_add_text(out, "unknown");
		return;
	}
	if (!report_has_ratio(f)) {
		buffer_add_text(out, "–");
		return;
	}
	report_add_decimals(out, c[COP].value, RATIO_DECIMALS);
	if (!uncertainty || !c[COP_UNCERTAINTY].known)
		return;
	buffer_add_text(out, " ± ");
	report_add_decimals(out, c[COP_UNCERTAINTY].value, RATIO_DECIMALS);
}

void report_add_name(struct buffer *out, const char *name)
{
	buffer_addf(out, "%s%*s", name,
		text_width(name) < NAME_WIDTH ? NAME_WIDTH - text_width(name) : 1, "");
}

void report_add_fluid(struct buffer *out, const struct plant_config *plant)
{
	report_add_name(out, "fluid");
	for (const char *p = fluid_name(plant->fluid); *p; p++)
		buffer_add(out, *p == '_' ? " " : p, 1);
	if (plant->fluid != FLUID_WATER)
		buffer_addf(out, ", %.4g %% by volume", plant->fluid_percent);
	buffer_add_text(out, "\n");
}

void report_add_mode(struct buffer *out, enum mode mode)
{
	for (const char *p = mode_name(mode); *p; p++)
		buffer_add(out, *p == '_' ? " " : p, 1);
}

void report_add_meters(struct buffer *out, const struct config *config, unsigned set)
{
	const char *before = "";
	for (size_t i = 0; i < config->meter_count; i++) {
		if (!(set & 1u << i))
			continue;
		buffer_addf(out, "%s%s", before, config->meters[i].name);
		before = " + ";
	}
}

int64_t report_span_ms(const struct report *report)
{
	return report->answer.total.t_end_ms - report->answer.total.t_ms;
}
