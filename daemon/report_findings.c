/*
 * Findings at the end of a report: a title, what was seen since when and what it weighs,
 * the remedy, and the section that corrects it, as it is to be pasted.
 */
#include "report_line.h"

#include <heatbook/calendar.h>

#include <math.h>
#include <string.h>

enum { INDENT = 2 };

static void add_finding(struct buffer *out, const struct finding *f)
{
	char from[32], to[32];
	time_text_local(f->since_ms, from);
	time_text_local(f->until_ms, to);
	buffer_addf(out, "\n%s%s%s\n", finding_title(f->kind), f->subject[0] ? ": " : "",
		f->subject);
	struct buffer text = {0};
	if (f->lasts)
		buffer_addf(&text, "Since %s%.16s. %s", f->began_before ? "before " : "",
			from, f->evidence);
	else
		buffer_addf(&text, "%s%.16s to %.16s. %s",
			f->began_before ? "Before " : "", from, to, f->evidence);
	if (isfinite(f->effect))
		buffer_addf(&text, " It adds %+.3f to the season's factor.", f->effect);
	report_add_wrapped(out, buffer_text(&text), INDENT, false);
	report_add_wrapped(out, f->remedy, INDENT, false);
	buffer_release(&text);
	if (f->correction)
		buffer_addf(out, "\n%s", f->correction);
}

void report_findings(struct buffer *out, const struct report *report)
{
	const struct finding_list *list = &report->findings.list;
	if (list->count)
		buffer_addf(out, "\n%zu finding%s\n", list->count,
			list->count == 1 ? "" : "s");
	for (size_t i = 0; i < list->count; i++)
		add_finding(out, &list->items[i]);
}
