/*
 * The cells of a table's row, RFC 4180: parted by one byte, a cell in quotes may hold it,
 * line ends and doubled quotes. What follows a closing quote up to the next delimiter
 * belongs to nothing and makes the row a bad one.
 */
#ifndef INGEST_CELLS_H
#define INGEST_CELLS_H

#include "strip.h"

struct cells {
	const char *at, *end; /* at is NULL after the last cell */
	char delimiter;
	bool broken; /* a quote is not closed, or text follows a closed one */
};

struct cell {
	const char *text;
	size_t length;
	bool quoted; /* text is what the quotes hold; quotes in it stand twice */
};

static inline struct cells cells_of(const char *row, size_t length, char delimiter)
{
	return (struct cells){.at = row, .end = row + length, .delimiter = delimiter};
}

static inline void cells_end(struct cells *c, const char *end)
{
	c->at = end == c->end ? NULL : end + 1;
}

static inline void cell_in_quotes(struct cells *c, struct cell *ret)
{
	const char *p = ++c->at;
	for (; p < c->end; p++) {
		if (*p != '"')
			continue;
		if (p + 1 == c->end || p[1] != '"')
			break;
		p++;
	}
	*ret = (struct cell){c->at, (size_t)(p - c->at), true};
	c->broken |= p == c->end;
	if (p < c->end)
		p++;
	while (p < c->end && *p != c->delimiter)
		c->broken |= !is_blank(*p++);
	cells_end(c, p);
}

/* False after the last cell. An empty row has one, empty cell. */
static inline bool cells_next(struct cells *c, struct cell *ret)
{
	if (!c->at)
		return false;
	if (c->at < c->end && *c->at == '"') {
		cell_in_quotes(c, ret);
		return true;
	}
	/* Cells are a few bytes long: a call would cost more than the look. */
	const char *p = c->at;
	while (p < c->end && *p != c->delimiter)
		p++;
	*ret = (struct cell){c->at, (size_t)(p - c->at), false};
	cells_end(c, p);
	return true;
}

/* Writes the cell without blanks around and doubled quotes into `into`, of at least its
 * length, and answers its length there. */
static inline size_t cell_plain(const struct cell *cell, char *into)
{
	const char *text = cell->text;
	size_t length = cell->length, n = 0;
	strip(&text, &length);
	for (size_t i = 0; i < length; i++) {
		into[n++] = text[i];
		if (cell->quoted && text[i] == '"' && i + 1 < length &&
			text[i + 1] == '"')
			i++;
	}
	return n;
}

#endif
