/*
 * The account of rejected lines: how many for which reason, the first with file and line,
 * and all of them in a file of the owner's where that is asked for. What they hold is
 * from outside: it is shown fit for a terminal.
 */
#include "import_lines.h"

#include <heatbook/printable.h>

#include <string.h>

#define SHOWN_MOST 80 /* bytes of the first one */

static void count_reason(struct import_report *report, const char *why)
{
	size_t i = 0;
	while (i < report->reason_count && strcmp(report->reasons[i].why, why) != 0)
		i++;
	if (i == report->reason_count && i == IMPORT_REASONS_MOST)
		i--;
	struct import_reason *reason = &report->reasons[i];
	if (i == report->reason_count) {
		report->reason_count++;
		(void)snprintf(reason->why, sizeof(reason->why), "%s", why);
	} else if (strcmp(reason->why, why) != 0) {
		(void)snprintf(reason->why, sizeof(reason->why), "other reasons");
	}
	reason->count++;
}

static void describe(const struct import_lines *l, const char *why, const char *line,
	size_t length, size_t most, struct buffer *out)
{
	buffer_addf(out, "%s:%llu: %s: ", l->name, (unsigned long long)l->number, why);
	text_printable(out, line, length, most);
}

void import_reject(
	struct import_lines *l, const char *why, const char *line, size_t length)
{
	struct buffer text = {0};
	count_reason(l->report, why);
	if (l->report->rejected++ == 0) {
		describe(l, why, line, length, SHOWN_MOST, &text);
		(void)snprintf(l->report->first_rejected,
			sizeof(l->report->first_rejected), "%s", buffer_text(&text));
	}
	if (l->request->rejected) {
		buffer_reset(&text);
		describe(l, why, line, length, SIZE_MAX, &text);
		buffer_add(&text, "\n", 1);
		/* Whether it could be written is asked once, at the end. */
		(void)fwrite(text.data, 1, text.length, l->request->rejected);
	}
	buffer_release(&text);
}
