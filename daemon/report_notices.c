/*
 * Notices in a report: those that were raised in its span, since when, how often, and
 * whether they still are.
 */
#include "report_line.h"

#include <heatbook/calendar.h>

#include <string.h>

enum { INDENT = 2 };

/* "2026-01-11 14:20" */
static void add_minute(struct buffer *out, int64_t minute)
{
	char text[32];
	time_text_local(minute * MS_PER_MIN, text);
	text[strlen("2026-01-11")] = ' ';
	buffer_addf(out, "%.16s", text);
}

static void add_time(struct buffer *out, const struct notice_time *time, size_t count)
{
	bool lasts = time->until == INT64_MAX;
	if (count > 1)
		buffer_addf(out, "%zu times, %s", count,
			lasts ? "and again since " : "the last from ");
	else
		buffer_add_text(out, lasts ? "Since " : "From ");
	buffer_add_text(out, time->before ? "before " : "");
	add_minute(out, time->since);
	if (!lasts) {
		buffer_add_text(out, " to ");
		add_minute(out, time->until);
	}
	buffer_add_text(out, ".");
}

/* There is one. */
static const struct notice_time *last_time(
	const struct notice_times *times, size_t notice)
{
	size_t i = times->count - 1;
	while (times->items[i].notice != notice)
		i--;
	return &times->items[i];
}

static void add_notice(
	struct buffer *out, const struct report *report, size_t notice, bool raised)
{
	const struct notice_config *n = &report->question.config->notices[notice];
	const struct notice_times *times = &report->notices;
	struct buffer text = {0};
	add_time(&text, last_time(times, notice), times->counts[notice]);
	if (raised && notices_state(times->notices, notice)->unknown_since >= 0) {
		buffer_add_text(&text, " Nothing is known of it since ");
		add_minute(&text, notices_state(times->notices, notice)->unknown_since);
		buffer_add_text(&text, ".");
	}
	buffer_addf(out, "\n%s: %s\n", n->name, n->text);
	report_add_wrapped(out, buffer_text(&text), INDENT, false);
	buffer_release(&text);
}

/* Why nothing can be said of them. */
static const char *lack(int outcome)
{
	if (outcome == FOUND_DAYS_WAIT)
		return "What notices there were is not known: days are still to be "
		       "looked at for what is found, which `heatbookd serve` does.";
	return "What notices there were is not known: that took too long; ask for a "
	       "shorter span.";
}

void report_notices(struct buffer *out, const struct report *report)
{
	const struct notice_times *times = &report->notices;
	size_t watched = report->question.config->notice_count, raised = 0;
	if (watched == 0)
		return;
	buffer_add_text(out, "\n");
	if (report->notices_outcome != 0) {
		report_add_wrapped(out, lack(report->notices_outcome), 0, false);
		return;
	}
	for (size_t i = 0; i < watched; i++)
		raised += times->counts[i] > 0;
	if (raised == 0)
		buffer_addf(out, "no notice was raised, of %zu\n", watched);
	else
		buffer_addf(out, "%zu notice%s raised, of %zu\n", raised,
			raised == 1 ? " was" : "s were", watched);
	for (size_t i = 0; i < watched; i++)
		if (times->counts[i] > 0)
			add_notice(
				out, report, i, notices_state(times->notices, i)->raised);
}
