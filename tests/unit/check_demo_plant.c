/*
 * The demo plant and its observer. Year totals are held against those of a reference run
 * of the same plant description (computed, by other code); water and heat against IAPWS
 * R7-97(2012) Table 5 (second-hand) and python3-iapws 1.5.2 (computed).
 */
#include "unit.h"

#include "messages.h"
#include "observer.h"
#include "plant.h"
#include "water97.h"
#include "zone.h"

#define YEAR_FROM zone_midnight(2025, 7, 1)
#define YEAR_TO   zone_midnight(2026, 7, 1)

static struct plant_rule steep = {RULE_STEEP_CURVE, PLANT_ORIGIN_S, 0};

static void plant_at(struct plant *plant, uint64_t seed, int64_t t_s)
{
	ck_assert_int_eq(zone_open(), 0);
	steep.to_s = zone_midnight(2026, 1, 15);
	struct plant_settings settings = {.seed = seed, .rules = &steep, .rule_count = 1};
	plant_init(plant, &settings);
	plant_run_to(plant, t_s);
}

static void into_buffer(const struct message *m, void *context)
{
	buffer_addf(context, "%lld %s %s\n", (long long)m->t_ms, m->topic, m->payload);
}

static void two_days(uint64_t seed, struct buffer *out)
{
	struct plant plant;
	ck_assert_int_eq(zone_open(), 0);
	plant_at(&plant, seed, zone_midnight(2024, 12, 10));
	for (int i = 0; i < 2 * 8640; i++)
		messages_of_step(plant_advance(&plant), into_buffer, out);
}

TEST(a_seed_gives_the_same_messages_each_time)
{
	struct buffer a = {0}, b = {0}, other = {0};
	two_days(1, &a);
	two_days(1, &b);
	two_days(2, &other);
	ck_assert_uint_gt(a.length, 1000000);
	ck_assert_str_eq(buffer_text(&a), buffer_text(&b));
	ck_assert_str_ne(buffer_text(&a), buffer_text(&other));
	buffer_release(&a);
	buffer_release(&b);
	buffer_release(&other);
}
END

TEST(a_changed_setting_does_not_shift_the_weather)
{
	struct plant a, b;
	ck_assert_int_eq(zone_open(), 0);
	plant_at(&a, 3, zone_midnight(2024, 9, 20));
	struct plant_settings flat = {.seed = 3};
	plant_init(&b, &flat);
	plant_run_to(&b, a.t_s);
	bool differ = false;
	for (int i = 0; i < 7 * 8640; i++) {
		const struct plant_step *p = plant_advance(&a), *q = plant_advance(&b);
		ck_assert(p->outdoor_c == q->outdoor_c &&
			  p->humidity_pct == q->humidity_pct);
		differ = differ || p->target_c != q->target_c;
	}
	ck_assert(differ);
}
END

	struct order {
	const struct plant_step *step;
	int64_t last_ms;
	size_t count;
};

static void in_order(const struct message *m, void *context)
{
	struct order *order = context;
	ck_assert_int_gt(m->t_ms, order->last_ms);
	ck_assert_int_ge(m->t_ms, order->step->t_s * 1000);
	ck_assert_int_lt(m->t_ms, (order->step->t_s + PLANT_STEP_S) * 1000);
	ck_assert_int_ne(m->t_ms % 1000, 0);
	ck_assert_ptr_null(strstr(m->payload, "nan"));
	ck_assert_ptr_null(strstr(m->payload, "-0.0"));
	order->last_ms = m->t_ms;
	order->count++;
}

TEST(messages_come_one_after_another_within_their_step)
{
	struct plant plant;
	struct order order = {0};
	plant_at(&plant, 1, zone_midnight(2024, 12, 1));
	for (int i = 0; i < 5 * 8640; i++) {
		order.step = plant_advance(&plant);
		messages_of_step(order.step, in_order, &order);
	}
	/* A day has 3 · 8640 phases, 4320 + 2880 of the unit, 720 of weather, 1440 of
	 * control, 3 · 1440 of slow meters, 5 · 288 of rooms, 4 · 24 repeats; changes
	 * come on top. */
	ck_assert_uint_ge(order.count, 5 * 41136);
	ck_assert_uint_le(order.count, 5 * 41236);
}
END

TEST(house_circuit_and_cylinder_lose_no_joule)
{
	struct plant p;
	plant_at(&p, 1, zone_midnight(2024, 10, 1));
	double room = p.room_c, loop = p.loop_c, cylinder = p.cylinder_c;
	double house_j = 0.0, loop_j = 0.0, cylinder_j = 0.0, through_j = 0.0;
	for (int i = 0; i < 120 * 8640; i++) {
		const struct plant_step *s = plant_advance(&p);
		bool tap = s->valve == SERVICE_TAP;
		house_j += PLANT_STEP_S * (s->emission_w + s->gain_w - s->loss_w);
		loop_j += PLANT_STEP_S * ((tap ? 0.0 : s->heat_w) - s->emission_w);
		cylinder_j += PLANT_STEP_S * ((tap ? s->heat_w : 0.0) + s->immersion_w -
						     s->draw_w - s->standing_w);
		through_j += PLANT_STEP_S * s->loss_w;
	}
	ck_assert_double_gt(through_j, 5e9);
	ck_assert_double_eq_tol(
		house_j, ROOM_KWH_PER_K * 3.6e6 * (p.room_c - room), 100.0);
	ck_assert_double_eq_tol(
		loop_j, LOOP_KWH_PER_K * 3.6e6 * (p.loop_c - loop), 100.0);
	ck_assert_double_eq_tol(cylinder_j,
		CYLINDER_KWH_PER_K * 3.6e6 * (p.cylinder_c - cylinder), 100.0);
}
END

TEST(pipes_carry_exactly_the_heat_of_the_unit)
{
	struct plant p;
	plant_at(&p, 1, zone_midnight(2024, 12, 10));
	double pipes_j = 0.0, unit_j = 0.0;
	for (int i = 0; i < 8640; i++) {
		const struct plant_step *s = plant_advance(&p);
		double w = s->rate_lpm / 60000.0 / water97_volume(s->return_c, 2.0) *
			   (water97_enthalpy(s->flow_c, 2.0) -
				   water97_enthalpy(s->return_c, 2.0));
		ck_assert_double_eq_tol(w, s->heat_w, 0.5);
		pipes_j += w * PLANT_STEP_S;
		unit_j += s->heat_w * PLANT_STEP_S;
	}
	ck_assert_double_gt(unit_j, 1e8);
	ck_assert_double_eq_tol(pipes_j, unit_j, 2e-5 * unit_j);
}
END

	struct totals {
	double mode_j[PLANT_MODES], heat_j, unit_j, immersion_j, coldest_room_c,
		warmest_room_c;
	double starts, defrosts, taps;
};

static struct totals year(uint64_t seed)
{
	struct plant plant;
	struct totals t = {.coldest_room_c = 99.0};
	ck_assert_int_eq(zone_open(), 0);
	plant_at(&plant, seed, YEAR_FROM);
	while (plant.t_s < YEAR_TO) {
		const struct plant_step *s = plant_advance(&plant);
		t.mode_j[s->mode] += s->heat_w * PLANT_STEP_S;
		t.heat_j += s->heat_w * PLANT_STEP_S;
		t.unit_j += (s->compressor_w + s->pump_w) * PLANT_STEP_S;
		t.immersion_j += s->immersion_w * PLANT_STEP_S;
		t.starts += s->start;
		t.defrosts += s->defrost_start;
		t.taps += s->tap_start;
		t.coldest_room_c = fmin(t.coldest_room_c, s->room_c);
		t.warmest_room_c = fmax(t.warmest_room_c, s->room_c);
	}
	return t;
}

TEST(a_year_is_like_the_reference_run)
{
	struct totals t = year(1);
	const struct {
		const char *what;
		double got, reference;
	} cases[] = {
		{"heat, MWh", t.heat_j / 3.6e9, 14.75},
		{"heating, MWh", t.mode_j[PLANT_HEATING] / 3.6e9, 13.2},
		{"hot water, MWh", t.mode_j[PLANT_HOT_WATER] / 3.6e9, 1.9},
		{"defrost, MWh", t.mode_j[PLANT_DEFROST] / 3.6e9, -0.41},
		{"unit with pump, kWh", t.unit_j / 3.6e6, 4510.0},
		{"immersion, kWh", t.immersion_j / 3.6e6, 192.0},
		{"starts", t.starts, 944.0},
		{"defrosts", t.defrosts, 962.0},
		{"hot-water runs", t.taps, 663.0},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++)
		ck_assert_msg(fabs(cases[i].got - cases[i].reference) <=
				      0.15 * fabs(cases[i].reference),
			"%s: %g, reference %g", cases[i].what, cases[i].got,
			cases[i].reference);
	ck_assert_double_gt(t.coldest_room_c, 18.0);
	ck_assert_double_lt(t.warmest_room_c, 30.0);
}
END

/* Both days on which the clocks change are Sundays: the immersion heater starts at 14:12
 * by the clock on the wall. */
TEST(the_house_lives_by_the_wall_clock_on_days_of_23_and_25_hours)
{
	const struct {
		int month, day;
		int64_t hours, start_s;
	} cases[] = {{10, 26, 25, (15 * 60 + 12) * 60}, {3, 29, 23, (13 * 60 + 12) * 60}};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct plant plant;
		ck_assert_int_eq(zone_open(), 0);
		int64_t from_s = zone_midnight(
			cases[i].month == 3 ? 2026 : 2025, cases[i].month, cases[i].day);
		int64_t to_s = zone_day_start(from_s, 1), start_s = 0;
		ck_assert_int_eq(to_s - from_s, cases[i].hours * 3600);
		plant_at(&plant, 1, from_s);
		struct order order = {0};
		while (plant.t_s < to_s) {
			order.step = plant_advance(&plant);
			if (order.step->immersion_w > 0.0 && !start_s)
				start_s = order.step->t_s;
			messages_of_step(order.step, in_order, &order);
		}
		ck_assert_int_eq(start_s - from_s, cases[i].start_s);
		ck_assert_uint_ge(order.count, (size_t)cases[i].hours * 1714);
	}
}
END

	static void
	water_row(char **field, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_ge(count, 5);
	double t_c = strtod(field[0], NULL) - 273.15,
	       p_bar = 10.0 * strtod(field[1], NULL);
	double want = strtod(field[4], NULL);
	if (!strcmp(field[2], "v"))
		ck_assert_double_eq_tol(water97_volume(t_c, p_bar), want, 1e-8 * want);
	if (!strcmp(field[2], "h"))
		ck_assert_double_eq_tol(
			water97_enthalpy(t_c, p_bar) / 1000.0, want, 1e-8 * want);
}

TEST(water_agrees_with_the_release)
{
	data_rows("water_if97_region1_verification.csv", water_row, NULL);
}
END
/* What the observer makes of a few messages, second by second. The heat flows are
 * computed with python3-iapws: 17.5 L/min 35/30 °C → HEATING_W, 24.2/28.4 °C → DEFROST_W.
 */
#define HEATING_W 6068.380144
#define DEFROST_W (-5102.179154)

	struct said {
	int64_t t_ms;
	const char *topic, *payload;
};

#define WATER(out, back, rate)                                                           \
	"{\"water\":{\"out\":" #out ",\"back\":" #back "},\"loop\":{\"rate\":" #rate     \
	",\"gauge\":1.50}}"

static char *observed(const struct said *said, size_t count, int64_t to_ms)
{
	static const struct said first[] = {
		{1, "plant/state/service", "rooms"},
		{2, "plant/state/defrost", "no"},
		{3, "house/meter/unit/l1", "100"},
		{4, "house/meter/unit/l2", "200"},
		{5, "house/meter/unit/l3", "300"},
		{6, "house/meter/immersion/power", "0"},
		{7, "plant/refrigerant", "{\"compressor\":{\"hz\":40,\"demand\":50}}"},
		{8, "plant/weather", "{\"air\":{\"t\":3.0,\"rh\":80}}"},
	};
	char *text = NULL;
	size_t size = 0;
	FILE *out = open_memstream(&text, &size);
	struct observer observer;
	ck_assert_ptr_nonnull(out);
	observer_init(&observer, out, 0);
	for (size_t i = 0; i < ARRAY_LEN(first) + count; i++) {
		const struct said *s =
			i < ARRAY_LEN(first) ? &first[i] : &said[i - ARRAY_LEN(first)];
		struct message m = {
			.t_ms = s->t_ms, .topic = s->topic, .payload = s->payload};
		observer_take(&observer, &m);
	}
	observer_finish(&observer, to_ms);
	ck_assert_int_eq(fclose(out), 0);
	return text;
}

static void expect_row(const char *text, int64_t minute_s, const char *mode, int64_t ms,
	double heat_j, double unit_j, double immersion_j)
{
	_cleanup_(freep) char *head = xasprintf("\n%lld,%s,", (long long)minute_s, mode);
	const char *at = strstr(text, head);
	long long got_ms;
	double heat, unit, immersion;
	ck_assert_msg(at != NULL, "no row %s in %s", head + 1, text);
	ck_assert_int_eq(sscanf(at + strlen(head), "%lld,%lf,%lf,%lf", &got_ms, &heat,
				 &unit, &immersion),
		4);
	ck_assert_int_eq(got_ms, ms);
	ck_assert_double_eq_tol(heat, heat_j, 0.002);
	ck_assert_double_eq_tol(unit, unit_j, 0.001);
	ck_assert_double_eq_tol(immersion, immersion_j, 0.001);
}

TEST(the_observer_books_pieces_to_their_modes)
{
	const struct said said[] = {
		{1000, "plant/hydraulics", WATER(35.0, 30.0, 17.5)},
		{70000, "plant/state/defrost", "running"},
		{80000, "plant/hydraulics", WATER(24.2, 28.4, 17.5)},
		{90000, "plant/state/defrost", "no"},
		{100000, "plant/state/service", "tap"},
		{110000, "plant/hydraulics", WATER(24.2, 28.4, 0.0)},
	};
	_cleanup_(freep) char *text = observed(said, ARRAY_LEN(said), 180000);
	ck_assert_ptr_null(strstr(text, "\n0,")); /* not whole */
	expect_row(text, 60, "heating", 20000, 10 * HEATING_W + 10 * DEFROST_W, 12000, 0);
	expect_row(text, 60, "defrost", 20000, 10 * HEATING_W + 10 * DEFROST_W, 12000, 0);
	expect_row(text, 60, "hot_water", 20000, 10 * DEFROST_W, 12000, 0);
	expect_row(text, 120, "hot_water", 60000, 0, 36000, 0);
}
END

TEST(the_observer_ends_an_overrun_ten_minutes_after_the_stop)
{
	const struct said said[] = {
		{1000, "plant/hydraulics", WATER(30.0, 30.0, 17.5)},
		{61500, "plant/refrigerant", "{\"compressor\":{\"hz\":0,\"demand\":0}}"},
		{120000, "plant/hydraulics", WATER(30.0, 30.0, 0.0)},
		{150000, "plant/hydraulics", WATER(14.0, 14.0, 17.5)},
		{690000, "plant/weather", "{\"air\":{\"t\":5.0,\"rh\":80}}"},
	};
	_cleanup_(freep) char *text = observed(said, ARRAY_LEN(said), 780000);
	expect_row(text, 60, "heating", 1500, 0, 900, 0);
	expect_row(text, 60, "overrun", 58500, 0, 35100, 0);
	expect_row(text, 120, "standby", 30000, 0, 18000, 0);
	expect_row(text, 120, "overrun", 30000, 0, 18000, 0);
	expect_row(text, 660, "overrun", 1500, 0, 900, 0);
	expect_row(text, 660, "freeze_protection", 28500, 0, 17100, 0);
	expect_row(text, 660, "standby", 30000, 0, 18000, 0);
}
END

TEST(the_observer_books_the_immersion_to_hot_water_always)
{
	const struct said said[] = {
		{1000, "plant/hydraulics", WATER(30.0, 30.0, 17.5)},
		{90000, "house/meter/immersion/power", "3000"},
	};
	_cleanup_(freep) char *text = observed(said, ARRAY_LEN(said), 120000);
	expect_row(text, 60, "heating", 60000, 0, 36000, 0);
	expect_row(text, 60, "hot_water", 0, 0, 0, 90000);
}
END

TEST(times_are_read_with_offset_or_as_local_dates)
{
	int64_t t_s;
	ck_assert_int_eq(zone_open(), 0);
	ck_assert_int_eq(zone_parse("2025-12-31T23:00:00Z", &t_s), 0);
	ck_assert_int_eq(t_s, 1767222000);
	ck_assert_int_eq(zone_parse("2026-01-01T00:00:00+01:00", &t_s), 0);
	ck_assert_int_eq(t_s, 1767222000);
	ck_assert_int_eq(zone_parse("2026-01-01", &t_s), 0);
	ck_assert_int_eq(t_s, 1767222000);
	static const char *const wrong[] = {"", "yesterday", "2026-01-01T00:00:00",
		"2026-01-01T00:00:00+1", "2026-01-01 ", "2026-13-01"};
	for (size_t i = 0; i < ARRAY_LEN(wrong); i++)
		ck_assert_msg(zone_parse(wrong[i], &t_s) < 0, "%s was taken", wrong[i]);
}
END

TESTS(a_seed_gives_the_same_messages_each_time, a_changed_setting_does_not_shift_the_weather,
	messages_come_one_after_another_within_their_step,
	house_circuit_and_cylinder_lose_no_joule, pipes_carry_exactly_the_heat_of_the_unit,
	a_year_is_like_the_reference_run,
	the_house_lives_by_the_wall_clock_on_days_of_23_and_25_hours,
	water_agrees_with_the_release, the_observer_books_pieces_to_their_modes,
	the_observer_ends_an_overrun_ten_minutes_after_the_stop,
	the_observer_books_the_immersion_to_hot_water_always,
	times_are_read_with_offset_or_as_local_dates)
