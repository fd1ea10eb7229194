/*
 * The rows of an answer as one rectangle of values, from which both shapes are written:
 * JSON's columns and CSV's lines. So a number has one name, unit and rounding in both.
 */
#ifndef HEATBOOK_HTTP_SHEET_H
#define HEATBOOK_HTTP_SHEET_H

#include <heatbook/figures.h>
#include <heatbook/http.h>

#include "json.h"

enum sheet_group { SHEET_WHOLE, SHEET_MODE, SHEET_METER, SHEET_OUTDOOR, SHEET_OTHER };

#define SHEET_SECONDS (-1)

struct sheet_column {
	enum sheet_group group;
	const char *member; /* which mode, meter, source; NULL of the whole */
	char name[80];
	const char
		*value;   /* its name among the values that may be wanted; NULL: always */
	const char *ucum; /* NULL: it has no unit */
	char note[64];    /* in the header of CSV, which says it nowhere else; or empty */
	int decimals;     /* of the cells; SHEET_SECONDS: they are ms, written as s */
	bool instant;
	const char *const *words; /* cells are places in it; NULL: they are numbers */
	struct cell *cells;       /* one a row, unknown at first */
};

/* What a column is, for tables of such. */
struct sheet_form {
	const char *name, *ucum;
	int decimals;
	bool instant;
};

struct sheet {
	size_t rows;
	struct sheet_column *columns;
	size_t count;
	char **texts; /* words of its own, that go with it, and the list of them */
	size_t text_count;
};

/* Adds a column like this one; its cells are the caller's to fill. */
struct cell *sheet_add(struct sheet *sheet, const struct sheet_column *like);
/* A column of that form, of a group's member (NULL: of the whole). */
struct cell *sheet_add_form(struct sheet *sheet, enum sheet_group group,
	const char *member, const struct sheet_form *form);
/* Columns of the whole, one a form; `ret_cells` are theirs. */
void sheet_add_forms(struct sheet *sheet, const struct sheet_form *forms, size_t count,
	struct cell *ret_cells[]);
void sheet_release(struct sheet *sheet);
/* The cell of a value with so many decimals; unknown when it is not finite. */
struct cell cell_of(double value, int decimals);

/* Where a correction of the configuration is on any of these channels (none: on what
 * heat, electricity and modes rest on), a column that names in each row those that are in
 * force. The sheet's first two columns are the rows' ends. */
void sheet_add_corrections(struct sheet *sheet, const struct config *config,
	const int *channels, size_t channel_count);
/* One cell as a member. */
void json_cell(struct json *json, const char *key, const struct cell *cell, int decimals);

/* A group as an object of arrays, or by rows as an array of objects; of modes and meters
 * one such a member. */
void sheet_json(const struct sheet *sheet, enum sheet_group group, bool by_rows,
	struct json *json);
/* A column of /v1/energy as it is answered of this question: its name, unit, rounding and
 * note. */
struct sheet_column energy_column(const struct question *q, enum column column);
/* One row as members, instants left out. */
void sheet_json_row(const struct sheet *sheet, size_t row, struct json *json);
/* Units of all columns that have one, as members. */
void sheet_json_units(const struct sheet *sheet, struct json *json);
/* All groups as CSV (RFC 4180): the header, unless it is not wanted, and the rows. */
void sheet_csv(
	const struct sheet *sheet, const struct csv_form *form, struct buffer *out);

#endif
