/*
 * The decimal mark of a table's file, by the numbers of its first rows. See table_form.h.
 *
 * One mark holds for the whole file. 21.5 and 1,234.5 tell a point, 21,5 and 1.234,5 a
 * comma; 1,234 alone may be either and tells nothing. Only columns that feed channels are
 * looked at: others may hold versions or dates.
 */
#include "table_form.h"

#include <heatbook/table.h>

#include <string.h>

enum tells { TELLS_NOTHING, TELLS_POINT, TELLS_COMMA, TELLS_EITHER };

static size_t digits(const char *text, size_t at, size_t length)
{
	size_t from = at;
	while (at < length && text[at] >= '0' && text[at] <= '9')
		at++;
	return at - from;
}

/* Groups of three after a mark, as in 1.234.567: their number, *at moved past them. */
static size_t groups(const char *text, size_t *at, size_t length, char mark)
{
	size_t count = 0;
	while (*at < length && text[*at] == mark && digits(text, *at + 1, length) == 3) {
		*at += 4;
		count++;
	}
	return count;
}

/* What a cell tells when `mark` is the decimal one and `other` groups thousands. */
static bool reads_as(const char *text, size_t length, char mark, char other)
{
	size_t at = length > 0 && (text[0] == '-' || text[0] == '+');
	size_t whole = digits(text, at, length);
	at += whole;
	if (whole >= 1 && whole <= 3)
		(void)groups(text, &at, length, other);
	if (at < length && text[at] == mark) {
		size_t fraction = digits(text, at + 1, length);
		if (whole + fraction == 0)
			return false;
		at += 1 + fraction;
	} else if (whole == 0)
		return false;
	/* A unit or an exponent may follow. */
	return at == length || text[at] == ' ' || text[at] == 'e' || text[at] == 'E';
}

static enum tells cell_tells(const char *text, size_t length)
{
	if (!memchr(text, '.', length) && !memchr(text, ',', length))
		return TELLS_NOTHING;
	bool point = reads_as(text, length, '.', ',');
	bool comma = reads_as(text, length, ',', '.');
	char first = text[text[0] == '-' || text[0] == '+'];
	if (point && comma) /* a leading zero is no group's */
		return first == '0'
			       ? memchr(text, ',', length) ? TELLS_COMMA : TELLS_POINT
		       : memchr(text, '.', length) ? TELLS_NOTHING
						   : TELLS_EITHER;
	return point ? TELLS_POINT : comma ? TELLS_COMMA : TELLS_NOTHING;
}

struct tally {
	size_t by[4];
	char sample[2][24]; /* of point and comma */
};

static void count_cell(struct tally *tally, const struct cell *cell)
{
	char text[64] = "";
	if (cell->length >= sizeof(text))
		return;
	size_t length = cell_plain(cell, text);
	enum tells tells = cell_tells(text, length);
	char *shown = tally->sample[tells != TELLS_POINT];
	if (tells != TELLS_NOTHING && !shown[0])
		(void)snprintf(
			shown, sizeof(tally->sample[0]), "%.*s", (int)length, text);
	tally->by[tells]++;
}

/* Does the cell of that number feed a channel? */
static void mark_feeds(const struct table_config *t, const struct table_form *form,
	bool *feeds, uint32_t count)
{
	for (uint32_t i = 0; i < count && t->column_count == 0; i++)
		feeds[i] = i != form->time_field; /* of a section that is to be made */
	for (size_t i = 0; i < t->column_count && !t->value_column; i++) {
		uint32_t field = table_field(form, t->columns[i].column);
		if (field < count)
			feeds[field] = true;
	}
	uint32_t field = t->value_column ? table_field(form, t->value_column) : NO_FIELD;
	if (field < count)
		feeds[field] = true;
}

static void tally_rows(const struct sample *sample, size_t first,
	const struct table_form *form, const bool *feeds, struct tally *tally)
{
	for (size_t i = first; i < sample->count; i++) {
		const struct sample_row *row = &sample->rows[i];
		const char *text = sample->bytes.data + row->at;
		struct cells cells = cells_of(text, row->length, form->delimiter);
		struct cell cell;
		if (row->comment || !row_fits(form, text, row->length))
			continue;
		for (uint32_t k = 0; k < form->fields && cells_next(&cells, &cell); k++)
			if (feeds[k])
				count_cell(tally, &cell);
	}
}

int table_detect_mark(const struct table_config *table, const struct sample *sample,
	size_t first, struct table_form *form, struct buffer *said)
{
	struct tally tally = {{0}, {"", ""}};
	form->mark = table->decimal == DECIMAL_COMMA ? ',' : '.';
	if (table->decimal != DECIMAL_DETECT)
		return 0;
	bool *feeds = xcalloc(form->fields + 1, sizeof(*feeds));
	mark_feeds(table, form, feeds, form->fields);
	tally_rows(sample, first, form, feeds, &tally);
	free(feeds);
	size_t points = tally.by[TELLS_POINT], commas = tally.by[TELLS_COMMA];
	if (points && commas) {
		buffer_addf(said,
			"its numbers have both decimal marks ('%s', '%s'): set decimal = "
			"point or comma in [table %s]",
			tally.sample[0], tally.sample[1], table->name);
		return DETECT_REFUSED;
	}
	if (!points && !commas && tally.by[TELLS_EITHER]) {
		buffer_addf(said,
			"'%s' may be a fraction or a thousand and more, and no other "
			"number tells: set decimal = point or comma in [table %s]",
			tally.sample[1], table->name);
		return DETECT_REFUSED;
	}
	form->mark = commas ? ',' : '.';
	return 0;
}
