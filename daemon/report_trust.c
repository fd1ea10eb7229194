/*
 * How sure the figures of a report are, and what they take for granted: limits of the
 * instruments, the fluid, what is estimated, the weather they stand beside, corrections
 * and rows that an earlier mapping made.
 */
#include "report_line.h"

#include <heatbook/budget.h>
#include <heatbook/correction.h>
#include <heatbook/estimate.h>

#include <math.h>

static void add_half_width(struct buffer *out, const char *what, double joules)
{
	buffer_addf(out, "%s ± ", what);
	report_add_decimals(out, kwh_of(llround(joules)), KWH_DECIMALS);
	buffer_add_text(out, " kWh");
}

static void add_uncertainty(
	struct buffer *out, const struct report *report, const struct figures *whole)
{
	const struct energy_bucket *total = &report->answer.total;
	const struct question *q = &report->question;
	const struct energy_sum sum = figures_sum(total);
	struct evenly evenly = figures_evenly(total, MODES_OF_WHOLE, q);
	double timing_j[COUNTED_MOST];
	figures_timing(total, -1, false, timing_j);
	struct uncertainty u = budget_whole(&sum, timing_j, &evenly, q);
	const char *largest = figures_largest_term(total, q);
	bool drawn = whole->cells[ELECTRICITY].known;
	bool heated = sum.heat_ms > 0 || sum.heat_bridged_ms > 0;
	if (!heated && !drawn)
		return;
	report_add_name(out, "uncertainty");
	if (heated)
		add_half_width(out, "heat", u.heat_expanded_j);
	if (drawn)
		add_half_width(out, heated ? ", electricity" : "electricity",
			u.electricity_expanded_j);
	buffer_add_text(out, "\n");
	report_add_name(out, "");
	buffer_addf(out, "± is expanded (k = 2)%s%s\n", largest ? "; largest term: " : "",
		largest ? largest : "");
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
	report_add_meters(out, config, b->beside);
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
	case ESTIMATE_APART:
		buffer_addf(out, "electricity of %s: %s", config->meters[e->meter].name,
			e->why);
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
		report_add_name(out, "estimated");
		add_estimate(out, config, e);
		if (e->kind == ESTIMATE_APPARENT &&
			apparent_compare(
				config, &report->answer.total, (size_t)e->meter, &beside))
			add_beside(out, config, &beside);
		buffer_add_text(out, "\n");
	}
	struct estimate apart;
	if (estimate_apart(
		    config, &report->question.boundary, &report->answer.total, &apart)) {
		report_add_name(out, "beside modes");
		add_estimate(out, config, &apart);
		buffer_add_text(out, "\n");
	}
}

/* One method; /v1/degree-days has all four. */
static void add_degree_days(struct buffer *out, const struct report *report)
{
	const struct degree_sum *d = &report->degrees;
	if (!report->outdoor)
		return;
	report_add_name(out, "degree days");
	if (d->days > 0) {
		report_add_decimals(out, llround(d->kd[DEGREE_INTEGRAL] * 1e4), 4);
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
	report_add_name(out, "");
	buffer_addf(out, "without %lld day%s of which less than %d %% is known\n",
		(long long)d->missing, d->missing == 1 ? "" : "s",
		DEGREE_DAY_KNOWN_PERCENT);
}

static void add_older(struct buffer *out, int64_t days, const char *what)
{
	if (days == 0)
		return;
	report_add_name(out, "older mapping");
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
			report_add_name(out, "correction");
			correction_describe(config, c, out, between);
			buffer_add_text(out, "\n");
		}
	}
	add_older(out, answer->older.count - answer->older.sealed, "run rebuild");
	add_older(out, answer->older.sealed, "sealed, so they stay");
}

static void add_preview(struct buffer *out, const struct question *q)
{
	if (!q->preview)
		return;
	report_add_name(out, "preview");
	buffer_addf(out, "pair offset %+g K in all figures of heat; rows are unchanged\n",
		q->offset_k);
}

void report_trust(
	struct buffer *out, const struct report *report, const struct figures *whole)
{
	add_uncertainty(out, report, whole);
	report_add_fluid(out, &report->question.config->plant);
	add_estimates(out, report);
	add_degree_days(out, report);
	add_corrections(out, report);
	add_preview(out, &report->question);
}
