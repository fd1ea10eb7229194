/*
 * What the figures of a report cover: the boundary they are told at and the others that
 * the plant has, the known time, and energy of which only a part is told: bridged, spread
 * evenly, in modes by rule.
 */
#include "report_line.h"

#include <heatbook/rules.h>

static void add_boundary(struct buffer *out, const struct report *report)
{
	const struct boundary *b = &report->question.boundary;
	const struct config *config = report->question.config;
	report_add_name(out, "boundary");
	if (report->no_boundary) {
		buffer_addf(out, "none: %s\n", report->no_boundary);
		return;
	}
	buffer_addf(out, "%s: electricity of ", b->name);
	report_add_meters(out, config, b->meters);
	buffer_add_text(out, "\n");
	if (b->heat_plus) {
		report_add_name(out, "");
		report_add_meters(out, config, b->heat_plus);
		buffer_add_text(out, " counts as heat, too\n");
	}
	if (b->heat_less) {
		report_add_name(out, "");
		report_add_meters(out, config, b->heat_less);
		buffer_add_text(out, " is taken off the heat\n");
	}
}

static void add_offers(struct buffer *out, const struct report *report)
{
	for (size_t i = 0; i < report->offer_count; i++) {
		const struct report_offer *offer = &report->offers[i];
		report_add_name(out, i == 0 ? "efficiency at" : "");
		report_add_name(out, offer->boundary.name);
		report_add_ratio(out, &offer->whole, true);
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
		report_add_name(out, "immersion");
		if (sum.meter_ms[i] > 0) {
			buffer_add_text(out,
				report_degree(sum.meter_ms[i], report_span_ms(report)));
			report_add_decimals(out, kwh_of(sum.meter_j[i]), KWH_DECIMALS);
			buffer_add_text(out, " kWh");
		} else {
			buffer_add_text(out, "unknown");
		}
		buffer_addf(out, " (meter %s)\n", config->meters[i].name);
	}
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
	report_add_name(out, "coverage");
	buffer_add_text(out, same ? "known " : "heat known ");
	report_add_time(out, heat, true);
	buffer_add_text(out, " of ");
	report_add_time(out, report_span_ms(report), true);
	if (!same) {
		buffer_add_text(out, ", electricity ");
		report_add_time(out, electricity, true);
		buffer_add_text(out, "\n");
		report_add_name(out, "");
		buffer_add_text(out, "both, as an efficiency needs it: ");
		report_add_time(out, both, true);
	}
	buffer_add_text(out, "\n");
}

static void add_bridged(struct buffer *out, const struct figures *whole)
{
	const struct cell *c = whole->cells;
	if (!c[BRIDGED_HEAT].value && !c[BRIDGED_ELECTRICITY].value)
		return;
	report_add_name(out, "bridged");
	report_add_decimals(out, c[BRIDGED_HEAT].value, KWH_DECIMALS);
	buffer_add_text(out, " kWh of the heat, ");
	report_add_decimals(out, c[BRIDGED_ELECTRICITY].value, KWH_DECIMALS);
	buffer_add_text(out,
		" kWh of the electricity: the amount is exact, the timing is "
		"not\n");
}

/* What of heat, and of the next column's electricity, is so; false where nothing is. */
static bool add_parts(struct buffer *out, const char *name, const struct cell *heat_cell)
{
	static const char *const names[] = {"heat", "electricity"};
	const char *before = "";
	if (!heat_cell[0].value && !heat_cell[1].value)
		return false;
	report_add_name(out, name);
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		if (!heat_cell[i].value)
			continue;
		buffer_add_text(out, before);
		report_add_decimals(out, heat_cell[i].value, KWH_DECIMALS);
		buffer_addf(out, " kWh of the %s", names[i]);
		before = ", ";
	}
	return true;
}

static void add_spread(struct buffer *out, const struct figures *whole)
{
	if (!add_parts(out, "spread evenly", &whole->cells[SPREAD_HEAT]))
		return;
	buffer_addf(out,
		"\n%*sby a register without power: which mode it belongs to is\n%*snot "
		"known, nor the efficiency of a mode of which it is more\n%*sthan %d "
		"%%\n",
		NAME_WIDTH, "", NAME_WIDTH, "", NAME_WIDTH, "", SPREAD_MOST_PERCENT);
}

static void add_beyond(
	struct buffer *out, const char *name, const struct energy_open *open)
{
	report_add_name(out, "");
	report_add_decimals(out, kwh_of(llabs(open->beyond_j)), KWH_DECIMALS);
	buffer_addf(out, " kWh %s than the register of %s\n%*scan hide so far\n",
		open->beyond_j > 0 ? "more" : "less", name, NAME_WIDTH, "");
}

static void add_provisional(
	struct buffer *out, const struct report *report, const struct figures *whole)
{
	const struct config *config = report->question.config;
	if (!add_parts(out, "provisional", &whole->cells[PROVISIONAL_HEAT]))
		return;
	buffer_addf(out, ":\n%*spower's, until the register has counted it\n", NAME_WIDTH,
		"");
	for (size_t q = 0; q < COUNTED_MOST; q++)
		if (report->answer.open[q].compared && report->answer.open[q].beyond_j)
			add_beyond(out,
				q == COUNTED_HEAT ? "heat" : config->meters[q].name,
				&report->answer.open[q]);
}

static void add_unplaced(struct buffer *out, const struct figures *whole)
{
	if (add_parts(out, "unplaced", &whole->cells[UNPLACED_HEAT]))
		buffer_addf(out,
			":\n%*scounted by a register in sealed minutes, in no figure\n",
			NAME_WIDTH, "");
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
			report_add_name(out, "by rule");
		buffer_add_text(out, before);
		report_add_mode(out, (enum mode)m);
		before = ", ";
	}
	if (*before)
		buffer_add_text(out, ": no flag tells them\n");
}

void report_cover(
	struct buffer *out, const struct report *report, const struct figures *whole)
{
	add_boundary(out, report);
	add_offers(out, report);
	add_immersion(out, report);
	add_coverage(out, report, whole);
	add_bridged(out, whole);
	add_spread(out, whole);
	add_provisional(out, report, whole);
	add_unplaced(out, whole);
	add_told(out, report);
}
