/*
 * Tables among the archives: which section reads which file, its rows into records, and
 * a proposal for one that no section matches. See import_lines.h.
 */
#include "import_lines.h"

#include <heatbook/clock.h>
#include <heatbook/table.h>

#include <string.h>

#define ROWS_A_LOOK 512   /* lines between two tellings of progress */
#define PEEK_BYTES  65536 /* that tell whether a file is a table */

static int PRINTF_LIKE(2, 3) refuse(struct import_lines *l, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	(void)vsnprintf(l->refused, sizeof(l->refused), format, args); /* may be cut */
	va_end(args);
	return IMPORT_REFUSED;
}

int import_choose_table(struct import_lines *l, const char *path)
{
	const struct config *c = l->config;
	l->table = NULL;
	if (l->request->table) {
		int asked = config_table(c, l->request->table);
		if (asked < 0)
			return refuse(l, "there is no [table %s]", l->request->table);
		l->table = &c->tables[asked];
		return 0;
	}
	if (l->request->form != ARCHIVE_DETECT || strcmp(path, "-") == 0)
		return 0;
	int found = table_of_file(c, path);
	if (found == TABLE_SEVERAL)
		return refuse(l,
			"files of more than one [table] match its name; narrow them, or "
			"name the table by --format");
	if (found >= 0)
		l->table = &c->tables[found];
	return 0;
}

uint64_t import_table_digest(const struct import_lines *l, uint64_t digest)
{
	uint64_t table = table_digest(l->table, l->request->zone, l->config->plant.zone);
	return digest64(digest, &table, sizeof(table));
}

/* ---- rows ---- */

static int take_row(const struct record *row, void *context)
{
	struct import_lines *l = context;
	l->report->records++;
	return l->take(row, l->context);
}

static void take_rejected(
	uint64_t line, const char *why, const char *text, size_t length, void *context)
{
	struct import_lines *l = context;
	uint64_t at = l->number;
	l->number = line;
	import_reject(l, why, text, length);
	l->number = at;
}

/* Says how the file is written, once that is known. */
static void say(
	const struct import_lines *l, const struct table_reader *reader, bool *said)
{
	const char *sentence = table_reader_said(reader);
	if (*said || !*sentence)
		return;
	*said = true;
	_cleanup_(freep) char *text = xasprintf("%s: %s", l->name, sentence);
	progress_tell(&l->request->progress,
		&(struct progress){.stage = PROGRESS_NOTE, .name = text});
}

static int read_lines(
	struct import_lines *l, struct input *in, struct table_reader *reader)
{
	const char *line;
	size_t length;
	int r = 0, found;
	bool said = false;

	while (r == 0 && (found = input_line(in, &line, &length)) != INPUT_END) {
		if (found < 0)
			return found;
		l->report->lines++;
		l->number++;
		r = table_reader_line(reader, line, length);
		if (r == 0 && l->number % ROWS_A_LOOK == 0) {
			say(l, reader, &said);
			import_tell(l, in);
		}
	}
	if (r == 0)
		r = table_reader_end(reader);
	if (r == 0)
		say(l, reader, &said);
	return r;
}

int import_read_table(struct import_lines *l, struct input *in)
{
	const struct table_sink sink = {take_row, take_rejected, l};
	struct table_reader *reader;
	int r = table_reader_new(l->table, l->request->zone, l->config->plant.zone,
		clock_now_ms(), &sink, &reader);
	if (r != 0)
		return r;
	r = read_lines(l, in, reader);
	if (r == TABLE_REFUSED)
		(void)refuse(l, "%s", table_reader_said(reader));
	struct table_counts counts = table_reader_counts(reader);
	l->report->skipped += counts.skipped;
	l->report->twice += counts.twice;
	table_reader_free(reader);
	return r;
}

/* ---- a file that no section matches ---- */

/* Is its first line that says something one of another form? */
static bool begins_otherwise(const char *text, size_t length)
{
	struct archive probe = {.form = ARCHIVE_DETECT};
	struct record record;
	const char *why, *end = text + length;
	int r = ARCHIVE_SKIPPED;
	while (text < end && r == ARCHIVE_SKIPPED) {
		const char *next = memchr(text, '\n', (size_t)(end - text));
		r = archive_line(&probe, text, (size_t)((next ? next : end) - text),
			&record, &why);
		text = next ? next + 1 : end;
	}
	archive_release(&probe);
	return r != ARCHIVE_REJECTED;
}

static int peek(struct input *in, struct buffer *ret)
{
	const char *line;
	size_t length;
	int found;
	while (ret->length < PEEK_BYTES &&
		(found = input_line(in, &line, &length)) != INPUT_END) {
		if (found < 0)
			return found;
		buffer_add(ret, line, length);
		buffer_add(ret, "\n", 1);
	}
	return input_rewind(in);
}

/* What does not fit is left out by whole lines. */
static void keep_proposal(struct import_report *report, struct buffer *text)
{
	size_t most = sizeof(report->proposal) - 1, length = text->length;
	while (length > most || (length > 0 && text->data[length - 1] != '\n'))
		length--;
	memcpy(report->proposal, text->data, length);
	report->proposal[length] = '\0';
}

int import_refuse_table(struct import_lines *l, struct input *in)
{
	struct buffer text = {0}, proposal = {0};
	int r = peek(in, &text);
	bool input = strcmp(l->name, "standard input") == 0;
	if (r == 0 && text.length > 0 && !begins_otherwise(text.data, text.length) &&
		table_propose(input ? "-" : l->name, text.data, text.length, &proposal)) {
		keep_proposal(l->report, &proposal);
		r = refuse(l,
			"is a table, which no [table] of %s reads; write one, such as "
			"the "
			"proposed%s",
			l->config->path, input ? ", and name it by --format" : "");
	}
	buffer_release(&text);
	buffer_release(&proposal);
	return r;
}
