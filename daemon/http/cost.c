/*
 * /v1/cost: what the plant's electricity cost and emitted by step of whole local days, by
 * meter and mode, beside what the same heat would have cost from another source. The sums
 * are those of cost_ask(), the figures those of cost_figures.c; here the question is read
 * and the answer laid out.
 *
 * What is missing for a figure is said in sentences; it is null then, and never 0.
 */
#include "basis.h"
#include "face.h"
#include "sheet.h"

#include <heatbook/cost_figures.h>
#include <heatbook/insight.h>

#include <math.h>
#include <string.h>

#define MONEY_DECIMALS  4
#define PRICE_DECIMALS  6
#define CARBON_DECIMALS 4

/* Days without facts that are worked out for one question: a millisecond or two each, and
 * the daemon makes the others in its turns. */
#define DAYS_NOW 400

enum of_unit { OF_KWH, OF_SECONDS, OF_MONEY, OF_PRICE, OF_CARBON, OF_CARBON_A_KWH };

static const struct {
	const char *name;
	enum of_unit unit;
} columns[COST_COLUMNS] = {
	[COST_ELECTRICITY] = {"electricity_kwh", OF_KWH},
	[COST_OBSERVED] = {"electricity_observed_s", OF_SECONDS},
	[COST_PRICED] = {"priced_electricity_kwh", OF_KWH},
	[COST_UNPRICED] = {"unpriced_electricity_kwh", OF_KWH},
	[COST_COST] = {"cost", OF_MONEY},
	[COST_LOW] = {"cost_low", OF_MONEY},
	[COST_HIGH] = {"cost_high", OF_MONEY},
	[COST_PRICE_PAID] = {"price_paid", OF_PRICE},
	[COST_OWN] = {"own_electricity_kwh", OF_KWH},
	[COST_OWN_COST] = {"own_cost", OF_MONEY},
	[COST_PAIRED_HEAT] = {"paired_heat_kwh", OF_KWH},
	[COST_PAIRED_COST] = {"paired_cost", OF_MONEY},
	[COST_A_HEAT] = {"heat_cost", OF_PRICE},
	[COST_A_HEAT_LOW] = {"heat_cost_low", OF_PRICE},
	[COST_A_HEAT_HIGH] = {"heat_cost_high", OF_PRICE},
	[COST_CARBON_KNOWN] = {"carbon_electricity_kwh", OF_KWH},
	[COST_CARBON] = {"carbon_kg", OF_CARBON},
	[COST_CARBON_LOW] = {"carbon_kg_low", OF_CARBON},
	[COST_CARBON_HIGH] = {"carbon_kg_high", OF_CARBON},
	[COST_CARBON_A_HEAT] = {"heat_carbon_kg", OF_CARBON_A_KWH},
	[COST_BRIDGED] = {"bridged_electricity_kwh", OF_KWH},
	[COST_STANDING] = {"standing_cost", OF_MONEY},
	[COST_COOLING_ELECTRICITY] = {"cooling_electricity_kwh", OF_KWH},
	[COST_COOLING] = {"cooling_cost", OF_MONEY},
};

static const struct {
	const char *name;
	enum of_unit unit;
} other_columns[OTHER_COLUMNS] = {
	[OTHER_HEAT] = {"paired_heat_kwh", OF_KWH},
	[OTHER_COST] = {"other_cost", OF_MONEY},
	[OTHER_COST_LOW] = {"other_cost_low", OF_MONEY},
	[OTHER_COST_HIGH] = {"other_cost_high", OF_MONEY},
	[OTHER_SAVED] = {"saved", OF_MONEY},
	[OTHER_SAVED_LOW] = {"saved_low", OF_MONEY},
	[OTHER_SAVED_HIGH] = {"saved_high", OF_MONEY},
	[OTHER_CARBON] = {"other_carbon_kg", OF_CARBON},
	[OTHER_SAVED_CARBON] = {"saved_carbon_kg", OF_CARBON},
};

/* Of a meter, as of the whole: all modes but cooling. */
static const enum cost_column meter_columns[] = {
	COST_ELECTRICITY, COST_PRICED, COST_COST, COST_OWN, COST_CARBON};

/* UCUM has no currencies: they are annotations, which it lets be anything. */
struct units {
	char money[32], price[40];
};

struct asked {
	struct question q;
	struct span span;
	struct units units;
	const char *others[OTHERS_MOST];
	size_t other_count;
};

static const char *ucum_of(const struct units *units, enum of_unit unit)
{
	switch (unit) {
	case OF_KWH:
		return "kW.h";
	case OF_SECONDS:
		return "s";
	case OF_MONEY:
		return units->money;
	case OF_PRICE:
		return units->price;
	case OF_CARBON:
		return "kg";
	case OF_CARBON_A_KWH:
		return "kg/kW.h";
	}
	return NULL;
}

static int decimals_of(enum of_unit unit)
{
	static const int decimals[] = {[OF_KWH] = KWH_DECIMALS,
		[OF_SECONDS] = 3,
		[OF_MONEY] = MONEY_DECIMALS,
		[OF_PRICE] = PRICE_DECIMALS,
		[OF_CARBON] = CARBON_DECIMALS,
		[OF_CARBON_A_KWH] = PRICE_DECIMALS};
	return decimals[unit];
}

/* ---- the question ---- */

static void units_write(const struct config *config, struct units *ret)
{
	const char *currency = config->cost->site.currency;
	(void)snprintf(ret->money, sizeof(ret->money), "{%.24s}",
		currency ? currency : "currency");
	(void)snprintf(ret->price, sizeof(ret->price), "%s/kW.h", ret->money);
}

static void others_list(struct asked *asked)
{
	const struct cost_config *cost = asked->q.config->cost;
	for (size_t i = 0; i < cost->other_count; i++)
		if (other_heat_begins(cost, i) && asked->other_count < OTHERS_MOST)
			asked->others[asked->other_count++] = cost->others[i].source;
}

static size_t values_of(const struct asked *asked)
{
	size_t modes = asked->q.by_mode ? MODE_COUNT * (size_t)COST_BRIDGED : 0;
	return COST_COLUMNS + 2 + modes +
	       ARRAY_LEN(meter_columns) * asked->q.config->meter_count +
	       OTHER_COLUMNS * asked->other_count;
}

static bool asked_read(const struct config *config, const struct request *request,
	struct reply *reply, struct asked *ret)
{
	*ret = (struct asked){0};
	if (!form_read(request, reply) || !question_read(config, request, reply, &ret->q))
		return false;
	units_write(config, &ret->units);
	others_list(ret);
	return span_read(request, values_of(ret), reply, &ret->span) &&
	       span_whole_days(request, &ret->span, reply);
}

/* ---- the rows ---- */

static struct cell *add_column(struct sheet *sheet, const struct asked *asked,
	enum sheet_group group, const char *member, const char *name, enum of_unit unit)
{
	struct sheet_form form = {
		name, ucum_of(&asked->units, unit), decimals_of(unit), .instant = false};
	return sheet_add_form(sheet, group, member, &form);
}

static void add_times(struct sheet *sheet, enum sheet_group group, const char *member,
	const struct energy_answer *energy)
{
	static const struct sheet_form forms[] = {
		{"t", "s", SHEET_SECONDS, true}, {"t_end", "s", SHEET_SECONDS, true}};
	for (size_t c = 0; c < ARRAY_LEN(forms); c++) {
		struct cell *cells = sheet_add_form(sheet, group, member, &forms[c]);
		for (size_t i = 0; i < energy->count; i++)
			cells[i] = (struct cell){true, c ? energy->buckets[i].t_end_ms
							 : energy->buckets[i].t_ms};
	}
}

/* The whole (mode -1) or a mode. */
static void add_figures(struct sheet *sheet, const struct asked *asked,
	const struct cost_answer *answer, int mode)
{
	struct cell *cells[COST_COLUMNS];
	const char *member = mode < 0 ? NULL : mode_name((enum mode)mode);
	enum sheet_group group = mode < 0 ? SHEET_WHOLE : SHEET_MODE;
	int count = mode < 0 ? COST_COLUMNS : COST_BRIDGED;
	add_times(sheet, group, member, &answer->energy);
	for (int c = 0; c < count; c++)
		cells[c] = add_column(
			sheet, asked, group, member, columns[c].name, columns[c].unit);
	for (size_t i = 0; i < answer->energy.count; i++) {
		const struct energy_bucket *energy = &answer->energy.buckets[i];
		struct cost_figures f;
		if (mode < 0)
			cost_figures_whole(energy, &answer->buckets[i], &asked->q, &f);
		else
			cost_figures_mode(
				energy, &answer->buckets[i], mode, &asked->q, &f);
		for (int c = 0; c < count; c++)
			cells[c][i] = cell_of(f.values[c], decimals_of(columns[c].unit));
	}
}

static void meter_values(const struct asked *asked, const struct energy_bucket *energy,
	const struct cost_bucket *bucket, size_t m,
	double ret[static ARRAY_LEN(meter_columns)])
{
	const struct energy_sum sum = figures_sum(energy);
	const struct cost_sum *cost = &bucket->meters[m];
	bool known = sum.meter_ms[m] > 0 || sum.meter_bridged_ms[m] > 0;
	double kwh = known ? (double)sum.meter_j[m] / J_PER_KWH : (double)NAN;
	bool priced = cost->priced_j != 0.0 || kwh == 0.0;
	ret[0] = kwh;
	ret[1] = known ? cost->priced_j / J_PER_KWH : (double)NAN;
	ret[2] = priced ? cost->cost : (double)NAN;
	ret[3] = priced && site_splits(&asked->q.config->cost->site)
			 ? cost->own_j / J_PER_KWH
			 : (double)NAN;
	ret[4] = cost->carbon_j != 0.0 || kwh == 0.0 ? cost->carbon_g / 1e3 : (double)NAN;
}

static void add_meter(struct sheet *sheet, const struct asked *asked,
	const struct cost_answer *answer, size_t m)
{
	struct cell *cells[ARRAY_LEN(meter_columns)];
	const char *member = asked->q.config->meters[m].name;
	for (size_t c = 0; c < ARRAY_LEN(cells); c++)
		cells[c] = add_column(sheet, asked, SHEET_METER, member,
			columns[meter_columns[c]].name, columns[meter_columns[c]].unit);
	for (size_t i = 0; i < answer->energy.count; i++) {
		double values[ARRAY_LEN(cells)];
		meter_values(asked, &answer->energy.buckets[i], &answer->buckets[i], m,
			values);
		for (size_t c = 0; c < ARRAY_LEN(cells); c++)
			cells[c][i] = cell_of(
				values[c], decimals_of(columns[meter_columns[c]].unit));
	}
}

static void add_other(struct sheet *sheet, const struct asked *asked,
	const struct cost_answer *answer, size_t n)
{
	struct cell *cells[OTHER_COLUMNS];
	for (int c = 0; c < OTHER_COLUMNS; c++)
		cells[c] = add_column(sheet, asked, SHEET_OTHER, asked->others[n],
			other_columns[c].name, other_columns[c].unit);
	for (size_t i = 0; i < answer->energy.count; i++) {
		double values[OTHER_COLUMNS];
		cost_figures_other(&answer->energy.buckets[i],
			&answer->buckets[i].others[n], &asked->q, values);
		for (int c = 0; c < OTHER_COLUMNS; c++)
			cells[c][i] =
				cell_of(values[c], decimals_of(other_columns[c].unit));
	}
}

static void lay_out(
	const struct asked *asked, const struct cost_answer *answer, struct sheet *sheet)
{
	unsigned modes = asked->q.by_mode ? http_energy_modes(&answer->energy) : 0;
	*sheet = (struct sheet){.rows = answer->energy.count};
	add_figures(sheet, asked, answer, -1);
	for (int m = 0; m < MODE_COUNT; m++)
		if (modes & 1u << m)
			add_figures(sheet, asked, answer, m);
	for (size_t m = 0; m < asked->q.config->meter_count; m++)
		add_meter(sheet, asked, answer, m);
	for (size_t n = 0; n < asked->other_count; n++)
		add_other(sheet, asked, answer, n);
	sheet_add_corrections(sheet, asked->q.config, NULL, 0);
}

/* ---- the whole span ---- */

static void write_total(
	struct json *json, const struct asked *asked, const struct cost_answer *answer)
{
	struct cost_figures f;
	cost_figures_whole(&answer->energy.total, &answer->total, &asked->q, &f);
	json_object(json, "total");
	for (int c = 0; c < COST_COLUMNS; c++)
		json_number(
			json, columns[c].name, f.values[c], decimals_of(columns[c].unit));
	json_object(json, "other_heat");
	for (size_t n = 0; n < asked->other_count; n++) {
		double values[OTHER_COLUMNS];
		cost_figures_other(&answer->energy.total, &answer->total.others[n],
			&asked->q, values);
		json_object(json, asked->others[n]);
		for (int c = 0; c < OTHER_COLUMNS; c++)
			json_number(json, other_columns[c].name, values[c],
				decimals_of(other_columns[c].unit));
		json_object_end(json);
	}
	json_object_end(json);
	json_object_end(json);
}

static void write_units(struct json *json, const struct asked *asked)
{
	json_object(json, "units");
	json_text(json, "t", "s");
	json_text(json, "t_end", "s");
	for (int c = 0; c < COST_COLUMNS; c++)
		json_text(json, columns[c].name, ucum_of(&asked->units, columns[c].unit));
	for (int c = OTHER_COST; c < OTHER_COLUMNS; c++)
		json_text(json, other_columns[c].name,
			ucum_of(&asked->units, other_columns[c].unit));
	json_object_end(json);
}

static void write_tariffs(struct json *json, const struct asked *asked)
{
	const struct cost_config *cost = asked->q.config->cost;
	json_array(json, "tariffs");
	for (size_t i = 0; i < cost->tariff_count; i++) {
		const struct tariff_config *t = &cost->tariffs[i];
		if (t->dated.to_ms <= asked->span.from_ms ||
			t->dated.from_ms >= asked->span.to_ms)
			continue;
		json_object(json, NULL);
		json_text(json, "name", t->name);
		if (t->dated.from_ms == INT64_MIN)
			json_null(json, "from");
		else
			json_seconds(json, "from", t->dated.from_ms);
		if (t->dated.to_ms == INT64_MAX)
			json_null(json, "to");
		else
			json_seconds(json, "to", t->dated.to_ms);
		json_text(json, "told_by",
			t->price_channel >= 0 ? "channel"
			: t->window_count > 0 ? "windows"
					      : "price");
		json_object_end(json);
	}
	json_array_end(json);
}

static const char *own_by(const struct site_config *site)
{
	if (!site_splits(site))
		return NULL;
	return site->generation_channel >= 0 ? "proportion" : "last_load";
}

/* ---- what is missing ---- */

static void lack_configuration(const struct asked *asked, struct insight_answer *missing)
{
	const struct cost_config *cost = asked->q.config->cost;
	if (asked->q.config->meter_count == 0)
		insight_lacks(missing, "no electricity is metered: a section [meter "
				       "NAME] would say what to price");
	else if (asked->q.boundary.meters == 0)
		insight_lacks(missing,
			"what the meters feed makes no boundary: heatbookd check says "
			"why; each meter is answered by itself");
	if (cost->tariff_count == 0)
		insight_lacks(missing,
			"no price is configured: sections [tariff NAME] say what "
			"electricity costs");
	if (cost->carbon_count == 0)
		insight_lacks(missing,
			"no carbon intensity is configured: sections [carbon NAME] say "
			"what a kWh of electricity emits");
	if (cost->other_count == 0)
		insight_lacks(missing,
			"no other source of heat is configured: a section [other_heat "
			"NAME] gives its fuel's price and its efficiency");
}

static void lack_days(
	const struct cost_answer *answer, bool tariffs, struct insight_answer *missing)
{
	if (answer->days == 0)
		insight_lacks(missing, "the span has no rows");
	if (tariffs && answer->days_unpriced > 0)
		insight_lacks(missing,
			"%lld of %lld days lie in no [tariff]: their electricity is "
			"unpriced",
			(long long)answer->days_unpriced, (long long)answer->days);
	if (answer->days_left > 0)
		insight_lacks(missing,
			"%lld of %lld days are not worked out yet: heatbookd does so in "
			"its turns, ask again in a minute",
			(long long)answer->days_left, (long long)answer->days);
	if (answer->days_gone > 0)
		insight_lacks(missing,
			"the minutes of %lld days went for their age before these prices "
			"were configured: their electricity is unpriced",
			(long long)answer->days_gone);
}

static void lack_prices(const struct asked *asked, const struct cost_figures *f,
	const struct cost_answer *answer, struct insight_answer *missing)
{
	const struct config *config = asked->q.config;
	double unpriced = f->values[COST_UNPRICED];
	bool said = answer->days_unpriced + answer->days_left + answer->days_gone > 0;
	if (config->cost->tariff_count > 0 && !said && unpriced > 0.0005)
		insight_lacks(missing,
			"the price of %.3f kWh is not known: price_channel%s said "
			"nothing "
			"then",
			unpriced,
			site_splits(&config->cost->site) ? ", or the site's import,"
							 : "");
	if (config->cost->tariff_count > 0 && f->values[COST_COST] != 0.0 &&
		isfinite(f->values[COST_COST]) && isnan(f->values[COST_A_HEAT]))
		insight_lacks(missing,
			"what heat cost is not known: it takes minutes in which heat and "
			"all meters of the boundary were known, and the quotient of "
			"/v1/energy");
}

static void write_missing(
	struct json *json, const struct asked *asked, const struct cost_answer *answer)
{
	struct insight_answer missing = {0};
	struct cost_figures f;
	cost_figures_whole(&answer->energy.total, &answer->total, &asked->q, &f);
	lack_configuration(asked, &missing);
	lack_days(answer, asked->q.config->cost->tariff_count > 0, &missing);
	lack_prices(asked, &f, answer, &missing);
	json_array(json, "missing");
	for (size_t i = 0; i < missing.missing_count; i++)
		json_text(json, NULL, missing.missing[i]);
	json_array_end(json);
	insight_release(&missing);
}

static void write_evidence(struct json *json, const struct cost_answer *answer)
{
	json_object(json, "evidence");
	json_integer(json, "days", answer->days);
	json_integer(json, "days_without_tariff", answer->days_unpriced);
	json_integer(json, "days_to_be_worked_out", answer->days_left);
	json_integer(json, "days_without_minutes", answer->days_gone);
	json_object_end(json);
}

static void write_body(struct json *json, const struct asked *asked,
	const struct cost_answer *answer, const struct sheet *sheet)
{
	const struct config *config = asked->q.config;
	const struct span *span = &asked->span;
	const char *name = asked->q.boundary.name;
	json_object(json, NULL);
	span_write(span, config, json);
	json_text(json, "boundary", name[0] ? name : NULL);
	json_text(json, "currency", config->cost->site.currency);
	json_text(json, "own_generation_by", own_by(&config->cost->site));
	json_integer(json, "version", answer->energy.version);
	json_older_days(json, &answer->energy.older);
	json_corrections(json, "corrections", config, CORRECTIONS_OF_ACCOUNTS,
		span->from_ms, span->to_ms);
	json_fluid(json, &config->plant);
	json_estimates(json, config, &asked->q.boundary, &answer->energy.total);
	write_tariffs(json, asked);
	sheet_json(sheet, SHEET_WHOLE, span->by_rows, json);
	if (asked->q.by_mode)
		sheet_json(sheet, SHEET_MODE, span->by_rows, json);
	sheet_json(sheet, SHEET_METER, span->by_rows, json);
	sheet_json(sheet, SHEET_OTHER, span->by_rows, json);
	write_total(json, asked, answer);
	write_units(json, asked);
	write_evidence(json, answer);
	write_missing(json, asked, answer);
}

static void answer_asked(
	struct http *http, const struct asked *asked, struct reply *reply)
{
	struct cost_answer answer = {0};
	struct sheet sheet;
	int r = cost_ask(http->store, asked->span.edges_ms, asked->span.count,
		&asked->q.boundary, DAYS_NOW, &answer);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	lay_out(asked, &answer, &sheet);
	if (reply->type)
		sheet_csv(&sheet, &reply->form, &reply->body.out);
	else
		write_body(&reply->body, asked, &answer, &sheet);
	span_keep(&asked->span, reply);
	sheet_release(&sheet);
	cost_answer_release(&answer);
}

void answer_cost(struct http *http, const struct request *request, struct reply *reply)
{
	struct asked asked;
	if (asked_read(http->config, request, reply, &asked))
		answer_asked(http, &asked, reply);
	span_release(&asked.span);
}
