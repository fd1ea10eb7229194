/*
 * A section for a table that none of the configuration matches, by its first rows. See
 * table.h.
 *
 * What is proposed passes the check as it stands: channels without a topic, named by
 * their columns, and the table that feeds them. What could not be told stands there as a
 * comment.
 */
#include <heatbook/table.h>

#include <heatbook/printable.h>

#include "table_form.h"

#include <string.h>

#define LINES_MOST   1000
#define COLUMNS_MOST 60
#define NAME_MOST    40
#define TEXT_MOST    120 /* of a line of the configuration, with room for its key */

struct proposal {
	const struct table_config *table; /* an empty one */
	struct sample sample;
	struct table_form form;
	struct buffer said;
	size_t header; /* in the sample, or SIZE_MAX */
	char names[COLUMNS_MOST][NAME_MOST + 8];
	struct buffer *out;
};

static void sample_lines(struct proposal *p, const char *text, size_t length)
{
	const char *end = text + length;
	for (size_t i = 0; i < LINES_MOST && text < end; i++) {
		const char *next = memchr(text, '\n', (size_t)(end - text));
		size_t n = (size_t)((next ? next : end) - text);
		if (!next && i > 0)
			break; /* cut anywhere */
		size_t plain = n > 0 && text[n - 1] == '\r' ? n - 1 : n;
		if (plain > 0 && plain <= ROW_MOST)
			sample_add(&p->sample, text, plain, i + 1, NULL);
		text = next ? next + 1 : end;
	}
}

/* [a-z][a-z0-9_]*, none of those that a configuration refuses (config_channel.c). */
static void plain_name(const char *text, size_t length, const char *fallback,
	char into[static NAME_MOST + 8])
{
	static const char *const refused[] = {
		"_ms", "_least", "_most", "_min", "_max", "_observed_s"};
	size_t n = 0;
	for (size_t i = 0; i < length && n < NAME_MOST; i++) {
		char c = text[i];
		if (c >= 'A' && c <= 'Z')
			c = (char)(c + 0x20);
		bool letter = c >= 'a' && c <= 'z', digit = c >= '0' && c <= '9';
		if (letter || (digit && n > 0))
			into[n++] = c;
		else if (n > 0 && into[n - 1] != '_')
			into[n++] = '_';
	}
	while (n > 0 && into[n - 1] == '_')
		n--;
	into[n] = '\0';
	if (n == 0 || strcmp(into, "t") == 0 || strcmp(into, "t_end") == 0)
		(void)snprintf(into, NAME_MOST + 8, "%s", fallback);
	for (size_t i = 0; i < ARRAY_LEN(refused); i++) {
		size_t e = strlen(refused[i]);
		if (n > e && strcmp(into + n - e, refused[i]) == 0)
			into[n - e] = '\0';
	}
}

static void name_table(const char *path, char into[static NAME_MOST + 8])
{
	const char *slash = strrchr(path, '/'), *name = slash ? slash + 1 : path;
	plain_name(name, strcspn(name, "."), "table", into);
}

/* The header of a field, if a line of the configuration can hold it. */
static bool header_text(
	const struct proposal *p, uint32_t field, char into[static TEXT_MOST + 1])
{
	if (p->header == SIZE_MAX)
		return false;
	size_t n = row_text(p->form.head.data + 2, p->form.head.length - 2,
		p->form.delimiter, field, into, TEXT_MOST);
	if (n == SIZE_MAX || n == 0)
		return false;
	into[n] = '\0';
	return table_fields(&p->form, into) == 1 && into[0] != '#' &&
	       text_is_printable(into, n) && !strstr(into, " ;") &&
	       !strstr(into, " + ") && into[0] != ';';
}

static void add_column(struct proposal *p, const char *key, uint32_t field)
{
	char text[TEXT_MOST + 1];
	if (header_text(p, field, text))
		buffer_addf(p->out, "%s = %s\n", key, text);
	else
		buffer_addf(p->out, "%s = #%u\n", key, (unsigned)field + 1);
}

/* Is there a number in the column's first rows? */
static bool is_numeric(const struct proposal *p, uint32_t field)
{
	char text[64];
	size_t first = p->header == SIZE_MAX ? 0 : p->header + 1;
	for (size_t i = first; i < p->sample.count && i < first + 50; i++) {
		const struct sample_row *row = &p->sample.rows[i];
		const char *at = p->sample.bytes.data + row->at;
		if (row->comment || !row_fits(&p->form, at, row->length))
			continue;
		size_t n = row_text(at, row->length, p->form.delimiter, field, text,
			sizeof(text) - 1);
		size_t sign = n != SIZE_MAX && n > 1 && text[0] == '-';
		int64_t ms;
		if (n != SIZE_MAX && time_number_read(text + sign, n - sign, 1, &ms))
			return true;
	}
	return false;
}

static void name_channel(struct proposal *p, uint32_t field)
{
	char text[TEXT_MOST + 1], fallback[24];
	(void)snprintf(fallback, sizeof(fallback), "column_%u", (unsigned)field + 1);
	size_t length = header_text(p, field, text) ? strlen(text) : 0;
	plain_name(text, length, fallback, p->names[field]);
	for (uint32_t i = 0; i < field; i++)
		if (strcmp(p->names[i], p->names[field]) == 0)
			(void)snprintf(
				p->names[field], sizeof(p->names[0]), "%s", fallback);
}

static void add_comment(struct proposal *p, const char *text)
{
	buffer_add_text(p->out, "# ");
	text_printable(p->out, text, strlen(text), 180);
	buffer_add_text(p->out, "\n");
}

static void add_files(struct proposal *p, const char *name)
{
	size_t length = strlen(name);
	if (length > 3 && strcmp(name + length - 3, ".gz") == 0)
		length -= 3;
	else if (length > 4 && strcmp(name + length - 4, ".zst") == 0)
		length -= 4;
	buffer_addf(p->out, "files = %.*s\n", (int)length, name);
}

static void propose(struct proposal *p, const char *path, bool told)
{
	char key[NAME_MOST + 16];
	const char *slash = strrchr(path, '/');
	uint32_t count = p->form.fields < COLUMNS_MOST ? p->form.fields : COLUMNS_MOST;
	for (uint32_t i = 0; i < count; i++) {
		name_channel(p, i);
		if (i == p->form.time_field || !is_numeric(p, i))
			p->names[i][0] = '\0';
		else
			buffer_addf(p->out, "[channel %s]\n", p->names[i]);
	}
	buffer_addf(p->out, "[table %s]\n", p->table->name);
	add_comment(p, buffer_text(&p->said));
	add_comment(p,
		"Units (unit.CHANNEL = °F), and if rows are means: interval = 1 min, "
		"covers = before or after.");
	if (strcmp(path, "-") != 0)
		add_files(p, slash ? slash + 1 : path);
	if (told)
		add_column(p, "time", p->form.time_field);
	for (uint32_t i = 0; i < count; i++) {
		if (!p->names[i][0])
			continue;
		(void)snprintf(key, sizeof(key), "column.%s", p->names[i]);
		add_column(p, key, i);
	}
}

bool table_propose(const char *path, const char *text, size_t length, struct buffer *out)
{
	char name[NAME_MOST + 8];
	const struct table_config any = {.name = name};
	struct proposal p = {.table = &any, .header = SIZE_MAX, .out = out};
	name_table(path, name);
	if (length >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) {
		text += 3;
		length -= 3;
	}
	bool json = length > 0 && (text[0] == '{' || text[0] == '[');
	sample_lines(&p, text, json ? 0 : length);
	int r = p.sample.count > 1 ? table_detect(&any, &p.sample, true, STAMP_END_MS,
					     &p.form, &p.header, &p.said)
				   : DETECT_REFUSED;
	bool is_table = p.form.fields > 1 && (r == 0 || p.header != SIZE_MAX);
	if (is_table && r == 0) {
		buffer_reset(&p.said);
		table_say(&any, &p.form, "the plant's zone", &p.said);
	}
	if (is_table)
		propose(&p, path, r == 0);
	table_form_release(&p.form);
	sample_release(&p.sample);
	buffer_release(&p.said);
	return is_table;
}
