/*
 * /v1/runs, /v1/defrosts, /v1/hot-water over minutes that the test spells out: which
 * events belong to a span, what they are told to be, their figures and bins.
 *
 * Reference: runs.h, figures.h; expected figures are worked out by hand.
 */
#include "http_client.h"

#define FROM      DAY_1
#define LOOK_BACK 60 /* minutes that are read before the span */

enum { UNIT, IMMERSION };

/* Minutes from FROM on, before which the plant stands: h heating, w hot water, d defrost,
 * c cooling, o the same without the compressor, ' ' no row, else standby; i standby and W
 * hot water with the immersion heater on, f freeze protection. A heating minute gives 360
 * kJ for 90 kJ, a hot water one 300 kJ for 100 kJ; a defrost takes 120 kJ from the house.
 */
static const char *minutes;
static bool spread; /* electricity by a register alone, laid evenly */

static char letter_of(int64_t t_ms)
{
	int64_t i = (t_ms / 1000 - FROM) / 60;
	return i >= 0 && i < (int64_t)strlen(minutes) ? minutes[i] : 's';
}

static void fill(size_t i, struct energy_bucket *b)
{
	(void)i; /* counts from where reading begins */
	static const struct {
		char letter;
		enum mode mode;
		int64_t heat_j, unit_j;
	} kinds[] = {{'h', MODE_HEATING, 360000, 90000},
		{'w', MODE_HOT_WATER, 300000, 100000},
		{'d', MODE_DEFROST, -120000, 40000}, {'c', MODE_COOLING, -300000, 100000},
		{'o', MODE_COOLING, -100000, 0}, {'s', MODE_STANDBY, 0, 300},
		{'i', MODE_STANDBY, 0, 300}, {'f', MODE_FREEZE_PROTECTION, -30000, 300},
		{'W', MODE_HOT_WATER, 300000, 100000}};
	for (size_t k = 0; k < ARRAY_LEN(kinds); k++) {
		if (kinds[k].letter != letter_of(b->t_ms))
			continue;
		struct energy_sum *sum = &b->modes[kinds[k].mode];
		*sum = (struct energy_sum){.observed_ms = MS_PER_MIN,
			.heat_j = kinds[k].heat_j,
			.heat_ms = MS_PER_MIN};
		sum->meter_j[UNIT] = kinds[k].unit_j;
		sum->meter_spread_j[UNIT] = spread ? kinds[k].unit_j : 0;
		sum->meter_ms[UNIT] = MS_PER_MIN;
		b->modes_seen = 1u << kinds[k].mode;
		sum->meter_ms[IMMERSION] = MS_PER_MIN;
		if (kinds[k].letter == 'i' || kinds[k].letter == 'W') {
			b->modes[MODE_HOT_WATER].meter_j[IMMERSION] = 180000;
			b->modes_seen |= 1u << MODE_HOT_WATER;
		}
		if (kinds[k].mode == MODE_COOLING)
			continue;
		sum->paired_ms = MS_PER_MIN;
		sum->paired_heat_j = sum->heat_j;
		sum->paired_electricity_j = sum->paired_meter_j[UNIT] = kinds[k].unit_j;
		sum->paired_electricity_spread_j = sum->meter_spread_j[UNIT];
	}
}

/* -4 °C in the first half hour, then 2 °C. */
static double outdoor(size_t i, size_t column)
{
	if (column == RUN_FREQUENCY)
		return letter_of(((int64_t)i - LOOK_BACK + FROM / 60) * MS_PER_MIN) == 'o'
			       ? 0.0
			       : 40.0;
	return i < LOOK_BACK + 30 ? -4.0 : 2.0;
}

static cJSON *ask_for(const char *resource, const char *words, const char *more)
{
	struct http *http = serve();
	char *target =
		xasprintf("/v1/%s?from=1767222000&to=1767229200%s", resource, more);
	minutes = words;
	fake.energy = fill;
	fake.series = outdoor;
	fake.first_row = FROM / 60 - LOOK_BACK;
	cJSON *json = get_json(http, target, 200);
	free(target);
	http_close(http);
	return json;
}

/* Minutes of begin and end since FROM, kind and truncation: "0-25 heating no, …". */
static void expect(const char *resource, const char *words, const char *expected)
{
	cJSON *json = ask_for(resource, words, "");
	struct buffer out = {0};
	int count = (int)number_at(json, "count");
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "columns/t")), count);
	for (int i = 0; i < count; i++) {
		const cJSON *columns = at(json, "columns");
		double t = cJSON_GetArrayItem(at(columns, "t"), i)->valuedouble;
		double t_end = cJSON_GetArrayItem(at(columns, "t_end"), i)->valuedouble;
		buffer_addf(&out, "%s%.0f-%.0f %s %s", i ? ", " : "",
			(t - (double)FROM) / 60.0, (t_end - (double)FROM) / 60.0,
			cJSON_GetArrayItem(at(columns, "kind"), i)->valuestring,
			cJSON_GetArrayItem(at(columns, "truncated"), i)->valuestring);
	}
	ck_assert_msg(strcmp(buffer_text(&out), expected) == 0, "%s of \"%s\": \"%s\"",
		resource, words, buffer_text(&out));
	buffer_release(&out);
	cJSON_Delete(json);
}

TEST(each_event_is_one_row_and_says_what_it_was_for)
{
	expect("runs", "shhhddhhhs", "1-9 heating no");
	expect("defrosts", "shhhddhhhs", "4-6 defrost no");
	expect("hot-water", "shhhddhhhs", "");
	expect("runs", "swwwswwds", "1-4 hot_water no, 5-8 hot_water no");
	expect("hot-water", "swwddwws", "1-7 hot_water no");
	expect("runs", "shhhhhwwwwws", "1-11 mixed no");
	expect("runs", "shwwwwwwwwwwwwwwwwwwws", "1-21 hot_water no");
	expect("runs", "scccss", "1-4 cooling no");
	/* Cold water goes on round. */
	plant_channels[0].role = ROLE_COMPRESSOR_FREQUENCY;
	expect("runs", "sccoos", "1-3 cooling no");
	expect("runs", "sdds", "1-3 defrost no");
	expect("runs", "", "");
}
END

TEST(an_event_that_loses_sight_of_its_ends_says_so)
{
	expect("runs", "sh    hs", "1-2 heating end, 6-7 heating begin");
	expect("runs", "s    h    s", "5-6 heating both");
	expect("runs", "sh   hs", "1-6 heating no");
}
END

/* The span is two hours: what begins before it is another's, what ends after it is not
 * cut, what begins after it is not told. */
TEST(an_event_is_of_the_span_in_which_it_begins)
{
	struct http *http = serve();
	char words[300];
	memset(words, 's', sizeof(words) - 1);
	words[sizeof(words) - 1] = '\0';
	memset(words, 'h', 10);       /* from the first minute of the span on */
	memset(words + 100, 'h', 60); /* over its end */
	memset(words + 200, 'h', 60);
	minutes = words;
	fake.energy = fill;
	expect("runs", words, "0-10 heating no, 100-160 heating no");
	/* Five minutes later the first has begun before. */
	cJSON *json = get_json(http, "/v1/runs?from=1767222300&to=1767229200", 200);
	/* It is looked beyond both ends, but days of a former mapping are the span's. */
	ck_assert_int_lt(fake.first_ms, INT64_C(1767222300000));
	ck_assert_int_gt(fake.last_ms, INT64_C(1767229200000));
	ck_assert_int_eq(fake.span_from_ms, INT64_C(1767222300000));
	ck_assert_int_eq(fake.span_to_ms, INT64_C(1767229200000));
	ck_assert_int_eq((int)number_at(json, "count"), 1);
	cJSON_Delete(json);
	http_close(http);
}
END

	static void
	check_kj(const cJSON *json, const char *path, double kilojoules)
{
	ck_assert_double_eq_tol(number_at(json, path), kilojoules / 3600.0, 0.6e-7);
}

TEST(figures_are_of_its_time_at_the_narrowest_boundary)
{
	cJSON *json = ask_for("runs", "hhhhhddhhhhhsss", "");
	ck_assert_str_eq(text_at(json, "boundary"), "H2+circulation");
	check_kj(json, "columns/heat_kwh/0", 10 * 360 - 2 * 120);
	check_kj(json, "columns/electricity_kwh/0", 10 * 90 + 2 * 40);
	ck_assert_double_eq_tol(number_at(json, "columns/cop/0"), 3360.0 / 980.0, 0.6e-6);
	ck_assert_double_eq(number_at(json, "columns/running_s/0"), 720);
	ck_assert_double_eq(number_at(json, "columns/heating_s/0"), 600);
	ck_assert_double_eq(number_at(json, "columns/defrost_s/0"), 120);
	ck_assert_double_eq(number_at(json, "columns/paired_s/0"), 720);
	ck_assert_str_eq(text_at(json, "columns/source/0"), "flag");
	ck_assert_str_eq(text_at(json, "units/heat_kwh"), "kW.h");
	check_kj(json, "total/heat_kwh", 3360);
	ck_assert_double_eq(number_at(json, "total/count"), 1);
	/* No outdoor channel is configured. */
	ck_assert_ptr_null(at(json, "by_outdoor"));
	ck_assert_ptr_null(at(json, "columns/outdoor_c"));
	cJSON_Delete(json);
	json = ask_for("runs", "hhhs", "&boundary=H4");
	ck_assert_str_eq(text_at(json, "boundary"), "H4");
	cJSON_Delete(json);
}
END

TEST(a_defrost_has_no_quotient_and_takes_heat)
{
	cJSON *json = ask_for("defrosts", "hhdddhh", "");
	check_kj(json, "columns/heat_kwh/0", -360);
	check_kj(json, "columns/electricity_kwh/0", 120);
	ck_assert_ptr_null(at(json, "columns/cop"));
	ck_assert_ptr_null(at(json, "total/cop"));
	cJSON_Delete(json);
}
END

TEST(cooling_is_apart_and_has_no_quotient)
{
	cJSON *json = ask_for("runs", "sccccs", "");
	check_kj(json, "columns/cooling_kwh/0", 1200);
	check_kj(json, "columns/cooling_electricity_kwh/0", 400);
	ck_assert(null_at(json, "columns/heat_kwh/0"));
	ck_assert(null_at(json, "columns/cop/0"));
	ck_assert_str_eq(text_at(json, "columns/no_cop_because/0"), "cooling");
	cJSON_Delete(json);
}
END

/* A register's even steps say nothing of a run: see SPREAD_MOST_PERCENT. */
TEST(what_is_spread_evenly_is_no_measurement_of_an_event)
{
	spread = true;
	cJSON *json = ask_for("runs", "shhhhhs", "");
	spread = false;
	ck_assert(null_at(json, "columns/cop/0"));
	ck_assert_str_eq(text_at(json, "columns/no_cop_because/0"),
		"electricity is spread evenly over the steps of a register");
	check_kj(json, "columns/spread_electricity_kwh/0", 450);
	cJSON_Delete(json);
}
END

TEST(events_are_summed_by_the_outdoor_temperature)
{
	enum role role = plant_channels[0].role;
	plant_channels[0].role = ROLE_OUTDOOR_TEMPERATURE;
	/* At -4 °C ten minutes and, cut off by a gap, one; at 2 °C twenty. */
	cJSON *json = ask_for(
		"runs", "shhhhhhhhhhssssh        ssssssshhhhhhhhhhhhhhhhhhhhs", "");
	ck_assert_double_eq(number_at(json, "columns/outdoor_c/0"), -4);
	ck_assert_double_eq(number_at(json, "columns/outdoor_c/2"), 2);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "by_outdoor/count")), 2);
	ck_assert_double_eq(number_at(json, "by_outdoor/outdoor_from_c/0"), -6);
	ck_assert_double_eq(number_at(json, "by_outdoor/outdoor_to_c/0"), -3);
	ck_assert_double_eq(number_at(json, "by_outdoor/count/0"), 2);
	ck_assert_double_eq(number_at(json, "by_outdoor/truncated/0"), 1);
	ck_assert_double_eq(number_at(json, "by_outdoor/running_s/0"), 660);
	ck_assert_double_eq(number_at(json, "by_outdoor/mean_running_s/0"), 600);
	check_kj(json, "by_outdoor/heat_kwh/0", 11 * 360);
	ck_assert_double_eq(number_at(json, "by_outdoor/outdoor_from_c/1"), 0);
	ck_assert_double_eq_tol(number_at(json, "by_outdoor/cop/1"), 4.0, 1e-6);
	ck_assert_double_eq(number_at(json, "total/count"), 3);
	cJSON_Delete(json);
	plant_channels[0].role = role;
}
END

TEST(csv_has_the_same_columns)
{
	struct http *http = serve();
	minutes = "shhhs";
	fake.energy = fill;
	fake.first_row = FROM / 60 - LOOK_BACK;
	struct reply_seen reply = ask(http, "GET",
		"/v1/runs?from=1767222000&to=1767229200&format=csv&time=epoch", "");
	ck_assert_int_eq(reply.status, 200);
	ck_assert(field_is(
		&reply, "Content-Type", "text/csv; charset=utf-8; header=present"));
	const char *head = "t [s],t_end [s],kind,source,truncated,ended,short,running_s "
			   "[s],heating_s";
	const char *row =
		"\r\n1767222060,1767222240,heating,flag,no,stopped,yes,180,180,0,0,0,";
	ck_assert_msg(strncmp(reply.body, head, strlen(head)) == 0, "%s", reply.body);
	ck_assert_msg(strstr(reply.body, row) != NULL, "%s", reply.body);
	reply_release(&reply);
	http_close(http);
}
END

TEST(runs_say_why_they_ended_and_which_were_short)
{
	cJSON *json = ask_for("runs", "hhhhhssssssssssssshhhddhhsssssswwws", "");
	static const char *const ended[] = {"stopped", "hot_water", "stopped"};
	static const char *const short_ones[] = {"yes", "no", "no"};
	ck_assert_int_eq((int)number_at(json, "count"), 3);
	for (int i = 0; i < 3; i++) {
		const cJSON *columns = at(json, "columns");
		ck_assert_str_eq(cJSON_GetArrayItem(at(columns, "ended"), i)->valuestring,
			ended[i]);
		ck_assert_str_eq(cJSON_GetArrayItem(at(columns, "short"), i)->valuestring,
			short_ones[i]);
	}
	ck_assert_double_eq(number_at(json, "total/short"), 1);
	/* No such channel is configured. */
	ck_assert_ptr_null(at(json, "columns/frequency_hz"));
	cJSON_Delete(json);
}
END

TEST(a_defrost_is_told_since_when_the_compressor_ran)
{
	cJSON *json = ask_for("defrosts", "hhhddhhhhhssshhddhhhdds", "");
	ck_assert_int_eq((int)number_at(json, "count"), 3);
	/* Nobody knows of one before. */
	ck_assert(null_at(json, "columns/interval_s/0"));
	ck_assert_double_eq(number_at(json, "columns/interval_s/1"), 7 * 60);
	ck_assert_double_eq(number_at(json, "columns/interval_s/2"), 3 * 60);
	ck_assert_double_eq(number_at(json, "total/mean_interval_s"), 300);
	ck_assert_str_eq(text_at(json, "columns/ended/1"), "heating");
	ck_assert_str_eq(text_at(json, "columns/ended/2"), "stopped");
	cJSON_Delete(json);
}
END

/* A minute with the heater on takes 180 kJ, whatever else is done. */
TEST(an_immersion_heater_and_freeze_protection_are_told)
{
	cJSON *json = ask_for("immersion", "shhsiiisss", "");
	ck_assert_int_eq((int)number_at(json, "count"), 1);
	ck_assert_double_eq(number_at(json, "columns/t/0"), (double)(FROM + 240));
	ck_assert_double_eq(number_at(json, "columns/running_s/0"), 180);
	check_kj(json, "columns/electricity_kwh/0", 540);
	check_kj(json, "total/electricity_kwh", 540);
	ck_assert_str_eq(text_at(json, "columns/planned/0"), "planned");
	ck_assert_str_eq(text_at(json, "columns/meter/0"), "immersion");
	ck_assert(null_at(json, "boundary"));
	ck_assert_double_eq(number_at(json, "total/unplanned"), 0);
	cJSON_Delete(json);
	fake.habit = HABIT_OTHER_TIME;
	json = ask_for("immersion", "siiis", "");
	ck_assert_str_eq(text_at(json, "columns/planned/0"), "other_time");
	ck_assert_double_eq(number_at(json, "total/unplanned"), 1);
	cJSON_Delete(json);
	fake.habit = HABIT_UNKNOWN;
	json = ask_for("immersion", "siiis", "");
	ck_assert(null_at(json, "columns/planned/0"));
	ck_assert_double_eq(number_at(json, "total/unplanned"), 0);
	cJSON_Delete(json);
	fake.habit = HABIT_USUAL;
	json = ask_for("freeze-protection", "sfffhhs", "");
	ck_assert_int_eq((int)number_at(json, "count"), 1);
	ck_assert_str_eq(text_at(json, "columns/kind/0"), "freeze_protection");
	ck_assert_str_eq(text_at(json, "columns/ended/0"), "heating");
	check_kj(json, "columns/heat_kwh/0", -90);
	cJSON_Delete(json);
}
END

TEST(hot_water_tells_the_immersion_heaters_share)
{
	cJSON *json = ask_for("hot-water", "swwWWs", "");
	ck_assert_int_eq((int)number_at(json, "count"), 1);
	check_kj(json, "columns/immersion_kwh/0", 360);
	ck_assert_double_eq_tol(
		number_at(json, "columns/immersion_share/0"), 360.0 / 1560.0, 1e-4);
	cJSON_Delete(json);
}
END

/* Statistics alone cost no list, which may be too long. */
TEST(the_list_may_be_left_out)
{
	cJSON *json = ask_for("runs", "shhhs", "&list=no");
	ck_assert_int_eq((int)number_at(json, "count"), 1);
	ck_assert_ptr_null(at(json, "columns"));
	check_kj(json, "total/heat_kwh", 1080);
	ck_assert_str_eq(text_at(json, "units/heat_kwh"), "kW.h");
	cJSON_Delete(json);
	struct http *http = serve();
	json = get_json(http, "/v1/runs?list=no&format=csv", 400);
	ck_assert_str_eq(text_at(json, "parameter"), "list");
	cJSON_Delete(json);
	json = get_json(http, "/v1/runs?list=never", 400);
	ck_assert_str_eq(text_at(json, "parameter"), "list");
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(what_cannot_be_answered_is_refused_with_the_remedy)
{
	static const struct {
		const char *target, *parameter, *detail;
	} cases[] = {
		{"/v1/defrosts?boundary=H1", "boundary", NULL},
		{"/v1/hot-water?step=P1D", "step", NULL},
		{"/v1/runs?from=1767229200&to=1767222000", "from", NULL},
	};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		cJSON *json = get_json(http, cases[i].target, 400);
		ck_assert_str_eq(text_at(json, "parameter"), cases[i].parameter);
		if (cases[i].detail)
			ck_assert_str_eq(text_at(json, "detail"), cases[i].detail);
		else
			ck_assert_uint_gt(strlen(text_at(json, "detail")), 0);
		cJSON_Delete(json);
	}
	fake.result = QUERY_TOO_SLOW;
	cJSON_Delete(get_json(http, "/v1/runs", 503));
	fake.result = 0;
	http_close(http);
}
END

TESTS(each_event_is_one_row_and_says_what_it_was_for,
		an_event_that_loses_sight_of_its_ends_says_so,
		an_event_is_of_the_span_in_which_it_begins,
		figures_are_of_its_time_at_the_narrowest_boundary,
		a_defrost_has_no_quotient_and_takes_heat,
		cooling_is_apart_and_has_no_quotient,
		what_is_spread_evenly_is_no_measurement_of_an_event,
		events_are_summed_by_the_outdoor_temperature,
		csv_has_the_same_columns,
		runs_say_why_they_ended_and_which_were_short,
		a_defrost_is_told_since_when_the_compressor_ran,
		an_immersion_heater_and_freeze_protection_are_told,
		hot_water_tells_the_immersion_heaters_share,
		the_list_may_be_left_out,
		what_cannot_be_answered_is_refused_with_the_remedy)
