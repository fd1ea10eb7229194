/*
 * /metrics: what has a sample and what has none, base units, escapes. That the text is
 * OpenMetrics is held by a parser in the integration suite.
 *
 * Outside: OpenMetrics 1.0 (escapes, suffixes, end), from memory.
 */
#include "http_client.h"

#include <heatbook/news.h>

static struct news news;

static struct http *serve_metrics(void)
{
	struct http *http = serve();
	news_begin(&news, 1, NOW_MS - 3600000);
	http_tell(http, &news);
	plant_latest[0] = (struct latest){LATEST_FRESH, 34.21, NOW_MS, 10000};
	plant_latest[1] = (struct latest){LATEST_FRESH, 1, NOW_MS, 10000};
	plant_latest[2] = (struct latest){LATEST_FRESH, 1200, NOW_MS, 10000};
	plant_live.mode = MODE_HOT_WATER;
	return http;
}

static char *metrics_of(struct http *http)
{
	struct reply_seen reply = ask(http, "GET", "/metrics", "");
	ck_assert_int_eq(reply.status, 200);
	ck_assert(field_is(&reply, "Content-Type",
		"application/openmetrics-text; version=1.0.0; charset=utf-8"));
	ck_assert(field_is(&reply, "Cache-Control", "no-store"));
	char *text = xasprintf("\n%s", reply.body);
	reply_release(&reply);
	return text;
}

/* A whole line. */
static bool says(const char *text, const char *line)
{
	_cleanup_(freep) char *whole = xasprintf("\n%s\n", line);
	return strstr(text, whole) != NULL;
}

TEST(what_is_known_has_a_sample_in_base_units)
{
	static const char *const lines[] = {
		"# TYPE heatbook_temperature_celsius gauge",
		"# UNIT heatbook_temperature_celsius celsius",
		"heatbook_temperature_celsius{channel=\"flow_temperature\",role=\"flow_"
		"temperature\"} 34.21",
		"heatbook_power_watts{channel=\"unit_power\",role=\"plain\"} 1200",
		"heatbook_state{channel=\"valve\",heatbook_state=\"heating\"} 0",
		"heatbook_state{channel=\"valve\",heatbook_state=\"hot_water\"} 1",
		"heatbook_mode{heatbook_mode=\"hot_water\"} 1",
		"heatbook_mode{heatbook_mode=\"heating\"} 0",
		"heatbook_broken_limit{heatbook_broken_limit=\"commit\"} 0",
		"heatbook_heat_drawn_joules_total{mode=\"defrost\"} 77",
		"heatbook_heat_drawn_joules_created{mode=\"defrost\"} 1767873630.000",
		"heatbook_cooling_joules_total 5",
		"heatbook_mode_seconds_total{mode=\"heating\"} 61.500",
		"heatbook_streams 0",
		"# EOF",
	};
	struct http *http = serve_metrics();
	news.counts.drawn_j[MODE_DEFROST] = 77;
	news.counts.drawn_j[MODE_COOLING] = 5;
	news.counts.mode_ms[MODE_HEATING] = 61500;
	_cleanup_(freep) char *text = metrics_of(http);
	for (size_t i = 0; i < ARRAY_LEN(lines); i++)
		ck_assert_msg(says(text, lines[i]), "no line %s in%s", lines[i], text);
	ck_assert_str_eq(text + strlen(text) - 6, "# EOF\n");
	/* Cooling has a family of its own. */
	ck_assert_ptr_null(strstr(text, "heat_drawn_joules_total{mode=\"cooling\"}"));
	http_close(http);
}
END

TEST(what_is_stale_or_unknown_has_none)
{
	struct http *http = serve_metrics();
	plant_latest[0].state = LATEST_STALE;
	plant_latest[1].state = LATEST_NEVER;
	plant_latest[2].value = (double)NAN;
	plant_live.mode = -1;
	_cleanup_(freep) char *text = metrics_of(http);
	static const char *const parts[] = {"heatbook_temperature_celsius",
		"heatbook_state{", "heatbook_power_watts", "heatbook_mode{",
		"\nheatbook_heat_watts", "nan", "NaN"};
	for (size_t i = 0; i < ARRAY_LEN(parts); i++)
		ck_assert_msg(!strstr(text, parts[i]), "%s in%s", parts[i], text);
	http_close(http);
}
END

TEST(words_are_escaped)
{
	struct http *http = serve_metrics();
	char *kept = valve_states[0];
	valve_states[0] = (char[]){"a\"b\\c\nd"};
	_cleanup_(freep) char *text = metrics_of(http);
	ck_assert(says(text, "heatbook_state{channel=\"valve\",heatbook_state=\"a\\\"b"
			     "\\\\c\\nd\"} 0"));
	valve_states[0] = kept;
	http_close(http);
}
END

TESTS(what_is_known_has_a_sample_in_base_units, what_is_stale_or_unknown_has_none,
	words_are_escaped)
