/*
 * Cells of a table's row, by number; and which number a column has. See table_form.h.
 *
 * A header that is no UTF-8 is Latin-1 and is made UTF-8 for the record, since names in
 * the configuration are: a column is found by the bytes of its name.
 */
#include "table_form.h"

#include "header.h"
#include "utf8.h"

#include <heatbook/record.h>

#include <string.h>

void table_form_release(struct table_form *form)
{
	buffer_release(&form->header_row);
	buffer_release(&form->head);
}

void sample_add(
	struct sample *s, const char *text, size_t length, uint64_t line, const char *why)
{
	bool comment = why || text[0] == '#';
	if (s->count == s->capacity) {
		s->capacity = s->capacity ? 2 * s->capacity : 256;
		s->rows = xrealloc(s->rows, s->capacity, sizeof(*s->rows));
	}
	s->rows[s->count++] =
		(struct sample_row){s->bytes.length, length, line, comment, why};
	buffer_add(&s->bytes, text, length);
}

void sample_release(struct sample *s)
{
	buffer_release(&s->bytes);
	free(s->rows);
	*s = (struct sample){.rows = NULL};
}

uint32_t row_fields(const char *row, size_t length, char delimiter)
{
	struct cells cells = cells_of(row, length, delimiter);
	struct cell cell;
	uint32_t count = 0;
	while (cells_next(&cells, &cell))
		count++;
	return count;
}

bool row_is_broken(const char *row, size_t length, char delimiter)
{
	struct cells cells = cells_of(row, length, delimiter);
	struct cell cell;
	while (cells_next(&cells, &cell))
		;
	return cells.broken;
}

size_t row_text(const char *row, size_t length, char delimiter, uint32_t field,
	char *into, size_t most)
{
	struct cells cells = cells_of(row, length, delimiter);
	struct cell cell;
	for (uint32_t i = 0; cells_next(&cells, &cell); i++)
		if (i == field)
			return cell.length > most ? SIZE_MAX : cell_plain(&cell, into);
	return SIZE_MAX;
}

size_t row_time(const struct table_form *form, const char *row, size_t length,
	char into[static TIME_TEXT_MOST])
{
	size_t n = row_text(
		row, length, form->delimiter, form->time_field, into, TIME_TEXT_MOST - 1);
	if (form->clock_field == NO_FIELD || n == SIZE_MAX)
		return n;
	into[n] = ' ';
	size_t more = row_text(row, length, form->delimiter, form->clock_field,
		into + n + 1, TIME_TEXT_MOST - n - 1);
	return more == SIZE_MAX ? SIZE_MAX : n + 1 + more;
}

bool row_fits(const struct table_form *form, const char *row, size_t length)
{
	uint32_t fields = row_fields(row, length, form->delimiter);
	if (fields == form->fields)
		return true;
	/* A delimiter at the end of every line, or of the header alone. */
	if (fields == form->fields + 1)
		return length > 0 && row[length - 1] == form->delimiter;
	return form->last_empty && fields + 1 == form->fields;
}

/* ---- the header ---- */

static void add_latin_1(struct buffer *out, const char *text, size_t length)
{
	unsigned char bytes[4];
	for (size_t i = 0; i < length; i++)
		buffer_add(out, bytes, utf8_write((unsigned char)text[i], bytes));
}

size_t table_fields(const struct table_form *form, const char *column)
{
	uint32_t field;
	return form->head.length > 2
		       ? header_name(form->head.data + 2, form->head.length - 2,
				 form->delimiter, column, &field)
		       : 0;
}

uint32_t table_field(const struct table_form *form, const char *column)
{
	uint32_t field = NO_FIELD;
	if (form->head.length > 2 &&
		header_name(form->head.data + 2, form->head.length - 2, form->delimiter,
			column, &field) > 0)
		return field;
	return header_number(column, &field) && field < form->fields ? field : NO_FIELD;
}

/* Calls it for each column that the section names: of a long table, not for the texts of
 * its name column. */
typedef bool each_column(const char *column, void *context);
static void for_columns(const struct table_config *t, each_column *each, void *context)
{
	char *const singles[] = {
		t->time_column, t->clock_column, t->name_column, t->value_column};
	for (size_t i = 0; i < ARRAY_LEN(singles); i++)
		if (singles[i] && !each(singles[i], context))
			return;
	for (size_t i = 0; i < t->column_count && !t->name_column; i++)
		if (!each(t->columns[i].column, context))
			return;
}

struct search {
	const char *text;
	size_t length;
	char delimiter;
	bool found;
	struct buffer *twice;
};

static bool look_for(const char *column, void *context)
{
	struct search *s = context;
	uint32_t field;
	s->found = header_name(s->text, s->length, s->delimiter, column, &field) > 0;
	return !s->found;
}

bool table_is_header(
	const struct table_config *table, const char *text, size_t length, char delimiter)
{
	struct buffer plain = {0};
	struct search s = {text, length, delimiter, false, NULL};
	if (!utf8_valid(text, length)) {
		add_latin_1(&plain, text, length);
		s.text = plain.data;
		s.length = plain.length;
	}
	for_columns(table, look_for, &s);
	buffer_release(&plain);
	return s.found;
}

static bool look_for_twice(const char *column, void *context)
{
	struct search *s = context;
	uint32_t field;
	if (header_name(s->text, s->length, s->delimiter, column, &field) > 1)
		buffer_addf(s->twice, "%s'%s'", s->twice->length ? ", " : "", column);
	return true;
}

bool table_read_header(const struct table_config *table, const char *text, size_t length,
	struct table_form *form, struct buffer *said)
{
	struct buffer twice = {0};
	buffer_reset(&form->header_row);
	buffer_add(&form->header_row, text, length);
	buffer_reset(&form->head);
	buffer_add(&form->head, (char[2]){form->delimiter, form->mark}, 2);
	form->latin_1 = !utf8_valid(text, length);
	if (form->latin_1)
		add_latin_1(&form->head, text, length);
	else
		buffer_add(&form->head, text, length);
	form->header = true;
	form->fields = row_fields(text, length, form->delimiter);
	form->last_empty = length > 0 && text[length - 1] == form->delimiter;
	if (form->head.length > HEAD_MOST) {
		buffer_addf(said, "its header is over %d bytes long", HEAD_MOST - 2);
		return false;
	}
	struct search s = {form->head.data + 2, form->head.length - 2, form->delimiter,
		false, &twice};
	for_columns(table, look_for_twice, &s);
	if (twice.length > 0)
		buffer_addf(said,
			"its header has %s more than once; name such columns by number, "
			"such as #3, in [table %s]",
			buffer_text(&twice), table->name);
	bool unique = twice.length == 0;
	buffer_release(&twice);
	return unique;
}
