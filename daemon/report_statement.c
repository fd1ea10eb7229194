/*
 * The statement's text: a line a figure with its interval, then what the figures rest on.
 * Of an anonymous one it writes what is left in it, and knows of nothing else.
 */
#include "report_statement.h"

#include "report_line.h"

#include <heatbook/calendar.h>
#include <heatbook/correction.h>
#include <heatbook/estimate.h>
#include <heatbook/rules.h>
#include <heatbook/uncertainty.h>

#include <math.h>
#include <string.h>

enum { FINDINGS_SHOWN = 8 }; /* those that weigh most come first */

/* "named" and a sentence, in lines that go on below its beginning. */
static void add_line(struct buffer *out, const char *name, const char *format, ...)
	PRINTF_LIKE(3, 4);
static void add_line(struct buffer *out, const char *name, const char *format, ...)
{
	va_list arguments;
	va_start(arguments, format);
	_cleanup_(freep) char *text = xvasprintf(format, arguments);
	va_end(arguments);
	report_add_name(out, name);
	report_add_wrapped(out, text, NAME_WIDTH, true);
}

/* A class, where one is named, then the limit that it stands for. */
static void add_limit(
	struct buffer *out, const char *class, double limit, const char *unit)
{
	buffer_addf(
		out, "%s%s± %.4g %s", class ? class : "", class ? ", " : "", limit, unit);
}

/* "", "partial " or "at least " by a known time. */
static const char *degree_of(const struct statement *s, enum column known)
{
	return report_degree((int64_t)(statement_coverage(s, known) * 1e6), 1000000);
}

static void add_value(struct buffer *out, const struct statement *s, const char *member,
	const char *name, const char *unit, double scale, int decimals)
{
	const struct insight_value *v = insight_find(&s->answer, member);
	if (!v)
		return;
	if (s->anonymous && scale == 1.0 && v->decimals < decimals)
		decimals = v->decimals;
	report_add_name(out, name);
	if (strcmp(member, "heat_kwh") == 0)
		buffer_add_text(out, degree_of(s, HEAT_OBSERVED_S));
	if (strcmp(member, "electricity_kwh") == 0)
		buffer_add_text(out, degree_of(s, ELECTRICITY_OBSERVED_S));
	buffer_addf(out, "%.*f", decimals, v->value * scale);
	if (isfinite(v->high) && isfinite(v->low))
		buffer_addf(out, " ± %.*f", decimals, (v->high - v->low) / 2.0 * scale);
	buffer_addf(out, "%s%s\n", *unit ? " " : "", unit);
}

/* An energy: with two decimals, or the three digits that it has. */
static void add_kwh(
	struct buffer *out, const struct statement *s, int64_t value, int width)
{
	double kwh = (double)value / 1e7;
	int digits = fabs(kwh) < 1.0 ? 1 : (int)floor(log10(fabs(kwh))) + 1;
	int decimals = !s->anonymous || digits < 2 ? 2 : digits < 3 ? 1 : 0;
	buffer_addf(out, "%*.*f kWh", width, decimals, fabs(kwh) < 0.005 ? 0.0 : kwh);
}

static void add_figures(struct buffer *out, const struct statement *s)
{
	add_value(out, s, "heat_kwh", "heat", "kWh", 1, 2);
	add_value(out, s, "electricity_kwh", "electricity", "kWh", 1, 2);
	add_value(out, s, "efficiency", "efficiency", "", 1, 2);
	if (insight_find(&s->answer, "efficiency"))
		add_line(out, "", "%s at %s; ± is expanded (k = 2)%s%s",
			statement_is_season(s) ? "seasonal performance factor (SPF)"
					       : "heat over electricity",
			s->boundary.name, s->largest_term ? ", most of it by " : "",
			s->largest_term ? s->largest_term : "");
	add_value(out, s, "cooling_kwh", "cooling", "kWh, apart from the heat", 1, 2);
	add_value(out, s, "hot_water_share", "hot water", "% of the heat", 100, 1);
	add_value(out, s, "flow_temperature_heating_c", "flow, heating",
		"°C, weighted by heat", 1, 1);
	add_value(out, s, "flow_temperature_hot_water_c", "flow, hot water",
		"°C, weighted by heat", 1, 1);
	add_value(out, s, "outdoor_c", "outdoors", "°C, mean", 1, 1);
	add_value(out, s, "degree_days_kd", "degree days", "K d", 1, 2);
	if (insight_find(&s->answer, "degree_days_kd"))
		add_line(out, "", "%s, base %.1f °C, of %lld of %lld days",
			degree_method_name(DEGREE_INTEGRAL),
			s->config.plant.degree_base_c, (long long)s->degrees.days,
			(long long)s->days);
	if (insight_find(&s->answer, "starts"))
		add_line(out, "starts", "%s%.0f; defrosts %.0f, hot-water runs %.0f",
			degree_of(s, OBSERVED_S),
			insight_find(&s->answer, "starts")->value,
			insight_find(&s->answer, "defrosts")->value,
			insight_find(&s->answer, "hot_water_runs")->value);
	add_value(out, s, "renewable_heat_kwh", "renewable", "kWh (Decision 2013/114/EU)",
		1, 2);
	for (size_t i = 0; i < s->answer.missing_count; i++)
		add_line(out, i == 0 ? "not told" : "", "%s", s->answer.missing[i]);
}

static void add_boundaries(struct buffer *out, const struct statement *s)
{
	const struct boundary *b = &s->boundary;
	struct buffer text = {0};
	buffer_addf(&text, "%s: electricity of ", b->name);
	report_add_meters(&text, &s->config, b->meters);
	if (b->heat_plus) {
		buffer_add_text(&text, "; as heat counts ");
		report_add_meters(&text, &s->config, b->heat_plus);
	}
	if (b->heat_less) {
		buffer_add_text(&text, "; taken off the heat is ");
		report_add_meters(&text, &s->config, b->heat_less);
	}
	if (b->name[0])
		add_line(out, "boundary", "%s", buffer_text(&text));
	else
		add_line(out, "boundary", "none%s%s", s->no_boundary[0] ? ": " : "",
			s->no_boundary);
	buffer_release(&text);
	for (size_t i = 0; i < s->offer_count; i++) {
		report_add_name(out, i == 0 ? "efficiency at" : "");
		report_add_name(out, s->offers[i].boundary.name);
		report_add_ratio(out, &s->offers[i].whole, true);
		buffer_add_text(out, "\n");
	}
}

static void add_modes(struct buffer *out, const struct statement *s)
{
	struct rules_needed needed = rules_needed(&s->config);
	const char *name = "by mode";
	for (int i = 1; i <= MODE_COUNT; i++) {
		int m = i % MODE_COUNT; /* what is unassigned comes last */
		const struct cell *c = s->modes[m].cells;
		struct buffer mode = {0};
		if (c[OBSERVED_S].value == 0 && c[HEAT].value == 0)
			continue;
		report_add_mode(&mode, (enum mode)m);
		report_add_name(out, name);
		report_add_name(out, buffer_text(&mode));
		buffer_addf(out, "%8.1f h", (double)c[OBSERVED_S].value / MS_PER_HOUR);
		if (c[HEAT].known)
			add_kwh(out, s, c[HEAT].value, 12);
		else
			report_add_right(out, "unknown", 16);
		buffer_add_text(out, "   ");
		report_add_ratio(out, &s->modes[m], false);
		buffer_addf(out, "%s\n",
			rules_tell(needed, (enum mode)m) ? "  (by rule)" : "");
		buffer_release(&mode);
		name = "";
	}
}

static void add_cover(struct buffer *out, const struct statement *s)
{
	static const struct {
		const char *name;
		enum column heat;
	} parts[] = {{"bridged", BRIDGED_HEAT}, {"spread evenly", SPREAD_HEAT},
		{"provisional", PROVISIONAL_HEAT}, {"unplaced", UNPLACED_HEAT}};
	add_line(out, "coverage",
		"heat is known for %.1f %% of the time, electricity for %.1f %%, both "
		"for %.1f %%",
		100 * statement_coverage(s, HEAT_OBSERVED_S),
		100 * statement_coverage(s, ELECTRICITY_OBSERVED_S),
		100 * statement_coverage(s, PAIRED_S));
	for (size_t i = 0; i < ARRAY_LEN(parts); i++) {
		const struct cell *c = &s->whole.cells[parts[i].heat];
		if (!c[0].value && !c[1].value)
			continue;
		report_add_name(out, parts[i].name);
		add_kwh(out, s, c[0].value, 0);
		buffer_add_text(out, " of the heat, ");
		add_kwh(out, s, c[1].value, 0);
		buffer_add_text(out, " of the electricity\n");
	}
}

static void add_meters(struct buffer *out, const struct statement *s)
{
	for (size_t i = 0; i < s->config.meter_count; i++) {
		const struct meter_config *m = &s->config.meters[i];
		_cleanup_(freep) char *feeds = statement_device_names(m->feeds);
		bool same = strcmp(feeds, m->name) == 0;
		struct buffer text = {0};
		buffer_addf(&text, "%s%s%s: by %s, ", m->name, same ? "" : " feeds ",
			same ? "" : feeds, statement_read_by(m));
		add_limit(&text, m->class, m->limit_percent, "%");
		buffer_add_text(&text, m->apparent ? ", apparent power" : "");
		if (s->meters[i].known) {
			buffer_add_text(&text, "; ");
			add_kwh(&text, s, s->meters[i].value, 0);
		}
		add_line(out, i == 0 ? "meters" : "", "%s", buffer_text(&text));
		buffer_release(&text);
	}
}

static void add_heat(struct buffer *out, const struct config *config)
{
	const struct plant_config *p = &config->plant;
	const char *source = statement_heat_source(config);
	double percent = statement_heat_percent(config);
	struct buffer limit = {0};
	if (p->heat_source == HEAT_COMPUTED) {
		add_limit(&limit, p->pair_class, p->pair_limit.k, "K");
		add_line(out, "heat",
			"of flow and temperatures: pair %s%s, flow ± %.3g %%",
			buffer_text(&limit),
			p->pair_limit.percent > 0.0 ? " and more where it is large" : "",
			p->flow_limit_percent);
	} else if (isnan(percent)) {
		add_line(out, "heat", "by a heat meter's %s, %s", source, p->heat_class);
	} else {
		add_limit(&limit, p->heat_class, percent, "%");
		add_line(out, "heat", "by a heat meter's %s, %s", source,
			buffer_text(&limit));
	}
	buffer_release(&limit);
}

static void add_sensors(struct buffer *out, const struct statement *s)
{
	add_heat(out, &s->config);
	for (size_t i = 0; i < s->config.channel_count; i++) {
		const struct channel_config *c = &s->config.channels[i];
		if (statement_names_sensor(c->role) && isfinite(c->limit))
			add_line(out, "", "%s ± %.3g %s%s%s", c->name, c->limit,
				c->role == ROLE_FLOW_RATE ? "%" : "K",
				c->class ? ", " : "", c->class ? c->class : "");
	}
	report_add_fluid(out, &s->config.plant);
}

static void add_corrections(struct buffer *out, const struct statement *s)
{
	for (size_t i = 0; i < s->config.correction_count; i++) {
		const struct correction_config *c = &s->config.corrections[i];
		char from[32], to[32] = "on";
		if (!correction_touches(c, s->from_ms, s->to_ms))
			continue;
		statement_when(s, c->from_ms, from);
		if (c->to_ms != INT64_MAX)
			statement_when(s, c->to_ms, to);
		add_line(out, "correction",
			"%s: %s times %.6g, %+.6g; from %.16s %s%.16s", c->name,
			s->config.channels[c->channel].name, c->factor, c->offset, from,
			c->to_ms == INT64_MAX ? "" : "to ", to);
	}
	if (s->older.count)
		add_line(out, "older mapping",
			"%lld days made before the configuration changed, %lld of them "
			"sealed",
			(long long)s->older.count, (long long)s->older.sealed);
	if (s->sealed_days)
		add_line(out, "sealed",
			"%lld days keep their rows: their journal is not whole",
			(long long)s->sealed_days);
}

static void add_estimates(struct buffer *out, const struct statement *s)
{
	struct estimate list[ESTIMATES_MOST];
	size_t count = estimates_of(&s->config, &s->boundary, list);
	for (size_t i = 0; i < count; i++)
		if (list[i].counted)
			add_line(out, "estimated", "%s: %s", estimate_quantity(&list[i]),
				list[i].why);
}

static void add_findings(struct buffer *out, const struct statement *s)
{
	const struct finding_list *list = &s->findings.list;
	for (size_t i = 0; i < list->count && i < FINDINGS_SHOWN; i++) {
		const struct finding *f = &list->items[i];
		char since[32], until[32], effect[64] = "";
		statement_when(s, f->since_ms, since);
		statement_when(s, f->until_ms, until);
		if (isfinite(f->effect))
			(void)snprintf(effect, sizeof(effect),
				"; adds %+.3f to the season's factor", f->effect);
		add_line(out, i == 0 ? "findings" : "", "%s%s%s, %.16s to %.16s%s",
			finding_title(f->kind), f->subject[0] ? ": " : "", f->subject,
			since, until, effect);
	}
	if (list->count == 0)
		add_line(out, "findings", "none");
	if (list->count > FINDINGS_SHOWN)
		add_line(out, "", "and %zu more, which the report tells",
			list->count - FINDINGS_SHOWN);
}

static void add_title(struct buffer *out, const struct statement *s)
{
	char from[32], to[32], end[32];
	statement_when(s, s->from_ms, from);
	statement_when(s, s->to_ms - 1, to);
	time_text_local(s->to_ms, end);
	buffer_addf(out, "Statement of %s\n",
		s->config.plant.name ? s->config.plant.name : "a heat pump");
	buffer_addf(out, "%.10s", from);
	if (strncmp(from, to, 10) != 0)
		buffer_addf(out, " to %.10s", to);
	if (s->open && !s->anonymous)
		buffer_addf(out, " until %.5s", end + strlen("2026-01-31T"));
	buffer_addf(out, " (%s), %lld day%s\n\n", s->zone, (long long)s->days,
		s->days == 1 ? "" : "s");
}

void statement_text(const struct statement *s, struct buffer *out)
{
	const char *caution;
	add_title(out, s);
	add_figures(out, s);
	buffer_add_text(out, "\n");
	add_boundaries(out, s);
	add_modes(out, s);
	add_cover(out, s);
	buffer_add_text(out, "\n");
	add_meters(out, s);
	add_sensors(out, s);
	add_estimates(out, s);
	add_corrections(out, s);
	add_findings(out, s);
	buffer_add_text(out, "\n");
	for (size_t i = 0; (caution = statement_caution(s, i)); i++)
		add_line(out, i == 0 ? "caution" : "", "%s", caution);
	if (s->anonymous)
		add_line(out, "software", "heatbook " HEATBOOK_VERSION);
	else
		add_line(out, "software",
			"heatbook " HEATBOOK_VERSION ", schema %d, mapping %016llx",
			s->schema, (unsigned long long)s->config.mapping_digest);
}
