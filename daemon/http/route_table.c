/*
 * Every resource, with its parameters. See routes.h.
 */
#include "openmetrics.h"
#include "routes.h"

#include <string.h>

/* The parameters that many have. */
#define TO                                                                               \
	{                                                                                \
		"to", "end, not included; else now", "Time"                              \
	}
#define LAST                                                                             \
	{                                                                                \
		"last", "so far back from the end, in place of from: PT1H, P7D, P1M",    \
			"LookBack"                                                       \
	}
#define FROM_OF(span)                                                                    \
	{                                                                                \
		"from", "start; else " span " up to the end", "Time"                     \
	}
#define FROM FROM_OF("seven local days")
#define STEP                                                                             \
	{                                                                                \
		"step", "PT1M, PT15M, PT1H, P1D, P1W, P1M, P1Y …; else P1D", "Step"      \
	}
#define ROWS                                                                             \
	{                                                                                \
		"rows", "yes: in JSON an object a row, in place of columns", "YesNo"     \
	}
#define FORMAT                                                                           \
	{                                                                                \
		"format", "json or csv; else by the Accept field", "Format"              \
	}
#define TIME                                                                             \
	{                                                                                \
		"time",                                                                  \
			"in CSV: local (RFC 3339 in the plant's zone) or epoch "         \
			"(seconds); else local",                                         \
			"TimeForm"                                                       \
	}
#define BOUNDARY_OF(which)                                                               \
	{                                                                                \
		"boundary",                                                              \
			"H2, H3, H4, H2+circulation …; else the " which " that the "     \
			"meters allow",                                                  \
			"Boundary"                                                       \
	}
#define LIST                                                                             \
	{                                                                                \
		"list", "no: in JSON the statistics alone, of any span", "YesNo"         \
	}
#define EVENTS                                                                           \
	{                                                                                \
		FROM, TO, LAST, BOUNDARY_OF("narrowest"), LIST, ROWS, FORMAT, TIME       \
	}

const struct route routes[] = {
	{"/", "the page; this index where application/json is preferred", answer_index,
		"Index", .is_public = true},
	{"/openapi.json", "this contract as OpenAPI 3.1", answer_contract, "Contract",
		.is_public = true},
	{"/v1/now", "every channel's latest value, and the current minute", answer_now,
		"Now"},
	{"/v1/channels", "what is configured", answer_channels, "Channels"},
	{"/v1/series", "channels over a span by step", answer_series, "Series",
		{{"channels", "names, joined by commas", "ChannelNames", .needed = true},
			FROM, TO, LAST, STEP,
			{"values",
				"of mean, min, max, observed, joined by commas; else all",
				"Names"},
			ROWS, FORMAT, TIME},
		.kept = true},
	{"/v1/energy", "heat, electricity and efficiency over a span by step",
		answer_energy, "Energy",
		{FROM, TO, LAST, STEP, BOUNDARY_OF("widest"),
			{"by", "mode: the sums of each operating mode besides", "ByMode"},
			{"preview_pair_offset",
				"kelvins, such as -0.3: heat as this offset of the "
				"temperature difference would make it",
				"Kelvins"},
			{"values", "names of columns, joined by commas; else all",
				"Names"},
			ROWS, FORMAT, TIME},
		.kept = true},
	{"/v1/cost",
		"what electricity cost and emitted, by step of whole local days, beside "
		"another source of heat",
		answer_cost, "Cost",
		{FROM, TO, LAST, {"step", "P1D, P1W, P1M or P1Y; else P1D", "Step"},
			BOUNDARY_OF("widest"),
			{"by", "mode: the sums of each operating mode besides", "ByMode"},
			ROWS, FORMAT, TIME},
		.kept = true},
	{"/v1/degree-days", "heating degree days of local days by four named methods",
		answer_degree_days, "DegreeDays",
		{FROM, TO, LAST, {"step", "P1D, P1W, P1M or P1Y; else P1D", "Step"},
			{"base",
				"°C, such as 15.5; else the plant's. Eurostat's method "
				"has its own",
				"Celsius"},
			ROWS, FORMAT, TIME},
		.kept = true},
	{"/v1/runs", "runs of the compressor that began in a span", answer_runs, "Runs",
		EVENTS, .kept = true},
	{"/v1/defrosts", "defrosts that began in a span", answer_defrosts, "Defrosts",
		EVENTS, .kept = true},
	{"/v1/hot-water", "hot-water runs that began in a span", answer_hot_water,
		"HotWater", EVENTS, .kept = true},
	{"/v1/immersion", "immersion heaters in use that began in a span, planned or not",
		answer_immersion, "Immersion", {FROM, TO, LAST, LIST, ROWS, FORMAT, TIME},
		.kept = true},
	{"/v1/freeze-protection", "freeze protection that began in a span",
		answer_freeze_protection, "FreezeProtection", EVENTS, .kept = true},
	{"/v1/efficiency-map",
		"efficiency against outdoor and flow temperature, and own bins beside a "
		"reference climate's",
		answer_efficiency_map, "EfficiencyMap",
		{FROM_OF("365 local days"), TO, LAST,
			{"climate",
				"of EN 14825: average, warmer or colder; else average",
				"Climate"},
			ROWS, FORMAT},
		.kept = true},
	{"/v1/circuit",
		"the circuit's flow and cold pressure over days, top-ups, and when the "
		"cylinder was last at 60 °C",
		answer_circuit, "Circuit",
		{FROM_OF("90 local days"), TO, LAST, ROWS, FORMAT, TIME}, .kept = true},
	{"/v1/flow-temperature",
		"what a lower flow temperature in heating would save, and whether the "
		"emitters would still give the heat",
		answer_flow_temperature, "FlowTemperature",
		{FROM_OF("365 local days"), TO, LAST,
			{"by",
				"kelvins lower, up to ten joined by commas, such as 2.5; "
				"else 1 to 10",
				"Lowerings"},
			ROWS, FORMAT},
		.kept = true},
	{"/v1/declared",
		"steady heating beside the points that the unit's maker declares",
		answer_declared, "Declared",
		{FROM_OF("365 local days"), TO, LAST, ROWS, FORMAT}, .kept = true},
	{"/v1/findings",
		"what is likely wrong with sensors, meters and plant, with remedies",
		answer_findings, "Findings", {FROM_OF("400 local days"), TO, LAST},
		.kept = true},
	{"/v1/signature",
		"what the house takes from its heating by outdoor temperature, the "
		"design load and the margin",
		answer_signature, "Signature",
		{FROM_OF("365 local days"), TO, LAST,
			{"points", "yes: the days that it rests on, too", "YesNo"}},
		.kept = true},
	{"/v1/changes",
		"of each noted change whether it helped, by how much and how sure",
		answer_changes, "Changes",
		{{"change", "the name of one [change]; else all", "ChangeName"},
			BOUNDARY_OF("narrowest")},
		.kept = true},
	{"/v1/statement",
		"one sheet of whole local days: what was given and taken, how sure, and "
		"all that it rests on",
		answer_statement, "Statement",
		{FROM, TO, LAST, BOUNDARY_OF("widest"),
			{"anonymous",
				"yes: without names, places and days, fit for sharing",
				"YesNo"}},
		.kept = true},
	{"/v1/notices",
		"what [notice] sections watch: what is raised, and each time in a span",
		answer_notices, "Notices", {FROM, TO, LAST, ROWS, FORMAT, TIME}},
	{"/v1/stream",
		"Server-Sent Events: each closed minute, spans that were revised, and "
		"notices; resumes behind Last-Event-ID",
		answer_stream, "Events", .type = "text/event-stream", .resumes = true},
	{"/metrics", "OpenMetrics 1.0: the present, and counters since the start",
		answer_metrics, "Metrics", .type = OPENMETRICS_TYPE},
	{"/v1/health", "state of the daemon; 503 when a limit is broken", answer_health,
		"Health", .ill = true},
};
const size_t route_count = ARRAY_LEN(routes);

size_t route_parameters(const struct route *route)
{
	size_t n = 0;
	while (n < ROUTE_PARAMETERS_MOST && route->parameters[n].name)
		n++;
	return n;
}

bool route_takes(const struct route *route, const char *name)
{
	for (size_t i = 0; i < route_parameters(route); i++)
		if (strcmp(route->parameters[i].name, name) == 0)
			return true;
	return false;
}
