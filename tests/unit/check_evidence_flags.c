/*
 * Evidence of a plant without compressor_frequency: what tells there that the compressor
 * runs, and what must not be taken for it. Modes by flags come before power, power
 * without heaters before modes by rule, and a register alone tells nothing of a minute.
 */
#include "made_minutes.h"

#include <math.h>

enum { FLOW, RETURN, RATE, OUTDOOR, WATTS };

#define CHANNELS                                                                         \
	"[plant]\nzone = Europe/Berlin\n[channel flow_temperature]\ntopic = a/1\n"       \
	"[channel return_temperature]\ntopic = a/2\n[channel flow_rate]\ntopic = a/3\n"  \
	"[channel outdoor_temperature]\ntopic = a/4\n"                                   \
	"[channel watts]\ntopic = a/5\nunit = W\n"
#define FLAGS                                                                            \
	"[channel operating_mode]\ntopic = a/6\n"                                        \
	"map = h:heating, w:hot_water, s:standby\n"
#define SUPPLY "[meter supply]\nfeeds = compressor, immersion\npower = watts\n"
#define UNIT   "[meter unit]\nfeeds = compressor\npower = watts\n"
#define COUNT                                                                            \
	"[channel count]\ntopic = a/7\nunit = kWh\n"                                     \
	"[meter unit]\nfeeds = compressor\nregister = count\n"
#define APPARENT                                                                         \
	"[meter volts_times_amperes]\nfeeds = compressor\napparent = yes\n"              \
	"power = watts\n"

/* Half an hour of heating, half an hour in which all rests, but for the pump where it
 * goes on; booked as flags tell. */
static struct sample *day_of(const char *text, double resting_lpm)
{
	struct sample *s = sample_new(text);
	for (int i = 0; i < DAY; i++) {
		bool on = i % 60 < 30;
		double wave = round(sin(i * 0.37) * 20.0) / 100.0;
		of(s, FLOW)[i] = (on ? 35.0 : 28.0) + wave;
		of(s, RETURN)[i] = (on ? 30.0 : 28.0) + wave;
		of(s, RATE)[i] = on ? 17.5 : resting_lpm;
		of(s, OUTDOOR)[i] = round(100.0 * sin(i / 230.0)) / 100.0;
		of(s, WATTS)[i] = on ? 1500.0 : 12.0;
		s->day.booked[i] =
			(struct day_booked){.heat_j = on ? 4170.0 * 5.0 * 17.5 : 0.0,
				.heat_ms = 60000,
				.mode = on ? MODE_HEATING : MODE_STANDBY,
				.mode_ms = 60000};
	}
	return s;
}

static void meter_by_watts(struct sample *s)
{
	for (int i = 0; i < DAY; i++)
		meter(s, 0, i, of(s, WATTS)[i]);
}

static void book_mode(struct sample *s, enum mode mode)
{
	for (int i = 0; i < DAY; i++)
		s->day.booked[i].mode = (int)mode;
}

/* An immersion heater on the unit's supply, in the last half hours of four hours. */
static void heat_cylinder(struct sample *s)
{
	for (int i = 720; i < 960; i++)
		if (i % 60 >= 30)
			of(s, WATTS)[i] = 3012.0;
}

static const struct evidence *look_for(struct sample *s, enum evidence_kind kind)
{
	evidence_of(&s->day, NULL, &s->list);
	return find(s, kind, -1);
}

TEST(an_immersion_heater_on_the_supply_is_no_compressor)
{
	static const char *const texts[] = {CHANNELS FLAGS SUPPLY, CHANNELS SUPPLY};
	for (size_t i = 0; i < ARRAY_LEN(texts); i++) {
		struct sample *s = day_of(texts[i], 0.0);
		heat_cylinder(s);
		meter_by_watts(s);
		if (i == 1)
			book_mode(s, MODE_UNASSIGNED);
		ck_assert_ptr_null(look_for(s, EVIDENCE_FLOW_ZERO));
		sample_free(s);
	}
}
END

	static void
	meter_by_register(struct sample *s)
{
	for (int i = 0; i < DAY; i++)
		meter(s, 0, i, 756.0);
}

/* A true meter that only counts says nothing of an instant. */
TEST(apparent_power_tells_beside_a_register_alone)
{
	struct sample *s = day_of(CHANNELS COUNT APPARENT, 17.5);
	meter_by_register(s);
	for (int i = 0; i < DAY; i++)
		meter(s, 1, i, of(s, WATTS)[i]);
	book_mode(s, MODE_UNASSIGNED);
	const struct evidence *e = look_for(s, EVIDENCE_REST);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START + 40);
	ck_assert_int_eq(e->minutes, 20);
	e = find(s, EVIDENCE_FLOW, -1);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[0], 17.5);
	evidence_release(&s->list);
	set(s, RATE, 600, 630, 0.0);
	e = look_for(s, EVIDENCE_FLOW_ZERO);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START + 600);
	ck_assert_int_eq(e->minutes, 30);
	ck_assert_double_eq_tol(e->values[0], 30 * 60 * 756.0, 1e-6);
	sample_free(s);
}
END

/* A summer without any flag: two runs of three are hot water's, by rule, with its flow. */
TEST(flow_is_told_by_the_service_that_rules_told)
{
	struct sample *s = day_of(CHANNELS UNIT, 0.0);
	for (int i = 0; i < DAY; i++)
		if (i % 60 < 30 && i / 60 % 3 != 0) {
			of(s, RATE)[i] = 19.0;
			s->day.booked[i].mode = MODE_HOT_WATER;
		}
	meter_by_watts(s);
	const struct evidence *e = look_for(s, EVIDENCE_FLOW);
	ck_assert_ptr_nonnull(e);
	ck_assert_double_eq(e->values[0], 17.5);
	ck_assert_double_eq(e->values[1], 19.0);
	ck_assert_int_eq(e->minutes, 8 * 27);       /* but for the first three of each */
	ck_assert_double_eq(e->values[2], 16 * 26); /* and that of the change */
	sample_free(s);
}
END

/* Nor does it say that a heater was on at rest. */
TEST(rest_is_told_beside_a_register_alone)
{
	struct sample *s = day_of(
		CHANNELS "[channel compressor_frequency]\ntopic = a/8\n" COUNT, 17.5);
	meter_by_register(s);
	for (int i = 0; i < DAY; i++)
		of(s, WATTS + 1)[i] = i % 60 < 30 ? 45.0 : 0.0;
	const struct evidence *e = look_for(s, EVIDENCE_REST);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->at_min, START + 40);
	ck_assert_int_eq(e->minutes, 20);
	sample_free(s);
}
END

/* The electricity that a register counted lies evenly over minutes. */
TEST(what_a_register_counted_is_no_compressor_and_no_efficiency)
{
	static const char *const texts[] = {CHANNELS FLAGS COUNT, CHANNELS COUNT};
	for (size_t i = 0; i < ARRAY_LEN(texts); i++) {
		struct sample *s = day_of(texts[i], 0.0);
		meter_by_register(s);
		if (i == 1)
			book_mode(s, MODE_UNASSIGNED);
		ck_assert_ptr_null(look_for(s, EVIDENCE_FLOW_ZERO));
		ck_assert_ptr_null(find(s, EVIDENCE_EFFICIENCY, -1));
		sample_free(s);
	}
}
END

/* The register is in another unit, so that the meter knows next to nothing. */
TEST(minutes_of_heating_are_no_rest_whatever_the_meter_says)
{
	for (int by_flags = 0; by_flags < 2; by_flags++) {
		struct sample *s =
			day_of(by_flags ? CHANNELS FLAGS UNIT : CHANNELS UNIT, 17.5);
		for (int i = 0; i < DAY; i++)
			of(s, WATTS)[i] *= 0.001;
		meter_by_watts(s);
		evidence_of(&s->day, NULL, &s->list);
		for (size_t i = 0; i < s->list.count; i++)
			ck_assert(s->list.items[i].kind != EVIDENCE_REST ||
				  fabs(s->list.items[i].values[0]) < 1e-9);
		ck_assert(!by_flags || find(s, EVIDENCE_REST, -1));
		sample_free(s);
	}
}
END

TEST(rest_is_told_by_flags_and_by_power)
{
	for (int by_flags = 0; by_flags < 2; by_flags++) {
		struct sample *s =
			day_of(by_flags ? CHANNELS FLAGS UNIT : CHANNELS UNIT, 17.5);
		meter_by_watts(s);
		if (!by_flags)
			book_mode(s, MODE_UNASSIGNED);
		const struct evidence *e = look_for(s, EVIDENCE_REST);
		ck_assert_ptr_nonnull(e);
		ck_assert_int_eq(e->at_min, START + 40);
		ck_assert_int_eq(e->minutes, 20);
		sample_free(s);
	}
}
END

/* Rules take a reversed clamp's power for none at all, and book standby. */
TEST(a_reversed_clamp_is_seen_where_rules_tell_modes)
{
	struct sample *s = day_of(CHANNELS UNIT, 0.0);
	for (int i = 0; i < DAY; i++)
		of(s, WATTS)[i] = -of(s, WATTS)[i];
	meter_by_watts(s);
	book_mode(s, MODE_STANDBY);
	const struct evidence *e = look_for(s, EVIDENCE_POWER_NEGATIVE);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, DAY / 2);
	sample_free(s);
}
END

/* An immersion heater's electricity is in no heat that flow and temperatures tell. */
TEST(efficiency_is_not_told_of_a_supply_with_an_immersion_heater)
{
	struct sample *s = day_of(CHANNELS FLAGS SUPPLY, 0.0);
	meter_by_watts(s);
	ck_assert_ptr_null(look_for(s, EVIDENCE_EFFICIENCY));
	sample_free(s);
	s = day_of(CHANNELS FLAGS UNIT, 0.0);
	meter_by_watts(s);
	ck_assert_ptr_nonnull(look_for(s, EVIDENCE_EFFICIENCY));
	sample_free(s);
}
END

TEST(a_compressor_without_flow_is_seen_by_its_flags)
{
	struct sample *s = day_of(CHANNELS FLAGS SUPPLY, 0.0);
	meter_by_watts(s);
	for (int i = 0; i < 30; i++)
		of(s, RATE)[120 + i] = 0.0;
	const struct evidence *e = look_for(s, EVIDENCE_FLOW_ZERO);
	ck_assert_ptr_nonnull(e);
	ck_assert_int_eq(e->minutes, 30);
	ck_assert_int_eq(e->at_min, START + 120);
	sample_free(s);
}
END

TESTS(an_immersion_heater_on_the_supply_is_no_compressor,
	apparent_power_tells_beside_a_register_alone,
	flow_is_told_by_the_service_that_rules_told,
	rest_is_told_beside_a_register_alone,
	what_a_register_counted_is_no_compressor_and_no_efficiency,
	minutes_of_heating_are_no_rest_whatever_the_meter_says,
	rest_is_told_by_flags_and_by_power,
	a_reversed_clamp_is_seen_where_rules_tell_modes,
	efficiency_is_not_told_of_a_supply_with_an_immersion_heater,
	a_compressor_without_flow_is_seen_by_its_flags)
