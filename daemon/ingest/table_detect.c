/*
 * How a table's file is written, by its section and its first rows: delimiter, header,
 * then times and decimal mark in files of their own; and the sentence that says it. See
 * table_form.h.
 */
#include "table_form.h"

#include <heatbook/calendar.h>
#include <heatbook/printable.h>
#include <heatbook/table.h>

#include <string.h>

#define HEADER_AMONG 64 /* rows that may stand before the header, titles and such */

struct detection {
	const struct table_config *table;
	const struct sample *sample;
	struct table_form *form;
	struct buffer *said;
};

static const char *row_at(const struct detection *d, size_t i, size_t *ret_length)
{
	const struct sample_row *row = &d->sample->rows[i];
	*ret_length = row->length;
	return d->sample->bytes.data + row->at;
}

static const char *shown(const char *text, size_t length, struct buffer *into)
{
	buffer_reset(into);
	text_printable(into, text, length, 100);
	return buffer_text(into);
}

/* ---- delimiter ---- */

/* The number of cells that most rows have, and how many rows that are. */
static uint32_t usual_fields(
	const struct detection *d, size_t first, char delimiter, size_t *ret_rows)
{
	uint32_t usual = 0;
	*ret_rows = 0;
	for (size_t i = first; i < d->sample->count && i < first + 100; i++) {
		size_t length, rows = 0;
		if (d->sample->rows[i].comment)
			continue;
		const char *text = row_at(d, i, &length);
		uint32_t fields = row_fields(text, length, delimiter);
		for (size_t k = first; k < d->sample->count && k < first + 100; k++) {
			text = row_at(d, k, &length);
			rows += !d->sample->rows[k].comment &&
				row_fields(text, length, delimiter) == fields;
		}
		if (rows > *ret_rows) {
			usual = fields;
			*ret_rows = rows;
		}
		if (rows * 2 > d->sample->count - first)
			break;
	}
	return usual;
}

/* Marks in the order of how seldom they stand within cells. */
static bool find_delimiter(struct detection *d)
{
	static const char marks[] = {'\t', ';', '|', ','};
	static const char declared[] = {[DELIMITER_COMMA] = ',',
		[DELIMITER_SEMICOLON] = ';',
		[DELIMITER_TAB] = '\t',
		[DELIMITER_PIPE] = '|'};
	size_t most = 0;
	d->form->delimiter = declared[d->table->delimiter];
	if (d->table->delimiter != DELIMITER_DETECT)
		return true;
	for (size_t i = 0; i < sizeof(marks); i++) {
		size_t rows;
		if (usual_fields(d, 0, marks[i], &rows) < 2 || rows * 4 <= most * 5)
			continue;
		most = rows;
		d->form->delimiter = marks[i];
	}
	if (most == 0)
		buffer_addf(d->said,
			"its rows are not parted by comma, semicolon, tab or pipe: is it "
			"a table? [table %s]",
			d->table->name);
	return most > 0;
}

/* ---- header ---- */

static bool names_columns(const struct table_config *t)
{
	bool any = (t->time_column && t->time_column[0] != '#') || t->name_column;
	for (size_t i = 0; i < t->column_count && !t->name_column; i++)
		any = any || t->columns[i].column[0] != '#';
	return any;
}

/* Has no cell that is a number or a time, so that it can only name columns? */
static bool names_only(const struct detection *d, const char *text, size_t length)
{
	struct cells cells = cells_of(text, length, d->form->delimiter);
	struct cell cell;
	bool letters = false;
	while (cells_next(&cells, &cell)) {
		size_t digits = 0;
		for (size_t i = 0; i < cell.length; i++) {
			unsigned char c = (unsigned char)cell.text[i];
			digits += c >= '0' && c <= '9';
			letters = letters || c >= 0x80 ||
				  ((c | 0x20) >= 'a' && (c | 0x20) <= 'z');
		}
		if (cell.length > 0 && digits * 2 >= cell.length)
			return false;
	}
	return letters;
}

/* Text of a row that may be a header: a comment may be one, behind its mark. */
static const char *header_at(const struct detection *d, size_t i, size_t *ret_length)
{
	const char *text = row_at(d, i, ret_length);
	while (d->sample->rows[i].comment && *ret_length > 0 &&
		(*text == '#' || *text == ' ')) {
		text++;
		(*ret_length)--;
	}
	return text;
}

/* The row that has a column's name; SIZE_MAX where none has. */
static size_t find_named(const struct detection *d)
{
	for (size_t i = 0; i < d->sample->count && i < HEADER_AMONG; i++) {
		size_t length;
		const char *text = header_at(d, i, &length);
		if (!d->sample->rows[i].why &&
			table_is_header(d->table, text, length, d->form->delimiter))
			return i;
	}
	return SIZE_MAX;
}

static size_t first_row(const struct detection *d)
{
	size_t i = 0;
	while (i < d->sample->count && d->sample->rows[i].comment)
		i++;
	return i;
}

static void no_header(struct detection *d)
{
	struct buffer row = {0};
	size_t length, first = first_row(d);
	const char *text = first < d->sample->count ? row_at(d, first, &length) : NULL;
	buffer_addf(d->said,
		"none of its first rows has one of the columns that [table %s] names; "
		"its "
		"first row is: %s",
		d->table->name, text ? shown(text, length, &row) : "");
	buffer_release(&row);
}

/* Sets *ret to the header's place, SIZE_MAX without one. */
static bool find_header(struct detection *d, size_t *ret)
{
	size_t rows, first = first_row(d), length;
	*ret = SIZE_MAX;
	d->form->fields = usual_fields(d, 0, d->form->delimiter, &rows);
	if (d->table->header == HEADER_NO)
		return true;
	if (names_columns(d->table)) {
		*ret = find_named(d);
		if (*ret == SIZE_MAX)
			no_header(d);
		return *ret != SIZE_MAX;
	}
	while (first < d->sample->count &&
		row_fields(row_at(d, first, &length), d->sample->rows[first].length,
			d->form->delimiter) != d->form->fields)
		first++;
	if (first < d->sample->count && (d->table->header == HEADER_YES ||
						names_only(d, row_at(d, first, &length),
							d->sample->rows[first].length)))
		*ret = first;
	return true;
}

static bool take_header(struct detection *d, size_t header)
{
	size_t length;
	if (header == SIZE_MAX) {
		buffer_reset(&d->form->head);
		buffer_add(&d->form->head, (char[2]){d->form->delimiter, '.'}, 2);
		return true;
	}
	const char *text = header_at(d, header, &length);
	return table_read_header(d->table, text, length, d->form, d->said);
}

/* Columns that feed channels and are not there; all of them are a fault. */
static bool check_columns(struct detection *d)
{
	const struct table_config *t = d->table;
	size_t lack = 0;
	struct buffer names = {0}, row = {0};
	char *const of_long[] = {t->name_column, t->value_column};
	size_t count = t->name_column ? 2 : t->column_count;
	for (size_t i = 0; i < count; i++) {
		const char *name = t->name_column ? of_long[i] : t->columns[i].column;
		if (table_field(d->form, name) == NO_FIELD)
			buffer_addf(&names, "%s'%s'", lack++ ? ", " : "", name);
	}
	bool fault = count > 0 && (lack == count || (t->name_column && lack > 0));
	if (fault)
		buffer_addf(d->said, "it lacks %s of [table %s]; its columns are: %s",
			buffer_text(&names), t->name,
			shown(d->form->header_row.data, d->form->header_row.length,
				&row));
	buffer_release(&names);
	buffer_release(&row);
	return !fault;
}

/* ---- the sentence ---- */

static void say_interval(struct buffer *out, const struct table_config *t)
{
	static const struct {
		int64_t ms;
		const char *unit;
	} units[] = {{MS_PER_DAY, "d"}, {MS_PER_HOUR, "h"}, {MS_PER_MIN, "min"},
		{1000, "s"}, {1, "ms"}};
	size_t i = 0;
	if (t->interval_ms == 0)
		return;
	while (t->interval_ms % units[i].ms != 0)
		i++;
	buffer_addf(out, ", %lld %s %s the stamp",
		(long long)(t->interval_ms / units[i].ms), units[i].unit,
		t->covers_before ? "before" : "after");
}

static void say_times(const struct detection *d, const char *zone, struct buffer *out)
{
	const struct table_form *f = d->form;
	char origin[32];
	buffer_add_text(out, ", times ");
	if (!d->table->time_column && (f->numeric || f->pattern_text[0]))
		buffer_addf(out, "in column %u ", (unsigned)f->time_field + 1);
	time_text_utc(d->table->origin_ms, origin);
	if (!f->numeric && !f->pattern_text[0])
		buffer_add_text(out, "of none, since it has no rows");
	else if (f->numeric)
		buffer_addf(out, "in %s since %s",
			f->per_second == 0         ? "s, ms, µs or ns by size"
			: f->per_second == 1       ? "s"
			: f->per_second == 1000    ? "ms"
			: f->per_second == 1000000 ? "µs"
						   : "ns",
			origin);
	else
		buffer_addf(out, "%s in %s", f->pattern_text, zone);
}

static void say_lacking(const struct detection *d, struct buffer *out)
{
	bool any = false;
	for (size_t i = 0; i < d->table->column_count && !d->table->name_column; i++)
		if (table_field(d->form, d->table->columns[i].column) == NO_FIELD) {
			buffer_addf(out, "%s'%s'", any ? ", " : "; without column ",
				d->table->columns[i].column);
			any = true;
		}
}

void table_say(const struct table_config *table, const struct table_form *form,
	const char *zone, struct buffer *out)
{
	const struct detection d = {
		table, NULL, (struct table_form *)(uintptr_t)form, out};
	const char *delimiter = form->delimiter == ','    ? "comma"
				: form->delimiter == ';'  ? "semicolon"
				: form->delimiter == '\t' ? "tab"
							  : "pipe";
	buffer_addf(out, "%s: %s, decimal %s, %sheader%s", table->name, delimiter,
		form->mark == ',' ? "comma" : "point", form->header ? "" : "no ",
		form->latin_1 ? " in Latin-1" : "");
	say_times(&d, zone, out);
	say_interval(out, table);
	say_lacking(&d, out);
}

/* Rows behind the header that are as the form wants. */
static bool any_row(const struct detection *d, size_t first)
{
	for (size_t i = first; i < d->sample->count; i++) {
		size_t length;
		const char *text = row_at(d, i, &length);
		if (!d->sample->rows[i].comment && row_fits(d->form, text, length))
			return true;
	}
	return false;
}

int table_detect(const struct table_config *table, const struct sample *sample,
	bool final, int64_t now_ms, struct table_form *form, size_t *ret_header,
	struct buffer *said)
{
	struct detection d = {table, sample, form, said};
	form->time_field = form->clock_field = NO_FIELD;
	buffer_reset(said);
	if (!find_delimiter(&d) || !find_header(&d, ret_header) ||
		!take_header(&d, *ret_header) || !check_columns(&d))
		return DETECT_REFUSED;
	size_t first = *ret_header == SIZE_MAX ? 0 : *ret_header + 1;
	if (!any_row(&d, first)) { /* then each of its lines is told why not */
		form->time_field = 0;
		return final ? 0 : DETECT_MORE;
	}
	int r = table_detect_times(table, sample, first, final, now_ms, form, said);
	if (r == 0)
		r = table_detect_mark(table, sample, first, form, said);
	if (r == 0)
		form->head.data[1] = form->mark;
	return r;
}
