/*
 * The report's text: one line a mode, a total, then what the figures rest on.
 *
 * An energy whose known time is under 95 % of the time it stands for is called "partial",
 * under 50 % "at least"; what nothing is known of is "unknown". A dash stands for a
 * quotient that would say nothing: hardly any electricity was used, or its uncertainty is
 * as large as itself (which holds of every one without heat).
 */
#include "report.h"

#include <heatbook/budget.h>
#include <heatbook/calendar.h>
#include <heatbook/correction.h>
#include <heatbook/decimal.h>
#include <heatbook/estimate.h>
#include <heatbook/rules.h>

#include <math.h>
#include <string.h>

enum { NAME_WIDTH = 17, TIME_WIDTH = 13, ENERGY_WIDTH = 17 };

/* ---- cells ---- */

/* Code points: what a terminal shows of our texts, one column each. */
static int width_of(const char *text)
{
	int width = 0;
	for (; *text; text++)
		width += ((unsigned char)*text & 0xc0) != 0x80;
	return width;
}

static void add_right(struct buffer *out, const char *text, int width)
{
	buffer_addf(out, "%*s%s", width > width_of(text) ? width - width_of(text) : 0, "",
		text);
}

/* A value of so many decimals with two, rounded half away from zero. */
static void add_decimals(struct buffer *out, int64_t value, int decimals)
{
	int64_t unit = 1;
	for (int i = 2; i < decimals; i++)
		unit *= 10;
	int64_t rounded = (value + (value < 0 ? -unit : unit) / 2) / unit;
	decimal_add(out, rounded, 2);
}

/* "18 h 02 min"; "24 h" without odd minutes where `brief`. */
static void add_time(struct buffer *out, int64_t ms, bool brief)
{
	int64_t minutes = ms / MS_PER_MIN;
	if (ms > 0 && minutes == 0)
		buffer_add_text(out, "< 1 min");
	else if (brief && minutes % 60 == 0)
		buffer_addf(out, "%lld h", (long long)(minutes / 60));
	else
		buffer_addf(out, "%lld h %02lld min", (long long)(minutes / 60),
			(long long)(minutes % 60));
}

static const char *degree_of(int64_t known_ms, int64_t span_ms)
{
	if (known_ms * 100 >= span_ms * 95)
		return "";
	return known_ms * 2 >= span_ms ? "partial " : "at least ";
}

static void add_energy(
	struct buffer *out, const struct cell *cell, int64_t known_ms, int64_t span_ms)
{
	struct buffer text = {0};
	if (cell->known) {
		buffer_add_text(&text, degree_of(known_ms, span_ms));
		add_decimals(&text, cell->value, KWH_DECIMALS);
	} else {
		buffer_add_text(&text, "unknown");
	}
	add_right(out, buffer_text(&text), ENERGY_WIDTH);
	buffer_release(&text);
}

static void add_ratio(struct buffer *out, const struct figures *f, bool uncertainty)
{
	const struct cell *c = f->cells;
	if (c[PAIRED_S].value == 0) {
		buffer_add_text(out, "unknown");
		return;
	}
	if (!c[COP].known || c[COP].value <= 0 ||
		(c[COP_UNCERTAINTY].known && c[COP_UNCERTAINTY].value >= c[COP].value)) {
		buffer_add_text(out, "–");
		return;
	}
	add_decimals(out, c[COP].value, RATIO_DECIMALS);
	if (!uncertainty || !c[COP_UNCERTAINTY].known)
		return;
	buffer_add_text(out, " ± ");
	add_decimals(out, c[COP_UNCERTAINTY].value, RATIO_DECIMALS);
}

/* ---- the table ---- */

static void add_name(struct buffer *out, const char *name)
{
	buffer_addf(out, "%s%*s", name,
		width_of(name) < NAME_WIDTH ? NAME_WIDTH - width_of(name) : 1, "");
}

/* `span_ms`: the time that the row stands for. */
static void add_row(struct buffer *out, const char *name, const struct figures *f,
	int64_t span_ms, bool uncertainty)
{
	struct buffer time = {0};
	const struct cell *c = f->cells;
	add_name(out, name);
	add_time(&time, c[OBSERVED_S].value, false);
	add_right(out, buffer_text(&time), TIME_WIDTH);
	add_energy(out, &c[HEAT], c[HEAT_OBSERVED_S].value, span_ms);
	add_energy(out, &c[ELECTRICITY], c[ELECTRICITY_OBSERVED_S].value, span_ms);
	buffer_add_text(out, "   ");
	add_ratio(out, f, uncertainty);
	buffer_add_text(out, "\n");
	buffer_release(&time);
}

static bool any_of(const struct figures *f)
{
	const struct cell *c = f->cells;
	return c[OBSERVED_S].value || (c[HEAT].known && c[HEAT].value) ||
	       (c[ELECTRICITY].known && c[ELECTRICITY].value);
}

static void add_mode_name(struct buffer *out, enum mode mode)
{
	for (const char *p = mode_name(mode); *p; p++)
		buffer_add(out, *p == '_' ? " " : p, 1);
}

static void add_mode(struct buffer *out, const struct report *report, int mode)
{
	struct buffer name = {0};
	struct figures f = figures_mode(&report->answer.total, mode, &report->question);
	if (!any_of(&f))
		return;
	add_mode_name(&name, (enum mode)mode);
	add_row(out, buffer_text(&name), &f, f.cells[OBSERVED_S].value, false);
	buffer_release(&name);
}

static int64_t span_of(const struct report *report)
{
	return report->answer.total.t_end_ms - report->answer.total.t_ms;
}

static void add_table(
	struct buffer *out, const struct report *report, const struct figures *whole)
{
	add_name(out, "mode");
	add_right(out, "time", TIME_WIDTH);
	add_right(out, "heat kWh", ENERGY_WIDTH);
	add_right(out, "electricity kWh", ENERGY_WIDTH);
	buffer_add_text(out, "   efficiency\n");
	for (int m = MODE_HEATING; m < MODE_COUNT; m++)
		if (m != MODE_COOLING)
			add_mode(out, report, m);
	add_mode(out, report, MODE_UNASSIGNED);
	struct figures cooling =
		figures_mode(&report->answer.total, MODE_COOLING, &report->question);
	add_row(out, "total", whole, span_of(report) - cooling.cells[OBSERVED_S].value,
		true);
	if (!any_of(&cooling))
		return;
	buffer_add_text(out, "\napart from the total, heat drawn from the house:\n");
	add_mode(out, report, MODE_COOLING);
}

/* ---- what it rests on ---- */

static void add_title(struct buffer *out, const struct report *report)
{
	const struct energy_bucket *total = &report->answer.total;
	char from[16], to[16], until[32];
	calendar_date_text(calendar_date(total->t_ms), from);
	calendar_date_text(calendar_date(total->t_end_ms - 1), to);
	time_text_local(total->t_end_ms, until);
	buffer_addf(out, "%s, %s", report->question.config->plant.name, from);
	if (strcmp(from, to) != 0)
		buffer_addf(out, " to %s", to);
	if (report->open)
		buffer_addf(out, " until %.5s", until + strlen("2026-01-31T"));
	buffer_addf(out, " (%s)\n\n", report->question.config->plant.zone);
}

/* Known time of a column over all modes, cooling too. */
static int64_t known_of(
	const struct report *report, const struct figures *whole, int column)
{
	struct figures cooling =
		figures_mode(&report->answer.total, MODE_COOLING, &report->question);
	return whole->cells[column].value + cooling.cells[column].value;
}

static void add_coverage(
	struct buffer *out, const struct report *report, const struct figures *whole)
{
	int64_t heat = known_of(report, whole, HEAT_OBSERVED_S);
	int64_t electricity = known_of(report, whole, ELECTRICITY_OBSERVED_S);
	/* Cooling is in no quotient, so its time is not missing there. */
	int64_t both = whole->cells[PAIRED_S].value +
		       known_of(report, whole, OBSERVED_S) -
		       whole->cells[OBSERVED_S].value;
	bool same = heat / MS_PER_MIN == electricity / MS_PER_MIN &&
		    heat / MS_PER_MIN == both / MS_PER_MIN;
	add_name(out, "coverage");
	buffer_add_text(out, same ? "known " : "heat known ");
	add_time(out, heat, true);
	buffer_add_text(out, " of ");
	add_time(out, span_of(report), true);
	if (!same) {
		buffer_add_text(out, ", electricity ");
		add_time(out, electricity, true);
		buffer_add_text(out, "\n");
		add_name(out, "");
		buffer_add_text(out, "both, as an efficiency needs it: ");
		add_time(out, both, true);
	}
	buffer_add_text(out, "\n");
}

/* "unit + immersion" */
static void add_meters(struct buffer *out, const struct config *config, unsigned set)
{
	const char *before = "";
	for (size_t i = 0; i < config->meter_count; i++) {
		if (!(set & 1u << i))
			continue;
		buffer_addf(out, "%s%s", before, config->meters[i].name);
		before = " + ";
	}
}

static void add_boundary(struct buffer *out, const struct report *report)
{
	const struct boundary *b = &report->question.boundary;
	const struct config *config = report->question.config;
	add_name(out, "boundary");
	if (report->no_boundary) {
		buffer_addf(out, "none: %s\n", report->no_boundary);
		return;
	}
	buffer_addf(out, "%s: electricity of ", b->name);
	add_meters(out, config, b->meters);
	buffer_add_text(out, "\n");
	if (b->heat_plus) {
		add_name(out, "");
		add_meters(out, config, b->heat_plus);
		buffer_add_text(out, " counts as heat, too\n");
	}
	if (b->heat_less) {
		add_name(out, "");
		add_meters(out, config, b->heat_less);
		buffer_add_text(out, " is taken off the heat\n");
	}
}

static void add_offers(struct buffer *out, const struct report *report)
{
	for (size_t i = 0; i < report->offer_count; i++) {
		const struct report_offer *offer = &report->offers[i];
		add_name(out, i == 0 ? "efficiency at" : "");
		add_name(out, offer->boundary.name);
		add_ratio(out, &offer->whole, true);
		buffer_add_text(out, "\n");
	}
}

/* The immersion heater's own electricity, at whatever boundary. */
static void add_immersion(struct buffer *out, const struct report *report)
{
	const struct config *config = report->question.config;
	struct energy_sum sum = figures_sum(&report->answer.total);
	for (size_t i = 0; i < config->meter_count; i++) {
		if (config->meters[i].serves != DEVICE_IMMERSION)
			continue;
		add_name(out, "immersion");
		if (sum.meter_ms[i] > 0) {
			buffer_add_text(out, degree_of(sum.meter_ms[i], span_of(report)));
			add_decimals(out, kwh_of(sum.meter_j[i]), KWH_DECIMALS);
			buffer_add_text(out, " kWh");
		} else {
			buffer_add_text(out, "unknown");
		}
		buffer_addf(out, " (meter %s)\n", config->meters[i].name);
	}
}

static void add_bridged(struct buffer *out, const struct figures *whole)
{
	const struct cell *c = whole->cells;
	if (!c[BRIDGED_HEAT].value && !c[BRIDGED_ELECTRICITY].value)
		return;
	add_name(out, "bridged");
	add_decimals(out, c[BRIDGED_HEAT].value, KWH_DECIMALS);
	buffer_add_text(out, " kWh of the heat, ");
	add_decimals(out, c[BRIDGED_ELECTRICITY].value, KWH_DECIMALS);
	buffer_add_text(out,
		" kWh of the electricity: the amount is exact, the timing is "
		"not\n");
}

static void add_told(struct buffer *out, const struct report *report)
{
	struct rules_needed needed = rules_needed(report->question.config);
	const char *before = "";
	for (int m = 0; m < MODE_COUNT; m++) {
		if (!rules_tell(needed, (enum mode)m) ||
			report->answer.total.modes[m].observed_ms == 0)
			continue;
		if (!*before)
			add_name(out, "by rule");
		buffer_add_text(out, before);
		add_mode_name(out, (enum mode)m);
		before = ", ";
	}
	if (*before)
		buffer_add_text(out, ": no flag tells them\n");
}

static void add_spread(struct buffer *out, const struct figures *whole)
{
	const struct cell *c = whole->cells;
	const char *before = "";
	if (!c[SPREAD_HEAT].value && !c[SPREAD_ELECTRICITY].value)
		return;
	add_name(out, "spread evenly");
	for (int column = SPREAD_HEAT; column <= SPREAD_ELECTRICITY; column++) {
		if (!c[column].value)
			continue;
		buffer_add_text(out, before);
		add_decimals(out, c[column].value, KWH_DECIMALS);
		buffer_addf(out, " kWh of the %s",
			column == SPREAD_HEAT ? "heat" : "electricity");
		before = ", ";
	}
	buffer_addf(out,
		"\n%*sby a register without power: which mode it belongs to is\n%*snot "
		"known, nor the efficiency of a mode of which it is more\n%*sthan %d "
		"%%\n",
		NAME_WIDTH, "", NAME_WIDTH, "", NAME_WIDTH, "", SPREAD_MOST_PERCENT);
}

static void add_fluid(struct buffer *out, const struct plant_config *plant)
{
	char *name = xstrdup(fluid_name(plant->fluid));
	for (char *p = name; *p; p++)
		if (*p == '_')
			*p = ' ';
	add_name(out, "fluid");
	buffer_add_text(out, name);
	free(name);
	if (plant->fluid != FLUID_WATER)
		buffer_addf(out, ", %.4g %% by volume", plant->fluid_percent);
	buffer_add_text(out, "\n");
}

static void add_half_width(struct buffer *out, const char *what, double joules)
{
	buffer_addf(out, "%s ± ", what);
	add_decimals(out, kwh_of(llround(joules)), KWH_DECIMALS);
	buffer_add_text(out, " kWh");
}

/* " (3.02 times unit: running 1.08, standby 2.6)" */
static void add_beside(
	struct buffer *out, const struct config *config, const struct apparent_beside *b)
{
	const struct {
		const char *word;
		double ratio;
	} parts[] = {{": running", b->ratio_running}, {", standby", b->ratio_standby}};
	if (!isfinite(b->ratio))
		return;
	buffer_addf(out, "\n%*s%.2f times ", NAME_WIDTH, "", b->ratio);
	add_meters(out, config, b->beside);
	for (size_t i = 0; i < ARRAY_LEN(parts); i++)
		if (isfinite(parts[i].ratio))
			buffer_addf(out, "%s %.2f", parts[i].word, parts[i].ratio);
}

static void add_estimate(
	struct buffer *out, const struct config *config, const struct estimate *e)
{
	switch (e->kind) {
	case ESTIMATE_FLOW:
		buffer_addf(out, "heat, by a flow %s", e->why);
		break;
	case ESTIMATE_APPARENT:
		buffer_addf(out, "electricity of %s, by apparent power%s",
			config->meters[e->meter].name, e->counted ? "" : ", not counted");
		break;
	case ESTIMATE_LACKS:
		buffer_addf(out,
			"heat, without the immersion heater's, whose\n%*selectricity is "
			"counted: no meter tells it apart, so the\n%*sefficiency is too "
			"low",
			NAME_WIDTH, "", NAME_WIDTH, "");
		break;
	}
	if (isfinite(e->limit_percent))
		buffer_addf(out, " (± %.0f %%)", e->limit_percent);
}

static void add_estimates(struct buffer *out, const struct report *report)
{
	const struct config *config = report->question.config;
	struct estimate list[ESTIMATES_MOST];
	struct apparent_beside beside;
	size_t count = estimates_of(config, &report->question.boundary, list);
	for (size_t i = 0; i < count; i++) {
		const struct estimate *e = &list[i];
		add_name(out, "estimated");
		add_estimate(out, config, e);
		if (e->kind == ESTIMATE_APPARENT &&
			apparent_compare(
				config, &report->answer.total, (size_t)e->meter, &beside))
			add_beside(out, config, &beside);
		buffer_add_text(out, "\n");
	}
}

static void add_uncertainty(
	struct buffer *out, const struct report *report, const struct figures *whole)
{
	const struct energy_bucket *total = &report->answer.total;
	const struct question *q = &report->question;
	const struct energy_sum sum = figures_sum(total);
	struct evenly evenly = figures_evenly(total, MODES_OF_WHOLE, q);
	struct uncertainty u = budget_whole(&sum, total->across_j, &evenly, q);
	const char *largest = figures_largest_term(total, q);
	bool drawn = whole->cells[ELECTRICITY].known;
	bool heated = sum.heat_ms > 0 || sum.heat_bridged_ms > 0;
	if (!heated && !drawn)
		return;
	add_name(out, "uncertainty");
	if (heated)
		add_half_width(out, "heat", u.heat_expanded_j);
	if (drawn)
		add_half_width(out, heated ? ", electricity" : "electricity",
			u.electricity_expanded_j);
	buffer_add_text(out, "\n");
	add_name(out, "");
	buffer_addf(out, "± is expanded (k = 2)%s%s\n", largest ? "; largest term: " : "",
		largest ? largest : "");
}

/* One method; /v1/degree-days has all four. */
static void add_degree_days(struct buffer *out, const struct report *report)
{
	const struct degree_sum *d = &report->degrees;
	if (!report->outdoor)
		return;
	add_name(out, "degree days");
	if (d->days > 0) {
		add_decimals(out, llround(d->kd[DEGREE_INTEGRAL] * 1e4), 4);
		buffer_addf(out, " K d (%s, base %.1f °C)",
			degree_method_name(DEGREE_INTEGRAL),
			report->question.config->plant.degree_base_c);
	} else {
		buffer_add_text(out, report->outdoor_slow
					     ? "unknown: they took too long to read"
					     : "unknown");
	}
	buffer_add_text(out, "\n");
	if (d->missing == 0)
		return;
	add_name(out, "");
	buffer_addf(out, "without %lld day%s of which less than %d %% is known\n",
		(long long)d->missing, d->missing == 1 ? "" : "s",
		DEGREE_DAY_KNOWN_PERCENT);
}

static void add_preview(struct buffer *out, const struct question *q)
{
	if (!q->preview)
		return;
	add_name(out, "preview");
	buffer_addf(out, "pair offset %+g K in all figures of heat; rows are unchanged\n",
		q->offset_k);
}

static void add_older(struct buffer *out, int64_t days, const char *what)
{
	if (days == 0)
		return;
	add_name(out, "older mapping");
	buffer_addf(out, "%lld day%s made before the configuration changed: %s\n",
		(long long)days, days == 1 ? "" : "s", what);
}

/* What was changed of what sensors said, and whether all of the rows know it. */
static void add_corrections(struct buffer *out, const struct report *report)
{
	const struct config *config = report->question.config;
	const struct energy_answer *answer = &report->answer;
	_cleanup_(freep) char *between = xasprintf("\n%*s", NAME_WIDTH, "");
	for (size_t i = 0; i < config->correction_count; i++) {
		const struct correction_config *c = &config->corrections[i];
		if (correction_accounts(config, c) &&
			correction_touches(
				c, answer->total.t_ms, answer->total.t_end_ms)) {
			add_name(out, "correction");
			correction_describe(config, c, out, between);
			buffer_add_text(out, "\n");
		}
	}
	add_older(out, answer->older.count - answer->older.sealed, "run rebuild");
	add_older(out, answer->older.sealed, "sealed, so they stay");
}

/* ---- findings ---- */

enum { LINE_WIDTH = 80, INDENT = 2 };

/* Words in lines of at most LINE_WIDTH columns, all indented. */
static void add_wrapped(struct buffer *out, const char *text)
{
	int column = 0;
	while (*text) {
		size_t length = strcspn(text, " ");
		_cleanup_(freep) char *word = xstrndup(text, length);
		if (column && column + 1 + width_of(word) > LINE_WIDTH) {
			buffer_add_text(out, "\n");
			column = 0;
		}
		buffer_addf(out, "%*s%s", column ? 1 : INDENT, "", word);
		column += (column ? 1 : INDENT) + width_of(word);
		text += length + (text[length] == ' ');
	}
	buffer_add_text(out, "\n");
}

static void add_finding(struct buffer *out, const struct finding *f)
{
	char from[32], to[32];
	time_text_local(f->since_ms, from);
	time_text_local(f->until_ms, to);
	buffer_addf(out, "\n%s%s%s\n", finding_title(f->kind), f->subject[0] ? ": " : "",
		f->subject);
	struct buffer text = {0};
	if (f->lasts)
		buffer_addf(&text, "Since %s%.16s. %s", f->began_before ? "before " : "",
			from, f->evidence);
	else
		buffer_addf(&text, "%s%.16s to %.16s. %s",
			f->began_before ? "Before " : "", from, to, f->evidence);
	if (isfinite(f->effect))
		buffer_addf(&text, " It adds %+.3f to the season's factor.", f->effect);
	add_wrapped(out, buffer_text(&text));
	add_wrapped(out, f->remedy);
	buffer_release(&text);
	if (f->correction)
		buffer_addf(out, "\n%s", f->correction);
}

static void add_findings(struct buffer *out, const struct report *report)
{
	const struct finding_list *list = &report->findings.list;
	if (list->count)
		buffer_addf(out, "\n%zu finding%s\n", list->count,
			list->count == 1 ? "" : "s");
	for (size_t i = 0; i < list->count; i++)
		add_finding(out, &list->items[i]);
}

void report_text(const struct report *report, struct buffer *out)
{
	struct figures whole = figures_whole(&report->answer.total, &report->question);
	add_title(out, report);
	add_table(out, report, &whole);
	buffer_add_text(out, "\n");
	add_boundary(out, report);
	add_offers(out, report);
	add_immersion(out, report);
	add_coverage(out, report, &whole);
	add_bridged(out, &whole);
	add_spread(out, &whole);
	add_told(out, report);
	add_uncertainty(out, report, &whole);
	add_fluid(out, &report->question.config->plant);
	add_estimates(out, report);
	add_degree_days(out, report);
	add_corrections(out, report);
	add_preview(out, &report->question);
	add_name(out, "caution");
	buffer_add_text(
		out, "not billing grade, unless every meter in the chain is approved\n");
	add_findings(out, report);
}
