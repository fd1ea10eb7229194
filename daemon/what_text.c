/*
 * What a rebuild would change, as text and as JSON. In the text days stand that change,
 * while they are few, and else months.
 */
#include "what.h"

#include "http/basis.h"

#include <heatbook/calendar.h>
#include <heatbook/correction.h>
#include <heatbook/decimal.h>
#include <heatbook/estimate.h>

#include <string.h>

#define DAYS_SHOWN 62

enum { NAME_WIDTH = 13, CELL_WIDTH = 10 };

static const enum column shown[] = {HEAT, ELECTRICITY, COP};

/* ---- text ---- */

static void add_right(struct buffer *out, const char *text)
{
	int pad = CELL_WIDTH - (int)strlen(text);
	buffer_addf(out, "%*s%s", pad > 0 ? pad : 0, "", text);
}

/* With two decimals, rounded half away from zero. */
static void add_cell(struct buffer *out, const struct cell *cell, enum column column)
{
	int decimals = column == COP ? RATIO_DECIMALS : KWH_DECIMALS;
	struct buffer text = {0};
	int64_t unit = 1;
	for (int i = 2; i < decimals; i++)
		unit *= 10;
	if (cell->known)
		decimal_add(&text,
			(cell->value + (cell->value < 0 ? -unit : unit) / 2) / unit, 2);
	else
		buffer_add_text(&text, "unknown");
	add_right(out, buffer_text(&text));
	buffer_release(&text);
}

static void add_row(struct buffer *out, const char *name, const struct what_row *row)
{
	buffer_addf(out, "%-*s", NAME_WIDTH, name);
	for (size_t i = 0; i < ARRAY_LEN(shown); i++) {
		add_cell(out, &row->before.cells[shown[i]], shown[i]);
		add_cell(out, &row->after.cells[shown[i]], shown[i]);
	}
	buffer_add_text(out, "\n");
}

static void date_of(int64_t t_ms, char text[static 16])
{
	calendar_date_text(calendar_date(t_ms), text);
}

static size_t count_changed(const struct what_row *rows, size_t count)
{
	size_t changed = 0;
	for (size_t i = 0; i < count; i++)
		changed += what_differs(&rows[i]);
	return changed;
}

static void add_rows(
	struct buffer *out, const struct what_row *rows, size_t count, bool months)
{
	char date[16];
	for (size_t i = 0; i < count; i++) {
		if (!what_differs(&rows[i]))
			continue;
		date_of(rows[i].t_ms, date);
		if (months)
			date[strlen("2026-01")] = '\0';
		add_row(out, date, &rows[i]);
	}
}

static void add_head(struct buffer *out, const struct what *what)
{
	char from[16], to[16];
	date_of(what->total.t_ms, from);
	date_of(what->total.t_end_ms - 1, to);
	buffer_addf(out, "%s, %s to %s: what a rebuild would change\n\n",
		what->question.config->plant.name, from, to);
	buffer_addf(out, "%-*s%*s%*s%*s\n", NAME_WIDTH, "", 2 * CELL_WIDTH, "heat kWh",
		2 * CELL_WIDTH, "electricity kWh", 2 * CELL_WIDTH, "efficiency");
	buffer_addf(out, "%-*s", NAME_WIDTH, "");
	for (size_t i = 0; i < ARRAY_LEN(shown); i++) {
		add_right(out, "before");
		add_right(out, "after");
	}
	buffer_add_text(out, "\n");
}

static void add_channels(struct buffer *out, const struct what *what)
{
	const struct config *config = what->question.config;
	for (size_t c = 0; c < config->channel_count; c++)
		if (what->channel_days[c] > 0)
			buffer_addf(out, "channel %s: %lld day%s\n",
				config->channels[c].name,
				(long long)what->channel_days[c],
				what->channel_days[c] == 1 ? "" : "s");
}

/* What the configuration in work takes heat and electricity from. */
static void add_basis(struct buffer *out, const struct question *q)
{
	const struct plant_config *plant = &q->config->plant;
	struct estimate list[ESTIMATES_MOST];
	size_t count = estimates_of(q->config, &q->boundary, list);
	buffer_addf(out, "fluid: %s", fluid_name(plant->fluid));
	if (plant->fluid != FLUID_WATER)
		buffer_addf(out, ", %.4g %% by volume", plant->fluid_percent);
	buffer_add_text(out, "\n");
	for (size_t i = 0; i < count; i++)
		if (list[i].counted)
			buffer_addf(out, "estimated: %s%s%s, %s\n",
				estimate_quantity(&list[i]),
				list[i].meter < 0 ? "" : " of ",
				list[i].meter < 0 ? ""
						  : q->config->meters[list[i].meter].name,
				list[i].why);
}

/* Those that the rows after it would be made with. */
static void add_corrections(struct buffer *out, const struct what *what)
{
	const struct config *config = what->question.config;
	for (size_t i = 0; i < config->correction_count; i++) {
		const struct correction_config *c = &config->corrections[i];
		if (!correction_touches(c, what->total.t_ms, what->total.t_end_ms))
			continue;
		buffer_add_text(out, "correction: ");
		correction_describe(config, c, out, "\n  ");
		buffer_add_text(out, "\n");
	}
}

void what_text(const struct what *what, struct buffer *out)
{
	size_t changed = count_changed(what->days, what->day_count);
	const struct boundary *boundary = &what->question.boundary;
	add_head(out, what);
	if (changed > DAYS_SHOWN)
		add_rows(out, what->months, what->month_count, true);
	else
		add_rows(out, what->days, what->day_count, false);
	add_row(out, "total", &what->total);
	buffer_addf(out, "\n%zu of %zu days change in heat, electricity or efficiency\n",
		changed, what->day_count);
	add_channels(out, what);
	if (what->no_boundary)
		buffer_addf(out, "boundary: none: %s\n", what->no_boundary);
	else
		buffer_addf(out, "boundary: %s\n", boundary->name);
	add_basis(out, &what->question);
	add_corrections(out, what);
	if (what->rebuilt.sealed.count)
		buffer_addf(out, "sealed (UTC), would keep their rows: %s\n",
			what->rebuilt.sealed.dates);
	buffer_add_text(out, "nothing was changed\n");
}

/* ---- JSON ---- */

static const struct {
	const char *name;
	enum column column;
	int decimals; /* -1: milliseconds, written as seconds */
} columns[] = {{"heat_kwh", HEAT, KWH_DECIMALS},
	{"electricity_kwh", ELECTRICITY, KWH_DECIMALS}, {"cop", COP, RATIO_DECIMALS},
	{"cop_uncertainty", COP_UNCERTAINTY, RATIO_DECIMALS},
	{"heat_observed_s", HEAT_OBSERVED_S, -1},
	{"electricity_observed_s", ELECTRICITY_OBSERVED_S, -1},
	{"paired_s", PAIRED_S, -1}};

static void write_cell(
	struct json *json, const char *key, const struct cell *cell, int decimals)
{
	if (!cell->known)
		json_null(json, key);
	else if (decimals < 0)
		json_seconds(json, key, cell->value);
	else
		json_scaled(json, key, cell->value, decimals);
}

static void write_figures(struct json *json, const char *key, const struct what_row *rows,
	size_t count, bool after)
{
	json_object(json, key);
	for (size_t c = 0; c < ARRAY_LEN(columns); c++) {
		json_array(json, columns[c].name);
		for (size_t i = 0; i < count; i++)
			write_cell(json, NULL,
				&(after ? &rows[i].after : &rows[i].before)
					 ->cells[columns[c].column],
				columns[c].decimals);
		json_array_end(json);
	}
	json_object_end(json);
}

static void write_rows(
	struct json *json, const char *key, const struct what_row *rows, size_t count)
{
	json_object(json, key);
	json_array(json, "t");
	for (size_t i = 0; i < count; i++)
		json_seconds(json, NULL, rows[i].t_ms);
	json_array_end(json);
	json_array(json, "t_end");
	for (size_t i = 0; i < count; i++)
		json_seconds(json, NULL, rows[i].t_end_ms);
	json_array_end(json);
	json_array(json, "changes");
	for (size_t i = 0; i < count; i++)
		json_bool(json, NULL, what_differs(&rows[i]));
	json_array_end(json);
	write_figures(json, "before", rows, count, false);
	write_figures(json, "after", rows, count, true);
	json_object_end(json);
}

void what_json(const struct what *what, struct buffer *out)
{
	const struct config *config = what->question.config;
	const char *boundary = what->question.boundary.name;
	struct json json = {0};
	json_object(&json, NULL);
	json_text(&json, "zone", config->plant.zone);
	json_seconds(&json, "from", what->total.t_ms);
	json_seconds(&json, "to", what->total.t_end_ms);
	json_text(&json, "boundary", boundary[0] ? boundary : NULL);
	json_fluid(&json, &config->plant);
	json_estimates(&json, config, &what->question.boundary, NULL);
	json_corrections(&json, "corrections", config, CORRECTIONS_OF_ALL,
		what->total.t_ms, what->total.t_end_ms);
	json_integer(&json, "days_changed",
		(int64_t)count_changed(what->days, what->day_count));
	json_object(&json, "channel_days_changed");
	for (size_t c = 0; c < config->channel_count; c++)
		json_integer(&json, config->channels[c].name, what->channel_days[c]);
	json_object_end(&json);
	json_integer(&json, "sealed_days", what->rebuilt.sealed.count);
	json_text(&json, "sealed_dates", what->rebuilt.sealed.dates);
	write_rows(&json, "days", what->days, what->day_count);
	write_rows(&json, "months", what->months, what->month_count);
	write_rows(&json, "total", &what->total, 1);
	json_object_end(&json);
	buffer_add(out, json.out.data, json.out.length);
	buffer_add_text(out, "\n");
	buffer_release(&json.out);
}
