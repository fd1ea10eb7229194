/*
 * See sheet.h.
 *
 * CSV as RFC 4180 has it: lines end in CR LF, fields are quoted where they must be. An
 * unknown value is an empty field. The header names each column as the JSON does, modes
 * and meters with what they belong to, its UCUM unit in brackets, and what else must be
 * known of it in parentheses. Instants are RFC 3339 in the plant's zone with offset, or
 * epoch seconds.
 */
#include "sheet.h"

#include <heatbook/calendar.h>
#include <heatbook/decimal.h>

#include <string.h>

static const struct {
	const char *json;
	const char *csv;
} groups[] = {
	[SHEET_WHOLE] = {"columns", ""},
	[SHEET_MODE] = {"modes", "mode."},
	[SHEET_METER] = {"meters", "meter."},
	[SHEET_OUTDOOR] = {"by_outdoor", ""},
	[SHEET_OTHER] = {"other_heat", "other_heat."},
};

struct cell *sheet_add(struct sheet *sheet, const struct sheet_column *like)
{
	sheet->columns =
		xrealloc(sheet->columns, sheet->count + 1, sizeof(*sheet->columns));
	struct sheet_column *column = &sheet->columns[sheet->count++];
	*column = *like;
	column->cells = xcalloc(sheet->rows, sizeof(*column->cells));
	return column->cells;
}

struct cell *sheet_add_form(struct sheet *sheet, enum sheet_group group,
	const char *member, const struct sheet_form *form)
{
	struct sheet_column column = {.group = group,
		.member = member,
		.ucum = form->ucum,
		.decimals = form->decimals,
		.instant = form->instant};
	(void)snprintf(column.name, sizeof(column.name), "%s", form->name);
	return sheet_add(sheet, &column);
}

void sheet_add_forms(struct sheet *sheet, const struct sheet_form *forms, size_t count,
	struct cell *ret_cells[])
{
	for (size_t c = 0; c < count; c++)
		ret_cells[c] = sheet_add_form(sheet, SHEET_WHOLE, NULL, &forms[c]);
}

void sheet_release(struct sheet *sheet)
{
	for (size_t c = 0; c < sheet->count; c++)
		free(sheet->columns[c].cells);
	for (size_t i = 0; i < sheet->text_count; i++)
		free(sheet->texts[i]);
	free(sheet->texts);
	free(sheet->columns);
	*sheet = (struct sheet){0};
}

struct cell cell_of(double value, int decimals)
{
	struct cell cell = {0};
	cell.known = json_scale(value, decimals, &cell.value);
	return cell;
}

void json_cell(struct json *json, const char *key, const struct cell *cell, int decimals)
{
	if (!cell->known)
		json_null(json, key);
	else if (decimals == SHEET_SECONDS)
		json_seconds(json, key, cell->value);
	else
		json_scaled(json, key, cell->value, decimals);
}

static void json_place(struct json *json, const char *key,
	const struct sheet_column *column, const struct cell *cell)
{
	if (column->words && cell->known)
		json_text(json, key, column->words[cell->value]);
	else
		json_cell(json, key, cell, column->decimals);
}

/* The columns [from, to) are one member's. */
static void json_columns(
	const struct sheet *sheet, size_t from, size_t to, struct json *json)
{
	for (size_t c = from; c < to; c++) {
		const struct sheet_column *column = &sheet->columns[c];
		json_array(json, column->name);
		for (size_t i = 0; i < sheet->rows; i++)
			json_place(json, NULL, column, &column->cells[i]);
		json_array_end(json);
	}
}

static void json_rows(
	const struct sheet *sheet, size_t from, size_t to, struct json *json)
{
	for (size_t i = 0; i < sheet->rows; i++) {
		json_object(json, NULL);
		for (size_t c = from; c < to; c++) {
			const struct sheet_column *column = &sheet->columns[c];
			json_place(json, column->name, column, &column->cells[i]);
		}
		json_object_end(json);
	}
}

static void json_member(const struct sheet *sheet, size_t from, size_t to,
	const char *key, bool by_rows, struct json *json)
{
	if (by_rows) {
		json_array(json, key);
		json_rows(sheet, from, to, json);
		json_array_end(json);
	} else {
		json_object(json, key);
		json_columns(sheet, from, to, json);
		json_object_end(json);
	}
}

/* An object of members, whose columns stand together. */
static void json_members(
	const struct sheet *sheet, const char *key, bool by_rows, struct json *json)
{
	json_object(json, key);
	for (size_t from = 0, to; from < sheet->count; from = to) {
		const char *member = sheet->columns[from].member;
		to = from + 1;
		while (to < sheet->count && sheet->columns[to].member == member)
			to++;
		json_member(sheet, from, to, member, by_rows, json);
	}
	json_object_end(json);
}

void sheet_json(const struct sheet *sheet, enum sheet_group group, bool by_rows,
	struct json *json)
{
	const char *key = group == SHEET_WHOLE && by_rows ? "rows" : groups[group].json;
	struct sheet own = {.rows = sheet->rows};
	/* The whole's columns stand at both ends: of each group they are brought
	 * together. */
	own.columns = xcalloc(sheet->count + 1, sizeof(*own.columns));
	for (size_t c = 0; c < sheet->count; c++)
		if (sheet->columns[c].group == group)
			own.columns[own.count++] = sheet->columns[c];
	if (group == SHEET_MODE || group == SHEET_METER || group == SHEET_OTHER)
		json_members(&own, key, by_rows, json);
	else
		json_member(&own, 0, own.count, key, by_rows, json);
	free(own.columns); /* the cells are the sheet's */
}

void sheet_json_row(const struct sheet *sheet, size_t row, struct json *json)
{
	for (size_t c = 0; c < sheet->count; c++) {
		const struct sheet_column *column = &sheet->columns[c];
		if (!column->instant)
			json_place(json, column->name, column, &column->cells[row]);
	}
}

void sheet_json_units(const struct sheet *sheet, struct json *json)
{
	for (size_t c = 0; c < sheet->count; c++)
		if (sheet->columns[c].ucum)
			json_text(json, sheet->columns[c].name, sheet->columns[c].ucum);
}

static void csv_text(struct buffer *out, const char *text)
{
	if (!strpbrk(text, "\",\r\n")) {
		buffer_add_text(out, text);
		return;
	}
	buffer_add(out, "\"", 1);
	for (; *text; text++)
		buffer_add(out, *text == '"' ? "\"\"" : text, *text == '"' ? 2 : 1);
	buffer_add(out, "\"", 1);
}

static void csv_cell(struct buffer *out, const struct sheet_column *column,
	const struct cell *cell, const struct csv_form *form)
{
	char text[32];
	if (!cell->known)
		return;
	if (column->words) {
		csv_text(out, column->words[cell->value]);
	} else if (column->instant && !form->epoch) {
		time_text_local(cell->value, text);
		buffer_add_text(out, text);
	} else if (column->decimals == SHEET_SECONDS) {
		bool whole = cell->value % 1000 == 0;
		decimal_add(out, whole ? cell->value / 1000 : cell->value, whole ? 0 : 3);
	} else {
		decimal_add(out, cell->value, column->decimals);
	}
}

static void csv_name(struct buffer *out, const struct sheet_column *column,
	const struct csv_form *form)
{
	bool unit = column->ucum && !(column->instant && !form->epoch);
	bool note = column->note[0];
	_cleanup_(freep) char *name =
		xasprintf("%s%s%s%s%s%s%s%s%s%s", groups[column->group].csv,
			column->member ? column->member : "", column->member ? "." : "",
			column->name, unit ? " [" : "", unit ? column->ucum : "",
			unit ? "]" : "", note ? " (" : "", column->note, note ? ")" : "");
	csv_text(out, name);
}

/* The instants of modes are those of the whole: they stand once a line. */
static bool csv_has(const struct sheet_column *column)
{
	return !column->instant || column->group == SHEET_WHOLE;
}

void sheet_csv(const struct sheet *sheet, const struct csv_form *form, struct buffer *out)
{
	for (size_t i = form->header ? 0 : 1; i <= sheet->rows; i++) {
		const char *comma = "";
		for (size_t c = 0; c < sheet->count; c++) {
			const struct sheet_column *column = &sheet->columns[c];
			if (!csv_has(column))
				continue;
			buffer_add_text(out, comma);
			comma = ",";
			if (i == 0)
				csv_name(out, column, form);
			else
				csv_cell(out, column, &column->cells[i - 1], form);
		}
		buffer_add_text(out, "\r\n");
	}
}
