/*
 * /v1/energy: the contract's shape, units, rounding, what is null, which energy is in
 * which column.
 *
 * Outside: cop_uncertainty against tests/data/uncertainty_examples.csv (JCGM
 * 100:2008 5.1.2 and 4.3.7; computed); the boundaries' parts by the definitions of
 * SEPEMO-Build (seen second-hand); 1 kWh = 3.6 MJ (SI Brochure, from memory).
 */
#include "http_energy.h"

static const char *const column_names[] = {"t", "t_end", "heat_kwh", "electricity_kwh",
	"cop", "cop_uncertainty", "paired_heat_kwh", "paired_electricity_kwh",
	"bridged_heat_kwh", "bridged_electricity_kwh", "heat_observed_s",
	"electricity_observed_s", "paired_s", "bridged_s", "cooling_kwh"};

enum { UNIT, IMMERSION };

/* An hour: heating 50 min, hot water 10 min with the immersion heater on. Its electricity
 * is booked to hot water also for the time of heating. The next bucket knows nothing. */
static void two_modes(size_t i, struct energy_bucket *b)
{
	struct energy_sum *heating = &b->modes[MODE_HEATING];
	struct energy_sum *water = &b->modes[MODE_HOT_WATER];
	if (i > 0)
		return;
	*heating = (struct energy_sum){.observed_ms = 3000000,
		.heat_j = 7200001,
		.heat_ms = 3000000,
		.paired_heat_j = 7200001,
		.paired_electricity_j = 1800000,
		.paired_ms = 3000000,
		.bridged_electricity_j = 36,
		.bridged_ms = 1500};
	heating->meter_j[UNIT] = heating->paired_meter_j[UNIT] = 1800000;
	heating->meter_ms[UNIT] = 3000000;
	heating->meter_ms[IMMERSION] = 2999000;
	*water = (struct energy_sum){.observed_ms = 600000,
		.heat_j = 1000000,
		.heat_ms = 599500,
		.paired_heat_j = 1360000,
		.paired_electricity_j = 860000,
		.paired_ms = 600000};
	water->meter_j[UNIT] = water->paired_meter_j[UNIT] = 500000;
	water->meter_ms[UNIT] = 600000;
	water->meter_j[IMMERSION] = water->paired_meter_j[IMMERSION] = 360000;
	water->meter_ms[IMMERSION] = 600000;
	b->modes_seen = 1u << MODE_HEATING | 1u << MODE_HOT_WATER;
}

TEST(energy_answers_the_frame_and_every_column)
{
	struct http *http = serve();
	cJSON *json = energy(http, "&by=mode", two_modes);
	ck_assert_str_eq(text_at(json, "zone"), "Europe/Berlin");
	ck_assert_str_eq(text_at(json, "step"), "PT1H");
	ck_assert_str_eq(text_at(json, "boundary"), "H4");
	ck_assert_double_eq(number_at(json, "from"), 1767222000);
	ck_assert_double_eq(number_at(json, "to"), 1767229200);
	ck_assert_double_eq(number_at(json, "version"), 42);
	ck_assert_double_eq(number_at(json, "least_denominator_kwh"), 0.01);
	for (size_t i = 0; i < ARRAY_LEN(column_names); i++) {
		char *path = xasprintf("columns/%s", column_names[i]);
		char *total = xasprintf("total/%s", column_names[i]);
		char *unit = xasprintf("units/%s", column_names[i]);
		char *mode = xasprintf("modes/heating/%s", column_names[i]);
		ck_assert_int_eq(cJSON_GetArraySize(at(json, path)), 2);
		ck_assert_msg(at(json, total) != NULL, "%s", total);
		ck_assert_int_gt((int)strlen(text_at(json, unit)), 0);
		if (strcmp(column_names[i], "cooling_kwh") != 0)
			ck_assert_int_eq(cJSON_GetArraySize(at(json, mode)), 2);
		free(path);
		free(total);
		free(unit);
		free(mode);
	}
	ck_assert_str_eq(text_at(json, "units/heat_kwh"), "kW.h");
	ck_assert_str_eq(text_at(json, "units/paired_s"), "s");
	ck_assert_ptr_null(at(json, "note"));
	ck_assert_double_eq(number_at(json, "columns/t/1"), 1767225600);
	ck_assert_double_eq(number_at(json, "columns/t_end/1"), 1767229200);
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(heat_and_electricity_are_those_of_the_boundary)
{
	static const struct {
		const char *query, *name;
		int64_t heat_j, electricity_j;
	} rows[] = {
		{"&boundary=H4", "H4", 7200001 + 1000000 + 360000,
			1800000 + 500000 + 360000},
		{"&boundary=H2%2Bcirculation", "H2+circulation", 8200001, 2300000},
		{"&boundary=H2+circulation", "H2+circulation", 8200001, 2300000},
	};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		cJSON *json = energy(http, rows[i].query, two_modes);
		ck_assert_str_eq(text_at(json, "boundary"), rows[i].name);
		ck_assert_str_eq(fake.asked.name, rows[i].name);
		check_kwh(json, "columns/heat_kwh/0", rows[i].heat_j);
		check_kwh(json, "columns/electricity_kwh/0", rows[i].electricity_j);
		check_kwh(json, "total/heat_kwh", rows[i].heat_j);
		cJSON_Delete(json);
	}
	http_close(http);
}
END

TEST(an_inline_heater_outside_the_boundary_is_taken_off_the_heat)
{
	struct config own = plant;
	struct meter_config meters[] = {plant_meters[0], plant_meters[1]};
	struct http *http = serve();
	meters[0].feeds = meters[0].serves = DEVICE_COMPRESSOR;
	meters[1].feeds = meters[1].serves = DEVICE_BACKUP_HEATER;
	own.meters = plant.meters;
	plant.meters = meters;
	cJSON *json = energy(http, "&boundary=H2", two_modes);
	check_kwh(json, "columns/heat_kwh/0", 8200001 - 360000);
	check_kwh(json, "columns/electricity_kwh/0", 2300000);
	plant.meters = own.meters;
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(a_joule_shows_in_the_seventh_decimal)
{
	struct http *http = serve();
	fake.energy = two_modes;
	struct reply_seen reply =
		ask(http, "GET", "/v1/energy?" TWO_HOURS "&boundary=H4", "");
	/* 8,560,001 J = 2.377778055… kWh; 36 J = 0.00001 kWh. */
	ck_assert_ptr_nonnull(strstr(reply.body, "\"heat_kwh\":[2.3777781,null]"));
	ck_assert_ptr_nonnull(
		strstr(reply.body, "\"bridged_electricity_kwh\":[0.0000100,0.0000000]"));
	reply_release(&reply);
	http_close(http);
}
END

TEST(unknown_is_null_and_its_time_is_zero)
{
	static const char *const nulls[] = {"heat_kwh", "electricity_kwh", "cop",
		"cop_uncertainty", "paired_heat_kwh", "paired_electricity_kwh",
		"cooling_kwh"};
	static const char *const zeros[] = {"heat_observed_s", "electricity_observed_s",
		"paired_s", "bridged_s", "bridged_heat_kwh"};
	struct http *http = serve();
	cJSON *json = energy(http, "&by=mode", two_modes);
	for (size_t i = 0; i < ARRAY_LEN(nulls); i++) {
		char *path = xasprintf("columns/%s/1", nulls[i]);
		ck_assert_msg(null_at(json, path), "%s", path);
		free(path);
	}
	for (size_t i = 0; i < ARRAY_LEN(zeros); i++) {
		char *path = xasprintf("columns/%s/1", zeros[i]);
		ck_assert_double_eq(number_at(json, path), 0);
		free(path);
	}
	ck_assert(null_at(json, "modes/heating/heat_kwh/1"));
	ck_assert(null_at(json, "meters/unit/electricity_kwh/1"));
	ck_assert_ptr_null(at(json, "modes/defrost"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(observed_time_is_the_least_of_its_parts)
{
	struct http *http = serve();
	cJSON *json = energy(http, "", two_modes);
	/* Heat is known for 3,599.5 s, the immersion meter that adds to it for 3,599 s.
	 */
	ck_assert_double_eq(number_at(json, "columns/heat_observed_s/0"), 3599);
	ck_assert_double_eq(number_at(json, "columns/electricity_observed_s/0"), 3599);
	ck_assert_double_eq(number_at(json, "columns/paired_s/0"), 3600);
	ck_assert_double_eq(number_at(json, "columns/bridged_s/0"), 1.5);
	cJSON_Delete(json);
	json = energy(http, "&boundary=H2+circulation", two_modes);
	ck_assert_double_eq(number_at(json, "columns/heat_observed_s/0"), 3599.5);
	ck_assert_double_eq(number_at(json, "columns/electricity_observed_s/0"), 3600);
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(the_quotient_is_of_the_paired_sums)
{
	struct http *http = serve();
	cJSON *json = energy(http, "&by=mode", two_modes);
	ck_assert_double_eq_tol(
		number_at(json, "columns/cop/0"), 8560001.0 / 2660000.0, 0.5e-6);
	ck_assert_double_eq_tol(
		number_at(json, "modes/hot_water/cop/0"), 1360000.0 / 860000.0, 0.5e-6);
	ck_assert_double_eq_tol(
		number_at(json, "total/cop"), 8560001.0 / 2660000.0, 0.5e-6);
	cJSON_Delete(json);
	http_close(http);
}
END

	static void
	small_denominator(size_t i, struct energy_bucket *b)
{
	struct energy_sum *sum = &b->modes[MODE_STANDBY];
	sum->heat_ms = sum->observed_ms = sum->paired_ms = 3600000;
	sum->meter_ms[UNIT] = sum->meter_ms[IMMERSION] = 3600000;
	sum->meter_j[UNIT] = sum->paired_electricity_j = i ? 36000 : 35999;
	sum->paired_heat_j = sum->heat_j = -100;
}

TEST(there_is_no_quotient_below_the_least_denominator)
{
	struct http *http = serve();
	cJSON *json = energy(http, "", small_denominator);
	ck_assert(null_at(json, "columns/cop/0"));
	ck_assert(null_at(json, "columns/cop_uncertainty/0"));
	ck_assert_double_eq_tol(number_at(json, "columns/cop/1"), -100.0 / 36000, 0.5e-6);
	ck_assert_double_eq_tol(number_at(json, "columns/heat_kwh/0"), -0.0000278, 1e-12);
	cJSON_Delete(json);
	http_close(http);
}
END

	/* Time with heat known and no meter: heat is answered, electricity is not; and no
	 * meter time but heat: the other way round. */
	static void
	one_side(size_t i, struct energy_bucket *b)
{
	struct energy_sum *sum = &b->modes[MODE_HEATING];
	sum->observed_ms = 3600000;
	if (i == 0) {
		sum->heat_ms = 3600000;
	} else {
		sum->meter_ms[UNIT] = 3600000;
		sum->meter_j[UNIT] = 3600000;
	}
}

TEST(a_measured_zero_is_not_null)
{
	struct http *http = serve();
	cJSON *json = energy(http, "", one_side);
	ck_assert_double_eq(number_at(json, "columns/heat_kwh/0"), 0);
	ck_assert(null_at(json, "columns/electricity_kwh/0"));
	ck_assert(null_at(json, "columns/heat_kwh/1"));
	ck_assert_double_eq(number_at(json, "columns/electricity_kwh/1"), 1);
	/* The other meter of the boundary was unknown: that shows in the time. */
	ck_assert_double_eq(number_at(json, "columns/electricity_observed_s/1"), 0);
	ck_assert_double_eq(number_at(json, "columns/cooling_kwh/0"), 0);
	cJSON_Delete(json);
	http_close(http);
}
END

	/* The immersion heater draws while the plant heats: joules without time in hot
	   water. */
	static void
	booked_elsewhere(size_t i, struct energy_bucket *b)
{
	(void)i;
	b->modes[MODE_HEATING] = (struct energy_sum){.observed_ms = 3600000,
		.heat_j = 5000000,
		.heat_ms = 3600000,
		.paired_ms = 3600000};
	b->modes[MODE_HEATING].meter_j[UNIT] = 1000000;
	b->modes[MODE_HEATING].meter_ms[UNIT] = 3600000;
	b->modes[MODE_HEATING].meter_ms[IMMERSION] = 3600000;
	b->modes[MODE_HOT_WATER].meter_j[IMMERSION] = 720000;
}

TEST(modes_add_up_to_the_columns_to_the_joule)
{
	fake_energy_row *const rows[] = {two_modes, booked_elsewhere};
	static const char *const names[] = {"heat_kwh", "electricity_kwh"};
	struct http *http = serve();
	for (size_t r = 0; r < ARRAY_LEN(rows); r++) {
		cJSON *json = energy(http, "&by=mode", rows[r]);
		for (size_t n = 0; n < ARRAY_LEN(names); n++) {
			int64_t joules = 0;
			const cJSON *mode;
			char *path = xasprintf("columns/%s/0", names[n]);
			char *part = xasprintf("%s/0", names[n]);
			cJSON_ArrayForEach(mode, at(json, "modes")) joules +=
				llround(number_at(mode, part) * 3.6e6);
			ck_assert_int_eq(cJSON_GetArraySize(at(json, "modes")), 2);
			check_kwh(json, path, joules);
			free(path);
			free(part);
		}
		cJSON_Delete(json);
	}
	http_close(http);
}
END

TEST(meters_of_the_boundary_add_up_to_its_electricity)
{
	struct http *http = serve();
	cJSON *json = energy(http, "", two_modes);
	check_kwh(json, "meters/unit/electricity_kwh/0", 2300000);
	check_kwh(json, "meters/immersion/electricity_kwh/0", 360000);
	ck_assert_double_eq(
		number_at(json, "meters/immersion/electricity_observed_s/0"), 3599);
	cJSON_Delete(json);
	http_close(http);
}
END

	static void
	cooling_hour(size_t i, struct energy_bucket *b)
{
	two_modes(i, b);
	struct energy_sum *sum = &b->modes[MODE_COOLING];
	sum->observed_ms = sum->heat_ms = sum->paired_ms = 3600000;
	sum->heat_j = sum->paired_heat_j = -7200000;
	sum->paired_electricity_j = sum->meter_j[UNIT] = 1800000;
	sum->meter_ms[UNIT] = sum->meter_ms[IMMERSION] = 3600000;
}

TEST(cooling_is_apart)
{
	struct http *http = serve();
	cJSON *json = energy(http, "&by=mode", cooling_hour);
	check_kwh(json, "columns/heat_kwh/0", 8560001);
	check_kwh(json, "columns/electricity_kwh/0", 2660000);
	check_kwh(json, "columns/paired_heat_kwh/0", 8560001);
	check_kwh(json, "columns/cooling_kwh/0", 7200000);
	check_kwh(json, "columns/cooling_electricity_kwh/0", 1800000);
	check_kwh(json, "modes/cooling/heat_kwh/0", -7200000);
	ck_assert(null_at(json, "modes/cooling/cop/0"));
	check_kwh(json, "meters/unit/electricity_kwh/0", 2300000);
	cJSON_Delete(json);
	http_close(http);
}
END

	/* One row of the examples, as the limits of a plant. */
	static struct {
	double heat_j, electricity_j, sensitivity_j_per_k;
} example;

static void example_row(size_t i, struct energy_bucket *b)
{
	(void)i;
	struct energy_sum *sum = &b->modes[MODE_HEATING];
	sum->paired_ms = sum->heat_ms = 1;
	sum->heat_j = sum->paired_heat_j = llround(example.heat_j);
	sum->meter_j[UNIT] = sum->paired_electricity_j = llround(example.electricity_j);
	sum->paired_meter_j[UNIT] = sum->meter_j[UNIT];
	sum->meter_ms[UNIT] = 1;
	sum->paired_sensitivity_j_per_k = example.sensitivity_j_per_k;
}

static void check_example(char **fields, size_t count, void *context)
{
	ck_assert_uint_eq(count, 16);
	double v = strtod(fields[1], NULL), u_v = strtod(fields[2], NULL);
	double k = strtod(fields[3], NULL), u_k = strtod(fields[4], NULL);
	double d = strtod(fields[5], NULL), u_d = strtod(fields[6], NULL);
	double e = strtod(fields[7], NULL), u_e = strtod(fields[8], NULL);
	struct meter_config meter = plant_meters[0];
	example.sensitivity_j_per_k = v * k * 1e6;
	example.heat_j = v * k * d * 1e6;
	example.electricity_j = e * 3.6e6;
	/* Limits are rectangular: √3 times the standard uncertainty. The coefficient's
	 * own is of the flow's form, relative. */
	plant.plant.pair_limit.k = u_d * sqrt(3.0);
	plant.plant.flow_limit_percent = hypot(u_v / v, u_k / k) * 100 * sqrt(3.0);
	plant_meters[0].limit_percent = u_e / e * 100 * sqrt(3.0);
	cJSON *json = energy(context, "&boundary=H2+circulation", example_row);
	ck_assert_double_eq_tol(
		number_at(json, "total/cop"), strtod(fields[12], NULL), 1.5e-6);
	ck_assert_double_eq_tol(number_at(json, "columns/cop_uncertainty/0"),
		strtod(fields[15], NULL), 1.5e-6);
	ck_assert_str_eq(text_at(json, "fluid/name"), "water");
	bool pair = u_d / d > hypot(u_v / v, u_k / k) && u_d / d > u_e / e;
	bool named = strcmp(text_at(json, "uncertainty_largest_term"),
			     "temperature pair") == 0;
	ck_assert(pair == named);
	cJSON_Delete(json);
	plant_meters[0] = meter;
}

TEST(the_half_width_is_that_of_the_uncertainty_examples)
{
	struct http *http = serve();
	ck_assert_uint_eq(data_rows("uncertainty_examples.csv", check_example, http), 5);
	http_close(http);
}
END

	/* Half-widths of terms in answers add in squares to those of the whole. */
	static double
	terms_of(const cJSON *json, const char *name)
{
	double squares = 0;
	const cJSON *terms = at(json, "uncertainty/terms"), *term;
	cJSON_ArrayForEach(term, terms)
	{
		ck_assert_int_gt((int)strlen(text_at(term, "term")), 3);
		squares += number_at(term, name) * number_at(term, name);
	}
	return sqrt(squares);
}

TEST(the_budget_names_its_terms_and_what_it_took_for_limits)
{
	static const char *const figures[] = {"heat_kwh", "electricity_kwh", "cop"};
	struct http *http = serve();
	plant.plant.flow_limit_percent = 3;
	plant_meters[UNIT].limit_percent = 1;
	plant_meters[IMMERSION].limit_percent = 2;
	cJSON *json = energy(http, "", two_modes);
	ck_assert_double_eq(number_at(json, "uncertainty/coverage_factor"), 2);
	for (size_t i = 0; i < ARRAY_LEN(figures); i++) {
		char *path = xasprintf("uncertainty/%s", figures[i]);
		double whole = number_at(json, path);
		ck_assert_double_gt(whole, 0);
		ck_assert_double_eq_tol(terms_of(json, figures[i]), whole, 2e-6);
		free(path);
	}
	ck_assert_double_eq(number_at(json, "uncertainty/cop"),
		number_at(json, "total/cop_uncertainty"));
	ck_assert_str_eq(text_at(json, "uncertainty/largest_term"),
		text_at(json, "uncertainty_largest_term"));
	ck_assert_double_eq(number_at(json, "uncertainty/limits/flow_percent"), 3);
	ck_assert_double_eq(number_at(json, "uncertainty/limits/meters_percent/unit"), 1);
	ck_assert_str_eq(text_at(json, "units/spread_electricity_kwh"), "kW.h");
	cJSON_Delete(json);
	json = energy(http, "&boundary=H4", one_side);
	ck_assert(null_at(json, "uncertainty/cop"));
	/* Without a quotient the term that matters is of what is known. */
	ck_assert_str_eq(text_at(json, "uncertainty/largest_term"), "electricity");
	cJSON_Delete(json);
	http_close(http);
}
END

	static void
	with_sensitivity(size_t i, struct energy_bucket *b)
{
	two_modes(i, b);
	b->modes[MODE_HEATING].sensitivity_j_per_k = 1500000;
	b->modes[MODE_HEATING].paired_sensitivity_j_per_k = 1400000;
	b->modes[MODE_HOT_WATER].sensitivity_j_per_k = i ? 0 : 100001;
}

/* Q + S·offset; each mode's part in whole joules, so that they add up. */
TEST(a_preview_moves_heat_by_its_sensitivity_and_is_named)
{
	struct http *http = serve();
	cJSON *json = energy(
		http, "&by=mode&boundary=H4&preview_pair_offset=-0.3", with_sensitivity);
	check_kwh(json, "columns/heat_kwh/0", 8560001 - 450000 - 30000);
	check_kwh(json, "modes/heating/heat_kwh/0", 7200001 - 450000);
	check_kwh(json, "columns/paired_heat_kwh/0", 8560001 - 420000);
	ck_assert_double_eq_tol(
		number_at(json, "columns/cop/0"), (8560001.0 - 420000) / 2660000, 0.5e-6);
	check_kwh(json, "columns/electricity_kwh/0", 2660000);
	ck_assert_double_eq(number_at(json, "preview/pair_offset_k"), -0.3);
	ck_assert_double_eq(number_at(json, "columns/preview_pair_offset_k/0"), -0.3);
	cJSON_Delete(json);
	json = energy(http, "&boundary=H4", with_sensitivity);
	check_kwh(json, "columns/heat_kwh/0", 8560001);
	ck_assert_ptr_null(at(json, "preview"));
	ck_assert_ptr_null(at(json, "columns/preview_pair_offset_k"));
	cJSON_Delete(json);
	http_close(http);
}
END

	/* Heat and its ratio move by offset over difference
	   (tests/data/offset_effect.csv). */
	static void
	check_offset(char **f, size_t count, void *context)
{
	ck_assert_uint_eq(count, 3);
	double difference_k = strtod(f[0], NULL);
	char *more = xasprintf("&boundary=H2%%2Bcirculation&preview_pair_offset=%s",
		f[1][0] == '+' ? f[1] + 1 : f[1]);
	example.heat_j = 36e6;
	example.electricity_j = 12e6;
	example.sensitivity_j_per_k = 36e6 / difference_k;
	cJSON *json = energy(context, more, example_row);
	double moved = number_at(json, "columns/cop/0") / 3 - 1;
	ck_assert_double_eq_tol(100 * moved, strtod(f[2], NULL), 1e-4);
	cJSON_Delete(json);
	free(more);
}

TEST(an_offset_is_worth_its_part_of_the_difference)
{
	struct http *http = serve();
	ck_assert_uint_eq(data_rows("offset_effect.csv", check_offset, http), 24);
	http_close(http);
}
END

TEST(a_preview_of_nothing_is_refused)
{
	static const char *const wrong[] = {"", "warm", "10.1", "-11", "1e1", "0x1", "-",
		"+", ".3", "1234567", "0.3K"};
	struct http *http = serve();
	for (size_t i = 0; i <= ARRAY_LEN(wrong); i++) {
		bool last = i == ARRAY_LEN(wrong);
		char *target =
			xasprintf("/v1/energy?" TWO_HOURS "&preview_pair_offset=%s",
				last ? "0.3" : wrong[i]);
		if (last)
			plant.plant.heat_source = HEAT_POWER;
		cJSON *json = get_json(http, target, 400);
		ck_assert_str_eq(text_at(json, "parameter"), "preview_pair_offset");
		cJSON_Delete(json);
		free(target);
	}
	plant.plant.heat_source = HEAT_COMPUTED;
	http_close(http);
}
END

TEST(corrections_stand_in_every_row_that_they_touch)
{
	/* In force in the second hour only; one of a channel that no account rests on. */
	struct correction_config corrections[] = {{.name = (char[]){"strap_on"},
		.channel = 0,
		.factor = 1,
		.offset = -0.4,
		.from_ms = INT64_C(1767225600000),
		.to_ms = INT64_MAX}};
	struct http *http = serve();
	plant.corrections = corrections;
	plant.correction_count = 1;
	cJSON *json = energy(http, "", two_modes);
	ck_assert(null_at(json, "columns/corrections/0"));
	ck_assert_str_eq(text_at(json, "columns/corrections/1"), "strap_on");
	ck_assert_str_eq(text_at(json, "corrections/0/name"), "strap_on");
	cJSON_Delete(json);
	json = get_json(http, "/v1/now", 200);
	ck_assert_str_eq(text_at(json, "corrections/0/name"), "strap_on");
	cJSON_Delete(json);
	struct reply_seen reply =
		ask(http, "GET", "/v1/energy?" TWO_HOURS "&format=csv", "");
	ck_assert_ptr_nonnull(strstr(reply.body, ",corrections\r\n"));
	ck_assert_ptr_nonnull(strstr(reply.body, ",strap_on\r\n"));
	reply_release(&reply);
	reply = ask(http, "GET",
		"/v1/series?" TWO_HOURS "&format=csv&channels=flow_temperature", "");
	ck_assert_ptr_nonnull(strstr(reply.body, ",strap_on\r\n"));
	reply_release(&reply);
	reply = ask(http, "GET",
		"/v1/series?" TWO_HOURS "&format=csv&channels=unit_power", "");
	ck_assert_ptr_null(strstr(reply.body, "corrections"));
	reply_release(&reply);
	plant.correction_count = 0;
	http_close(http);
}
END

TEST(without_any_meter_heat_alone_is_answered)
{
	struct http *http = serve();
	plant.meter_count = 0;
	cJSON *json = energy(http, "", one_side);
	ck_assert(null_at(json, "boundary"));
	ck_assert_double_eq(number_at(json, "columns/heat_kwh/0"), 0);
	ck_assert(null_at(json, "columns/electricity_kwh/0"));
	ck_assert_double_eq(number_at(json, "columns/electricity_observed_s/0"), 0);
	cJSON_Delete(json);
	http_close(http);
}
END

TESTS(energy_answers_the_frame_and_every_column, heat_and_electricity_are_those_of_the_boundary, an_inline_heater_outside_the_boundary_is_taken_off_the_heat, a_joule_shows_in_the_seventh_decimal, unknown_is_null_and_its_time_is_zero, observed_time_is_the_least_of_its_parts, the_quotient_is_of_the_paired_sums, there_is_no_quotient_below_the_least_denominator, a_measured_zero_is_not_null, modes_add_up_to_the_columns_to_the_joule, meters_of_the_boundary_add_up_to_its_electricity, cooling_is_apart, the_half_width_is_that_of_the_uncertainty_examples, the_budget_names_its_terms_and_what_it_took_for_limits,
	  a_preview_moves_heat_by_its_sensitivity_and_is_named, an_offset_is_worth_its_part_of_the_difference, a_preview_of_nothing_is_refused, corrections_stand_in_every_row_that_they_touch, without_any_meter_heat_alone_is_answered)
