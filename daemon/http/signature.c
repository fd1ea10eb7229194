/*
 * /v1/signature: what the house takes from its heating, by outdoor temperature; the
 * design load and the margin. Its answer, its evidence, what is missing.
 *
 * Asked without times it is of the last 365 local days: as much of each weather as a year
 * has, and sun and cold in the mixture that belongs to them.
 */
#include "basis.h"
#include "face.h"
#include "insight_json.h"

#include <heatbook/calendar.h>
#include <heatbook/signature.h>

#include <math.h>

enum { DAYS_BACK = 365 };

static const char caution[] =
	"Cold and sun go together, and people warm the house as well: this is what the "
	"house "
	"takes from its heating, not what its walls lose. The intervals are of the days' "
	"scatter about the line (95 %); what instruments may be off by comes on top "
	"(in percent of heat under evidence), and so does what differs beyond the "
	"weather seen.";

static double kwh_per_day(double w)
{
	return w * 24.0 / 1000.0;
}

static void write_left(struct json *json, const struct signature *s)
{
	json_object(json, "days_left_out");
	for (int i = 0; i < SIGNATURE_LEFT; i++)
		json_integer(json, signature_left_name((enum signature_left)i),
			(int64_t)s->left[i]);
	json_object_end(json);
}

static void write_extreme(
	struct json *json, const char *key, const struct signature *s, size_t at)
{
	if (s->count == 0) {
		json_null(json, key);
		return;
	}
	json_object(json, key);
	json_seconds(json, "t", s->points[at].start_ms);
	json_number(json, "outdoor_c", s->points[at].outdoor_c, 3);
	json_number(json, "space_heat_kwh", kwh_per_day(s->points[at].space_w), 3);
	json_object_end(json);
}

static void write_fit(struct json *json, const struct signature *s)
{
	const struct change_point *fit = &s->fit;
	bool told = insight_find(&s->answer, "base_temperature_c");
	json_text(json, "model", fit->ends ? "change_point" : "line");
	json_text(json, "base_temperature",
		fit->ends ? "seen"
		: told    ? "extrapolated"
			  : "not determined");
	json_integer(json, "parameters", (int64_t)fit->p);
	json_text(json, "divisor", fit->ends ? "n - 3" : "n - 2");
	json_number(json, "r_squared", fit->r_squared, 6);
	json_number(json, "cv_rmse_percent", fit->agreement.cv_rmse_percent, 4);
	json_number(json, "nmbe_percent", fit->agreement.nmbe_percent, 4);
	json_integer(json, "heated_days", (int64_t)fit->below);
	json_number(json, "scatter_kwh_per_day", kwh_per_day(fit->scatter_sd), 4);
	json_number(json, "autocorrelation", fit->rho, 4);
	json_number(json, "inflation", fit->inflation, 4);
	json_text(json, "intervals",
		fit->ends
			? "heat loss, loads: Student's t by the scatter of heated days; "
			  "base temperature: likelihood ratio; all inflated by "
			  "autocorrelation"
			: "heat loss, loads: Student's t; base temperature: Fieller; "
			  "all inflated by autocorrelation");
}

static void write_capacity(struct json *json, const struct signature_capacity *c)
{
	if (isnan(c->w)) {
		json_null(json, "capacity");
		return;
	}
	json_object(json, "capacity");
	json_text(json, "by", c->declared ? "declared" : "seen");
	json_number(json, "kw", c->w / 1000.0, 3);
	if (!c->declared) {
		json_integer(json, "hours", SIGNATURE_STRETCH_HOURS);
		json_seconds(json, "from", c->from_ms);
		json_seconds(json, "to", c->to_ms);
		json_number(json, "outdoor_c", c->outdoor_c, 3);
	}
	json_object_end(json);
}

/* How far the design temperature lies beyond the coldest day. */
static void write_design(
	struct json *json, const struct config *config, const struct signature *s)
{
	double design_c = config->plant.design_temperature_c;
	if (isnan(design_c))
		return;
	json_number(json, "design_temperature_c", design_c, 2);
	json_number(json, "beyond_coldest_k",
		s->count ? s->points[s->coldest].outdoor_c - design_c : (double)NAN, 3);
}

static void write_points(struct json *json, const struct signature *s)
{
	json_object(json, "points");
	json_array(json, "t");
	for (size_t i = 0; i < s->count; i++)
		json_seconds(json, NULL, s->points[i].start_ms);
	json_array_end(json);
	json_array(json, "outdoor_c");
	for (size_t i = 0; i < s->count; i++)
		json_number(json, NULL, s->points[i].outdoor_c, 3);
	json_array_end(json);
	json_array(json, "space_heat_kwh");
	for (size_t i = 0; i < s->count; i++)
		json_number(json, NULL, kwh_per_day(s->points[i].space_w), 3);
	json_array_end(json);
	json_array(json, "fitted_kwh");
	for (size_t i = 0; i < s->count; i++)
		json_number(json, NULL,
			s->fitted ? kwh_per_day(change_point_at(
					    &s->fit, s->points[i].outdoor_c))
				  : (double)NAN,
			3);
	json_array_end(json);
	json_object_end(json);
}

static void write_evidence(struct json *json, const struct config *config,
	const struct signature *s, bool points)
{
	json_object(json, "evidence");
	json_integer(json, "days", (int64_t)s->days);
	json_integer(json, "n", (int64_t)s->count);
	json_integer(json, "least_known_percent", SIGNATURE_COVERAGE_PERCENT);
	write_left(json, s);
	json_number(json, "coverage_percent", 100.0 * s->heat_share, 3);
	write_extreme(json, "coldest_day", s, s->coldest);
	write_extreme(json, "warmest_day", s, s->warmest);
	json_number(json, "space_heat_kwh", (double)s->space_j / 3.6e6, 3);
	json_number(json, "hot_water_kwh", (double)s->hot_water_j / 3.6e6, 3);
	json_number(json, "unassigned_kwh", (double)s->unassigned_j / 3.6e6, 3);
	json_integer(json, "cooling_days", (int64_t)s->cooling_days);
	json_number(json, "heat_uncertainty_percent", 100.0 * s->heat_uncertain, 2);
	if (s->fitted)
		write_fit(json, s);
	write_design(json, config, s);
	write_capacity(json, &s->capacity);
	json_text(json, "caution", caution);
	if (points)
		write_points(json, s);
	json_object_end(json);
}

static void write_body(struct json *json, const struct config *config,
	const struct span *span, const struct signature *s, bool points)
{
	/* Without a boundary: heat is asked, no meter's electricity. */
	const struct insight_days frame = {.config = config,
		.from_ms = s->from_ms,
		.to_ms = s->to_ms,
		.version = s->version,
		.older = s->older};
	json_insight_frame(json, &frame, span->note);
	json_fluid(json, &config->plant);
	json_estimates(json, config, &frame.boundary, NULL);
	json_insight(json, &s->answer);
	write_evidence(json, config, s, points);
}

void answer_signature(
	struct http *http, const struct request *request, struct reply *reply)
{
	static const char *const no_yes[] = {"no", "yes"};
	struct signature signature;
	struct span span = {0};
	bool points = false;
	if (!span_times(request, DAYS_BACK, reply, &span) ||
		!choice_read(request, reply, "points", no_yes, &points))
		return;
	int r = signature_ask(http->store, span.from_ms, span.to_ms, &signature);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	write_body(&reply->body, http->config, &span, &signature, points);
	span_keep(&span, reply);
	reply->standing.before_minute = INT64_MAX; /* whole days, beyond the span's end */
	signature_release(&signature);
}
